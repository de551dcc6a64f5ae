"""A strip as device pixels: ground, grid, hatch and the traces that are drawn by columns. No Qt."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .courses import Course
from .envelope import (
    Columns,
    Ink,
    Picture,
    columns_of,
    edge,
    has_breaks,
    joined,
    patterned,
    shared_rows,
    solid,
    thickened,
    wash,
    washed,
)
from .frame import Frame
from .hatch import Patch

_WASH = 0.24  # share of a trace's own colour in its band
_ALL_WASHES = 0.88  # of all bands together, so that no colour of a pixel runs over where they overlap
_HATCH_PERIOD = 7  # logical pixels between two lines of the hatch
_THIN = 3  # logical pixels: a band lower than this is its edge alone


def draw_strip(
    picture: Picture,
    courses: Sequence[Course],
    frame: Frame,
    hatched: Sequence[Patch],
    at_times: Sequence[float],
    at_values: Sequence[float],
) -> None:
    """Everything of a strip that is drawn by columns.

    Parameters
    ----------
    picture : ndarray, shape (rows, columns)
        Drawn into, whole.
    courses : sequence of Course
        Of modes ``columns`` and ``band``, in their order; all washes lie under all lines.
    frame : Frame
        Scales and look.
    hatched : sequence of Patch
        What is hatched, of `hatch.patches_of`.
    at_times, at_values : sequences
        Where grid lines stand.
    """
    prepared = [(course, columns_of(course.lo, course.hi, frame.values)) for course in courses]
    bands = [(course, columns) for course, columns in prepared if course.mode == "band"]
    washes = [_wash_of(course, columns, frame, len(bands)) for course, columns in bands]
    lighten = frame.theme.dark
    # The first wash's broad middle goes down with the ground, at once.
    done = shared_rows(washes[0][0]) if washes and not hatched else (0, 0)
    _draw_ground(picture, frame, at_times, at_values, washes[0] if done[1] > done[0] else None, done)
    for patch in hatched:
        _draw_hatch(picture, patch, frame)
    for number, (covered, tint) in enumerate(washes):
        first = number == 0 and not hatched
        wash(picture, covered, tint, lighten=lighten, done=done if first else None)
    for course, columns in prepared:
        if course.mode == "columns":
            _draw_thread(picture, course, columns, frame)
    for course, columns in prepared:
        if course.mode == "band":
            _draw_edges(picture, course, columns, frame)
        else:
            _draw_columns(picture, course, columns, frame)


def line_pixels(course: Course, dots_per_pixel: float) -> int:
    """Thickness of a trace in device pixels; what changes slowly is drawn as firmly as a thick wave."""
    broad = course.trace.pattern == "thick" or not course.trace.channel.is_wave
    return max(1, round((2.0 if broad else 1.0) * dots_per_pixel))


def _draw_ground(
    picture: Picture,
    frame: Frame,
    at_times: Sequence[float],
    at_values: Sequence[float],
    under: tuple[Columns, Ink] | None,
    shared: tuple[int, int],
) -> None:
    """Ground and grid lines; in the shared rows with a wash upon them."""
    grid = frame.grain.ink(frame.theme.grid)
    row = np.full_like(picture[0], frame.grain.ink(frame.theme.ground))
    row[frame.grid_columns(at_times)] = grid
    lines = frame.grid_rows(at_values)
    if under is None:
        picture[:] = row
        picture[lines] = grid
        return
    lighten = frame.theme.dark
    picture[: shared[0]], picture[shared[1] :] = row, row
    picture[slice(*shared)] = washed(row, *under, lighten=lighten)
    washed_line = washed(np.full_like(row, grid), *under, lighten=lighten)
    for line in lines:
        picture[line] = washed_line if shared[0] <= line < shared[1] else grid


def _draw_hatch(picture: Picture, patch: Patch, frame: Frame) -> None:
    """Grey diagonal lines over what is masked, standing still in time; farther apart and the other way where light."""
    down = np.floor(np.arange(patch.top, patch.bottom) / frame.grain.down).astype(np.int64)
    columns = np.arange(patch.start, patch.stop)
    along = np.floor((columns + frame.scale.first) / frame.grain.across).astype(np.int64)
    lines = down[:, None] - along[None, :] if patch.light else down[:, None] + along[None, :]
    period = 2 * _HATCH_PERIOD if patch.light else _HATCH_PERIOD
    part = picture[patch.top : patch.bottom, patch.start : patch.stop]
    part[lines % period == 0] = frame.grain.ink(frame.theme.hatch)


def _wash_of(course: Course, columns: Columns, frame: Frame, bands: int) -> tuple[Columns, Ink]:
    """What a band's wash covers, and what it takes from (or on a dark ground adds to) each pixel there."""
    theme, grain = frame.theme, frame.grain
    seen = columns.seen & (columns.bottom - columns.top >= _THIN * grain.down)
    if course.masked is not None:
        seen &= ~course.masked
    share = min(_WASH, _ALL_WASHES / bands)
    colour, ground, sign = theme.trace(course.trace.colour), theme.ground, 1 if theme.dark else -1
    parts = [
        round(max(0, (int(colour[i : i + 2], 16) - int(ground[i : i + 2], 16)) * sign) * share)
        for i in (1, 3, 5)
    ]
    tint = grain.element(parts[0] << 16 | parts[1] << 8 | parts[2])
    return Columns(columns.top, columns.bottom, seen), tint


def _inks(course: Course, frame: Frame) -> Ink | Picture:
    colour = frame.grain.ink(frame.theme.trace(course.trace.colour))
    if course.masked is None:
        return colour
    return np.where(course.masked, frame.grain.ink(frame.theme.masked), colour)


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


def _broadened(course: Course, columns: Columns, frame: Frame) -> Columns:
    """The columns of a trace, joined and as high as its line is thick."""
    core = course.trace.pattern == "core"
    pixels = round(3 * frame.grain.down) if core else line_pixels(course, frame.grain.down)
    return thickened(joined(columns), pixels, frame.values.rows)


def _draw_thread(picture: Picture, course: Course, columns: Columns, frame: Frame) -> None:
    """The faint line under a wave with breaks: followed beat by beat, no peak of it may be lost in one."""
    if has_breaks(course.trace.pattern) and course.trace.channel.is_wave:
        faint = frame.grain.ink(frame.theme.faint(course.trace.colour))
        solid(picture, _broadened(course, columns, frame), faint)


def _draw_columns(picture: Picture, course: Course, columns: Columns, frame: Frame) -> None:
    grain, pattern = frame.grain, course.trace.pattern
    # What jumps is drawn in a break too; a wave has its thread there.
    always = None if course.trace.channel.is_wave else round(6 * grain.down)
    broad = _broadened(course, columns, frame)
    solid(picture, patterned(broad, pattern, frame.scale.first, grain.across, always), _inks(course, frame))
