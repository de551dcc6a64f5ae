"""Half-open intervals of reference time, as pairs of seconds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Interval = tuple[float, float]


class HasEnds(Protocol):
    """Anything with a start and an end in seconds, such as a `Span`."""

    @property
    def start(self) -> float:
        """First second."""

    @property
    def end(self) -> float:
        """First second after."""


SpanLike = Interval | HasEnds


def as_interval(span: SpanLike) -> Interval:
    """A span as a pair."""
    return (span[0], span[1]) if isinstance(span, tuple) else (span.start, span.end)


def merge_intervals(intervals: Sequence[Interval]) -> list[Interval]:
    """Sorted, disjoint intervals that cover the same time."""
    merged: list[Interval] = []
    for start, end in sorted(pair for pair in intervals if pair[1] > pair[0]):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    return merged


def subtract_intervals(intervals: Sequence[Interval], holes: Sequence[Interval]) -> list[Interval]:
    """What is left of `intervals` once `holes` are cut out."""
    left = merge_intervals(intervals)
    for hole_start, hole_end in merge_intervals(holes):
        cut: list[Interval] = []
        for start, end in left:
            if hole_end <= start or hole_start >= end:
                cut.append((start, end))
                continue
            cut += [(a, b) for a, b in ((start, hole_start), (hole_end, end)) if b > a]
        left = cut
    return left


def seconds_where(condition: NDArray[np.bool_], start: float) -> list[Interval]:
    """Runs of true seconds as intervals of reference time: what `exclude` takes."""
    edges = np.flatnonzero(np.diff(np.r_[False, condition, False].astype(np.int8)))
    return [(start + float(a), start + float(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
