"""How a table is written, found out from its first rows or told by a column map.

Nothing that would change numbers is guessed: a table without a header or with one that does not fit its rows, a
time without a unit or kind, and a separator that does not hold are asked for, not assumed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from ..errors import FileUnreadable
from ..units import parse_unit
from .cells import CLOCK, DATE, DATETIME, MISSING, bare, is_clock_form, is_number, split_unit
from .column_map import ColumnMap, ColumnName, TimeKind, column_index
from .dates import DateOrder
from .plain_text import decoded_head, rows_of, separator_of
from .quoting import quoted, shown
from .time_columns import Headed, TimeUnclear, date_column, date_order, time_column, time_kind

Row = tuple[int, list[str]]
"""Line number from 1, and cells."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of numbers.

    Attributes
    ----------
    index : int
        From 0.
    label, unit : str
        As written, or as a map says.
    identity : str
        What a map says that it is: kind, site, side and statistic joined by bars; else empty.
    missing : tuple of str
        Texts that mean "no value".
    zero_is_missing : bool
        Whether 0 does too.
    """

    index: int
    label: str
    unit: str
    identity: str = ""
    missing: tuple[str, ...] = MISSING
    zero_is_missing: bool = False


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read a table.

    Attributes
    ----------
    skip_lines : int
        Physical lines before the first row of data.
    count : int
        Cells of a row.
    time, date : int or None
        Index of the time column, None where a map gives only the rate; of a column of dates beside clocks.
    date_order : str or None
        Order of day, month and year; None where no date of the first rows needs one.
    time_label, date_label : str
        Their headers, for messages.
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
    set_aside: tuple[str, ...] = ()
    date: int | None = None
    date_label: str = ""
    date_order: DateOrder | None = None


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
    finder = Finder(path, head, whole, told or ColumnMap())
    finder.find_rows()
    finder.find_headers()
    finder.find_time()
    finder.find_columns()
    return finder.layout()


class Finder:
    """One table being found out, step by step; each step uses what the ones before it found.

    A step that cannot be done raises `FileUnreadable` and leaves what the others found: what can be shown of a
    table that needs a person's word is shown.
    """

    def __init__(self, path: Path, head: bytes, whole: bool, told: ColumnMap) -> None:
        self.path = path
        self.told = told
        self.set_aside: list[str] = []
        self._whole = whole
        self.encoding, self._text = decoded_head(path, head, whole, told.file.encoding)
        self.separator = ""
        self.decimal = ""
        self.rows: list[Row] = []
        self.header: list[Row] = []
        self.data: list[Row] = []
        self.count = 0
        self.headers: list[str] = []
        self.labels: list[str] = []
        self.units: list[str] = []
        self.time: int | None = None
        self.date: int | None = None
        self.kind: TimeKind = "seconds"
        self.order: DateOrder | None = None
        self.columns: tuple[Column, ...] = ()

    def unreadable(self, what: str, todo: str, place: str = "") -> FileUnreadable:
        """What stands in the way, with the file."""
        return FileUnreadable(what, path=self.path, place=shown(place), todo=todo)

    # The steps

    def find_rows(self) -> None:
        """Separator, rows, cells of a row."""
        told = self.told.file
        lines = self._text.split("\n")[told.skip_rows :]
        self.separator = told.separator or separator_of(lines)
        self.rows = list(
            rows_of(lines, self.separator, self.path, told.skip_rows, checked=True, whole=self._whole)
        )
        if not self.rows:
            raise self.unreadable("there is no line of text in this file", "Export it again, or take it out")
        lengths = Counter(len(cells) for _, cells in self.rows)
        self.count = max(lengths, key=lambda length: (lengths[length], length))
        self._part_header()

    def find_headers(self) -> None:
        """Headers, labels, units and the decimal sign."""
        self.headers, units = self._labels()
        self.decimal = self.told.file.decimal or self._decimal()
        split = [split_unit(text, self.headers) for text in self.headers]
        self.labels = [label for label, _ in split]
        self.units = [second or unit for (_, unit), second in zip(split, units, strict=True)]
        self._refuse_misfit()

    def find_time(self) -> None:
        """The column of times, that of dates, and how they are written."""
        told = self.told.time
        if told is not None and told.by_rate_alone:
            return
        columns = [
            Headed(index, *parts, partial(self.cells, index))
            for index, parts in enumerate(zip(self.headers, self.labels, self.units, strict=True))
        ]
        try:
            if told is not None and told.column is not None:
                time = columns[self._index(told.column)]
            else:
                time = time_column(columns)
            self.time = time.index
            kind = told.kind if told is not None else None
            self.kind = kind or time_kind(time, self.decimal)
            date: Headed | None = None
            if told is not None and told.date_column is not None:
                date = columns[self._index(told.date_column)]
                if date.index == self.time:
                    raise self.unreadable(
                        "the column map gives the same column as 'column' and as 'date_column'",
                        'Leave date_column out, and give kind = "datetime" if each cell holds both',
                    )
                self.kind = "clock"
            elif self.kind == "clock" and kind is None:
                date = date_column(columns, time.index)
            self.date = None if date is None else date.index
            self.order = date_order(told, self.kind, time, date)
        except TimeUnclear as unclear:
            raise self.unreadable(unclear.what, unclear.todo, unclear.place) from unclear

    def find_columns(self) -> None:
        """The columns of numbers, or those of the map."""
        self.columns = self._told_columns() if self.told.channel else self._number_columns()
        if not self.columns:
            raise self.unreadable(
                "there is no column of numbers in this table",
                "Take the file out, or say what it is in a column map",
            )

    def layout(self) -> Layout:
        """All that was found."""

        def name(index: int | None) -> str:
            return "" if index is None else self.headers[index] or f"{index + 1}"

        return Layout(
            encoding=self.encoding,
            separator=self.separator,
            decimal=self.decimal,
            skip_lines=self.data[0][0] - 1,
            count=self.count,
            time=self.time,
            time_kind=self.kind,
            time_label=name(self.time),
            columns=self.columns,
            set_aside=tuple(self.set_aside),
            date=self.date,
            date_label=name(self.date),
            date_order=self.order,
        )

    # The header

    def _is_data(self, cells: Sequence[str]) -> bool:
        return len(cells) == self.count and any(
            CLOCK.fullmatch(cell) or DATETIME.fullmatch(cell) or is_number(cell, ".") or is_number(cell, ",")
            for cell in cells
        )

    def _part_header(self) -> None:
        """Rows of the header and rows of data."""
        told = self.told.file.header_rows
        if told is not None:
            header, data = self.rows[:told], self.rows[told:]
        else:
            first = next(
                (n for n, (_, cells) in enumerate(self.rows) if self._is_data(cells)), len(self.rows)
            )
            header, data = self.rows[:first], self.rows[first:]
        self.data = data
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
            names = 2 if len(header) > 1 and self._are_units(header[-1][1], header[-2][1]) else 1
            above, header = header[:-names], header[-names:]
            if above:
                self.set_aside.append(
                    f"{self.path.name}, lines {above[0][0]} to {above[-1][0]}: text above the table"
                )
        self.header = header

    @staticmethod
    def _are_units(cells: Sequence[str], above: Sequence[str]) -> bool:
        """Whether a row holds the units of the row above it; blanks are units that nobody wrote."""
        written = [cell.strip("[]() ") for cell in cells if cell.strip("[]() -")]
        known = sum(parse_unit(text) is not None or is_clock_form(text) for text in written)
        return len(above) == len(cells) and any(above) and known >= len(written) / 2

    def _labels(self) -> tuple[list[str], list[str]]:
        """Headers and, from a second row, units; padded to the number of cells."""
        rows = [
            [" ".join(cell.split()) for cell in cells[: self.count]] + [""] * (self.count - len(cells))
            for _, cells in self.header
        ]
        blank = [""] * self.count
        names = rows[0] if rows else list(blank)
        units = [bare(cell).strip("-") for cell in rows[1]] if len(rows) > 1 else list(blank)
        if not rows:
            for channel in self.told.channel:
                if isinstance(channel.column, int) and channel.label and 1 <= channel.column <= self.count:
                    names[channel.column - 1] = channel.label
        return names, units

    def _refuse_misfit(self) -> None:
        """A header with fewer or more names than the rows have cells names the wrong columns."""
        if not self.header or self._told_by_number():
            return
        line, names = self.header[0]
        unnamed = range(len(names), self.count)
        if any(names[self.count :]) or any(self.cells(index) for index in unnamed):
            raise self.unreadable(
                f"the header names {len(names)} columns; the rows under it have {self.count}",
                "Export it with a separator that stands in no name or number, or give a column map that names the "
                "columns by their numbers",
                f"line {line}",
            )

    def _told_by_number(self) -> bool:
        told = self.told
        if not told.channel or any(isinstance(channel.column, str) for channel in told.channel):
            return False
        return told.time is not None and (told.time.by_rate_alone or isinstance(told.time.column, int))

    # Numbers

    def cells(self, column: int) -> list[str]:
        """What the first rows hold in a column, markers for missing left out."""
        missing = (*MISSING, *self.told.file.missing)
        cells = (cells[column] for _, cells in self.data if column < len(cells))
        return [cell for cell in cells if cell not in missing]

    def _decimal(self) -> str:
        cells = [cell for _, row in self.data for cell in row]
        commas = sum("," in cell and is_number(cell, ",") for cell in cells)
        if not commas:
            return "."
        return "," if commas > sum("." in cell and is_number(cell, ".") for cell in cells) else "."

    def _number_columns(self) -> tuple[Column, ...]:
        columns = []
        for index in range(self.count):
            if index in (self.time, self.date):
                continue
            cells = self.cells(index)
            name = self.headers[index] or str(index + 1)
            if cells and not any(is_number(cell, self.decimal) for cell in cells):
                stamps = all(CLOCK.fullmatch(c) or DATETIME.fullmatch(c) or DATE.fullmatch(c) for c in cells)
                what = "a second column of times" if stamps else "a column of text, not of numbers"
                self.set_aside.append(f"{self.path.name}, column {name}: {what}")
            elif cells or self.headers[index]:
                columns.append(
                    Column(
                        index,
                        self.labels[index] or f"column {index + 1}",
                        self.units[index],
                        missing=(*MISSING, *self.told.file.missing),
                        zero_is_missing=self.told.file.zero_is_missing,
                    )
                )
        return tuple(columns)

    def _told_columns(self) -> tuple[Column, ...]:
        columns: list[Column] = []
        told = self.told.file
        for channel in self.told.channel:
            index = self._index(channel.column)
            if index in (self.time, self.date):
                raise self.unreadable(
                    f"the column map gives column {quoted(channel.column)} as a channel and as the time",
                    "Correct the column map",
                )
            if any(column.index == index for column in columns):
                raise self.unreadable(
                    f"the column map gives column {quoted(channel.column)} twice", "Correct the column map"
                )
            zero = channel.zero_is_missing
            columns.append(
                Column(
                    index,
                    channel.label or self.labels[index] or f"column {index + 1}",
                    self.units[index] if channel.unit is None else channel.unit,
                    ""
                    if channel.kind is None
                    else "|".join((channel.kind, channel.site, channel.side, channel.statistic)),
                    missing=(*MISSING, *told.missing, *channel.missing),
                    zero_is_missing=told.zero_is_missing if zero is None else zero,
                )
            )
        read = {column.index for column in columns} | {self.time, self.date}
        for index in range(self.count):
            if index not in read and self.cells(index):
                name = self.headers[index] or str(index + 1)
                self.set_aside.append(f"{self.path.name}, column {name}: the column map leaves it out")
        return tuple(columns)

    def _index(self, name: ColumnName) -> int:
        """Index of a column that the map names, by its whole header or by its label."""
        told = self.told.time
        called = {c.column.lower() for c in self.told.channel if isinstance(c.column, str)}
        for also in () if told is None else (told.column, told.date_column):
            if isinstance(also, str):
                called.add(also.lower())
        names = [
            label if label.lower() in called and header.lower() not in called else header
            for header, label in zip(self.headers, self.labels, strict=True)
        ]
        return column_index(name, names, self.count, self.path)
