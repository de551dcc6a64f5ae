"""Bring in: files and folders to a case on disk, all of it or nothing.

Every file is read to the end before the case appears, questions that need a person are asked before a
byte is written, and a bring-in that is stopped or cannot go on leaves no trace.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from . import casefile, terms
from .answers import UNKNOWN, Answers, check_answers, load_answers
from .case import SHEET, Case
from .case_sheet import load_case_sheet
from .channel import WAVE_HZ
from .errors import Cancelled, CannotWrite, CaseError, FileUnreadable, Question, QuestionsOpen
from .log import Log
from .readers import Claim
from .readers.registry import READERS, reader_of
from .recording import RecordedChannel, Recording

AUTHOR = "bring-in"
"""Author of the edits that a bring-in makes."""

Progress = Callable[[float, str], None]

# Kinds that no rule or figure rests on: their unit is shown as written and never asked for.
_UNIT_FREE = frozenset({"other", "ecg", "respiration", "plethysmogram"})


@dataclass(frozen=True)
class _Plan:
    """What will be written, once nothing is open any more."""

    recordings: tuple[Recording, ...]
    identities: Mapping[str, Mapping[str, terms.Identity]]
    units: Mapping[str, Mapping[str, str]]
    sheet: Path | None
    answers: Answers
    reference: str | None


def bring_in(
    paths: Sequence[Path | str] | Path | str,
    into: Path | str,
    *,
    columns: Path | str | None = None,
    answers: Path | str | Mapping[str, Any] | None = None,
    accept_proposals: bool = False,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Case:
    """Bring exports into a new or an existing case.

    Parameters
    ----------
    paths : path or sequence of paths
        Files, and folders whose files are taken.
    into : path
        The case folder; made when it does not exist.
    columns : path, optional
        A column map for tables that do not explain themselves.
    answers : path or mapping, optional
        Answers to questions, see `afterclamp.io.answers`.
    accept_proposals : bool
        Answer every remaining question with what is proposed.
    progress : callable, optional
        ``progress(share, text)``, share from 0 to 1.
    cancelled : callable, optional
        Asked often; when it says yes the bring-in ends with `Cancelled`.

    Returns
    -------
    Case
        Opened.

    Raises
    ------
    FileUnreadable, CannotWrite, QuestionsOpen, Cancelled
        Nothing was written then.
    """
    into = Path(into)
    given = [Path(path) for path in ([paths] if isinstance(paths, (str, Path)) else paths)]
    tell = progress or _silent
    stop = cancelled or (lambda: False)
    plan = _plan(given, into, columns, answers, accept_proposals, tell, stop)
    existing = (into / "traces").is_dir()
    if existing:
        _refuse_twice(plan, into)
    elif into.exists() and (not into.is_dir() or any(into.iterdir())):
        raise CannotWrite(
            "is there already and is not a case", path=into, todo="Give a new folder, or an existing case"
        )
    target = into if existing else into.with_name(f".{into.name}.partial-{os.getpid()}")
    written: list[Path] = []
    try:
        _write(plan, target, written, tell, stop)
        _write_edits(plan, target)
        if not existing:
            if into.exists():
                into.rmdir()
            target.rename(into)
    except BaseException as cause:
        if existing:
            for path in written:
                path.unlink(missing_ok=True)
        else:
            shutil.rmtree(target, ignore_errors=True)
        if isinstance(cause, OSError):
            raise CannotWrite(
                f"the case could not be written ({cause.strerror or cause})",
                path=into,
                todo="Make room or get permission to write there, then bring in again",
            ) from cause
        raise
    tell(1.0, "done")
    return Case.open(into)


def _silent(_share: float, _text: str) -> None:
    """Progress that nobody asked for."""


def formats() -> tuple[str, ...]:
    """Names of the formats that can be read."""
    return tuple(reader.name for reader in READERS)


# -- planning ---------------------------------------------------------------------------------------


def _plan(
    given: list[Path],
    into: Path,
    columns: Path | str | None,
    answers: Path | str | Mapping[str, Any] | None,
    accept_proposals: bool,
    tell: Progress,
    stop: Callable[[], bool],
) -> _Plan:
    if answers is None:
        known = Answers()
    elif isinstance(answers, Mapping):
        known = check_answers(dict(answers))
    else:
        known = load_answers(Path(answers))
    options = {"columns": Path(columns) if columns is not None else None}
    recordings: list[Recording] = []
    sheets: list[Path] = []
    unread: list[Path] = []
    parts: list[Path] = []
    own = {Path(path).resolve() for path in (answers, columns) if isinstance(path, (str, Path))}
    for path, asked_for in _files(given, into):
        if path.resolve() in own:
            continue
        if stop():
            raise Cancelled("bring-in stopped as asked; nothing was written", path=into)
        if path.name == SHEET:
            load_case_sheet(path)  # read now, so that what is wrong in it is said before anything is written
            sheets.append(path)
            continue
        tell(0.0, f"reading {path.name}")
        if not asked_for and path.suffix.lower() in {".toml", ".md", ".txt"} and path.stat().st_size == 0:
            continue
        reader, claim = reader_of(path)
        if claim is Claim.MINE and reader is not None:
            recordings.extend(reader.read(path, options))
        elif asked_for and claim is Claim.NOT_MINE:
            raise FileUnreadable(
                "no reader knows this file",
                path=path,
                todo=f"Formats that can be read: {', '.join(formats())}",
            )
        elif claim is Claim.NOT_MINE:
            unread.append(path)
    if len(sheets) > 1:
        raise FileUnreadable("is the second case sheet", path=sheets[1], todo="Keep one")
    if parts and not recordings:
        raise FileUnreadable(
            "is part of a record that its header file describes", path=parts[0], todo="Give the header file (.hea)"
        )
    if not recordings and not sheets:
        raise FileUnreadable(
            "there is no file here that a reader knows" + (f" ({len(unread)} others)" if unread else ""),
            path=given[0] if len(given) == 1 else None,
            todo=f"Formats that can be read: {', '.join(formats())}",
        )
    if unread and recordings:
        left = tuple(f"{path.name}: no reader knows it, left where it is" for path in unread)
        recordings[0] = replace(recordings[0], set_aside=recordings[0].set_aside + left)
    named = _unique_names(recordings, into)
    identities = {r.name: {c.key: _identity(r, c, known) for c in r.channels} for r in named}
    units, questions = _units(named, identities, known)
    if questions and not accept_proposals:
        raise QuestionsOpen(questions, path=given[0] if len(given) == 1 else None)
    for name in [*known.clocks, *([known.reference.source] if known.reference else [])]:
        if all(r.name != name for r in named) and not (into / "traces" / f"{name}.h5").exists():
            have = ", ".join(r.name for r in named)
            raise CaseError(
                f"the answers name a source {name!r}; there are: {have}", todo="Correct the answers file"
            )
    return _Plan(
        recordings=named,
        identities=identities,
        units=units,
        sheet=sheets[0] if sheets else None,
        answers=known,
        reference=known.reference.source if known.reference else _best_reference(named),
    )


def _files(given: list[Path], into: Path) -> list[tuple[Path, bool]]:
    """Every file to look at, and whether it was named itself rather than found in a folder."""
    found: dict[Path, bool] = {}
    for path in given:
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.is_file() and not p.name.startswith("."))
            case = into.resolve()
            found |= {p: False for p in inside if case not in p.resolve().parents and p not in found}
        elif path.exists():
            found[path] = True
        else:
            raise FileUnreadable("does not exist", path=path, todo="Check the path")
    return list(found.items())


def _unique_names(recordings: list[Recording], into: Path) -> tuple[Recording, ...]:
    taken = {path.stem for path in (into / "traces").glob("*.h5")}
    named = []
    for recording in recordings:
        name, number = recording.name, 2
        while name in taken:
            name, number = f"{recording.name}-{number}", number + 1
        taken.add(name)
        named.append(replace(recording, name=name))
    return tuple(named)


def _identity(recording: Recording, channel: RecordedChannel, answers: Answers) -> terms.Identity:
    answered = answers.identity.get(f"{recording.name}/{channel.key}")
    if answered is not None:
        return answered.identity()
    mapped = recording.about.get(f"identity:{channel.key}")
    identity = (
        terms.Identity(*mapped.split("|"))
        if mapped
        else terms.identify(channel.label, channel.unit_as_written)
    )
    pressure = identity.kind.endswith("_pressure") and identity.kind not in {"cuff_pressure", "line_pressure"}
    rate = max((segment.rate_hz for segment in channel.segments), default=0.0)
    if pressure and identity.statistic == "value" and rate >= WAVE_HZ:
        identity = replace(identity, statistic="wave")
    return identity


def _units(
    recordings: tuple[Recording, ...],
    identities: Mapping[str, Mapping[str, terms.Identity]],
    answers: Answers,
) -> tuple[dict[str, dict[str, str]], tuple[Question, ...]]:
    """UCUM unit of every channel, and a question for each that cannot be read and would matter."""
    units: dict[str, dict[str, str]] = {}
    questions: list[Question] = []
    for recording in recordings:
        units[recording.name] = {}
        for channel in recording.channels:
            name = f"{recording.name}/{channel.key}"
            identity = identities[recording.name][channel.key]
            answered = answers.units.get(name)
            code = (
                (answered if answered != UNKNOWN else None)
                if answered
                else terms.parse_unit(channel.unit_as_written)
            )
            accepted = terms.KINDS[identity.kind].units
            fits = not accepted or (code is not None and terms.convertible(code, accepted[0]))
            if not fits and answered != UNKNOWN and identity.kind not in _UNIT_FREE:
                written = repr(channel.unit_as_written) if channel.unit_as_written else "nothing"
                questions.append(
                    Question(
                        id=f"unit:{name}",
                        text=(
                            f"{recording.files[0][0]}, channel {channel.label or channel.key}: the unit is written as "
                            f"{written}; expected one of {', '.join(accepted)} for {identity.plain_name}"
                        ),
                        proposal="leave the unit unknown: the channel is drawn, but no rule or figure uses it",
                    )
                )
            units[recording.name][channel.key] = code or ""
    return units, tuple(questions)


def _best_reference(recordings: tuple[Recording, ...]) -> str | None:
    """The source whose clock the case goes by: the earliest that holds waves, else the one with most samples."""
    waves = [
        r
        for r in recordings
        if r.first_stamp and any(s.rate_hz >= WAVE_HZ for c in r.channels for s in c.segments)
    ]
    if waves:
        return min(waves, key=lambda r: (r.first_stamp.isoformat() if r.first_stamp else "", r.name)).name
    with_samples = [r for r in recordings if r.channels]
    if not with_samples:
        return None
    return max(with_samples, key=lambda r: (r.first_stamp is not None, sum(c.count for c in r.channels))).name


# -- writing ----------------------------------------------------------------------------------------


def _refuse_twice(plan: _Plan, into: Path) -> None:
    with Case.open(into) as case:
        have = {sha: source.name for source in case.sources for _, sha in source.files}
    for recording in plan.recordings:
        for name, sha in recording.files:
            if sha in have:
                raise CannotWrite(
                    f"{name} is in this case already, as source {have[sha]}", path=into, todo="Leave it out"
                )
    if plan.sheet is not None and (into / "traces" / SHEET).exists():
        raise CannotWrite("the case has a case sheet already", path=into, todo="Leave the second one out")


def _write(plan: _Plan, target: Path, written: list[Path], tell: Progress, stop: Callable[[], bool]) -> None:
    traces = target / "traces"
    traces.mkdir(parents=True, exist_ok=True)
    sizes = [sum(channel.count for channel in r.channels) + 1 for r in plan.recordings]
    done, total = 0, sum(sizes)
    for recording, size in zip(plan.recordings, sizes, strict=True):
        path = traces / f"{recording.name}.h5"
        start = done / total
        label = f"bringing in {recording.name}"

        def step(share: float, start: float = start, size: int = size, label: str = label) -> None:
            tell(start + share * size / total, label)

        identities = plan.identities[recording.name]
        units = {key: _usable(plan.units[recording.name][key], identities[key]) for key in identities}
        casefile.write(
            recording,
            path,
            identities={key: identities[key] if units[key] is not None else _no_kind() for key in identities},
            units={
                key: unit if unit is not None else plan.units[recording.name][key]
                for key, unit in units.items()
            },
            progress=step,
            cancelled=stop,
        )
        written.append(path)
        done += size
    if plan.sheet is not None:
        shutil.copyfile(plan.sheet, traces / SHEET)
        written.append(traces / SHEET)


def _usable(unit: str, identity: terms.Identity) -> str | None:
    """The unit, or None where the channel must stay out of every rule for want of one."""
    accepted = terms.KINDS[identity.kind].units
    if identity.kind in _UNIT_FREE or not accepted:
        return unit
    return unit if unit and terms.convertible(unit, accepted[0]) else None


def _no_kind() -> terms.Identity:
    return terms.Identity("other")


def _write_edits(plan: _Plan, target: Path) -> None:
    log = Log.open(target / "log")
    if plan.reference is not None and not log.standing("reference"):
        log.append(AUTHOR, "reference", {"source": plan.reference})
    for name, clock in plan.answers.clocks.items():
        log.append(AUTHOR, "clock", {"source": name, "pieces": clock.pieces, "method": "by hand"})
