"""A list of things in time: rows with a filter box, jumped to by Enter or double click."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QSortFilterProxyModel,
    Qt,
    Signal,
)
from PySide6.QtGui import QColor, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLabel,
    QStyle,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from .typing_boxes import FilterBox

_Index = QModelIndex | QPersistentModelIndex
_Role = Qt.ItemDataRole
PADDING = 17  # pixels beside the text of a cell
BESIDE = 15  # pixels of these that text may not use
SORT_SIGN = 16  # pixels of the sign that says which way a column is sorted
MARGIN = 4  # pixels around the list
WIDEST = 0.4  # share of the list that a column of words may take before its words are wrapped
_DIM = QColor("#6A6A66")  # 5.3:1 on the ground


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes
    ----------
    heading : str
    sample : str
        A text that it has room for from the start; it grows with what it holds. Empty: it takes what is left.
    tip : str
        What the column holds.
    right : bool
        Set flush right.
    spare : bool
        Left out where the words would have no room, the last one first: what it says stands in the row's tip as
        well.
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

        self.filter = FilterBox(self)
        self.filter.setPlaceholderText(f"Filter {name.lower()}")
        self.filter.setAccessibleName(f"Filter {name.lower()}")
        self.filter.setToolTip("Enter goes to the first hit, Down into the list, Esc clears")
        self.filter.setClearButtonEnabled(True)
        self.filter.textChanged.connect(self._filter)
        self.filter.returnPressed.connect(self._to_first_hit)
        self.filter.left.connect(self.to_list)

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
        self._widest: list[int] = []
        self._least: list[int] = []
        self._widths: dict[int, int] = {}
        self._dress_header()
        self._measure()
        self.table.horizontalHeader().sortIndicatorChanged.connect(self._sorted)
        self.table.activated.connect(self._jump)
        self.table.selectionModel().selectionChanged.connect(lambda *_: self.selected.emit())

        self._why_empty = empty
        self.empty = QLabel(empty, self)
        self.empty.setWordWrap(True)
        self.empty.setProperty("quiet", True)

        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, MARGIN, MARGIN, 0)
        layout.setSpacing(4)
        layout.addWidget(self.filter)
        layout.addWidget(self.empty)
        layout.addWidget(self.table, 1)

    def set_rows(self, rows: Sequence[Row]) -> None:
        """Show other rows; the selected one stays selected while it is among them."""
        kept = self.current
        self.model.set_rows(rows)
        self._say_empty()
        self._measure()
        self._fit()
        if kept is not None:
            self.select(kept.key)

    def say_why_empty(self, words: str) -> None:
        """What stands in place of rows while there are none."""
        self._why_empty = words
        self._say_empty()

    @property
    def current(self) -> Row | None:
        """The selected row."""
        chosen = self.table.selectionModel().selectedRows()
        return self.row_at(chosen[0]) if chosen else None

    def row_at(self, index: QModelIndex) -> Row:
        """The row that the table shows at an index."""
        return self.model.rows[self._proxy.mapToSource(index).row()]

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
        return [self.row_at(proxy.index(number, 0)) for number in range(proxy.rowCount())]

    def to_list(self) -> None:
        """Put the keyboard in the table, on a row."""
        self.table.setFocus(Qt.FocusReason.ShortcutFocusReason)
        if self._proxy.rowCount() and not self.table.selectionModel().hasSelection():
            at = self.table.currentIndex()  # the focus alone makes a row current without selecting it
            self.table.setCurrentIndex(at if at.isValid() else self._proxy.index(0, 0))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share out the room again."""
        super().resizeEvent(event)
        self._fit()

    def _filter(self, text: str) -> None:
        self._proxy.setFilterFixedString(text)
        self._say_empty()
        self._fit_heights()

    def _say_empty(self) -> None:
        words = self._why_empty
        many = len(self.model.rows)
        if many:
            lines = "row" if many == 1 else f"{many} rows"
            words = f"None of the {lines} has “{self.filter.text()}” in it. Esc clears the filter."
        self.empty.setText(words)
        self.empty.setVisible(not self._proxy.rowCount())

    def _to_first_hit(self) -> None:
        if self._proxy.rowCount():
            first = self._proxy.index(0, 0)
            self.table.setCurrentIndex(first)
            self._jump(first)

    def _jump(self, index: QModelIndex) -> None:
        self.jumped.emit(self.row_at(index))

    def _sorted(self) -> None:
        """Rows stand elsewhere, and another heading carries the sign."""
        self._measure()
        self._fit()

    # -- widths -------------------------------------------------------------------------------------

    def _dress_header(self) -> None:
        header = self.table.horizontalHeader()
        header.setHighlightSections(False)
        header.setMinimumSectionSize(24)
        for number, column in enumerate(self.model.columns):
            stretch = QHeaderView.ResizeMode.Stretch
            header.setSectionResizeMode(
                number, QHeaderView.ResizeMode.Interactive if column.sample else stretch
            )

    def _measure(self) -> None:
        """The width that each column needs to cut nothing, on one line and with its words wrapped."""
        wide = self.fontMetrics().horizontalAdvance
        self._widest, self._least = [], []
        for number, column in enumerate(self.model.columns):
            texts = {row.cells[number] for row in self.model.rows}
            heading = wide(column.heading) + (SORT_SIGN if number == self._sorted_by() else 0)
            longest = max((wide(text) for text in texts), default=0)
            word = max((wide(word) for text in texts for word in text.split()), default=0)
            self._widest.append(max(longest, wide(column.sample), heading) + PADDING)
            self._least.append(max(word, heading) + PADDING)

    def _sorted_by(self) -> int:
        return self.table.horizontalHeader().sortIndicatorSection()

    def _fit(self) -> None:
        """Share out the room: spare columns go before a word is cut; what is still too long is wrapped."""
        # With room kept for a scroll bar: whether one is needed follows from the heights that are chosen here.
        margins = self.contentsMargins().left() + self.contentsMargins().right() + 2 * MARGIN
        bar = self.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent)
        room = self.width() - margins - bar - 2 * self.table.frameWidth()
        columns = self.model.columns
        limit = max(round(WIDEST * room), 60)
        need = [min(wide, limit) if columns[n].sample else wide for n, wide in enumerate(self._widest)]
        shown = list(range(len(columns)))
        for number in reversed(range(len(columns))):
            if columns[number].spare and sum(need[n] for n in shown) > room:
                shown.remove(number)
        fixed = [number for number in shown if columns[number].sample]
        short = sum(need[n] if n in fixed else self._least[n] for n in shown) - room
        for number in sorted(fixed, key=lambda n: self._least[n] - need[n]):
            given = min(max(short, 0), max(need[number] - self._least[number], 0))
            need[number] -= given
            short -= given
        wide = sum(need[n] for n in fixed)
        for number in range(len(columns)):
            self.table.setColumnHidden(number, number not in shown)
            if number in fixed:
                self.table.horizontalHeader().resizeSection(number, need[number])
        self._widths = {n: need[n] if columns[n].sample else room - wide for n in shown}
        self._fit_heights()

    def _fit_heights(self) -> None:
        """One line a row; where a column has no room for its words, as many as they need."""
        line = self.fontMetrics().height() + 6
        too_long = [number for number, width in self._widths.items() if self._widest[number] > width]
        self.table.setWordWrap(bool(too_long))
        header = self.table.verticalHeader()
        header.setDefaultSectionSize(line)
        for at in range(self._proxy.rowCount()):
            row = self.row_at(self._proxy.index(at, 0))
            needed = max(
                (self._height(row.cells[number], self._widths[number]) for number in too_long), default=0
            )
            header.resizeSection(at, max(line, needed + 6))

    def _height(self, text: str, width: int) -> int:
        box = QRect(0, 0, width - BESIDE, 10_000)
        return self.fontMetrics().boundingRect(box, Qt.TextFlag.TextWordWrap, text).height()
