"""Strips on a page: polygons and lines, nothing is a bitmap."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QPainter

from .courses import Course
from .envelope import Columns, Flags, Rows, columns_of, flagged_runs
from .frame import Frame
from .hatch import Patch
from .lines import page_pen, polygon
from .theme import blend

_WASH: Final = 0.26  # share of a trace's own colour in its band
_FINE: Final = 0.5  # logical pixels: width of a grid line


def draw_ground(
    painter: QPainter, frame: Frame, at_times: Sequence[float], at_values: Sequence[float]
) -> None:
    """Ground and grid lines."""
    grid = QColor(frame.theme.grid)
    painter.fillRect(frame.box, QColor(frame.theme.ground))
    for x in frame.x(np.array(at_times, np.float64)).tolist():
        painter.fillRect(QRectF(x, frame.top, _FINE, frame.height), grid)
    for y in frame.y(np.array(at_values, np.float64)).tolist():
        painter.fillRect(QRectF(frame.left, y, frame.width, _FINE), grid)


def draw_hatch(painter: QPainter, patches: Sequence[Patch], frame: Frame) -> None:
    """Grey diagonal lines over what is masked; without a tint and the other way where something can be used."""
    tint = QColor(blend(frame.theme.ground, frame.theme.hatch, 0.35))
    ink = QColor(frame.theme.hatch)
    for patch in patches:
        left = frame.left + patch.start / frame.grain.across
        top = frame.top + patch.top / frame.grain.down
        width, height = (
            (patch.stop - patch.start) / frame.grain.across,
            (patch.bottom - patch.top) / frame.grain.down,
        )
        box = QRectF(left, top, width, height)
        if not patch.light:
            painter.fillRect(box, tint)
        painter.fillRect(
            box, QBrush(ink, Qt.BrushStyle.FDiagPattern if patch.light else Qt.BrushStyle.BDiagPattern)
        )


def draw_courses(painter: QPainter, courses: Sequence[Course], frame: Frame) -> None:
    """The traces that are drawn by columns, one polygon or line for each piece without a gap."""
    prepared = [(course, columns_of(course.lo, course.hi, frame.values)) for course in courses]
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    for course, columns in prepared:
        if course.mode == "band":
            wash = QColor(frame.theme.trace(course.trace.colour))
            wash.setAlphaF(_WASH)
            for run in flagged_runs(_plain(course, columns)):
                _draw_band(painter, columns, run, frame, wash)
    for course, columns in prepared:
        plain = _plain(course, columns)
        for seen, colour in (
            (plain, frame.theme.trace(course.trace.colour)),
            (columns.seen & ~plain, frame.theme.masked),
        ):
            painter.setPen(page_pen(QColor(colour), course.trace.pattern))
            for run in flagged_runs(seen):
                if course.mode == "band":
                    _draw_line(painter, columns.top, run, frame)
                    _draw_line(painter, columns.bottom, run, frame)
                else:
                    _draw_zigzag(painter, columns, run, frame)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def _plain(course: Course, columns: Columns) -> Flags:
    return columns.seen if course.masked is None else columns.seen & ~course.masked


def _draw_band(painter: QPainter, columns: Columns, run: tuple[int, int], frame: Frame, wash: QColor) -> None:
    x = frame.x_of_columns(np.arange(*run))
    upper, lower = (frame.y_of_rows(rows[slice(*run)]) for rows in (columns.top, columns.bottom))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(wash)
    painter.drawPolygon(polygon(np.concatenate([x, x[::-1]]), np.concatenate([upper, lower[::-1]])))


def _draw_line(painter: QPainter, rows: Rows, run: tuple[int, int], frame: Frame) -> None:
    painter.drawPolyline(polygon(frame.x_of_columns(np.arange(*run)), frame.y_of_rows(rows[slice(*run)])))


def _draw_zigzag(painter: QPainter, columns: Columns, run: tuple[int, int], frame: Frame) -> None:
    """Down and up again in each column, so that every lowest and highest value is touched."""
    top, bottom = columns.top[slice(*run)], columns.bottom[slice(*run)]
    if (bottom - top <= 1).all():
        _draw_line(painter, columns.top, run, frame)
        return
    rows = np.column_stack([top, bottom]).ravel()
    painter.drawPolyline(polygon(np.repeat(frame.x_of_columns(np.arange(*run)), 2), frame.y_of_rows(rows)))
