"""What the heart does on bypass: it stops ejecting, fills while it stands, takes over."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..runs import (
    FloatArray,
    Run,
    evidence_runs,
    hysteresis,
    lowest_before,
    median,
    running_mean,
    smooth,
)
from ..view import View
from .cannulae import BACK_S, BEGUN, back_dated, pumping
from .course_find import course_find, signed
from .rule import (
    RUNS,
    Find,
    Parameter,
    Params,
    Rule,
    alternative,
    before,
    confidence,
    counted,
    rounded,
)

PULSE_SMOOTH_S = 5
BEFORE_LOST_S = 120  # s before a loss of ejection in which there must have been one
TURN_S = 3  # s beside the loss that its turn takes
EJECTS_S = 20  # s of pulse that are ejection: a pump that starts or slows makes one beat of its own
LOST_BRIDGE_S = 300  # s masked or missing that do not end a loss of ejection
PLAIN_PULSE, PLAIN_PULMONARY = 4.0, 5.0  # mm[Hg] that are plain
LOW_S, PULMONARY_SMOOTH_S = 180, 9
EJECTION_S = (1800, 600)  # s before and after, in which ejection is looked for
RETURN_HELD_S, RETURN_PULSE = 60, 10.0  # s, and mm[Hg] of pulse, that count as ejection again


def full_flow(view: View) -> float:
    """The planned flow, L/min, or the median on bypass where none is planned."""
    flow = view.flow
    assert flow is not None
    return view.facts.planned_flow or median(flow[view.inside("bypass")])


# -- E06 -------------------------------------------------------------------------------------------


def find_lost_ejection(view: View, params: Params) -> list[Find]:
    """E06: see the rule's words."""
    pulse, flow = view.pulse[view.believed], view.flow
    assert flow is not None
    level = smooth(pulse, PULSE_SMOOTH_S)
    enough = smooth(flow, PULSE_SMOOTH_S) >= params["of_plan"] / 100 * full_flow(view)
    # With too little flow nothing can be said: a pump that stands for moments is no return of ejection.
    known = np.isfinite(level) & enough
    # Lost under one level and back from another: what noise and fibrillation leave of a pulse lies between them.
    lost = hysteresis(-level, on=-params["under"], off=-params["from"])
    found = []
    for run in evidence_runs(lost & pumping(view), known, minimum=1, close=EJECTS_S, bridge=LOST_BRIDGE_S):
        if np.count_nonzero(level[run.start : run.stop] < params["under"]) < params["minimum"]:
            continue
        early = slice(max(0, run.start - BEFORE_LOST_S), max(0, run.start - TURN_S))
        ejected = int(np.count_nonzero(level[early][known[early]] >= params["from"]))
        if ejected < EJECTS_S:
            continue  # it was lost before: flow or pulse came and went meanwhile
        whole = _faded(level, run, params["from"])
        ripple = view.quiver.get(view.believed)
        quivers = median(ripple[run.start : run.stop]) if ripple is not None else float("nan")
        found.append(
            course_find(
                E06, view, whole, level, params=params, channels=(view.believed, "pump_flow"), limit=params["under"],
                unit="mm[Hg]", above=False, plain=PLAIN_PULSE, minimum=params["minimum"], site=view.believed,
                crossed=(run.start, run.stop),
                held_back=_line_alone(view, run, params["from"]), of="pulse pressure", ripple_mmhg=rounded(quivers, 2),
                alternatives=[
                    alternative("a damped line", _other_pulses(view, run)),
                    alternative("a beating heart that is quite empty",
                        "cannot tell from pressures alone: an ECG would"),
                    alternative("a pump that pulses", "its ripple is steady and is taken out before"),
                ],
            )
        )  # fmt: skip
    return found


def _faded(level: FloatArray, run: Run, least: float) -> Run:
    """The run from where the pulse began to fade to where it was back, as far as it was there before and after."""
    n = level.size
    start = _fade_began(level, run.start, run.stop, least)
    stop = n - _fade_began(level[::-1], n - run.stop, n - run.start, least)
    beside = (*level[start : run.start], *level[run.stop : stop])
    used = run.used + int(np.isfinite(beside).sum())
    return Run(start, stop, used, stop - start - used)


def _fade_began(level: FloatArray, start: int, stop: int, least: float) -> int:
    base = median(level[max(0, start - BEFORE_LOST_S) : max(0, start - TURN_S)])
    low = median(level[start:stop])
    return back_dated(-level, start, -base, -low) if base >= least and low < base else start


def _pulses_beside(view: View, run: Run) -> dict[str, float]:
    """Pulse of the other arterial lines meanwhile, mmHg."""
    pulses = {
        name: median(pulse[run.start : run.stop])
        for name, pulse in view.pulse.items()
        if name != view.believed
    }
    return {name: pulse for name, pulse in pulses.items() if np.isfinite(pulse)}


def _other_pulses(view: View, run: Run) -> str:
    told = [f"{name.replace('_', ' ')} {pulse:.1f}" for name, pulse in _pulses_beside(view, run).items()]
    if not told:
        return "cannot tell: no other line"
    return f"the pulse at the others meanwhile: {', '.join(told)} mmHg"


def _line_alone(view: View, run: Run, least: float) -> str:
    """Which other line kept its pulse, as a sentence; empty where none did."""
    kept = [
        f"{name.replace('_', ' ')} {pulse:.0f}"
        for name, pulse in _pulses_beside(view, run).items()
        if pulse >= least
    ]
    return f"the pulse was kept at {', '.join(kept)} mmHg: the line lost it, not the heart" if kept else ""


# -- E25 -------------------------------------------------------------------------------------------


def find_distension(view: View, params: Params) -> list[Find]:
    """E25: see the rule's words."""
    pulmonary, pulse = view.get("pa"), view.pulse[view.believed]
    assert pulmonary is not None
    level = running_mean(pulmonary, PULMONARY_SMOOTH_S)
    usual = lowest_before(level, LOW_S)
    still = smooth(pulse, PULSE_SMOOTH_S) < params["pulse"]
    holds = ((level >= params["to"]) | (level - usual >= params["rise"])) & still & pumping(view)
    known = np.isfinite(level) & np.isfinite(pulse)
    found = []
    for run in evidence_runs(holds & known, known, minimum=int(params["minimum"])):
        reached = float(np.nanmax(level[run.start : run.stop])) >= params["to"]
        limit = params["to"] if reached else round(float(usual[run.start]) + params["rise"], 1)
        cvp = view.cvp
        moved = (
            median(cvp[run.start : run.stop]) - before(cvp, run.start) if cvp is not None else float("nan")
        )
        found.append(
            course_find(
                E25, view, run, level, params=params, channels=("pa", view.believed), limit=limit, unit="mm[Hg]",
                above=True, plain=PLAIN_PULMONARY, minimum=params["minimum"], site=view.believed,
                of="mean pulmonary artery pressure", lowest_before_mmhg=rounded(usual[run.start]),
                pulse_mmhg=rounded(median(pulse[run.start : run.stop])),
                alternatives=[
                    alternative("a catheter in wedge or on the wall",
                        f"{view.masked_seconds('pa', run.start, run.stop)} s "
                                "of it masked, not counted"),
                    alternative("a shift of the transducers",
                        f"the central venous pressure moved by {signed(moved)} mmHg"
                                if np.isfinite(moved) else "cannot tell: no central venous pressure"),
                    alternative("retrograde delivery", "cannot tell from traces: see the notes of that time"),
                ],
            )
        )  # fmt: skip
    return found


# -- E26 -------------------------------------------------------------------------------------------


def find_taking_over(view: View, params: Params) -> list[Find]:
    """E26: see the rule's words."""
    found = []
    for phase in view.of_name("weaning"):
        start, stop = view.index(phase.start_s), view.index(phase.end_s)
        found.append(_of_phase(view, params, "weaning", "weaning begins", start, stop))
    for number, bypass in enumerate(view.of_name("bypass")):
        at, began = view.index(bypass.end_s), view.index(bypass.start_s)
        if bypass.end.recorded:
            found.append(_of_phase(view, params, "off", "off bypass", at, at))
        if number and bypass.start.recorded:
            found.append(_of_phase(view, params, "return", "return to bypass", began, began))
    return sorted(found, key=lambda one: (one.start_s, one.end_s))


def _of_phase(view: View, params: Params, subtype: str, name: str, start: int, stop: int) -> Find:
    flow = view.flow
    assert flow is not None
    run = Run(start, max(stop, start + 1), max(stop - start, 1), 0)
    return Find(
        "E26",
        name,
        view.time(start),
        view.time(stop),
        ("pump_flow", view.believed) if view.believed else ("pump_flow",),
        "",
        confidence(margin=1.0, duration=3.0),
        {
            "rule": E26.sentence(params),
            "crossings": [view.time(start), view.time(stop)],
            "before": rounded(before(flow, start), 2),
            "after": rounded(median(flow[stop : stop + 60]), 2),
            "unit": "L/min",
            "core_c": rounded(view.core_near(start)),
            **_ejection(view, params, start, stop),
            **counted(view, run, "pump_flow"),
            "alternatives": [
                alternative("volume given through the arterial line", "that is flow for seconds without venous return"),
                alternative("an arrest", f"the core was at {view.core_near(start):.1f} °C"
                            if np.isfinite(view.core_near(start)) else "cannot tell: no core temperature"),
            ],
        },
        subtype=subtype,
    )  # fmt: skip


def _ejection(view: View, params: Params, start: int, stop: int) -> dict[str, Any]:
    """When the pulse came back for good; or that it did not, in words."""
    pulse = view.pulse.get(view.believed)
    if pulse is None:
        return {"ejection": "cannot tell: no arterial wave"}
    first, last = max(0, start - EJECTION_S[0]), min(view.n, stop + EJECTION_S[1])
    level = smooth(pulse[first:last], PULSE_SMOOTH_S)
    runs = evidence_runs(level >= params["ejection"], np.isfinite(level), minimum=int(params["held"]))
    if not runs:
        return {"ejection": f"no pulse of {params['ejection']:g} mmHg for {params['held']:g} s around it"}
    since = runs[-1].start
    if since == 0:
        return {"ejection": f"a pulse of {params['ejection']:g} mmHg or more all along"}
    return {"ejection_from_s": view.time(first + since), "ejection_pulse_mmhg": params["ejection"]}


E06 = Rule(
    code="E06",
    name="loss of ejection on bypass",
    family="heart",
    needs=("site", "pulse", "pump_flow"),
    phase=("bypass",),
    words="On bypass outside arrests, pulse at the believed site under {under} mmHg (pump ripple only) for at least "
    "{minimum} "
    f"s, after {{from}} mmHg or more for {EJECTS_S} s of the {BEFORE_LOST_S} before, at {{of_plan}} % of the planned "
    f"flow or "
    f"more (of its median on bypass, where none is planned). It is over as the pulse is {{from}} mmHg again for over "
    f"{EJECTS_S} "
    "s.",
    status="D",
    source="this project's choice",
    parameters={
        "under": Parameter(2, "mm[Hg]", "pulse under which nothing is ejected"),
        "from": Parameter(4, "mm[Hg]", "pulse that there must have been"),
        "minimum": Parameter(10, "s", "shortest length"),
        "of_plan": Parameter(50, "%", "lowest flow, of the planned one"),
    },
    find=find_lost_ejection,
    details=f"Pulse and flow are medians of {PULSE_SMOOTH_S} s, pump ripple and noise taken out of the pulse before. "
    f"The "
    f"{TURN_S} s beside the loss are left out of what was before. As every change, it begins where the pulse was last "
    f"within {BEGUN} % of the whole fall from its median of the {BEFORE_LOST_S} s before, {BACK_S} s before the "
    f"crossing at most, and ends likewise where a pulse of {{from}} mmHg follows. Held back where another "
    f"line keeps a pulse of {{from}} mmHg. Masked or missing stretches, and such of a lower "
    f"flow, of up to "
    f"{LOST_BRIDGE_S} s do not end it; only seconds that were seen count. Plain from {PLAIN_PULSE:g} mmHg "
    "under.",
    version=2,
)
E25 = Rule(
    code="E25",
    name="ventricular distension",
    family="heart",
    needs=("site", "pulse", "pa", "pump_flow"),
    phase=("bypass",),
    words="Heart not ejecting (pulse under {pulse} mmHg) and mean pulmonary artery pressure at {to} mmHg or more, or "
    "{rise} "
    "mmHg over its lowest of the 3 min before, for at least {minimum} s on bypass, outside arrests.",
    status="C",
    source="common practice, no source",
    parameters={
        "pulse": Parameter(4, "mm[Hg]", "pulse from which the heart ejects"),
        "to": Parameter(20, "mm[Hg]", "mean pulmonary artery pressure from which it counts"),
        "rise": Parameter(10, "mm[Hg]", "or rise from which it counts"),
        "minimum": Parameter(60, "s", "shortest length"),
    },
    find=find_distension,
    details=f"The pulmonary pressure is a mean of {PULMONARY_SMOOTH_S} s, the pulse a median of {PULSE_SMOOTH_S} s. "
    f"{RUNS} Plain from "
    f"{PLAIN_PULMONARY:g} mmHg beyond.",
)
E26 = Rule(
    code="E26",
    name="heart takes over: weaning, off, return",
    family="heart",
    needs=("pump_flow",),
    phase=("bypass",),
    words="Weaning from its start to its end, off bypass, and a return to bypass, as the phases date them. With each "
    "is told "
    "since when the pulse is {ejection} mmHg or more, for {held} s at least.",
    status="C",
    source="common practice, no source; the rules of the phases are this project's choice",
    parameters={
        "ejection": Parameter(RETURN_PULSE, "mm[Hg]", "pulse that counts as ejection"),
        "held": Parameter(RETURN_HELD_S, "s", "for how long"),
    },
    find=find_taking_over,
    details=f"The pulse is a median of {PULSE_SMOOTH_S} s, looked at from {EJECTION_S[0] // 60} min before it to "
    f"{EJECTION_S[1] // 60} min after. A pump record that begins or ends on bypass gives no such find there.",
)
RULES = (E06, E25, E26)
