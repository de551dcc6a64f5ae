"""Times of the clamp that make no phase: one that nobody took off, and what the trace offers where nobody spoke."""

from __future__ import annotations

from .phase_clamp import clamp_events, clock, flow_dips, one_ended, support
from .phase_doses import cardioplegia_doses
from .said import SAME_S, Said, SaidEvent, grouped
from .view import View


def lone_clamp_ons(view: View) -> list[SaidEvent]:
    """Times at which the clamp is known to have gone on that no clamp in force has for its own: nobody took it off.

    From what was written or said, and from the first dose of cardioplegia.
    """
    events = clamp_events(view, grouped(view.facts.clamp_said), cardioplegia_doses(view))
    clamps = [phase for phase in view.phases if phase.name == "clamp"]
    return [
        event
        for event in one_ended(events)
        if event.kind == "clamp_on"
        and not any(clamp.start_s - SAME_S <= event.t <= clamp.end_s + SAME_S for clamp in clamps)
    ]


def candidates(view: View) -> list[str]:
    """Where the trace looks as if the clamp went on or came off, in words: to be looked at, never taken.

    A dip of the flow, and ejection lost (on) or back (off) within 10 min of it.
    """
    dips = flow_dips(view)
    found = []
    for dip in dips:
        for kind, words in (("clamp_on", "on"), ("clamp_off", "off")):
            seen = support(view, Said(kind, view.time(dip.start)), [dip])
            if seen.ejection:
                found.append(f"{words} at {clock(view.time(dip.start))} ({seen.words})")
    return found
