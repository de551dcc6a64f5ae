"""A button with a menu: which columns of a table are shown, and by which it is sorted, all by keyboard."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Signal
from PySide6.QtGui import QAction, QActionGroup
from PySide6.QtWidgets import QMenu, QPushButton, QWidget


class ColumnsButton(QPushButton):
    """Columns and sorting of one table.

    Signals
    -------
    chosen(columns)
        Numbers of the columns to be shown, or None: as many as there is room for.
    sort_wanted(column)
        Sort by this column; asked again, the other way round.
    opened()
        The menu is about to be shown: tell it what is (`show_state`).
    """

    chosen = Signal(object)
    sort_wanted = Signal(int)
    opened = Signal()

    def __init__(self, headings: Sequence[str], parent: QWidget | None = None) -> None:
        super().__init__("Col&umns", parent)
        self.setToolTip("Choose the columns that are shown, and by which the rows are sorted")
        self._headings = tuple(headings)
        menu = QMenu(self)
        self.by_room = QAction("As many as there is &room for", menu, checkable=True)
        self.by_room.triggered.connect(lambda _: self.chosen.emit(None))
        self.every = QAction("&All", menu)
        self.every.triggered.connect(lambda _: self.chosen.emit(list(range(len(headings)))))
        menu.addAction(self.by_room)
        menu.addAction(self.every)
        menu.addSeparator()
        self.shown: list[QAction] = []
        for heading in headings:
            action = QAction(heading, menu, checkable=True)
            action.triggered.connect(self._pick)
            self.shown.append(action)
            menu.addAction(action)
        self.shown[0].setEnabled(False)  # a row without its name says nothing
        menu.addSeparator()
        sorting = menu.addMenu("&Sort by")
        group = QActionGroup(sorting)
        self.sorts: list[QAction] = []
        for number, heading in enumerate(headings):
            action = QAction(heading, sorting, checkable=True)
            action.triggered.connect(lambda _, number=number: self.sort_wanted.emit(number))
            group.addAction(action)
            self.sorts.append(action)
            sorting.addAction(action)
        menu.aboutToShow.connect(self.opened)
        self.setMenu(menu)

    def show_state(self, shown: Sequence[int], sorted_by: int, *, down: bool, by_room: bool) -> None:
        """Which columns are shown, and by which column and which way the rows are sorted."""
        self.by_room.setChecked(by_room)
        for number, (show, sort) in enumerate(zip(self.shown, self.sorts, strict=True)):
            show.setChecked(number in shown)
            sort.setChecked(number == sorted_by)
            way = ("greatest first" if down else "least first") if number == sorted_by else ""
            sort.setText(f"{self._headings[number]} ({way})" if way else self._headings[number])

    def _pick(self) -> None:
        self.chosen.emit([number for number, action in enumerate(self.shown) if action.isChecked()])
