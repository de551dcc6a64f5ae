"""Minutes and areas: every figure with its denominator; a row goes to the seconds that it counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from afterclamp.io.case import Span
from PySide6.QtCore import QModelIndex, Qt, Signal
from PySide6.QtGui import QGuiApplication, QKeyEvent, QKeySequence
from PySide6.QtWidgets import QFrame, QLabel, QScrollArea, QWidget

from ..tables import limit_text
from ..wording import length, minutes, phase_name, quantity, readable
from .lists import Column, ListPane, Row

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure

COLUMNS = (
    Column("Measure", "", "What was measured, and in which part of the case"),
    Column("Limit", "below 280 mL/min/m²", "A number that somebody published or chose; none is a target"),
    Column("Outside", "12.3 of 238.2 min", "Minutes outside the limit, of the minutes observed", right=True),
    Column("Area or mean", "2348 mmHg·min", "Depth times time outside the limit; a mean where there is no limit",
           right=True, spare=True),
    Column("Not counted", "171.4 min", "Left out by design, masked as artefact, and missing, together",
           right=True, spare=True),
)  # fmt: skip

NOTE_LINES = 7
"""Lines of what must be known of a figure that are seen at once; the rest is scrolled."""

NOT_COMPUTED = "The figures have not been worked out yet."


_SHORT = {"mean_arterial_pressure": "MAP", "oxygen_delivery_index": "DO₂ index"}
"""The trade's short names, where the whole one would push the phase out of the column."""


def figure_row(number: int, figure: Figure) -> Row:
    """One figure as a row; its times are those of the first stretch outside the limit."""
    name = f"{_SHORT.get(figure.measure, figure.measure.replace('_', ' '))}, {phase_name(figure.phase)}"
    if figure.part:
        name += f", {figure.part}"
    if figure.side:
        outside = f"{minutes(figure.outside_s).removesuffix(' min')} of {minutes(figure.observed_s)}"
    else:
        outside = f"of {minutes(figure.observed_s)}"
    uncounted_s = figure.excluded_s + figure.masked_s + figure.missing_s
    cells = (name, limit_text(figure), outside, quantity(figure.value, figure.unit), minutes(uncounted_s))
    start, end = figure.runs[0] if figure.runs else (0.0, 0.0)
    return Row(
        key=str(number),
        start=start,
        end=end,
        cells=cells,
        order=(number, figure.limit or 0.0, figure.outside_s, figure.value or 0.0, uncounted_s),
        tip=told(figure),
        dim=figure.value is None,
        item=figure,
    )


def told(figure: Figure) -> str:
    """What a reader of the figure must know, in sentences."""
    lines = [
        f"{figure.measure.replace('_', ' ').capitalize()}, {phase_name(figure.phase)}, {limit_text(figure)}: "
        f"outside {minutes(figure.outside_s)}, observed {minutes(figure.observed_s)}, left out "
        f"{minutes(figure.excluded_s)}, masked {minutes(figure.masked_s)}, missing {minutes(figure.missing_s)}."
    ]
    if figure.longest_run_s:
        lines.append(f"Longest stretch {length(figure.longest_run_s)} min:s.")
    if figure.site:
        lines.append(f"From: {figure.site.replace('_', ' ')}.")
    if figure.note:
        lines.append(f"{readable(figure.note)[:1].upper()}{readable(figure.note)[1:]}.")
    if figure.limit_source:
        of_set = f"; set {figure.limit_set}" if figure.limit_set else ""
        lines.append(f"Limit: {figure.limit_source}{of_set}.")
    return "\n".join(lines)


class FiguresList(ListPane):
    """The list of figures, with what must be known of the selected one below it.

    Enter goes to the first stretch outside the limit, Enter again to the next.

    Signals
    -------
    runs_chosen(list)
        Another row is selected: every stretch that its figure counts, as `Span`; none for a mean.
    """

    runs_chosen = Signal(list)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__("Minutes and areas", COLUMNS, NOT_COMPUTED, parent)
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
        if layout is not None:
            layout.addWidget(page)
        self._page = page
        self._shown: tuple[Span, ...] = ()
        self._at = -1  # which stretch of the selected row was gone to last
        self.selected.connect(self._tell)

    @property
    def runs(self) -> list[Span]:
        """The stretches that the selected figure counts."""
        row = self.current
        return [Span(start, end) for start, end in row.item.runs] if row is not None else []

    def show_figures(self, figures: Sequence[Figure]) -> None:
        """Show the figures that could be computed; the others stand at the end, in grey."""
        ordered = sorted(figures, key=lambda figure: figure.value is None)
        self.set_rows([figure_row(number, figure) for number, figure in enumerate(ordered)])
        self._tell()

    def as_text(self) -> str:
        """The rows that are shown, as tab-separated text under their headings."""
        lines = ["\t".join(column.heading for column in self.model.columns)]
        lines += ["\t".join(row.cells) for row in self.shown()]
        return "\n".join(lines)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Copy the rows as text."""
        if event.matches(QKeySequence.StandardKey.Copy):
            QGuiApplication.clipboard().setText(self.as_text())
            return
        super().keyPressEvent(event)

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
        many = len(self._shown)
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
