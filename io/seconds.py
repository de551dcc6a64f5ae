"""Samples to one value a second: the common time base of measures, phases and rules."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from .recording import FloatArray

HOLD_INTERVALS = 3.0
"""A slow value is held this many intervals, then it is missing (this project's choice)."""

SLOW_S = 0.5
"""From this many seconds between samples on, a second may hold none of its own: values are held."""


def held_seconds(
    t: FloatArray, values: FloatArray, interval_s: float, grid: FloatArray, statistic: str
) -> FloatArray:
    """One value a second of slow rows: the last one known by the second's end, while it is fresh.

    Parameters
    ----------
    t, values : ndarray
        Rows in order of time, NaN where not recorded.
    interval_s : float
        Usual distance between rows; NaN where there are too few to tell.
    grid : ndarray
        Whole seconds; second ``g`` covers ``[g, g + 1)``.
    statistic : str
        ``"count"`` counts rows; every other statistic of a held value is the value.

    Returns
    -------
    ndarray
        NaN where the last value is older than `HOLD_INTERVALS` intervals.
    """
    there = np.isfinite(values)
    t, values = t[there], values[there]
    held = np.full(len(grid), np.nan)
    if statistic == "count":
        rows = np.floor(t - grid[0]).astype(np.int64) if len(grid) else np.empty(0, np.int64)
        return np.bincount(rows[(rows >= 0) & (rows < len(grid))], minlength=len(grid)).astype(np.float64)
    if not len(t):
        return held
    last = np.searchsorted(t, grid + 1.0, side="left") - 1
    hold = HOLD_INTERVALS * interval_s if math.isfinite(interval_s) else 0.0
    fresh = (last >= 0) & (grid - t[np.maximum(last, 0)] <= max(hold, 1.0))
    held[fresh] = values[last[fresh]]
    return held


def wave_seconds(
    blocks: Iterable[tuple[float, float, NDArray[np.float32]]], grid: FloatArray, statistic: str
) -> FloatArray:
    """One value a second of a wave.

    Parameters
    ----------
    blocks : iterable of (t, dt, values)
        Evenly sampled pieces; a second may be spread over several.
    grid : ndarray
        Whole seconds.
    statistic : {"mean", "min", "max", "count"}
        Of the samples that were recorded within the second.

    Returns
    -------
    ndarray
        NaN where a second has no sample (0 for the count).
    """
    total = np.zeros(len(grid))
    count = np.zeros(len(grid))
    extreme = np.full(len(grid), np.nan)
    combine = np.fmin if statistic == "min" else np.fmax
    for t, dt, values in blocks:
        first = max(math.floor(t - grid[0]), 0) if len(grid) else 0
        last = min(math.floor(t + (len(values) - 1) * dt - grid[0]), len(grid) - 1) if len(grid) else -1
        if last < first:
            continue
        borders = np.ceil((grid[first : last + 1] - t) / dt - 1e-9).astype(np.int64)
        # What lies past the grid (a second cut by the horizon) is left out.
        stop = min(len(values), math.ceil((grid[last] + 1.0 - t) / dt - 1e-9))
        values = values[:stop]
        borders = np.clip(borders, 0, stop)
        filled = np.flatnonzero(np.diff(borders, append=stop) > 0)
        if not len(filled):
            continue
        rows, starts = first + filled, borders[filled]
        if statistic in {"min", "max"}:
            extreme[rows] = combine(extreme[rows], combine.reduceat(values, starts))
            continue
        finite = np.isfinite(values)
        count[rows] += np.add.reduceat(finite, starts, dtype=np.float64)
        clean = values if finite.all() else np.where(finite, values, np.float32(0))
        total[rows] += np.add.reduceat(clean, starts, dtype=np.float64)
    if statistic in {"min", "max"}:
        return extreme
    if statistic == "count":
        return count
    return np.asarray(np.divide(total, count, out=np.full(len(grid), np.nan), where=count > 0))
