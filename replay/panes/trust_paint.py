"""How a row of the trust strip is painted: quality as a pattern, the believed line as a bar with its words."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from afterclamp.annotate.quality import ARTEFACT, GOOD, MEAN_ONLY, NOT_JUDGED, WRONG_LEVEL
from afterclamp.annotate.trust_rules import CHOSEN, STANDS_IN, TrustSpan
from numpy.typing import NDArray
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QPainter, QPen

from ..strips.theme import BLUE, ORANGE, Theme

QUALITY = 7  # pixels of the quality pattern at the foot of a row
HANDLE = 5  # pixels of a handle
_ORDER = (NOT_JUDGED, GOOD, MEAN_ONLY, WRONG_LEVEL, ARTEFACT)
"""The rarer stands over the commoner where both share a pixel."""


def runs_of(classes: NDArray[np.uint8]) -> list[tuple[int, int, int]]:
    """First second, past-last second and class of each stretch of one class."""
    if not classes.size:
        return []
    cuts = np.flatnonzero(np.diff(classes)) + 1
    starts, stops = np.r_[0, cuts], np.r_[cuts, classes.size]
    return [(int(a), int(b), int(classes[a])) for a, b in zip(starts, stops, strict=True)]


def paint_quality(
    painter: QPainter,
    runs: list[tuple[int, int, int]],
    x: Callable[[float], float],
    start: float,
    y: float,
    theme: Theme,
) -> None:
    """Quality along the middle line `y`: good a line, mean only dashes, wrong level dots, artefact a hatch.

    A second of anything but a good line is at least a pixel wide, so that a flush of 3 s is seen at the whole case.
    """
    pens = _pens(theme)
    for wanted in _ORDER:
        for first, last, kind in runs:
            if kind != wanted:
                continue
            a, b = x(start + first), x(start + last)
            if kind == ARTEFACT:
                b = max(b, a + 2)
                painter.fillRect(QRectF(a, y - 3, b - a, QUALITY), QColor(theme.ground))
                painter.fillRect(
                    QRectF(a, y - 3, b - a, QUALITY), QBrush(QColor(theme.ink), Qt.BrushStyle.BDiagPattern)
                )
                painter.setPen(QPen(QColor(theme.soft_ink), 1))
                painter.drawLine(QLineF(a, y - 3, a, y + 3))
                continue
            if kind not in (GOOD, NOT_JUDGED):
                b = max(b, a + 3)
                painter.fillRect(QRectF(a, y - 3, b - a, QUALITY), QColor(theme.ground))
            painter.setPen(pens[kind])
            painter.drawLine(QLineF(a, y, b, y))


@lru_cache(maxsize=4)
def _pens(theme: Theme) -> dict[int, QPen]:
    def pen(colour: str, width: float, pattern: tuple[float, ...] = ()) -> QPen:
        made = QPen(QColor(colour), width)
        made.setCapStyle(Qt.PenCapStyle.FlatCap)
        if pattern:
            made.setDashPattern(list(pattern))
        return made

    blue = theme.trace(BLUE)
    return {
        GOOD: pen(blue, 2),
        MEAN_ONLY: pen(blue, 2, (3, 2)),
        WRONG_LEVEL: pen(theme.trace(ORANGE), 3, (0.8, 1.2)),
        NOT_JUDGED: pen(theme.soft_ink, 1, (1, 3)),
    }


def bar_words(span: TrustSpan) -> tuple[str, ...]:
    """What stands on a bar, as much of it as there is room for."""
    if span.standing == CHOSEN:
        return f"chosen by {span.by}", "chosen"
    return ("stands in for finds", "stands in") if span.standing == STANDS_IN else ("believed",)


def paint_bar(painter: QPainter, box: QRectF, span: TrustSpan, theme: Theme, *, words: bool = True) -> None:
    """The bar of a believed line: filled; of a stand-in a dashed outline; what a person chose has handles."""
    light = span.standing == STANDS_IN
    fill = QColor(theme.phase if light else theme.mark)
    painter.fillRect(box, fill)
    pen = QPen(QColor(theme.ink), 1.0)
    if light:
        pen.setDashPattern([3, 2])
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(box.adjusted(0.5, 0.5, -0.5, -0.5))
    inset = 3.0
    if span.standing == CHOSEN:
        inset = HANDLE + 3.0
        painter.setPen(QPen(QColor(theme.ink), 1.0))
        painter.setBrush(QColor(theme.ground))
        for left in (box.left(), box.right() - HANDLE):
            painter.drawRect(QRectF(left, box.top() - 0.5, HANDLE, box.height()))
    metrics, room = painter.fontMetrics(), box.width() - 2 * inset
    fitting = (one for one in bar_words(span) if metrics.horizontalAdvance(one) <= room)
    text = next(fitting, "") if words else ""
    painter.setPen(QColor(theme.ink if light else theme.ground))
    painter.drawText(
        box.adjusted(inset, -1, -inset, 0), Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, text
    )


def paint_selection(painter: QPainter, box: QRectF, theme: Theme) -> None:
    """A selected stretch of a row: tinted, with a dashed outline and ticks at its ends."""
    tint = QColor(theme.selection)
    tint.setAlpha(90)
    painter.fillRect(box, tint)
    painter.setPen(QPen(QColor(theme.ink), 1.5, Qt.PenStyle.DashLine))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(box)


def paint_edge(painter: QPainter, x: float, top: float, bottom: float, theme: Theme) -> None:
    """A boundary that is being dragged."""
    painter.setPen(QPen(QColor(theme.ink), 2))
    painter.drawLine(QPointF(x, top), QPointF(x, bottom))
