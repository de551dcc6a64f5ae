"""From levels and samples to pixels: numbers only, no Qt.

A picture of one strip is an array of pixels ``0xffRRGGBB``, rows by columns. Where the screen has two dots
or more in a pixel a column is two dots wide and one number (``uint64``) holds both: lines are as wide as on
any other screen, and the work grows with the height alone. Measured on 1420 x 110 pixels: 0.03 ms to find the
pixels of one trace, 0.05 ms to set them; the same as lines through the paint engine takes 1 ms.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import floor
from typing import Final

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint32] | NDArray[np.uint64]
Ink = np.uint32 | np.uint64
Rows = NDArray[np.int32]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

GAP_INTERVALS: Final = 2.0
"""A step in time of more than so many sample intervals is a gap, and no line crosses it."""

_BLOCK: Final = 32  # rows at a time
_MANY: Final = 8  # pixels a column, on average
_ON_OFF: Final = {"dash": (7, 4), "dot": (2, 3), "core": (2, 6)}  # logical pixels


@dataclass(frozen=True, slots=True)
class Grain:
    """How finely a picture is drawn.

    Attributes
    ----------
    across : float
        Columns in a logical pixel.
    down : float
        Rows in a logical pixel.
    dots : int
        Device pixels side by side in a column: 1 or 2.
    """

    across: float = 1.0
    down: float = 1.0
    dots: int = 1

    @classmethod
    @lru_cache(maxsize=16)
    def of_screen(cls, dots_per_pixel: float) -> Grain:
        """The grain for a screen with so many device pixels in a logical one."""
        dots = 2 if dots_per_pixel >= 1.75 else 1
        return cls(dots_per_pixel / dots, dots_per_pixel, dots)

    def ink(self, colour: str) -> Ink:
        """A ``#RRGGBB`` colour as one element of a picture."""
        return self.element(0xFF000000 | int(colour[1:], 16))

    def element(self, pixel: int) -> Ink:
        """A device pixel as one element of a picture."""
        return np.uint32(pixel) if self.dots == 1 else np.uint64(pixel << 32 | pixel)

    def room(self, pixels: NDArray[np.uint32], rows: int, columns: int) -> Picture:
        """A picture in the first device pixels of `pixels`."""
        used = pixels[: rows * columns * self.dots]
        wide = used if self.dots == 1 else used.view(np.uint64)
        return wide.reshape(rows, columns)


@dataclass(frozen=True, slots=True)
class TimeScale:
    """Reference seconds to columns.

    Columns lie on a grid that is fixed in time, not to the window: sliding the window moves the picture by
    whole columns, and no column's minimum and maximum change on the way.

    Attributes
    ----------
    first : int
        Number of the window's first column on that grid.
    second_per_column : float
        Width of a column in seconds.
    columns : int
        Columns in the window.
    """

    first: int
    second_per_column: float
    columns: int

    @classmethod
    def of(cls, start: float, end: float, columns: int) -> TimeScale:
        """The scale of a window of `columns` columns from `start` to `end` (reference seconds)."""
        width = (end - start) / columns
        return cls(floor(start / width + 1e-6), width, columns)

    @property
    def start(self) -> float:
        """Reference seconds at the left edge of the first column."""
        return self.first * self.second_per_column

    @property
    def end(self) -> float:
        """Reference seconds at the right edge of the last column."""
        return (self.first + self.columns) * self.second_per_column

    def column(self, t: float) -> int:
        """The column that holds a moment; outside 0 to ``columns - 1`` for moments outside the window."""
        return floor(t / self.second_per_column + 1e-6) - self.first

    def place(self, t: Floats) -> Floats:
        """Moments as fractions of a column from the left edge."""
        return t / self.second_per_column - self.first

    def middle(self, column: float) -> float:
        """Reference seconds in the middle of a column."""
        return (self.first + column + 0.5) * self.second_per_column


@dataclass(frozen=True, slots=True)
class ValueScale:
    """Values to rows of device pixels, the highest value in row 0; what lies outside is drawn at the edge."""

    low: float
    high: float
    rows: int

    def place(self, values: NDArray[np.floating]) -> Floats:
        """Values as rows from the top, held within the strip; NaN stays NaN."""
        steps = (self.high - np.asarray(values, np.float64)) * ((self.rows - 1) / (self.high - self.low))
        return np.clip(steps, 0.0, self.rows - 1.0)


@dataclass(frozen=True, slots=True)
class Columns:
    """The rows that one trace covers in each column: ``top`` to ``bottom``, where ``seen``."""

    top: Rows
    bottom: Rows
    seen: Flags


def columns_of(lo: NDArray[np.floating], hi: NDArray[np.floating], scale: ValueScale) -> Columns:
    """Minimum and maximum per column as rows; a NaN column is not seen."""
    seen = ~(np.isnan(lo) | np.isnan(hi))
    top = np.where(seen, np.rint(scale.place(hi)), 0).astype(np.int32)
    bottom = np.where(seen, np.rint(scale.place(lo)), -1).astype(np.int32)
    return Columns(top, bottom, seen)


def joined(columns: Columns) -> Columns:
    """Each column widened to touch the one before, so that steep edges hold together; never over a gap."""
    top, bottom = columns.top.copy(), columns.bottom.copy()
    both = columns.seen[1:] & columns.seen[:-1]
    np.minimum(top[1:], columns.bottom[:-1], out=top[1:], where=both)
    np.maximum(bottom[1:], columns.top[:-1], out=bottom[1:], where=both)
    return Columns(top, bottom, columns.seen)


def thickened(columns: Columns, pixels: int, rows: int) -> Columns:
    """Each column at least `pixels` high, within the strip."""
    bottom = np.minimum(np.maximum(columns.bottom, columns.top + (pixels - 1)), rows - 1)
    return Columns(columns.top, np.where(columns.seen, bottom, -1), columns.seen)


def has_breaks(pattern: str) -> bool:
    """Whether a line pattern leaves columns out."""
    return pattern in _ON_OFF


def patterned(columns: Columns, pattern: str, first: int, across: float, always: int | None) -> Columns:
    """A line pattern cut into the columns: those in its breaks are left out.

    Parameters
    ----------
    columns : Columns
        The trace.
    pattern : str
        ``dash``, ``dot`` and ``core`` have breaks, the others none.
    first : int
        Number of the first column on the grid fixed in time, so that breaks move with the trace.
    across : float
        Columns in a logical pixel.
    always : int or None
        Columns higher than so many pixels are drawn in a break too: a short excursion must not vanish
        in it.
    """
    if pattern not in _ON_OFF:
        return columns
    on, off = (max(1, round(length * across)) for length in _ON_OFF[pattern])
    drawn = (first + np.arange(len(columns.top))) % (on + off) < on
    if always is not None:
        drawn |= columns.bottom - columns.top >= always
    return Columns(columns.top, columns.bottom, columns.seen & drawn)


def solid(picture: Picture, columns: Columns, ink: Ink | Picture) -> None:
    """Set the pixels of a trace, in one colour or in one colour for each column."""
    for rows, mask in _covered(columns):
        part = picture[rows]
        if isinstance(ink, np.ndarray):
            np.copyto(part, ink, where=mask)
        else:
            np.putmask(part, mask, ink)


def shared_rows(columns: Columns) -> tuple[int, int]:
    """First and one-past-last row that every seen column covers; an empty range where they are few.

    Those rows need no mask, which is a third of the time where a band is broad.
    """
    seen = columns.seen
    below = int(columns.bottom.max(where=seen, initial=-1)) + 1
    first = int(columns.top.max(where=seen, initial=0))
    last = int(columns.bottom.min(where=seen, initial=below)) + 1
    return (first, last) if last - first >= _BLOCK else (below, below)


def washed(row: Picture, columns: Columns, tint: Ink, *, lighten: bool) -> Picture:
    """One row of pixels, or several, under a wash that covers it in every seen column."""
    layer = np.where(columns.seen, tint, tint.dtype.type(0))
    return row + layer if lighten else row - layer


def wash(
    picture: Picture, columns: Columns, tint: Ink, *, lighten: bool, done: tuple[int, int] | None = None
) -> None:
    """Lay a thin wash over the pixels of a trace; where washes overlap the ground shows their sum.

    Parameters
    ----------
    picture : ndarray, shape (rows, columns)
        Drawn into.
    columns : Columns
        The trace.
    tint : an element
        Taken from, or added to, each pixel as a whole number. That is right as long as no colour of the sum
        runs over: the caller keeps tints thin enough.
    lighten : bool
        Whether it is added: on a dark ground.
    done : (int, int), optional
        Rows of `shared_rows` that have the wash already.
    """
    shared = shared_rows(columns) if done is None else done
    if done is None:
        rows = slice(*shared)
        picture[rows] = washed(picture[rows], columns, tint, lighten=lighten)
    change = np.add if lighten else np.subtract
    for rows, mask in _covered(columns, leave_out=shared):
        part = picture[rows]
        change(part, np.multiply(mask.view(np.uint8), tint, dtype=picture.dtype), out=part)


def edge(picture: Picture, at: Rows, seen: Flags, shown: Flags, pixels: int, ink: Ink | Picture) -> None:
    """Draw a line through one row per column, joined where two neighbours are seen.

    Parameters
    ----------
    picture : ndarray, shape (rows, columns)
        Drawn into.
    at : ndarray of int32, shape (columns,)
        Row of the line in each column.
    seen : ndarray of bool
        Columns that have a row.
    shown : ndarray of bool
        Columns that are drawn; the breaks of a pattern are not.
    pixels : int
        Thickness downwards.
    ink : an element, or ndarray of them, shape (columns,)
        Colour, or one for each column.
    """
    before = np.where(seen[:-1] & seen[1:], at[:-1], at[1:])
    start, stop = at.copy(), at + pixels
    np.minimum(start[1:], before, out=start[1:])
    np.maximum(stop[1:], before, out=stop[1:])
    np.minimum(stop, picture.shape[0], out=stop)
    drawn = seen if shown is seen else seen & shown
    total = int((stop - start).sum(where=drawn))
    if total > _MANY * len(at):
        # So many pixels are set more quickly by rows than one by one.
        solid(picture, Columns(start, stop - 1, drawn), ink)
        return
    which = np.flatnonzero(drawn)
    start, length = start[which], (stop - start)[which]
    if not total:
        return
    rows = np.arange(total) + np.repeat(start - (np.cumsum(length) - length), length)
    places = np.repeat(which, length)
    picture[rows, places] = ink[places] if isinstance(ink, np.ndarray) else ink


def _covered(columns: Columns, leave_out: tuple[int, int] = (0, 0)) -> Iterator[tuple[slice, Flags]]:
    """Rows that a trace touches, some at a time, and which of their pixels it covers.

    Some at a time, so that what is computed for them stays in the processor's own memory.
    """
    seen = columns.seen
    if not seen.any():
        return
    first, last = (
        int(columns.top.min(where=seen, initial=1 << 30)),
        int(columns.bottom.max(where=seen, initial=0)) + 1,
    )
    # One comparison in unsigned numbers: rows above the top wrap round to large ones.
    top = np.where(seen, columns.top, 0xFFFF).astype(np.uint16)
    height = np.where(seen, columns.bottom - columns.top, 0).astype(np.uint16)
    for start, stop in ((first, min(last, leave_out[0])), (max(first, leave_out[1]), last)):
        for row in range(start, stop, _BLOCK):
            rows = np.arange(row, min(row + _BLOCK, stop), dtype=np.uint16)[:, None]
            yield slice(row, row + len(rows)), rows - top <= height


def runs_of_samples(t: Floats, values: Floats, interval_s: float) -> list[slice]:
    """Pieces between gaps: no piece holds a NaN or a step of more than `GAP_INTERVALS` intervals."""
    if not len(t):
        return []
    there = ~np.isnan(values)
    if there.all() and (len(t) < 2 or float(np.diff(t).max()) <= GAP_INTERVALS * interval_s * 1.0001):
        return [slice(0, len(t))]
    index = np.flatnonzero(there)
    if not len(index):
        return []
    breaks = (np.diff(index) > 1) | (np.diff(t[index]) > GAP_INTERVALS * interval_s * 1.0001)
    edges = np.flatnonzero(breaks)
    starts = np.concatenate([index[:1], index[edges + 1]])
    stops = np.concatenate([index[edges], index[-1:]]) + 1
    return [slice(int(a), int(b)) for a, b in zip(starts, stops, strict=True)]


def steps_of(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Points of a line that holds each value until the next."""
    if len(x) < 2:
        return x, y
    return np.repeat(x, 2)[1:], np.repeat(y, 2)[:-1]


def flagged_runs(flags: Flags) -> list[tuple[int, int]]:
    """First and one-past-last index of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]
