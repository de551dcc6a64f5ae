"""Upstrokes of a pressure wave: where they stand out, how high they usually are, and the foot of each."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SLOPE_WINDOW_S = 0.13
REFRACTORY_S = 0.25  # closer rises belong to one beat (240 a minute)
SMALLEST_PULSE_MMHG = 4.0  # smoothed; a recorded pulse of 5 keeps about this much
BLOCK_S = 2.0


def slope_sum(smooth: FloatArray, rate: float) -> FloatArray:
    """Sum of the rises within a window that ends at each sample."""
    climbs = np.cumsum(np.maximum(np.diff(smooth, prepend=smooth[0]), 0.0))
    window = max(round(SLOPE_WINDOW_S * rate), 2)
    summed = climbs.copy()
    summed[window:] -= climbs[:-window]
    return summed


def usual(rise: FloatArray, rate: float) -> FloatArray:
    """How high the slope sum of a beat usually is around each sample.

    A beat is as high as its neighbours of 18 s usually are, or as the loudest of the nearest 6 s where the pulse has
    just become smaller.
    """
    block = int(BLOCK_S * rate)
    tops = block_max(rise, block)
    height = np.minimum(sliding(tops, 9, np.median), sliding(tops, 3, np.max))
    return np.repeat(height, block)[: rise.size]


def upstrokes(rise: FloatArray, usual: FloatArray, rate: float) -> NDArray[np.intp]:
    """Sample at which the slope sum of each upstroke is highest."""
    threshold = np.maximum(0.4 * usual, 0.5 * SMALLEST_PULSE_MMHG)
    edges = np.flatnonzero(np.diff(np.r_[False, rise > threshold, False].astype(np.int8)))
    if not edges.size:
        return np.empty(0, np.intp)
    first, last = edges[::2], edges[1::2]
    height = np.maximum.reduceat(np.r_[rise, -np.inf], np.column_stack([first, last]).ravel())[::2]
    kept: list[int] = []
    closest = REFRACTORY_S * rate
    for i in range(first.size):
        if kept and first[i] - first[kept[-1]] < closest:
            if height[i] > height[kept[-1]]:
                kept[-1] = i
        else:
            kept.append(i)
    return first[kept]


def block_max(values: FloatArray, block: int) -> FloatArray:
    """Highest value of each block of samples, the last one shorter."""
    return np.asarray(np.maximum.reduceat(values, np.arange(0, values.size, block)))


def sliding(values: FloatArray, width: int, statistic: Callable[..., FloatArray]) -> FloatArray:
    """A statistic of the `width` values around each one, edges repeated."""
    padded = np.pad(values, width // 2, mode="edge")
    return np.asarray(statistic(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))


def feet_of(
    smooth: FloatArray, upstroke: NDArray[np.intp], bend: FloatArray, rate: float
) -> tuple[FloatArray, FloatArray]:
    """Foot (fraction of a sample) and steepest slope of each upstroke.

    From the steepest point the tangent is drawn down to the lowest pressure before it. A real upstroke
    bends into it, so the foot is set further out by the factor `bend`; strong smoothing has already
    done that.
    """
    back, ahead = int(0.3 * rate), int(0.15 * rate)
    slope = np.diff(smooth, append=smooth[-1])
    around = np.clip(upstroke[:, None] + np.arange(-int(0.08 * rate), ahead), 0, smooth.size - 1)
    steepest = around[np.arange(upstroke.size), np.argmax(slope[around], axis=1)]
    before = np.clip(steepest[:, None] + np.arange(-back, 1), 0, smooth.size - 1)
    lowest_column = back - np.argmin(smooth[before][:, ::-1], axis=1)
    lowest = before[np.arange(upstroke.size), lowest_column]
    steep = slope[steepest]
    height = (smooth[steepest] + smooth[np.minimum(steepest + 1, smooth.size - 1)]) / 2 - smooth[lowest]
    reach = bend * height / np.maximum(steep, 1e-9)
    return np.maximum(steepest + 0.5 - reach, lowest.astype(np.float64)), steep
