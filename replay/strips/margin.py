"""The margin left of the strips: titles with units, the legend by line pattern, and the value axis."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPen

from .axis import value_ticks, write_value
from .lanes import Lane
from .layout import Strip, Trace
from .lines import draw_triangles
from .places import Places
from .theme import Theme

_SAMPLE = 24  # logical pixels of a trace's line in the legend


def measurer(font: QFont) -> Callable[[str], float]:
    """How many pixels a text takes; each text is measured once."""
    return lru_cache(maxsize=1024)(QFontMetricsF(font).horizontalAdvance)


def text_font(theme: Theme, share: float = 1.0, *, bold: bool = False) -> QFont:
    """The font of the picture; sizes in pixels, so that the picture is the same on every screen."""
    font = QFont()
    font.setPixelSize(max(7, round(theme.text * share)))
    font.setBold(bold)
    return font


def ticks_of(strip: Strip, height: float, theme: Theme) -> tuple[float, ...]:
    """Values that a strip of this height labels: two to four, the highest alone where two don't fit."""
    most = int(height // (theme.text * 1.9)) + 1
    ticks = value_ticks(*strip.y_range, max(2, min(4, most)))
    return ticks if height >= theme.text * 1.75 else ticks[-1:]


def paint_margin(
    painter: QPainter, places: Places, strips: Sequence[Strip], lanes: Sequence[Lane], theme: Theme
) -> None:
    """Paint everything that doesn't move when the window does."""
    painter.fillRect(QRectF(0, 0, places.left, places.height), QColor(theme.margin))
    painter.setFont(text_font(theme, 0.92))
    painter.setPen(QColor(theme.soft_ink))
    for lane, (top, row_height) in zip(lanes, places.lanes, strict=True):
        painter.drawText(
            QRectF(10, top, places.left - 18, row_height), Qt.AlignmentFlag.AlignVCenter, lane.title
        )
    for strip, (top, height) in zip(strips, places.strips, strict=True):
        values_width = _paint_value_axis(painter, strip, places.left, top, height, theme)
        _paint_titles(painter, strip, places.left - values_width - 12, top, height, theme)


def _paint_value_axis(
    painter: QPainter, strip: Strip, left: int, top: int, height: int, theme: Theme
) -> float:
    """Ticks and their values; returns the width that they take."""
    font = text_font(theme, 0.88)
    metrics = QFontMetricsF(font)
    painter.setFont(font)
    painter.setPen(QColor(theme.rule))
    painter.drawLine(QLineF(left - 0.5, top, left - 0.5, top + height))
    low, high = strip.y_range
    line = metrics.ascent() + metrics.descent()
    widest = 0.0
    for value in ticks_of(strip, height, theme):
        y = top + 0.5 + (high - value) / (high - low) * (height - 1)
        painter.setPen(QColor(theme.rule))
        painter.drawLine(QLineF(left - 5, y, left - 1, y))
        label = write_value(value)
        width = metrics.horizontalAdvance(label)
        widest = max(widest, width)
        # The first and last label stay within the strip, so that neighbours' labels never touch.
        middle = float(np.clip(y, top + line / 2 - 2, top + height - line / 2 + 2)) if height > line else y
        painter.setPen(QColor(theme.soft_ink))
        baseline = middle + (metrics.ascent() - metrics.descent()) / 2
        painter.drawText(QPointF(left - 8 - width, baseline), label)
    return widest + 8


def _paint_titles(painter: QPainter, strip: Strip, room: float, top: int, height: int, theme: Theme) -> None:
    bold, plain = text_font(theme, bold=True), text_font(theme, 0.92)
    title_metrics, metrics = QFontMetricsF(bold), QFontMetricsF(plain)
    line = round(theme.text * 1.3)
    x = 10.0
    painter.setFont(bold)
    painter.setPen(QColor(theme.ink))
    baseline = top + min(height / 2 + title_metrics.ascent() / 2 - 1, line - title_metrics.descent() + 1)
    unit_width = metrics.horizontalAdvance(strip.unit) if strip.unit else 0.0

    def beside(text: str) -> bool:
        return x + title_metrics.horizontalAdvance(text) + (7 + unit_width if unit_width else 0) <= room

    # A line of its own for the unit only where the legend has room under it; else the shorter title.
    own_line = not beside(strip.title) and bool(strip.unit) and height >= line * (2 + len(strip.traces))
    written = strip.title if own_line or beside(strip.title) else strip.short or strip.title
    title_room = room - x - (0 if beside(written) or own_line else unit_width + 7)
    title = title_metrics.elidedText(written, Qt.TextElideMode.ElideRight, title_room)
    painter.drawText(QPointF(x, baseline), title)
    painter.setFont(plain)
    painter.setPen(QColor(theme.soft_ink))
    rows_from = baseline
    if own_line:
        rows_from += line
        painter.drawText(QPointF(x, rows_from), strip.unit)
    else:
        painter.drawText(QPointF(x + title_metrics.horizontalAdvance(title) + 7, baseline), strip.unit)
    if len(strip.traces) == 1 and strip.traces[0].pattern in ("solid", "step") and not strip.traces[0].tag:
        single = strip.traces[0]
        if single.name.lower() in strip.title.lower() or strip.title.lower() in single.name.lower():
            return  # the title says it all
    _paint_legend(painter, strip, x, room, rows_from, top + height, theme)


def _paint_legend(
    painter: QPainter, strip: Strip, x: float, room: float, after: float, bottom: float, theme: Theme
) -> None:
    """One row a trace; where the strip is too low for that two beside each other, then in smaller type."""
    long = [f"{trace.name} ({trace.tag})" if trace.tag else trace.name for trace in strip.traces]
    short = [trace.short_name for trace in strip.traces]
    ways = ((1, 0.92), (1, 0.78), (2, 0.92), (2, 0.78))
    # As large as fits with whole names; where none does, with short ones.
    for names, (beside, share) in [(long, way) for way in ways] + [(short, way) for way in ways]:
        font = text_font(theme, share)
        metrics = QFontMetricsF(font)
        row_height = max(theme.text * (share + 0.28), metrics.ascent() + metrics.descent() - 1)
        rows = int((bottom - after - 2) // row_height)
        width = (room - x) / beside
        sample = min(_SAMPLE * theme.growth, width * (0.3 if names is long else 0.22))
        if rows * beside >= len(names) and all(
            metrics.horizontalAdvance(name) <= width - sample - 10 for name in names
        ):
            break
    painter.setFont(font)
    places = rows * beside
    kept = len(names) if len(names) <= places else max(0, places - 1)
    for number, (trace, name) in enumerate(zip(strip.traces[:kept], names, strict=False)):
        row, column = divmod(number, beside)
        left = x + column * width
        middle = after + 3 + (row + 0.5) * row_height
        paint_line_sample(painter, trace, left, middle, sample, theme)
        painter.setPen(QColor(theme.ink))
        text = metrics.elidedText(name, Qt.TextElideMode.ElideRight, width - sample - 8)
        painter.drawText(
            QPointF(left + sample + 5, middle + (metrics.ascent() - metrics.descent()) / 2), text
        )
    if kept < len(names) and places:
        row, column = divmod(kept, beside)
        middle = after + 3 + (row + 0.5) * row_height
        painter.setPen(QColor(theme.soft_ink))
        more = QPointF(x + column * width, middle + (metrics.ascent() - metrics.descent()) / 2)
        painter.drawText(more, f"and {len(names) - kept} more")


def paint_line_sample(
    painter: QPainter, trace: Trace, x: float, y: float, width: float, theme: Theme
) -> None:
    """A short piece of a trace's line, as it looks in the strip."""
    colour = QColor(theme.trace(trace.colour))
    xs = x + width * np.array([0.25, 0.75])
    if trace.pattern in ("up", "down"):
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        painter.setPen(QPen(colour, 1))
        painter.drawLine(QLineF(x, y, x + width, y))
        draw_triangles(painter, xs, np.array([y, y]), colour.name(), upward=trace.pattern == "up")
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        return
    if trace.pattern == "step":
        painter.setPen(QPen(colour, 1.4))
        middle = x + width / 2
        painter.drawLines(
            [
                QLineF(x, y + 3, middle, y + 3),
                QLineF(middle, y + 3, middle, y - 3),
                QLineF(middle, y - 3, x + width, y - 3),
            ]
        )
        return
    pen = QPen(colour, {"thick": 2.6, "core": 3.2}.get(trace.pattern, 1.5))
    pen.setCapStyle(Qt.PenCapStyle.RoundCap if trace.pattern == "core" else Qt.PenCapStyle.FlatCap)
    breaks = {"dash": [5.0, 3.0], "dot": [1.5, 2.0], "core": [0.01, 2.2], "bar": [5.0, 3.0]}.get(
        trace.pattern
    )
    if breaks:
        pen.setDashPattern(breaks)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, trace.pattern == "core")
    painter.setPen(pen)
    painter.drawLine(QLineF(x, y, x + width, y))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
