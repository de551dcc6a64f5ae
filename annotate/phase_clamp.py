"""The cross-clamp: its times come from what people wrote or said, or from cardioplegia; a trace only ranks them.

Nothing here takes a time from a pressure or a flow. Where several sources give one, the trace says which of them
it fits better, the others stay beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from .order import Z95, not_set
from .phase_model import WORDS_RULE, Boundary, Phase
from .runs import median, smooth, spans
from .said import SAME_S, Said, SaidEvent, grouped
from .view import View

DIP_SHARE = 0.3  # of the flow before, by which a dip falls at least (this project's choice)
DIP_BACK = 0.15  # of the flow before: back again within this
DIP_SHORTEST_S, DIP_LONGEST_S = 5, 60
DIP_FROM = 1.0  # L/min; less is no flow that anybody would lower for a clamp
BASE_S = 60
NEAR_S = 60.0  # a dip this close to a time speaks for it, besides that time's ±
EJECTION_WITHIN_S = 600
EJECTS_MMHG, NONE_MMHG = 3.0, 2.0  # pulse from which the heart is seen to eject, and under which it is not
EJECTION_HELD_S = 30
EJECTION_BEFORE_S = 120
DOSE_AFTER_S = (
    120.0  # within which after the clamp a first dose of cardioplegia is begun (this project's choice)
)
WORDS_SD_S = 3.0  # s by which a word may miss what it speaks of (this project's choice)
CARDIOPLEGIA = "cardioplegia_flow"


class Dip(NamedTuple):
    """A short fall of the flow that came back, half-open in seconds of the view; `share` of the flow before."""

    start: int
    stop: int
    share: float


@dataclass(frozen=True, slots=True)
class Support:
    """What the trace says for a time of the clamp.

    Attributes
    ----------
    dip, ejection : bool
        Whether the flow dipped there, and whether ejection was lost (on) or came back (off) within 10 min.
    words : str
        The same as a sentence, with what could not be told.
    """

    dip: bool
    ejection: bool
    words: str

    @property
    def rank(self) -> int:
        """0 for nothing, 1 for ejection alone, 2 for a dip, 3 for both."""
        return 2 * self.dip + self.ejection


def flow_dips(view: View) -> list[Dip]:
    """Falls of the pump's flow by 30 % or more of the median of the minute before, for 5 to 60 s, with return."""
    flow = view.flow
    if flow is None:
        return []
    level = smooth(flow, 3)
    base = np.full(len(level), np.nan)
    shift = BASE_S // 2 + 1
    base[shift:] = smooth(flow, BASE_S + 1)[:-shift]
    fallen = (level <= (1 - DIP_SHARE) * base) & (base >= DIP_FROM)
    found: list[Dip] = []
    for start, _ in spans(fallen):
        if found and start < found[-1].stop:
            continue
        back = np.flatnonzero(level[start : start + DIP_LONGEST_S + 1] >= (1 - DIP_BACK) * base[start])
        if back.size and DIP_SHORTEST_S <= back[0] <= DIP_LONGEST_S:
            lowest = float(np.nanmin(level[start : start + int(back[0])]))
            found.append(Dip(start, start + int(back[0]), 1 - lowest / float(base[start])))
    return found


def support(view: View, one: Said, dips: Sequence[Dip]) -> Support:
    """What the trace says for a time that somebody gave for the clamp.

    Parameters
    ----------
    one : Said
        Of kind ``"clamp_on"`` or ``"clamp_off"``.
    dips : sequence of Dip
        Of `flow_dips`.
    """
    reach = NEAR_S + (one.unc_s if np.isfinite(one.unc_s) else NEAR_S)
    near = [dip for dip in dips if view.time(dip.start) - reach <= one.t <= view.time(dip.stop) + reach]
    said = []
    if near:
        dip = min(near, key=lambda dip: abs(view.time(dip.start) - one.t))
        said.append(
            f"the flow dipped by {100 * dip.share:.0f} % for {dip.stop - dip.start} s at {clock(view.time(dip.start))}"
        )
    else:
        said.append(
            "no dip of the flow there" if view.flow is not None else "cannot tell a dip: no pump flow"
        )
    ejection, words = _ejection(view, one)
    return Support(bool(near), ejection, "; ".join([*said, words]))


def _ejection(view: View, one: Said) -> tuple[bool, str]:
    """Whether ejection was lost (on) or came back (off) within 10 min, and the same in words."""
    pulse = view.pulse.get(view.believed)
    if pulse is None:
        return False, "cannot tell ejection: no arterial wave"
    at = view.index(one.t)
    level = smooth(pulse[max(0, at - EJECTION_BEFORE_S) : at + EJECTION_WITHIN_S + EJECTION_HELD_S], 5)
    before, after = np.split(level, [min(at, EJECTION_BEFORE_S)])
    was = median(before)
    if not np.isfinite(was):
        return False, "cannot tell ejection: no pulse seen before"
    on = one.kind == "clamp_on"
    holds = after < NONE_MMHG if on else after >= EJECTS_MMHG
    runs = [start for start, stop in spans(holds) if stop - start >= EJECTION_HELD_S]
    if on and was < EJECTS_MMHG:
        return False, "the heart did not eject before either"
    if not on and was >= EJECTS_MMHG:
        return False, "the heart ejected before already"
    if not runs:
        return False, f"ejection {'went on' if on else 'did not come back'} for 10 min"
    return True, f"ejection {'was lost' if on else 'came back'} {clock(runs[0])} later"


def clamp_events(view: View, events: Iterable[SaidEvent], doses: Sequence[Phase] = ()) -> list[SaidEvent]:
    """Clamp on and off in order, each event's best supported time first.

    A first dose of cardioplegia stands for a clamp that nobody spoke of, and beside one that somebody did.
    """
    own = [event for event in events if event.kind in ("clamp_on", "clamp_off")]
    own = _with_doses(own, doses)
    dips = flow_dips(view)
    ranked = []
    for event in own:
        if len(event.times) > 1:
            agree = {
                one: sum(abs(one.t - other.t) <= one.apart_s(other) + NEAR_S for other in event.times)
                for one in event.times
            }
            order = sorted(
                event.times,
                key=lambda one: (
                    not np.isfinite(one.sd_s),
                    -support(view, one, dips).rank,
                    -agree[one],
                    one.sd_s,
                ),
            )
            event = replace(event, times=tuple(order))
        ranked.append(event)
    return sorted(ranked, key=lambda event: (event.t, event.kind))


def _with_doses(own: Sequence[SaidEvent], doses: Sequence[Phase]) -> list[SaidEvent]:
    """The events with the first dose of each clamp among the times of its start."""
    found = list(own)
    for dose in doses:
        spoken = sorted(
            (event for event in found if event.t <= dose.start_s + DOSE_AFTER_S), key=lambda event: event.t
        )
        ons = [event for event in spoken if event.kind == "clamp_on"]
        is_open = bool(spoken) and spoken[-1].kind == "clamp_on"
        first = is_open and not any(
            other.start_s < dose.start_s and other.start_s >= ons[-1].t - DOSE_AFTER_S for other in doses
        )
        if is_open and not first:
            continue
        sd = float(np.hypot(dose.start.clock_sd_s, DOSE_AFTER_S / np.sqrt(12)))
        given = Said("clamp_on", dose.start_s - DOSE_AFTER_S / 2, sd, "first dose of cardioplegia",
                     dose.start.channel, written_sd_s=DOSE_AFTER_S / np.sqrt(12))  # fmt: skip
        if not is_open:
            found.append(SaidEvent("clamp_on", (given,)))
        elif abs(given.t - ons[-1].t) <= SAME_S:
            at = found.index(ons[-1])
            found[at] = replace(
                ons[-1], times=tuple(sorted((*ons[-1].times, given), key=lambda one: one.sd_s))
            )
    return found


def clamp_phases(
    view: View, said: Iterable[Said], doses: Sequence[Phase] = (), *, open_until: float | None = None
) -> list[Phase]:
    """Cross-clamps that people wrote or said, each with both ends; a time of the trace alone makes none.

    Parameters
    ----------
    view : View
    said : iterable of Said
        As `said.said_times` gives them.
    doses : sequence of Phase
        Doses of cardioplegia that a channel recorded.
    open_until : float, optional
        End of a view up to some time: a clamp that nobody has taken off yet lasts at least until then.

    Returns
    -------
    list of Phase
        In order. A clamp that only one end is known of is none: it is asked about.
    """
    events = clamp_events(view, grouped(said), doses)
    dips = flow_dips(view) if events else []
    found: list[Phase] = []
    pending: SaidEvent | None = None
    for event in events:
        if event.kind == "clamp_on":
            pending = event
        elif pending is not None:
            found.append(
                Phase(
                    "clamp", clamp_boundary(view, pending, dips), clamp_boundary(view, event, dips), "bypass"
                )
            )
            pending = None
    if pending is not None and open_until is not None and pending.t < open_until:
        end = Boundary(open_until, "nobody had taken it off yet", recorded=False)
        found.append(Phase("clamp", clamp_boundary(view, pending, dips), end, "bypass"))
    return found


def one_ended(events: Iterable[SaidEvent]) -> list[SaidEvent]:
    """Events of the clamp that no other end belongs to: on without off behind it, or off without on before it."""
    alone: list[SaidEvent] = []
    pending: SaidEvent | None = None
    for event in events:
        if event.kind == "clamp_on":
            if pending is not None:
                alone.append(pending)
            pending = event
        elif pending is None:
            alone.append(event)
        else:
            pending = None
    return [*alone, pending] if pending is not None else alone


def clamp_boundary(view: View, event: SaidEvent, dips: Sequence[Dip]) -> Boundary:
    """The best supported time of an event, the other sources' times beside it."""
    chosen, *others = event.times
    seen = support(view, chosen, dips)
    by_channel = chosen.source in view.values
    source = view.source.get(chosen.source, chosen.source)
    clock_sd = float(np.sqrt(max(chosen.sd_s**2 - chosen.written_sd_s**2, 0.0)))
    stretch = view.clock_at(source, chosen.t)
    alternatives = [
        f"{words_of(other)}: {clock(other.t)} {spread_words(other)}, {clock(abs(other.t - chosen.t))} "
        f"{'earlier' if other.t < chosen.t else 'later'}; {support(view, other, dips).words}"
        for other in others
    ]
    if not np.isfinite(clock_sd):
        alternatives.append(not_set(source))
    said = "the clamp is on up to 2 min before the first dose of cardioplegia" if by_channel else ""
    return Boundary(
        time_s=chosen.t,
        rule=f"{said or f'{WORDS_RULE}: {words_of(chosen)}'}; the trace: {seen.words}",
        channel=chosen.source if by_channel else "",
        source=source,
        sampling_sd_s=float(np.hypot(chosen.written_sd_s, 0.0 if by_channel else WORDS_SD_S)),
        clock_sd_s=clock_sd,
        clock_piece=stretch.piece,
        alternatives=tuple(alternatives),
    )


def words_of(one: Said) -> str:
    """What was said, and where it stands."""
    return f"“{one.text}” ({one.source.replace('_', ' ')})"


def spread_words(one: Said) -> str:
    """The ± of a time that was said."""
    return f"± {Z95 * one.sd_s:.0f} s" if np.isfinite(one.sd_s) else "± unknown"


def clock(time_s: float) -> str:
    """Minutes and seconds since the record's beginning."""
    minutes, seconds = divmod(round(abs(time_s)), 60)
    return f"{'−' if time_s < 0 and round(abs(time_s)) else ''}{minutes}:{seconds:02d}"
