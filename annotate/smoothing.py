"""Smoothing and noise of long waves, as whole-array steps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def odd(samples: float) -> int:
    """The odd number nearest to a count of samples."""
    return 2 * round((samples - 1) / 2) + 1 if samples > 1 else 1


def boxcar(values: FloatArray, width: int) -> FloatArray:
    """Centred moving average over an odd number of samples; the ends average what there is."""
    if width <= 1 or values.size <= width:
        return values
    half = width // 2
    total = np.cumsum(np.concatenate([[0.0], values]))
    inner = (total[width:] - total[:-width]) / width
    head = total[half + 1 : width] / np.arange(half + 1, width)
    tail = (total[-1] - total[-width : -half - 1]) / np.arange(width - 1, half, -1)
    return np.concatenate([head, inner, tail])


def filled(values: FloatArray) -> FloatArray:
    """The same values with straight lines across NaN, flat at the ends."""
    bad = ~np.isfinite(values)
    if not bad.any():
        return values
    at = np.arange(values.size)
    out = values.copy()
    out[bad] = np.interp(at[bad], at[~bad], values[~bad])
    return out


def noise_level(values: FloatArray, block: int) -> FloatArray:
    """Standard deviation of the noise that differs from sample to sample, per block of samples.

    From third differences, which a wave sampled well above its own frequencies hardly has: 1.4826 times
    their median size, divided by the square root of 20 that differencing white noise thrice brings. As many
    blocks as the values fill or begin.
    """
    blocks = max(-(-values.size // block), 1)
    third = np.abs(np.diff(values, 3)) if values.size > 3 else np.zeros(1)
    whole = third.size // block
    if whole == 0:
        return np.full(blocks, 1.4826 * float(np.median(third)) / np.sqrt(20))
    medians = np.median(third[: whole * block].reshape(whole, block), axis=1)
    # What is left over at the end, and the three samples that differencing takes, go by the last block.
    ended = np.repeat(medians[-1:], max(blocks - whole, 1))
    return np.asarray(1.4826 / np.sqrt(20) * np.concatenate([medians, ended]))
