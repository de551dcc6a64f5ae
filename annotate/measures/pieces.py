"""Straight pieces of a course: what areas and times outside a limit are added up from.

A piece is a row of start, end, value at the start and value at the end; times in seconds. Pieces cover the
observed time and nothing else.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..series import OBSERVED, Series
from .intervals import Interval

FloatArray = NDArray[np.float64]
Method = Literal["hold", "exact"]

_TOUCHING_S = 1e-6  # two pieces this close belong to one run


def clip_pieces(pieces: FloatArray, windows: Sequence[Interval]) -> FloatArray:
    """Straight pieces (rows: start, end, value at start, value at end) cut to disjoint windows."""
    kept = []
    for low, high in windows:
        inside = pieces[(pieces[:, 1] > low) & (pieces[:, 0] < high)].copy()
        if not inside.size:
            continue
        start, end, v0, v1 = inside.T.copy()
        slope = (v1 - v0) / (end - start)
        inside[:, 0] = np.maximum(start, low)
        inside[:, 1] = np.minimum(end, high)
        inside[:, 2] = np.where(start < low, v0 + slope * (inside[:, 0] - start), v0)
        inside[:, 3] = np.where(end > high, v0 + slope * (inside[:, 1] - start), v1)
        kept.append(inside)
    return np.concatenate(kept) if kept else np.empty((0, 4))


def outside_parts(pieces: FloatArray, limit: float, above: bool, inclusive: bool) -> FloatArray:
    """The part of each straight piece that is outside: rows of start, end, area (unit x seconds)."""
    start, end, v0, v1 = pieces.T
    d0, d1 = (v0 - limit, v1 - limit) if above else (limit - v0, limit - v1)
    flat_on_limit = (d0 == 0) & (d1 == 0)
    touched = (d0 > 0) | (d1 > 0) | (flat_on_limit if inclusive else np.zeros_like(flat_on_limit))
    start, end, d0, d1 = start[touched], end[touched], d0[touched], d1[touched]
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = start + (end - start) * d0 / (d0 - d1)
    begin = np.where(d0 < 0, crossing, start)
    finish = np.where(d1 < 0, crossing, end)
    area = (finish - begin) * (np.maximum(d0, 0) + np.maximum(d1, 0)) / 2
    return np.column_stack([begin, finish, area])


def runs_of_parts(parts: FloatArray) -> FloatArray:
    """Touching parts joined: rows of start, end, area."""
    if not len(parts):
        return np.empty((0, 3))
    parts = parts[np.argsort(parts[:, 0], kind="stable")]
    first = np.flatnonzero(np.r_[True, parts[1:, 0] - parts[:-1, 1] > _TOUCHING_S])
    last = np.r_[first[1:], len(parts)] - 1
    return np.column_stack([parts[first, 0], parts[last, 1], np.add.reduceat(parts[:, 2], first)])


def pieces_of_series(series: Series, method: Method) -> FloatArray:
    """Straight pieces of the observed seconds of a 1 Hz series.

    With ``"exact"`` a second's value stands at its middle; the outer half second of each observed
    stretch keeps its value, so that the pieces cover exactly the observed time.
    """
    seen = np.flatnonzero(series.state == OBSERVED)
    if not seen.size:
        return np.empty((0, 4))
    t, v = series.start + seen.astype(np.float64), series.values[seen]
    if method == "hold":
        return np.column_stack([t, t + 1, v, v])
    starts = np.r_[True, np.diff(seen) > 1]
    ends = np.r_[starts[1:], True]
    inner = ~starts[1:]
    return np.concatenate(
        [
            np.column_stack([t[starts], t[starts] + 0.5, v[starts], v[starts]]),
            np.column_stack([t[:-1] + 0.5, t[1:] + 0.5, v[:-1], v[1:]])[inner],
            np.column_stack([t[ends] + 0.5, t[ends] + 1, v[ends], v[ends]]),
        ]
    )


def pieces_of_samples(t: FloatArray, x: FloatArray, method: Method, max_gap_s: float) -> FloatArray:
    """Straight pieces between neighbouring samples that are both there and close enough."""
    joined = np.isfinite(x[:-1]) & (np.diff(t) > 0) & (np.diff(t) <= max_gap_s)
    if method == "exact":
        joined &= np.isfinite(x[1:])
        return np.column_stack([t[:-1], t[1:], x[:-1], x[1:]])[joined]
    return np.column_stack([t[:-1], t[1:], x[:-1], x[:-1]])[joined]


def seconds_in(series: Series, code: int, windows: Sequence[Interval]) -> float:
    """Seconds of one state that lie inside disjoint windows, fractions counted."""
    t = series.t[series.state == code]
    return float(
        sum(np.clip(np.minimum(t + 1, high) - np.maximum(t, low), 0, None).sum() for low, high in windows)
    )
