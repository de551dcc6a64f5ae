"""What a bring-in would make of some files, before a byte is written: named, identified, asked about.

`afterclamp.io.gathering` reads them. `look` is also what a preview shows: the recordings as they would be kept,
the questions that need a person, and what was found of somebody's identity.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from . import mappings, scrub, terms
from .answers import (
    Answers,
    Known,
    check_answers,
    load_answers,
    refuse_strangers,
    without_strangers,
)
from .case import Case
from .channel import WAVE_HZ
from .errors import FileUnreadable, Question, several
from .extent import refuse_endless
from .gathering import Gathered, GivenMap, files_to_look_at, formats, read_all
from .identity import Found, words_of
from .judging import judge
from .origins import Origin, load_origins
from .recording import Recording
from .watched import Watch


@dataclass(frozen=True)
class Plan:
    """What will be written, once nothing is open any more.

    Attributes
    ----------
    recordings : tuple of Recording
        As they will be kept.
    stored : mapping
        What each trace file says of its channels, by source and key: identity by its label, unit as written in
        UCUM or "".
    decisions : tuple of dict
        Payloads of the ``identity`` edits: what was answered or accepted and differs from that.
    questions : tuple of Question
        What is still open.
    found : tuple of Found
        Of identity, taken out or, where not sure, only listed; kept nowhere.
    sheet : Path or None
    answers : Answers
    reference : str or None
        Source whose clock is the reference.
    origins : mapping of str to Origin
        Where the files lie, by SHA-256.
    day_zero : date or None
        The day that the neutral first day stands for.
    tables : tuple of (Path, Path)
        Tables with the column map that was given for each.
    remarks : tuple of str
        Sentences for the person that are no reason to stop.
    """

    recordings: tuple[Recording, ...]
    stored: Mapping[str, Mapping[str, tuple[terms.Identity, str]]]
    decisions: tuple[Mapping[str, Any], ...]
    questions: tuple[Question, ...]
    found: tuple[Found, ...]
    sheet: Path | None
    answers: Answers
    reference: str | None
    origins: Mapping[str, Origin]
    day_zero: date | None
    tables: tuple[tuple[Path, Path], ...]
    remarks: tuple[str, ...] = ()


def look(
    given: Sequence[Path],
    into: Path,
    *,
    columns: Sequence[Path] = (),
    answers: Path | str | Mapping[str, Any] | None = None,
    accept_proposals: bool = False,
    keep_identity: bool = False,
    learned_in: Path | None = None,
    leave_out: Sequence[Path] = (),
    progress: Callable[[float, str], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Plan:
    """Read files and say what would become of them; parameters as of `afterclamp.io.bring.bring_in`.

    Raises
    ------
    CaseError
        What cannot be read or does not fit together; questions are no reason, they stand in the plan.
    """
    watch = Watch(progress, cancelled, into)
    known = _answers(answers)
    own = {Path(path).resolve() for path in (answers, *columns) if isinstance(path, (str, Path))}
    files = [(path, named) for path, named in files_to_look_at(given, into) if path.resolve() not in own]
    maps = [GivenMap(path) for path in columns]
    without = {path.resolve() for path in leave_out}
    taken = [(path, named) for path, named in files if path.resolve() not in without]
    got = read_all(taken, maps, known, accept_proposals, learned_in, watch)
    got.left_out += [path for path, _ in files if path.resolve() in without]
    if len(got.sheets) > 1:
        raise FileUnreadable("is the second case sheet", path=got.sheets[1], todo="Keep one")
    if not got.recordings and not got.sheets and not got.questions:
        raise FileUnreadable(
            "there is no file here that a reader knows"
            + (f" ({several(len(got.unread), 'other file')})" if got.unread else ""),
            path=given[0] if len(given) == 1 else None,
            todo=f"Formats that can be read: {', '.join(formats())}",
        )
    refuse_endless(got.recordings)
    # Long for a long list of notes, and nothing is written: it can be left where it is.
    recordings, found, day_zero = watch.run(lambda: _without_identity(got, into, keep_identity), leave=True)
    named = _unique_names(recordings, into)
    there = _there_is(named, [path for path, _ in files], into)
    if got.left_out:  # answers about what was left out on purpose have nothing to say
        known = without_strangers(known, there)
    refuse_strangers(known, there, answers if isinstance(answers, Path) else None)
    stored: dict[str, dict[str, tuple[terms.Identity, str]]] = {}
    decided: list[Mapping[str, Any]] = []
    questions = list(got.questions)
    remarks: list[str] = []
    for recording in named:
        stored[recording.name] = {}
        earlier, remark = _earlier(recording, learned_in)
        remarks += remark
        for channel in recording.channels:
            watch.ask()
            verdict = judge(recording, channel, known, earlier, accept_proposals, watch.ask)
            stored[recording.name][channel.key] = verdict.stored
            questions += verdict.questions
            if verdict.decision:
                decided.append(verdict.decision)
    return Plan(
        recordings=named,
        stored=stored,
        decisions=tuple(decided),
        questions=tuple(questions),
        found=found,
        sheet=got.sheets[0] if got.sheets else None,
        answers=known,
        reference=known.reference.source if known.reference else best_reference(named),
        origins=got.origins,
        day_zero=day_zero,
        tables=tuple(got.tables),
        remarks=tuple(dict.fromkeys(remarks)),
    )


def _earlier(recording: Recording, learned_in: Path | None) -> tuple[mappings.Learned, list[str]]:
    """What was decided for earlier cases; a convenience that no bring-in fails for, so what is wrong is a remark."""
    if learned_in is None:
        return mappings.Learned(), []
    try:
        return mappings.learned(recording, learned_in), []
    except FileUnreadable as cause:
        return mappings.Learned(), [cause.sentence]


def _answers(answers: Path | str | Mapping[str, Any] | None) -> Answers:
    if answers is None:
        return Answers()
    return check_answers(dict(answers)) if isinstance(answers, Mapping) else load_answers(Path(answers))


def _there_is(named: Sequence[Recording], files: Sequence[Path], into: Path) -> Known:
    """What an answer can be about: what was read, and what the case holds already."""
    sources = [recording.name for recording in named]
    channels = [f"{recording.name}/{channel.key}" for recording in named for channel in recording.channels]
    if (into / "traces").is_dir():
        with Case.open(into) as case:
            sources += [source.name for source in case.all_sources]
            channels += [channel.id for channel in case.channels]
    return Known(tuple(sources), tuple(channels), tuple(path.name for path in files))


def _unique_names(recordings: Sequence[Recording], into: Path) -> tuple[Recording, ...]:
    taken = {path.stem for path in (into / "traces").glob("*.h5")}
    named = []
    for recording in recordings:
        name, number = recording.name, 2
        while name in taken:
            name, number = f"{recording.name}-{number}", number + 1
        taken.add(name)
        named.append(replace(recording, name=name))
    return tuple(named)


# -- identity of people, and dates -------------------------------------------------------------------


def _without_identity(
    got: Gathered, into: Path, keep_identity: bool
) -> tuple[list[Recording], tuple[Found, ...], date | None]:
    """Recordings as they will be kept, what was found, and the day that the neutral one stands for."""
    recordings = got.recordings
    found = [*got.header]
    for recording in recordings:
        found += scrub.find_in(recording)
    known = words_of(found)
    if not keep_identity:
        found = [*got.header]
        cleaned = []
        for recording in recordings:
            clean, some = scrub.scrub(recording, known=known)
            cleaned.append(clean)
            found += some
        recordings = cleaned
    recordings, day_zero = _dates(recordings, into, keep_identity)

    def name_of(path: Path) -> str:
        return path.name if keep_identity else scrub.clean_file_name(path.name, known)

    left = [f"{name_of(path)}: no reader knows it, left where it is" for path in got.unread]
    left += [f"{name_of(path)}: it was refused, left where it is" for path in got.left_out]
    for path, same in got.twice:
        other = f"as {name_of(same)}" if same.name != path.name else "in another folder"
        left.append(f"{name_of(path)}: holds the same bytes {other}, brought in once")
    if left and recordings:
        recordings = [replace(recordings[0], set_aside=(*recordings[0].set_aside, *left)), *recordings[1:]]
    return recordings, tuple(dict.fromkeys(found)), day_zero


def _dates(
    recordings: list[Recording], into: Path, keep_identity: bool
) -> tuple[list[Recording], date | None]:
    """Neutral dates, unless they are kept: as the case that they go into has them, where there is one."""
    neutral, day_zero = not keep_identity, None
    if (into / "traces").is_dir():
        with Case.open(into) as case:
            dated = [source for source in case.all_sources if source.dated]
        if dated:
            # All of a case is either neutral or not: the distance between days would be lost.
            case_is_neutral = any(scrub.DATE_KEY in source.about for source in dated)
            day_zero = load_origins(into).day_zero if case_is_neutral else None
            neutral = neutral or case_is_neutral
            return [scrub.neutral(r, day_zero) for r in recordings] if neutral else recordings, day_zero
    if not neutral:
        return recordings, None
    day_zero = scrub.first_day(recordings)
    return [scrub.neutral(recording, day_zero) for recording in recordings], day_zero


def best_reference(recordings: Sequence[Recording]) -> str | None:
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
