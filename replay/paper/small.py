"""A small picture of one trace: what it went through around an artefact, without a legend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPen

from ..strips.axis import value_ticks, write_value
from ..strips.margin import text_font
from ..strips.theme import Theme
from ..wording import length, unit_name
from .content import Picture

if TYPE_CHECKING:
    from afterclamp.io.channel import Channel

COLUMNS = 240
HELD_INTERVALS = 3.0  # values further apart than so many intervals are not joined by a line


def paint_small(
    painter: QPainter,
    width: float,
    height: float,
    channels: Sequence[Channel],
    picture: Picture,
    theme: Theme,
) -> None:
    """Paint a trace with its lowest and highest value, its unit, its times, and the artefact tinted.

    Parameters
    ----------
    painter : QPainter
        Its origin is the picture's upper left corner; one unit is a pixel of 96 an inch.
    width, height : float
        Of the picture.
    channels : sequence of Channel
        One, or those of one line that goes on in another file.
    picture : Picture
    theme : Theme
    """
    painter.fillRect(QRectF(0, 0, width, height), QColor(theme.margin))
    font = text_font(theme, 0.85)
    painter.setFont(font)
    metrics = QFontMetricsF(font)
    line = metrics.height()
    span = picture.span
    lo, hi = np.full(COLUMNS, np.nan), np.full(COLUMNS, np.nan)
    for channel in channels:
        envelope = channel.envelope(span.start, span.end, COLUMNS)
        lo, hi = np.fmin(lo, envelope.lo), np.fmax(hi, envelope.hi)
    seen = np.flatnonzero(np.isfinite(lo) & np.isfinite(hi))
    low, high = (float(np.min(lo[seen])), float(np.max(hi[seen]))) if seen.size else (0.0, 1.0)
    pad = max(0.06 * (high - low), 0.5)
    low, high = low - pad, high + pad
    ticks = value_ticks(low, high, 3)
    left = 6 + max((metrics.horizontalAdvance(write_value(value)) for value in ticks), default=0.0)
    box = QRectF(left, line * 0.5, width - left - 4, height - line * 1.7)
    painter.fillRect(box, QColor(theme.ground))
    per_second = box.width() / span.duration if span.duration > 0 else 0.0
    if picture.marked is not None:
        begin = box.left() + (picture.marked.start - span.start) * per_second
        tint = QColor(theme.selection)
        tint.setAlpha(90)
        long = max(picture.marked.duration * per_second, 1.0)
        painter.fillRect(QRectF(begin, box.top(), min(long, box.right() - begin), box.height()), tint)

    def y(value: float) -> float:
        return box.bottom() - (value - low) / (high - low) * box.height()

    painter.setPen(QColor(theme.soft_ink))
    for value in ticks:
        label = write_value(value)
        baseline = y(value) + (metrics.ascent() - metrics.descent()) / 2
        painter.drawText(QPointF(left - 3 - metrics.horizontalAdvance(label), baseline), label)
    painter.setPen(QPen(QColor(theme.rule), 0.5))
    painter.drawLines([QLineF(box.left(), y(value), box.right(), y(value)) for value in ticks])
    painter.drawRect(box)
    foot = height - metrics.descent() - 1
    start, end = length(span.start), length(span.end)
    painter.setPen(QColor(theme.soft_ink))
    painter.drawText(QPointF(box.left(), foot), start)
    painter.drawText(QPointF(box.right() - metrics.horizontalAdvance(end), foot), end)
    unit = next((unit_name(one.unit) or one.unit_as_written for one in channels), "")
    words = f"min:s · {unit}" if unit else "min:s"
    middle = box.center().x() - metrics.horizontalAdvance(words) / 2
    if middle > box.left() + metrics.horizontalAdvance(start) + 4:
        painter.drawText(QPointF(middle, foot), words)
    if not seen.size:
        painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), "nothing recorded")
        return
    column = span.duration / COLUMNS
    slowest = max((one.interval_s for one in channels if math.isfinite(one.interval_s)), default=0.0)
    joined = max(HELD_INTERVALS * slowest, 1.5 * column)
    x = box.left() + (seen + 0.5) * column * per_second
    lines = [QLineF(at, y(lo[i]), at, y(hi[i])) for at, i in zip(x, seen, strict=True) if hi[i] > lo[i]]
    for one, other in zip(range(len(seen) - 1), range(1, len(seen)), strict=True):
        i, j = int(seen[one]), int(seen[other])
        if (j - i) * column <= joined:
            rising = lo[j] > hi[i]
            lines.append(
                QLineF(x[one], y(hi[i] if rising else lo[i]), x[other], y(lo[j] if rising else hi[j]))
            )
    pen = QPen(QColor(theme.ink), 0.7)
    pen.setCapStyle(Qt.PenCapStyle.FlatCap)
    painter.setPen(pen)
    painter.drawLines(lines)
