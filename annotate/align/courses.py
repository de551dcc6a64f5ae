"""What two sources are compared by: the known one as a course, the unknown one as rows with its own stamps.

The known side is tabulated finely enough to be read between its samples; the unknown side is left as it
was stamped, one run at a time, so that stamps that repeat never mix.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.io.clock import ClockMap, ClockPiece
from afterclamp.io.terms import KINDS

from ..runs import BoolArray, FloatArray

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

STEP_S = 0.05
"""Table step of a course, seconds: a pulse rises within a tenth of a second (this project's choice)."""

APART_S = 1e7
"""Seconds put between the runs of a source while it is read; longer than any recording."""

FILLED = 0.8
"""Share of a mean's samples that must be there (this project's choice)."""

HOLD_INTERVALS = 3.0
"""Rows further apart than this many intervals are not joined (this project's choice)."""


@dataclass(frozen=True)
class Course:
    """A quantity along a clock that is known, evenly tabulated.

    Attributes
    ----------
    start, step : float
        Reference seconds of the first value and between values.
    values : ndarray
        At each of them the mean of the second before (or of `width_s`); NaN where not recorded.
    """

    start: float
    step: float
    values: FloatArray

    @property
    def end(self) -> float:
        """Reference seconds of the last value."""
        return self.start + self.step * (len(self.values) - 1)

    def at(self, t: FloatArray) -> FloatArray:
        """Values at any reference seconds, by straight lines; NaN beside a missing value and outside."""
        place = (np.asarray(t, dtype=np.float64) - self.start) / self.step
        low = np.floor(place)
        inside = (low >= 0) & (low < len(self.values) - 1)
        k = np.where(inside, low, 0).astype(np.intp)
        if len(self.values) < 2:
            return np.full(place.shape, np.nan)
        share = place - low
        return np.where(inside, self.values[k] * (1 - share) + self.values[k + 1] * share, np.nan)

    def slope(self) -> Course:
        """Change of the quantity per second."""
        slope = np.full(len(self.values), np.nan)
        if len(self.values) > 2:
            slope[1:-1] = (self.values[2:] - self.values[:-2]) / (2 * self.step)
        return Course(self.start, self.step, slope)

    def averaged(self, width_s: float) -> Course:
        """The mean of the `width_s` seconds before, from a course that holds means of single seconds."""
        wide, one = round(width_s / self.step), round(1.0 / self.step)
        if wide <= one:
            return self
        # Single seconds overlap, so every `one`-th is enough; the mean of those is taken over all phases.
        many = round(wide / one)
        total = self.values.copy()
        for k in range(1, many):
            total[k * one :] += self.values[: -k * one]
        total[: (many - 1) * one] = np.nan
        return Course(self.start, self.step, total / many)


@dataclass(frozen=True)
class Rows:
    """A quantity as a source stamped it.

    Attributes
    ----------
    stamp : ndarray
        What the source's clock said (see `afterclamp.io.clock`), rising within a run.
    value : ndarray
        Finite throughout.
    run : ndarray of int
        How often the clock had gone back before each row; never falling.
    interval_s : float
        Usual distance between rows.
    """

    stamp: FloatArray
    value: FloatArray
    run: np.ndarray[tuple[int], np.dtype[np.intp]]
    interval_s: float

    def where(self, wanted: BoolArray) -> Rows:
        """Only these rows."""
        return Rows(self.stamp[wanted], self.value[wanted], self.run[wanted], self.interval_s)

    @property
    def runs(self) -> tuple[int, ...]:
        """The runs that hold a row, in order."""
        return tuple(int(run) for run in np.unique(self.run))


def plausible(values: FloatArray, kind: str) -> FloatArray:
    """Values with what the kind can't be taken out: a channel without a catheter stands on its lowest code.

    A tenth of the range is left on either side: a flow of nothing reads a little under zero.
    """
    limits = KINDS[kind].plausible if kind in KINDS else None
    if limits is None:
        return values
    margin = 0.1 * (limits[1] - limits[0])
    with np.errstate(invalid="ignore"):
        return np.where((values >= limits[0] - margin) & (values <= limits[1] + margin), values, np.nan)


def course_of(channel: Channel) -> Course:
    """The course of a channel whose clock is known: at each twentieth of a second the mean of the second before.

    A mean sampled by a recorder is the mean of the second before its stamp (this project's convention), so
    the course can be laid straight on a recorder's copy. Slow rows are joined by straight lines.
    """
    if channel.is_wave:
        return _of_wave(channel)
    samples = channel.read(-np.inf, np.inf)
    values = plausible(samples.values, channel.kind)
    there = np.isfinite(values)
    t, values = samples.t[there], values[there]
    t, first = np.unique(t, return_index=True)
    values = values[first]
    if len(t) < 2:
        return Course(0.0, STEP_S, np.empty(0))
    start = float(np.floor(t[0] / STEP_S) * STEP_S)
    grid = start + STEP_S * np.arange(int((t[-1] - start) / STEP_S) + 1)
    joined = np.interp(grid, t, values, left=np.nan)
    # A gap is not a straight line.
    behind = np.clip(np.searchsorted(t, grid, side="right"), 1, len(t) - 1)
    joined[t[behind] - t[behind - 1] > HOLD_INTERVALS * channel.interval_s] = np.nan
    return Course(start, STEP_S, joined)


def _of_wave(channel: Channel) -> Course:
    span = channel.span
    start = float(np.floor(span.start))
    count = int(np.ceil((span.end - start) / STEP_S)) + 1
    total, many = np.zeros(count), np.zeros(count)
    rate = 0.0
    for t, rate_hz, values in channel.wave():
        rate = max(rate, rate_hz)
        good = plausible(values.astype(np.float64), channel.kind)
        there = np.isfinite(good)
        # A tenth of a sample is added so that rounding never moves a sample to the bin before.
        where = np.floor((t - start + (np.arange(len(values)) + 0.1) / rate_hz) / STEP_S).astype(np.intp)
        low, high = int(where[0]), int(where[-1]) + 1
        total[low:high] += np.bincount(where - low, np.where(there, good, 0.0), high - low)
        many[low:high] += np.bincount(where - low, there, high - low)
    width = round(1.0 / STEP_S)
    sums = np.concatenate(([0.0], np.cumsum(total)))
    counts = np.concatenate(([0.0], np.cumsum(many)))
    within = counts[width:] - counts[:-width]
    out = np.full(count + 1, np.nan)
    enough = within >= FILLED * rate
    out[width:][enough] = (sums[width:] - sums[:-width])[enough] / within[enough]
    return Course(start, STEP_S, out)


def rows_of(channels: Sequence[Channel], runs: int) -> Rows:
    """Channels of one source and kind as it stamped them, whatever clock it goes by now.

    A wave gives means of single seconds. Of several channels the mean of those that are there, each
    against its own middle.

    Parameters
    ----------
    channels : sequence of Channel
        Of one source.
    runs : int
        Runs of stamps of that source.
    """
    parts = [_rows(channel, runs) for channel in channels]
    if len(parts) == 1:
        return parts[0]
    keys = [rows.run * APART_S + rows.stamp for rows in parts]
    every = np.unique(np.concatenate(keys))
    total, many = np.zeros(len(every)), np.zeros(len(every))
    for rows, key in zip(parts, keys, strict=True):
        where = np.searchsorted(every, key)
        # Against its own middle, so that a channel that drops out doesn't move the mean.
        np.add.at(total, where, rows.value - np.median(rows.value))
        np.add.at(many, where, 1.0)
    run = np.rint(every / APART_S).astype(np.intp)
    return Rows(every - run * APART_S, total / many, run, min(rows.interval_s for rows in parts))


def _rows(channel: Channel, runs: int) -> Rows:
    clock = channel.clock
    apart = ClockMap(
        clock.zero_s, tuple(ClockPiece(offset_s=-run * APART_S, run=run) for run in range(runs)), clock.method
    )
    spread = channel.on_clock(apart)
    if channel.is_wave:
        key, value = _second_means(spread)
        interval = 1.0
    else:
        samples = spread.read(-np.inf, np.inf)
        key, value, interval = samples.t, plausible(samples.values, channel.kind), channel.interval_s
    there = np.isfinite(value)
    key, value = key[there], value[there]
    # Stamps may lie half a recording on either side of the reference's zero.
    run = np.rint(key / APART_S).astype(np.intp)
    return Rows(key - run * APART_S, value, run, interval)


def _second_means(channel: Channel) -> tuple[FloatArray, FloatArray]:
    """Means of whole seconds of a wave, each at its second's end."""
    keys, means = [np.empty(0)], [np.empty(0)]
    for t, rate_hz, values in channel.wave():
        good = plausible(values.astype(np.float64), channel.kind)
        there = np.isfinite(good)
        second = np.floor(t + (np.arange(len(values)) + 0.1) / rate_hz)
        first = second[0]
        where = (second - first).astype(np.intp)
        total, many = np.bincount(where, np.where(there, good, 0.0)), np.bincount(where, there)
        enough = many >= FILLED * rate_hz
        keys.append(first + np.flatnonzero(enough) + 1.0)
        means.append(total[enough] / many[enough])
    return np.concatenate(keys), np.concatenate(means)
