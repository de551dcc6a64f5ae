"""A line second by second, ready to be held against the others: level, swing, and what is too fast for a pulse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .artefact_numbers import FLUSH
from .own_shapes import pieces_of
from .runs import FloatArray
from .wave_artefacts import Artefact

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

BLOCK_S = 0.04
"""Samples are averaged over so long before level and swing are taken: noise is not a pulse."""


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
        Root mean square of what `BLOCK_S` smooths away, in the channel's unit: noise, and little of any
        pulse. NaN for rows.
    own : tuple of Artefact
        A1, A2 and A9 of the channel, in order of time.
    """

    channel: Channel
    start: float
    mean: FloatArray
    low: FloatArray
    high: FloatArray
    rough: FloatArray
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
        A wave, or rows, which stand in for all three and have no roughness.
    grid : ndarray
        Whole reference seconds, one apart.
    own : sequence of Artefact
        What it shows by itself, from `own_shapes.own_shapes`.
    """
    start = float(grid[0]) if grid.size else 0.0
    if channel.is_wave:
        mean, low, high, rough = _of_wave(channel, start, grid.size)
    else:
        mean = np.array(channel.seconds(), dtype=np.float64)
        low, high, rough = mean.copy(), mean.copy(), np.full(grid.size, np.nan)
    for one in own:
        ring = FLUSH["ring"].value if one.code == "A2" else 0.0
        first = max(int(np.floor(one.start - start)), 0)
        last = max(int(np.ceil(one.end + ring - start)), 0)
        for course in (mean, low, high, rough):
            course[first:last] = np.nan
    return LineSeconds(channel, start, mean, low, high, rough, tuple(own))


def _of_wave(channel: Channel, start: float, count: int) -> tuple[FloatArray, ...]:
    mean, low, high, rough = (np.full(count, np.nan) for _ in range(4))
    for t0, rate, values in pieces_of(channel):
        first = max(int(np.ceil(t0 - start - 1e-6)), 0)
        last = min(int(np.floor(t0 + values.size / rate - start + 1e-6)), count)
        if last <= first:
            continue
        block = max(round(BLOCK_S * rate), 1)
        whole = values[: values.size // block * block].reshape(-1, block)
        blocks = whole.mean(axis=1)
        fast = np.sqrt(np.maximum(np.mean(whole * whole, axis=1) - blocks * blocks, 0.0))
        edges = np.round((start + np.arange(first, last + 1) - t0) * rate / block).astype(np.intp)
        edges = np.clip(edges, 0, blocks.size)
        keep = edges[1:] > edges[:-1]
        at = np.arange(first, last)[keep]
        cuts = edges[:-1][keep]
        if not cuts.size:
            continue
        upto = blocks[: edges[-1]]
        seen = np.isfinite(upto)
        lengths = np.add.reduceat(seen.astype(np.float64), cuts)
        total = np.add.reduceat(np.where(seen, upto, 0.0), cuts)
        enough = lengths >= 0.5 * np.diff(np.r_[cuts, edges[-1]])
        with np.errstate(divide="ignore", invalid="ignore"):
            mean[at] = np.where(enough, total / lengths, np.nan)
            squares = np.add.reduceat(np.where(seen, fast[: edges[-1]] ** 2, 0.0), cuts)
            rough[at] = np.where(enough, np.sqrt(squares / lengths), np.nan)
        low[at] = np.where(enough, np.minimum.reduceat(np.where(seen, upto, np.inf), cuts), np.nan)
        high[at] = np.where(enough, np.maximum.reduceat(np.where(seen, upto, -np.inf), cuts), np.nan)
    return mean, low, high, rough
