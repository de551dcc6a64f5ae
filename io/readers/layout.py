"""How a table is written, found out from its first rows or told by a column map.

Nothing that would change numbers is guessed: a table without a header, a time without a unit or kind, and
a separator that does not hold are asked for, not assumed.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from ..errors import FileUnreadable
from ..units import dimension, parse_unit
from .cells import CLOCK, DATE, DATETIME, MISSING, bare, is_clock_form, is_number, split_unit
from .column_map import ColumnMap, TimeKind, column_index
from .plain_text import SEPARATORS, encoding_of, head_text, rows_of

_TIME_NAMES = frozenset(
    {
        *(
            "time",
            "t",
            "clock",
            "clock time",
            "time of day",
            "timestamp",
            "time stamp",
            "datetime",
            "date time",
        ),
        *("date/time", "date and time", "zeit", "uhrzeit", "zeitstempel", "elapsed", "elapsed time"),
        *("relative time", "seconds", "secs", "sec", "milliseconds", "epoch", "unix time", "recorded at"),
    }
)
# What a header's own words say about the numbers of its time.
_NAMED_KINDS: dict[str, TimeKind] = {
    "seconds": "seconds",
    "secs": "seconds",
    "sec": "seconds",
    "s": "seconds",
    "milliseconds": "milliseconds",
    "ms": "milliseconds",
    "min": "minutes",
}
_EPOCH_SINCE = 1e8  # numbers above this are seconds since 1970 (from 1973 on), above 1e11 milliseconds


@dataclass(frozen=True, slots=True)
class Column:
    """A column of numbers: index from 0, label, unit as written, and what a map says that it is."""

    index: int
    label: str
    unit: str
    identity: str = ""


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read a table.

    Attributes
    ----------
    skip_lines : int
        Physical lines before the first row of data.
    count : int
        Cells of a row.
    time : int or None
        Index of the time column; None where a map gives only the rate.
    time_label : str
        Its header, for messages.
    set_aside : tuple of str
        Columns and lines that are not read.
    """

    encoding: str
    separator: str
    decimal: str
    skip_lines: int
    count: int
    time: int | None
    time_kind: TimeKind
    time_label: str
    columns: tuple[Column, ...]
    missing: tuple[str, ...]
    set_aside: tuple[str, ...]


def find_layout(path: Path, head: bytes, whole: bool, told: ColumnMap | None) -> Layout:
    """Layout of a table from its first bytes.

    Parameters
    ----------
    path : Path
        For messages.
    head : bytes
        The first part of the file, some dozens of kilobytes.
    whole : bool
        Whether that is all of it.
    told : ColumnMap or None
        What a person says; wins over what is found.

    Raises
    ------
    FileUnreadable
        No table, or one that needs a column map.
    """
    return _Finder(path, head, whole, told or ColumnMap()).layout()


class _Finder:
    """One table being found out; each step uses what the ones before it found."""

    def __init__(self, path: Path, head: bytes, whole: bool, told: ColumnMap) -> None:
        self.path = path
        self.told = told
        self.set_aside: list[str] = []
        self.missing = (*MISSING, *told.file.missing)
        encoding, text = _decoded(path, head, whole, told)
        self.encoding = encoding
        lines = text.split("\n")[told.file.skip_rows :]
        self.separator = told.file.separator or separator_of(lines)
        self.rows = list(rows_of(lines, self.separator, path, told.file.skip_rows))
        if not self.rows:
            raise self.unreadable("there is no line of text in this file", "Export it again, or take it out")
        lengths = Counter(len(cells) for _, cells in self.rows)
        self.count = max(lengths, key=lambda length: (lengths[length], length))

    def unreadable(self, what: str, todo: str, place: str = "") -> FileUnreadable:
        return FileUnreadable(what, path=self.path, place=place, todo=todo)

    def layout(self) -> Layout:
        header, self.data = self._header()
        self.headers, units = self._labels(header)
        self.decimal = self.told.file.decimal or self._decimal()
        self.labels = [label for label, _ in (split_unit(text, self.headers) for text in self.headers)]
        self.units = [
            second or split_unit(text, self.headers)[1]
            for text, second in zip(self.headers, units, strict=True)
        ]
        time = self._time()
        kind: TimeKind = "seconds" if time is None else self._time_kind(time)
        columns = self._told_columns(time) if self.told.channel else self._number_columns(time)
        if not columns:
            raise self.unreadable(
                "there is no column of numbers in this table",
                "Take the file out, or say what it is in a column map",
            )
        return Layout(
            encoding=self.encoding,
            separator=self.separator,
            decimal=self.decimal,
            skip_lines=self.data[0][0] - 1,
            count=self.count,
            time=time,
            time_kind=kind,
            time_label="" if time is None else self.headers[time] or f"{time + 1}",
            columns=columns,
            missing=self.missing,
            set_aside=tuple(self.set_aside),
        )

    # The header

    def _is_data(self, cells: Sequence[str]) -> bool:
        return len(cells) == self.count and any(
            CLOCK.fullmatch(cell) or DATETIME.fullmatch(cell) or is_number(cell, ".") or is_number(cell, ",")
            for cell in cells
        )

    def _header(self) -> tuple[list[tuple[int, list[str]]], list[tuple[int, list[str]]]]:
        """Rows of the header and rows of data."""
        told = self.told.file.header_rows
        if told is not None:
            header, data = self.rows[:told], self.rows[told:]
        else:
            first = next(
                (n for n, (_, cells) in enumerate(self.rows) if self._is_data(cells)), len(self.rows)
            )
            header, data = self.rows[:first], self.rows[first:]
        if not data:
            raise self.unreadable(
                "there is a header but no row of numbers under it",
                "Export it again, or take it out",
                "line 1",
            )
        if not header and told is None:
            raise self.unreadable(
                "the table has no header: nothing says what its columns are",
                "Give a column map with header_rows = 0 that names them",
                f"line {data[0][0]}",
            )
        if told is None:
            # What stands above the names of the columns is no part of the table.
            names = max(1, 2 if len(header) > 1 and self._are_units(header[-1][1], header[-2][1]) else 1)
            above, header = header[:-names], header[-names:]
            if above:
                self.set_aside.append(
                    f"{self.path.name}, lines {above[0][0]} to {above[-1][0]}: text above the table"
                )
        return header, data

    @staticmethod
    def _are_units(cells: Sequence[str], above: Sequence[str]) -> bool:
        """Whether a row holds the units of the row above it."""
        written = [cell.strip("[]() ") for cell in cells if cell.strip("[]() -")]
        known = sum(parse_unit(text) is not None or is_clock_form(text) for text in written)
        return len(above) == len(cells) and bool(written) and known >= len(written) / 2

    def _labels(self, header: list[tuple[int, list[str]]]) -> tuple[list[str], list[str]]:
        """Headers and, from a second row, units; padded to the number of cells."""
        rows = [cells[: self.count] + [""] * (self.count - len(cells)) for _, cells in header]
        blank = [""] * self.count
        names = rows[0] if rows else list(blank)
        units = [bare(cell) for cell in rows[1]] if len(rows) > 1 else list(blank)
        if not rows and self.told.channel:
            for channel in self.told.channel:
                if isinstance(channel.column, int) and channel.label and 1 <= channel.column <= self.count:
                    names[channel.column - 1] = channel.label
        return names, units

    # Numbers

    def _cells(self, column: int) -> list[str]:
        """What the sample holds in a column, markers for missing left out."""
        cells = (cells[column] for _, cells in self.data if column < len(cells))
        return [cell for cell in cells if cell not in self.missing]

    def _decimal(self) -> str:
        if self.separator == ",":
            return "."
        cells = [cell for _, row in self.data for cell in row]
        commas = sum("," in cell and is_number(cell, ",") for cell in cells)
        points = sum("." in cell and is_number(cell, ".") for cell in cells)
        return "," if commas > points else "."

    def _number_columns(self, time: int | None) -> tuple[Column, ...]:
        columns = []
        for index in range(self.count):
            if index == time:
                continue
            cells = self._cells(index)
            name = self.headers[index] or str(index + 1)
            if cells and not any(is_number(cell, self.decimal) for cell in cells):
                stamps = all(CLOCK.fullmatch(c) or DATETIME.fullmatch(c) or DATE.fullmatch(c) for c in cells)
                what = "a second column of times" if stamps else "a column of text, not of numbers"
                self.set_aside.append(f"{self.path.name}, column {name}: {what}")
            elif cells or self.headers[index]:
                columns.append(Column(index, self.labels[index] or f"column {index + 1}", self.units[index]))
        return tuple(columns)

    def _told_columns(self, time: int | None) -> tuple[Column, ...]:
        columns = []
        for channel in self.told.channel:
            index = column_index(channel.column, self._names(), self.count, self.path)
            identity = (
                ""
                if channel.kind is None
                else "|".join((channel.kind, channel.site, channel.side, channel.statistic))
            )
            columns.append(
                Column(
                    index,
                    channel.label or self.labels[index] or f"column {index + 1}",
                    self.units[index] if channel.unit is None else channel.unit,
                    identity,
                )
            )
        read = {column.index for column in columns} | {time}
        for index in range(self.count):
            if index not in read and self._cells(index):
                name = self.headers[index] or str(index + 1)
                self.set_aside.append(f"{self.path.name}, column {name}: the column map leaves it out")
        return tuple(columns)

    def _names(self) -> list[str]:
        """What a map may call the columns: the whole header, or its label if that is the map's word for it."""
        called = {c.column.lower() for c in self.told.channel if isinstance(c.column, str)}
        if self.told.time is not None and isinstance(self.told.time.column, str):
            called.add(self.told.time.column.lower())
        return [
            label if label.lower() in called and header.lower() not in called else header
            for header, label in zip(self.headers, self.labels, strict=True)
        ]

    # Time

    def _time(self) -> int | None:
        told = self.told.time
        if told is not None:
            return (
                None
                if told.column is None
                else column_index(told.column, self._names(), self.count, self.path)
            )
        for index, (header, label, unit) in enumerate(
            zip(self.headers, self.labels, self.units, strict=True)
        ):
            if self._names_time(header, label) and (
                not parse_unit(unit) or dimension(parse_unit(unit) or "") == "time"
            ):
                return index
        for index in range(self.count):
            cells = self._cells(index)
            if cells and all(CLOCK.fullmatch(cell) or DATETIME.fullmatch(cell) for cell in cells):
                return index
        raise self.unreadable(
            f"no column holds times (headers: {', '.join(filter(None, self.headers)) or 'none'})",
            "Call it 'time' or say which it is in a column map, under [time]",
        )

    @staticmethod
    def _names_time(header: str, label: str) -> bool:
        words = re.sub(r"[_\s]+", " ", label.lower()).strip()
        stem, _, last = words.rpartition(" ")
        return (
            words in _TIME_NAMES
            or (stem in _TIME_NAMES and last in _NAMED_KINDS)
            or header.lower() in _TIME_NAMES
        )

    def _time_kind(self, time: int) -> TimeKind:
        if self.told.time is not None and self.told.time.kind is not None:
            return self.told.time.kind
        cells = self._cells(time)
        place = f"column {self.headers[time] or time + 1}"
        # The first cell decides; the row reader names the line of one that is written otherwise.
        first = cells[0] if cells else ""
        if CLOCK.fullmatch(first):
            return "clock"
        if DATETIME.fullmatch(first):
            return "datetime"
        if not is_number(first, self.decimal):
            raise self.unreadable(
                f"found {first!r} as a time; expected seconds, a clock such as 07:42:00, or 2031-05-04T07:42:00",
                "Say in a column map, under [time], what kind of time it is",
                place,
            )
        number = float(first.replace(",", "."))
        if number >= _EPOCH_SINCE:
            return "epoch_ms" if number >= 1000 * _EPOCH_SINCE else "epoch_s"
        return self._unit_kind(time, place)

    def _unit_kind(self, time: int, place: str) -> TimeKind:
        code = parse_unit(self.units[time])
        words = re.split(r"[_\s]+", self.labels[time].lower())
        kinds: dict[str, TimeKind] = {"s": "seconds", "ms": "milliseconds", "min": "minutes"}
        if code in kinds:
            return kinds[code]
        if words[-1] in _NAMED_KINDS:
            return _NAMED_KINDS[words[-1]]
        raise self.unreadable(
            "the times are plain numbers and nothing says whether they are seconds",
            "Write the unit into the header, as in 'time [s]', or say it in a column map, under [time]",
            place,
        )


def _decoded(path: Path, head: bytes, whole: bool, told: ColumnMap) -> tuple[str, str]:
    """Encoding and text of the first complete lines."""
    found = head_text(head, whole)
    if found is None:
        raise FileUnreadable("this is not a text file", path=path, todo="Export it as text, or take it out")
    encoding = told.file.encoding or encoding_of(head) or "utf-8"
    if told.file.encoding is not None:
        text = head.decode(encoding, "replace").replace("\r\n", "\n").replace("\r", "\n")
        found = text if whole else text[: text.rfind("\n") + 1]
    return encoding, found.lstrip("\ufeff")


def separator_of(lines: Sequence[str]) -> str:
    """The first separator by which nearly all of the later rows have the same number of cells."""
    for separator in SEPARATORS:
        counts = [len(cells) for _, cells in islice(rows_of(lines, separator), 400)]
        tail = counts[len(counts) // 2 :]
        if not tail:
            continue
        common, many = Counter(tail).most_common(1)[0]
        if common >= 2 and many >= 0.9 * len(tail):
            return separator
    return ","
