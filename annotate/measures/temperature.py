"""Temperature gradients and rates on bypass."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def cooling_gradient(venous: ArrayLike, outlet: ArrayLike) -> FloatArray:
    """Venous less arterial outlet temperature, in °C: positive while the patient is cooled.

    References
    ----------
    Engelman R et al. Ann Thorac Surg 2015;100:748-57.
    """
    return np.asarray(np.asarray(venous, dtype=np.float64) - np.asarray(outlet, dtype=np.float64))


def warming_gradient(venous: ArrayLike, outlet: ArrayLike) -> FloatArray:
    """Arterial outlet less venous temperature, in °C: positive while the patient is warmed.

    References
    ----------
    Engelman R et al. Ann Thorac Surg 2015;100:748-57.
    """
    return -cooling_gradient(venous, outlet)


def rate_per_min(seconds: ArrayLike, window_s: int = 300) -> FloatArray:
    """Slope of a least-squares line through a centred window, in units per minute.

    Parameters
    ----------
    seconds : array_like
        One value a second, NaN where missing.
    window_s : int
        Length of the window in seconds; 5 min by default.

    Returns
    -------
    ndarray
        NaN where the window reaches past the record or holds less than nine tenths of its seconds.

    Examples
    --------
    >>> ramp = np.arange(600) / 60 * 0.5
    >>> round(float(rate_per_min(ramp)[300]), 3)
    0.5
    """
    values = np.asarray(seconds, dtype=np.float64)
    if values.size < window_s:
        return np.full(values.shape, np.nan)
    good = np.isfinite(values)
    y = np.where(good, values, 0.0)
    t = np.arange(values.size, dtype=np.float64) - values.size / 2

    def total(x: FloatArray) -> FloatArray:
        running = np.concatenate([[0.0], np.cumsum(x)])
        return np.asarray(running[window_s:] - running[:-window_s])

    n, st, sy = total(good.astype(np.float64)), total(t * good), total(y)
    stt, sty = total(t * t * good), total(t * y)
    spread = n * stt - st * st
    slope = np.divide(n * sty - st * sy, spread, out=np.full(n.size, np.nan), where=spread > 0)
    slope[n < 0.9 * window_s] = np.nan
    out = np.full(values.shape, np.nan)
    out[window_s // 2 : window_s // 2 + slope.size] = 60 * slope
    return out
