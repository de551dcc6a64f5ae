"""The choices of how a table is read, each left to what the file shows or told by the person."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from afterclamp.io.readers.column_map import TIME_KINDS, ColumnMap
from afterclamp.io.readers.dates import DATE_ORDERS
from afterclamp.io.readers.plain_text import SEPARATORS
from afterclamp.io.readers.preview import Preview, PreviewColumn
from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFormLayout,
    QGridLayout,
    QGroupBox,
    QHBoxLayout,
    QLineEdit,
    QWidget,
)

_FOUND = "found"

_KIND_WORDS = {
    "seconds": "seconds",
    "milliseconds": "milliseconds",
    "minutes": "minutes",
    "clock": "time of day",
    "datetime": "date and time",
    "epoch_s": "seconds since 1970",
    "epoch_ms": "milliseconds since 1970",
}


class ColumnChoices(QWidget):
    """Three groups of choices: the file, its times, and what else it does not say.

    Signals
    -------
    changed()
        The person chose something.
    """

    changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._filling = False
        self.separator = self._choice("Separator", ("comma", "semicolon", "tab", "space", "bar"))
        self.decimal = self._choice("Decimal sign", (".", ","))
        self.encoding = self._choice("Encoding", ("utf-8", "utf-16", "latin-1"))
        self.header_rows = self._choice("Rows of headers", ("0", "1", "2"))
        self.skip_rows = self._line("Lines above it", "0")
        self.missing = self._line(
            "Also missing", "", "such as -1; off", "Stand for no value; between semicolons"
        )
        self.zero = QCheckBox("0 was never measured")
        self.zero.setToolTip("Take every value of 0 as missing, in every column")
        self.zero.toggled.connect(lambda _: self._changed())
        self.time_column = self._choice("Time column", ())
        self.time_kind = self._choice("Times are", tuple(TIME_KINDS), _KIND_WORDS)
        self.date_column = self._choice("Date column", ())
        self.date_order = self._choice("Order of a date", tuple(DATE_ORDERS))
        self.half_day = self._choice("A clock of 12 hours begins", ("am", "pm"))
        self.summer_time = self._choice("Summer time", ("begins", "ends"))
        self.rate = self._line(
            "Even rows a second",
            "",
            "such as 100",
            "Hz; where stamps are only rounded, or there are none",
        )
        self.uneven = QCheckBox("One row for each change")
        self.uneven.setToolTip("Rows keep their own times even where these look even")
        self.uneven.toggled.connect(lambda _: self._changed())
        self.start = self._line(
            "Clock at the first row",
            "",
            "07:42:00",
            "Where the rows do not say it: time, or date and time",
        )
        boxes = QHBoxLayout(self)
        boxes.setContentsMargins(0, 0, 0, 0)
        for title, rows in (
            ("The file", (self.separator, self.decimal, self.encoding, self.skip_rows, self.header_rows)),
            (
                "Its times",
                (self.time_column, self.time_kind, self.date_column, self.date_order, self.half_day),
            ),
            ("Besides", (self.missing, self.rate, self.start, self.summer_time)),
        ):
            group = QGroupBox(title)
            form = QFormLayout(group)
            for widget in rows:
                form.addRow(widget.accessibleName(), widget)
            if title == "Besides":
                ticks = QGridLayout()
                ticks.addWidget(self.zero, 0, 0)
                ticks.addWidget(self.uneven, 0, 1)
                form.addRow(ticks)
            boxes.addWidget(group)

    def _choice(
        self, name: str, values: tuple[str, ...], words: Mapping[str, str] | None = None
    ) -> QComboBox:
        box = QComboBox()
        box.setAccessibleName(name)
        box.addItem(_FOUND, "")
        for value in values:
            box.addItem((words or {}).get(value, value), value)
        box.currentIndexChanged.connect(lambda _: self._changed())
        return box

    def _line(self, name: str, text: str, example: str = "", tip: str = "") -> QLineEdit:
        line = QLineEdit(text)
        line.setAccessibleName(name)
        line.setPlaceholderText(example)
        line.setToolTip(tip)
        line.textEdited.connect(lambda _: self._changed())
        return line

    def _changed(self) -> None:
        if not self._filling:
            self.changed.emit()

    def told(self) -> dict[str, Any]:
        """Tables ``file`` and ``time`` of a column map: what the person said, nothing that was only found."""
        file: dict[str, Any] = {}
        for name, box in (
            ("separator", self.separator),
            ("decimal", self.decimal),
            ("encoding", self.encoding),
        ):
            if box.currentData():
                file[name] = box.currentData()
        if self.header_rows.currentData():
            file["header_rows"] = int(self.header_rows.currentData())
        if self.skip_rows.text().strip() not in ("", "0"):
            file["skip_rows"] = _number(self.skip_rows.text())
        missing = tuple(text.strip() for text in self.missing.text().split(";") if text.strip())
        if missing:
            file["missing"] = missing
        if self.zero.isChecked():
            file["zero_is_missing"] = True
        times: dict[str, Any] = {}
        for name, box in (
            ("column", self.time_column),
            ("kind", self.time_kind),
            ("date_column", self.date_column),
            ("date_order", self.date_order),
            ("half_day", self.half_day),
            ("summer_time", self.summer_time),
        ):
            if box.currentData():
                times[name] = box.currentData()
        if self.rate.text().strip():
            times["rate_hz"] = _number(self.rate.text())
        if self.uneven.isChecked():
            times["uneven"] = True
        if self.start.text().strip():
            times["start"] = self.start.text().strip()
        tables: dict[str, Any] = {"file": file}
        if times:
            tables["time"] = times
        return tables

    def show_found(self, seen: Preview) -> None:
        """Write what was found into the first entry of each choice."""
        self._filling = True
        times = seen.times
        found = {
            self.separator: seen.separator,
            self.decimal: seen.decimal,
            self.encoding: seen.encoding,
            self.header_rows: str(len(seen.header)) if seen.columns else "",
            self.time_kind: _KIND_WORDS.get(times.kind, "") if times else "",
            self.date_order: (times.date_order or "") if times else "",
            self.time_column: next((_title(one) for one in seen.columns if one.role == "time"), ""),
            self.date_column: next((_title(one) for one in seen.columns if one.role == "date"), ""),
        }
        for box, value in found.items():
            if not box.currentData():
                box.setItemText(0, f"{_FOUND}: {value}" if value else f"{_FOUND}: none")
        for box in (self.half_day, self.summer_time):
            box.setItemText(0, "not said")
        for box in (self.time_column, self.date_column):
            if box.count() - 1 != len(seen.columns):
                kept = box.currentData()
                while box.count() > 1:
                    box.removeItem(1)
                for column in seen.columns:
                    box.addItem(_title(column), column.number)
                box.setCurrentIndex(max(box.findData(kept), 0) if kept else 0)
        self._filling = False

    def take_over(self, told: ColumnMap, number_of: Callable[[int | str | None], int | None]) -> None:
        """Put a map's words into the choices."""
        self._filling = True
        file, times = told.file, told.time
        for box, value in (
            (self.separator, SEPARATORS.get(file.separator or "", "")),
            (self.decimal, file.decimal or ""),
            (self.encoding, file.encoding or ""),
            (self.header_rows, "" if file.header_rows is None else str(file.header_rows)),
        ):
            box.setCurrentIndex(max(box.findData(value), 0))
        self.skip_rows.setText(str(file.skip_rows))
        self.missing.setText("; ".join(file.missing))
        self.zero.setChecked(file.zero_is_missing)
        if times is not None:
            for box, said in (
                (self.time_column, number_of(times.column)),
                (self.time_kind, times.kind),
                (self.date_column, number_of(times.date_column)),
                (self.date_order, times.date_order),
                (self.half_day, times.half_day),
                (self.summer_time, times.summer_time),
            ):
                box.setCurrentIndex(max(box.findData(said), 0) if said else 0)
            self.rate.setText("" if times.rate_hz is None else f"{times.rate_hz:g}")
            self.uneven.setChecked(times.uneven)
            self.start.setText(times.start or "")
        self._filling = False

    def forget(self) -> None:
        """Leave everything to the file again."""
        self._filling = True
        for box in self.findChildren(QComboBox):
            box.setCurrentIndex(0)
        for line in (self.missing, self.rate, self.start):
            line.clear()
        self.skip_rows.setText("0")
        for tick in (self.zero, self.uneven):
            tick.setChecked(False)
        self._filling = False


def _number(text: str) -> float | int | str:
    """A typed number with a point or a comma; the text itself where it is none, to be refused in words."""
    text = text.strip().replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        return text
    return int(value) if value.is_integer() and "." not in text else value


def _title(column: PreviewColumn) -> str:
    return f"{column.number}: {column.header}" if column.header else str(column.number)


def times_words(seen: Preview) -> str:
    """What the times of a table's rows say, as a sentence."""
    times = seen.times
    if times is None:
        return "The times of the rows are not known yet."
    first, last = times.first_written or "the first", times.last_written or "the last"
    words = f"Rows from {first} to {last}, about {seen.rows} of them"
    if times.duration_s is not None:
        whole = round(times.duration_s)
        words += f", {whole // 60}:{whole % 60:02d} min"
    if times.interval_s:
        words += f"; {'even, ' if times.even else 'usually '}{times.interval_s:g} s apart"
    if times.first is not None and not times.dated:
        words += "; no date is written"
    return words + "."
