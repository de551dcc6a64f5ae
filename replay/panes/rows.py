"""What a list shows: rows under columns, which of them pass a filter, and in which order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QModelIndex,
    QObject,
    QPersistentModelIndex,
    QSortFilterProxyModel,
    Qt,
)
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QWidget

_Index = QModelIndex | QPersistentModelIndex
_Role = Qt.ItemDataRole
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
    firm : bool
        Left out only where words would be cut although they are wrapped, after every spare one.
    whole : bool
        Its words stay on one line, as those of a number and its unit do, while there is room.
    """

    heading: str
    sample: str = ""
    tip: str = ""
    right: bool = False
    spare: bool = False
    firm: bool = False
    whole: bool = False


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
    also : str
        Words that the filter finds it by besides those of its cells.
    """

    key: str
    start: float
    end: float
    cells: tuple[str, ...]
    order: tuple[Any, ...]
    tip: str = ""
    dim: bool = False
    item: Any = None
    also: str = ""


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


class RowsProxy(QSortFilterProxyModel):
    """Which rows are shown, in which order: those that hold the words of the filter, and that are wanted."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._wanted: Callable[[Row], bool] | None = None
        self.setFilterKeyColumn(-1)
        self.setFilterCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
        self.setSortRole(_Role.UserRole)

    def want(self, wanted: Callable[[Row], bool] | None) -> None:
        """Show only rows that this holds for; None shows all."""
        self._wanted = wanted
        self.invalidate()

    def filterAcceptsRow(self, source_row: int, source_parent: _Index) -> bool:
        """Whether a row is shown."""
        model = self.sourceModel()
        assert isinstance(model, RowsModel)
        if self._wanted is not None and not self._wanted(model.rows[source_row]):
            return False
        also = model.rows[source_row].also
        return super().filterAcceptsRow(source_row, source_parent) or (
            bool(also) and self.filterRegularExpression().match(also).hasMatch()
        )
