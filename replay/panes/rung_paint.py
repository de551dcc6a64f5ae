"""How the bar of a phase is painted on the ladder."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QLinearGradient, QPainter, QPen

from ..strips.theme import Theme
from .rungs import Rung

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
    "cardioplegia": "#D6D0BF",
    "protamine": "#E0D6C8",
}

CONFIRMED = "✓ "
"""Before the name of a phase that a person set."""

SHORT = {
    "pre": "before bypass",
    "going_on": "on",
    "lower_body_arrest": "lower body",
    "no_flow_arrest": "no flow",
    "selective_cerebral": "head only",
    "reperfusion": "reflow",
    "weaning": "off",
    "cold_steady": "cold",
    "cardioplegia": "dose",
}
"""What stands on a bar where the whole name has no room."""


def paint_rung(
    painter: QPainter, box: QRectF, rung: Rung, per_second: float, theme: Theme, *, chosen: bool
) -> None:
    """Paint a bar with as much of its name as it has room for; `per_second` is the pixels of a second."""
    fill = QColor(_FILLS.get(rung.name, theme.phase))
    edges = [2 * per_second * unc for unc in (rung.start_unc, rung.end_unc)]
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
    painter.setPen(QPen(QColor(theme.ink if chosen else theme.soft_ink), 2 if chosen else 1))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(box.adjusted(0.5, 0.5, -0.5, -0.5))
    metrics = painter.fontMetrics()
    room = int(box.width()) - 6
    mark = CONFIRMED if rung.confirmed_by else ""
    words = f"{mark}{rung.words}"
    if metrics.horizontalAdvance(words) > room:
        words = f"{mark}{SHORT.get(rung.name, rung.words)}"
    if metrics.horizontalAdvance(words) > room:
        words = metrics.elidedText(words, Qt.TextElideMode.ElideRight, room) if room > 30 else ""
    if words:
        painter.setPen(QColor("#FFFFFF" if fill.lightness() < 128 else theme.ink))
        at = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
        painter.drawText(box.adjusted(3, 0, -3, 0), at, words)
