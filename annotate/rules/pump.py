"""Patterns of the pump flow: going on, unplanned stop."""

from __future__ import annotations

import numpy as np

from ..order import Z95
from ..phase_rules import ARREST_MINIMUM_S, COLD_CORE_C, RETURN_FLOW
from ..runs import Run, drop_short, evidence_runs, median, smooth, spans
from ..view import View
from .rule import BEFORE_S, Find, Parameter, Params, Rule, alternative, before, confidence, counted, rounded

FLOW_SMOOTH_S, PULSE_SMOOTH_S = 5, 15  # s that levels are medians of: small beats are mostly noise
USUAL_S = (120, 900)  # s from going on, over which a flow that nobody planned is a median
LOST_HELD_S = 10  # s for which the pulse must stay lost
PULSE_BEFORE = 2  # times the limit that the pulse before must have
PLAIN_PULSE = 20.0  # mm[Hg] over the limit before, that is plain
PLAIN_FLOW = 2.0  # L/min before a stop that is plain
STOP_CLOSE_S = 1  # s of flow that do not end a stop
UNFELT_MMHG, UNFELT_S = 2.0, 10  # a fall that is none, in a stop long enough to be felt
RUNDOWN_S = 5  # s after a stop in which the pressure may still fall
LAG_S = 5  # s by which the pump's last value may lie behind the record's end in a stop that is not over
SUDDEN = 50  # %, of the usual flow, from which a stop is not the last step of coming off

# -- E05 -------------------------------------------------------------------------------------------


def find_going_on(view: View, params: Params) -> list[Find]:
    """E05: see the rule's words."""
    flow, pulse = view.flow, view.pulse[view.believed]
    assert flow is not None
    plan = view.facts.planned_flow
    plan_words = "planned"
    smoothed_flow, smoothed_pulse = smooth(flow, FLOW_SMOOTH_S), smooth(pulse, PULSE_SMOOTH_S)
    found = []
    for bypass in view.of_name("bypass"):
        if not bypass.start.recorded:
            continue  # there is nothing before it to compare with
        start = view.index(bypass.start_s)
        stop = min(view.index(bypass.end_s), start + int(params["within"]))
        level = plan or median(flow[start + USUAL_S[0] : start + USUAL_S[1]])
        if not plan:
            plan_words = f"no planned flow known: the median of the first {USUAL_S[1] // 60} min"
        was = before(pulse, start)
        if not np.isfinite(was) or not np.isfinite(level):
            continue
        enough = smoothed_flow >= params["of_plan"] / 100 * level
        absolute = _first_held(smoothed_pulse < params["pulse"], enough, start, stop)
        relative = _first_held(smoothed_pulse < params["fraction"] / 100 * was, enough, start, stop)
        lost = absolute if absolute is not None else relative
        if lost is None or was < PULSE_BEFORE * params["pulse"]:
            continue
        run = Run(start, lost, lost - start, 0)
        found.append(
            Find(
                "E05",
                E05.name,
                view.time(start),
                view.time(lost),
                (view.believed, "pump_flow"),
                view.believed,
                confidence(margin=(was - params["pulse"]) / PLAIN_PULSE, duration=3.0),
                {
                    "rule": E05.sentence(params),
                    "crossings": [view.time(lost)],
                    "before": rounded(was),
                    "during": rounded(median(pulse[start:lost])),
                    "after": rounded(median(pulse[lost : lost + 60])),
                    "unit": "mm[Hg]",
                    "full_flow": rounded(level, 2),
                    "full_flow_words": plan_words,
                    **counted(view, run, view.believed),
                    "alternatives": [
                        alternative(
                            "an over-damped line",
                            f"pump flow rose to {median(flow[lost : lost + 60]):.1f} L/min",
                        ),
                        alternative(
                            "partial bypass with an ejecting heart",
                            "the pulse went under the limit and stayed there",
                        ),
                    ],
                },
            )
        )
    return found


def _first_held(
    holds: np.ndarray, enough: np.ndarray, start: int, stop: int, held: int = LOST_HELD_S
) -> int | None:
    """First second from `start` at which a condition begins to hold for `held` seconds at full flow."""
    runs = spans(drop_short(holds[start : stop + held], held))
    for low, high in runs:
        if start + low < stop and enough[start + low : start + high].any():
            return start + low
    return None


# -- E10 -------------------------------------------------------------------------------------------


def find_pump_stop(view: View, params: Params) -> list[Find]:
    """E10: see the rule's words."""
    flow = view.flow
    assert flow is not None
    established = view.inside("bypass") & ~view.inside("going_on", "weaning")
    arrested = view.inside("lower_body_arrest", "no_flow_arrest")
    known = np.isfinite(flow)
    stopped = (flow < params["below"]) & established
    seen = np.flatnonzero(known)
    last = int(seen[-1]) + 1
    usual = median(flow[established & (flow > RETURN_FLOW)])
    found = []
    for run in evidence_runs(stopped, known, minimum=int(params["minimum"]), close=STOP_CLOSE_S, bridge=0):
        if run.used > params["longest"] or arrested[max(0, run.start - 1) : run.stop + 1].any():
            continue  # the flow's ramp beside an arrest belongs to the arrest
        going_on = run.stop >= last and view.n - last <= LAG_S
        if not going_on and (run.stop >= view.n or not known[run.stop]):
            continue  # it touches an unrecorded stretch and may be the recorder's
        if run.start > 0 and not known[run.start - 1]:
            continue
        level = before(flow, run.start)
        if not level >= RETURN_FLOW:
            continue  # the flow was not established yet
        sudden = level >= SUDDEN / 100 * usual
        if (going_on or run.used >= ARREST_MINIMUM_S) and not sudden:
            continue  # the flow had been brought down: somebody is coming off, or tried to
        fell, cannot_tell = _pressure_fell(view, run)
        probe = bool(np.isfinite(fell) and fell < UNFELT_MMHG and run.used >= UNFELT_S)
        core = view.core_near(run.start)
        found.append(
            Find(
                "E10",
                E10.name,
                view.time(run.start),
                view.time(run.stop),
                ("pump_flow",),
                "",
                confidence(
                    margin=level / PLAIN_FLOW, duration=run.used / params["minimum"], agreement=0.0 if probe else 1.0
                ),
                {
                    "rule": E10.sentence(params),
                    "crossings": [view.time(run.start), view.time(run.stop)],
                    "before": rounded(level, 2),
                    "during": rounded(median(flow[run.start : run.stop]), 2),
                    "after": rounded(median(flow[run.stop : run.stop + 60]), 2),
                    "unit": "L/min",
                    **counted(view, run, "pump_flow"),
                    "alternatives": [
                        alternative("a gap of the recording", "every second of it was recorded"),
                        alternative(
                            "a flow probe without contact",
                            cannot_tell if not np.isfinite(fell)
                            else f"mean pressure fell by {fell:.0f} mmHg" if not probe
                            else f"it may be: mean pressure fell by only {fell:.0f} mmHg",
                        ),
                        alternative(
                            "a planned arrest",
                            (f"cannot be ruled out, it is not over: {run.used} s so far" if going_on
                             else f"it lasted {run.used} s")
                            + (f" at a core of {core:.1f} °C" if np.isfinite(core) else ""),
                        ),
                        alternative(
                            "coming off bypass",
                            f"the flow was {level:.1f} L/min in the minute before, {usual:.1f} usually"
                            + ("; cannot be ruled out before 5 min are over" if going_on else ", and came back"),
                        ),
                    ],
                },
                held_back=_perhaps_ordered(core, run) if going_on else "",
            )
        )  # fmt: skip
    return found


def _perhaps_ordered(core: float, run: Run) -> str:
    """Why a stop that is not over may be the beginning of a planned arrest, as a sentence; empty if not."""
    if not core <= COLD_CORE_C or run.used >= ARREST_MINIMUM_S:
        return ""
    return f"the pump was stopped at a core of {core:.1f} °C and the record ends before an arrest can be told"


def _pressure_fell(view: View, run: Run) -> tuple[float, str]:
    """By how much the believed pressure fell with a stop, as far as the clocks allow; or why nobody can tell."""
    pressure = view.pressure
    if pressure is None:
        return float("nan"), "cannot tell: no arterial pressure"
    at = view.time(run.start)
    doubt = Z95 * view.sd_between("pump_flow", at, view.believed, at)
    if not np.isfinite(doubt):
        return float("nan"), "cannot tell: flow and pressure cannot be ordered, a clock of theirs is not set"
    slack = int(np.ceil(doubt))
    meanwhile = pressure[max(0, run.start - slack) : run.stop + RUNDOWN_S + slack]
    if not np.isfinite(meanwhile).any():
        return float("nan"), "cannot tell: no arterial pressure meanwhile"
    return before(pressure, run.start) - float(np.nanmin(meanwhile)), ""


E05 = Rule(
    code="E05",
    name="going on bypass: loss of pulsatility",
    family="pump",
    needs=("site", "pulse", "pump_flow"),
    phase=("going_on",),
    words="From going on bypass (the phase) the pulse at the believed site falls under {pulse} mmHg (or, where it "
    f"never does, under {{fraction}} % of before) and stays there for {LOST_HELD_S} s, within {{within}} s, at a flow "
    f"of at least {{of_plan}} % of the planned one, or of the median from {USUAL_S[0]} to {USUAL_S[1]} s where none is "
    f"known. The pulse before was at least {PULSE_BEFORE} times {{pulse}} mmHg. Not where the pump's record begins on "
    "bypass.",
    status="C",
    source="common practice, no source",
    parameters={
        "pulse": Parameter(10, "mm[Hg]", "pulse pressure under which pulsatility is lost"),
        "fraction": Parameter(25, "%", "or pulse pressure, of before bypass"),
        "within": Parameter(600, "s", "time from going on"),
        "of_plan": Parameter(70, "%", "flow that must be reached, of the planned one"),
    },
    find=find_going_on,
    details=f"Flow is a median of {FLOW_SMOOTH_S} s, the pulse of {PULSE_SMOOTH_S} s, the pulse before of {BEFORE_S} "
    f"s. Plain from {PLAIN_PULSE:g} mmHg over the limit before.",
    version=2,
)
E10 = Rule(
    code="E10",
    name="unplanned pump stop",
    family="pump",
    needs=("pump_flow",),
    phase=("bypass",),
    words="Pump flow under {below} L/min for {minimum} to {longest} s on established bypass, outside "
    f"arrests, after {RETURN_FLOW:g} L/min or more in the {BEFORE_S} s before. One that is not over as the record "
    f"ends, or lasts {ARREST_MINIMUM_S} s, counts only after {SUDDEN} % of the usual flow (less is coming off); "
    f"while it is not over at a core of {COLD_CORE_C:g} °C or less it is held back until {ARREST_MINIMUM_S} s. Seconds "
    "that were not recorded are no stop, nor is a stop that touches them; whether the pressure fell with it is said.",
    status="D",
    source="this project's choice; 300 s deviate from the 120 s of its plan, so that a longer stop in a warm patient "
    "is told until it counts as coming off",
    parameters={
        "below": Parameter(0.2, "L/min", "flow under which the pump counts as stopped"),
        "minimum": Parameter(3, "s", "shortest length"),
        "longest": Parameter(
            300, "s", "longest length; longer is coming off, and with the pressure gone an arrest"
        ),
    },
    find=find_pump_stop,
    details=f"Flow for {STOP_CLOSE_S} s does not end a stop. A fall of the mean pressure by less than {UNFELT_MMHG:g} "
    f"mmHg in a stop of {UNFELT_S} s or more (until {RUNDOWN_S} s after it, and by the ± of the clocks beyond) speaks "
    f"for a probe without contact. The usual flow is the median above {RETURN_FLOW:g} L/min on established bypass; the "
    f"pump's last value may lie {LAG_S} s behind the record's end. Plain from {PLAIN_FLOW:g} L/min before.",
    version=2,
)
RULES = (E05, E10)
