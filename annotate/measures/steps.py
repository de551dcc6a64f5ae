"""Values that were recorded in coarse steps: where between the steps they were.

A temperature of 37.0 on a display of tenths was anything from 36.95 to 37.05, and stays on that step for 24 s
while the blood is warmed by 0.25 °C/min. A limit that lies on a step is then met half a step too early and left half
a step too late. What is known besides the step is when it changed: at that moment the value lay between two.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..runs import spans

FloatArray = NDArray[np.float64]

REACH_S = 30.0
"""Seconds after a change within which the recorded value itself is reached again: a level that is held for long is
taken as it was recorded (this project's choice)."""

_MOST_LEVELS = 4096
_TOLERANCE = 1e-3


def step_size(values: ArrayLike) -> float:
    """Smallest step of values that were recorded in steps, in their own unit; 0 where they were not.

    Parameters
    ----------
    values : array_like
        NaN is passed over.

    Returns
    -------
    float
        0 with fewer than two levels, with more than 4096, or where the levels are no multiples of one step.

    Examples
    --------
    >>> round(step_size([36.9, 37.0, 37.2, 37.2]), 3), step_size([36.9, 36.9317, 37.2])
    (0.1, 0.0)
    """
    x = np.asarray(values, dtype=np.float64)
    levels = np.unique(np.round(x[np.isfinite(x)], 4))
    if not 2 <= levels.size <= _MOST_LEVELS:
        return 0.0
    step = float(np.diff(levels).min())
    if step <= 2 * _TOLERANCE:
        return 0.0
    # Adding up over many levels, the last digits of one step would grow: each level is held against the whole.
    above = levels - levels[0]
    step = float(above[-1]) / max(float(np.rint(above[-1] / step)), 1.0)
    off = above - step * np.rint(above / step)
    return step if bool((np.abs(off) < _TOLERANCE / 2).all()) else 0.0


def between_steps(values: ArrayLike, step: float | None = None) -> FloatArray:
    """Values recorded in steps as straight lines through the moments at which the step changed.

    Parameters
    ----------
    values : array_like
        One value a second, NaN where missing: nothing is drawn across it.
    step : float, optional
        Size of a step in the unit of the values; found by `step_size` if not given.

    Returns
    -------
    ndarray
        Halfway between two steps where one follows the other, and at the recorded value in the middle of its
        stretch or `REACH_S` from its ends. Never farther from the recorded value than half a step. Values that
        were not recorded in steps are given back as they are.

    Notes
    -----
    That a rounded value lies within half a step of what is shown is arithmetic; the straight lines are this
    project's choice.

    Examples
    --------
    >>> between_steps([36.9] * 3 + [37.0] * 5, 0.1).round(3)
    array([36.9  , 36.9  , 36.933, 36.96 , 36.98 , 37.   , 37.   , 37.   ])
    """
    x = np.asarray(values, dtype=np.float64)
    size = step_size(x) if step is None else step
    if not size > 0:
        return x
    out = x.copy()
    for start, stop in spans(np.isfinite(x)):
        out[start:stop] = _drawn(x[start:stop], size)
    return out


def _drawn(x: FloatArray, step: float) -> FloatArray:
    changes = np.flatnonzero(np.abs(np.diff(x)) > step / 2) + 1
    if not changes.size:
        return x
    first = np.concatenate(([0], changes))
    last = np.concatenate((changes, [x.size])) - 1
    level, middle = x[first], (first + last) / 2
    at = np.concatenate(
        (changes - 0.5, np.minimum(middle, first - 0.5 + REACH_S), np.maximum(middle, last + 0.5 - REACH_S))
    )
    value = np.concatenate(((level[1:] + level[:-1]) / 2, level, level))
    order = np.argsort(at, kind="stable")
    drawn = np.interp(np.arange(x.size, dtype=np.float64), at[order], value[order])
    return np.asarray(np.clip(drawn, x - step / 2, x + step / 2))
