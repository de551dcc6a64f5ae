"""The small picture of the Why card: the lines that a find is about, around it, with limit, crossings and masks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from afterclamp.annotate.finds import Find
from afterclamp.io.case import Case, Span
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPen, QPolygonF

from ..strips.axis import TimeText
from ..strips.courses import masked_stretches
from ..strips.layout import LimitLine, Strip, Trace, strips_of
from ..strips.over import paint_selection
from ..strips.painter import Picture
from ..strips.theme import PAPER

AROUND_S = 120.0
CLOSE_S = 60.0
"""Seconds on both sides; fewer around a find that is shorter than these itself."""
STRIP_HEIGHT, AXIS_HEIGHT = 78, 30
MOST_STRIPS = 3
NARROWEST = 280
_PART = 0.08  # of the values shown that is left free above and below


def picture_window(find: Find, case: Case) -> Span:
    """What is shown: the find and one or two minutes around it, within the record."""
    around = CLOSE_S if find.duration_s < CLOSE_S else AROUND_S
    start, end = max(case.span.start, find.start_s - around), min(case.span.end, find.end_s + around)
    return Span(start, max(end, start + 1.0))


def picture_strips(case: Case, find: Find, limit_on: str = "") -> list[Strip]:
    """The strips with only those traces that the find is about, their values as far as they reach in the window.

    Parameters
    ----------
    case : Case
    find : Find
    limit_on : str
        Canonical name of the channel that its limit is one of.
    """
    window = picture_window(find, case)
    order = [find.site, *find.channels] if find.site else list(find.channels)
    found: list[tuple[int, Strip]] = []
    for strip in strips_of(case):
        traces = tuple(
            trace for trace in strip.traces if _place(trace, order) < len(order) and _recorded(trace, window)
        )
        if not traces:
            continue
        limit = find.evidence.get("limit")
        here = isinstance(limit, (int, float)) and any(_names(trace, limit_on) for trace in traces)
        limits = (LimitLine(float(limit), f"{limit:g}"),) if here and limit is not None else ()
        reach = _reach(traces, window, [line.value for line in limits])
        changed = replace(
            strip,
            title=strip.short or strip.title,
            traces=traces,
            limits=limits,
            weight=1.0,
            y_range=reach or strip.y_range,
        )
        found.append((min(_place(trace, order) for trace in traces), changed))
    return [strip for _, strip in sorted(found, key=lambda one: one[0])][:MOST_STRIPS]


def why_picture(
    case: Case,
    find: Find,
    width: int,
    strips: Sequence[Strip],
    *,
    masked: Mapping[str, Sequence[tuple[float, float]]] | None = None,
    time_text: TimeText | None = None,
    ratio: float = 1.0,
) -> QImage | None:
    """Paint the picture; None without a strip.

    Parameters
    ----------
    case : Case
    find : Find
    width : int
        Logical pixels.
    strips : sequence of Strip
        Of `picture_strips`.
    masked : mapping, optional
        Stretches that are masked, by channel id, reference seconds.
    time_text : TimeText, optional
        How times are written.
    ratio : float
        Device pixels in a logical one.
    """
    if not strips:
        return None
    width = max(width, NARROWEST)
    height = STRIP_HEIGHT * len(strips) + AXIS_HEIGHT
    image = QImage(round(width * ratio), round(height * ratio), QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(ratio)
    image.fill(QColor(PAPER.ground))
    picture = Picture(PAPER)
    picture.show(case, strips, ())
    picture.masked = masked_stretches(case, masked)
    if time_text is not None:
        picture.time_text = time_text
    window = picture_window(find, case)
    painter = QPainter(image)
    picture.paint(painter, width, height, window)
    if find.end_s > find.start_s:
        paint_selection(painter, picture, Span(find.start_s, find.end_s))
    for t in crossings_of(find):
        if window.start <= t <= window.end:
            _paint_crossing(painter, picture, t)
    painter.end()
    return image


def crossings_of(find: Find) -> list[float]:
    """Times at which a limit was crossed, reference seconds."""
    return [float(t) for t in find.evidence.get("crossings", ()) if isinstance(t, (int, float))]


def caption(find: Find, strips: Sequence[Strip], limit_on: str) -> str:
    """What is to be seen, in words: also for who cannot see it."""
    names = ", ".join(dict.fromkeys(trace.name for strip in strips for trace in strip.traces))
    limit = find.evidence.get("limit")
    line = f"; the line is the limit, {limit:g}" if limit_on and isinstance(limit, (int, float)) else ""
    crossed = "; dashes with a triangle: its crossings" if crossings_of(find) else ""
    return f"{names}. Tinted: the find{line}{crossed}; hatched: masked."


# -- inside ------------------------------------------------------------------------------------------


def _names(trace: Trace, name: str) -> bool:
    channel = trace.channel
    return bool(name) and name in (channel.id, channel.name)


def _place(trace: Trace, order: Sequence[str]) -> int:
    """Where a trace stands among the names of a find; behind the last where it is none of them."""
    return next((number for number, name in enumerate(order) if _names(trace, name)), len(order))


def _recorded(trace: Trace, window: Span) -> bool:
    return trace.channel.span.start < window.end and trace.channel.span.end > window.start


def _reach(traces: Sequence[Trace], window: Span, also: Sequence[float]) -> tuple[float, float] | None:
    """Lowest and highest value in the window, with some room; None where nothing was recorded."""
    lows, highs = list(also), list(also)
    for trace in traces:
        around = trace.channel.envelope(window.start, window.end, 400)
        lo, hi = around.lo[np.isfinite(around.lo)], around.hi[np.isfinite(around.hi)]
        if len(lo) and len(hi):
            lows.append(float(lo.min()))
            highs.append(float(hi.max()))
    if len(lows) == len(also):
        return None
    low, high = min(lows), max(highs)
    room = max((high - low) * _PART, 0.5)
    return low - room, high + room


def _paint_crossing(painter: QPainter, picture: Picture, t: float) -> None:
    x, places = picture.x_of(t), picture.places
    ink = QColor(PAPER.ink)
    pen = QPen(ink)
    pen.setStyle(Qt.PenStyle.DashLine)
    painter.setPen(pen)
    painter.drawLine(QPointF(x, places.top), QPointF(x, places.axis[0]))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(ink)
    top = float(places.top)
    painter.drawPolygon(QPolygonF([QPointF(x - 4, top), QPointF(x + 4, top), QPointF(x, top + 6)]))
