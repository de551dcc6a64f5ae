"""What a measure was within a phase: middle, spread and extremes, with the seconds they rest on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..series import MASKED, OBSERVED, Series
from .intervals import Interval, SpanLike, as_interval, merge_intervals, subtract_intervals
from .pieces import seconds_in


@dataclass(frozen=True)
class Summary:
    """A measure within a window; values in its own unit, NaN where nothing was observed.

    Attributes
    ----------
    median, fifth, ninety_fifth : float
        Middle and 5th and 95th percentile of the observed seconds.
    lowest, highest : float
        Extremes of the observed seconds.
    observed_s, excluded_s, masked_s, missing_s : float
        They add up to the length of the window.
    """

    median: float
    fifth: float
    ninety_fifth: float
    lowest: float
    highest: float
    observed_s: float
    excluded_s: float
    masked_s: float
    missing_s: float
    unit: str = ""
    name: str = ""
    site: str = ""

    @property
    def missing_percent(self) -> float:
        """Share of the window, exclusions left out, that was not recorded, in per cent; NaN without any."""
        counted = self.observed_s + self.masked_s + self.missing_s
        return 100 * self.missing_s / counted if counted > 0 else float("nan")


def summary(
    series: Series, *, within: Sequence[SpanLike] | None = None, exclude: Sequence[SpanLike] = ()
) -> Summary:
    """Median, 5th and 95th percentile and extremes of a measure within a window, with its seconds.

    Parameters
    ----------
    series : Series
        One value a second.
    within : sequence of Span or (start, end), optional
        Window in reference seconds, such as the runs of a phase; the whole series if not given.
    exclude : sequence of Span or (start, end)
        Left out by design.

    Returns
    -------
    Summary
        A second at the edge of the window gives its value where at least half of it lies inside.

    References
    ----------
    Percentiles by straight lines between ranks 1 + p · (n − 1): definition 7 of Hyndman RJ, Fan Y. Am Stat
    1996;50:361-5 (from memory), the alternative that the NIST/SEMATECH handbook of statistical methods names.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> found = summary(from_values(0.0, np.array([60.0, 62, 64, np.nan])))
    >>> found.median, found.lowest, found.observed_s, found.missing_percent
    (62.0, 60.0, 3.0, 25.0)
    """
    window, counted = _counted(series, within, exclude)
    values = _observed(series, within, exclude)
    window_s, counted_s = (sum(end - start for start, end in spans) for spans in (window, counted))
    observed_s, masked_s = (seconds_in(series, state, counted) for state in (OBSERVED, MASKED))
    ranks = np.percentile(values, [0, 5, 50, 95, 100]) if values.size else np.full(5, np.nan)
    lowest, fifth, median, ninety_fifth, highest = map(float, ranks)
    return Summary(
        median=median,
        fifth=fifth,
        ninety_fifth=ninety_fifth,
        lowest=lowest,
        highest=highest,
        observed_s=observed_s,
        excluded_s=window_s - counted_s,
        masked_s=masked_s,
        missing_s=max(counted_s - observed_s - masked_s, 0.0),
        unit=series.unit,
        name=series.name,
        site=series.site,
    )


def lowest_sustained(
    series: Series,
    seconds: float = 300.0,
    *,
    within: Sequence[SpanLike] | None = None,
    exclude: Sequence[SpanLike] = (),
) -> float:
    """Lowest value that a measure kept at or under for so many seconds in all, in the measure's own unit.

    The value at or below which the measure was for `seconds` of observed time, in one stretch or in many. A single
    low second does not decide it, as it decides the lowest value.

    Parameters
    ----------
    series : Series
        One value a second.
    seconds : float
        Cumulative; 5 min in the reference.
    within, exclude
        As in `summary`.

    Returns
    -------
    float
        NaN where less than `seconds` were observed.

    References
    ----------
    Ahuja et al. Anesthesiology 2020;132:291-306, on values a minute apart: limits found were 90 systolic, 65 mean,
    50 diastolic and 35 of pulse pressure (mmHg).

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> lowest_sustained(from_values(0.0, np.repeat([70.0, 40, 62, 70], [600, 60, 300, 60])))
    62.0
    """
    values = np.sort(_observed(series, within, exclude))
    last = int(np.ceil(seconds)) - 1
    return float(values[last]) if 0 <= last < values.size else float("nan")


def _observed(
    series: Series, within: Sequence[SpanLike] | None, exclude: Sequence[SpanLike]
) -> NDArray[np.float64]:
    """Values of the observed seconds whose middle lies in the window and in no exclusion."""
    middle = series.t + 0.5
    inside = np.zeros(middle.size, dtype=bool)
    for start, end in _counted(series, within, exclude)[1]:
        inside |= (middle >= start) & (middle < end)
    return np.asarray(series.values[inside & (series.state == OBSERVED)])


def _counted(
    series: Series, within: Sequence[SpanLike] | None, exclude: Sequence[SpanLike]
) -> tuple[list[Interval], list[Interval]]:
    """The window, and what is left of it without the exclusions."""
    whole = (series.start, series.start + series.values.size)
    window = merge_intervals([as_interval(one) for one in within] if within is not None else [whole])
    return window, subtract_intervals(window, [as_interval(one) for one in exclude])
