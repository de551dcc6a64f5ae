"""The stored samples of a channel placed on the reference clock, up to a horizon.

`afterclamp.io.channel` says what a channel is and answers questions in its unit; here its codes are found in the
file, become values and fall into the columns of a picture. Nothing here gives away what lies at or after the
horizon, not even in how far apart samples usually are.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .clock import ClockMap
from .columns import even_buckets, even_columns, merge_columns
from .levels import FACTORS
from .recording import FloatArray
from .stretches import Stretches, stretches_of
from .trace_file import StoredChannel, TraceFile

_BLOCK = 1 << 20  # samples read at a time when a whole channel is gone through

Line = tuple[float, float]


class Placed:
    """Samples of one channel of a trace file on a clock.

    Parameters
    ----------
    file : TraceFile
    stored : StoredChannel
        What the file says of the channel.
    line : tuple of float
        Slope and intercept from the recorded unit to the one that is read.
    clock : ClockMap
    horizon : float or None
        Reference seconds from which on nothing is there.

    Attributes
    ----------
    codes : StoredArray
        As recorded.
    stretches : Stretches or None
        Evenly sampled pieces, whole ones also where the horizon cuts them; None for uneven rows.
    """

    def __init__(
        self, file: TraceFile, stored: StoredChannel, line: Line, clock: ClockMap, horizon: float | None
    ) -> None:
        self.stored = stored
        self.slope, self.intercept = line
        self.limit = math.inf if horizon is None else horizon
        self.codes, self._levels = file.arrays(stored.key)
        self._gappy = stored.count > 0 and (
            len(stored.valid) != 1 or tuple(stored.valid[0]) != (0, stored.count)
        )
        self._set(clock)

    def _set(self, clock: ClockMap) -> None:
        self.clock = clock
        self.stretches: Stretches | None = (
            stretches_of(self.stored, clock) if self.stored.times is None else None
        )

    def on_clock(self, clock: ClockMap) -> Placed:
        """The same samples through another clock map."""
        other = copy.copy(self)
        for name in ("interval_s", "rows"):
            other.__dict__.pop(name, None)
        other._set(clock)
        return other

    @cached_property
    def interval_s(self) -> float:
        """Median distance between samples before the horizon, in seconds; NaN where too few are there."""
        times, runs = self.stored.times, self.stored.runs
        if times is None:
            s = self.stretches
            assert s is not None
            seen = set(s.segment_first[s.t < self.limit].tolist())
            rates = [
                segment.rate_hz for segment in self.stored.segments if segment.count and segment.first in seen
            ]
            return 1.0 / float(np.median(rates)) if rates else math.nan
        assert runs is not None
        known = self.row_times() < self.limit
        times, runs = times[known], runs[known]
        order = np.lexsort((times, runs))
        # Two runs of a clock that was set back share stamps: only rows of one run have a distance.
        steps = np.diff(times[order])[np.diff(runs[order]) == 0]
        steps = steps[steps > 0]
        return float(np.median(steps)) if len(steps) else math.nan

    @property
    def begun(self) -> bool:
        """Whether any sample lies before the horizon."""
        s = self.stretches
        return bool(len(self.rows[0])) if s is None else bool((s.t < self.limit).any())

    # -- values -------------------------------------------------------------------------------------

    def invalid(self, start: int, stop: int) -> NDArray[np.bool_] | None:
        """Which of the samples ``start:stop`` are not there; None when all are."""
        if not self._gappy:
            return None
        runs = self.stored.valid
        a = int(np.searchsorted(runs[:, 1], start, side="right"))
        b = int(np.searchsorted(runs[:, 0], stop, side="left"))
        if b - a == 1 and runs[a, 0] <= start and runs[a, 1] >= stop:
            return None
        missing = np.ones(stop - start, bool)
        for first, last in runs[a:b]:
            missing[max(first - start, 0) : last - start] = False
        return missing

    def values(self, start: int, stop: int, scale: float = 1.0, offset: float = 0.0) -> NDArray[np.float32]:
        """Samples ``start:stop`` in the unit that is read, NaN where not recorded."""
        values = self.codes.read(start, stop).astype(np.float32)
        values *= np.float32(scale * self.slope)
        values += np.float32(offset * self.slope + self.intercept)
        missing = self.invalid(start, stop)
        if missing is not None:
            values[missing] = np.nan
        return values

    def overlapping(self, t0: float, t1: float) -> NDArray[np.intp]:
        """Stretches that reach into the window."""
        s = self.stretches
        assert s is not None
        return np.flatnonzero((s.t < t1) & (s.end > t0))

    def indices(self, k: int, t0: float, t1: float) -> tuple[int, int]:
        """First and past-last sample, within stretch `k`, of the window."""
        s = self.stretches
        assert s is not None
        count = int(s.count[k])
        a = 0 if t0 <= s.t[k] else math.ceil((t0 - s.t[k]) / s.dt[k] - 1e-9)
        b = count if t1 >= s.t[k] + count * s.dt[k] else math.ceil((t1 - s.t[k]) / s.dt[k] - 1e-9)
        return max(a, 0), min(b, count)

    def windows(self, t0: float, t1: float) -> Iterator[tuple[float, float, NDArray[np.float32]]]:
        """Even pieces of the window: reference time of the first sample, seconds between, values."""
        s = self.stretches
        assert s is not None
        t1 = min(t1, self.limit)
        for k in self.overlapping(t0, t1).tolist():
            a, b = self.indices(k, t0, t1)
            if b > a:
                first = int(s.first[k])
                values = self.values(first + a, first + b, s.scale[k], s.offset[k])
                yield float(s.t[k] + a * s.dt[k]), float(s.dt[k]), values

    def blocks(self) -> Iterator[tuple[float, float, NDArray[np.float32]]]:
        """The whole channel, as `windows`, in pieces of bounded size."""
        s = self.stretches
        assert s is not None
        for k in range(len(s.t)):
            stop = self.indices(k, -math.inf, self.limit)[1]
            for a in range(0, stop, _BLOCK):
                first = int(s.first[k])
                values = self.values(first + a, first + min(a + _BLOCK, stop), s.scale[k], s.offset[k])
                yield float(s.t[k] + a * s.dt[k]), float(s.dt[k]), values

    # -- uneven rows --------------------------------------------------------------------------------

    def row_times(self) -> FloatArray:
        """Reference time of every row of the file, in its order, whatever the horizon."""
        times, runs = self.stored.times, self.stored.runs
        assert times is not None
        assert runs is not None
        t = np.empty(len(times))
        for run in np.unique(runs):
            t[runs == run] = self.clock.to_reference(times[runs == run], int(run))
        return t

    @cached_property
    def rows(self) -> tuple[FloatArray, FloatArray]:
        """Reference times and values of uneven rows before the horizon, in order of time."""
        t = self.row_times()
        values = self.values(0, self.stored.count).astype(np.float64)
        order = np.argsort(t, kind="stable")
        keep = order[t[order] < self.limit]
        return t[keep], values[keep]

    def read(self, t0: float, t1: float) -> tuple[FloatArray, FloatArray]:
        """Times and values of the window, in order of time."""
        t1 = min(t1, self.limit)
        if self.stretches is None:
            t, values = self.rows
            a, b = np.searchsorted(t, [t0, t1])
            return t[a:b], values[a:b]
        parts = [(t + np.arange(len(v)) * dt, v) for t, dt, v in self.windows(t0, t1)]
        if not parts:
            return np.empty(0), np.empty(0)
        t = np.concatenate([times for times, _ in parts])
        values = np.concatenate([part for _, part in parts]).astype(np.float64)
        if len(parts) > 1 and (np.diff(t) < 0).any():  # runs of an unset clock overlap
            order = np.argsort(t, kind="stable")
            t, values = t[order], values[order]
        return t, values

    # -- pictures -----------------------------------------------------------------------------------

    def columns(
        self, t0: float, stop: float, width: float, lo: NDArray[np.float32], hi: NDArray[np.float32]
    ) -> None:
        """Take the window into columns of `width` seconds that start at `t0`.

        Read from the levels where a column holds two buckets or more, so that the cost follows the columns and
        not the samples; samples that share a bucket with some past the horizon are read themselves.
        """
        per_column = 0.0 if math.isnan(self.interval_s) else width / self.interval_s
        # Two buckets a column at least, so that rounding never leaves a column without one.
        factor = max((f for f in FACTORS if f <= per_column / 2), default=0)
        if self.stretches is None:
            t, values = self.read(t0, stop)
            merge_columns(np.floor((t - t0) / width), values, values, lo, hi)
        elif not factor:
            for start, dt, piece in self.windows(t0, stop):
                even_columns(start, dt, piece, t0, width, lo, hi)
        else:
            self._level_columns(factor, t0, stop, width, lo, hi)

    def _level_columns(
        self,
        factor: int,
        t0: float,
        stop: float,
        width: float,
        lo: NDArray[np.float32],
        hi: NDArray[np.float32],
    ) -> None:
        s = self.stretches
        assert s is not None
        seen = self.overlapping(t0, stop)
        if not len(seen):
            return
        inside = s.first[seen] - s.segment_first[seen]  # samples of the segment before the stretch
        a = -(-inside // factor)
        b = -(-(inside + s.count[seen]) // factor)
        if len(seen) == 1:
            # The usual case, a long stretch: only the buckets of the window.
            a += max(0, math.floor((t0 - s.t[seen[0]]) / (s.dt[seen[0]] * factor)) - 1)
            b = np.minimum(b, a + math.ceil((stop - t0) / (s.dt[seen[0]] * factor)) + 3)
        many = np.maximum(b - a, 0)
        bases = s.bases[factor][seen]
        start, end = int((bases + a).min()), int((bases + b).max())
        low, high, there = (array.read(start, end) for array in self._levels[factor])
        reach = float((s.dt[seen] * factor).max())
        if len(seen) == 1 and max(stop, float(s.goes_on[seen[0]])) + reach <= self.limit:
            k = int(seen[0])
            dt = float(s.dt[k])
            even_buckets(
                float(s.t[k]) + (int(a[0]) * factor - int(inside[0])) * dt,
                dt * factor,
                (low, high, there),
                float(s.scale[k]) * self.slope,
                float(s.offset[k]) * self.slope + self.intercept,
                t0,
                width,
                lo,
                hi,
            )
            return
        which = np.repeat(np.arange(len(seen)), many)
        number = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many) + a[which]
        at = bases[which] + number - start
        step = s.dt[seen][which] * factor
        t = s.t[seen][which] + number * step - inside[which] * s.dt[seen][which]
        keep = (there[at] > 0) & (t < stop)
        if math.isfinite(self.limit):
            # A bucket that goes on behind a forward step of the clock holds samples from after it.
            behind = (number + 1) * factor > (inside + s.count[seen])[which]
            last = np.where(behind, np.maximum(s.goes_on[seen][which], t), t) + step
            whole = last <= self.limit
            if (keep & ~whole).any():
                some, values = self.read(max(float(t[keep & ~whole].min()), t0), stop)
                merge_columns(np.floor((some - t0) / width), values, values, lo, hi)
            keep &= whole
        at, which, t = at[keep], which[keep], t[keep]
        scale = (s.scale[seen] * self.slope)[which]
        offset = (s.offset[seen] * self.slope + self.intercept)[which]
        one = (low[at] * scale + offset).astype(np.float32)
        other = (high[at] * scale + offset).astype(np.float32)
        merge_columns(np.floor((t - t0) / width), np.fmin(one, other), np.fmax(one, other), lo, hi)
