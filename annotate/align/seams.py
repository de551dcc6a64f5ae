"""Where the stamps of a source do not follow on evenly: the only places at which its clock can have been set."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..runs import FloatArray
from .courses import Rows

IntArray = NDArray[np.intp]

LEAST_HOLE_S = 1.2
"""A hole is at least this much longer than the usual interval (this project's choice)."""


@dataclass(frozen=True)
class Seams:
    """Where stamps do not follow on evenly.

    Attributes
    ----------
    row : ndarray of int
        Rows that begin after a hole or a new run.
    new_run : ndarray of bool
    jump_s : ndarray
        Stamp less what would follow on: the size of the hole, or how far the clock went back (negative).
    """

    row: IntArray
    new_run: NDArray[np.bool_]
    jump_s: FloatArray

    def between(self, first: int, second: int) -> tuple[bool, float]:
        """Of two rows: whether a new run begins on the way, and the step that loses no row (0: no seam)."""
        inside = (self.row > first) & (self.row <= second)
        if not inside.any():
            return False, 0.0
        back = inside & self.new_run
        if back.any():
            return True, float(self.jump_s[back].sum())
        return False, float(self.jump_s[inside].max())


def seams_of(rows: Rows) -> Seams:
    """Holes and new runs of a source."""
    jump = np.diff(rows.stamp) - rows.interval_s
    back = np.diff(rows.run) > 0
    at = np.flatnonzero(back | (jump > max(LEAST_HOLE_S, 0.2 * rows.interval_s)))
    return Seams((at + 1).astype(np.intp), back[at], jump[at])
