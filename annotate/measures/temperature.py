"""Temperature gradients and rates on bypass."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..runs import line_fit

FloatArray = NDArray[np.float64]

WINDOW_SHARE = 0.9  # of its seconds that a window needs for a slope (this project's choice)


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
        Length of the window in seconds, from its first value to its last; 5 min by default.

    Returns
    -------
    ndarray
        NaN where the window reaches past the record or holds less than nine tenths of its seconds.

    Examples
    --------
    >>> ramp = np.arange(601) / 60 * 0.5
    >>> round(float(rate_per_min(ramp)[300]), 3)
    0.5
    """
    values = np.asarray(seconds, dtype=np.float64)
    half = window_s // 2
    rate = 60 * line_fit(values, half, WINDOW_SHARE)[1]
    rate[:half] = np.nan
    rate[max(values.size - half, 0) :] = np.nan
    return rate
