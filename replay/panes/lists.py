"""A list of things in time: rows with a filter box, jumped to by Enter or double click."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import QModelIndex, QPoint, QRect, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLabel,
    QMenu,
    QStyle,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from .rows import Column, Row, RowsModel, RowsProxy
from .typing_boxes import FilterBox

__all__ = ["Column", "ListPane", "Row", "RowsModel"]

PADDING = 17  # pixels beside the text of a cell
BESIDE = 15  # pixels of these that text may not use
SORT_SIGN = 16  # pixels of the sign that says which way a column is sorted
MARGIN = 4  # pixels around the list
WORDS = 0.28  # share that the words keep beside a firm column
WORDS_BESIDE_WHOLE = 0.22  # the same beside a column that is kept on one line
WIDEST = 0.4  # share of the list that a column of words may take before its words are wrapped


class ListPane(QWidget):
    """A filter box above a table.

    Signals
    -------
    jumped(row)
        The person wants to go where this row begins.
    selected()
        Another row, or none, is selected: ask `current`.
    shown_changed()
        Other rows are shown, by another filter or other rows.
    """

    jumped = Signal(object)
    selected = Signal()
    shown_changed = Signal()

    def __init__(
        self, name: str, columns: Sequence[Column], empty: str, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.model = RowsModel(columns, self)
        self._proxy = RowsProxy(self)
        self._proxy.setSourceModel(self.model)

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
        self._uncut: list[int] = []
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

        self._column = layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, MARGIN, MARGIN, 0)
        layout.setSpacing(4)
        layout.addWidget(self.filter)
        layout.addWidget(self.empty)
        layout.addWidget(self.table, 1)

    def set_rows(self, rows: Sequence[Row]) -> None:
        """Show other rows; the selected one stays selected while it is shown, else the one that took its place."""
        place = self._place()
        self.model.set_rows(rows)
        self._say_empty()
        self._measure()
        self._fit()
        self._back_to(place)
        self.shown_changed.emit()

    def want(self, wanted: Callable[[Row], bool] | None) -> None:
        """Show only rows that this holds for, beside the words of the filter."""
        place = self._place()
        self._proxy.want(wanted)
        self._refiltered(place)

    def say_why_empty(self, words: str) -> None:
        """What stands in place of rows while there are none."""
        self._why_empty = words
        self._say_empty()

    @property
    def current(self) -> Row | None:
        """The selected row; of several the one that the keyboard is on."""
        chosen = self.table.selectionModel().selectedRows()
        at = self.table.currentIndex().row()
        return self.row_at(next((one for one in chosen if one.row() == at), chosen[0])) if chosen else None

    @property
    def chosen(self) -> list[Row]:
        """Every selected row, as sorted."""
        found = self.table.selectionModel().selectedRows()
        return [self.row_at(index) for index in sorted(found, key=lambda index: index.row())]

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

    # -- order --------------------------------------------------------------------------------------

    @property
    def sorting(self) -> tuple[str, bool]:
        """Heading of the column that rows are sorted by, and whether the greatest stands first."""
        header = self.table.horizontalHeader()
        descending = header.sortIndicatorOrder() == Qt.SortOrder.DescendingOrder
        return self._heading(self._sorted_by()), descending

    def sort(self, heading: str, descending: bool = False) -> None:
        """Sort by the column of this heading; one that is not there changes nothing."""
        order = Qt.SortOrder.DescendingOrder if descending else Qt.SortOrder.AscendingOrder
        for number in range(len(self.model.columns)):
            if self._heading(number) == heading:
                self.table.sortByColumn(number, order)

    def ask_sorting(self) -> QMenu:
        """A menu of the columns, by one of which the rows are then sorted; the one in force turns them round."""
        menu = QMenu(self)
        menu.setAccessibleName("Sort by")
        now, descending = self.sorting
        for number in range(len(self.model.columns)):
            heading = self._heading(number)
            way = f"  {'greatest' if descending else 'least'} first, turn round" if heading == now else ""
            entry = menu.addAction(f"Sort by {heading}{way}")
            turned = heading == now and not descending
            entry.triggered.connect(
                lambda _=False, heading=heading, turned=turned: self.sort(heading, turned)
            )
            if heading == now:
                menu.setActiveAction(entry)
        menu.aboutToHide.connect(menu.deleteLater)
        menu.popup(self.table.mapToGlobal(QPoint(0, 0)))
        return menu

    def _heading(self, number: int) -> str:
        """What a column is called when sorted by; that of the times has the unit in force over it."""
        return "Time" if number == 0 else self.model.columns[number].heading

    # -- filter -------------------------------------------------------------------------------------

    def _filter(self, text: str) -> None:
        place = self._place()
        self._proxy.setFilterFixedString(text)
        self._refiltered(place)

    def _refiltered(self, place: list[str]) -> None:
        self._say_empty()
        self._fit_heights()
        self._back_to(place)
        self.shown_changed.emit()

    def _place(self) -> list[str]:
        """Keys of the rows shown: the selected one, those after it, then those before it, the nearest first."""
        kept = self.current
        if kept is None:
            return []
        keys = [row.key for row in self.shown()]
        at = keys.index(kept.key)
        return keys[at:] + keys[:at][::-1]

    def _back_to(self, place: Sequence[str]) -> None:
        """Select what was selected; where it is hidden now, the row that moved into its place."""
        there = {row.key for row in self.shown()}
        key = next((key for key in place if key in there), None)
        now = self.current
        if key is not None and (now is None or now.key != key):
            self.select(key)

    def _say_empty(self) -> None:
        self.empty.setText(self._why_none() if self.model.rows else self._why_empty)
        self.empty.setVisible(not self._proxy.rowCount())

    def _why_none(self) -> str:
        """What stands in place of rows while none of them passes the filter."""
        many = len(self.model.rows)
        lines = "row" if many == 1 else f"{many} rows"
        return f"None of the {lines} has “{self.filter.text()}” in it. Esc clears the filter."

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
        self._widest, self._least, self._uncut = [], [], []
        for number, column in enumerate(self.model.columns):
            texts = {row.cells[number] for row in self.model.rows}
            heading = wide(column.heading) + (SORT_SIGN if number == self._sorted_by() else 0)
            longest = max((wide(text) for text in texts), default=0)
            word = max((wide(word) for text in texts for word in text.split()), default=0)
            word = longest if column.right else word  # a number and its unit stay on one line
            self._widest.append(max(longest, wide(column.sample), heading) + PADDING)
            self._least.append(max(word, heading) + PADDING)
            self._uncut.append(max(longest if column.whole else word, heading) + PADDING)

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
            too_wide = columns[number].spare and sum(need[n] for n in shown) > room
            if too_wide or (columns[number].firm and sum(self._least[n] for n in shown) > room):
                shown.remove(number)
        fixed = [number for number in shown if columns[number].sample]
        # Beside a firm column the words keep a share of the room, so that it does not push them to one word a line.
        share = round(WORDS * room) if any(columns[n].firm for n in shown) else 0
        least = {n: min(self._widest[n], max(self._least[n], share)) for n in shown if n not in fixed}
        # A class and its subtype stay on one line while the words keep some room beside them.
        words = round(WORDS_BESIDE_WHOLE * room)
        whole = sum(self._uncut[n] if n in fixed else max(self._uncut[n], words) for n in shown) <= room
        narrowest = self._uncut if whole else self._least
        short = sum(need[n] if n in fixed else least[n] for n in shown) - room
        for number in sorted(fixed, key=lambda n: narrowest[n] - need[n]):
            given = min(max(short, 0), max(need[number] - narrowest[number], 0))
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
