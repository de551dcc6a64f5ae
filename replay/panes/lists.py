"""A list of things in time: rows with a filter box, jumped to by Enter or double click."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QSortFilterProxyModel,
    Qt,
    Signal,
)
from PySide6.QtGui import QColor, QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLabel,
    QLineEdit,
    QTableView,
    QVBoxLayout,
    QWidget,
)

_Index = QModelIndex | QPersistentModelIndex
_Role = Qt.ItemDataRole
PADDING = 16  # pixels beside the text of a cell
NARROW_CHARACTERS = 84  # a list narrower than this leaves its spare columns out
_DIM = QColor("#6A6A66")  # 5.3:1 on the ground


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes
    ----------
    heading : str
    sample : str
        The longest text it must show; empty: it takes what is left.
    tip : str
        What the column holds.
    right : bool
        Set flush right.
    spare : bool
        Left out where the list is narrow: what it says stands in the row's tip as well.
    """

    heading: str
    sample: str = ""
    tip: str = ""
    right: bool = False
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """One thing in time.

    Attributes
    ----------
    key : str
        Stable name, by which the selection survives a new list.
    start, end : float
        Reference seconds.
    cells : tuple of str
        What stands in the columns.
    order : tuple
        What the columns sort by.
    tip : str
        Shown on hovering.
    dim : bool
        Set aside: written in grey, its state says so as well.
    item : object
        What the row stands for.
    """

    key: str
    start: float
    end: float
    cells: tuple[str, ...]
    order: tuple[Any, ...]
    tip: str = ""
    dim: bool = False
    item: Any = None


class RowsModel(QAbstractTableModel):
    """Rows under columns, for Qt's views."""

    def __init__(self, columns: Sequence[Column], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.columns = tuple(columns)
        self.rows: list[Row] = []

    def set_rows(self, rows: Sequence[Row]) -> None:
        """Show other rows."""
        self.beginResetModel()
        self.rows = list(rows)
        self.endResetModel()

    def rowCount(self, parent: _Index = QModelIndex()) -> int:  # noqa: B008
        """Rows under the headings."""
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: _Index = QModelIndex()) -> int:  # noqa: B008
        """Columns."""
        return 0 if parent.isValid() else len(self.columns)

    def data(self, index: _Index, role: int = _Role.DisplayRole) -> Any:
        """What stands in a cell, and how it looks."""
        row = self.rows[index.row()]
        if role in (_Role.DisplayRole, _Role.AccessibleTextRole):
            return row.cells[index.column()]
        if role == _Role.UserRole:
            return row.order[index.column()]
        if role == _Role.ToolTipRole:
            return row.tip or row.cells[index.column()]
        if role == _Role.ForegroundRole and row.dim:
            return _DIM
        if role == _Role.TextAlignmentRole and self.columns[index.column()].right:
            return Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        return None

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = _Role.DisplayRole) -> Any:
        """Headings of the columns."""
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == _Role.DisplayRole:
            return self.columns[section].heading
        if role == _Role.ToolTipRole:
            return self.columns[section].tip or self.columns[section].heading
        if role == _Role.TextAlignmentRole:
            side = Qt.AlignmentFlag.AlignRight if self.columns[section].right else Qt.AlignmentFlag.AlignLeft
            return side | Qt.AlignmentFlag.AlignVCenter
        return None

    def set_heading(self, section: int, heading: str) -> None:
        """Write another heading over a column."""
        old = self.columns[section]
        changed = replace(old, heading=heading)
        self.columns = (*self.columns[:section], changed, *self.columns[section + 1 :])
        self.headerDataChanged.emit(Qt.Orientation.Horizontal, section, section)


class TypingBox(QLineEdit):
    """A line to type in that keeps every plain key for itself: the desk's one-letter keys rest meanwhile."""

    def event(self, event: QEvent) -> bool:
        """Claim plain keys before any shortcut does."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            held = event.modifiers() & ~(
                Qt.KeyboardModifier.ShiftModifier | Qt.KeyboardModifier.KeypadModifier
            )
            function_key = Qt.Key.Key_F1 <= event.key() <= Qt.Key.Key_F35
            if held == Qt.KeyboardModifier.NoModifier and not function_key:
                event.accept()
                return True
        return super().event(event)


class ListPane(QWidget):
    """A filter box above a table.

    Signals
    -------
    jumped(row)
        The person wants to go where this row begins.
    selected()
        Another row, or none, is selected: ask `current`.
    """

    jumped = Signal(object)
    selected = Signal()

    def __init__(
        self, name: str, columns: Sequence[Column], empty: str, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.model = RowsModel(columns, self)
        self._proxy = QSortFilterProxyModel(self)
        self._proxy.setSourceModel(self.model)
        self._proxy.setFilterKeyColumn(-1)
        self._proxy.setFilterCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
        self._proxy.setSortRole(_Role.UserRole)

        self.filter = TypingBox(self)
        self.filter.setPlaceholderText(f"Filter {name.lower()}")
        self.filter.setAccessibleName(f"Filter {name.lower()}")
        self.filter.setClearButtonEnabled(True)
        self.filter.textChanged.connect(self._filter)

        self.table = QTableView(self)
        self.table.setAccessibleName(name)
        self.table.setModel(self._proxy)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSortingEnabled(True)
        self.table.setTabKeyNavigation(False)
        self.table.setShowGrid(False)
        self.table.setWordWrap(False)
        self.table.setAlternatingRowColors(True)
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + 6)
        self.table.sortByColumn(0, Qt.SortOrder.AscendingOrder)
        self._size_columns()
        self.table.activated.connect(self._jump)
        self.table.doubleClicked.connect(self._jump)
        self.table.selectionModel().selectionChanged.connect(lambda *_: self.selected.emit())

        self.empty = QLabel(empty, self)
        self.empty.setWordWrap(True)
        self.empty.setProperty("quiet", True)

        layout = QVBoxLayout(self)
        layout.setContentsMargins(4, 4, 4, 0)
        layout.setSpacing(4)
        layout.addWidget(self.filter)
        layout.addWidget(self.empty)
        layout.addWidget(self.table, 1)

    def set_rows(self, rows: Sequence[Row]) -> None:
        """Show other rows; the selected one stays selected while it is among them."""
        kept = self.current
        self.model.set_rows(rows)
        self.empty.setVisible(not rows)
        if kept is not None:
            self.select(kept.key)

    @property
    def current(self) -> Row | None:
        """The selected row."""
        chosen = self.table.selectionModel().selectedRows()
        return self.model.rows[self._proxy.mapToSource(chosen[0]).row()] if chosen else None

    def select(self, key: str) -> bool:
        """Select the row of this key, if it is shown."""
        for number, row in enumerate(self.model.rows):
            if row.key == key:
                index = self._proxy.mapFromSource(self.model.index(number, 0))
                if index.isValid():
                    self.table.setCurrentIndex(index)
                    self.table.scrollTo(index)
                return index.isValid()
        return False

    def shown(self) -> list[Row]:
        """The rows that pass the filter, as sorted."""
        proxy = self._proxy
        return [
            self.model.rows[proxy.mapToSource(proxy.index(number, 0)).row()]
            for number in range(proxy.rowCount())
        ]

    def to_list(self) -> None:
        """Put the keyboard in the table, on a row."""
        self.table.setFocus(Qt.FocusReason.ShortcutFocusReason)
        if self._proxy.rowCount() and not self.table.currentIndex().isValid():
            self.table.setCurrentIndex(self._proxy.index(0, 0))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave spare columns out where the words would have no room."""
        super().resizeEvent(event)
        narrow = self.width() < NARROW_CHARACTERS * self.fontMetrics().averageCharWidth()
        for number, column in enumerate(self.model.columns):
            self.table.setColumnHidden(number, narrow and column.spare)

    def _filter(self, text: str) -> None:
        self._proxy.setFilterFixedString(text)

    def _jump(self, index: QModelIndex) -> None:
        self.jumped.emit(self.model.rows[self._proxy.mapToSource(index).row()])

    def _size_columns(self) -> None:
        header = self.table.horizontalHeader()
        header.setHighlightSections(False)
        for number, column in enumerate(self.model.columns):
            if column.sample:
                header.setSectionResizeMode(number, QHeaderView.ResizeMode.Interactive)
                header.resizeSection(number, self.fontMetrics().horizontalAdvance(column.sample) + PADDING)
            else:
                header.setSectionResizeMode(number, QHeaderView.ResizeMode.Stretch)
