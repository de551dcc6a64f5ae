"""The handwritten log: a written time and a text a line, as somebody typed it off the sheet.

Either a table with a header (``time``, ``text`` and, if wanted, ``certainty`` and ``role``), or plain lines
that each begin with a time. Lines are kept in the order in which they stand: a line that was added late or
written with a slip of the pen is no clock that was set back, so the whole log is one run.

A whole minute says no more than half a minute to either side: as a uniform spread of ±30 s its standard
deviation is 30/√3 = 17.3 s.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from ..errors import FileUnreadable
from ..recording import Note, Recording
from . import Claim, Reader, sha256
from .names import slug
from .plain_text import SEPARATORS, head_text, read_text, rows_of
from .quoting import quoted

MINUTE_SD_S = 30.0 / math.sqrt(3.0)
SECOND_SD_S = 0.5 / math.sqrt(3.0)
_HALF_DAY_S = 43200.0
_DAY_S = 86400.0

_TIME_NAMES = (
    "written_time",
    "written time",
    "time",
    "clock",
    "clock time",
    "time of day",
    "at",
    "uhrzeit",
    "zeit",
)
_TEXT_NAMES = (
    "text",
    "entry",
    "event",
    "what",
    "note",
    "remark",
    "comment",
    "description",
    "eintrag",
    "ereignis",
)
_CERTAINTY_NAMES = ("certainty", "confidence", "sure")
_ROLE_NAMES = ("role", "author", "by", "who", "written by")

_TIME = (
    r"(?:(?P<date>\d{4}-\d{2}-\d{2})[ T])?(?P<h>[01]?\d|2[0-3])(?:[:.h](?P<m>[0-5]\d)(?:[:.](?P<s>[0-5]\d))?)"
)
_WRITTEN = re.compile(rf"{_TIME}\s*(?:(?P<half>[aApP])\.?[mM]\.?)?")
_RUN_TOGETHER = re.compile(r"(?P<h>[01]?\d|2[0-3])(?P<m>[0-5]\d)")
_PLAIN_LINE = re.compile(
    r"\s*(?P<time>\d{1,2}[:.h][0-5]\d(?:[:.][0-5]\d)?|[0-2]?\d[0-5]\d)[\s,;\t|-]+(?P<text>.*\S)\s*"
)
_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?")
_SAMPLE_ROWS = 50


@dataclass(frozen=True, slots=True)
class WrittenTime:
    """A time of day as somebody wrote it: seconds of the day, its own spread, and the date if written."""

    second_of_day: float
    sd_s: float
    day: date | None = None


def written_time(text: str) -> WrittenTime | None:
    """Time of day of ``07:48``, ``0944``, ``9.44``, ``9:44:30``, ``9:44 pm``; None for anything else.

    Examples
    --------
    >>> written_time("0944") == written_time("9.44") == written_time("9:44")
    True
    """
    text = text.strip()
    match = _WRITTEN.fullmatch(text)
    if match is None:
        match = _RUN_TOGETHER.fullmatch(text)
        if match is None:
            return None
        return WrittenTime(int(match["h"]) * 3600.0 + int(match["m"]) * 60.0, MINUTE_SD_S)
    hour = int(match["h"])
    if match["half"] is not None:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if match["half"].lower() == "p" else 0)
    seconds = match["s"]
    day = None
    if match["date"] is not None:
        try:
            day = date.fromisoformat(match["date"])
        except ValueError:
            return None
    return WrittenTime(
        hour * 3600.0 + int(match["m"]) * 60.0 + (int(seconds) if seconds else 0),
        SECOND_SD_S if seconds else MINUTE_SD_S,
        day,
    )


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where the parts of a line stand; -1 where a log has no such column."""

    time: int
    text: int
    certainty: int
    role: int
    others: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Line:
    number: int
    time: str
    text: str
    certainty: str = ""
    role: str = ""


def claims(path: Path, head: bytes) -> Claim:
    """A header with a time and a text and no column of numbers, or lines that each begin with a time."""
    text = head_text(head, whole=len(head) < 4096)
    if text is None or path.suffix.lower() not in (*READER.suffixes, ""):
        return Claim.NOT_MINE
    return Claim.MINE if _is_plain(text) or _table(text) is not None else Claim.NOT_MINE


def _is_plain(text: str) -> bool:
    lines = [line for line in text.split("\n") if line.strip()]
    if len(lines) < 2 or not _PLAIN_LINE.fullmatch(lines[0]):
        return False
    # A few lines may be wrong: `read` says which. Rows of numbers with a clock hold no words.
    matches = [match for match in map(_PLAIN_LINE.fullmatch, lines) if match]
    return len(matches) >= 0.8 * len(lines) and sum(map(_has_a_word, matches)) >= len(matches) / 2


def _has_a_word(match: re.Match[str]) -> bool:
    return re.search(r"[^\W\d_]{3}", match["text"]) is not None


def _table(text: str) -> tuple[str, _Columns] | None:
    """Separator and columns of a log with a header; None if it is no such log."""
    for separator in SEPARATORS:
        if separator == " ":
            continue
        rows = [cells for _, cells in _first_rows(text, separator)]
        columns = _columns(rows[0]) if rows else None
        if columns is None:
            continue
        values = [cells[column] for column in columns.others for cells in rows[1:] if column < len(cells)]
        texts = [cells[columns.text] for cells in rows[1:] if columns.text < len(cells)]
        if not any(_NUMBER.fullmatch(value) for value in values) and not _mostly_numbers(texts):
            return separator, columns
    return None


def _mostly_numbers(texts: Sequence[str]) -> bool:
    return bool(texts) and sum(bool(_NUMBER.fullmatch(text)) for text in texts) > len(texts) / 2


def _first_rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    for count, row in enumerate(rows_of(text.split("\n"), separator)):
        if count > _SAMPLE_ROWS:
            return
        yield row


def _columns(header: Sequence[str]) -> _Columns | None:
    names = [" ".join(cell.lower().replace("_", " ").split()) for cell in header]

    def find(wanted: Sequence[str]) -> int:
        return next(
            (names.index(" ".join(name.split("_"))) for name in wanted if name.replace("_", " ") in names), -1
        )

    when, what = find(_TIME_NAMES), find(_TEXT_NAMES)
    if when < 0 or what < 0:
        return None
    certainty, role = find(_CERTAINTY_NAMES), find(_ROLE_NAMES)
    others = tuple(n for n in range(len(names)) if n not in (when, what, certainty, role))
    return _Columns(when, what, certainty, role, others)


def read(path: Path, _options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read one log: one recording with notes in file order and no channels.

    Source second 0 is the first line's written time; a line more than half a day away from the one before
    belongs to the next (or the last) day.

    Raises
    ------
    FileUnreadable
        A line whose time cannot be read, a quotation mark that swallows lines, or a log without a line.
    """
    text = read_text(path).lstrip("\ufeff")
    set_aside: list[str] = []
    lines = _table_lines(text, path, set_aside) if not _is_plain(text) else _plain_lines(text)
    notes: list[Note] = []
    first: datetime | None = None
    dated = False
    before = 0.0
    for line in lines:
        when = written_time(line.time)
        if when is None:
            raise FileUnreadable(
                f"found {quoted(line.time)} as a time; expected a time of day such as 09:44, 0944, 9.44 or 9:44:30"
                if line.time
                else "this line has no time; expected a time of day such as 09:44",
                path=path,
                place=f"line {line.number}",
                todo="Correct the time of this line, or take the line out",
            )
        if not line.text:
            set_aside.append(f"{path.name}, line {line.number}: a time ({line.time}) without a text")
            continue
        if first is None:
            dated = when.day is not None
            first = datetime.combine(when.day or date(2000, 1, 1), time()) + timedelta(
                seconds=when.second_of_day
            )
        seconds = _since(first, before, when)
        words = f"{line.text} ({line.certainty})" if line.certainty else line.text
        notes.append(Note(seconds, seconds, words, when.sd_s, line.role))
        before = seconds
    if first is None:
        raise FileUnreadable(
            "there is no line in this log", path=path, todo="Export it again, or take it out"
        )
    return [
        Recording(
            name=slug(path.stem, "log"),
            reader=READER.name,
            files=((path.name, sha256(path)),),
            notes=tuple(notes),
            first_stamp=first,
            dated=dated,
            set_aside=tuple(set_aside),
        )
    ]


def _since(first: datetime, before: float, when: WrittenTime) -> float:
    """Seconds since the first line: by date if there is one, else nearest to the line before."""
    if when.day is not None:
        stamp = datetime.combine(when.day, time()) + timedelta(seconds=when.second_of_day)
        return (stamp - first).total_seconds()
    first_second = first.hour * 3600.0 + first.minute * 60.0 + first.second
    seconds = when.second_of_day - first_second
    return seconds + _DAY_S * math.floor((before - seconds + _HALF_DAY_S) / _DAY_S)


def _plain_lines(text: str) -> Iterator[_Line]:
    for number, line in enumerate(text.split("\n"), 1):
        match = _PLAIN_LINE.fullmatch(line)
        if match is not None:
            yield _Line(number, match["time"], match["text"].strip(" \"'"))
        elif line.strip():
            yield _Line(number, line.split()[0], line.strip())


def _table_lines(text: str, path: Path, set_aside: list[str]) -> Iterator[_Line]:
    table = _table(text)
    if table is None:
        raise FileUnreadable(
            "expected a header with a time and a text column, or lines that begin with a time",
            path=path,
            place="line 1",
            todo="Name the columns 'time' and 'text'",
        )
    separator, columns = table
    rows = rows_of(text.split("\n"), separator, path, checked=True)
    _, header = next(rows)
    set_aside += [f"{path.name}, column {header[n] or n + 1}: not part of a log" for n in columns.others]

    def cell(cells: Sequence[str], column: int) -> str:
        return cells[column] if 0 <= column < len(cells) else ""

    for number, cells in rows:
        if len(cells) > len(header):
            raise FileUnreadable(
                f"found {len(cells)} columns; the header has {len(header)}",
                path=path,
                place=f"line {number}",
                todo="Put a text that holds the separator into quotes",
            )
        yield _Line(
            number,
            cell(cells, columns.time),
            " ".join(cell(cells, columns.text).split()),
            cell(cells, columns.certainty),
            cell(cells, columns.role),
        )


READER = Reader("handwritten log", (".csv", ".txt", ".tsv", ".log"), claims, read)
