"""Where a strip is hatched: over its height where no trace of it is to be believed, else around the trace. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from .courses import Course
from .envelope import Flags, flagged_runs
from .frame import Frame, Numbers

_BESIDE: Final = 4.0  # logical pixels that a patch reaches beyond its trace
_LEAST: Final = 16.0  # logical pixels of height below which no hatch can be told


@dataclass(frozen=True, slots=True)
class Patch:
    """A hatched rectangle.

    Attributes
    ----------
    start, stop : int
        Columns, half-open.
    top, bottom : int
        Rows, half-open.
    light : bool
        Whether something of the trace can be used all the same: hatched more lightly, the other way.
    """

    start: int
    stop: int
    top: int
    bottom: int
    light: bool


def patches_of(courses: Sequence[Course], frame: Frame) -> list[Patch]:
    """The patches of a strip.

    A good trace is not hatched for its neighbour's sake: only where nothing in a strip is to be believed is the
    whole height hatched. A course that is empty has no say.
    """
    seen = [course for course in courses if not course.empty]
    found: list[Patch] = []
    for light in (False, True):
        flags = [_flags(course, light) for course in seen]
        if not any(one.any() for one in flags):
            continue
        gone = [_flags(course, False) | one for course, one in zip(seen, flags, strict=True)]
        shared = np.logical_and.reduce(gone)
        if light:  # what is masked in full everywhere is hatched already
            shared &= np.logical_or.reduce(flags)
        found += [Patch(a, b, 0, frame.values.rows, light) for a, b in flagged_runs(shared)]
        for course, own in zip(seen, flags, strict=True):
            for run in flagged_runs(own & ~shared):
                found += _around(course, run, frame, light)
    return found


def _flags(course: Course, light: bool) -> Flags:
    own = course.lighter if light else course.masked
    if own is None:
        return np.zeros(course.columns, np.bool_)
    return own & ~course.masked if light and course.masked is not None else own


def _around(course: Course, run: tuple[int, int], frame: Frame, light: bool) -> list[Patch]:
    """The rectangle that a trace lies in over a run of columns; none where it is not drawn there."""
    lowest: Numbers = course.lo[slice(*run)]
    highest: Numbers = course.hi[slice(*run)]
    if course.samples is not None:
        at = frame.scale.place(course.samples.t)
        # With the sample before and the one after: the line runs through the columns between.
        first, last = np.searchsorted(at, run[0], "right") - 1, np.searchsorted(at, run[1], "left") + 1
        lowest = highest = course.samples.values[max(int(first), 0) : int(last)]
    if not np.isfinite(lowest).any():
        return []
    bottom, top = frame.values.place(np.array([np.nanmin(lowest), np.nanmax(highest)], np.float64)).tolist()
    short = max(_LEAST * frame.grain.down - (bottom - top), 2 * _BESIDE * frame.grain.down) / 2
    rows = frame.values.rows
    return [
        Patch(*run, min(max(round(top - short), 0), rows), min(max(round(bottom + short), 0), rows), light)
    ]
