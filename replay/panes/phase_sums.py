"""Sums of the phases under the ladder: the first of them on a line, all of them in a list of their own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from afterclamp.annotate.phase_durations import Duration, durations
from afterclamp.annotate.phase_model import Phase
from afterclamp.annotate.phase_reported import asked_for, drainage_lost
from afterclamp.annotate.rules import Find
from afterclamp.annotate.said import said_times
from afterclamp.io.case import TimedNote
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication, QResizeEvent
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from ..sum_words import COLUMNS, SumRow, as_text, short_sums, sum_rows
from .clock_face import ClockFace

NONE_KNOWN = "no phases known"
_BETWEEN = "  ·  "
_RIGHT = frozenset({"Length", "±", "First to last"})


class PhaseSums(QWidget):
    """One line with the sums of the phases in force; a button, or P, opens the whole list."""

    def __init__(self, face: ClockFace, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._face = face
        self._phases: Sequence[Phase] = ()
        self._notes: Sequence[TimedNote] = ()
        self._finds: Sequence[Find] = ()
        self.sums: dict[str, Duration] = {}
        self.box: SumsBox | None = None
        self.setAccessibleName("Sums of the phases")
        self._line = QLabel(self)
        self._line.setTextFormat(Qt.TextFormat.PlainText)
        self._line.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self._button = QPushButton("All sums…", self)
        self._button.setToolTip("Every sum of the phases with its ± and its parts, to read and to copy (P)")
        self._button.clicked.connect(self.open_list)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(6, 0, 4, 0)
        layout.setSpacing(6)
        layout.addWidget(self._line, 1)
        layout.addWidget(self._button)
        face.changed.connect(self._show)
        self._show()

    def set_phases(self, phases: Sequence[Phase]) -> None:
        """Phases in force: their sums are worked out anew at once."""
        self._phases = phases
        self.sums = durations(phases)
        self._show()

    def set_notes(self, notes: Sequence[TimedNote]) -> None:
        """Lines of text: one may say when bypass was asked for."""
        self._notes = notes
        self._show()

    def set_finds(self, finds: Sequence[Find]) -> None:
        """Finds that nobody set aside: drainage that was lost is summed."""
        self._finds = finds
        self._show()

    @property
    def rows(self) -> list[SumRow]:
        """The whole list."""
        more = [*asked_for(self._phases, said_times(self._notes)), *drainage_lost(self._finds)]
        return sum_rows(self.sums, self._face.text, more)

    @property
    def line(self) -> str:
        """What stands on the line now."""
        return self._line.text()

    def open_list(self) -> None:
        """Open the list beside the desk; it follows every edit while it is open."""
        if self.box is None:
            self.box = SumsBox(self)
        self.box.show_rows(self.rows)
        self.box.show()
        self.box.raise_()
        self.box.activateWindow()

    def _show(self) -> None:
        self._fit()
        told = short_sums(self.sums)
        self._line.setToolTip("\n".join(told))
        self.setAccessibleDescription("; ".join(told) or NONE_KNOWN)
        self._button.setEnabled(bool(told))
        if self.box is not None and self.box.isVisible():
            self.box.show_rows(self.rows)

    def _fit(self) -> None:
        """As many sums as there is room for, and how many more there are: none is cut in its number."""
        told = short_sums(self.sums)
        metrics = self._line.fontMetrics()
        shown = len(told)
        text = ""
        while shown >= 0:
            rest = len(told) - shown
            text = _BETWEEN.join([*told[:shown], *([f"{rest} more"] if rest else [])]) or NONE_KNOWN
            if metrics.horizontalAdvance(f"Sums: {text}") <= self._line.width():
                break
            shown -= 1
        self._line.setText(f"Sums: {text}")

    def resizeEvent(self, event: QResizeEvent) -> None:
        """More or fewer sums have room."""
        super().resizeEvent(event)
        self.layout().activate()  # type: ignore[union-attr]
        self._fit()


class SumsBox(QDialog):
    """Every sum of the phases; the desk can be used while it is open."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWindowTitle("Sums of the phases")
        self.setModal(False)
        self.resize(1040, 620)
        self._rows: Sequence[SumRow] = ()
        self.page = QTextBrowser(self)
        self.page.setAccessibleName("Sums of the phases")
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close, self)
        copy = buttons.addButton("&Copy as text", QDialogButtonBox.ButtonRole.ActionRole)
        copy.setToolTip("All rows, columns apart by tabs, for a table in another program")
        copy.clicked.connect(self.copy)
        buttons.rejected.connect(self.close)
        layout = QVBoxLayout(self)
        layout.addWidget(self.page, 1)
        layout.addWidget(buttons)

    def show_rows(self, rows: Sequence[SumRow]) -> None:
        """Show these; the reader stays where they were."""
        self._rows = rows
        at = self.page.verticalScrollBar().value()
        self.page.setHtml(_html(rows))
        self.page.verticalScrollBar().setValue(at)

    def copy(self) -> None:
        """Put the list on the clipboard as text."""
        QGuiApplication.clipboard().setText(as_text(self._rows))


def _html(rows: Sequence[SumRow]) -> str:
    head = "".join(f"<th align='left'>{escape(name)}&nbsp;&nbsp;</th>" for name in COLUMNS)
    body = "".join(f"<tr>{''.join(_cells(row))}</tr>" for row in rows)
    return (
        "<p>From the phases in force, those that people set in the place of those proposed; min:s. The ± is a 95 % "
        f"interval.</p><table cellpadding='3' width='100%'><tr>{head}</tr>{body}</table>"
    )


def _cells(row: SumRow) -> Iterable[str]:
    for number, (name, text) in enumerate(zip(COLUMNS, row.cells, strict=True)):
        words = escape(text).replace(" ", "&nbsp;") if name != "Counted as" else escape(text)
        if number == 0:
            words = f"&nbsp;&nbsp;&nbsp;&nbsp;{words}" if row.part else f"<b>{words}</b>"
        align = "right" if name in _RIGHT else "left"
        yield f"<td align='{align}'>{words}&nbsp;&nbsp;</td>"
