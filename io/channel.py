"""One channel of a case, read by window on the reference clock."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from . import terms
from .casefile import StoredChannel, TraceFile
from .clock import ClockMap
from .columns import even_buckets, even_columns, merge_columns
from .levels import FACTORS
from .recording import FloatArray
from .seconds import SLOW_S, held_seconds, wave_seconds
from .stored import StoredArray
from .stretches import Stretches, stretches_of
from .window import Envelope, Samples, Span

WAVE_HZ = 20.0
"""From this rate on a channel is a wave; below, a row of values."""

_BLOCK = 1 << 20  # samples read at a time when a whole channel is gone through


class Channel:
    """A channel on the reference clock.

    Made by `Case`; reads only what lies before the case's horizon, where it has one.

    Attributes
    ----------
    id : str
        ``"source/key"``, unique in the case.
    name, plain_name : str
        Short name for code (``"left_radial"``) and for people (``"left radial"``).
    identity : Identity
        Kind, site, side and statistic, as proposed or as a person decided; kind ``other`` while its unit is
        not known or does not fit, so that no rule and no figure takes it for what it may be.
    proposed : Identity
        The same whatever its unit: what it is taken for as soon as that is known.
    unit : str
        UCUM unit of everything that is read; empty where it is not known.
    unit_recorded : str
        UCUM unit it was recorded in, as written or as a person corrected it.
    unit_as_written : str
        What the source wrote.
    interval_s : float
        Median distance between samples in seconds.
    """

    def __init__(
        self,
        file: TraceFile,
        stored: StoredChannel,
        identity: terms.Identity,
        unit: str,
        clock: ClockMap,
        horizon: float | None,
        grid: Callable[[], FloatArray],
    ) -> None:
        self.source = file.name
        self.key = stored.key
        self.id = f"{file.name}/{stored.key}"
        self.label = stored.label
        self.proposed, self.unit_recorded = identity, unit
        if not terms.usable(identity, unit):
            identity = terms.Identity("other")
        self.identity = identity
        self.kind, self.site = identity.kind, identity.site
        self.side, self.statistic = identity.side, identity.statistic
        self.name = identity.name or stored.key
        self.plain_name = identity.plain_name or stored.label or stored.key
        self.unit_as_written = stored.unit_as_written
        self.unit, self._slope, self._intercept = _presented(unit, identity.kind)
        self.clock = clock
        self.horizon = horizon
        # What anything computed of it rests on: the files, and the unit that its values are read in.
        self.content = "|".join([*(sha for _, sha in file.files), unit])
        self._stored = stored
        self._grid = grid
        self._seconds: dict[str, FloatArray] = {}
        group = file.file["channels"][stored.key]
        self._codes = StoredArray(group["samples"], file.path)
        self._levels = {
            factor: tuple(
                StoredArray(group[f"levels/{factor}/{name}"], file.path) for name in ("min", "max", "count")
            )
            for factor in FACTORS
        }
        self._gappy = stored.count > 0 and (
            len(stored.valid) != 1 or tuple(stored.valid[0]) != (0, stored.count)
        )
        self._rows: tuple[FloatArray, FloatArray] | None = None
        self._stretches: Stretches | None = None
        if stored.times is None:
            self._stretches = stretches_of(stored, clock)
            rates = [segment.rate_hz for segment in stored.segments if segment.count]
            self.interval_s = 1.0 / float(np.median(rates)) if rates else math.nan
        else:
            steps = np.diff(np.unique(stored.times))
            self.interval_s = float(np.median(steps)) if len(steps) else math.nan

    def on_clock(self, clock: ClockMap) -> Channel:
        """The same channel read through another clock map, as while a clock is being looked for.

        Parameters
        ----------
        clock : ClockMap
            Takes the place of the source's own; nothing is written.
        """
        other = copy.copy(self)
        other.clock = clock
        other._seconds, other._rows = {}, None
        if self._stored.times is None:
            other._stretches = stretches_of(self._stored, clock)
        return other

    @property
    def recorded_as(self) -> StoredChannel:
        """What its trace file says of it, whatever was decided since."""
        return self._stored

    def __repr__(self) -> str:
        return f"<Channel {self.id} {self.name} [{self.unit or '?'}]>"

    @property
    def is_wave(self) -> bool:
        """Whether it is sampled fast enough to show a pulse."""
        return self.interval_s <= 1.0 / WAVE_HZ

    @property
    def count(self) -> int:
        """Samples in the file."""
        return self._stored.count

    @property
    def recorded_s(self) -> float:
        """Seconds that hold a sample before the horizon; a row stands until the next, or for one interval.

        Read from what the file says of its samples, so that it costs nothing on a long recording.
        """
        s = self._stretches
        if s is None:
            t, values = self._all_rows()
            t = np.unique(t[np.isfinite(values)])
            if not len(t) or math.isnan(self.interval_s):
                return 0.0
            steps = np.diff(t)
            steps[steps > 2.0 * self.interval_s] = self.interval_s
            return float(steps.sum()) + self.interval_s
        total = 0.0
        for k in range(len(s.t)):
            stop = self._window_indices(k, -math.inf, math.inf if self.horizon is None else self.horizon)[1]
            first = int(s.first[k])
            runs = np.clip(self._stored.valid, first, first + max(stop, 0))
            total += float((runs[:, 1] - runs[:, 0]).sum()) * float(s.dt[k])
        return total

    def run_start(self, run: int) -> float | None:
        """Reference time of the first sample of a run of stamps; None where the run has none here."""
        starts = [
            float(self.clock.to_reference(segment.start_s, run))
            for segment in self._stored.segments
            if segment.run == run and segment.count
        ]
        if self._stored.runs is not None and (self._stored.runs == run).any():
            starts.append(float(self._row_times()[self._stored.runs == run].min()))
        return min(starts, default=None)

    @property
    def span(self) -> Span:
        """From the first sample to one interval after the last, cut at the horizon."""
        if self._stretches is None:
            t, _ = self._all_rows()
            bounds = (
                (float(t[0]), float(t[-1]) + (0.0 if math.isnan(self.interval_s) else self.interval_s))
                if len(t)
                else (0.0, 0.0)
            )
        elif len(self._stretches.t):
            bounds = (float(self._stretches.t.min()), float(self._stretches.end.max()))
        else:
            bounds = (0.0, 0.0)
        end = bounds[1] if self.horizon is None else min(bounds[1], self.horizon)
        return Span(bounds[0], max(end, bounds[0]))

    def read(self, t0: float, t1: float) -> Samples:
        """Samples of the window ``[t0, t1)`` of reference seconds.

        Parameters
        ----------
        t0, t1 : float
            Window; cut at the horizon of the case.

        Returns
        -------
        Samples
            In order of time, NaN where not recorded. Gaps are steps in ``t``.
        """
        t1 = t1 if self.horizon is None else min(t1, self.horizon)
        if self._stretches is None:
            t, values = self._all_rows()
            a, b = np.searchsorted(t, [t0, t1])
            return Samples(t[a:b], values[a:b], self.interval_s)
        parts = [(t + np.arange(len(v)) * dt, v) for t, dt, v in self._windows(t0, t1)]
        if not parts:
            return Samples(np.empty(0), np.empty(0), self.interval_s)
        t = np.concatenate([times for times, _ in parts])
        values = np.concatenate([part for _, part in parts]).astype(np.float64)
        if len(parts) > 1 and (np.diff(t) < 0).any():  # runs of an unset clock overlap
            order = np.argsort(t, kind="stable")
            t, values = t[order], values[order]
        return Samples(t, values, self.interval_s)

    def wave(
        self, t0: float = -math.inf, t1: float = math.inf
    ) -> list[tuple[float, float, NDArray[np.float32]]]:
        """Evenly sampled pieces of the window: start in reference seconds, rate in Hz, values.

        Values are in the channel's unit, NaN where not recorded. Empty for uneven rows. A piece never
        spans a gap; neighbours that join without one are still separate pieces.
        """
        t1 = t1 if self.horizon is None else min(t1, self.horizon)
        return [(t, 1.0 / dt, values) for t, dt, values in self._windows(t0, t1)] if self._stretches else []

    def segments_reference(self) -> list[tuple[float, float, float]]:
        """Start and end in reference seconds and rate in Hz of each evenly sampled piece."""
        s = self._stretches
        if s is None:
            return []
        limit = math.inf if self.horizon is None else self.horizon
        return [
            (float(t), min(float(end), limit), 1.0 / float(dt))
            for t, end, dt in zip(s.t, s.end, s.dt, strict=True)
            if t < limit
        ]

    def sd(self, t: float) -> float:
        """Standard deviation, in seconds, of the clock of this channel's source at a reference time."""
        run = self.run_at(t)
        return float(self.clock.sd(self.clock.to_source(t, run), run))

    def run_at(self, t: float) -> int:
        """The run of the source's stamps that a reference time falls into."""
        best = 0
        for segment in self._stored.segments:
            if float(self.clock.to_reference(segment.start_s, segment.run)) <= t:
                best = max(best, segment.run)
        if self._stored.times is not None and self._stored.runs is not None and len(self._stored.runs):
            t_rows = self._row_times()
            before = self._stored.runs[t_rows <= t]
            best = int(before.max()) if len(before) else 0
        return best

    def envelope(self, t0: float, t1: float, columns: int) -> Envelope:
        """Lowest and highest value in each of `columns` equal columns of ``[t0, t1)``.

        Read from the levels, so that the cost follows the columns and not the samples; where a level
        bucket would reach past the horizon its samples are read instead.
        """
        lo = np.full(columns, np.nan, np.float32)
        hi = np.full(columns, np.nan, np.float32)
        width = (t1 - t0) / columns
        stop = t1 if self.horizon is None else min(t1, self.horizon)
        if columns and stop > t0:
            per_column = 0.0 if math.isnan(self.interval_s) else width / self.interval_s
            # Two buckets a column at least, so that rounding never leaves a column without one.
            factor = max((f for f in FACTORS if f <= per_column / 2), default=0)
            if self._stretches is None or not factor:
                self._raw_columns(t0, stop, width, lo, hi)
            else:
                self._level_columns(factor, t0, stop, width, lo, hi)
        return Envelope(lo, hi)

    def seconds(self, statistic: str = "mean") -> FloatArray:
        """One value for each second of the case's grid.

        Parameters
        ----------
        statistic : {"mean", "min", "max", "count"}
            Of the samples within the second.

        Returns
        -------
        ndarray
            NaN where nothing was recorded (0 for the count). For a channel with half a second or more
            between samples the last value is held for at most `afterclamp.io.seconds.HOLD_INTERVALS` intervals.
        """
        if statistic not in {"mean", "min", "max", "count"}:
            raise ValueError(f"statistic {statistic!r}; expected mean, min, max or count")
        if statistic not in self._seconds:
            grid = self._grid()
            if self._stretches is None or not self.interval_s < SLOW_S:
                samples = self.read(-math.inf, math.inf)
                values = held_seconds(samples.t, samples.values, self.interval_s, grid, statistic)
            else:
                values = wave_seconds(self._blocks(), grid, statistic)
            values.flags.writeable = False
            self._seconds[statistic] = values
        return self._seconds[statistic]

    # -- reading codes ------------------------------------------------------------------------------

    def _invalid(self, start: int, stop: int) -> NDArray[np.bool_] | None:
        """Which of the samples ``start:stop`` are not there; None when all are."""
        if not self._gappy:
            return None
        runs = self._stored.valid
        a = int(np.searchsorted(runs[:, 1], start, side="right"))
        b = int(np.searchsorted(runs[:, 0], stop, side="left"))
        if b - a == 1 and runs[a, 0] <= start and runs[a, 1] >= stop:
            return None
        missing = np.ones(stop - start, bool)
        for first, last in runs[a:b]:
            missing[max(first - start, 0) : last - start] = False
        return missing

    def _values(self, start: int, stop: int, scale: float, offset: float) -> NDArray[np.float32]:
        values = self._codes.read(start, stop).astype(np.float32)
        values *= np.float32(scale * self._slope)
        values += np.float32(offset * self._slope + self._intercept)
        missing = self._invalid(start, stop)
        if missing is not None:
            values[missing] = np.nan
        return values

    def _overlapping(self, t0: float, t1: float) -> NDArray[np.intp]:
        s = self._stretches
        assert s is not None
        return np.flatnonzero((s.t < t1) & (s.end > t0))

    def _window_indices(self, k: int, t0: float, t1: float) -> tuple[int, int]:
        """First and past-last sample, within stretch `k`, of the window."""
        s = self._stretches
        assert s is not None
        count = int(s.count[k])
        a = 0 if t0 <= s.t[k] else math.ceil((t0 - s.t[k]) / s.dt[k] - 1e-9)
        b = count if t1 >= s.t[k] + count * s.dt[k] else math.ceil((t1 - s.t[k]) / s.dt[k] - 1e-9)
        return max(a, 0), min(b, count)

    def _windows(self, t0: float, t1: float) -> Iterator[tuple[float, float, NDArray[np.float32]]]:
        """Pieces of the window: reference time of the first sample, seconds between, values."""
        s = self._stretches
        assert s is not None
        for k in self._overlapping(t0, t1):
            a, b = self._window_indices(k, t0, t1)
            if b > a:
                first = int(s.first[k])
                values = self._values(first + a, first + b, s.scale[k], s.offset[k])
                yield float(s.t[k] + a * s.dt[k]), float(s.dt[k]), values

    def _blocks(self) -> Iterator[tuple[float, float, NDArray[np.float32]]]:
        """The whole channel, as `_windows`, in pieces of bounded size."""
        s = self._stretches
        assert s is not None
        limit = math.inf if self.horizon is None else self.horizon
        for k in range(len(s.t)):
            stop = self._window_indices(k, -math.inf, limit)[1]
            for a in range(0, stop, _BLOCK):
                first = int(s.first[k])
                values = self._values(first + a, first + min(a + _BLOCK, stop), s.scale[k], s.offset[k])
                yield float(s.t[k] + a * s.dt[k]), float(s.dt[k]), values

    # -- uneven rows --------------------------------------------------------------------------------

    def _row_times(self) -> FloatArray:
        times, runs = self._stored.times, self._stored.runs
        assert times is not None
        assert runs is not None
        t = np.empty(len(times))
        for run in np.unique(runs):
            t[runs == run] = self.clock.to_reference(times[runs == run], int(run))
        return t

    def _all_rows(self) -> tuple[FloatArray, FloatArray]:
        if self._rows is None:
            t = self._row_times()
            values = self._values(0, self.count, 1.0, 0.0).astype(np.float64)
            order = np.argsort(t, kind="stable")
            keep = order if self.horizon is None else order[t[order] < self.horizon]
            self._rows = t[keep], values[keep]
        return self._rows

    # -- pictures -----------------------------------------------------------------------------------

    def _raw_columns(
        self, t0: float, stop: float, width: float, lo: NDArray[np.float32], hi: NDArray[np.float32]
    ) -> None:
        if self._stretches is None:
            samples = self.read(t0, stop)
            merge_columns(np.floor((samples.t - t0) / width), samples.values, samples.values, lo, hi)
            return
        for t, dt, values in self._windows(t0, stop):
            even_columns(t, dt, values, t0, width, lo, hi)

    def _level_columns(
        self,
        factor: int,
        t0: float,
        stop: float,
        width: float,
        lo: NDArray[np.float32],
        hi: NDArray[np.float32],
    ) -> None:
        s = self._stretches
        assert s is not None
        seen = self._overlapping(t0, stop)
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
        if len(seen) == 1 and (self.horizon is None or stop < self.horizon):
            k = int(seen[0])
            dt = float(s.dt[k])
            even_buckets(
                float(s.t[k]) + (int(a[0]) * factor - int(inside[0])) * dt,
                dt * factor,
                (low, high, there),
                float(s.scale[k]) * self._slope,
                float(s.offset[k]) * self._slope + self._intercept,
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
        keep = there[at] > 0
        if self.horizon is not None and stop == self.horizon:
            whole = t + step <= self.horizon
            if (keep & ~whole).any():
                self._raw_columns_at(float(t[keep & ~whole].min()), t0, stop, width, lo, hi)
            keep &= whole
        at, which, t = at[keep], which[keep], t[keep]
        scale = (s.scale[seen] * self._slope)[which]
        offset = (s.offset[seen] * self._slope + self._intercept)[which]
        one = (low[at] * scale + offset).astype(np.float32)
        other = (high[at] * scale + offset).astype(np.float32)
        merge_columns(np.floor((t - t0) / width), np.fmin(one, other), np.fmax(one, other), lo, hi)

    def _raw_columns_at(
        self,
        start: float,
        t0: float,
        stop: float,
        width: float,
        lo: NDArray[np.float32],
        hi: NDArray[np.float32],
    ) -> None:
        samples = self.read(max(start, t0), stop)
        merge_columns(np.floor((samples.t - t0) / width), samples.values, samples.values, lo, hi)


def _presented(unit: str, kind: str) -> tuple[str, float, float]:
    """Unit that a channel is read in, and the straight line from its own unit to that."""
    wanted = terms.KINDS[kind].units if kind in terms.KINDS else ()
    if not unit or not wanted or unit == wanted[0] or not terms.convertible(unit, wanted[0]):
        return unit, 1.0, 0.0
    zero, one = terms.convert(np.array([0.0, 1.0]), unit, wanted[0])
    return wanted[0], float(one - zero), float(zero)
