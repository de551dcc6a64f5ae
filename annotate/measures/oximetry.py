"""Cerebral oximetry: baseline, share of it, areas below, difference of the sides.

Readings of two heads, two sensors or two makes cannot be compared by their level; a share of the patient's own
baseline can. Where the baseline was taken (awake, on oxygen or not) moves everything here and is stated with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import median_grouped

import numpy as np

from ..series import MISSING, OBSERVED, Series, combined_state
from .exposure import Exposure, exposure
from .intervals import SpanLike, as_interval
from .pieces import Method
from .steps import step_size


def saturation_baseline(saturation: Series, window: SpanLike) -> float:
    """Median of the observed readings within the baseline window, in per cent of saturation.

    Readings that come in whole per cent are taken as groups: the median lies within the middle one by how many
    readings are below it, L + (n/2 − F) / f · step, so that it does not jump by a whole per cent when noise moves
    one reading (the median of grouped data; Python's `statistics.median_grouped`).

    Parameters
    ----------
    saturation : Series
        One side, per cent, one value a second.
    window : Span or (start, end)
        Reference seconds, end not included.

    Returns
    -------
    float
        NaN where nothing was observed in the window. The median is this project's choice: a single reading is
        rounded and noisy, and one that is far out must not move a baseline.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> saturation_baseline(from_values(0.0, np.array([60, 61, 61, 70.0])), (0, 3))
    60.75
    """
    start, end = as_interval(window)
    t = saturation.t
    inside = saturation.values[(saturation.state == OBSERVED) & (t >= start) & (t < end)]
    if not inside.size:
        return float("nan")
    step = step_size(saturation.values)
    return median_grouped(inside.tolist(), interval=step) if step else float(np.median(inside))


def percent_of_baseline(saturation: Series, baseline: float) -> Series:
    """Saturation as a share of its own baseline: 100 · value / baseline, in per cent.

    Parameters
    ----------
    saturation : Series
        One side, per cent.
    baseline : float
        Per cent, from `saturation_baseline`.

    Returns
    -------
    Series
        States as they were; without a positive baseline every observed second is missing.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> percent_of_baseline(from_values(0.0, np.array([61.0, 48.8])), 61.0).values
    array([100.,  80.])
    """
    if not baseline > 0:
        state = np.where(saturation.state == OBSERVED, MISSING, saturation.state).astype(np.uint8)
        values = np.full(saturation.values.size, np.nan)
        return replace(saturation, values=values, state=state, note="no baseline")
    note = "; ".join(filter(None, [saturation.note, f"share of a baseline of {baseline:.1f} %"]))
    return replace(saturation, values=100 * saturation.values / baseline, unit="%", note=note)


def area_below_baseline(
    saturation: Series,
    baseline: float,
    *,
    percent: float = 80.0,
    within: Sequence[SpanLike] | None = None,
    exclude: Sequence[SpanLike] = (),
    method: Method = "hold",
) -> Exposure:
    """Time and area below a share of the patient's own baseline, the area in points of saturation x minutes.

    Parameters
    ----------
    saturation : Series
        One side, per cent.
    baseline : float
        Per cent.
    percent : float
        Of the baseline; the limit is ``percent / 100 * baseline`` points.
    within, exclude, method
        As in `exposure`.

    Returns
    -------
    Exposure
        Its `limit` is in points, so that its area is the "AUT80base" of the reference (%·min). Masked and missing
        seconds add neither time nor area and are counted apart.

    Raises
    ------
    ValueError
        Without a positive baseline.

    References
    ----------
    Area below 80 % of the baseline: 532 against 328 %·min in patients with and without later morbidity. J Clin
    Med 2020;9:840.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> area_below_baseline(from_values(0.0, np.full(60, 45.8)), 61.0).area.__round__(3)
    3.0
    """
    if not baseline > 0:
        raise ValueError(f"a share of the baseline needs a positive baseline, got {baseline:g} %")
    return exposure(
        saturation,
        below=round(percent / 100 * baseline, 9),  # 80 % of 61 is 48.8, not a little more
        within=within,
        exclude=exclude,
        method=method,
        limit_source=f"{percent:g} % of a baseline of {baseline:.1f} %: J Clin Med 2020;9:840",
    )


def area_below_level(
    saturation: Series,
    *,
    level: float = 50.0,
    at_least_s: float = 0.0,
    within: Sequence[SpanLike] | None = None,
    exclude: Sequence[SpanLike] = (),
    method: Method = "hold",
) -> Exposure:
    """Time and area below an absolute saturation, the area in points of saturation x minutes.

    Parameters
    ----------
    saturation : Series
        One side, per cent.
    level : float
        Limit in per cent.
    at_least_s : float
        Only stretches of so many seconds count.
    within, exclude, method
        As in `exposure`.

    Returns
    -------
    Exposure
        Masked and missing seconds add neither time nor area and are counted apart.

    References
    ----------
    "AUT50", 1416 against 567 %·min: J Clin Med 2020;9:840. Stretches below 55 % of 15 s and more: Crit Care
    2011;15(Suppl 1):P9.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> found = area_below_level(from_values(0.0, np.r_[np.full(60, 45.0), np.full(14, 40), 60]), level=55,
    ...                          at_least_s=15)
    >>> found.outside_s, found.area
    (74.0, 13.5)
    """
    return exposure(
        saturation,
        below=level,
        within=within,
        exclude=exclude,
        min_run_s=at_least_s,
        method=method,
        limit_source="J Clin Med 2020;9:840" if level == 50 and not at_least_s else "",
    )


def desaturation_score(saturation: Series, within: Sequence[SpanLike] | None = None) -> float:
    """Σ (50 − saturation) over the seconds below 50 %, in per cent x seconds.

    Parameters
    ----------
    saturation : Series
        One side, per cent.
    within : sequence of Span or (start, end), optional
        Reference seconds.

    Returns
    -------
    float
        0 where it never fell below 50; NaN where nothing was observed. What was masked or not recorded adds
        nothing, so the score of a record with gaps is a least value.

    References
    ----------
    Slater et al. 2009, with 3,000 %·s as its limit (from memory).

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> desaturation_score(from_values(0.0, np.array([60, 45.0, 40.0])))
    15.0
    """
    found = exposure(saturation, below=50.0, within=within)
    return 60 * found.area if found.observed_s > 0 else float("nan")


def side_difference(right: Series, left: Series, baseline: float = 0.0) -> Series:
    """Right less left saturation in points of per cent, or its change from the difference at baseline.

    Parameters
    ----------
    right, left : Series
        Per cent, on the same seconds.
    baseline : float
        Right less left at baseline, in points; the difference itself with 0.

    Returns
    -------
    Series
        Signed. Missing where either is missing, else masked where either is masked.

    Raises
    ------
    ValueError
        If the sides do not stand on the same seconds.

    Notes
    -----
    A difference of 10 points as a limit is common practice without a source.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> side_difference(from_values(0.0, np.array([66.0])), from_values(0.0, np.array([50.0]))).values
    array([16.])
    """
    if (right.start, right.values.size) != (left.start, left.values.size):
        raise ValueError("the two sides need the same seconds")
    state = combined_state(right, left)
    values = np.where(state == OBSERVED, right.values - left.values - baseline, np.nan)
    note = f"change from a difference of {baseline:g} at baseline" if baseline else ""
    return Series(right.start, values, state, "%", "cerebral_side_difference", "", note)
