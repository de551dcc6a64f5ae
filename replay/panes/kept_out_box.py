"""What was found in exports that says who somebody is, before anything is brought in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QDialogButtonBox,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

_HEADINGS: Final = {
    "file": "File",
    "place": "Place",
    "kind": "What it is",
    "text": "As it stands there",
    "done": "What is done with it",
}


class KeptOutBox(QDialog):
    """A table of what was found; it is only shown, and gone when the box is closed.

    Parameters
    ----------
    rows : sequence of mapping
        As of `afterclamp.replay.kept_out.rows`.
    """

    def __init__(self, rows: Sequence[Mapping[str, str]], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("What would be kept out")
        self.resize(820, 460)
        self.told = QLabel(
            "This says, or may say, who somebody is or on which day it was. It is only shown here. No list knows"
            " every name: read a case through before it is handed on."
            if rows
            else "Nothing was found that says who somebody is. No list knows every name: read a case through"
            " before it is handed on.",
            self,
        )
        self.told.setWordWrap(True)
        self.table = QTableWidget(len(rows), len(_HEADINGS), self)
        self.table.setAccessibleName("What was found")
        self.table.setHorizontalHeaderLabels(list(_HEADINGS.values()))
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setTabKeyNavigation(False)
        self.table.setShowGrid(False)
        self.table.verticalHeader().hide()
        for at, row in enumerate(rows):
            for column, name in enumerate(_HEADINGS):
                item = QTableWidgetItem(row[name])
                item.setToolTip(row[name])
                self.table.setItem(at, column, item)
        header = self.table.horizontalHeader()
        header.setHighlightSections(False)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        self.table.resizeColumnsToContents()
        header.setStretchLastSection(True)
        self.table.setVisible(bool(rows))
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close, self)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(self.told)
        layout.addWidget(self.table, 1)
        layout.addWidget(buttons)
