"""Sources: what the case was brought in from, what became of the files since, and what is left out.

Nothing is written here: `wanted` carries what the person asks for, and the desk keeps it like any other edit.
"""

from __future__ import annotations

from collections.abc import Callable

from afterclamp.io.case import Case, Source
from afterclamp.io.origins import SourceFile
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from ..clock_words import clock_words

_HEADINGS = ("In the case", "Source", "Read as", "File", "Since then", "Lines", "Clock")
_IN = 0

_STATES = {
    "as it was": "as it was read",
    "changed": "changed since it was read; the case keeps what was read",
    "missing": "no longer where it lay; the case keeps what was read",
    "not known here": "brought in on another machine",
}


class SourcesBox(QDialog):
    """One row a source; the tick takes it out of the case, or puts it back.

    Signals
    -------
    wanted(source, present)
        A source is to be taken out, or put back.
    """

    wanted = Signal(str, bool)

    def __init__(self, read: Callable[[], Case], parent: QWidget | None = None) -> None:
        """`read` gives the case as it stands: it is asked again after each edit."""
        super().__init__(parent)
        self.setWindowTitle("Sources")
        self.resize(980, 320)
        self._read = read
        self._filling = False
        self.table = QTableWidget(0, len(_HEADINGS))
        self.table.setAccessibleName("Sources of the case")
        self.table.setHorizontalHeaderLabels(_HEADINGS)
        self.table.verticalHeader().hide()
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setStretchLastSection(True)
        self.table.itemChanged.connect(self._ticked)
        how = QLabel(
            "A source that is taken out stays in the case folder and takes part in nothing; it can be put back. "
            "Another one is added with Bring in, into the case that is open."
        )
        how.setWordWrap(True)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(self.table, 1)
        layout.addWidget(how)
        layout.addWidget(buttons)
        self.refresh()

    def refresh(self) -> None:
        """Read the case again."""
        case = self._read()
        places: dict[str, list[SourceFile]] = {}
        for file in case.source_state(thorough=False):
            places.setdefault(file.source, []).append(file)
        self._filling = True
        self.table.setRowCount(len(case.sources) + len(case.taken_out))
        for row, source in enumerate(case.sources):
            many = sum(channel.source == source.name for channel in case.channels)
            notes = sum(note.source == source.name for note in case.notes)
            files = places.get(source.name, [])
            self._fill(
                row,
                source.name,
                True,
                (
                    source.reader,
                    ", ".join(file.name for file in files) or ", ".join(name for name, _ in source.files),
                    "; ".join(dict.fromkeys(_STATES[file.state] for file in files))
                    or _STATES["not known here"],
                    _many(many, notes),
                    _clock(source),
                ),
                fixed=source.is_reference,
            )
        for row, name in enumerate(case.taken_out, len(case.sources)):
            self._fill(row, name, False, ("", "", "", "taken out", ""), fixed=False)
        self._filling = False

    def _fill(self, row: int, name: str, present: bool, cells: tuple[str, ...], *, fixed: bool) -> None:
        tick = QTableWidgetItem()
        tick.setCheckState(Qt.CheckState.Checked if present else Qt.CheckState.Unchecked)
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        tick.setFlags(flags if fixed else flags | Qt.ItemFlag.ItemIsUserCheckable)
        tick.setToolTip(
            "It keeps the reference clock, so it stays" if fixed else "Take it out, or put it back"
        )
        tick.setData(Qt.ItemDataRole.UserRole, name)
        self.table.setItem(row, _IN, tick)
        for column, text in enumerate((name, *cells), 1):
            item = QTableWidgetItem(text)
            item.setFlags(flags)
            item.setToolTip(text)
            self.table.setItem(row, column, item)

    def _ticked(self, item: QTableWidgetItem) -> None:
        if self._filling or item.column() != _IN:
            return
        present = item.checkState() == Qt.CheckState.Checked
        self.wanted.emit(str(item.data(Qt.ItemDataRole.UserRole)), present)
        self.refresh()


def _many(channels: int, notes: int) -> str:
    parts = [f"{channels} traces" if channels else "", f"{notes} lines of text" if notes else ""]
    return ", ".join(part for part in parts if part) or "nothing"


def _clock(source: Source) -> str:
    if source.is_reference:
        return "the reference"
    return (
        "not set"
        if source.clock.method == "unset"
        else f"{clock_words(source.clock)} ({source.clock.method})"
    )
