"""Minimum and maximum of a channel at coarser and coarser steps, so that any zoom is quick.

A level of factor *f* holds, for every *f* consecutive samples of a segment, the smallest and largest
code and how many samples were really there. Buckets start anew at each segment, so that no bucket
straddles a gap or a change of scale.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

FACTORS = (16, 64, 256, 1024, 4096, 16384)
"""Samples per bucket of each level; each is a multiple of the one before and fits a 16-bit count."""

Level = tuple[NDArray[Any], NDArray[Any], NDArray[np.uint16]]


def limits_of(dtype: np.dtype[Any]) -> tuple[Any, Any]:
    """The lowest and highest value a code of this type can hold: what an empty bucket carries."""
    if dtype.kind == "f":
        return dtype.type(-np.inf), dtype.type(np.inf)
    info = np.iinfo(dtype)
    return dtype.type(info.min), dtype.type(info.max)


def _halve_until(array: NDArray[Any], factor: int, pairwise: Any) -> NDArray[Any]:
    # Pairwise on strided halves is four times as quick as reduceat here.
    while factor > 1:
        array = pairwise(array[0::2], array[1::2])
        factor //= 2
    return array


def _padded(array: NDArray[Any], multiple: int, filler: Any) -> NDArray[Any]:
    short = -len(array) % multiple
    return np.concatenate([array, np.full(short, filler, array.dtype)]) if short else array


def levels_of(codes: NDArray[Any], valid: NDArray[np.bool_] | None) -> list[Level]:
    """All levels of a stretch of samples that starts on a bucket border.

    Parameters
    ----------
    codes : ndarray
        Samples of one segment; unless it is the segment's end, a multiple of ``FACTORS[-1]`` long.
    valid : ndarray of bool or None
        Which samples are really there; None when all are.

    Returns
    -------
    list of (minimum, maximum, count)
        One triple for each of `FACTORS`. Where count is 0 the other two have no meaning.
    """
    lowest, highest = limits_of(codes.dtype)
    low = codes if valid is None else np.where(valid, codes, highest)
    high = codes if valid is None else np.where(valid, codes, lowest)
    there = np.ones(len(codes), np.uint16) if valid is None else valid.astype(np.uint16)
    levels: list[Level] = []
    before = 1
    for factor in FACTORS:
        step = factor // before
        low = _halve_until(_padded(low, step, highest), step, np.minimum)
        high = _halve_until(_padded(high, step, lowest), step, np.maximum)
        if valid is None and before == 1:
            # All there: counts follow from the length, no need to add them up.
            count = np.full(len(low), factor, np.uint16)
            if len(codes) % factor:
                count[-1] = len(codes) % factor
        else:
            count = _padded(there, step, 0).reshape(-1, step).sum(axis=1, dtype=np.uint16)
        there = count
        before = factor
        levels.append((low, high, count))
    return levels
