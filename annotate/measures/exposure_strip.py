"""A figure drawn out over time: how much of its area and of its seconds falls into each stretch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..series import Series
from .exposure import Exposure
from .intervals import SpanLike, as_interval, merge_intervals, subtract_intervals
from .pieces import Method, clip_pieces, outside_parts, pieces_of_series

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ExposureStrip:
    """Area and time outside one limit, stretch by stretch.

    Attributes
    ----------
    start : ndarray
        Reference second at which each stretch begins.
    width_s : float
        Length of each in seconds.
    area : ndarray
        In the measure's unit x minutes; their sum is the area of the figure.
    outside_s, observed_s : ndarray
        Seconds outside the limit, and seconds observed, in each. Where nothing was observed nothing is known
        of the stretch: it is not the same as nothing outside.
    unit : str
        UCUM unit of the measure.
    """

    start: FloatArray
    width_s: float
    area: FloatArray
    outside_s: FloatArray
    observed_s: FloatArray
    unit: str

    @property
    def depth(self) -> FloatArray:
        """Mean distance to the limit while outside, in the measure's unit; NaN where never outside."""
        minutes = self.outside_s / 60
        return np.asarray(
            np.divide(self.area, minutes, out=np.full(minutes.shape, np.nan), where=self.outside_s > 0)
        )


def exposure_strip(
    series: Series,
    found: Exposure,
    *,
    width_s: float = 60.0,
    within: Sequence[SpanLike] | None = None,
    exclude: Sequence[SpanLike] = (),
) -> ExposureStrip:
    """Time and area of a figure in equal stretches of the record: they sum to the figure's own.

    Parameters
    ----------
    series : Series
        The series that was measured, one value a second.
    found : Exposure
        What `exposure` gave for it: limit, side, convention and counted runs are taken from there.
    width_s : float
        Length of a stretch in seconds, 1 or more; they begin with the series.
    within, exclude : sequence of Span or (start, end)
        As they were given to `exposure`.

    Returns
    -------
    ExposureStrip
        Runs that the figure did not count (too short) are not drawn either.

    Raises
    ------
    ValueError
        If a stretch is shorter than a second.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> from afterclamp.annotate.measures.exposure import exposure
    >>> low = from_values(0.0, np.r_[np.full(90, 60.0), np.full(90, 70.0)], unit="mm[Hg]")
    >>> strip = exposure_strip(low, exposure(low, below=65))
    >>> strip.area, strip.outside_s, strip.depth
    (array([5. , 2.5, 0. ]), array([60., 30.,  0.]), array([ 5.,  5., nan]))
    """
    if not width_s >= 1:
        raise ValueError(f"a stretch of the strip lasts a second or more, got {width_s:g} s")
    count = int(np.ceil(series.values.size / width_s))
    edges = series.start + width_s * np.arange(count + 1, dtype=np.float64)
    whole = (series.start, series.start + series.values.size)
    window = merge_intervals([as_interval(one) for one in within] if within is not None else [whole])
    counted = subtract_intervals(window, [as_interval(one) for one in exclude])
    method: Method = "exact" if found.method == "exact" else "hold"
    observed = clip_pieces(pieces_of_series(series, method), counted)
    in_runs = clip_pieces(observed, list(found.runs))
    outside = outside_parts(_cut(in_runs, edges), found.limit, found.above, found.inclusive)
    seen = _cut(observed, edges)
    return ExposureStrip(
        edges[:-1],
        float(width_s),
        _binned(outside, outside[:, 2], edges) / 60,
        _binned(outside, outside[:, 1] - outside[:, 0], edges),
        _binned(seen, seen[:, 1] - seen[:, 0], edges),
        series.unit,
    )


def _binned(pieces: FloatArray, weights: FloatArray, edges: FloatArray) -> FloatArray:
    """Sum of weights by the stretch that each piece lies in."""
    count = edges.size - 1
    middle = (pieces[:, 0] + pieces[:, 1]) / 2
    at = np.clip(np.searchsorted(edges, middle, side="right") - 1, 0, max(count - 1, 0))
    return np.asarray(np.bincount(at, weights, minlength=count), dtype=np.float64)


def _cut(pieces: FloatArray, edges: FloatArray) -> FloatArray:
    """The same pieces, cut in two wherever an edge lies inside one (each is at most a second long)."""
    start, end, v0, v1 = pieces.T
    edge = edges[np.minimum(np.searchsorted(edges, start, side="right"), edges.size - 1)]
    split = (edge > start) & (edge < end)
    if not split.any():
        return pieces
    at = edge[split]
    level = v0[split] + (v1 - v0)[split] * (at - start[split]) / (end - start)[split]
    left = np.column_stack([start[split], at, v0[split], level])
    right = np.column_stack([at, end[split], level, v1[split]])
    return np.concatenate([pieces[~split], left, right])
