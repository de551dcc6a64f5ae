"""Correlation of pressure with cerebral saturation, as it is used to look for pressure-passive flow.

Exploratory: it measures no flow, and two courses that merely drift correlate by themselves (Yule, J R Stat Soc
1926;89:1-63, from memory). So a reference band is drawn from the same record, in which pressures are paired with
saturations of other moments; what stays within it says nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray

from ..series import OBSERVED, Series
from .intervals import SpanLike, as_interval

FloatArray = NDArray[np.float64]

EXPLORATORY = "exploratory: a correlation of pressure and saturation, no measurement of autoregulation"
"""Stands wherever a result of this module is shown."""

AVERAGE_S = 10
AVERAGES = 30
LEAST_SHARE = 0.5
FEWEST_WINDOWS = 5
"""Windows side by side that a record needs for a reference band (this project's choice)."""


@dataclass(frozen=True, eq=False)
class PressureSaturation:
    """Correlation of pressure and saturation window by window, with what chance gives on the same record.

    Attributes
    ----------
    t : ndarray
        End of each window, reference seconds: nothing after it was used.
    r : ndarray
        Pearson's correlation, -1 to 1; NaN where too little was observed or one of the two did not move.
    pairs : ndarray of int
        Pairs of averages that each window holds.
    low, high : float
        2.5th and 97.5th percentile of shuffled pairs; NaN where the record is too short for them.
    draws, seed : int
        How many shuffled pairs there were, and the seed they were drawn with.
    note : str
        Always begins with `EXPLORATORY`.
    """

    t: FloatArray
    r: FloatArray
    pairs: NDArray[np.intp]
    low: float
    high: float
    draws: int
    seed: int
    note: str = EXPLORATORY

    def share_above(self, limit: float) -> float:
        """Share of the windows with a correlation whose correlation is above a limit; NaN without any.

        Limits in print: 0.3 (PMC11433420), 0.36 (Brady, Stroke 2007; PMC2377358), 0.40 (Andersen, J Extra Corpor
        Technol 2023;55:209-17). None is taken by default.
        """
        known = self.r[np.isfinite(self.r)]
        return float((known > limit).mean()) if known.size else float("nan")


def pressure_saturation_correlation(
    pressure: Series,
    saturation: Series,
    *,
    exclude: Sequence[SpanLike] = (),
    draws: int = 2000,
    seed: int = 1,
) -> PressureSaturation:
    """Moving correlation of thirty 10-s averages of mean pressure (mmHg) and cerebral saturation (per cent).

    Parameters
    ----------
    pressure, saturation : Series
        Mean arterial pressure in mmHg and one side's saturation in per cent, on the same seconds.
    exclude : sequence of Span or (start, end)
        Left out by design: an arrest, in which both fall for one reason.
    draws : int
        Shuffled pairs for the reference band; 0 for none.
    seed : int
        Of the generator that draws them: the same seed gives the same band.

    Returns
    -------
    PressureSaturation
        One value every 10 s, for windows of 300 s. An average needs half of its seconds observed in both, a
        window half of its thirty averages.

    Raises
    ------
    ValueError
        If the two do not stand on the same seconds.

    Notes
    -----
    For the band the pressures of one window are correlated with the saturations of another, at least 300 s
    away, in their own order: so both keep their drift, and only what links them is gone. Shuffling single
    averages would make it far too narrow. Not meant for stretches in which temperature, haemoglobin or gas
    flow change: they move the saturation without any pressure.

    References
    ----------
    Window of 300 s: Brady KM et al. Stroke 2007 (PMC2377358). Thirty consecutive 10-s averages: Ono M et al. 2013
    (as quoted), PMC11433420. Pairs of unrelated recordings as a reference, and pitfalls: Andersen et al., J Extra
    Corpor Technol 2023;55:209-17. Half of the window, and pairs within one record: this project's choice.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> slow = np.sin(np.arange(3600) / 80)
    >>> found = pressure_saturation_correlation(from_values(0.0, 60 + 8 * slow), from_values(0.0, 65 + 3 * slow))
    >>> float(np.nanmin(found.r).round(3)), float(found.t[0])
    (1.0, 300.0)
    """
    if (pressure.start, pressure.values.size) != (saturation.start, saturation.values.size):
        raise ValueError("pressure and saturation need the same seconds")
    used = (pressure.state == OBSERVED) & (saturation.state == OBSERVED)
    for start, end in map(as_interval, exclude):
        used &= ~((pressure.t + 1 > start) & (pressure.t < end))
    one, two = _averages(pressure.values, used), _averages(saturation.values, used)
    if one.size < AVERAGES:
        empty = np.empty(0)
        nan = float("nan")
        return PressureSaturation(empty, empty, np.empty(0, np.intp), nan, nan, 0, seed, EXPLORATORY)
    x, y = sliding_window_view(one, AVERAGES), sliding_window_view(two, AVERAGES)
    pairs = np.isfinite(x).sum(axis=1)
    low, high, drawn = _shuffled_band(x, y, draws, seed)
    about = (
        f"{EXPLORATORY}; 95 % of {drawn} shuffled pairs lie between {low:.2f} and {high:.2f}"
        if drawn
        else f"{EXPLORATORY}; the record is too short for a reference band"
    )
    ends = pressure.start + AVERAGE_S * (AVERAGES + np.arange(len(x), dtype=np.float64))
    return PressureSaturation(ends, _correlated(x, y), pairs, low, high, drawn, seed, about)


def pearson(x: ArrayLike, y: ArrayLike) -> float:
    """Pearson's correlation of the pairs that are there: a ratio from -1 to 1; NaN where one does not move.

    Examples
    --------
    >>> round(pearson([1, 2, 3, np.nan], [2, 4, 7, 9]), 4)
    0.9934
    """
    one, two = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    return float(_correlated(one[None, :], two[None, :], fewest=2)[0])


def _averages(values: FloatArray, used: NDArray[np.bool_]) -> FloatArray:
    """Mean of each 10 s of the used seconds; NaN where fewer than half are."""
    whole = values.size // AVERAGE_S
    there = used[: whole * AVERAGE_S].reshape(whole, AVERAGE_S)
    tens = np.where(there, values[: whole * AVERAGE_S].reshape(whole, AVERAGE_S), 0.0)
    count = there.sum(axis=1)
    return np.asarray(
        np.divide(tens.sum(axis=1), count, out=np.full(whole, np.nan), where=count >= LEAST_SHARE * AVERAGE_S)
    )


def _correlated(x: FloatArray, y: FloatArray, fewest: int = int(LEAST_SHARE * AVERAGES)) -> FloatArray:
    """Correlation of each row's pairs; NaN with fewer pairs than asked for, or where one is constant."""
    both = np.isfinite(x) & np.isfinite(y)
    count = both.sum(axis=1)
    n = np.maximum(count, 1)[:, None]
    dx = np.where(both, x, 0.0)
    dy = np.where(both, y, 0.0)
    dx = np.where(both, dx - dx.sum(axis=1, keepdims=True) / n, 0.0)
    dy = np.where(both, dy - dy.sum(axis=1, keepdims=True) / n, 0.0)
    sxx, syy = (dx * dx).sum(axis=1), (dy * dy).sum(axis=1)
    scale = np.sqrt(sxx * syy)
    # A constant course leaves rounding, which must not be divided by.
    moved = (count >= fewest) & (sxx > 1e-12 * n[:, 0]) & (syy > 1e-12 * n[:, 0])
    r = np.divide((dx * dy).sum(axis=1), scale, out=np.full(count.shape, np.nan), where=moved)
    return np.asarray(np.clip(r, -1.0, 1.0))


def _shuffled_band(x: FloatArray, y: FloatArray, draws: int, seed: int) -> tuple[float, float, int]:
    """2.5th and 97.5th percentile of correlations of windows that do not overlap, and how many there were."""
    enough = np.flatnonzero(np.isfinite(x).sum(axis=1) >= LEAST_SHARE * AVERAGES)
    if draws <= 0 or enough.size < FEWEST_WINDOWS * AVERAGES:
        return float("nan"), float("nan"), 0
    rng = np.random.default_rng(seed)
    one, two = rng.choice(enough, (2, draws))
    apart = np.abs(one - two) >= AVERAGES
    r = _correlated(x[one[apart]], y[two[apart]])
    r = r[np.isfinite(r)]
    if not r.size:
        return float("nan"), float("nan"), 0
    low, high = np.percentile(r, [2.5, 97.5])
    return float(low), float(high), int(r.size)
