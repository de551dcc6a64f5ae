"""Segments of a source laid on the reference clock: straight stretches of evenly spaced samples."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .clock import ClockMap
from .levels import FACTORS
from .recording import FloatArray
from .trace_file import StoredChannel


@dataclass(frozen=True)
class Stretches:
    """The evenly sampled pieces of a channel in reference time, in order of time; one row each."""

    t: FloatArray  # reference time of the first sample
    dt: FloatArray  # reference seconds between samples
    first: NDArray[np.int64]  # its index within the channel
    count: NDArray[np.int64]
    scale: FloatArray
    offset: FloatArray
    segment_first: NDArray[np.int64]  # index of the first sample of the segment it is cut from
    goes_on: FloatArray  # where the same segment goes on behind a step of the clock; minus infinity: nowhere
    bases: dict[int, NDArray[np.int64]]  # factor: index of that segment's first bucket

    @property
    def end(self) -> FloatArray:
        """Reference time at which the sample after the last would stand."""
        return np.asarray(self.t + self.count * self.dt)


def stretches_of(stored: StoredChannel, clock: ClockMap) -> Stretches:
    """Cut a channel's segments where its clock map bends, and place them in reference time."""
    rows: list[tuple[float, float, int, int, float, float, int]] = []
    buckets: dict[int, list[int]] = {factor: [] for factor in FACTORS}
    base = dict.fromkeys(FACTORS, 0)
    for segment in stored.segments:
        # A forward step of the clock within a segment cuts it: each part is a straight line of its own.
        cuts = [0]
        for piece in clock.pieces_of(segment.run)[1:]:
            at = math.ceil((piece.from_s - segment.start_s) * segment.rate_hz - 1e-9)
            if cuts[-1] < at < segment.count:
                cuts.append(at)
        for a, b in zip(cuts, [*cuts[1:], segment.count], strict=True):
            if b <= a:
                continue
            ends = segment.start_s + np.array([a, b - 1]) / segment.rate_hz
            t = clock.to_reference(ends, segment.run)
            dt = (t[1] - t[0]) / (b - 1 - a) if b - a > 1 else 1.0 / segment.rate_hz
            rows.append(
                (
                    float(t[0]),
                    float(dt),
                    segment.first + a,
                    b - a,
                    segment.scale,
                    segment.offset,
                    segment.first,
                )
            )
            for factor in FACTORS:
                buckets[factor].append(base[factor])
        for factor in FACTORS:
            base[factor] += -(-segment.count // factor)
    goes_on = np.full(len(rows), -np.inf)
    for k in range(len(rows) - 1):
        if rows[k + 1][6] == rows[k][6]:
            goes_on[k] = rows[k + 1][0]
    order = sorted(range(len(rows)), key=lambda k: rows[k][0])
    columns = list(zip(*(rows[k] for k in order), strict=True)) if rows else [()] * 7
    floats = [np.array(columns[k], np.float64) for k in (0, 1, 4, 5)]
    ints = [np.array(columns[k], np.int64) for k in (2, 3, 6)]
    return Stretches(
        t=floats[0],
        dt=floats[1],
        first=ints[0],
        count=ints[1],
        scale=floats[2],
        offset=floats[3],
        segment_first=ints[2],
        goes_on=goes_on[order],
        bases={factor: np.array([buckets[factor][k] for k in order], np.int64) for factor in FACTORS},
    )
