"""Match columns: how a table is read, seen while it is chosen, and kept as a column map for the next one like it.

Every choice is either left to what the file shows ("found: …") or told by the person. Nothing is brought in here:
the box writes the map, which the bring-in takes as it takes one given on the command line.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from afterclamp.io.errors import CaseError
from afterclamp.io.readers.column_map import ColumnMap, to_toml
from afterclamp.io.readers.preview import Preview, preview
from afterclamp.io.whole import written_whole
from pydantic import ValidationError
from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from ..strips.theme import plain_unit
from .column_choices import ColumnChoices, times_words

SHOWN_ROWS = 5
WAIT_MS = 120
"""Typing is waited for this long before the preview is made anew."""

_COLUMNS = ("Read", "No.", "Header", "Label", "Unit", "Taken as", "First values, as written and as read")
_READ, _NUMBER, _HEADER, _LABEL, _UNIT, _MEANING, _VALUES = range(7)


class MatchColumnsBox(QDialog):
    """The choices, what the table looks like with them, and what stands in the way.

    Signals
    -------
    matched(table, columns)
        Paths: of the table, and of the column map that was written for it.
    """

    matched = Signal(str, str)

    def __init__(
        self, table: Path, keep_in: Path, told: ColumnMap | None = None, parent: QWidget | None = None
    ) -> None:
        """`keep_in` is the folder that the map is written to when it is not saved elsewhere."""
        super().__init__(parent)
        self.setWindowTitle(f"Match columns: {table.name}")
        self.resize(1080, 720)
        self._table, self._keep_in = table, keep_in
        self._channels: list[dict[str, Any]] | None = None
        self._filling = False
        self.seen: Preview = preview(table, told, SHOWN_ROWS)
        self._wait = QTimer(self)
        self._wait.setSingleShot(True)
        self._wait.setInterval(WAIT_MS)
        self._wait.timeout.connect(self.look)
        self._build()
        if told is not None:
            self._take_over(told)
        self.look()

    # -- building -----------------------------------------------------------------------------------

    def _build(self) -> None:
        self.choices = ColumnChoices()
        self.choices.changed.connect(self._changed)
        self.times = QLabel()
        self.times.setWordWrap(True)
        self.columns = QTableWidget(0, len(_COLUMNS))
        self.columns.setAccessibleName("Columns of the table")
        self.columns.setHorizontalHeaderLabels(_COLUMNS)
        self.columns.verticalHeader().hide()
        header = self.columns.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(_VALUES, QHeaderView.ResizeMode.Stretch)
        self.columns.itemChanged.connect(self._cell_changed)
        self.said = QLabel()
        self.said.setWordWrap(True)
        self.said.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        buttons = QDialogButtonBox()
        self.use = buttons.addButton("Use this", QDialogButtonBox.ButtonRole.AcceptRole)
        self.use.setToolTip("Read the table this way, and propose it for the next table that begins alike")
        self.save = buttons.addButton("Save column map…", QDialogButtonBox.ButtonRole.ActionRole)
        self.save.setToolTip("Write the choices to a TOML file that bring-in takes with --columns")
        self.anew = buttons.addButton("As found", QDialogButtonBox.ButtonRole.ResetRole)
        self.anew.setToolTip("Forget every choice")
        buttons.addButton(QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        self.save.clicked.connect(self._save_as)
        self.anew.clicked.connect(self._forget)
        layout = QVBoxLayout(self)
        layout.addWidget(self.choices)
        layout.addWidget(self.times)
        layout.addWidget(self.columns, 1)
        layout.addWidget(self.said)
        layout.addWidget(buttons)

    # -- choices ------------------------------------------------------------------------------------

    def _changed(self) -> None:
        if not self._filling:
            self._wait.start()

    def told(self) -> ColumnMap:
        """What the person has said, and nothing that was only found.

        Raises
        ------
        ValidationError
            Choices that contradict each other, or a text that is not what its field takes.
        """
        tables = {"match": {"name": self._pattern()}, **self.choices.told()}
        if self._channels is not None:
            tables["channel"] = [one | {"column": self._named(one["column"])} for one in self._channels]
        return ColumnMap.model_validate(tables)

    def _pattern(self) -> str:
        """The map is for this table alone until it is saved for others; signs of a pattern stand for themselves."""
        return "".join(f"[{sign}]" if sign in "*?[" else sign for sign in self._table.name)

    def look(self) -> None:
        """Make the preview anew and show it."""
        self._wait.stop()
        try:
            told = self.told()
        except ValidationError as cause:
            self._say([_words(cause)], [])
            self.use.setEnabled(False)
            self.save.setEnabled(False)
            return
        self.seen = preview(self._table, told, SHOWN_ROWS)
        self._filling = True
        self.choices.show_found(self.seen)
        self.times.setText(times_words(self.seen))
        self._show_columns()
        self._filling = False
        self._say(self.seen.errors, self.seen.warnings)
        for button in (self.use, self.save):
            button.setEnabled(not self.seen.errors)

    def _show_columns(self) -> None:
        rows = self.seen.columns
        self.columns.setRowCount(len(rows))
        for place, column in enumerate(rows):
            read = column.role == "channel"
            tick = QTableWidgetItem()
            if column.role in ("channel", "left out"):
                tick.setFlags(
                    Qt.ItemFlag.ItemIsUserCheckable | Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
                )
                tick.setCheckState(Qt.CheckState.Checked if read else Qt.CheckState.Unchecked)
            else:
                tick.setFlags(Qt.ItemFlag.ItemIsEnabled)
                tick.setText(column.role)
            self.columns.setItem(place, _READ, tick)
            unknown = read and column.unit is None
            meaning = column.identity.plain_name if read else ""
            if read:
                unit = "unit not known" if unknown else plain_unit(column.unit or "")
                meaning = f"{meaning}, {unit}" if meaning else unit
            values = "   ".join(
                f"{cell.written} → {cell.value:g}"
                if read and cell.value is not None
                else cell.written or "blank"
                for cell in column.cells
            )
            for cell, text, editable in (
                (_NUMBER, str(column.number), False),
                (_HEADER, column.header, False),
                (_LABEL, column.label if read else "", read),
                (_UNIT, column.unit_as_written if read else "", read),
                (_MEANING, meaning, False),
                (_VALUES, values, False),
            ):
                item = QTableWidgetItem(text)
                flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
                item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if editable else flags)
                if cell == _UNIT and unknown:
                    item.setToolTip(
                        "Write the unit as it should have been written, such as mmHg; it is never guessed"
                    )
                self.columns.setItem(place, cell, item)

    def _cell_changed(self, item: QTableWidgetItem) -> None:
        if self._filling or item.column() not in (_READ, _LABEL, _UNIT):
            return
        column = self.seen.columns[item.row()]
        if self._channels is None:
            self._channels = [self._as_told(one.number) for one in self.seen.columns if one.role == "channel"]
        here = next((one for one in self._channels if one["column"] == column.number), None)
        if item.column() == _READ:
            if item.checkState() == Qt.CheckState.Unchecked and here is not None:
                self._channels.remove(here)
            elif item.checkState() == Qt.CheckState.Checked and here is None:
                self._channels.append(self._as_told(column.number))
                self._channels.sort(key=lambda one: (isinstance(one["column"], str), one["column"]))
        elif here is not None:
            key, text = (
                ("label", item.text().strip()) if item.column() == _LABEL else ("unit", item.text().strip())
            )
            if text:
                here[key] = text
            else:
                here.pop(key, None)
        self._changed()

    def _as_told(self, number: int) -> dict[str, Any]:
        column = self.seen.columns[number - 1]
        said: dict[str, Any] = {"column": number}
        if column.label:
            said["label"] = column.label[:80]
        if column.unit_as_written:
            said["unit"] = column.unit_as_written[:40]
        if column.told:
            identity = column.identity
            said |= {"kind": identity.kind, "site": identity.site, "side": identity.side}
            said["statistic"] = identity.statistic
        return said

    def _take_over(self, told: ColumnMap) -> None:
        """Put a map's words into the choices."""
        self._filling = True
        self.choices.show_found(self.seen)
        self.choices.take_over(told, self._number_of)
        if told.channel:
            self._channels = [one.model_dump(exclude_defaults=True) for one in told.channel]
            for one in self._channels:
                one["column"] = self._number_of(one["column"]) or one["column"]
        self._filling = False

    def _number_of(self, column: int | str | None) -> int | None:
        if isinstance(column, str):
            return next(
                (one.number for one in self.seen.columns if one.header.strip() == column.strip()), None
            )
        return column

    def _named(self, number: int | str) -> int | str:
        """A column by its header where that is its alone: a map by names also serves a table in another order."""
        if not self.seen.header:
            return number  # what stands for a name there is ours
        headers = [one.header for one in self.seen.columns]
        header = headers[number - 1].strip() if isinstance(number, int) and 0 < number <= len(headers) else ""
        return header if header and [one.strip() for one in headers].count(header) == 1 else number

    def _forget(self) -> None:
        self._filling = True
        self._channels = None
        self.choices.forget()
        self._filling = False
        self.look()

    # -- keeping ------------------------------------------------------------------------------------

    def _say(self, errors: tuple[str, ...] | list[str], warnings: tuple[str, ...] | list[str]) -> None:
        lines = [*(f"In the way: {line}" for line in errors), *(f"Look at: {line}" for line in warnings)]
        self.said.setText("\n".join(lines) or "Nothing is in the way.")

    def write(self, path: Path) -> Path:
        """Write the whole map, what was told and what was found, to a file.

        Raises
        ------
        CannotWrite
            No room or no permission.
        """
        with written_whole(
            path, replacing=True, parents=True, what="the column map could not be written"
        ) as partial:
            partial.write_text(to_toml(self.seen.proposal), "utf-8")
        return path

    def _save_as(self) -> None:
        start = str(self._table.with_name(f"{self._table.stem}-columns.toml"))
        chosen, _ = QFileDialog.getSaveFileName(self, "Save column map", start, "Column maps (*.toml)")
        if chosen:
            self._tried(Path(chosen))

    def _tried(self, path: Path) -> Path | None:
        try:
            return self.write(path)
        except CaseError as said:
            self.said.setText(said.sentence)
            return None

    def _take(self) -> None:
        self.look()
        if self.seen.errors:
            return
        written = self._tried(self._keep_in / f"{self._table.name}-columns.toml")
        if written is not None:
            self.matched.emit(str(self._table), str(written))
            self.accept()


def _words(cause: ValidationError) -> str:
    said = []
    for one in cause.errors():
        where = " ".join(str(part) for part in one["loc"])
        what = str(one["msg"]).removeprefix("Value error, ")
        said.append(f"{where}: {what}" if where else what)
    return "; ".join(said)
