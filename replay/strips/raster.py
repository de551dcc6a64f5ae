"""A strip as device pixels: ground, grid, hatch and the traces that are drawn by columns. No Qt."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .courses import Course
from .envelope import (
    Columns,
    Flags,
    Ink,
    Picture,
    columns_of,
    edge,
    has_breaks,
    joined,
    patterned,
    solid,
    thickened,
    wash,
)
from .frame import Frame

_WASH = 0.24  # share of a trace's own colour in its band
_ALL_WASHES = 0.88  # of all bands together, so that no colour of a pixel runs over where they overlap
_HATCH_PERIOD = 7  # logical pixels between two lines of the hatch
_THIN = 3  # logical pixels: a band lower than this is its edge alone


def draw_ground(
    picture: Picture, frame: Frame, at_times: Sequence[float], at_values: Sequence[float]
) -> None:
    """Ground and grid lines."""
    grain, scale, theme = frame.grain, frame.scale, frame.theme
    grid = grain.ink(theme.grid)
    row = np.full(scale.columns, grain.ink(theme.ground))
    row[[column for column in map(scale.column, at_times) if 0 <= column < scale.columns]] = grid
    picture[:] = row
    picture[np.rint(frame.values.place(np.array(at_values))).astype(np.int64)] = grid


def draw_hatch(picture: Picture, columns: Flags, frame: Frame) -> None:
    """Grey diagonal lines over the columns that are masked, standing still in time."""
    where = np.flatnonzero(columns)
    down = np.floor(np.arange(picture.shape[0]) / frame.grain.down).astype(np.int64)
    along = np.floor((where + frame.scale.first) / frame.grain.across).astype(np.int64)
    part = picture[:, where]
    part[(down[:, None] + along[None, :]) % _HATCH_PERIOD == 0] = frame.grain.ink(frame.theme.hatch)
    picture[:, where] = part


def draw_courses(picture: Picture, courses: Sequence[Course], frame: Frame) -> None:
    """The traces that are drawn by columns, in their order; all washes lie under all lines."""
    prepared = [(course, columns_of(course.lo, course.hi, frame.values)) for course in courses]
    bands = [(course, columns) for course, columns in prepared if course.mode == "band"]
    for course, columns in bands:
        _draw_wash(picture, course, columns, frame, min(_WASH, _ALL_WASHES / len(bands)))
    for course, columns in prepared:
        if course.mode == "band":
            _draw_edges(picture, course, columns, frame)
        else:
            _draw_columns(picture, course, columns, frame)


def line_pixels(course: Course, dots_per_pixel: float) -> int:
    """Thickness of a trace in device pixels; what changes slowly is drawn as firmly as a thick wave."""
    broad = course.trace.pattern == "thick" or not course.trace.channel.is_wave
    return max(1, round((2.0 if broad else 1.0) * dots_per_pixel))


def _draw_wash(picture: Picture, course: Course, columns: Columns, frame: Frame, share: float) -> None:
    theme, grain = frame.theme, frame.grain
    tall = columns.bottom - columns.top >= _THIN * grain.down
    seen = columns.seen & tall
    if course.masked is not None:
        seen &= ~course.masked
    colour, ground = theme.trace(course.trace.colour), theme.ground
    # What the wash takes from (or on a dark ground adds to) each of red, green and blue.
    parts = [
        round(
            max(0, (int(colour[i : i + 2], 16) - int(ground[i : i + 2], 16)) * (1 if theme.dark else -1))
            * share
        )
        for i in (1, 3, 5)
    ]
    tint = grain.element(parts[0] << 16 | parts[1] << 8 | parts[2])
    wash(picture, Columns(columns.top, columns.bottom, seen), tint, lighten=theme.dark)


def _inks(course: Course, frame: Frame) -> Ink | Picture:
    theme, grain = frame.theme, frame.grain
    colour = grain.ink(theme.trace(course.trace.colour))
    if course.masked is None:
        return colour
    return np.where(course.masked, grain.ink(theme.masked), colour)


def _draw_edges(picture: Picture, course: Course, columns: Columns, frame: Frame) -> None:
    grain = frame.grain
    pixels = line_pixels(course, grain.down)
    inks = _inks(course, frame)
    pattern = course.trace.pattern
    for row in (columns.top, columns.bottom):
        low_enough = np.minimum(row, picture.shape[0] - pixels)
        if not has_breaks(pattern):
            edge(picture, low_enough, columns.seen, columns.seen, pixels, inks)
            continue
        # In a break of the pattern an edge is left out, unless it jumps there: that is an event.
        jump = np.abs(np.diff(row, prepend=row[:1]))
        jump[1:] = np.maximum(jump[1:], jump[:-1])
        edge_only = Columns(row, row + jump, columns.seen)
        shown = patterned(edge_only, pattern, frame.scale.first, grain.across, round(10 * grain.down)).seen
        edge(picture, low_enough, columns.seen, shown, pixels, inks)


def _draw_columns(picture: Picture, course: Course, columns: Columns, frame: Frame) -> None:
    grain = frame.grain
    pattern = course.trace.pattern
    pixels = line_pixels(course, grain.down)
    if pattern == "core":
        pixels = round(3 * grain.down)
    columns = thickened(joined(columns), pixels, picture.shape[0])
    inks = _inks(course, frame)
    if not has_breaks(pattern):
        solid(picture, columns, inks)
    elif course.trace.channel.is_wave:
        # A wave is followed beat by beat at this zoom: in a break it is faint, so that no peak is lost.
        shown = patterned(columns, pattern, frame.scale.first, grain.across, None).seen
        faint = grain.ink(frame.theme.faint(course.trace.colour))
        solid(picture, columns, np.where(shown | (columns.seen & _hidden(course)), inks, faint))
    else:
        always = round(6 * grain.down)  # what jumps is drawn in a break too
        solid(picture, patterned(columns, pattern, frame.scale.first, grain.across, always), inks)


def _hidden(course: Course) -> Flags | np.bool_:
    return np.False_ if course.masked is None else course.masked
