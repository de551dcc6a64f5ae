"""Weak beats in turn with strong ones: alternans and bigeminy, whose rises are too small beside their neighbours'.

A rise of less than 0.4 of those around it is a dicrotic wave or a line's ring far more often than a beat. It is a beat
here where it begins later than any dicrotic wave, from as low as a beat begins, and where most strong beats around
it are followed by one as well.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

WEAKEST = 0.15  # of the upstrokes around it, as slope sum (this project's choice, as is all that follows)
LEAST_PULSE = 0.2  # of the pulse of the strong beat before it, highest less lowest
AFTER_S = (
    0.42  # after the strong upstroke: ejection lasts up to about 0.36 s, a dicrotic wave begins when it ends
)
BEFORE_S = 0.3  # before the next strong one
FROM_LOW = 0.6  # of the strong pulse above its foot, up to which a weak beat begins
FOOT_S, TOP_S = 0.2, 0.35  # in which foot and top of an upstroke lie, before and after it
FOUND_WEAK = 0.6  # of the pulse before, under which a beat that was found is a weak one itself
RECURS, AROUND = 0.5, 6  # share of so many strong beats on either side that have a weak one too


def with_weak(
    upstroke: IntArray,
    rise: FloatArray,
    usual: FloatArray,
    smooth: FloatArray,
    least: FloatArray,
    rate_hz: float,
) -> IntArray:
    """Upstrokes with the weak ones between them.

    Parameters
    ----------
    upstroke : ndarray of int
        Samples at which the strong upstrokes begin, in order.
    rise, usual : ndarray
        Slope sum, and how high it usually is around each sample, in mmHg.
    smooth : ndarray
        The wave in mmHg.
    least : ndarray
        Smallest pulse at each sample, in mmHg.
    rate_hz : float
        Samples per second.
    """
    if upstroke.size < 2 * AROUND:
        return upstroke
    over = rise > np.maximum(WEAKEST * usual, 0.5 * least)
    first = np.flatnonzero(over[1:] & ~over[:-1]) + 1
    which = np.searchsorted(upstroke, first, side="right") - 1
    inside = (which >= 0) & (which < upstroke.size - 1)
    first, which = first[inside], which[inside]
    # A pair of strong upstrokes as near as two beats of the fastest rhythm has none between them.
    apart = (first - upstroke[which] >= AFTER_S * rate_hz) & (
        upstroke[which + 1] - first >= BEFORE_S * rate_hz
    )
    first, which = first[apart], which[apart]
    if not first.size:
        return upstroke
    foot, top = _lowest(smooth, first, rate_hz), _highest(smooth, first, rate_hz)
    strong_foot = _lowest(smooth, upstroke[which + 1], rate_hz)
    strong_top = _highest(smooth, upstroke[which], rate_hz)
    strong = np.maximum(strong_top - strong_foot, 1e-9)
    beat = (top - foot >= np.maximum(LEAST_PULSE * strong, least[first])) & (
        foot - strong_foot <= FROM_LOW * strong
    )
    first, which = first[beat], which[beat]
    which, kept = np.unique(which, return_index=True)  # the first of several
    pulse = _highest(smooth, upstroke, rate_hz) - _lowest(smooth, upstroke, rate_hz)
    weak = np.concatenate([[False], pulse[1:] < FOUND_WEAK * pulse[:-1]])
    followed = np.concatenate([weak[1:], [False]])
    followed[which] = True
    many, all_strong = (np.concatenate([[0], np.cumsum(one)]) for one in (followed & ~weak, ~weak))
    low, high = np.maximum(which - AROUND, 0), np.minimum(which + AROUND + 1, upstroke.size)
    often = many[high] - many[low] >= RECURS * (all_strong[high] - all_strong[low])
    often &= ~weak[which]
    return np.sort(np.concatenate([upstroke, first[kept][often]]))


def _lowest(smooth: FloatArray, at: IntArray, rate_hz: float) -> FloatArray:
    around = np.clip(at[:, None] + np.arange(-int(FOOT_S * rate_hz), 1), 0, smooth.size - 1)
    return np.asarray(smooth[around].min(axis=1))


def _highest(smooth: FloatArray, at: IntArray, rate_hz: float) -> FloatArray:
    around = np.clip(at[:, None] + np.arange(int(TOP_S * rate_hz)), 0, smooth.size - 1)
    return np.asarray(smooth[around].max(axis=1))
