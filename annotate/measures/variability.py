"""Variability of pressure, with three numbers that are all printed as "average real variability" named apart.

`average_real_variability`
    Mean absolute step from one reading to the next, in mmHg.
`average_real_variability_weighted`
    The same, each step weighted by the time it took, in mmHg.
`generalised_average_real_variability`
    Sum of the absolute steps divided by the whole time, in mmHg a minute.

On one uneven record (70, 60, 66, 66 mmHg at 0, 1, 3 and 8 min) they give 5.33 mmHg, 2.75 mmHg and 2.00 mmHg/min.
All depend on how often was measured (Park et al., Clin J Am Soc Nephrol 2020;15:35-46,
doi 10.2215/CJN.06620619): only records of one spacing can be compared.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def _steps(seconds: ArrayLike | None, values: ArrayLike, max_gap_s: float) -> tuple[FloatArray, FloatArray]:
    """Length (s) and absolute size of each step between neighbours that are both there and close enough."""
    x = np.asarray(values, dtype=np.float64)
    t = np.arange(x.size, dtype=np.float64) if seconds is None else np.asarray(seconds, dtype=np.float64)
    if t.shape != x.shape or x.ndim != 1 or np.any(np.diff(t) <= 0):
        raise ValueError("times and values need the same length, and times must increase")
    took = np.diff(t)
    step = np.abs(np.diff(x))
    good = np.isfinite(step) & (took <= max_gap_s)
    return took[good], step[good]


def average_real_variability(
    values: ArrayLike, seconds: ArrayLike | None = None, *, max_gap_s: float = np.inf
) -> float:
    """Mean of |x(k+1) − x(k)|, unweighted, in the unit of the values (mmHg).

    Parameters
    ----------
    values : array_like
        Readings in mmHg, in order of time; NaN where one is missing.
    seconds : array_like, optional
        Their times, increasing; evenly spaced if not given.
    max_gap_s : float
        A longer step is a gap and does not count. Neither does a step from or to a missing reading: nothing
        is joined across it.

    Returns
    -------
    float
        NaN with no step to count.

    References
    ----------
    Review: doi 10.1161/JAHA.117.006895; the index is that of Mena et al., J Hypertens 2005;23:505-11, with equal
    weights.

    Examples
    --------
    >>> round(average_real_variability([70, 66, 62, 58, 60, 64, 68, 72]), 3)
    3.714
    """
    _, step = _steps(seconds, values, max_gap_s)
    return float(step.mean()) if step.size else float("nan")


def average_real_variability_weighted(
    values: ArrayLike, seconds: ArrayLike, *, max_gap_s: float = np.inf
) -> float:
    """Mean of |x(k+1) − x(k)|, each weighted by the length of its interval, in mmHg.

    Parameters
    ----------
    values, seconds, max_gap_s
        As in `average_real_variability`.

    Returns
    -------
    float
        NaN with no step to count. Equals the unweighted index where the spacing is even.

    References
    ----------
    Mena et al. J Hypertens 2005;23:505-11 (that the weights are the lengths of the intervals is from memory).

    Examples
    --------
    >>> average_real_variability_weighted([70, 60, 66, 66], [0, 60, 180, 480])
    2.75
    """
    took, step = _steps(seconds, values, max_gap_s)
    return float((took * step).sum() / took.sum()) if step.size else float("nan")


def generalised_average_real_variability(
    values: ArrayLike, seconds: ArrayLike, *, max_gap_s: float = np.inf
) -> float:
    """Sum of |x(k+1) − x(k)| divided by the time that those steps took, in mmHg per minute.

    Parameters
    ----------
    values, seconds, max_gap_s
        As in `average_real_variability`.

    Returns
    -------
    float
        NaN with no step to count.

    Notes
    -----
    2.5 ± 1.3 mmHg/min in 104,401 noncardiac operations, of values about a minute apart; on beat-to-beat values
    the same words give a number many times that.

    References
    ----------
    Mascha et al. Anesthesiology 2015;123:79-91, doi 10.1097/ALN.0000000000000686 (the formula is from memory).

    Examples
    --------
    >>> generalised_average_real_variability([70, 60, 66, 66], [0, 60, 180, 480])
    2.0
    """
    took, step = _steps(seconds, values, max_gap_s)
    return float(60 * step.sum() / took.sum()) if step.size else float("nan")


def standard_deviation(values: ArrayLike) -> float:
    """Standard deviation with n − 1 of the readings that are there, in mmHg; NaN with fewer than two.

    Examples
    --------
    >>> round(standard_deviation([70, 66, 62, 58, 60, 64, 68, 72]), 3)
    4.899
    """
    x = np.asarray(values, dtype=np.float64)
    x = x[np.isfinite(x)]
    return float(x.std(ddof=1)) if x.size > 1 else float("nan")


def coefficient_of_variation(values: ArrayLike) -> float:
    """Standard deviation as a share of the mean, in per cent; NaN with fewer than two readings.

    Examples
    --------
    >>> round(coefficient_of_variation([70, 66, 62, 58, 60, 64, 68, 72]), 2)
    7.54
    """
    x = np.asarray(values, dtype=np.float64)
    x = x[np.isfinite(x)]
    mean = float(x.mean()) if x.size else 0.0
    return 100 * standard_deviation(x) / mean if mean != 0 else float("nan")


def root_mean_square_step(
    values: ArrayLike, seconds: ArrayLike | None = None, *, max_gap_s: float = np.inf
) -> float:
    """Root of the mean square of x(k+1) − x(k) ("RMSSD"), in mmHg; steps as in `average_real_variability`.

    Examples
    --------
    >>> root_mean_square_step([1, 4, 0])
    3.5355339059327378
    """
    _, step = _steps(seconds, values, max_gap_s)
    return float(np.sqrt((step**2).mean())) if step.size else float("nan")
