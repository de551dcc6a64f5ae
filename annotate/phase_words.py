"""Phases where no pump flow is recorded: bypass from what was written or said, arrests from words and pressures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from .order import not_set
from .phase_around import around, ends_of_record
from .phase_clamp import WORDS_SD_S, clock, spread_words, words_of
from .phase_model import WORDS_RULE, Boundary, Phase
from .phase_pressures import pressure_arrests
from .phase_rules import BEGUN_EARLIER, OnPeriod
from .phase_temperatures import temperature_phases
from .said import SAME_S, SaidEvent
from .view import View

NO_FLOW = "from what was written or said; no pump flow"
"""What every boundary says of itself that no flow dates."""
ON_BYPASS = ("full_flow", "circulation_off", "circulation_on", "head_on", "head_off", "warming", "weaning")
"""What is said of a time on bypass: with it bypass is known to last up to there, or to have begun before."""


def phases_from_words(
    view: View, events: Sequence[SaidEvent], *, open_until: float | None = None
) -> list[Phase]:
    """Everything that can be told of bypass without a pump flow.

    Parameters
    ----------
    view : View
    events : sequence of SaidEvent
        As `said.grouped` gives them.
    open_until : float, optional
        End of a view up to some time: bypass that nobody has ended yet lasts at least until then.

    Returns
    -------
    list of Phase
        Before bypass, bypass, after it; going on, weaning, arrests with their parts, and what temperatures date. Where
        only one end of bypass was said, it is known as far as something else was said of it, and no further.
    """
    arrests = pressure_arrests(view, events, said_at)
    bypasses, turns = _bypasses(view, events, arrests, open_until)
    found: list[Phase] = []
    for bypass in bypasses:
        inside = [
            one
            for one in arrests
            if one.start_s < bypass.end_s + SAME_S and one.end_s > bypass.start_s - SAME_S
        ]
        own = [bypass, *inside, *_going_on_and_weaning(view, events, bypass, inside)]
        period = OnPeriod(
            view.index(bypass.start_s),
            view.index(bypass.end_s),
            (),
            (),
            (),
            bypass.start.recorded,
            bypass.end.recorded,
        )
        found += [*own, *temperature_phases(view, period, own)]
    found += [one for one in arrests if one not in found]
    return [*found, *(around(view, bypasses) if bypasses else _beside(view, turns))]


def beyond_the_pump(view: View, events: Sequence[SaidEvent], own: Sequence[Phase]) -> list[Phase]:
    """Phases of one time on bypass with what was said of its ends where the pump's record begins or ends on it."""
    bypass = next(phase for phase in own if phase.name == "bypass")
    start, end = bypass.start, bypass.end
    if not start.recorded:
        said = [one for one in events if one.kind in ("bypass_on", "bypass_off") and one.t < start.time_s]
        if said and said[-1].kind == "bypass_on":
            start = said_at(view, said[-1], f"the pump's record begins on bypass at {clock(start.time_s)}")
    if not end.recorded:
        said = [one for one in events if one.kind in ("bypass_on", "bypass_off") and one.t > end.time_s]
        if said and said[0].kind == "bypass_off":
            end = said_at(view, said[0], f"the pump's record ends on bypass at {clock(end.time_s)}")
    if start is bypass.start and end is bypass.end:
        return list(own)
    whole = replace(bypass, start=start, end=end)
    out = [whole if phase is bypass else phase for phase in own]
    taken = [phase for phase in out if phase.name == "lower_body_arrest"]
    for one in pressure_arrests(view, events, said_at):
        outside = one.end_s <= bypass.start_s or one.start_s >= bypass.end_s
        if outside and whole.start_s <= one.start_s and one.end_s <= whole.end_s and not any(
            one.start_s < other.end_s and other.start_s < one.end_s for other in taken
        ):  # fmt: skip
            out.append(one)
    return out


def said_at(view: View, event: SaidEvent, *more: str) -> Boundary:
    """A boundary at the time that was said with the smallest ±, the other sources' times beside it."""
    chosen, *others = event.times
    clock_sd = float(np.sqrt(max(chosen.sd_s**2 - chosen.written_sd_s**2, 0.0)))
    alternatives = [f"{words_of(other)}: {clock(other.t)} {spread_words(other)}" for other in others]
    if not np.isfinite(clock_sd):
        alternatives.append(not_set(chosen.source))
    return Boundary(
        chosen.t,
        f"{WORDS_RULE}: {words_of(chosen)}; {NO_FLOW}",
        source=chosen.source,
        sampling_sd_s=float(np.hypot(chosen.written_sd_s, WORDS_SD_S)),
        clock_sd_s=clock_sd,
        clock_piece=view.clock_at(chosen.source, chosen.t).piece,
        alternatives=(*more, *alternatives),
    )


def _bypasses(
    view: View, events: Sequence[SaidEvent], arrests: Sequence[Phase], open_until: float | None
) -> tuple[list[Phase], list[SaidEvent]]:
    """Times on bypass in order, and the events that turned it on and off."""
    turns: list[SaidEvent] = []
    for event in events:
        if event.kind in ("bypass_on", "bypass_off") and not (turns and turns[-1].kind == event.kind):
            turns.append(event)
    found: list[Phase] = []
    for number, turn in enumerate(turns):
        if turn.kind == "bypass_on":
            behind = turns[number + 1] if number + 1 < len(turns) else None
            start = said_at(view, turn)
            if behind is not None:
                found.append(Phase("bypass", start, said_at(view, behind)))
            elif open_until is not None and open_until > turn.t:
                end = Boundary(open_until, f"nobody had ended it yet; {NO_FLOW}", recorded=False)
                found.append(Phase("bypass", start, end))
            else:
                last = _last_on(view, events, arrests, turn.t)
                found += [Phase("bypass", start, last)] if last is not None else []
        elif number == 0:
            first = _first_on(view, events, arrests, turn.t)
            found += [Phase("bypass", first, said_at(view, turn))] if first is not None else []
    return found, turns


def _last_on(
    view: View, events: Iterable[SaidEvent], arrests: Iterable[Phase], after_s: float
) -> Boundary | None:
    """The last moment that is known to be on bypass, as one beyond which nothing is known."""
    known = [said_at(view, one) for one in events if one.kind in ON_BYPASS and one.t > after_s]
    known += [one.end for one in arrests if one.end_s > after_s]
    if not known:
        return None
    last = max(known, key=lambda one: one.time_s)
    note = "later: nobody wrote or said when bypass ended"
    return replace(last, recorded=False, alternatives=(*last.alternatives, note))


def _first_on(
    view: View, events: Iterable[SaidEvent], arrests: Iterable[Phase], before_s: float
) -> Boundary | None:
    """The first moment that is known to be on bypass, as one before which nothing is known."""
    known = [said_at(view, one) for one in events if one.kind in ON_BYPASS and one.t < before_s]
    known += [one.start for one in arrests if one.start_s < before_s]
    if not known:
        return None
    first = min(known, key=lambda one: one.time_s)
    return replace(first, recorded=False, alternatives=(*first.alternatives, *BEGUN_EARLIER))


def _beside(view: View, turns: Sequence[SaidEvent]) -> list[Phase]:
    """Before a going on, and after a coming off, of which nothing else is known."""
    ends = ends_of_record(view)
    if ends is None or not turns:
        return []
    first, last = ends
    out = []
    if turns[0].kind == "bypass_on" and turns[0].t > first.time_s:
        out.append(Phase("pre", first, said_at(view, turns[0])))
    if turns[-1].kind == "bypass_off" and turns[-1].t < last.time_s:
        start = said_at(view, turns[-1])
        out.append(Phase("post", start if start.time_s > first.time_s else first, last))
    return out


def _going_on_and_weaning(
    view: View, events: Sequence[SaidEvent], bypass: Phase, arrests: Sequence[Phase]
) -> list[Phase]:
    """The two that only words date without a flow: up to the full flow that was said, and from weaning on."""
    out = []
    until = min((one.start_s for one in arrests), default=bypass.end_s)
    full = [
        one
        for one in events
        if one.kind == "full_flow" and bypass.start_s < one.t < min(until, bypass.start_s + SAME_S)
    ]
    if full and bypass.start.recorded:
        out.append(Phase("going_on", bypass.start, said_at(view, full[0]), "bypass"))
    weaning = [
        one for one in events if one.kind == "weaning" and bypass.end_s - 2 * SAME_S < one.t < bypass.end_s
    ]
    if weaning and bypass.end.recorded and weaning[0].t > bypass.start_s:
        out.append(Phase("weaning", said_at(view, weaning[0]), bypass.end, "bypass"))
    return out
