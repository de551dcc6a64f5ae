"""The stored samples of a channel, as recorded, with where they stand on the reference clock.

Writers go by the source's own codes and not by the values of `Channel.read`, so that a code comes back as
the same code. This is the one module of the writers that knows how a channel keeps its samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..channel import Channel
from ..window import Span

BLOCK = 1 << 20
"""Samples read at a time."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Evenly spaced samples of a channel in reference time.

    Attributes
    ----------
    first, count : int
        Which samples of the channel.
    t, dt : float
        Reference seconds of the first, and between two.
    rate_hz : float
        Samples per second on the source's own clock.
    scale, offset : float
        ``value = code * scale + offset`` in the channel's unit.
    """

    first: int
    count: int
    t: float
    dt: float
    rate_hz: float
    scale: float
    offset: float

    @property
    def end(self) -> float:
        """Reference time at which the sample after the last would stand."""
        return self.t + self.count * self.dt


def pieces_of(channel: Channel, window: Span) -> list[Piece]:
    """Pieces of a window, in order of time; none for uneven rows."""
    s = channel.placed.stretches
    if s is None:
        return []
    rates = {segment.first: segment.rate_hz for segment in channel.recorded_as.segments if segment.count}
    end = window.end if channel.horizon is None else min(window.end, channel.horizon)
    found = []
    for k in channel.placed.overlapping(window.start, end).tolist():
        a, b = channel.placed.indices(k, window.start, end)
        if b > a:
            found.append(
                Piece(
                    first=int(s.first[k]) + a,
                    count=b - a,
                    t=float(s.t[k] + a * s.dt[k]),
                    dt=float(s.dt[k]),
                    rate_hz=rates[int(s.segment_first[k])],
                    scale=float(s.scale[k]) * channel.placed.slope,
                    offset=float(s.offset[k]) * channel.placed.slope + channel.placed.intercept,
                )
            )
    return found


def code_dtype(channel: Channel) -> np.dtype[Any]:
    """What the codes are stored as."""
    return channel.placed.codes.dtype


def row_scale(channel: Channel) -> tuple[float, float]:
    """Scale and offset of the stored values of uneven rows."""
    return channel.placed.slope, channel.placed.intercept


def read_codes(channel: Channel, first: int, count: int) -> tuple[NDArray[Any], NDArray[np.bool_] | None]:
    """Codes, and which of them were not recorded; None when all were."""
    return channel.placed.codes.read(first, first + count), channel.placed.invalid(first, first + count)


def recorded_runs(channel: Channel, first: int, count: int) -> NDArray[np.int64]:
    """Half-open runs of samples that are really there, within ``first:first + count``."""
    runs = channel.recorded_as.valid
    a = int(np.searchsorted(runs[:, 1], first, side="right"))
    b = int(np.searchsorted(runs[:, 0], first + count, side="left"))
    return np.clip(runs[a:b], first, first + count)
