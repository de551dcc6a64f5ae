"""Patterns of the pump flow: going on, unplanned stop."""

from __future__ import annotations

import numpy as np

from ..phase_rules import RETURN_FLOW
from ..runs import Run, drop_short, evidence_runs, median, smooth, spans
from ..view import View
from .rule import Find, Parameter, Params, Rule, alternative, before, confidence, counted, rounded

# -- E05 -------------------------------------------------------------------------------------------


def find_going_on(view: View, params: Params) -> list[Find]:
    """E05: see the rule's words."""
    flow, pulse = view.flow, view.pulse[view.believed]
    assert flow is not None
    plan = view.facts.planned_flow
    plan_words = "planned"
    # The pulse of single small beats is mostly noise: its median over a quarter of a minute.
    smoothed_flow, smoothed_pulse = smooth(flow, 5), smooth(pulse, 15)
    found = []
    for bypass in view.of_name("bypass"):
        start = view.index(bypass.start_s)
        stop = min(view.index(bypass.end_s), start + int(params["within"]))
        level = plan or median(flow[start + 120 : start + 900])
        if not plan:
            plan_words = "no planned flow known: the median of the first 15 min"
        was = before(pulse, start)
        if not np.isfinite(was) or not np.isfinite(level):
            continue
        enough = smoothed_flow >= params["of_plan"] / 100 * level
        absolute = _first_held(smoothed_pulse < params["pulse"], enough, start, stop)
        relative = _first_held(smoothed_pulse < params["fraction"] / 100 * was, enough, start, stop)
        lost = absolute if absolute is not None else relative
        if lost is None or was < 2 * params["pulse"]:
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
                confidence(margin=(was - params["pulse"]) / 20.0, duration=3.0),
                {
                    "rule": E05.sentence(params),
                    "crossings": [view.time(lost)],
                    "before": rounded(was),
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


def _first_held(holds: np.ndarray, enough: np.ndarray, start: int, stop: int, held: int = 10) -> int | None:
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
    found = []
    for run in evidence_runs(stopped, known, minimum=int(params["minimum"]), close=1, bridge=0):
        if run.used > params["longest"] or arrested[max(0, run.start - 1) : run.stop + 1].any():
            continue  # the flow's ramp beside an arrest belongs to the arrest
        if run.stop >= view.n or not known[run.stop] or (run.start > 0 and not known[run.start - 1]):
            continue  # not over yet, or it touches an unrecorded stretch and may be the recorder's
        level = before(flow, run.start)
        if not level >= RETURN_FLOW:
            continue  # the flow was not established yet
        pressure = view.pressure
        fell = float("nan")
        if pressure is not None:
            fell = before(pressure, run.start) - float(
                np.nanmin([np.inf, *pressure[run.start : run.stop + 5]])
            )
        probe = bool(np.isfinite(fell) and fell < 2.0 and run.used >= 10)
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
                    margin=level / 2.0, duration=run.used / params["minimum"], agreement=0.0 if probe else 1.0
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
                            "cannot tell: no arterial pressure" if not np.isfinite(fell)
                            else f"mean pressure fell by {fell:.0f} mmHg" if not probe
                            else f"it may be: mean pressure fell by only {fell:.0f} mmHg",
                        ),
                        alternative(
                            "a planned arrest",
                            f"it lasted {run.used} s"
                            + (f" at a core of {core:.1f} °C" if np.isfinite(core) else ""),
                        ),
                    ],
                },
            )
        )  # fmt: skip
    return found


E05 = Rule(
    code="E05",
    name="going on bypass: loss of pulsatility",
    family="pump",
    needs=("site", "pulse", "pump_flow"),
    phase=("going_on",),
    words="Pump flow rises above 0.5 L/min and the pulse at the believed site falls under {pulse} mmHg (or,"
    " where it never does, under {fraction} % of before) within {within} s, at a flow of at least "
    "{of_plan} % of the planned one.",
    status="C",
    source="common practice, no source",
    parameters={
        "pulse": Parameter(10, "mm[Hg]", "pulse pressure under which pulsatility is lost"),
        "fraction": Parameter(25, "%", "or pulse pressure, of before bypass"),
        "within": Parameter(600, "s", "time from going on"),
        "of_plan": Parameter(70, "%", "flow that must be reached, of the planned one"),
    },
    find=find_going_on,
)
E10 = Rule(
    code="E10",
    name="unplanned pump stop",
    family="pump",
    needs=("pump_flow",),
    phase=("bypass",),
    words="Pump flow under {below} L/min for {minimum} to {longest} s on established bypass, outside "
    "arrests. Seconds that were not recorded are no stop.",
    status="D",
    source="this project's choice",
    parameters={
        "below": Parameter(0.2, "L/min", "flow under which the pump counts as stopped"),
        "minimum": Parameter(3, "s", "shortest length"),
        "longest": Parameter(120, "s", "longest length; longer is an arrest or coming off"),
    },
    find=find_pump_stop,
)
RULES = (E05, E10)
