"""Which two traces show best how a source's clock stands, and where. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.annotate.align.estimate import ClockEstimate, Points
from afterclamp.annotate.align.hand import largest_change
from afterclamp.io.case import Span

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel, Source

WINDOW_S = 1800.0
"""Half an hour: a stop of the flow and what came before and after it (this project's choice)."""

ALIKE = {
    "pump_flow": ("pump_flow", "arterial_pressure", "line_pressure"),
    "cerebral_saturation": ("cerebral_saturation", "pump_flow", "arterial_pressure"),
    "arterial_pressure": ("arterial_pressure", "pump_flow"),
}
"""What is laid under a source's trace, the most alike first; else the same kind, else anything."""

TEXT_ON = ("pump_flow", "arterial_pressure")
"""What lines of text are laid on."""


def pair_of(case: Case, source: Source) -> tuple[Channel | None, Channel | None]:
    """A trace of the source and a known one that can be laid on each other; None where nothing answers it.

    A source without traces has lines of text: then only the known one is given.
    """
    own = [one for one in case.channels if one.source == source.name and one.count]
    set_ = {one.name for one in case.sources if one.clock.method != "unset" and one.name != source.name}
    known = [one for one in case.channels if one.source in set_ and one.count]
    if not own:
        found = known_for(None, known)
        return None, found if found is not None and found.kind in TEXT_ON else None
    for one in own:
        for other in known:
            if (one.kind, one.site, one.side, one.unit) == (other.kind, other.site, other.side, other.unit):
                return one, other
    for one in own:
        found = known_for(one, known)
        if found is not None and found.kind in ALIKE.get(one.kind, (one.kind,)):
            return one, found
    return own[0], None


def points_of(found: ClockEstimate) -> Points | None:
    """Single pieces of evidence off the clock that was found; for a source of text its lines."""
    if found.points is not None or not found.lines or not found.told:
        return found.points
    lines = [line for line in found.lines if line.moment is not None]
    return Points(
        np.array([line.stamp for line in lines]) - found.offset_s,
        np.array([line.residual_s for line in lines]),
        np.full(len(lines), np.nan),
        np.array([line.used for line in lines], dtype=bool),
    )


def known_for(own: Channel | None, others: Sequence[Channel]) -> Channel | None:
    """The known trace that answers a source's trace best; for lines of text (None) the one they speak of.

    Parameters
    ----------
    own : Channel or None
        A trace of the source.
    others : sequence of Channel
        Those of other sources; the first of a kind is taken.
    """
    for kind in TEXT_ON if own is None else ALIKE.get(own.kind, (own.kind,)):
        for channel in others:
            if channel.kind == kind:
                return channel
    return others[0] if others else None


def busiest(case: Case, own: Channel | None, known: Channel | None) -> Span:
    """Half an hour around the largest change: flat stretches fit everywhere."""
    # Where two unlike traces answer each other, the known one says when.
    alike = own is not None and (known is None or own.kind == known.kind)
    channel = own if alike else known
    span = channel.span if channel is not None else case.span
    middle = span.start + WINDOW_S / 2
    if channel is not None:
        changed = largest_change(channel.seconds("mean"), case.grid)
        middle = middle if changed is None else changed
    start = max(min(middle - WINDOW_S / 2, span.end - WINDOW_S), span.start)
    return Span(start, min(start + WINDOW_S, span.end))
