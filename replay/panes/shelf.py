"""Case shelf: what there is to do while no case is open."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)


class CaseShelf(QWidget):
    """Recent cases, and the ways to a first one.

    Signals
    -------
    case_wanted(folder)
    """

    case_wanted = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Case shelf")
        title = QLabel("Case shelf", self)
        title.setProperty("title", True)
        what = QLabel(
            "A case is a folder that holds the traces of one operation on one time axis, with everything that was"
            " marked on them. Bring in the exports of the devices to make one, or open the demonstration case to"
            " see what it looks like.",
            self,
        )
        what.setWordWrap(True)
        self.bring_in = QPushButton("Bring in folder…", self)
        self.open = QPushButton("Open case…", self)
        self.demo = QPushButton("Open demo", self)
        buttons = QHBoxLayout()
        for button in (self.bring_in, self.open, self.demo):
            button.setMinimumWidth(160)
            buttons.addWidget(button)
        buttons.addStretch(1)
        self.drop = QLabel("Drop a folder of exports, single export files, or a case folder here.", self)
        self.drop.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.drop.setMinimumHeight(120)
        self.drop.setProperty("drop", True)
        self.recent_title = QLabel("Recent cases", self)
        self.recent_title.setProperty("heading", True)
        self.recent = QListWidget(self)
        self.recent.setAccessibleName("Recent cases")
        self.recent.itemActivated.connect(
            lambda item: self.case_wanted.emit(str(item.data(Qt.ItemDataRole.UserRole)))
        )
        self.none_yet = QLabel("None yet.", self)
        self.none_yet.setProperty("quiet", True)
        inner = QVBoxLayout()
        for widget in (title, what):
            inner.addWidget(widget)
        inner.addLayout(buttons)
        inner.addWidget(self.drop)
        for widget in (self.recent_title, self.none_yet):
            inner.addWidget(widget)
        inner.addWidget(self.recent, 1)
        inner.addStretch(1)
        inner.setSpacing(14)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(40, 32, 40, 32)
        layout.addStretch(1)
        layout.addLayout(inner, 6)
        layout.addStretch(1)

    def show_recent(self, folders: Sequence[Path]) -> None:
        """List the cases opened lately; one that is gone says so and cannot be chosen."""
        self.recent.clear()
        for folder in folders:
            there = (folder / "traces").is_dir()
            item = QListWidgetItem(
                f"{folder.name}   —   {folder.parent}{'' if there else '   (not there now)'}"
            )
            item.setData(Qt.ItemDataRole.UserRole, str(folder))
            if not there:
                item.setFlags(Qt.ItemFlag.NoItemFlags)
            self.recent.addItem(item)
            if there and self.recent.currentRow() < 0:
                self.recent.setCurrentItem(item)
        self.none_yet.setVisible(not folders)
        self.recent.setVisible(bool(folders))
