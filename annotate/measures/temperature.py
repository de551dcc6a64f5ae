"""Temperatures on bypass: gradients, rates, lag of one site behind another, area above 37 °C, cold at arrest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..runs import line_fit
from ..series import Series
from .exposure import Exposure, exposure
from .intervals import SpanLike
from .pieces import Method

FloatArray = NDArray[np.float64]

WINDOW_SHARE = 0.9  # of its seconds that a window needs for a slope (this project's choice)


def cooling_gradient(venous: ArrayLike, outlet: ArrayLike) -> FloatArray:
    """Venous less arterial outlet temperature, in °C: positive while the patient is cooled.

    Parameters
    ----------
    venous, outlet : array_like
        °C; the venous inflow to the oxygenator and its arterial outlet. Without flow the venous probe feels
        standing blood: leave those seconds out.

    Returns
    -------
    ndarray
        NaN where either is missing.

    References
    ----------
    At most 10 °C is the guideline's limit: Engelman R et al. Ann Thorac Surg 2015;100:748-57.

    Examples
    --------
    >>> float(cooling_gradient(31.5, 20.0))
    11.5
    """
    return np.asarray(np.asarray(venous, dtype=np.float64) - np.asarray(outlet, dtype=np.float64))


def warming_gradient(venous: ArrayLike, outlet: ArrayLike) -> FloatArray:
    """Arterial outlet less venous temperature, in °C: positive while the patient is warmed.

    Parameters
    ----------
    venous, outlet : array_like
        °C, as in `cooling_gradient`.

    Returns
    -------
    ndarray
        NaN where either is missing. Its limit depends on the outlet: `warming_gradient_limit`.

    References
    ----------
    Engelman R et al. Ann Thorac Surg 2015;100:748-57.

    Examples
    --------
    >>> float(warming_gradient(30.0, 34.0))
    4.0
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

    References
    ----------
    At most 0.5 °C/min at an outlet of 30 °C or more is the guideline's limit: Engelman R et al. Ann Thorac Surg
    2015;100:748-57. The window of 5 min is this project's choice.

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


def warming_gradient_limit(outlet: ArrayLike) -> FloatArray:
    """Largest warming gradient of the guideline at an outlet temperature: 10 °C under 30 °C, else 4 °C.

    Parameters
    ----------
    outlet : array_like
        °C; NaN stays NaN. At exactly 30.0 the lower limit holds.

    References
    ----------
    Engelman R et al. Ann Thorac Surg 2015;100:748-57 (class IIa).

    Examples
    --------
    >>> warming_gradient_limit([29.9, 30.0])
    array([10.,  4.])
    """
    level = np.asarray(outlet, dtype=np.float64)
    return np.where(np.isnan(level), np.nan, np.where(level < 30.0, 10.0, 4.0))


def area_over_37(
    outlet: Series,
    *,
    within: Sequence[SpanLike] | None = None,
    exclude: Sequence[SpanLike] = (),
    method: Method = "hold",
) -> Exposure:
    """Time and area of an outlet temperature at or above the limit of 37 °C, the area in °C x minutes.

    Parameters
    ----------
    outlet : Series
        Arterial outlet temperature, °C.
    within, exclude, method
        As in `exposure`.

    Returns
    -------
    Exposure
        37.0 itself counts in the time (the guideline asks for less than 37, often repeated as "at most 37") and
        adds nothing to the area. Masked and missing seconds add neither time nor area and are counted apart.

    References
    ----------
    Engelman R et al. Ann Thorac Surg 2015;100:748-57 (class I), which adds that the outlet reads lower than the
    brain is while warming.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> found = area_over_37(from_values(0.0, np.r_[np.full(60, 36.9), np.full(60, 37.0), np.full(60, 37.5)]))
    >>> found.outside_s, found.area
    (120.0, 0.5)
    """
    return exposure(
        outlet,
        above=37.0,
        inclusive=True,
        within=within,
        exclude=exclude,
        method=method,
        limit_source="Engelman R et al. Ann Thorac Surg 2015;100:748-57",
    )


def temperature_lag(core: Series, other: Series, start: float, end: float, *, step_c: float = 0.1) -> float:
    """How many seconds one temperature runs behind another while both fall, or both rise.

    For each level, `step_c` apart, that both pass between `start` and `end`: the second in which `other` first
    reaches it less the second in which `core` does; the result is the median of those. For a slow site that
    follows a steady ramp this is its time constant (this project's choice of definition).

    Parameters
    ----------
    core, other : Series
        °C, such as nasopharynx and bladder, on the same seconds.
    start, end : float
        Stretch of cooling or of warming, reference seconds; which of the two is read off the core.
    step_c : float
        °C between levels.

    Returns
    -------
    float
        Seconds, positive where `other` is later; NaN where the two share fewer than three levels (0.3 °C). A
        missing second is passed over, so a level that was crossed within a gap counts at its end.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> ramp = 36 - np.arange(1800) / 60 * 0.5
    >>> late = np.r_[np.full(240, 36.0), ramp[:-240]]
    >>> temperature_lag(from_values(0.0, ramp), from_values(0.0, late), 0, 1800)
    240.0
    """
    if (core.start, core.values.size) != (other.start, other.values.size):
        raise ValueError("the two temperatures need the same seconds")
    inside = (core.t >= start) & (core.t < end)
    t, one, two = core.t[inside], core.values[inside], other.values[inside]
    seen = np.flatnonzero(np.isfinite(one))
    if seen.size < 2 or not np.isfinite(two).any():
        return float("nan")
    sign = 1.0 if one[seen[-1]] > one[seen[0]] else -1.0
    first = max(_first(sign * one), _first(sign * two))
    last = min(float(np.nanmax(sign * one)), float(np.nanmax(sign * two)))
    levels = np.arange(np.ceil((first + 1e-9) / step_c), np.floor((last + 1e-9) / step_c) + 1) * step_c
    if levels.size < 3:
        return float("nan")
    return float(np.median(_reached(t, sign * two, levels) - _reached(t, sign * one, levels)))


def _first(x: FloatArray) -> float:
    return float(x[np.flatnonzero(np.isfinite(x))[0]])


def _reached(t: FloatArray, x: FloatArray, levels: FloatArray) -> FloatArray:
    """Second in which each rising level is first reached."""
    highest = np.maximum.accumulate(np.where(np.isfinite(x), x, -np.inf))
    return np.asarray(t[np.searchsorted(highest, levels - 1e-9)])


HYPOTHERMIA_CLASSES: tuple[tuple[float, str], ...] = (
    (14.0, "profound"),
    (20.0, "deep"),
    (28.0, "moderate"),
    (34.0, "mild"),
)
"""Highest temperature of each class in °C, itself included; above the last there is none."""


def hypothermia_class(nasopharyngeal_c: float) -> str | None:
    """Class of cold at the start of an arrest by consensus, from the nasopharyngeal temperature in °C.

    Up to 14 profound, (14, 20] deep, (20, 28] moderate, (28, 34] mild. Printed as 14.1-20 and so on; taken as
    half-open bands, so that 14.05 falls somewhere (a limit of this project's making).

    Parameters
    ----------
    nasopharyngeal_c : float
        °C; of another site the class is another one, and that site has to be named.

    Returns
    -------
    str or None
        None above 34 °C and where the temperature is missing.

    References
    ----------
    Yan TD et al. Ann Cardiothorac Surg 2013;2:163-8, doi 10.3978/j.issn.2225-319X.2013.03.03 (the moderate band
    was read, the others are from memory). A trial (NCT02834065) split moderate at 24 °C, and a terminology
    (SNOMED CT) has no "deep".

    Examples
    --------
    >>> hypothermia_class(19.7), hypothermia_class(20.05), hypothermia_class(36.0)
    ('deep', 'moderate', None)
    """
    return next((name for highest, name in HYPOTHERMIA_CLASSES if nasopharyngeal_c <= highest), None)
