"""What the clocks allow to say of two moments: how surely they lie apart, and whether they can be ordered.

Two moments of one source share the error of its clock, as long as nobody set that clock in between; two
of different sources do not. A clock that nobody set may be off by any amount: its standard deviation is
infinite, and an order that rests on it cannot be given.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from afterclamp.io.case import Source
    from afterclamp.io.channel import Channel

Z95 = 1.96
"""Half of a 95 % interval of a normal distribution, in standard deviations."""


class Stretch(NamedTuple):
    """A stretch of reference time over which one piece of a source's clock holds.

    Attributes
    ----------
    from_s : float
        Reference seconds; minus infinity for the first.
    piece : tuple of int
        Run of stamps, and which piece of that run: what two moments must share to share its error.
    sd_s : float
        Standard deviation in seconds; infinite for a clock that nobody set.
    """

    from_s: float
    piece: tuple[int, int] = (0, 0)
    sd_s: float = 0.0


def stretches(source: Source, channels: Iterable[Channel]) -> tuple[Stretch, ...]:
    """The pieces of a source's clock in order of reference time.

    Parameters
    ----------
    source : Source
        Where a clock was set back each run is a stretch of its own, even where no piece was set for it:
        by how much it was set back is then part of what is not known.
    channels : iterable of Channel
        Those of the source: they say when a run of stamps begins.

    Returns
    -------
    tuple of Stretch
        Never empty.
    """
    own = [channel for channel in channels if channel.source == source.name]
    clock = source.clock
    found = []
    for run in range(source.runs):
        starts = [start for channel in own for start in [channel.run_start(run)] if start is not None]
        if run and not starts:
            continue
        begin = min(starts) if run else -math.inf
        for number, piece in enumerate(clock.pieces_of(run)):
            own_piece = number > 0 and piece.run == run
            at = (clock.zero_s + piece.from_s - piece.offset_s) / piece.rate if own_piece else begin
            found.append(Stretch(max(begin, at), (run, number), piece.sd_s))
    return tuple(sorted(found, key=lambda stretch: (stretch.from_s, stretch.piece)))


def stretch_at(found: tuple[Stretch, ...], time_s: float) -> Stretch:
    """The stretch that a reference time falls into."""
    return next((one for one in reversed(found) if one.from_s <= time_s), found[0])


def half_width(sd_s: float, grid_s: float = 0.0) -> float:
    """Half of the 95 % interval of a time, in seconds: the one number that every page and list gives.

    Parameters
    ----------
    sd_s : float
        Standard deviation that the clocks leave it; infinite for a clock that nobody set.
    grid_s : float
        Step that the time is known to: a time on a grid of whole seconds lies within half a second of what is
        written, 0 for one that is known to the sample of a wave.

    Returns
    -------
    float
        Infinite where a clock is not set.

    Examples
    --------
    >>> half_width(0.0, 1.0)
    0.5
    """
    return math.hypot(Z95 * sd_s, grid_s / 2)


def or_none(value: float) -> float | None:
    """A number for JSON, where what is not known is null."""
    return float(value) if math.isfinite(value) else None


def not_set(source: str) -> str:
    """That nobody set the clock of a source, for a person."""
    return f"the clock of {source} is not set: how far it stands from the reference clock is not known"
