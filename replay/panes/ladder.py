"""Phase ladder: the phases of the case as nested bars over the axis of the Long view."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from afterclamp.annotate.phase_model import Phase
from afterclamp.annotate.phases import length_sd
from afterclamp.io.case import Span
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFocusEvent,
    QHelpEvent,
    QKeyEvent,
    QLinearGradient,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from ..strips.theme import PAPER, Theme
from ..wording import half_width, phase_name
from .clock_face import ClockFace, length, plus_minus

LANES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("bypass", ("pre", "bypass", "post")),
    ("course", ("going_on", "cooling", "cold_steady", "reperfusion", "warming", "weaning")),
    ("clamp", ("clamp",)),
    ("arrest", ("lower_body_arrest",)),
    ("no flow, head only", ("no_flow_arrest", "selective_cerebral")),
)
"""Which phase stands on which rung, outer ones above inner ones: what lies below lies within."""

_FILLS = {
    "pre": "#ECEBE6",
    "post": "#ECEBE6",
    "bypass": "#C9D8E2",
    "going_on": "#E3E0D4",
    "cooling": "#CFE3F0",
    "cold_steady": "#C3D7E4",
    "reperfusion": "#E3E0D4",
    "warming": "#F3E3C3",
    "weaning": "#E3E0D4",
    "clamp": "#D9D4DF",
    "lower_body_arrest": "#BFC4C8",
    "no_flow_arrest": "#5B6368",
    "selective_cerebral": "#E6DDEB",
}


SHORT = {
    "pre": "before bypass",
    "going_on": "on",
    "lower_body_arrest": "lower body",
    "no_flow_arrest": "no flow",
    "selective_cerebral": "head only",
    "reperfusion": "reflow",
    "weaning": "off",
}
"""What stands on a bar where the whole name has no room."""


@dataclass(frozen=True, slots=True)
class Rung:
    """One bar: a phase as the ladder shows it. Times in reference seconds, ± as half-widths of 95 %."""

    name: str
    start: float
    end: float
    lane: int
    start_unc: float = 0.0
    end_unc: float = 0.0
    length_unc: float = 0.0
    source: str = ""
    confirmed_by: str = ""

    @property
    def words(self) -> str:
        """The phase in plain words."""
        return phase_name(self.name)


def rung_of(phase: Phase) -> Rung:
    """A phase of the case as a bar."""
    return Rung(
        name=phase.name,
        start=phase.start_s,
        end=phase.end_s,
        lane=lane_of(phase.name),
        start_unc=phase.start.unc_s,
        end_unc=phase.end.unc_s,
        length_unc=half_width(length_sd(phase.start, phase.end)),
        source=phase.source.replace("_", " "),
        confirmed_by=phase.confirmed_by,
    )


def lane_of(name: str) -> int:
    """Rung of a phase; unknown names stand with the course."""
    return next((number for number, (_, names) in enumerate(LANES) if name in names), 1)


class PhaseLadder(QWidget):
    """Nested bars, one lane a level, in step with the Long view.

    Signals
    -------
    jumped(t)
        The person clicked here, or double-clicked a bar to go to its start.
    """

    jumped = Signal(float)

    def __init__(self, face: ClockFace, parent: QWidget | None = None, theme: Theme = PAPER) -> None:
        super().__init__(parent)
        self.rungs: list[Rung] = []
        self.chosen: int | None = None
        self._face = face
        self._theme = theme
        self._span = Span(0.0, 1.0)
        self._playhead = 0.0
        self._left, self._right = 0, 0
        self._axis: Callable[[], tuple[float, float]] | None = None
        self.setAccessibleName("Phase ladder")
        self.setAccessibleDescription(
            "Phases as nested bars. Up and Down choose a phase, Enter goes to its start."
        )
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    # -- what is shown ------------------------------------------------------------------------------

    def set_phases(self, phases: Sequence[Phase]) -> None:
        """Show other phases."""
        self.rungs = sorted((rung_of(phase) for phase in phases), key=lambda rung: (rung.start, rung.lane))
        self.chosen = None
        self.update()

    def set_span(self, span: Span) -> None:
        """The window of the Long view."""
        self._span = span
        self.update()

    def set_axis(self, axis: Callable[[], tuple[float, float]]) -> None:
        """Where the Long view's time axis begins and ends, in pixels of this widget."""
        self._axis = axis
        self.update()

    def set_playhead(self, t: float) -> None:
        """Move the line of now."""
        if t != self._playhead:
            for moment in (self._playhead, t):
                self.update(int(self._x(moment)) - 2, 0, 5, self.height())
            self._playhead = t

    # -- geometry -----------------------------------------------------------------------------------

    @property
    def _lane_height(self) -> int:
        return self.fontMetrics().height() + 4

    def sizeHint(self) -> QSize:
        """As high as its lanes."""
        return QSize(400, len(LANES) * self._lane_height + 4)

    def minimumSizeHint(self) -> QSize:
        """As high as its lanes."""
        return self.sizeHint()

    def _bounds(self) -> tuple[float, float]:
        return self._axis() if self._axis is not None else (110.0, self.width() - 8.0)

    def _x(self, t: float) -> float:
        left, right = self._bounds()
        return left + (t - self._span.start) / max(self._span.duration, 1e-9) * (right - left)

    def _t(self, x: float) -> float:
        left, right = self._bounds()
        t = self._span.start + (x - left) / max(right - left, 1.0) * self._span.duration
        return min(max(t, self._span.start), self._span.end)

    def _box(self, rung: Rung) -> QRectF:
        left, right = self._bounds()
        a, b = max(self._x(rung.start), left), min(self._x(rung.end), right)
        return QRectF(a, 2 + rung.lane * self._lane_height, max(b - a, 2.0), self._lane_height - 2)

    def rung_at(self, position: QPointF) -> Rung | None:
        """The bar under a point, the shortest where several lie there."""
        under = [rung for rung in self.rungs if self._box(rung).adjusted(-1, 0, 1, 0).contains(position)]
        return min(under, key=lambda rung: rung.end - rung.start, default=None)

    def tip(self, rung: Rung) -> str:
        """Name, start, end, length, each with what is known of its ±."""
        lines = [
            rung.words,
            f"from {self._face.text(rung.start)} {plus_minus(rung.start_unc)}".rstrip(),
            f"to {self._face.text(rung.end)} {plus_minus(rung.end_unc)}".rstrip(),
            f"length {length(rung.end - rung.start)} {plus_minus(rung.length_unc)}".rstrip(),
            f"times from: {rung.source}" if rung.source else "",
            f"confirmed by {rung.confirmed_by}" if rung.confirmed_by else "proposed",
        ]
        return "\n".join(line for line in lines if line)

    # -- painting -----------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Lanes, bars, the line of now."""
        theme = self._theme
        painter = QPainter(self)
        painter.fillRect(event.rect(), QColor(theme.margin))
        left, right = self._bounds()
        lane = self._lane_height
        painter.fillRect(QRectF(left, 0, right - left, self.height()), QColor(theme.ground))
        painter.setPen(QColor(theme.soft_ink))
        for number, (words, _) in enumerate(LANES):
            box = QRectF(6, 2 + number * lane, left - 12, lane - 2)
            text = self.fontMetrics().elidedText(words, Qt.TextElideMode.ElideRight, int(box.width()))
            painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text)
        painter.setClipRect(QRectF(left, 0, right - left + 1, self.height()))
        if not self.rungs:
            painter.setPen(QColor(theme.soft_ink))
            painter.drawText(
                QRectF(left, 0, right - left, self.height()), Qt.AlignmentFlag.AlignCenter, "no phases known"
            )
        elif all(rung.name != "clamp" for rung in self.rungs):
            # Never guessed into the figures: an empty rung would look like "there was no clamp".
            painter.setPen(QColor(theme.soft_ink))
            box = QRectF(left + 6, 2 + lane_of("clamp") * lane, right - left - 12, lane - 2)
            painter.drawText(
                box,
                Qt.AlignmentFlag.AlignVCenter,
                "not set: a person sets it; lines that mention it stand under Said and written",
            )
        for number, rung in enumerate(self.rungs):
            self._paint_rung(painter, rung, number == self.chosen)
        painter.setPen(QPen(QColor(theme.playhead), 1))
        x = int(self._x(self._playhead))
        painter.drawLine(x, 0, x, self.height())
        painter.setClipping(False)
        if self.hasFocus():
            painter.setPen(QPen(QColor("#0072B2"), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def _paint_rung(self, painter: QPainter, rung: Rung, chosen: bool) -> None:
        box = self._box(rung)
        fill = QColor(_FILLS.get(rung.name, self._theme.phase))
        edges = [2 * (self._x(unc) - self._x(0.0)) for unc in (rung.start_unc, rung.end_unc)]
        if max(edges) > 2 and box.width() > 4:
            # An uncertain boundary fades over its own 95 % interval instead of pretending to be a line.
            clear = QColor(fill)
            clear.setAlpha(40)
            first, last = (min(edge / box.width(), 0.5) for edge in edges)
            gradient = QLinearGradient(box.topLeft(), box.topRight())
            for place, colour in ((0.0, clear if first else fill), (first, fill), (1 - last, fill)):
                gradient.setColorAt(place, colour)
            gradient.setColorAt(1.0, clear if last else fill)
            painter.fillRect(box, QBrush(gradient))
        else:
            painter.fillRect(box, fill)
        painter.setPen(QPen(QColor(self._theme.ink if chosen else self._theme.soft_ink), 2 if chosen else 1))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(box.adjusted(0.5, 0.5, -0.5, -0.5))
        room = int(box.width()) - 6
        words = rung.words
        if self.fontMetrics().horizontalAdvance(words) > room:
            words = SHORT.get(rung.name, words)
        if self.fontMetrics().horizontalAdvance(words) > room:
            words = (
                self.fontMetrics().elidedText(words, Qt.TextElideMode.ElideRight, room) if room > 30 else ""
            )
        if words:
            painter.setPen(QColor("#FFFFFF" if fill.lightness() < 128 else self._theme.ink))
            painter.drawText(
                box.adjusted(3, 0, -3, 0), Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, words
            )

    # -- hands --------------------------------------------------------------------------------------

    def event(self, event: QEvent) -> bool:
        """What is under the pointer, in words."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            rung = self.rung_at(QPointF(event.pos()))
            if rung is None:
                QToolTip.hideText()
            else:
                QToolTip.showText(event.globalPos(), self.tip(rung), self)
            return True
        return super().event(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Go to the time under the pointer."""
        left, right = self._bounds()
        if event.button() == Qt.MouseButton.LeftButton and left <= event.position().x() <= right:
            self.jumped.emit(self._t(event.position().x()))

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Go to the start of the phase under the pointer."""
        rung = self.rung_at(event.position())
        if event.button() == Qt.MouseButton.LeftButton and rung is not None:
            self.jumped.emit(rung.start)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Choose a phase and go to its start."""
        if event.key() in (Qt.Key.Key_Up, Qt.Key.Key_Down) and self.rungs:
            step = 1 if event.key() == Qt.Key.Key_Down else -1
            at = (-1 if step > 0 else len(self.rungs)) if self.chosen is None else self.chosen
            self.chosen = min(max(at + step, 0), len(self.rungs) - 1)
            rung = self.rungs[self.chosen]
            self.setAccessibleDescription(self.tip(rung).replace("\n", ", "))
            QToolTip.showText(self.mapToGlobal(self._box(rung).bottomLeft().toPoint()), self.tip(rung), self)
            self.update()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.chosen is not None:
            self.jumped.emit(self.rungs[self.chosen].start)
        else:
            super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Show that the keyboard is here."""
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Show that the keyboard has gone."""
        super().focusOutEvent(event)
        self.update()
