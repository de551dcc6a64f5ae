"""What a bring-in would make of some files, before a byte is written: read, named, identified, asked about.

`look` is also what a preview shows: the recordings as they would be kept, the questions that need a person, and
what was found of somebody's identity.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

from . import mappings, scrub, terms
from .answers import (
    AS_IT_STANDS,
    Answers,
    Known,
    check_answers,
    load_answers,
    refuse_strangers,
    without_strangers,
)
from .case import SHEET, Case
from .case_sheet import load_case_sheet
from .channel import WAVE_HZ
from .errors import Choice, FileUnreadable, Question, several
from .extent import refuse_endless
from .identity import Found, words_of
from .judging import as_it_stands, judge, steps_question, with_step
from .origins import Origin, load_origins, origin_of
from .readers import Claim, Reader
from .readers.column_map import ColumnMap, is_path_map, load_column_map
from .readers.delimited import IN_DOUBT
from .readers.path_map import load_path_map
from .readers.registry import READERS, reader_of
from .recording import Recording
from .watched import Watch

READING = 0.4
"""Share of a bring-in that reading takes."""

_PATH_MAPPED = frozenset({"MATLAB", "HDF5"})


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


@dataclass
class _Gathered:
    """What reading the files gave."""

    recordings: list[Recording]
    paths: list[Path]
    sheets: list[Path]
    unread: list[Path]
    left_out: list[Path]
    twice: list[tuple[Path, Path]]  # a file with the same bytes as one read before, and that one
    origins: dict[str, Origin]
    questions: list[Question]
    tables: list[tuple[Path, Path]]
    header: list[Found]
    # By the SHA-256 of all that was read for a file, and the map that it was read with.
    read: dict[tuple[frozenset[str], Path | None], Path] = field(default_factory=dict)


def formats() -> tuple[str, ...]:
    """Names of the formats that can be read."""
    return tuple(reader.name for reader in READERS)


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
    files = [(path, named) for path, named in _files(given, into) if path.resolve() not in own]
    maps = [_Map(path) for path in columns]
    without = {path.resolve() for path in leave_out}
    taken = [(path, named) for path, named in files if path.resolve() not in without]
    got = _read_all(taken, maps, known, accept_proposals, learned_in, watch)
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


# -- reading ----------------------------------------------------------------------------------------


class _Map:
    """A column map or path map, and which files it is for."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.is_path_map = is_path_map(path)
        self._map = load_path_map(path) if self.is_path_map else load_column_map(path)

    def serves(self, path: Path, reader: Reader) -> bool:
        return self.is_path_map == (reader.name in _PATH_MAPPED) and self._map.serves(path)


def _files(given: Sequence[Path], into: Path) -> list[tuple[Path, bool]]:
    """Every file to look at, and whether it was named itself rather than found in a folder."""
    found: dict[Path, bool] = {}
    for path in given:
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.is_file() and not p.name.startswith("."))
            case = into.resolve()
            found |= {p: False for p in inside if case not in p.resolve().parents and p not in found}
        elif path.exists():
            found[path] = True
        elif path.is_symlink():
            raise FileUnreadable(
                "is a link to a file that is not there",
                path=path,
                todo="Give the file itself, or mend the link",
            )
        else:
            raise FileUnreadable("does not exist", path=path, todo="Check the path")
    return list(found.items())


def _read_all(
    files: Sequence[tuple[Path, bool]],
    maps: Sequence[_Map],
    known: Answers,
    accept_proposals: bool,
    learned_in: Path | None,
    watch: Watch,
) -> _Gathered:
    got = _Gathered([], [], [], [], [], [], {}, [], [], [])
    sizes = [path.stat().st_size + 1 for path, _ in files]
    done, total = 0, sum(sizes) or 1
    together = tuple(path for path, _ in files)
    for (path, asked_for), size in zip(files, sizes, strict=True):
        watch.at(READING * done / total, f"reading {path.name}")
        done += size
        if path.name == SHEET:
            load_case_sheet(path)  # read now, so that what is wrong in it is said before anything is written
            same = next((one for one in got.sheets if one.read_bytes() == path.read_bytes()), None)
            if same is None:
                got.sheets.append(path)
            else:
                got.twice.append((path, same))
            continue
        if not asked_for and path.suffix.lower() in {".toml", ".md", ".txt"} and path.stat().st_size == 0:
            continue
        reader, claim = reader_of(path, together)
        if claim is Claim.MINE and reader is not None:
            _read_one(path, reader, maps, known, accept_proposals, learned_in, watch, got)
        elif claim is Claim.PART and asked_for and len(files) == 1:
            raise FileUnreadable(
                "is part of a record that its header file describes",
                path=path,
                todo="Give the header file (.hea)",
            )
        elif claim is Claim.NOT_MINE and asked_for:
            raise FileUnreadable(
                "no reader knows this file",
                path=path,
                todo=f"Formats that can be read: {', '.join(formats())}",
            )
        elif claim is Claim.NOT_MINE:
            got.unread.append(path)
    return got


def _read_one(
    path: Path,
    reader: Reader,
    maps: Sequence[_Map],
    known: Answers,
    accept_proposals: bool,
    learned_in: Path | None,
    watch: Watch,
    got: _Gathered,
) -> None:
    told = next((one.path for one in maps if one.serves(path, reader)), None)
    tables = [(path, told)] if told is not None else []
    questions = []
    if told is None and not maps and learned_in is not None and reader.name not in _PATH_MAPPED:
        offered = mappings.columns_for(path, learned_in)
        answer = known.columns.get(path.name)
        if offered is not None and answer != "none":
            if answer is None and not accept_proposals:
                questions.append(_columns_question(path.name))
            told = offered
    settled = known.steps.get(path.name)
    told_of_it: Path | ColumnMap | None = told
    if told is not None and reader.name not in _PATH_MAPPED:
        given = load_column_map(told)
        told_of_it = given if tables else mappings.for_any_table(given)
    if settled is not None and settled != AS_IT_STANDS:
        told_of_it = with_step(path, reader, told_of_it, settled)
    options = {"columns": told_of_it, "cancelled": watch.stopped}
    try:
        read = watch.run(lambda: list(reader.read(path, options)), leave=True)
    except FileUnreadable as cause:
        if settled is None or settled == AS_IT_STANDS:
            raise
        raise FileUnreadable(
            f"with {settled!r} as the answer about its clock: {cause.what}",
            path=path,
            place=cause.place,
            todo=f"Answer {AS_IT_STANDS!r} in [steps], or take the answer out",
        ) from cause
    # Read with another map, the same bytes are another source.
    bytes_of_it = frozenset(sha for recording in read for _, sha in recording.files), told
    if read and bytes_of_it in got.read:
        got.twice.append((path, got.read[bytes_of_it]))
        return
    got.read[bytes_of_it] = path
    got.tables += tables
    asked = [steps_question(path.name, recording) for recording in read if IN_DOUBT in recording.about]
    if settled is None and not accept_proposals:
        questions += asked
    got.questions += questions
    read = [as_it_stands(path.name, recording) for recording in read]
    got.recordings += read
    got.paths += [path] * len(read)
    got.header += watch.run(lambda: scrub.find_in_header(path), leave=True)
    for recording in read:
        for name, sha in recording.files:
            origin = origin_of(path.with_name(name))
            if origin is not None:
                got.origins[sha] = origin


def _columns_question(name: str) -> Question:
    return Question(
        id=f"columns:{name}",
        text=f"{name}: a table that begins like this was last read with a column map",
        proposal="read it with the same column map again",
        choices=(
            Choice("with the same column map again", {"columns": {name: "last time"}}, True),
            Choice("without it", {"columns": {name: "none"}}),
        ),
    )


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
    got: _Gathered, into: Path, keep_identity: bool
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
