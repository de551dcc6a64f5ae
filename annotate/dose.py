"""A figure drawn out second by second: how deep each second lies outside its limit, and what became of the others.

The seconds of a dose add up to the area that its figure prints: both are the same integral, cut otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .measures.exposure import exposure
from .measures.exposure_strip import exposure_strip
from .measures.intervals import Interval, merge_intervals, subtract_intervals
from .series import MASKED as MASKED_SECOND
from .series import Series

FloatArray = NDArray[np.float64]

INSIDE: Final = 0
OUTSIDE: Final = 1
EXCLUDED: Final = 2  # left out by design: an arrest, a ramp
MASKED: Final = 3  # recorded, and taken for artefact
MISSING: Final = 4  # not recorded
NOT_LOOKED_AT: Final = 5  # outside the phase that the limit is for

STATES: Final = ("inside", "outside", "excluded", "masked", "missing", "not looked at")
"""Words for the states, by their number."""


@dataclass(frozen=True, eq=False)
class Counted:
    """What a figure was counted from.

    Attributes
    ----------
    series : Series
        The measure, one value a second.
    limit : float
        In the unit of the series.
    above, inclusive : bool
        Which side of it counts as outside, and whether the limit itself does.
    within, exclude : tuple of (start, end)
        The stretches that were looked at, and those left out of them, reference seconds.
    """

    series: Series
    limit: float
    above: bool
    inclusive: bool
    within: tuple[Interval, ...]
    exclude: tuple[Interval, ...] = ()


@dataclass(frozen=True, eq=False)
class Dose:
    """Depth and state of every second of a record against one limit.

    Attributes
    ----------
    start : float
        Reference second at which the first begins; each lasts 1 s.
    depth : ndarray of float64
        Distance to the limit integrated over the second, in unit x s: the mean distance where all of the second
        is outside. 0 inside, NaN in every other state. Times 1 s it adds up to the area of the figure.
    state : ndarray of uint8
        A number of `STATES`. A second of which only a part was left out goes by the rest of it.
    unit : str
        UCUM unit of the measure.
    limit : float
    above : bool
    """

    start: float
    depth: FloatArray
    state: NDArray[np.uint8]
    unit: str
    limit: float
    above: bool

    @property
    def area(self) -> float:
        """Sum of the seconds, in unit x minutes; 0 where none is outside."""
        return float(np.nansum(self.depth)) / 60

    @property
    def running(self) -> FloatArray:
        """Area up to the end of each second, in unit x minutes."""
        return np.asarray(np.cumsum(np.nan_to_num(self.depth)) / 60)

    @property
    def deepest(self) -> float:
        """The deepest second, in the unit of the measure; 0 where none is outside."""
        return float(np.nanmax(self.depth, initial=0.0)) if np.isfinite(self.depth).any() else 0.0

    def index(self, t: float) -> int:
        """Number of the second that holds reference time `t`; -1 where there is none."""
        i = int(np.floor(t - self.start))
        return i if 0 <= i < self.state.size else -1

    def stretches(self, state: int) -> list[Interval]:
        """Runs of one state as (start, end), reference seconds."""
        edges = np.flatnonzero(np.diff(np.r_[False, self.state == state, False].astype(np.int8)))
        return [(self.start + float(a), self.start + float(b)) for a, b in edges.reshape(-1, 2)]


def dose(counted: Counted) -> Dose:
    """Draw a figure out second by second.

    Parameters
    ----------
    counted : Counted
        What the figure was counted from.

    Returns
    -------
    Dose
        One element for each second of the series.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> low = from_values(0.0, np.r_[np.full(60, 60.0), np.full(60, 70.0)], unit="mm[Hg]")
    >>> found = dose(Counted(low, 65.0, False, False, ((0.0, 90.0),), ((0.0, 30.0),)))
    >>> found.area
    2.5
    >>> [STATES[found.state[i]] for i in (0, 30, 60, 90)]
    ['excluded', 'outside', 'inside', 'not looked at']
    """
    series = counted.series
    found = exposure(
        series,
        below=None if counted.above else counted.limit,
        above=counted.limit if counted.above else None,
        within=counted.within,
        exclude=counted.exclude,
        inclusive=counted.inclusive,
    )
    strip = exposure_strip(series, found, width_s=1.0, within=counted.within, exclude=counted.exclude)
    window = merge_intervals(counted.within)
    looked_at = _share(window, strip.start)
    left = _share(subtract_intervals(window, counted.exclude), strip.start)
    state = np.where(strip.outside_s > 0, OUTSIDE, INSIDE)
    unseen = ~(strip.observed_s > 0)
    state[unseen] = np.where(series.state == MASKED_SECOND, MASKED, MISSING)[unseen]
    state[unseen & ~(left > 0)] = EXCLUDED
    state[~(looked_at > 0)] = NOT_LOOKED_AT
    depth = np.where(state <= OUTSIDE, strip.area * 60, np.nan)
    return Dose(series.start, depth, state.astype(np.uint8), series.unit, counted.limit, counted.above)


def _share(spans: Sequence[Interval], second: FloatArray) -> FloatArray:
    """How much of each second (its start) lies within disjoint spans."""
    covered = np.zeros(second.size)
    if not second.size:
        return covered
    for start, end in spans:
        first = max(int(np.floor(start - second[0])), 0)
        last = min(int(np.ceil(end - second[0])), second.size)
        at = second[first:last]
        covered[first:last] += np.maximum(np.minimum(at + 1, end) - np.maximum(at, start), 0.0)
    return covered
