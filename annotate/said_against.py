"""What was said of a moment held against the boundary that the traces give it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from .order import Z95
from .phase_model import WORDS_RULE, Boundary, Phase
from .said import SAME_S, Said, SaidEvent

EDGES: dict[str, tuple[tuple[str, str], ...]] = {
    "bypass_on": (("bypass", "start"),),
    "full_flow": (("going_on", "end"), ("lower_body_arrest", "end"), ("no_flow_arrest", "end")),
    "bypass_off": (("bypass", "end"),),
    "circulation_off": (("lower_body_arrest", "start"), ("no_flow_arrest", "start")),
    "circulation_on": (("lower_body_arrest", "end"), ("no_flow_arrest", "end")),
    "head_on": (("selective_cerebral", "start"),),
    "head_off": (("selective_cerebral", "end"),),
    "warming": (("warming", "start"),),
    "weaning": (("weaning", "start"),),
}
"""Boundaries that each kind can mean. Cooling is left out: it is spoken of when it is turned on, and the outlet
follows minutes later."""


def against_traces(
    found: Sequence[Phase], events: Sequence[SaidEvent], slack_s: float
) -> Iterator[tuple[Said, Boundary, str, str]]:
    """Lines that differ from the nearest boundary they can mean by more than both ± together and `slack_s`.

    Parameters
    ----------
    found : sequence of Phase
        Boundaries without a channel (set by a person, or by words) are not asked.
    events : sequence of SaidEvent
        Every source is held against the traces, not only the one with the smallest ±.
    slack_s : float
        Seconds.

    Yields
    ------
    (Said, Boundary, str, str)
        The line, the boundary, its phase and which end. A line further than a quarter of an hour from every
        boundary of its kind speaks of something else.
    """
    for event in events:
        edges = [
            (phase.start if end == "start" else phase.end, phase.name, end)
            for name, end in EDGES.get(event.kind, ())
            for phase in found
            if phase.name == name
        ]
        taken = [edge.time_s for edge, *_ in edges if edge.rule.startswith(WORDS_RULE)]
        edges = [one for one in edges if one[0].channel and one[0].recorded]
        if not edges:
            continue
        for one in event.times:
            if one.t in taken:
                continue  # it gives a boundary itself
            edge, name, end = min(edges, key=lambda known: abs(known[0].time_s - one.t))
            away = abs(edge.time_s - one.t)
            allowed = Z95 * float(np.hypot(one.sd_s, np.hypot(edge.sampling_sd_s, edge.clock_sd_s)))
            if np.isfinite(allowed) and allowed + slack_s < away <= SAME_S:
                yield one, edge, name, end
