"""Why seconds of a channel are not to be believed, as a person is told: gaps by what they leave out beside them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from .artefact_numbers import UNUSABLE
from .masking import MaskedSpan
from .quality import rule_spans, seconds_state
from .runs import true_runs
from .series import MISSING

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

DEVICE = "nothing recorded on any line of {source}: its device"
ALONE = "nothing recorded on this line: unplugged or withdrawn"
ONLY = "nothing recorded: its device, unplugged or withdrawn"
NOT_CONNECTED = "at the end of its scale: nothing connected"


def told_spans(channel: Channel) -> list[MaskedSpan]:
    """What rules take away from a channel, each with its reason in words, in order of time.

    Parameters
    ----------
    channel : Channel
        Any channel.

    Returns
    -------
    list of MaskedSpan
        Those of `quality.rule_spans`, and what lies off scale before a line was connected and after it was
        taken off: values are there, and none of them is one.
    """
    found = [
        replace(one, words=_gap_words(channel, one)) if one.there == "nothing" else one
        for one in rule_spans(channel)
    ]
    return sorted([*found, *_not_connected(channel, found)], key=lambda one: (one.start, one.code))


def _gap_words(channel: Channel, gap: MaskedSpan) -> str:
    """Whether the device was silent or the line alone, as the other lines of its source tell."""
    others = [one for one in channel.beside if one.source == channel.source and one.id != channel.id]
    running = [one for one in others if one.span.start < gap.end and one.span.end > gap.start]
    if not running:
        return ONLY
    alone = any(not _is_silent(other, gap) for other in running)
    return ALONE if alone else DEVICE.format(source=channel.source)


def _is_silent(other: Channel, gap: MaskedSpan) -> bool:
    """Whether another line recorded next to nothing in a gap: it may end a few intervals earlier or later."""
    samples = other.read(gap.start, gap.end)
    there = samples.t[np.isfinite(samples.values)]
    slack = UNUSABLE["intervals"].value * (other.interval_s if np.isfinite(other.interval_s) else 1.0)
    inside = (there > gap.start + slack) & (there < gap.end - slack)
    return not bool(inside.any())


def _not_connected(channel: Channel, told: list[MaskedSpan]) -> list[MaskedSpan]:
    """Seconds that hold values of which none is one, and that no artefact tells of."""
    grid = channel.grid
    if not grid.size:
        return []
    lost = (seconds_state(channel, grid, ()) == MISSING) & np.isfinite(channel.seconds())
    for one in told:
        low, high = (int(edge - grid[0]) for edge in one.seconds)
        lost[max(low, 0) : max(high, 0)] = False
    start = float(grid[0])
    return [
        MaskedSpan(start + a, start + b, "A9", NOT_CONNECTED, "off scale", artefact_s=(start + a, start + b))
        for a, b in true_runs(lost)
    ]
