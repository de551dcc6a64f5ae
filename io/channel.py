"""One channel of a case, read by window on the reference clock."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from . import terms
from .clock import ClockMap
from .log import Edit
from .masks import placed, settled
from .placed import Line, Placed
from .recording import FloatArray
from .seconds import SLOW_S, held_seconds, wave_seconds
from .trace_file import StoredChannel, TraceFile
from .window import Envelope, Samples, Span

WAVE_HZ = 20.0
"""From this rate on a channel is a wave; below, a row of values."""


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
    placed : Placed
        Its samples as stored, for whoever goes by codes and not by values.
    beside : tuple of Channel
        All channels of its case, itself among them: what one line shows is held against the others.
    masks : tuple of Mask
        What people hide of it and what they believe, in the order of the log.
    hidden, believed : tuple of (float, float)
        What these come to, the later over the earlier: stretches of reference seconds, in order. Samples are
        read whole all the same; `annotate.quality` makes seconds of them.
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
        self.unit, line = _presented(unit, identity.kind)
        self.clock = clock
        self.horizon = horizon
        # What anything computed of it rests on: the files, and the unit that its values are read in.
        self.content = "|".join([*(sha for _, sha in file.files), unit])
        self.beside: tuple[Channel, ...] = ()
        self._said: tuple[Edit, ...] = ()
        self._grid = grid
        self._seconds: dict[str, FloatArray] = {}
        self.placed = Placed(file, stored, line, clock, horizon)
        self.set_masks(())

    def set_masks(self, edits: Sequence[Edit]) -> None:
        """Lay these masks on it, the ones of its id in force; only its case does."""
        self._said = tuple(edits)
        self.masks = placed(self._said, self.clock, self.source, self.placed.limit)
        self.hidden, self.believed = settled(self.masks)

    def on_clock(self, clock: ClockMap) -> Channel:
        """The same channel read through another clock map, as while a clock is being looked for.

        Parameters
        ----------
        clock : ClockMap
            Takes the place of the source's own; nothing is written.
        """
        other = copy.copy(self)
        other.clock = clock
        other._seconds = {}
        other.placed = self.placed.on_clock(clock)
        other.set_masks(self._said)
        return other

    @property
    def recorded_as(self) -> StoredChannel:
        """What its trace file says of it, whatever was decided since and wherever the horizon is."""
        return self.placed.stored

    def __repr__(self) -> str:
        return f"<Channel {self.id} {self.name} [{self.unit or '?'}]>"

    @property
    def interval_s(self) -> float:
        """Median distance between samples before the horizon, in seconds; NaN where too few are there."""
        return self.placed.interval_s

    @property
    def is_wave(self) -> bool:
        """Whether it is sampled fast enough to show a pulse."""
        return self.interval_s <= 1.0 / WAVE_HZ

    @property
    def count(self) -> int:
        """Samples in the file."""
        return self.recorded_as.count

    @property
    def recorded_s(self) -> float:
        """Seconds that hold a sample before the horizon; a row stands until the next, or for one interval.

        Read from what the file says of its samples, so that it costs nothing on a long recording.
        """
        s = self.placed.stretches
        if s is None:
            t, values = self.placed.rows
            t = np.unique(t[np.isfinite(values)])
            if not len(t) or math.isnan(self.interval_s):
                return 0.0
            steps = np.diff(t)
            steps[steps > 2.0 * self.interval_s] = self.interval_s
            return float(steps.sum()) + self.interval_s
        total = 0.0
        for k in range(len(s.t)):
            stop = self.placed.indices(k, -math.inf, self.placed.limit)[1]
            first = int(s.first[k])
            runs = np.clip(self.recorded_as.valid, first, first + max(stop, 0))
            total += float((runs[:, 1] - runs[:, 0]).sum()) * float(s.dt[k])
        return total

    def run_start(self, run: int) -> float | None:
        """Reference time of the first sample of a run of stamps; None where the run has none here."""
        stored = self.recorded_as
        starts = [
            float(self.clock.to_reference(segment.start_s, run))
            for segment in stored.segments
            if segment.run == run and segment.count
        ]
        if stored.runs is not None and (stored.runs == run).any():
            starts.append(float(self.placed.row_times()[stored.runs == run].min()))
        return min((start for start in starts if start < self.placed.limit), default=None)

    @property
    def grid(self) -> FloatArray:
        """The whole reference seconds of its case, one apart."""
        return self._grid()

    @property
    def begun(self) -> bool:
        """Whether any sample lies before the horizon."""
        return self.placed.begun

    @property
    def span(self) -> Span:
        """From the first sample to one interval after the last, cut at the horizon; 0 to 0 where none is."""
        s = self.placed.stretches
        if not self.begun:
            return Span(0.0, 0.0)
        if s is None:
            t, _ = self.placed.rows
            bounds = float(t[0]), float(t[-1]) + (0.0 if math.isnan(self.interval_s) else self.interval_s)
        else:
            seen = s.t < self.placed.limit
            bounds = float(s.t[seen].min()), float(s.end[seen].max())
        return Span(bounds[0], max(min(bounds[1], self.placed.limit), bounds[0]))

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
        t, values = self.placed.read(t0, t1)
        return Samples(t, values, self.interval_s)

    def wave(
        self, t0: float = -math.inf, t1: float = math.inf
    ) -> list[tuple[float, float, NDArray[np.float32]]]:
        """Evenly sampled pieces of the window: start in reference seconds, rate in Hz, values.

        Values are in the channel's unit, NaN where not recorded. Empty for uneven rows. A piece never
        spans a gap; neighbours that join without one are still separate pieces.
        """
        if self.placed.stretches is None:
            return []
        return [(t, 1.0 / dt, values) for t, dt, values in self.placed.windows(t0, t1)]

    def segments_reference(self) -> list[tuple[float, float, float]]:
        """Start and end in reference seconds and rate in Hz of each evenly sampled piece."""
        s, limit = self.placed.stretches, self.placed.limit
        if s is None:
            return []
        return [
            (float(t), min(float(end), limit), 1.0 / float(dt))
            for t, end, dt in zip(s.t, s.end, s.dt, strict=True)
            if t < limit
        ]

    def sd(self, t: float) -> float:
        """Standard deviation, in seconds, of this channel's source at a reference time; infinite: not set."""
        run = self.run_at(t)
        return float(self.clock.sd(self.clock.to_source(t, run), run))

    def run_at(self, t: float) -> int:
        """The run of the source's stamps that a reference time falls into, as far as is known."""
        best = 0
        stored = self.recorded_as
        for segment in stored.segments:
            start = float(self.clock.to_reference(segment.start_s, segment.run))
            if start <= t and start < self.placed.limit:
                best = max(best, segment.run)
        if stored.times is not None and stored.runs is not None and len(stored.runs):
            t_rows = self.placed.row_times()
            before = stored.runs[(t_rows <= t) & (t_rows < self.placed.limit)]
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
        stop = min(t1, self.placed.limit)
        if columns and stop > t0:
            self.placed.columns(t0, stop, width, lo, hi)
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
            if self.placed.stretches is None or not self.interval_s < SLOW_S:
                samples = self.read(-math.inf, math.inf)
                values = held_seconds(samples.t, samples.values, self.interval_s, grid, statistic)
            else:
                values = wave_seconds(self.placed.blocks(), grid, statistic)
            values.flags.writeable = False
            self._seconds[statistic] = values
        return self._seconds[statistic]


def _presented(unit: str, kind: str) -> tuple[str, Line]:
    """Unit that a channel is read in, and slope and intercept from its own unit to that."""
    wanted = terms.KINDS[kind].units if kind in terms.KINDS else ()
    if not unit or not wanted or unit == wanted[0] or not terms.convertible(unit, wanted[0]):
        return unit, (1.0, 0.0)
    zero, one = terms.convert(np.array([0.0, 1.0]), unit, wanted[0])
    return wanted[0], (float(one - zero), float(zero))
