"""What stands on a strip besides its traces: triangles, letters at line ends, limits, a word where it is empty."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter

from .courses import Course
from .envelope import flagged_runs
from .frame import Frame, Numbers
from .lanes import CLOCK_NOT_SET
from .layout import LimitLine, Strip
from .lines import draw_triangles
from .margin import text_font

NOTHING_HERE: Final = "nothing recorded here"

_TRIANGLE_ROOM: Final = 72  # logical pixels between triangles where a trace is drawn by columns
_WEDGE_ROOM: Final = 10.0  # logical pixels from one wedge to the next
_VALUE_ROOM: Final = 40.0  # logical pixels between wedges that have room for their values
_TAG_HEIGHT: Final = 12.0


def draw_far_triangles(painter: QPainter, course: Course, frame: Frame) -> None:
    """Triangles on a trace that is drawn by columns, at distances fixed in time."""
    every = max(1, round(_TRIANGLE_ROOM * frame.grain.across))
    columns = np.arange(-frame.scale.first % every, frame.scale.columns, every)
    middles = (course.lo[columns] + course.hi[columns]) / 2
    seen = ~np.isnan(middles)
    colour = frame.theme.trace(course.trace.colour)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    x, y = frame.x_of_columns(columns[seen]), frame.y(middles[seen])
    draw_triangles(painter, x, y, colour, upward=course.trace.pattern == "up")
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def draw_beyond(painter: QPainter, courses: Sequence[Course], frame: Frame) -> None:
    """Small wedges at the upper and lower edge where a trace goes on beyond the strip's range."""
    room = 0.03 * (frame.values.high - frame.values.low)
    for course in courses:
        lowest: Numbers = course.lo if course.samples is None else course.samples.values
        highest: Numbers = course.hi if course.samples is None else course.samples.values
        if not len(highest):
            continue
        for upward, flags in (
            (True, highest > frame.values.high + room),
            (False, lowest < frame.values.low - room),
        ):
            if not flags.any():
                continue
            runs = [(start, stop) for start, stop in flagged_runs(flags)]
            middles = np.array([(start + stop - 1) / 2 for start, stop in runs])
            farthest = [
                np.nanmax(highest[start:stop]) if upward else np.nanmin(lowest[start:stop])
                for start, stop in runs
            ]
            if course.samples is None:
                x = frame.x_of_columns(middles)
            else:
                x = frame.x(course.samples.t[middles.astype(np.int64)])
            apart = np.diff(x, prepend=-np.inf) >= _WEDGE_ROOM
            kept = x[apart]
            edge = frame.top + 4.5 if upward else frame.top + frame.height - 4.5
            colour = frame.theme.trace(course.trace.colour)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
            draw_triangles(painter, kept, np.full(len(kept), edge), colour, upward=upward)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
            if frame.height >= 3 * _TAG_HEIGHT and (
                len(kept) == 1 or np.diff(kept).min(initial=np.inf) > _VALUE_ROOM
            ):
                # How far it goes: a flush to 300 must not look like one to 170.
                painter.setFont(text_font(frame.theme, 0.75))
                painter.setPen(QColor(colour))
                values = np.array(farthest)[apart]
                for at, value in zip(kept.tolist(), values.tolist(), strict=True):
                    painter.drawText(QPointF(at + 7, edge + 4), f"{value:.0f}")


def draw_limits(painter: QPainter, limits: Sequence[LimitLine], frame: Frame) -> None:
    """Limits in force as thin lines with their names."""
    if not limits:
        return
    ink = QColor(frame.theme.soft_ink)
    painter.setFont(text_font(frame.theme, 0.8))
    painter.setPen(ink)
    for limit in limits:
        if frame.values.low <= limit.value <= frame.values.high:
            y = round(frame.y_of(limit.value))
            painter.fillRect(QRectF(frame.left, y, frame.width, 1), ink)
            painter.drawText(QPointF(frame.left + 6, y - 3), limit.label)


def draw_tags(painter: QPainter, courses: Sequence[Course], frame: Frame) -> None:
    """The letter of each tagged trace at its right end in the window; left out where letters would touch."""
    tagged = [course for course in courses if course.trace.tag]
    if not tagged or frame.height < 2 * _TAG_HEIGHT:
        return
    painter.setFont(text_font(frame.theme, 0.8, bold=True))
    metrics = QFontMetricsF(painter.font())
    veil = QColor(frame.theme.ground)
    veil.setAlpha(215)
    lowest, highest = frame.top + frame.height - _TAG_HEIGHT / 2 - 1, frame.top + _TAG_HEIGHT / 2 + 1
    taken: list[float] = []
    for course in tagged:
        end = _end_of(course, frame)
        if end is None:
            continue
        beside = min(max(end.y(), highest), lowest)
        near = [y for y in (beside, beside + _TAG_HEIGHT, beside - _TAG_HEIGHT) if highest <= y <= lowest]
        free = [y for y in near if all(abs(y - other) >= _TAG_HEIGHT for other in taken)]
        if not free:
            continue
        taken.append(free[0])
        width = metrics.horizontalAdvance(course.trace.tag) + 4
        box = QRectF(
            min(end.x() - width, frame.right - width - 1), free[0] - _TAG_HEIGHT / 2, width, _TAG_HEIGHT
        )
        painter.fillRect(box, veil)
        painter.setPen(QColor(frame.theme.words(frame.theme.trace(course.trace.colour))))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, course.trace.tag)


def draw_nothing_here(painter: QPainter, frame: Frame) -> None:
    """Say that the window holds nothing of this strip."""
    painter.setFont(text_font(frame.theme, 0.92))
    painter.setPen(QColor(frame.theme.soft_ink))
    painter.drawText(frame.box, Qt.AlignmentFlag.AlignCenter, NOTHING_HERE)


def draw_unset(painter: QPainter, strip: Strip, frame: Frame) -> None:
    """Say on the strip that the clock of its traces, or of which of them, nobody has set."""
    unset = [trace for trace in strip.traces if trace.clock_unset]
    if not unset or frame.height < _TAG_HEIGHT:
        return
    words = f"? {CLOCK_NOT_SET}"
    if len(unset) < len(strip.traces):
        words += f": {', '.join(trace.name for trace in unset)}"
    painter.setFont(text_font(frame.theme, 0.8))
    metrics = QFontMetricsF(painter.font())
    text = metrics.elidedText(words, Qt.TextElideMode.ElideRight, max(0.0, frame.width - 12))
    box = QRectF(frame.left + 1, frame.top + 1, metrics.horizontalAdvance(text) + 6, metrics.height())
    painter.fillRect(box, QColor(frame.theme.ground))
    painter.setPen(QColor(frame.theme.soft_ink))
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)


def _end_of(course: Course, frame: Frame) -> QPointF | None:
    """Where the last thing that a trace shows stands."""
    if course.samples is None:
        seen = np.flatnonzero(~np.isnan(course.hi))
        if not len(seen):
            return None
        last = int(seen[-1])
        middle = float(course.hi[last] + course.lo[last]) / 2
        return QPointF(frame.left + (last + 1) / frame.grain.across, frame.y_of(middle))
    t, values = course.samples.t, course.samples.values
    seen = np.flatnonzero(~np.isnan(values) & (t >= frame.scale.start) & (t <= frame.scale.end))
    if not len(seen):
        return None
    last = int(seen[-1])
    return QPointF(float(frame.x(t[last : last + 1])[0]), frame.y_of(float(values[last])))
