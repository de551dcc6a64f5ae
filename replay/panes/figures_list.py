"""Minutes and areas: every figure with its denominator; a row goes to the seconds that it counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication, QKeyEvent, QKeySequence
from PySide6.QtWidgets import QLabel, QWidget

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

NOT_COMPUTED = "The figures have not been worked out yet."


_SHORT = {"mean_arterial_pressure": "MAP", "oxygen_delivery_index": "DO₂ index"}
"""The trade's short names, where the whole one would push the phase out of the column."""


def figure_row(number: int, figure: Figure) -> Row:
    """One figure as a row; its times are those of the first stretch outside the limit."""
    name = f"{_SHORT.get(figure.measure, figure.measure.replace('_', ' '))}, {phase_name(figure.phase)}"
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
        lines.append(f"Limit: {figure.limit_source}.")
    return "\n".join(lines)


class FiguresList(ListPane):
    """The list of figures, with what must be known of the selected one below it."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__("Minutes and areas", COLUMNS, NOT_COMPUTED, parent)
        self.note = QLabel("", self)
        self.note.setWordWrap(True)
        self.note.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.note.setAccessibleName("What must be known of this figure")
        layout = self.layout()
        if layout is not None:
            layout.addWidget(self.note)
        self.selected.connect(self._tell)

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
        row = self.current
        self.note.setText(told(row.item) if row is not None else "")
