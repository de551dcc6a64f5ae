"""How long, how far and how deep a measure was outside a limit, with the denominator.

Two conventions are in use and give different numbers on the same data, so each result names its own:

``"hold"``
    A sample stands until the next one.
``"exact"``
    Straight lines between neighbouring samples, cut exactly where they cross the limit.

Neither reaches across a gap, a masked second or an excluded span: what was not observed is never outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..series import MASKED, Series
from .intervals import Interval, SpanLike, as_interval, merge_intervals, subtract_intervals
from .pieces import (
    Method,
    clip_pieces,
    outside_parts,
    pieces_of_samples,
    pieces_of_series,
    runs_of_parts,
    seconds_in,
)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Exposure:
    """Time and area of a measure outside one limit.

    Attributes
    ----------
    limit, unit, above
        The limit and its UCUM unit; `above` tells which side of it counts as outside.
    inclusive : bool
        Whether the limit itself counts as outside ("at least 37.0") or not ("below 65").
    outside_s : float
        Seconds outside.
    area : float
        Integral of the distance to the limit over the time outside, in unit x minutes.
    nadir : float
        Lowest value observed in the window (highest where `above`); NaN without observed seconds.
    longest_run_s, largest_single_area : float
        Most seconds outside in one stretch, and the largest area of one (unit x minutes). Where short
        interruptions were closed a stretch goes on across them, but their seconds count in neither: no
        stretch is longer than `outside_s`.
    observed_s, excluded_s, masked_s, missing_s : float
        They add up to the length of the window.
    method : str
        ``"hold"`` or ``"exact"``.
    limit_source, site : str
        Where the limit comes from and which channel was measured.
    runs : tuple of (start, end)
        The stretches outside, in reference seconds, from the first second outside to the last; closed
        interruptions lie within.
    """

    limit: float
    unit: str
    above: bool
    inclusive: bool
    outside_s: float
    area: float
    nadir: float
    longest_run_s: float
    largest_single_area: float
    observed_s: float
    excluded_s: float
    masked_s: float
    missing_s: float
    method: str
    limit_source: str = ""
    site: str = ""
    name: str = ""
    runs: tuple[Interval, ...] = ()

    @property
    def time_weighted_average(self) -> float:
        """Area divided by the observed time, in the measure's own unit; NaN when nothing was observed.

        The quotient is the usual reading of "time-weighted average below a threshold" (from memory;
        sizes of it in Anesthesiology 2020;133:1214).
        """
        return self.area / (self.observed_s / 60) if self.observed_s > 0 else float("nan")

    def __str__(self) -> str:
        side = (
            ("at or above" if self.inclusive else "above")
            if self.above
            else ("at or below" if self.inclusive else "below")
        )
        left_out = ", ".join(
            f"{seconds:.0f} s {word}"
            for word, seconds in (
                ("excluded", self.excluded_s),
                ("masked", self.masked_s),
                ("missing", self.missing_s),
            )
            if seconds > 0
        )
        return (
            f"{self.name or 'value'} {side} {self.limit:g} {self.unit}: {self.outside_s / 60:.1f} of "
            f"{self.observed_s / 60:.1f} observed min, area {self.area:.1f} {self.unit}·min"
            + (f" ({left_out})" if left_out else "")
        )


def _check_method(method: str) -> None:
    if method not in ("hold", "exact"):
        raise ValueError(f'method must be "hold" or "exact", got {method!r}')


def _one_limit(below: float | None, above: float | None) -> tuple[float, bool]:
    if (below is None) == (above is None):
        raise ValueError("give exactly one of below= and above=")
    return (float(above), True) if above is not None else (float(below or 0.0), False)


def exposure(
    series: Series,
    *,
    below: float | None = None,
    above: float | None = None,
    within: Sequence[SpanLike] | None = None,
    exclude: Sequence[SpanLike] = (),
    inclusive: bool = False,
    min_run_s: float = 0.0,
    close_gaps_s: float = 0.0,
    method: Method = "hold",
    limit_source: str = "",
) -> Exposure:
    """Time and area of a 1 Hz series below (or above) a limit.

    Parameters
    ----------
    series : Series
        One value a second with its state.
    below, above : float
        The limit, in the unit of the series; exactly one of the two.
    within : sequence of Span or (start, end), optional
        Window in reference seconds; the whole series if not given.
    exclude : sequence of Span or (start, end)
        Spans that are left out by design (an arrest, a ramp); counted as excluded, never as observed.
    inclusive : bool
        Whether the limit itself counts as outside.
    min_run_s, close_gaps_s : float
        Count only stretches with at least `min_run_s` outside, after joining those that no more than
        `close_gaps_s` separate, whatever lies between (back inside, masked, missing or excluded: none of
        it counts in length, time or area). The lowest or highest value is then taken from the counted
        stretches only.
    method : {"hold", "exact"}
        See the module's first lines.
    limit_source : str
        Citation that travels with the result.

    Returns
    -------
    Exposure
        Its observed, excluded, masked and missing seconds add up to the length of the window; a part
        of the window where the series has no seconds is missing.

    Examples
    --------
    >>> import numpy as np
    >>> from afterclamp.annotate.series import from_values
    >>> one = from_values(0.0, np.array([70.0] * 60 + [60.0] * 60), unit="mm[Hg]")
    >>> found = exposure(one, below=65)
    >>> found.outside_s, found.area, found.observed_s
    (60.0, 5.0, 120.0)
    """
    _check_method(method)
    limit, is_above = _one_limit(below, above)
    whole = (series.start, series.start + series.values.size)
    window = merge_intervals([as_interval(s) for s in within] if within is not None else [whole])
    counted = subtract_intervals(window, [as_interval(s) for s in exclude])
    window_s = sum(end - start for start, end in window)
    counted_s = sum(end - start for start, end in counted)
    pieces = clip_pieces(pieces_of_series(series, method), counted)
    observed_s = float((pieces[:, 1] - pieces[:, 0]).sum())
    masked_s = seconds_in(series, MASKED, counted)
    runs = _kept_runs(outside_parts(pieces, limit, is_above, inclusive), min_run_s, close_gaps_s)
    if min_run_s > 0:
        pieces = clip_pieces(pieces, [(start, end) for start, end in runs[:, :2]])
    return _measured(
        _Test(limit, is_above, inclusive, method),
        runs,
        pieces,
        observed_s=observed_s,
        excluded_s=window_s - counted_s,
        masked_s=masked_s,
        missing_s=max(counted_s - observed_s - masked_s, 0.0),
        unit=series.unit,
        limit_source=limit_source,
        site=series.site,
        name=series.name,
    )


class _Test(NamedTuple):
    """What was asked."""

    limit: float
    above: bool
    inclusive: bool
    method: str


def _measured(test: _Test, runs: FloatArray, pieces: FloatArray, **about: Any) -> Exposure:
    """The result for runs (start, end, area, seconds outside) among the pieces that were observed."""
    return Exposure(
        **test._asdict(),
        outside_s=float(runs[:, 3].sum()),
        area=float(runs[:, 2].sum()) / 60,
        nadir=_extreme(pieces, test.above),
        longest_run_s=float(runs[:, 3].max(initial=0.0)),
        largest_single_area=float(runs[:, 2].max(initial=0.0)) / 60,
        runs=tuple((float(start), float(end)) for start, end in runs[:, :2]),
        **about,
    )


def _kept_runs(parts: FloatArray, min_run_s: float, close_gaps_s: float) -> FloatArray:
    """Runs (start, end, area, seconds outside) that are long enough once short gaps are closed."""
    runs = runs_of_parts(parts)
    if not len(runs):
        return np.empty((0, 4))
    first = np.flatnonzero(np.r_[True, runs[1:, 0] - runs[:-1, 1] > close_gaps_s])
    last = np.r_[first[1:], len(runs)] - 1
    joined = np.column_stack(
        [
            runs[first, 0],
            runs[last, 1],
            np.add.reduceat(runs[:, 2], first),
            np.add.reduceat(runs[:, 1] - runs[:, 0], first),
        ]
    )
    return np.asarray(joined[joined[:, 3] >= min_run_s])


def _extreme(pieces: FloatArray, above: bool) -> float:
    if not len(pieces):
        return float("nan")
    return float(pieces[:, 2:].max() if above else pieces[:, 2:].min())


def area_outside(
    t: ArrayLike,
    x: ArrayLike,
    *,
    below: float | None = None,
    above: float | None = None,
    within: Interval | None = None,
    inclusive: bool = False,
    max_gap_s: float = np.inf,
    method: Method = "hold",
    unit: str = "",
) -> Exposure:
    """The same for samples at uneven times, such as a chart with one value a minute.

    Parameters
    ----------
    t : array_like
        Times in seconds, never decreasing.
    x : array_like
        Values, NaN where a row has none.
    below, above, inclusive, method
        As in `exposure`.
    within : (start, end), optional
        Window in seconds; from the first to the last time if not given.
    max_gap_s : float
        A longer step between two samples is a gap: nothing is held or drawn across it.
    unit : str
        UCUM unit of `x`.

    Returns
    -------
    Exposure
        Nothing is masked or excluded here. The last sample ends the record and lasts no time of its own.
    """
    _check_method(method)
    limit, is_above = _one_limit(below, above)
    times, values = np.asarray(t, dtype=np.float64), np.asarray(x, dtype=np.float64)
    if times.shape != values.shape or times.ndim != 1 or np.any(np.diff(times) < 0):
        raise ValueError("t and x need the same length, and t must never decrease")
    if within is None:
        within = (float(times[0]), float(times[-1])) if times.size else (0.0, 0.0)
    pieces = clip_pieces(pieces_of_samples(times, values, method, max_gap_s), [within])
    observed_s = float((pieces[:, 1] - pieces[:, 0]).sum())
    runs = _kept_runs(outside_parts(pieces, limit, is_above, inclusive), 0.0, 0.0)
    return _measured(
        _Test(limit, is_above, inclusive, method),
        runs,
        pieces,
        observed_s=observed_s,
        excluded_s=0.0,
        masked_s=0.0,
        missing_s=max(within[1] - within[0] - observed_s, 0.0),
        unit=unit,
    )
