"""A line second by second, ready to be held against the others: level, swing, and what is too fast for a pulse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .artefact_numbers import FLUSH
from .own_shapes import pieces_of
from .runs import FloatArray
from .wave_artefacts import Artefact

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

BLOCK_S = 0.04
"""Samples are averaged over so long before level and swing are taken: noise is not a pulse."""
FINE_S = 0.01
"""Longest means that are looked at for what is too fast for a pulse; a wave sampled more slowly as it is."""
STEEP_S = 0.02
"""Time over which the steepest change is taken."""
SLOW_HZ = 80.0
"""Fewer values a second than this need a sharper cut between what is too fast for a pulse and what is not."""
CHUNK_S = 0.2
"""Roughness is taken of so much, and the middle of five is kept: an upstroke is over, noise goes on."""


IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class LineSeconds:
    """One channel on a grid of whole seconds.

    Attributes
    ----------
    channel : Channel
        Where it comes from, for whoever must look at the samples themselves.
    start : float
        Reference second of the first value.
    mean, low, high : ndarray
        Of each second, in the channel's unit: of means over `BLOCK_S`, or of its rows. NaN where nothing
        was recorded, and while an artefact of its own shape (A1, A2, A9) lasts.
    rough : ndarray
        What goes on faster than any pulse: root mean square of second differences of means over `FINE_S`,
        half of each, so that 15 Hz counts 0.4 times, 30 Hz 1.3 times and 6 Hz 0.07 times its size. The
        highest of each second, in the channel's unit; NaN for rows. At fewer than `SLOW_HZ` values a second it is
        taken of fourth differences, which do the same at 50 Hz.
    steep : ndarray
        The smaller of the steepest rise and the steepest fall within `STEEP_S`, in the channel's unit: a pulse
        rises steeply at most, and a ringing line with it. NaN for rows.
    own : tuple of Artefact
        A1, A2 and A9 of the channel, in order of time.
    """

    channel: Channel
    start: float
    mean: FloatArray
    low: FloatArray
    high: FloatArray
    rough: FloatArray
    steep: FloatArray
    own: tuple[Artefact, ...]

    @property
    def swing(self) -> FloatArray:
        """Highest less lowest of each second: most of a pulse, where there is one."""
        return self.high - self.low

    @property
    def count(self) -> int:
        """Seconds."""
        return self.mean.size

    def index(self, t: float) -> int:
        """The second of the grid that holds reference time `t`, within the grid."""
        return int(np.clip(np.floor(t - self.start), 0, max(self.count - 1, 0)))


def line_seconds(channel: Channel, grid: FloatArray, own: Sequence[Artefact]) -> LineSeconds:
    """A channel on the grid, its own shapes blanked.

    Parameters
    ----------
    channel : Channel
        A wave, or rows, which stand in for the first three and have no more.
    grid : ndarray
        Whole reference seconds, one apart.
    own : sequence of Artefact
        What it shows by itself, from `own_shapes.own_shapes`.
    """
    start = float(grid[0]) if grid.size else 0.0
    if channel.is_wave:
        mean, low, high, rough, steep = _of_wave(channel, start, grid.size)
    else:
        mean = np.array(channel.seconds(), dtype=np.float64)
        low, high = mean.copy(), mean.copy()
        rough, steep = np.full(grid.size, np.nan), np.full(grid.size, np.nan)
    for one in own:
        ring = FLUSH["ring"].value if one.code == "A2" else 0.0
        first = max(int(np.floor(one.start - start)), 0)
        last = max(int(np.ceil(one.end + ring - start)), 0)
        for course in (mean, low, high, rough, steep):
            course[first:last] = np.nan
    return LineSeconds(channel, start, mean, low, high, rough, steep, tuple(own))


def row_medians(rows: FloatArray, least: int = 1) -> FloatArray:
    """Median of the finite values of each row; NaN for a row with fewer than `least` of them."""
    ordered = np.sort(rows, axis=1)  # NaN last
    seen = np.count_nonzero(np.isfinite(rows), axis=1)
    at = np.arange(len(rows))
    low, high = (
        ordered[at, np.maximum(seen - 1, 0) // 2],
        ordered[at, np.minimum(seen // 2, rows.shape[1] - 1)],
    )
    return np.where(seen >= max(least, 1), 0.5 * (low + high), np.nan)


def binned(course: FloatArray, seconds: int) -> FloatArray:
    """Medians of each so many seconds of a course, the last one of what is left."""
    padded = np.full(-(-course.size // seconds) * seconds, np.nan)
    padded[: course.size] = course
    return row_medians(padded.reshape(-1, seconds))


def windows(course: FloatArray, before: int, after: int) -> FloatArray:
    """A row for each value: the `before` ones before it, itself, and the `after` ones after it; NaN beyond the ends."""
    padded = np.concatenate((np.full(before, np.nan), course, np.full(after, np.nan)))
    return np.lib.stride_tricks.sliding_window_view(padded, before + after + 1)


def _of_wave(channel: Channel, start: float, count: int) -> tuple[FloatArray, ...]:
    mean, low, high, rough, steep = (np.full(count, np.nan) for _ in range(5))
    for t0, sampled_hz, samples in pieces_of(channel):
        fine, rate = _in_means(samples, max(int(sampled_hz * FINE_S + 0.5), 1), sampled_hz)
        blocks, block_rate = _in_means(fine, max(round(BLOCK_S * rate), 1), rate)
        at, cuts, last = _seconds_of(t0, block_rate, blocks.size, start, count)
        if not cuts.size:
            continue
        upto = blocks[:last]
        seen = np.isfinite(upto)
        lengths = np.add.reduceat(seen.astype(np.float64), cuts)
        total = np.add.reduceat(np.where(seen, upto, 0.0), cuts)
        enough = lengths >= 0.5 * np.diff(np.r_[cuts, last])
        with np.errstate(divide="ignore", invalid="ignore"):
            mean[at] = np.where(enough, total / lengths, np.nan)
        low[at] = np.where(enough, np.minimum.reduceat(np.where(seen, upto, np.inf), cuts), np.nan)
        high[at] = np.where(enough, np.maximum.reduceat(np.where(seen, upto, -np.inf), cuts), np.nan)
        fast, fast_rate = _roughness(fine, rate)
        at, cuts, last = _seconds_of(t0, fast_rate, fast.size, start, count)
        if cuts.size:
            rough[at] = np.where(np.isfinite(mean[at]), np.fmax.reduceat(fast[:last], cuts), np.nan)
        lag = max(round(STEEP_S * rate), 1)
        changes = fine[lag:] - fine[:-lag]
        at, cuts, last = _seconds_of(t0, rate, changes.size, start, count)
        if cuts.size:
            up, down = np.fmax.reduceat(changes[:last], cuts), -np.fmin.reduceat(changes[:last], cuts)
            steep[at] = np.where(np.isfinite(mean[at]), np.minimum(up, down), np.nan)
    return mean, low, high, rough, steep


def _in_means(values: FloatArray, block: int, rate_hz: float) -> tuple[FloatArray, float]:
    """Means of each `block` of values, and how many of them there are a second."""
    if block == 1:
        return values, rate_hz
    return values[: values.size // block * block].reshape(-1, block).mean(axis=1), rate_hz / block


def _seconds_of(
    t0: float, rate_hz: float, size: int, start: float, count: int
) -> tuple[IntArray, IntArray, int]:
    """Whole seconds of the grid that values cover, the first value of each, and where the last one ends."""
    first = max(int(np.ceil(t0 - start - 1e-6)), 0)
    last = min(int(np.floor(t0 + size / rate_hz - start + 1e-6)), count)
    if last <= first:
        return np.zeros(0, np.intp), np.zeros(0, np.intp), 0
    edges = np.round((start + np.arange(first, last + 1) - t0) * rate_hz).astype(np.intp)
    edges = np.clip(edges, 0, size)
    keep = edges[1:] > edges[:-1]
    return np.arange(first, last)[keep], edges[:-1][keep], int(edges[-1])


def _bend(values: FloatArray) -> FloatArray:
    return values[1:-1] - 0.5 * (values[2:] + values[:-2])


def _roughness(fine: FloatArray, rate_hz: float) -> tuple[FloatArray, float]:
    """Roughness of each `CHUNK_S`: the middle one of five around it."""
    bend = _bend(fine)
    if rate_hz < SLOW_HZ:  # farther apart a ring of 6 Hz would count: once more makes it sharper
        bend = 0.5 * _bend(bend)
    chunk = max(round(CHUNK_S * rate_hz), 1)
    power, chunk_rate = _in_means(bend * bend, chunk, rate_hz)
    if power.size < 5:
        return np.sqrt(power), chunk_rate
    around = np.lib.stride_tricks.sliding_window_view(np.pad(power, 2, mode="edge"), 5)
    return np.sqrt(np.partition(around, 2, axis=1)[:, 2]), chunk_rate
