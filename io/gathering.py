"""Every file that a bring-in was given, read: which reader, with which map, and what to ask about the file itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from . import mappings, scrub
from .answers import AS_IT_STANDS, Answers
from .case import SHEET
from .case_sheet import load_case_sheet
from .errors import Choice, FileUnreadable, Question
from .identity import Found
from .judging import as_it_stands, steps_question, with_step
from .origins import Origin, origin_of
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


@dataclass
class Gathered:
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


class GivenMap:
    """A column map or path map, and which files it is for."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.is_path_map = is_path_map(path)
        self._map = load_path_map(path) if self.is_path_map else load_column_map(path)

    def serves(self, path: Path, reader: Reader) -> bool:
        """Whether it is for this file, as this reader reads it."""
        return self.is_path_map == (reader.name in _PATH_MAPPED) and self._map.serves(path)


def files_to_look_at(given: Sequence[Path], into: Path) -> list[tuple[Path, bool]]:
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


def read_all(
    files: Sequence[tuple[Path, bool]],
    maps: Sequence[GivenMap],
    known: Answers,
    accept_proposals: bool,
    learned_in: Path | None,
    watch: Watch,
) -> Gathered:
    """Read what a reader knows, case sheets included, and list the rest.

    Parameters
    ----------
    files : sequence of (Path, bool)
        From `files_to_look_at`.
    maps : sequence of GivenMap
    known : Answers
        What a person answered; those about columns and steps are looked at here.
    accept_proposals : bool
        No question is put where the program has a proposal.
    learned_in : Path or None
        Folder of what was decided for earlier cases.
    watch : Watch
        Is told how far it is, and stops it.

    Raises
    ------
    FileUnreadable
        When a reader that knows a file cannot read it, or no reader knows a file that was named itself.
    """
    got = Gathered([], [], [], [], [], [], {}, [], [], [])
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
    maps: Sequence[GivenMap],
    known: Answers,
    accept_proposals: bool,
    learned_in: Path | None,
    watch: Watch,
    got: Gathered,
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
