"""Traces that are drawn sample by sample: smooth lines one device pixel wide, steps, dots and triangles.

A line of cosmetic width is by far the quickest way through the paint engine: a polyline wider than that
takes 25 to 40 times as long, so a thicker line is the same line drawn again beside itself.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import shiboken6
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from .courses import Course
from .envelope import Flags, Floats, TimeScale, flagged_runs, runs_of_samples, steps_of
from .frame import Frame
from .raster import line_pixels

_DASHES: Final = {"dash": (7.0, 4.0), "dot": (2.0, 3.0)}  # logical pixels
_PAGE_BREAKS: Final = {"dash": (6.0, 4.0), "dot": (1.5, 2.5), "core": (2.0, 5.0)}
_MARKER_ROOM: Final = 15.0  # logical pixels from one triangle to the next
_DOT_ROOM: Final = 7.0
_FAR_DOTS: Final = 30.0


def polygon(x: Floats, y: Floats) -> QPolygonF:
    """Points as a polygon, without a Python object for each."""
    points = QPolygonF()
    points.resize(len(x))
    room = shiboken6.VoidPtr(points.data(), len(x) * 16, True)  # type: ignore[call-arg, arg-type]  # stubs lag
    xy = np.frombuffer(room, np.float64).reshape(-1, 2)  # type: ignore[call-overload]
    xy[:, 0], xy[:, 1] = x, y
    return points


def page_pen(colour: QColor, pattern: str) -> QPen:
    """A pen for a page, where width costs nothing, with the breaks of the pattern."""
    pen = QPen(colour, {"thick": 1.3, "core": 1.6, "dot": 1.0}.get(pattern, 0.7))
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    if pattern in _PAGE_BREAKS:
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        pen.setDashPattern([length / pen.widthF() for length in _PAGE_BREAKS[pattern]])
    return pen


def trace_pen(colour: str, pattern: str, dots_per_pixel: float) -> QPen:
    """A pen one device pixel wide, with the breaks of the pattern."""
    pen = QPen(QColor(colour), 0)
    pen.setCosmetic(True)
    if pattern in _DASHES:
        pen.setDashPattern([length * dots_per_pixel for length in _DASHES[pattern]])
    return pen


def draw_thread(painter: QPainter, course: Course, frame: Frame) -> None:
    """The faint line under a trace with breaks, so that no peak is lost in one; before all other lines.

    Dashed and dotted waves have one, and dots that stand far apart.
    """
    samples, trace = course.samples, course.trace
    if samples is None or not (
        trace.pattern == "core" or (trace.pattern in _DASHES and trace.channel.is_wave)
    ):
        return
    interval = samples.interval_s if samples.interval_s == samples.interval_s else 0.0
    near = interval / frame.scale.second_per_column / frame.grain.across < _FAR_DOTS
    if trace.pattern == "core" and near:
        return
    x, y = frame.x(samples.t), frame.y(samples.values)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(trace_pen(frame.theme.faint(trace.colour), "solid", frame.grain.down))
    for piece in runs_of_samples(samples.t, samples.values, interval):
        painter.drawPolyline(polygon(x[piece], y[piece]))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def draw_samples(painter: QPainter, course: Course, frame: Frame, *, page: bool = False) -> None:
    """Draw a course of mode ``samples``; the painter is clipped to the strip.

    Parameters
    ----------
    painter : QPainter
        Painted on.
    course : Course
        What to draw.
    frame : Frame
        Where.
    page : bool
        Whether it goes to a page and not to a screen.
    """
    samples, trace = course.samples, course.trace
    if samples is None or not len(samples.t):
        return
    theme, grain = frame.theme, frame.grain
    x, y = frame.x(samples.t), frame.y(samples.values)
    colour = theme.trace(trace.colour)
    hidden = _masked_samples(course, samples.t, frame.scale)
    interval = samples.interval_s
    pieces = runs_of_samples(samples.t, samples.values, interval if interval == interval else 0.0)
    if trace.pattern == "bar":
        _draw_bars(painter, x, y, pieces, colour, grain.down)
        return
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    passes = 1 if page else line_pixels(course, grain.down)
    fine = trace.pattern in ("up", "down")  # their triangles carry the weight
    for piece in pieces:
        for part, is_hidden in _parts(piece, hidden):
            ink = theme.masked if is_hidden else colour
            pen = page_pen(QColor(ink), trace.pattern) if page else trace_pen(ink, trace.pattern, grain.down)
            painter.setPen(pen)
            px, py = x[part], y[part]
            if trace.pattern == "step":
                px, py = steps_of(px, py)
            if len(px) == 1:
                _draw_dots(painter, px, py, pen.color(), 1.5)
                continue
            if trace.pattern != "core":
                _draw_line(
                    painter, px, py, 1 if page else max(1, round(grain.down)) if fine else passes, grain.down
                )
        _draw_markers(painter, trace.pattern, x[piece], y[piece], samples.t[piece], interval, colour)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def _draw_line(painter: QPainter, x: Floats, y: Floats, passes: int, dots_per_pixel: float) -> None:
    for number in range(passes):
        aside = (number - (passes - 1) / 2) / dots_per_pixel * 0.8
        painter.drawPolyline(polygon(x + aside, y + aside) if aside else polygon(x, y))


def _masked_samples(course: Course, t: Floats, scale: TimeScale) -> Flags | None:
    if course.masked is None:
        return None
    columns = np.clip(np.floor(scale.place(t) + 1e-6), 0, scale.columns - 1).astype(np.int64)
    return course.masked[columns]


def _parts(piece: slice, hidden: Flags | None) -> list[tuple[slice, bool]]:
    """A piece cut where masking begins and ends; neighbours share a sample so that the line holds together."""
    if hidden is None or not hidden[piece].any():
        return [(piece, False)]
    flags = hidden[piece]
    start, stop = piece.start, piece.stop
    runs = [(a, b, True) for a, b in flagged_runs(flags)] + [(a, b, False) for a, b in flagged_runs(~flags)]
    return [(slice(start + a, min(start + b + 1, stop)), is_hidden) for a, b, is_hidden in sorted(runs)]


def _draw_markers(
    painter: QPainter, pattern: str, x: Floats, y: Floats, t: Floats, interval: float, colour: str
) -> None:
    if pattern not in ("core", "up", "down"):
        return
    room = _DOT_ROOM if pattern == "core" else _MARKER_ROOM
    if len(x) > 1 and interval == interval:
        # Every so many samples, counted from time zero: markers stay on their samples when the window moves.
        per_sample = (x[-1] - x[0]) / (len(x) - 1)
        every = max(1, int(np.ceil(room / max(per_sample, 1e-9))))
        chosen = np.round(t / interval).astype(np.int64) % every == 0
        x, y = x[chosen], y[chosen]
    if pattern == "core":
        _draw_dots(painter, x, y, QColor(colour), 1.7)
    else:
        draw_triangles(painter, x, y, colour, upward=pattern == "up")


def _draw_dots(painter: QPainter, x: Floats, y: Floats, colour: QColor, reach: float) -> None:
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    for px, py in zip(x.tolist(), y.tolist(), strict=True):
        painter.drawEllipse(QPointF(px, py), reach, reach)


def draw_triangles(painter: QPainter, x: Floats, y: Floats, colour: str, *, upward: bool) -> None:
    """Small filled triangles, standing on or hanging from the line."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(colour))
    reach = -4.0 if upward else 4.0
    for px, py in zip(x.tolist(), y.tolist(), strict=True):
        corners = [
            QPointF(px, py + reach),
            QPointF(px - 3.5, py - reach / 2),
            QPointF(px + 3.5, py - reach / 2),
        ]
        painter.drawPolygon(QPolygonF(corners))


def _draw_bars(
    painter: QPainter, x: Floats, y: Floats, pieces: list[slice], colour: str, dots_per_pixel: float
) -> None:
    ink = QColor(colour)
    height = max(1.0, round(1.5 * dots_per_pixel) / dots_per_pixel)
    for piece in pieces:
        for px, py in zip(x[piece].tolist(), y[piece].tolist(), strict=True):
            painter.fillRect(QRectF(px - 4, py - height / 2, 8, height), ink)
