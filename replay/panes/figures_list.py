"""Minutes and areas: every figure with its denominator; a row goes to the seconds that it counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import floor
from typing import TYPE_CHECKING

from afterclamp.io.case import Span
from PySide6.QtCore import QModelIndex, Qt, Signal
from PySide6.QtGui import QGuiApplication, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from ..figure_text import as_text
from ..figure_words import (
    bridged_words,
    figure_name,
    figure_names,
    is_of_another_line,
    largest_words,
    limit_order,
    limit_text,
    note_sentences,
    outside_words,
    rivals_words,
    sentence,
    set_title,
    within_words,
)
from ..wording import NONE, length, minutes, phase_name, quantity, readable, site_words
from .columns_button import ColumnsButton
from .elided_label import ElidedLabel
from .lists import Column, ListPane, Row

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure

COLUMNS = (
    Column("Measure", "", "What was measured, and in which part of the case"),
    Column("Limit", "below 280 mL/min/m²", "A number that somebody published or chose; none is a target"),
    Column("Outside", "12.3 of 238.2 min ± 3 s",
           "Minutes outside the limit, of the minutes observed, and the 95 % interval of those outside", right=True),
    Column("Area or mean", "2348 mmHg·min", "Depth times time outside the limit; a mean where there is no limit",
           right=True, spare=True),
    Column("Largest", "2348 mmHg·min", "Area of the largest single stretch outside the limit", right=True, spare=True),
    Column("With masked bridged", "12.3 of 238.2 min, 2348 mmHg·min",
           "Minutes and area with a straight line across masked seconds: an estimate", right=True, spare=True),
    Column("Seen", "92 % seen", "Complete, or how much of what is asked for was recorded and not masked",
           right=True, spare=True),
    Column("Site", "left radial", "Which channel it rests on", spare=True),
    Column("Observed", "238.2 min", "Minutes that it was measured over", right=True, spare=True),
    Column("Left out", "171.4 min", "Minutes that the measure leaves out by design, such as arrests",
           right=True, spare=True),
    Column("Masked", "12.0 min", "Minutes taken for artefact; 0 where artefacts are left in", right=True, spare=True),
    Column("Missing", "12.0 min", "Minutes that were not recorded", right=True, spare=True),
    Column("Source", "de Somer et al. Crit Care 2011;…", "Who says the limit, and in which set it stands", spare=True),
)  # fmt: skip

NOTE_LINES = 7
"""Lines of what must be known of a figure that are seen at once; the rest is scrolled."""

LONGEST_SOURCE = 34  # letters of a source in the table; whole in the tip and below

ANOTHER_LINE = "another line changes it"
"""Words that the filter finds figures by whose conclusion another arterial line would change."""

NAME_SHARE = 0.4  # of the table, for the name of a figure where the columns are scrolled sideways

NOT_COMPUTED = "The figures have not been worked out yet."

SAID = {"masked": "Masked: artefacts are left out and counted", "raw": "Raw: artefacts are left in"}


def seen_share(figure: Figure) -> float | None:
    """How much of the seconds that a figure asks for was recorded and not masked; None where it asks for none.

    What is left out by design is not asked for.
    """
    asked_s = figure.observed_s + figure.masked_s + figure.missing_s
    return figure.observed_s / asked_s if asked_s > 0 else None


def seen_words(figure: Figure) -> str:
    """``"complete"`` or ``"92 % seen"``: rounded down, so that what is not complete is never 100 %."""
    share = seen_share(figure)
    if share is None or figure.value is None:
        return "not computed"
    if share >= 1.0:
        return "complete"
    return f"{floor(100 * share)} % seen" if share >= 0.01 else "< 1 % seen"


def figure_row(number: int, figure: Figure, name: str = "") -> Row:
    """One figure as a row, by another name where its own is another's too; its times are those of its first stretch."""
    source = readable("; ".join(filter(None, [figure.limit_source, set_title(figure)])))
    site = site_words(figure.site)
    cells = (
        readable(name or figure_name(figure)),
        limit_text(figure),
        outside_words(figure),
        quantity(figure.value, figure.unit),
        largest_words(figure),
        bridged_words(figure),
        seen_words(figure),
        site,
        minutes(figure.observed_s),
        minutes(figure.excluded_s),
        minutes(figure.masked_s),
        minutes(figure.missing_s),
        elided(source, LONGEST_SOURCE),
    )
    start, end = figure.runs[0] if figure.runs else (0.0, 0.0)
    order = (
        number,
        limit_order(figure),
        figure.outside_s,
        figure.value or 0.0,
        figure.largest_single_area or 0.0,
        figure.bridged_outside_s or 0.0,
        seen_share(figure) or 0.0,
        site,
        figure.observed_s,
        figure.excluded_s,
        figure.masked_s,
        figure.missing_s,
        source,
    )
    return Row(
        key=str(number),
        start=start,
        end=end,
        cells=cells,
        order=order,
        tip=told(figure),
        dim=figure.value is None,
        item=figure,
        also=ANOTHER_LINE if figure.other_lines else "",
    )


def elided(text: str, letters: int) -> str:
    """A text cut to a number of letters, with dots where something is cut."""
    return text if len(text) <= letters else f"{text[: letters - 1].rstrip()}…"


def told(figure: Figure) -> str:
    """What a reader of the figure must know, in sentences: what another line would have said stands first."""
    sentences = note_sentences(figure)
    first = [one for one in sentences if is_of_another_line(one)]
    rest = [one for one in sentences if not is_of_another_line(one)]
    within = f" {within_words(figure)}" if within_words(figure) else ""
    lines = [
        sentence("; ".join(first)),
        f"{figure.measure.replace('_', ' ').capitalize()}, {phase_name(figure.phase)}, {limit_text(figure)}: "
        f"outside {minutes(figure.outside_s)}{within}, observed {minutes(figure.observed_s)}, left out "
        f"{minutes(figure.excluded_s)}, masked {minutes(figure.masked_s)}, missing {minutes(figure.missing_s)}.",
    ]
    if figure.longest_run_s:
        lines.append(
            f"Longest stretch {length(figure.longest_run_s)} min:s; largest single area {largest_words(figure)}."
        )
    if bridged_words(figure) != NONE:
        lines.append(f"With a straight line across masked seconds, an estimate: {bridged_words(figure)}.")
    if figure.site:
        lines.append(f"From: {site_words(figure.site)}.")
    lines.append(sentence("; ".join(rest)))
    if figure.limit_source:
        of_set = f"; set {set_title(figure)}" if figure.limit_set else ""
        lines.append(f"Limit: {readable(figure.limit_source)}{of_set}.")
    if figure.rivals:
        lines.append(f"Other limits: {rivals_words(figure)}.")
    if figure.method:
        lines.append(f"Counted: {readable(figure.method)}.")
    return "\n".join(filter(None, lines))


class FiguresList(ListPane):
    """The list of figures, with what must be known of the selected one below it.

    Enter goes to the first stretch outside the limit, Enter again to the next. Ctrl+C copies the selected rows, or
    all that are shown where one or none is selected.

    Signals
    -------
    runs_chosen(list)
        Other rows are selected: every stretch that their figures count, as `Span`; none for a mean.
    limits_wanted()
        The person wants to see the limits in force.
    """

    runs_chosen = Signal(list)
    limits_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        self._chosen: list[int] | None = (
            None  # columns that a person chose; None: as many as there is room for
        )
        super().__init__("Minutes and areas", COLUMNS, NOT_COMPUTED, parent)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.table.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.heading = ElidedLabel(self)
        self.heading.setAccessibleName("What the figures go by")
        self.limits = QPushButton("Li&mits…", self)
        self.limits.setToolTip("See the limits in force, their sources and rivals; choose others")
        self.limits.clicked.connect(self.limits_wanted)
        self.columns = ColumnsButton([column.heading for column in COLUMNS], self)
        self.columns.chosen.connect(self.choose_columns)
        self.columns.sort_wanted.connect(self._sort_by)
        self.columns.opened.connect(self._tell_button)
        top = QHBoxLayout()
        top.setSpacing(4)
        for widget, share in ((self.heading, 1), (self.limits, 0), (self.columns, 0)):
            top.addWidget(widget, share)
        self.note = QLabel("", self)
        self.note.setWordWrap(True)
        self.note.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.note.setAccessibleName("What must be known of this figure")
        self.note.setAlignment(Qt.AlignmentFlag.AlignTop)
        page = QScrollArea(self)
        page.setWidgetResizable(True)
        page.setFrameShape(QFrame.Shape.NoFrame)
        page.hide()
        page.setFixedHeight(NOTE_LINES * self.fontMetrics().height())  # the rows keep their room
        page.setWidget(self.note)
        layout = self.layout()
        if isinstance(layout, QVBoxLayout):
            layout.insertLayout(0, top)
            layout.addWidget(page)
        self._page = page
        self._shown: tuple[Span, ...] = ()
        self._at = -1  # which stretch of the selected row was gone to last
        self.selected.connect(self._tell)
        # The table itself would copy one cell.
        copy = QShortcut(QKeySequence(QKeySequence.StandardKey.Copy), self)
        copy.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        copy.activated.connect(lambda: QGuiApplication.clipboard().setText(self.as_text()))

    @property
    def current(self) -> Row | None:
        """The selected row; of several, the one that the keyboard stands on."""
        chosen = self._chosen_rows()
        at = self.table.currentIndex()
        standing = self.row_at(at) if at.isValid() else None
        return standing if standing in chosen else chosen[0] if chosen else None

    def _chosen_rows(self) -> list[Row]:
        """The selected rows, from top to bottom."""
        indexes = sorted(self.table.selectionModel().selectedRows(), key=lambda index: index.row())
        return [self.row_at(index) for index in indexes]

    @property
    def runs(self) -> list[Span]:
        """The stretches that the selected figures count."""
        return [Span(*run) for run in sorted({run for row in self._chosen_rows() for run in row.item.runs})]

    def show_figures(self, figures: Sequence[Figure]) -> None:
        """Show the figures that could be computed; the others stand at the end, in grey."""
        ordered = sorted(figures, key=lambda figure: figure.value is None)
        named = enumerate(zip(ordered, figure_names(ordered), strict=True))
        self.set_rows([figure_row(number, figure, name) for number, (figure, name) in named])
        self._head(ordered)
        self._tell()

    def _head(self, figures: Sequence[Figure]) -> None:
        said = "; ".join(SAID.get(one, one) for one in dict.fromkeys(figure.clean for figure in figures))
        sets = "; ".join(dict.fromkeys(figure.limit_set for figure in figures if figure.limit_set))
        parts = [said.partition(":")[0], f"limits: {sets}" if sets else ""]
        self.heading.set_words("; ".join(filter(None, parts)))
        told = [said, f"Limits: {sets}" if sets else ""]
        self.heading.setToolTip("\n".join(f"{part}." for part in told if part))

    def as_text(self) -> str:
        """Several selected rows, else all that are shown: tab-separated, units in the headings, every column."""
        chosen = self._chosen_rows()
        rows = chosen if len(chosen) > 1 else self.shown()
        return as_text([row.item for row in rows])

    # -- columns ------------------------------------------------------------------------------------

    @property
    def chosen_columns(self) -> list[int] | None:
        """Columns that a person chose; None where as many are shown as there is room for."""
        return self._chosen

    def choose_columns(self, chosen: Sequence[int] | None) -> None:
        """Show these columns, scrolled sideways where they are too wide; None: as many as there is room for."""
        self._chosen = None if chosen is None else sorted({0, *(n for n in chosen if 0 <= n < len(COLUMNS))})
        self._dress_header()
        self._fit()

    def _fit(self) -> None:
        if self._chosen is None:
            super()._fit()
            return
        header = self.table.horizontalHeader()
        for number in range(len(COLUMNS)):
            header.setSectionResizeMode(number, QHeaderView.ResizeMode.Interactive)
            self.table.setColumnHidden(number, number not in self._chosen)
            header.resizeSection(number, self._wanted(number))
        self._widths = {number: self._wanted(number) for number in self._chosen}
        self._fit_heights()

    def _wanted(self, number: int) -> int:
        """Width of a chosen column; the first is wrapped before it takes the room of the numbers."""
        most = max(round(NAME_SHARE * self.table.width()), self._least[number])
        return self._widest[number] if number else min(self._widest[number], most)

    def _sort_by(self, column: int) -> None:
        """Sort by a column; the same again the other way round."""
        header, up = self.table.horizontalHeader(), Qt.SortOrder.AscendingOrder
        again = header.sortIndicatorSection() == column and header.sortIndicatorOrder() == up
        self.table.sortByColumn(column, Qt.SortOrder.DescendingOrder if again else up)

    def _tell_button(self) -> None:
        shown = [number for number in range(len(COLUMNS)) if not self.table.isColumnHidden(number)]
        header = self.table.horizontalHeader()
        down = header.sortIndicatorOrder() == Qt.SortOrder.DescendingOrder
        self.columns.show_state(shown, header.sortIndicatorSection(), down=down, by_room=self._chosen is None)

    # -- the selected figure ------------------------------------------------------------------------

    def _tell(self) -> None:
        row, runs = self.current, self.runs
        if tuple(runs) != self._shown:
            self._shown, self._at = tuple(runs), -1
            self.runs_chosen.emit(runs)
        self._write_note(row)

    def _write_note(self, row: Row | None) -> None:
        self._page.setVisible(row is not None)  # without a row it would be a hole
        if row is None:
            self.note.setText("")
            return
        many = len(row.item.runs)
        where = ""
        if many > 1:
            now = f"stretch {self._at + 1} of {many}" if self._at >= 0 else f"{many} stretches"
            where = f"{now[:1].upper()}{now[1:]} outside; Enter goes to the {'next' if self._at >= 0 else 'first'}.\n"
        self.note.setText(where + told(row.item))

    def _jump(self, index: QModelIndex) -> None:
        """Go to the first stretch of a row, then from each to the next, and round again."""
        row = self.row_at(index)
        runs = row.item.runs
        if len(runs) > 1:
            self._at = (self._at + 1) % len(runs)
            start, end = runs[self._at]
            row = replace(row, start=start, end=end)
            self._write_note(row)
        self.jumped.emit(row)
