"""Phases that temperatures date: cooling, a steady cold core, reperfusion, warming."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .phase_arrests import edge
from .phase_model import Boundary, Phase
from .phase_rules import OnPeriod
from .runs import (
    BoolArray,
    FloatArray,
    back_date,
    close_gaps,
    drop_short,
    line_fit,
    smooth,
    spans,
)
from .view import View

COOLING_GRADIENT_C = 2.0
COOLING_HELD_S = 120
WARMING_GRADIENT_C = 1.0
WARMING_HELD_S = 180
STAGNANT_FLOW = 1.0  # L/min; under it the venous probe feels standing blood
TARGET_FIT_S = 150  # seconds on either side of the line through the core temperature
REPERFUSION_MINIMUM_S = 30
ONSET_BACK_S = 90  # s before a crossing within which its change must have begun (this project's choice)
ONSET_SHARE = 0.2  # of the whole change, within which it has not begun (readings come in steps of 0.1 °C)
ONSET_C_PER_MIN = 1.5  # a slower change is a drift, whose begin cannot be told (this project's choice)
STEADY_C_PER_MIN = 0.1
STEADY_UNDER_C = 34.0
STEADY_HELD_S = 300
STEADY_GAP_S = 300  # of a steeper core or an unrecorded one that does not end it (this project's choice)


def temperature_phases(view: View, period: OnPeriod, own: Sequence[Phase]) -> list[Phase]:
    """Cooling, reperfusion and warming of one time on bypass."""
    arrested = sorted((p for p in own if p.name == "lower_body_arrest"), key=lambda phase: phase.start_s)
    weaning = next((phase for phase in own if phase.name == "weaning"), None)
    bypass = next(phase for phase in own if phase.name == "bypass")
    last = weaning.start if weaning is not None else bypass.end
    if view.outlet is None or view.venous is None:
        return [*_reperfusions(arrested, [], last), *_cold_steady(view, period, [], last)]
    gradient = _gradient(view, period, arrested)
    warming = _warming(view, period, gradient, arrested, last)
    reperfusion = _reperfusions(arrested, warming, last)
    cooling = _cooling(view, period, gradient.copy(), [*arrested, *reperfusion, *warming], last)
    return [*cooling, *_cold_steady(view, period, warming, last), *reperfusion, *warming]


def _cold_steady(view: View, period: OnPeriod, warming: Sequence[Phase], last: Boundary) -> list[Phase]:
    """A core under 34 °C that moves by less than 0.1 °C a minute for 5 min, up to warming or until it moves again."""
    core = view.core
    if not core:
        return []
    value, slope = line_fit(view.values[core], TARGET_FIT_S)
    steady = (np.abs(slope) * 60 < STEADY_C_PER_MIN) & (value < STEADY_UNDER_C)
    steady[: period.on] = False
    stop_all = view.index(last.time_s)
    steady[stop_all:] = False
    for warm in warming:
        steady[view.index(warm.start_s) : view.index(warm.end_s)] = False
    found: list[Phase] = []
    for start, stop in spans(close_gaps(drop_short(steady, STEADY_HELD_S), STEADY_GAP_S)):
        begin = edge(view, start, "core under 34 °C, moving by less than 0.1 °C a minute for 5 min", core,
                     spread_s=float(2 * TARGET_FIT_S))  # fmt: skip
        begin = _as_recorded(begin, period, start, period.on)
        limits = [*(warm.start for warm in warming), last]
        behind = min(
            (one for one in limits if one.time_s > begin.time_s), key=lambda one: one.time_s, default=last
        )
        if view.time(stop) >= behind.time_s - STEADY_GAP_S:
            end = behind
        else:
            end = edge(view, stop, "the core moves by 0.1 °C a minute or more again", core,
                       spread_s=float(2 * TARGET_FIT_S))  # fmt: skip
        if found and begin.time_s < found[-1].end_s:
            continue
        found.append(Phase("cold_steady", begin, end, "bypass"))
    return found


def _gradient(view: View, period: OnPeriod, arrested: Sequence[Phase]) -> FloatArray:
    """Outlet minus venous temperature where blood flows, NaN elsewhere; without a flow all but arrests counts."""
    assert view.outlet is not None
    assert view.venous is not None
    difference = view.outlet - view.venous
    if view.flow is not None:
        flowing = np.isfinite(view.flow) & (view.flow >= STAGNANT_FLOW)
    else:
        flowing = np.ones(view.n, dtype=np.bool_)
        for one in arrested:
            flowing[view.index(one.start_s) : view.index(one.end_s)] = False
    flowing[: period.on] = False
    flowing[period.off :] = False
    return np.where(flowing, difference, np.nan)


def _warming(
    view: View, period: OnPeriod, gradient: FloatArray, arrested: Sequence[Phase], last: Boundary
) -> list[Phase]:
    warmer = _held(gradient >= WARMING_GRADIENT_C, WARMING_HELD_S)
    found: list[Phase] = []
    targets = _warm(view)
    first = _first_known(gradient)
    for start, _ in spans(warmer):
        began = _began(gradient, start)
        begin = edge(
            view,
            began,
            "outlet at least 1 °C above venous for 3 min, dated to where it began to rise",
            "outlet_temperature",
            spread_s=_onset_spread(gradient, began, start),
        )
        begin = _as_recorded(begin, period, start, first)
        if begin.time_s >= last.time_s or (found and begin.time_s < found[-1].end_s):
            continue
        if (
            found
            and found[-1].end.channel == view.core
            and not _cooled_since(view, found[-1].end_s, begin.time_s)
        ):
            continue  # warm once is warm: outlet above venous afterwards keeps warm
        stops = [phase.start for phase in arrested if phase.start_s > begin.time_s]
        end = min([last, *stops], key=lambda boundary: boundary.time_s)
        reached = next((target for target in targets if target.time_s > begin.time_s), None)
        if reached is not None and reached.time_s < end.time_s:
            end = reached
        elif view.facts.rewarming_target_c is None:
            end = replace(
                end, alternatives=(*end.alternatives, "no rewarming target known: to weaning or off bypass")
            )
        found.append(Phase("warming", begin, end, "bypass"))
    return found


def _warm(view: View) -> list[Boundary]:
    """Every time that the core reaches the unit's target, by a line over 5 min: readings come in steps."""
    target, core = view.facts.rewarming_target_c, view.core
    if target is None or not core:
        return []
    value, slope = line_fit(view.values[core], TARGET_FIT_S)
    above = close_gaps(value >= target, 600)
    # A step of 0.1 °C on a slow rise leaves the crossing open by the step over the slope.
    return [
        edge(view, start, f"core at the target of {target:g} °C by a 5-min line", core,
             spread_s=float(np.clip(0.1 / max(float(slope[start]), 1e-6), 10.0, 600.0)))
        for start, _ in spans(above)
        if start > 0 and np.isfinite(value[start - 1])
    ]  # fmt: skip


def _cooled_since(view: View, start_s: float, stop_s: float) -> bool:
    target, core = view.facts.rewarming_target_c, view.core
    piece = view.values[core][view.index(start_s) : view.index(stop_s)]
    return bool(target is not None and piece.size and np.nanmin(piece) < target - 1.0)


def _reperfusions(arrested: Sequence[Phase], warming: Sequence[Phase], last: Boundary) -> list[Phase]:
    """From the end of an arrest to the next arrest, to warming, or to weaning."""
    found = []
    for arrest in arrested:
        later = [
            *(other.start for other in arrested if other.start_s > arrest.start_s),
            *(warm.start for warm in warming if warm.start_s >= arrest.end_s),
            last,
        ]
        end = min(later, key=lambda boundary: boundary.time_s)
        if end.time_s - arrest.end_s >= REPERFUSION_MINIMUM_S:
            found.append(Phase("reperfusion", arrest.end, end, "bypass"))
    return found


def _cooling(
    view: View, period: OnPeriod, gradient: FloatArray, others: Sequence[Phase], last: Boundary
) -> list[Phase]:
    first = _first_known(gradient)
    for other in others:
        gradient[view.index(other.start_s) : view.index(other.end_s)] = np.nan
    colder = _held(gradient <= -COOLING_GRADIENT_C, COOLING_HELD_S)
    crossed = np.flatnonzero(drop_short(gradient > 0, 60))
    found: list[Phase] = []
    for start, _ in spans(colder):
        began = _began(gradient, start)
        begin = edge(
            view, began, "outlet at least 2 °C under venous for 2 min, dated to where it began to fall",
            "outlet_temperature", spread_s=_onset_spread(gradient, began, start),
        )  # fmt: skip
        begin = _as_recorded(begin, period, start, first)
        if (found and begin.time_s < found[-1].end_s) or begin.time_s >= last.time_s:
            continue
        ends = [other.start for other in others if other.start_s > begin.time_s]
        turned = crossed[crossed > start]
        if len(turned):
            ends.append(edge(view, int(turned[0]), "outlet above venous again", "outlet_temperature"))
        found.append(Phase("cooling", begin, min([*ends, last], key=lambda b: b.time_s), "bypass"))
    return found


def _first_known(gradient: FloatArray) -> int:
    known = np.flatnonzero(np.isfinite(gradient))
    return int(known[0]) if len(known) else 0


def _as_recorded(begin: Boundary, period: OnPeriod, start: int, first: int) -> Boundary:
    """The begin of a cooling or warming that was under way when the pump's record begins, as such."""
    if period.on_recorded or start > first:
        return begin
    return replace(
        begin, recorded=False, alternatives=(*begin.alternatives, "earlier: its start is not recorded")
    )


def _held(mask: BoolArray, seconds: int) -> BoolArray:
    return drop_short(close_gaps(mask, 30), seconds)


def _began(gradient: FloatArray, crossed: int) -> int:
    """The second at which a change of the gradient began that is plain at `crossed`: the heater was turned then.

    Water and blood take about half a minute to follow. The change begins at the level furthest from the crossing in
    the minute and a half before it; where too little of that was seen, or it is a slow drift, the crossing stands.
    """
    low = max(0, crossed - ONSET_BACK_S)
    piece = smooth(gradient[low : crossed + 1], 9)
    if np.isfinite(piece).sum() < ONSET_BACK_S // 2 or not np.isfinite(piece[-1]):
        return crossed
    change = np.abs(piece - piece[-1])
    furthest = int(np.nanargmax(change))
    began = back_date(
        piece, len(piece) - 1, base=float(piece[furthest]), after=float(piece[-1]), fraction=ONSET_SHARE
    )
    minutes = max(len(piece) - 1 - began, 1) / 60
    return low + began if change[began] / minutes >= ONSET_C_PER_MIN else crossed


def _onset_spread(gradient: FloatArray, began: int, crossed: int) -> float:
    """How far an onset may lie away: the crossing's own doubt, and the whole of what it was dated back by."""
    return float(np.hypot(_crossing_spread(gradient, crossed), crossed - began))


def _crossing_spread(gradient: FloatArray, index: int) -> float:
    """How long a crossing of a stepped difference may take: 0.1 °C on each channel over its slope."""
    around = gradient[max(0, index - 60) : index + 60]
    _, slope = line_fit(around, 60)
    finite = np.abs(slope[np.isfinite(slope)])
    steep = float(np.median(finite)) if finite.size else 0.0
    return float(np.clip(0.2 / max(steep, 1e-6), 1.0, 300.0))
