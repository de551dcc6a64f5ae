"""Temperatures against each other and in time: gradients of cooling and warming, and a fast rewarming."""

from __future__ import annotations

import numpy as np

from ..measures.temperature import rate_per_min
from ..runs import BoolArray, FloatArray, evidence_runs, median, running_mean
from ..view import View
from .course_find import course_find
from .rule import RUNS, Find, Parameter, Params, Rule, alternative

READING = 1e-3  # °C; readings that are stored in 32 bits
SMOOTH_S = 15  # s over which a gradient of two rounded readings is a mean
PLAIN_GRADIENT_C, PLAIN_RATE = 1.0, 0.15  # beyond a limit that is plain
AFTER_ARREST_S = 180  # s of reflow in which a core temperature may rise with what was standing
CORE_STILL_C = 0.15  # °C, under which a core that is read in tenths has not moved
STEP_C = 1.5  # °C in 10 s that no blood changes by


def _pumped(view: View, least: float) -> BoolArray:
    """Seconds on bypass with enough flow that the venous probe feels blood that moves."""
    flow = view.flow
    inside = view.inside("bypass") if view.phases else np.ones(view.n, dtype=np.bool_)
    if flow is None:
        return inside
    return inside & (flow >= least)


def find_gradient(view: View, params: Params) -> list[Find]:
    """E14: see the rule's words."""
    outlet, venous = view.outlet, view.venous
    assert outlet is not None
    assert venous is not None
    warming = running_mean(outlet - venous, SMOOTH_S)
    level = running_mean(outlet, SMOOTH_S)
    pumped = _pumped(view, params["flow"])
    cold = level < params["warm"] - READING
    kinds: tuple[tuple[str, str, FloatArray, BoolArray, float], ...] = (
        ("a", "temperature gradient, cooling", -warming, pumped, params["cooling"]),
        (
            "b",
            "temperature gradient, warming with a cold outlet",
            warming,
            pumped & cold,
            params["warming_cold"],
        ),
        (
            "c",
            "temperature gradient, warming with a warm outlet",
            warming,
            pumped & ~cold,
            params["warming_warm"],
        ),
    )
    found = []
    for subtype, name, course, where, limit in kinds:
        holds = (course > limit + READING) & where
        for run in evidence_runs(holds, np.isfinite(course), minimum=int(params["minimum"])):
            found.append(
                course_find(
                    E14, view, run, course, params=params, channels=("outlet_temperature", "venous_temperature"),
                    limit=limit, unit="Cel", above=True, plain=PLAIN_GRADIENT_C, minimum=params["minimum"],
                    subtype=subtype, name=name, of="temperature gradient", area=True,
                    alternatives=[
                        alternative("a standing venous probe", f"the flow was {params['flow']:g} L/min or more"),
                        alternative("two probes taken for each other", _sides(view, run.start, run.stop)),
                        alternative("one sensor that lags behind the other", f"it lasted {run.used} s"),
                    ],
                )
            )  # fmt: skip
    return sorted(found, key=lambda one: one.start_s)


def _sides(view: View, start: int, stop: int) -> str:
    """Which way the core went, to tell whether outlet and venous blood can have been exchanged."""
    core = view.get(view.core) if view.core else None
    if core is None:
        return "cannot tell: no core temperature"
    seen = core[max(0, start - 60) : stop + 60]
    seen = seen[np.isfinite(seen)]
    if seen.size < 2:
        return "cannot tell: no core temperature then"
    change = float(seen[-1] - seen[0])
    if abs(change) < CORE_STILL_C:
        return "cannot tell: the core hardly moved"
    assert view.outlet is not None
    assert view.venous is not None
    towards = change * (median(view.outlet[start:stop]) - median(view.venous[start:stop])) > 0
    moved = f"the core {'rose' if change > 0 else 'fell'} by {abs(change):.1f} °C meanwhile"
    return f"{moved}, towards the outlet" if towards else f"it may be: {moved}, away from the outlet"


def find_fast_warming(view: View, params: Params) -> list[Find]:
    """E15: see the rule's words."""
    outlet = view.outlet
    assert outlet is not None
    where = _pumped(view, params["flow"]) & (outlet >= params["warm"] - READING) & ~_after_arrest(view)
    found: list[Find] = []
    for channel in dict.fromkeys(filter(None, (view.core, "outlet_temperature"))):
        recorded = view.get(channel)
        if recorded is None:
            continue
        rate = rate_per_min(recorded)
        if channel == "outlet_temperature":
            # The outlet's own ramp is the gradient's business; it counts where all of its window is warm.
            warm = running_mean(np.where(outlet >= params["warm"] - READING, 1.0, 0.0), 301) > 1 - 1e-9
            holds = (rate > params["above"] + READING) & where & warm
        else:
            holds = (rate > params["above"] + READING) & where
        for run in evidence_runs(holds, np.isfinite(rate), minimum=int(params["minimum"])):
            if any(one.start_s <= view.time(run.stop) and one.end_s >= view.time(run.start) for one in found):
                continue  # the core tells it already
            found.append(
                course_find(
                    E15, view, run, rate, params=params, channels=(channel,), limit=params["above"],
                    unit="Cel/min", above=True, plain=PLAIN_RATE, minimum=params["minimum"],
                    of="slope over 5 minutes",
                    alternatives=[
                        alternative("a probe that was seated anew", _jump(recorded, run.start, run.stop)),
                        alternative("reflow after an arrest",
                                    f"the first {AFTER_ARREST_S} s after one are left out"),
                    ],
                )
            )  # fmt: skip
    return found


def _after_arrest(view: View) -> BoolArray:
    out = np.zeros(view.n, dtype=np.bool_)
    for phase in view.phases:
        if phase.name in ("lower_body_arrest", "no_flow_arrest"):
            out[view.index(phase.start_s) : view.index(phase.end_s) + AFTER_ARREST_S] = True
    return out


def _without_core(view: View, params: Params) -> list[str]:  # noqa: ARG001
    return [] if view.core else ["E15 not looked for by the core temperature: no core temperature"]


def _jump(recorded: FloatArray, start: int, stop: int) -> str:
    piece = recorded[max(0, start - 150) : stop + 150]
    steps = np.abs(piece[10:] - piece[:-10])
    largest = float(np.nanmax(steps, initial=0.0))
    kind = "it may be" if largest >= STEP_C else "no step"
    return f"{kind}: the largest change within 10 s is {largest:.1f} °C"


E14 = Rule(
    code="E14",
    name="temperature gradient excess",
    family="gradients",
    needs=("outlet_temperature", "venous_temperature"),
    phase=("bypass",),
    words="Between arterial outlet and venous blood, for at least {minimum} s on bypass at {flow} L/min or more: a, "
    "cooling, venous over outlet by more than {cooling} °C; b, warming with the outlet under {warm} °C, outlet over "
    "venous by more than {warming_cold} °C; c, warming with the outlet at {warm} °C or more, by more than "
    "{warming_warm} °C.",
    status="P",
    source="STS/SCA/AmSECT guideline, Engelman et al., Ann Thorac Surg 2015;100:748-57; lengths and lowest flow are "
    "this project's choice",
    parameters={
        "cooling": Parameter(10, "Cel", "gradient beyond which it counts, cooling"),
        "warming_cold": Parameter(10, "Cel", "the same, warming with a cold outlet"),
        "warming_warm": Parameter(4, "Cel", "the same, warming with a warm outlet"),
        "warm": Parameter(30, "Cel", "outlet temperature from which it is warm"),
        "minimum": Parameter(60, "s", "shortest length"),
        "flow": Parameter(1.0, "L/min", "lowest pump flow at which it is looked for"),
    },
    find=find_gradient,
    details=f"Outlet and gradient are means of {SMOOTH_S} s, since readings are rounded. {RUNS} Plain from "
    f"{PLAIN_GRADIENT_C:g} °C beyond. A gradient of exactly the limit does not exceed it.",
)
E15 = Rule(
    code="E15",
    name="fast rewarming",
    family="gradients",
    needs=("outlet_temperature",),
    phase=("bypass",),
    words="The 5-minute slope of the core temperature, or of the outlet where all 5 minutes of it are warm, is more "
    "than "
    "{above} °C/min for at least {minimum} s, with the outlet at {warm} °C or more and {flow} L/min or more; not in "
    "the "
    f"first {AFTER_ARREST_S} s after an arrest.",
    status="P",
    source="0.5 °C/min with the outlet at 30 °C or more: STS/SCA/AmSECT guideline, Engelman et al., Ann Thorac Surg "
    "2015;100:748-57; window and lengths are this project's choice",
    parameters={
        "above": Parameter(0.5, "Cel/min", "slope beyond which it counts"),
        "warm": Parameter(30, "Cel", "outlet temperature from which it is looked for"),
        "minimum": Parameter(120, "s", "shortest length"),
        "flow": Parameter(1.0, "L/min", "lowest pump flow at which it is looked for"),
    },
    find=find_fast_warming,
    details=f"Least-squares slope of the 5 min around each second. {RUNS} A change of {STEP_C:g} °C within 10 s is "
    f"told "
    f"as a probe that may have been moved. Plain from {PLAIN_RATE:g} °C/min beyond.",
    parts=_without_core,
)
RULES = (E14, E15)
