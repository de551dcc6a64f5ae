"""The recorded mean of a line that is there as a wave too: what takes away the wave's level takes away that mean.

A second device often records only the mean of a line, of the same transducer, as one row a second: no pulse is in
it, so that a kink or a sample cannot be told from it alone.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from .masking import MaskedSpan
from .order import Z95
from .runs import FloatArray, median

if TYPE_CHECKING:
    from collections.abc import Iterable

    from afterclamp.io.case import Channel

AGREE_MMHG = 5.0
"""Median distance up to which a recorded mean is that of the wave (this project's choice)."""
COMMON_S = 60
"""Seconds, at least, over which that must be seen (this project's choice)."""
CONTRADICTED_S = 10
"""Seconds of an artefact from which a mean that keeps away from the wave shows that it is another transducer's."""


def waves_of(channel: Channel, candidates: Iterable[Channel]) -> list[Channel]:
    """The waves of the line that a recorded mean is called after.

    Parameters
    ----------
    channel : Channel
        Nothing but a mean of a pressure whose site is known, or which has none but one (a central venous
        pressure), gives any.
    candidates : iterable of Channel
        Channels whose clocks can be trusted beside it.

    Returns
    -------
    list of Channel
        Waves of the same kind, site, side and unit: several where the recording went on in another file.
    """
    if channel.is_wave or channel.statistic != "mean" or not channel.kind.endswith("_pressure"):
        return []
    if channel.kind == "arterial_pressure" and not channel.site:
        return []  # any of the lines
    line = (channel.kind, channel.site, channel.side, channel.unit)
    return [
        other
        for other in candidates
        if other.is_wave and (other.kind, other.site, other.side, other.unit) == line
    ]


def carried_over(
    channel: Channel, wave: Channel, spans: Iterable[MaskedSpan], grid: FloatArray
) -> list[MaskedSpan]:
    """Stretches of a wave that are not to be believed, as those of its recorded mean.

    Parameters
    ----------
    channel, wave : Channel
        A mean and its wave, by `waves_of`, in one unit.
    spans : iterable of MaskedSpan
        What is masked on the wave; what takes away its pulse alone is no matter of a mean.
    grid : ndarray
        Whole reference seconds of both.

    Returns
    -------
    list of MaskedSpan
        Wider by what the two clocks leave in doubt, each with the source whose wave shows it. Nothing where the two
        do not go together: median distance above `AGREE_MMHG` outside these stretches, or fewer than `COMMON_S`
        seconds to tell it from. A stretch in which the mean stays away from the wave is left out. A mean that was
        averaged over many seconds lags behind its wave: what is left of an artefact in it after that is not seen.
    """
    taken = [one for one in spans if one.takes_level and one.code != "A9"]
    if not taken or not grid.size:
        return []
    apart = np.abs(np.asarray(channel.seconds(), np.float64) - np.asarray(wave.seconds(), np.float64))
    outside = apart.copy()
    for one in taken:
        outside[_seconds(one, grid)] = np.nan
    if np.isfinite(outside).sum() < COMMON_S or not median(outside) <= AGREE_MMHG:
        return []
    doubt = _doubt_s(channel, wave)
    found = []
    for one in taken:
        inside = apart[_seconds(one, grid)]
        if np.isfinite(inside).sum() >= CONTRADICTED_S and median(inside) > AGREE_MMHG:
            continue
        start, end = max(one.start - doubt, channel.span.start), min(one.end + doubt, channel.span.end)
        if start < end:
            found.append(
                replace(one, start=start, end=end, words=f"{one.words}, as the wave of {wave.source} shows")
            )
    return found


def _seconds(one: MaskedSpan, grid: FloatArray) -> slice:
    low, high = (int(edge - grid[0]) for edge in one.seconds)
    return slice(max(low, 0), max(high, 0))


def _doubt_s(one: Channel, other: Channel) -> float:
    if one.source == other.source:
        return 0.0
    first, second = (max(piece.sd_s for piece in each.clock.pieces) for each in (one, other))
    return float(Z95 * np.hypot(first, second))
