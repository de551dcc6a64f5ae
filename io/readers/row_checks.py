"""What is wrong with a table, found line by line: slow, and only where the quick way stumbled."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, NoReturn

from ..errors import FileUnreadable
from .cells import is_number
from .column_map import toml_value
from .layout import Column, Layout
from .plain_text import quote_never_closed, rows_of, swallowed_row
from .quoting import quoted, shown
from .text_stamps import BadStamp, UnsureStamp
from .time_columns import in_doubt

ENDLESS = re.compile(r"[-+]?(inf|infinity)", re.IGNORECASE)


@contextmanager
def open_rows(path: Path, layout: Layout) -> Iterator[IO[str]]:
    """The file as text, at its first row of data."""
    with path.open(encoding=layout.encoding, newline="") as handle:
        for _ in range(layout.skip_lines):
            handle.readline()
        yield handle


def _rows(handle: IO[str], path: Path, layout: Layout) -> Iterator[tuple[int, list[str]]]:
    return rows_of(handle, layout.separator, path, layout.skip_lines, checked=True)


def cells_of_row(path: Path, layout: Layout, row: int) -> tuple[int, list[str]]:
    """Line number and cells of a row, counted from 0."""
    with open_rows(path, layout) as handle:
        for number, found in enumerate(_rows(handle, path, layout)):
            if number == row:
                return found
    return 0, []


def odd_length(data: bytes, layout: Layout, quoted: bool) -> bool:
    """Whether some row of a piece has another number of cells than the others, or holds lines that look like rows.

    One empty cell more, after a separator at the end, does no harm.
    """
    count = layout.count
    if layout.separator == " ":
        lengths = (len(line.split()) for line in data.splitlines())
        return any(length not in (0, count) for length in lengths)
    if quoted:
        try:
            lines = data.decode("utf-8").splitlines(keepends=True)
            rows = csv.reader(lines, delimiter=layout.separator)
            above: list[str] = []
            begins = 0
            for cells in rows:
                if swallowed_row(lines[begins : rows.line_num], cells, above, layout.separator):
                    return True
                begins, above = rows.line_num, cells
                one_more = len(cells) == count + 1 and not cells[-1].strip()
                if len(cells) != count and not one_more and (any(cells) or len(cells) > 1):
                    return True
            return False
        except csv.Error:
            return True
    separator = layout.separator.encode()
    right = count - 1
    return any(
        line.count(separator) != right and line.strip() and not _one_more(line, separator, right)
        for line in data.splitlines()
    )


def _one_more(line: bytes, separator: bytes, right: int) -> bool:
    return line.count(separator) == right + 1 and line.rstrip().endswith(separator)


def refuse_odd_length(path: Path, layout: Layout) -> int:
    """Name the first row of another length. Returns the line on which the last row begins if there is none."""
    line = layout.skip_lines
    with open_rows(path, layout) as handle:
        for line, cells in _rows(handle, path, layout):
            if len(cells) != layout.count and not (len(cells) == layout.count + 1 and not cells[-1]):
                raise wrong_length(path, layout, line, len(cells))
    return line


def wrong_length(path: Path, layout: Layout, line: int, found: int) -> FileUnreadable:
    """What to say of a row of `found` cells."""
    return FileUnreadable(
        f"found {found} columns; expected {layout.count} as in the rows before",
        path=path,
        place=f"line {line}",
        todo="Correct this line, or export the table again if the file was cut",
    )


def refuse_stamp(path: Path, layout: Layout, row: int, bad: BadStamp | None = None) -> NoReturn:
    """Name the row whose time cannot be read, counted from 0."""
    line, cells = cells_of_row(path, layout, row)
    if len(cells) != layout.count:
        raise wrong_length(path, layout, line, len(cells))
    raise _no_time(path, layout, line, cells, bad)


def _no_time(
    path: Path, layout: Layout, line: int, cells: list[str], bad: BadStamp | None = None
) -> FileUnreadable:
    index, label = layout.time, layout.time_label
    if bad is not None and layout.date is not None and bad.text == cells[layout.date]:
        index, label = layout.date, layout.date_label
    found = cells[index] if index is not None else ""
    place = f"line {line}, column {label}"
    if isinstance(bad, UnsureStamp):
        what, todo = in_doubt(bad.unsure)
        return FileUnreadable(what, path=path, place=shown(place), todo=todo)
    called = "date" if index is not None and index == layout.date else "time"
    what = f"found {quoted(found)} as a {called}" if found else f"this row has no {called}"
    return FileUnreadable(
        f"{what}; expected {_expected(layout, index)}",
        path=path,
        place=shown(place),
        todo="Correct this line, or take it out",
    )


def _expected(layout: Layout, index: int | None) -> str:
    day = {"day-first": "04.05.2031", "month-first": "05/04/2031"}.get(layout.date_order or "", "2031-05-04")
    order = f", {layout.date_order}" if layout.date_order in ("day-first", "month-first") else ""
    if index is not None and index == layout.date:
        return f"a date such as {day}{order}"
    if layout.time_kind == "clock":
        return "a time of day such as 07:42:00"
    if layout.time_kind == "datetime":
        return f"a date and time such as {day} 07:42:00{order}"
    return "a number of " + layout.time_kind.replace("epoch_", "epoch ")


def text_columns(path: Path, layout: Layout, columns: list[Column]) -> list[Column]:
    """Columns that hold texts and no number at all. Raises for a text among numbers."""
    watched: list[tuple[int, str, tuple[str, ...]]] = [(c.index, c.label, c.missing) for c in columns]
    if layout.time is not None and layout.time_kind not in ("clock", "datetime"):
        watched.insert(0, (layout.time, layout.time_label, ("",)))
    numbers = dict.fromkeys((index for index, _, _ in watched), 0)
    first_text: dict[int, tuple[int, str]] = {}
    with open_rows(path, layout) as handle:
        for line, cells in _rows(handle, path, layout):
            for index, _, missing in watched:
                cell = cells[index]
                if cell in missing:
                    continue
                if is_number(cell, layout.decimal) or ENDLESS.fullmatch(cell):
                    numbers[index] += 1
                elif index == layout.time:
                    raise _no_time(path, layout, line, cells)
                elif index not in first_text:
                    first_text[index] = (line, cell)
    mixed = sorted(
        (*first_text[index], label) for index, label, _ in watched if index in first_text and numbers[index]
    )
    if mixed:
        line, text, label = mixed[0]
        raise number_expected(path, layout, line, label, text)
    if not first_text:
        raise FileUnreadable(
            "a number in this table cannot be read", path=path, todo="Export it again with plain numbers"
        )
    return [column for column in columns if column.index in first_text]


def number_expected(path: Path, layout: Layout, line: int, label: str, found: str) -> FileUnreadable:
    """What to say of a text among numbers."""
    sign = "a comma" if layout.decimal == "," else "a point"
    return FileUnreadable(
        f"found {quoted(found)}; expected a number with {sign} as decimal sign, or nothing",
        path=path,
        place=f"line {line}, column {label}",
        todo=(
            f"If it stands for a missing value, give a column map with missing = [{toml_value(found[:40])}] "
            "under [file]; else correct the line"
        ),
    )


def refuse_open_quote(path: Path, layout: Layout, cause: Exception) -> NoReturn:
    """Name the line at which a table cannot be taken apart."""
    raise quote_never_closed(path, refuse_odd_length(path, layout)) from cause
