"""Phases that the pump's flow dates: bypass, going on, weaning, arrests of the lower body and their parts."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from .order import not_set
from .phase_clamp import clock
from .phase_model import Boundary, Phase
from .phase_rules import (
    ARREST_PRESSURE,
    BEGUN_EARLIER,
    BURST_S,
    FLOW_ON,
    OnPeriod,
    Pump,
    full_flow,
    left_rest,
    planned_flow,
    weaning_start,
)
from .runs import BoolArray, FloatArray, close_gaps, drop_short, median, noise_sd, smooth, spans
from .view import View

SELECTIVE_ML_KG = 20.0  # mL/kg/min, top of the band of a flow for the head alone
SELECTIVE_TOP = 1.0  # L/min, top of the band where the weight is not known
SELECTIVE_PRESSURE = 25.0  # mm[Hg] at the head's side
SELECTIVE_MINIMUM_S = 60
OFF_SPREAD_S = 16.0  # s over which a flow that is turned down by hand reaches nothing (this project's choice)
RISE_SPREAD_S = 5.0  # s over which a flow is seen to leave its level (this project's choice)
ABOVE_HELD_S = 20  # s of flow above the band that end an arrest
SOON_S = 60  # s after the record's begin in which something may have been under way before


class Arrest(NamedTuple):
    """No flow to the lower body: without any flow, or with the head perfused alone."""

    start: int
    stop: int
    no_flow: tuple[tuple[int, int], ...]
    selective: tuple[tuple[int, int], ...]
    notes: tuple[str, ...]


class Seen(NamedTuple):
    """How far the pressures can say that a flow was for the head alone, and that the rest was without."""

    head: str
    femoral: str

    @property
    def selective(self) -> str:
        """What the head's perfusion is told by."""
        by = ["flow in the selective band"]
        if self.head:
            by.append("head's pressure at least 25")
        if self.femoral:
            by.append("femoral under 20 mmHg")
        if len(by) > 1 and not self.femoral:
            by[-1] += " mmHg"
        return f"{', '.join(by)}{self.lacking}"

    @property
    def mark(self) -> str:
        """What had to be assumed; empty with a line at both."""
        if not self.femoral:
            return ASSUMED_WHOLE_BODY
        return "" if self.head else "no head line: selective perfusion not seen, assumed"

    @property
    def lacking(self) -> str:
        """The same behind a rule."""
        return f"; {self.mark}" if self.mark else ""


ASSUMED_WHOLE_BODY = "no femoral line: by flow alone, assumed whole body"
"""Mark of an arrest of which no pressure of the lower body was recorded (J5.1)."""


def seen_by(view: View) -> Seen:
    """The lines of head and lower body that were recorded."""
    return Seen(head_site(view), lower_body_site(view))


def selective_top(view: View) -> float:
    """Highest flow, L/min, that may still be for the head alone."""
    weight = view.facts.weight_kg
    return SELECTIVE_TOP if not weight else max(SELECTIVE_TOP, SELECTIVE_ML_KG * weight / 1000)


def head_site(view: View) -> str:
    """Arterial site that feels the head's flow: carotid, the inflow's own arm, else the right arm."""
    side = view.facts.inflow_side or "right"
    wanted = ("carotid", f"{side}_radial", f"{side}_brachial", "right_radial", "right_brachial")
    return next((name for kind in wanted for name in view.arterial if name.endswith(kind)), "")


def lower_body_site(view: View) -> str:
    """Arterial site that feels the lower body's flow, empty if none is recorded."""
    return next((name for name in view.arterial if name.endswith("femoral")), "")


def arrests(view: View, pump: Pump, period: OnPeriod) -> list[Arrest]:
    """Arrests of the lower body within one time on bypass.

    A stop that the pressures call an arrest, together with the stretches beside it in which the flow
    stays in the selective band and the femoral pressure under 20 mm[Hg]. Without a femoral line those stretches count
    that touch such a stop: nothing tells a flow for the head from one for the whole body.
    """
    quiet = np.zeros(len(pump.flow), dtype=np.bool_)
    stops = [stop for stop in period.stops if stop.kind == "arrest"]
    for one in stops:
        quiet[one.start : one.stop] = True
    head_only = _head_only(view, pump, period)
    for low, high in spans(head_only):
        # A stop right before or behind the head's perfusion belongs to it, however short.
        for one in period.stops:
            if abs(one.stop - low) <= BURST_S or abs(one.start - high) <= BURST_S:
                quiet[one.start : one.stop] = True
    undecided = _not_yet_over(view, pump, period, quiet | head_only)
    found = []
    for start, stop in spans(close_gaps(quiet | head_only, BURST_S)):
        notes: tuple[str, ...] = ()
        if undecided and stop >= undecided - BURST_S:
            notes = (f"the flow is back for {period.off - stop} s, not yet known whether to the head alone",)
            stop = period.off
        pauses = [
            (max(start, piece.start), min(stop, piece.stop))
            for piece in period.stops
            if piece.start >= start and piece.stop <= stop and piece.stop - piece.start >= BURST_S
        ]
        edges: list[int] = [start, *(index for pause in pauses for index in pause), stop]
        selective = tuple(
            (low, high)
            for low, high in zip(edges[::2], edges[1::2], strict=True)
            if high - low >= SELECTIVE_MINIMUM_S and head_only[low:high].mean() > 0.5
        )
        notes = tuple(
            dict.fromkeys(
                (*(note for piece in stops if start <= piece.start < stop for note in piece.notes), *notes)
            )
        )
        found.append(Arrest(start, stop, tuple(pauses), selective, notes))
    return found


def _not_yet_over(view: View, pump: Pump, period: OnPeriod, still: BoolArray) -> int | None:
    """The second at which a flow came back with which the record ends too soon to say that an arrest was over.

    It is over once the flow is above the selective band for 20 s; in the band, where the head may be perfused
    alone, it is not told from a slow return of the whole flow before a minute has passed.
    """
    if period.off_recorded or not still[: period.off].any():
        return None
    back = int(np.flatnonzero(still[: period.off])[-1]) + 1
    flow = smooth(pump.flow[back : period.off], 5)
    if not flow.size:
        return None
    above = drop_short(close_gaps(flow > selective_top(view), 2), ABOVE_HELD_S)
    return back if len(flow) < SELECTIVE_MINIMUM_S and not above.any() else None


def _head_only(view: View, pump: Pump, period: OnPeriod) -> BoolArray:
    """Seconds with the head perfused alone, dated to where the flow left and reached its levels."""
    out = np.zeros(len(pump.flow), dtype=np.bool_)
    head, femoral = seen_by(view)
    flow, top = pump.flow, selective_top(view)
    smoothed = smooth(flow, 5)
    band = (smoothed > FLOW_ON) & (smoothed <= top)
    # The pressures say which flow it was; they run down and rise later than the flow.
    low = smooth(view.values[femoral], 5) < ARREST_PRESSURE if femoral else np.ones(len(flow), dtype=np.bool_)
    high = smooth(view.values[head], 5) >= SELECTIVE_PRESSURE if head else np.ones(len(flow), dtype=np.bool_)
    arrested = [stop for stop in period.stops if stop.kind == "arrest"]
    band[: period.on] = False
    band[period.off :] = False
    for start, stop in spans(close_gaps(band, 5)):
        core = slice(start, stop)
        if stop - start < SELECTIVE_MINIMUM_S or low[core].mean() < 0.5 or high[core].mean() < 0.5:
            continue
        if not femoral and not any(
            abs(one.stop - start) <= BURST_S or abs(one.start - stop) <= BURST_S for one in arrested
        ):
            continue  # a flow turned down for another reason, such as coming off
        first = left_rest(flow, start) if start > 0 and not pump.moving[max(0, start - 5)] else start
        out[first : _left_level(flow, start, stop)] = True
    return out


def _left_level(flow: FloatArray, start: int, stop: int) -> int:
    """Second at which a flow in the selective band began to leave it upwards."""
    steady = flow[max(start, stop - 40) : max(start + 1, stop - 10)]
    level, stray = median(steady), max(3 * noise_sd(steady), 0.03)
    if stop >= len(flow) or not flow[stop] > level:
        return stop  # the record ends, or the flow falls to nothing and the stop's own start stands
    still = np.flatnonzero(np.abs(flow[start:stop] - level) <= stray)
    return start + int(still[-1]) + 1 if len(still) else stop


def edge(
    view: View,
    index: int,
    rule: str,
    channel: str,
    *,
    spread_s: float = 0.0,
    alternatives: tuple[str, ...] = (),
) -> Boundary:
    """A boundary at second `index` that a channel gives; `spread_s` is the width of what it could be."""
    values = view.values[channel]
    at = values[min(index, len(values) - 1)]
    source = view.source.get(channel, "")
    width = float(np.hypot(view.interval.get(channel, 1.0), spread_s))
    clock = view.clock_at(source, view.time(index))
    if not np.isfinite(clock.sd_s):
        alternatives = (*alternatives, not_set(source))
    return Boundary(
        time_s=view.time(index),
        rule=rule,
        value=round(float(at), 2) if np.isfinite(at) else None,
        channel=channel,
        source=source,
        sampling_sd_s=width / float(np.sqrt(12)),
        clock_sd_s=clock.sd_s,
        clock_piece=clock.piece,
        alternatives=alternatives,
    )


def gap_at(pump: Pump, index: int) -> tuple[int, int] | None:
    """The unrecorded stretch, if any, in which the change of state dated to `index` fell."""
    for start, stop in spans(pump.gap):
        if start == 0:
            continue  # nothing is known of the state before the record begins
        if start - 1 <= index <= stop < len(pump.gap) and pump.moving[max(0, start - 1)] != pump.moving[stop]:
            return start, stop
    return None


def build_flow_phases(view: View, pump: Pump, period: OnPeriod) -> list[Phase]:
    """Bypass, going on, arrests with their parts, weaning: everything that the flow dates."""
    n, channel = len(pump.flow), "pump_flow"

    def at(index: int, rule: str, *more: str, spread_s: float = 0.0) -> Boundary:
        gap = gap_at(pump, index)
        if gap is not None:
            # Anywhere within the gap: its middle, with the whole of it as what it could be.
            index, spread_s = sum(gap) // 2, float(gap[1] - gap[0])
            more = (*more, f"the flow changed while {spread_s:.0f} s of it were not recorded")
        return edge(view, index, rule, channel, spread_s=spread_s, alternatives=tuple(more))

    def cut(what: str) -> Boundary:
        """The end of the pump's record, within something that goes on."""
        if period.off >= n:
            return Boundary(
                view.time(n), f"the record ends {what}", alternatives=period.off_notes, recorded=False
            )
        said = edge(
            view, period.off, f"the pump's record ends {what}", channel, alternatives=period.off_notes
        )
        return replace(said, recorded=False)

    def since(index: int, rule: str, *more: str) -> Boundary:
        said = edge(view, index, rule, channel, alternatives=(*more, *BEGUN_EARLIER))
        return replace(said, recorded=False)

    def until(index: int, rule: str, what: str, spread_s: float = 0.0) -> Boundary:
        beyond = index >= period.off and not period.off_recorded
        return cut(what) if beyond else at(index, rule, spread_s=spread_s)

    on = at(
        period.on,
        "flow above 0.2 L/min held 20 s, dated to where it left zero",
        *period.on_notes,
        spread_s=5.0,
    )
    if not period.on_recorded:
        on = since(period.on, "the pump's record begins on bypass")
    end = cut("on bypass")
    if period.off_recorded:
        words = "no flow (≤ 0.1 L/min) held, pressure kept up: off bypass"
        end = at(period.off, words, *period.off_notes, spread_s=OFF_SPREAD_S)
    found = [Phase("bypass", on, end)]
    plan, plan_words = planned_flow(view, pump, period)
    full = full_flow(pump, period, plan)
    if full is not None and period.on_recorded:
        reached = at(
            full, f"flow first at least 80 % of {plan:.2f} L/min ({plan_words}) for 60 s", spread_s=5.0
        )
        found.append(Phase("going_on", on, reached, "bypass"))
    weaning = weaning_start(pump, period) if period.off_recorded else None
    if weaning is not None and (full is None or weaning > full):
        words = "last flow from which it only falls to nothing"
        if not period.on_recorded and weaning - period.on < SOON_S:
            begin = since(weaning, words)
        else:
            begin = at(weaning, words, spread_s=10.0)
        found.append(Phase("weaning", begin, end, "bypass"))
    seen = seen_by(view)
    for arrest in arrests(view, pump, period):
        marks = (
            *arrest.notes,
            *((seen.mark,) if seen.mark and (arrest.selective or not seen.femoral) else ()),
        )
        if arrest.start <= period.on and not period.on_recorded:
            start = since(arrest.start, "the pump's record begins in the arrest", *marks)
        else:
            start = at(arrest.start, _start_words(view, arrest, seen), *marks)
        stop = until(arrest.stop, _end_words(view, pump, arrest, seen), "in the arrest", RISE_SPREAD_S)
        stop = replace(stop, alternatives=(*_other_ends(view, arrest, seen), *stop.alternatives))
        found.append(Phase("lower_body_arrest", start, stop, "bypass"))
        for low, high in arrest.no_flow:
            found.append(
                Phase("no_flow_arrest", start if low == arrest.start else at(low, "flow reached rest (≤ 0.1 L/min)"),
                      until(high, "flow above 0.2 L/min held 10 s, dated to where it left rest", "without flow"),
                      "lower_body_arrest")
            )  # fmt: skip
        for low, high in arrest.selective:
            found.append(
                Phase("selective_cerebral",
                      start if low == arrest.start else at(low, seen.selective),
                      stop if high == arrest.stop
                      else at(high, f"flow left the selective band{seen.lacking}", spread_s=RISE_SPREAD_S),
                      "lower_body_arrest")
            )  # fmt: skip
    return found


def _start_words(view: View, arrest: Arrest, seen: Seen) -> str:
    """By what an arrest began: a stop of the flow, or its fall to what goes to the head alone."""
    if arrest.selective and arrest.selective[0][0] == arrest.start:
        return f"flow fell to what goes to the head alone: {seen.selective}"
    if not view.arterial:
        return f"flow at rest (≤ 0.1 L/min) for 2 min{seen.lacking}"
    lacking = "" if seen.femoral else seen.lacking
    return f"flow at rest (≤ 0.1 L/min), arterial pressure under 20 mmHg within 2 min{lacking}"


def _end_words(view: View, pump: Pump, arrest: Arrest, seen: Seen) -> str:
    """By what an arrest was over: the flow above the band, or one that stayed in it and came to the lower body."""
    lacking = "" if seen.femoral else seen.lacking
    back = smooth(pump.flow[arrest.stop : arrest.stop + SELECTIVE_MINIMUM_S + ABOVE_HELD_S], 5)
    above = drop_short(close_gaps(back > selective_top(view), 2), ABOVE_HELD_S)
    if above.any():
        return f"flow above the selective band held 20 s, dated to the start of its rise{lacking}"
    if pump.gap[arrest.stop : arrest.stop + 1].any():
        return f"the flow is not recorded from here on, and nothing else says that it still stood{lacking}"
    words = "flow above 0.2 L/min held, dated to the start of its rise; not above the selective band"
    return (
        f"{words}, but not to the head alone by the pressures{lacking}" if view.arterial else words + lacking
    )


def _other_ends(view: View, arrest: Arrest, seen: Seen) -> tuple[str, ...]:
    """Where an arrest was over if a flow in the selective band, assumed to be for the head, went to the whole body."""
    if not seen.mark or not arrest.selective:
        return (seen.mark,) if not seen.femoral else ()
    low = arrest.selective[0][0]
    if low == arrest.start:
        return (f"no arrest, if the flow in the selective band went to the whole body ({seen.mark})",)
    at = clock(view.time(low))
    return (f"{at}, if the flow in the selective band from then on went to the whole body ({seen.mark})",)
