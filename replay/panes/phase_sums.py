"""Sums of the phases under the ladder: the first of them in two lines, all of them in a list of their own."""

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
LINES = 2  # no more than the button beside them needs
_BETWEEN = "  ·  "
_WIDTHS = (20, 8, 8, 10, 8, 13, 9, 24)  # of a hundred, a column
_TITLE = "Sums, min:s"
_RIGHT = frozenset({"Length", "±", "First to last"})


class PhaseSums(QWidget):
    """The first sums of the phases in force, in two lines; a button, or P, opens the whole list."""

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
        self._line.setFixedHeight(LINES * self._line.fontMetrics().lineSpacing())
        self._line.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self._button = QPushButton("All sums…", self)
        self._button.setToolTip("Every sum of the phases with its ± and its parts, to read and to copy (P)")
        self._button.clicked.connect(self.open_list)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(6, 0, 18, 0)
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
        """As many sums as two lines have room for, and how many more there are: none is cut in its number."""
        told = short_sums(self.sums)
        lines = [f"{_TITLE}: {NONE_KNOWN}"]
        for shown in range(len(told), -1, -1) if told else ():
            rest = len(told) - shown
            lines = self._broken([*told[:shown], *([f"{rest} more"] if rest else [])])
            if len(lines) <= LINES:
                break
        self._line.setText("\n".join(lines))

    def _broken(self, parts: Sequence[str]) -> list[str]:
        """Parts in lines as wide as the pane."""
        wide = self._line.fontMetrics().horizontalAdvance
        lines = [f"{_TITLE}: {parts[0]}"]
        for part in parts[1:]:
            longer = f"{lines[-1]}{_BETWEEN}{part}"
            if wide(longer) <= self._line.width():
                lines[-1] = longer
            else:
                lines.append(part)
        return lines

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
        self.resize(1120, 660)
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
    head = "".join(
        f"<th width='{width}%' align='{'right' if name in _RIGHT else 'left'}'>{escape(name)}&nbsp;&nbsp;</th>"
        for name, width in zip(COLUMNS, _WIDTHS, strict=True)
    )
    body = "".join(f"<tr>{''.join(_cells(row))}</tr>" for row in rows)
    return (
        "<p>From the phases in force, those that people set in the place of those proposed; min:s. The ± is a 95 % "
        f"interval.</p><table cellpadding='3' width='100%'><tr>{head}</tr>{body}</table>"
    )


def _cells(row: SumRow) -> Iterable[str]:
    for number, (name, text) in enumerate(zip(COLUMNS, row.cells, strict=True)):
        words = escape(text) if name in ("What", "Counted as") else escape(text).replace(" ", "&nbsp;")
        if number == 0:
            words = f"&nbsp;&nbsp;&nbsp;&nbsp;{words}" if row.part else f"<b>{words}</b>"
        align = "right" if name in _RIGHT else "left"
        yield f"<td align='{align}'>{words}&nbsp;&nbsp;</td>"
