"""Samples and buckets into the columns of a picture: lowest and highest value of each."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .levels import limits_of
from .recording import FloatArray


def even_columns(
    t: float,
    dt: float,
    values: NDArray[np.float32],
    t0: float,
    width: float,
    lo: NDArray[np.float32],
    hi: NDArray[np.float32],
) -> None:
    """Take evenly spaced samples into columns of ``width`` seconds that start at ``t0``.

    Parameters
    ----------
    t, dt : float
        Time of the first sample and seconds between samples.
    values : ndarray
        Samples, NaN where not recorded.
    lo, hi : ndarray
        Changed in place; NaN where a column has nothing yet.
    """
    # Column borders as sample numbers: cheaper than a time for each sample.
    first = max(int((t - t0) / width), 0)
    last = min(int((t + len(values) * dt - t0) / width) + 1, len(lo))
    if last <= first:
        return
    borders = np.ceil((t0 + width * np.arange(first, last) - t) / dt - 1e-9).astype(np.int64)
    starts = np.clip(borders, 0, len(values))
    filled = np.flatnonzero(np.diff(starts, append=len(values)) > 0)
    if len(filled):
        rows = first + filled
        lo[rows] = np.fmin(lo[rows], np.fmin.reduceat(values, starts[filled]))
        hi[rows] = np.fmax(hi[rows], np.fmax.reduceat(values, starts[filled]))


def even_buckets(
    t: float,
    dt: float,
    buckets: tuple[NDArray[Any], NDArray[Any], NDArray[Any]],
    scale: float,
    offset: float,
    t0: float,
    width: float,
    lo: NDArray[np.float32],
    hi: NDArray[np.float32],
) -> None:
    """Take the evenly spaced buckets of one level into columns of ``width`` seconds that start at ``t0``.

    A bucket goes to the column that holds its start. Codes are compared before they become values: that is
    a third of the time of `merge_columns`.

    Parameters
    ----------
    t, dt : float
        Time of the first bucket and seconds between buckets.
    buckets : tuple of ndarray
        Lowest code, highest code and number of samples of each.
    scale, offset : float
        ``value = code * scale + offset``.
    lo, hi : ndarray
        Changed in place; NaN where a column has nothing yet.
    """
    low, high, there = buckets
    first = max(int((t - t0) / width), 0)
    last = min(int((t + len(low) * dt - t0) / width) + 1, len(lo))
    if last <= first:
        return
    borders = np.ceil((t0 + width * np.arange(first, last + 1) - t) / dt - 1e-9).astype(np.int64)
    starts = np.clip(borders, 0, len(low))
    filled = np.flatnonzero(np.diff(starts) > 0)
    if not len(filled):
        return
    stop = int(starts[-1])  # what starts after the last column belongs to none
    low, high, there = low[:stop], high[:stop], there[:stop]
    at, rows = starts[filled], first + filled
    if not there.all():
        empty = there == 0
        lowest, highest = limits_of(low.dtype)
        low, high = np.where(empty, highest, low), np.where(empty, lowest, high)
        some = np.add.reduceat(there, at, dtype=np.int64) > 0
    else:
        some = np.ones(len(at), bool)
    one = np.minimum.reduceat(low, at)[some] * scale + offset
    other = np.maximum.reduceat(high, at)[some] * scale + offset
    rows = rows[some]
    lo[rows] = np.fmin(lo[rows], np.fmin(one, other).astype(np.float32))
    hi[rows] = np.fmax(hi[rows], np.fmax(one, other).astype(np.float32))


def merge_columns(
    column: FloatArray,
    low: NDArray[Any],
    high: NDArray[Any],
    lo: NDArray[np.float32],
    hi: NDArray[np.float32],
) -> None:
    """Take values into the columns they fall in; columns outside the picture are passed over.

    Parameters
    ----------
    column : ndarray
        Column number of each value, whole numbers as floats.
    low, high : ndarray
        Lowest and highest of what each value stands for.
    lo, hi : ndarray
        Changed in place; NaN where a column has nothing yet.
    """
    keep = (column >= 0) & (column < len(lo))
    column, low, high = column[keep].astype(np.int64), low[keep], high[keep]
    if not len(column):
        return
    if (np.diff(column) < 0).any():
        order = np.argsort(column, kind="stable")
        column, low, high = column[order], low[order], high[order]
    starts = np.flatnonzero(np.diff(column, prepend=-1) > 0)
    rows = column[starts]
    lo[rows] = np.fmin(lo[rows], np.fmin.reduceat(low, starts).astype(np.float32))
    hi[rows] = np.fmax(hi[rows], np.fmax.reduceat(high, starts).astype(np.float32))
