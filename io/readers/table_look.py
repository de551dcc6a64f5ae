"""A look at the first and last lines of a table: what the reader would make of them; see `preview`."""

from __future__ import annotations

import codecs
import io
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np

from ..errors import FileUnreadable
from ..terms import KINDS, Identity, identify
from ..units import convertible, parse_unit
from .cells import MISSING, is_number
from .column_map import ChannelTable, ColumnMap, ColumnName, TimeTable
from .layout import Column, Finder, Layout
from .plain_text import SEPARATORS, rows_of
from .previewed import Cell, Preview, PreviewColumn, PreviewTimes, Role
from .quoting import quoted
from .row_checks import ENDLESS, number_expected, refuse_stamp, wrong_length
from .spool import Spool
from .stamps import RowTimes, rows_before
from .table_rows import TableRows
from .table_times import even_pieces, refuse_disorder, start_of, steps_in_doubt, times_of
from .text_stamps import BadStamp, TextStamps

_TAIL: Final = 1 << 14
_FEW_DROPS: Final = 2  # falls to 0 and back at once that are worth a question


class Look:
    """One look at one file."""

    def __init__(self, path: Path, told: ColumnMap, finder: Finder, head: bytes, whole: bool) -> None:
        self.path = path
        self.told = told
        self.time = told.time or TimeTable()
        self.finder = finder
        self.head = head
        self.whole = whole
        self.errors: list[str] = []
        self.warnings: list[str] = []

    def preview(self, shown: int) -> Preview:
        """All that can be seen, with `shown` of the first rows."""
        finder = self.finder
        done = [
            self._tried(step)
            for step in (finder.find_rows, finder.find_headers, finder.find_time, finder.find_columns)
            if step == finder.find_rows or finder.data
        ]
        times = None
        if finder.data:
            self._check_rows()
            times = self._times(shown) if done[2] else None
        columns = tuple(self._column(index, shown) for index in range(len(finder.headers)))
        self._warn(columns)
        return Preview(
            path=self.path,
            separator=SEPARATORS.get(finder.separator, finder.separator),
            decimal=finder.decimal,
            encoding=finder.encoding,
            header=tuple(tuple(cells) for _, cells in finder.header),
            above=finder.header[0][0] - 1 if finder.header else 0,
            columns=columns,
            times=times,
            rows=self._rows_expected(),
            errors=tuple(dict.fromkeys(self.errors)),
            warnings=tuple(dict.fromkeys(self.warnings)),
            proposal=_proposal(self.told, finder),
        )

    def _tried(self, step: Callable[[], object]) -> bool:
        try:
            step()
        except FileUnreadable as cause:
            self.errors.append(cause.sentence)
            return False
        return True

    def _rows_expected(self) -> int:
        rows = len(self.finder.data)
        return rows if self.whole else round(rows * self.path.stat().st_size / len(self.head))

    # Columns

    def _column(self, index: int, shown: int) -> PreviewColumn:
        finder = self.finder
        column = next((one for one in finder.columns if one.index == index), None)
        label = finder.labels[index] if column is None else column.label
        unit = finder.units[index] if column is None else column.unit
        role: Role = "left out" if column is None else "channel"
        if index == finder.time:
            role = "time"
        elif index == finder.date:
            role = "date"
        told = column is not None and bool(column.identity)
        if column is None:
            identity = Identity("other")
        else:
            identity = Identity(*column.identity.split("|")) if told else identify(label, unit)
        first = (cells[index] if index < len(cells) else "" for _, cells in finder.data[:shown])
        return PreviewColumn(
            number=index + 1,
            header=finder.headers[index],
            label=label,
            unit_as_written=unit,
            unit=parse_unit(unit),
            identity=identity,
            role=role,
            told=told,
            cells=tuple(Cell(text, self._value(text, column)) for text in first),
        )

    def _value(self, text: str, column: Column | None) -> float | None:
        missing = MISSING if column is None else column.missing
        if text in missing or not is_number(text, self.finder.decimal):
            return None
        value = float(text.replace(self.finder.decimal, "."))
        # A number among the texts for missing is that number however it is written.
        if column is not None and value in _numbers(column):
            return None
        return value

    # Rows

    def _check_rows(self) -> None:
        """The first row of another length, and the first text among numbers, as the reader would name them."""
        finder = self.finder
        layout = finder.layout()
        for line, cells in finder.data:
            if len(cells) != finder.count and not (len(cells) == finder.count + 1 and not cells[-1]):
                self.errors.append(wrong_length(self.path, layout, line, len(cells)).sentence)
                return
        for column in finder.columns:
            for line, cells in finder.data:
                cell = cells[column.index]
                if not (cell in column.missing or is_number(cell, finder.decimal) or ENDLESS.fullmatch(cell)):
                    self.errors.append(number_expected(self.path, layout, line, column.label, cell).sentence)
                    break

    # Time

    def _times(self, shown: int) -> PreviewTimes | None:
        """Times of the first rows, and the last stamp of the file."""
        finder, told = self.finder, self.time
        layout = finder.layout()
        rows = [cells for _, cells in finder.data if any(cell not in MISSING for cell in cells)]
        last = rows[-1] if self.whole else self._last_row()
        try:
            times = self._row_times(layout, rows)
            pieces = even_pieces(self.path, times, told)
            if finder.time is not None:
                refuse_disorder(self.path, layout, times, lambda row: row)
        except FileUnreadable as cause:
            self.errors.append(cause.sentence)
            return None
        duration = self._duration(layout, rows[0], last)
        self.warnings += [doubt.words for doubt in steps_in_doubt(layout, times, pieces, told)]
        back = rows_before(times.run, lambda changes: changes != 0)
        self.warnings += [f"the clock goes back before row {row + 2}" for row in back.tolist()]
        seconds = times.seconds(np.arange(min(times.count, 1000), dtype=np.intp))
        steps = np.diff(seconds)
        forward = steps[steps > 0]
        interval = 1.0 / pieces[0].rate_hz if pieces else float(np.median(forward)) if len(forward) else None
        first, dated = start_of(times, told)
        return PreviewTimes(
            kind=layout.time_kind,
            date_order=layout.date_order,
            first_written=self._stamp(rows[0]),
            last_written=self._stamp(last) if last is not None else "",
            first=first,
            last=first + timedelta(seconds=duration) if first is not None and duration is not None else None,
            dated=dated,
            duration_s=duration,
            interval_s=interval,
            even=bool(pieces),
            seconds=tuple(seconds[:shown].tolist()),
        )

    def _stamp(self, cells: list[str]) -> str:
        """The time of a row as written, a date of its own column in front."""
        places = (self.finder.date, self.finder.time)
        return " ".join(cells[place] for place in places if place is not None and place < len(cells))

    def _row_times(self, layout: Layout, rows: Sequence[list[str]]) -> RowTimes:
        """Times of rows. The hour of summer time may well stand further down: it is no matter if it is not here."""
        try:
            return times_of(self.path, layout, self._table(layout, rows), self.time)
        except FileUnreadable:
            if self.time.summer_time is None:
                raise
            told = self.time.model_copy(update={"summer_time": None})
            return times_of(self.path, layout, self._table(layout, rows), told)

    def _table(self, layout: Layout, rows: Sequence[list[str]]) -> TableRows:
        table = TableRows(len(rows), None, None, [], Spool(0))
        if layout.time is None:
            return table
        cells = [row[layout.time] if layout.time < len(row) else "" for row in rows]
        if layout.time_kind not in ("clock", "datetime"):
            wrong = next((n for n, cell in enumerate(cells) if not is_number(cell, layout.decimal)), None)
            if wrong is not None:
                refuse_stamp(self.path, layout, wrong)
            table.stamps = np.array([float(cell.replace(layout.decimal, ".")) for cell in cells])
            return table
        table.text_stamps = TextStamps(layout.time_kind, layout.date_order)
        try:
            table.stamps = table.text_stamps.read(cells)
            if layout.date is not None:
                table.add_days([row[layout.date] if layout.date < len(row) else "" for row in rows], 0)
        except BadStamp as bad:
            refuse_stamp(self.path, layout, bad.row, bad)
        return table

    def _last_row(self) -> list[str] | None:
        """The last row of a file that is longer than its head; None where it is not whole."""
        finder = self.finder
        with self.path.open("rb") as file:
            size = file.seek(0, io.SEEK_END)
            file.seek(size - min(_TAIL, size) & ~1)  # on a whole sign of UTF-16
            tail = file.read(_TAIL)
        encoding = finder.encoding
        if encoding == "utf-16":
            encoding = "utf-16-be" if self.head.startswith(codecs.BOM_UTF16_BE) else "utf-16-le"
        text = tail.decode(encoding, "replace").replace("\r\n", "\n").replace("\r", "\n").rstrip("\n")
        last = text.rpartition("\n")[2]
        try:
            _, cells = next(rows_of([last], finder.separator), (0, []))
        except FileUnreadable:
            return None
        if len(cells) not in (finder.count, finder.count + 1) and '"' not in text:
            self.errors.append(
                finder.unreadable(
                    f"the last row has {len(cells)} columns; expected {finder.count} as in the rows before",
                    "Export the table again if the file was cut, or take the line out",
                ).sentence
            )
        return cells if len(cells) == finder.count else None

    def _duration(self, layout: Layout, first: list[str], last: list[str] | None) -> float | None:
        """Seconds from the first to the last row by their stamps, a midnight between them made good."""
        if layout.time is None:
            rate = self.time.rate_hz
            return None if rate is None else (self._rows_expected() - 1) / rate
        if last is None:
            return None
        table = self._table(layout, [first, last])
        told = self.time.model_copy(update={"summer_time": None})
        try:
            seconds = times_of(self.path, layout, table, told).seconds()
        except FileUnreadable:
            return None
        return float(seconds[-1]) if seconds[-1] >= 0 else None

    # What a person should look at

    def _warn(self, columns: Sequence[PreviewColumn]) -> None:
        finder = self.finder
        self.warnings += [line.removeprefix(f"{self.path.name}, ") for line in finder.set_aside]
        if finder.encoding == "latin-1" and self.told.file.encoding is None:
            self.warnings.append("this is not UTF-8; it is read as Latin-1")
        labels = Counter(column.label.lower() for column in columns if column.role == "channel")
        for column in columns:
            if column.role != "channel":
                continue
            if labels[column.label.lower()] > 1:
                self.warnings.append(
                    f"column {column.number}: {quoted(column.label)} is the name of another column too"
                )
            accepted = KINDS[column.identity.kind].units
            if accepted and not (column.unit and convertible(column.unit, accepted[0])):
                written = (
                    f"is written as {quoted(column.unit_as_written)}"
                    if column.unit_as_written
                    else "is not written"
                )
                self.warnings.append(
                    f"column {column.number}, {column.label}: its unit {written}; expected one of "
                    f"{', '.join(accepted)} for {column.identity.plain_name}"
                )
            self._warn_of_zeros(column)

    def _warn_of_zeros(self, column: PreviewColumn) -> None:
        """A pump that stands still comes to 0 by and by; a value that was not measured is 0 at once, and back."""
        column_of = next(one for one in self.finder.columns if one.index == column.number - 1)
        if 0.0 in _numbers(column_of):
            return
        decimal = self.finder.decimal
        cells = self.finder.cells(column.number - 1)
        values = [abs(float(cell.replace(decimal, "."))) for cell in cells if is_number(cell, decimal)]
        others = sorted(value for value in values if value)
        if not others or others[0] < others[len(others) // 2] / 2:
            return
        drops = sum(before > 0 == value for before, value in pairwise(values))
        rises = sum(after > 0 == value for value, after in pairwise(values))
        if min(drops, rises) >= _FEW_DROPS:
            self.warnings.append(
                f"column {column.number}, {column.label}: falls to 0 at once and rises again, "
                f'{min(drops, rises)} times in the first rows; if 0 stands for "no value", say zero_is_missing = true'
            )


def _numbers(column: Column) -> frozenset[float]:
    """Numbers that stand for "no value"."""
    told = {float(text) for text in column.missing[len(MISSING) :] if is_number(text, ".")}
    return frozenset(told | {0.0} if column.zero_is_missing else told)


def _proposal(told: ColumnMap, finder: Finder) -> ColumnMap:
    """What was told, and what was found where nothing was told."""
    if not finder.data or not finder.headers:
        return told
    file = told.file.model_copy(
        update={
            "separator": finder.separator,
            "decimal": finder.decimal,
            "encoding": told.file.encoding or ("latin-1" if finder.encoding == "latin-1" else None),
        }
    )
    time = told.time
    if finder.time is not None:
        time = (told.time or TimeTable()).model_copy(
            update={
                "column": _name(finder, finder.time),
                "kind": finder.kind,
                "date_column": None if finder.date is None else _name(finder, finder.date),
                "date_order": finder.order,
            }
        )
    channel = told.channel or tuple(
        ChannelTable(column=_name(finder, column.index), label=None if finder.header else column.label)
        for column in finder.columns
    )
    return told.model_copy(update={"file": file, "time": time, "channel": channel})


def _name(finder: Finder, index: int) -> ColumnName:
    """What a column map calls a column: its header, or its number where that is no name or not the only one."""
    headers = [" ".join(header.lower().split()) for header in finder.headers]
    header = headers[index]
    return finder.headers[index] if finder.header and header and headers.count(header) == 1 else index + 1
