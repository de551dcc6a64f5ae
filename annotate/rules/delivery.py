"""What the pump delivers while it is warm: flow index and oxygen delivery under their limits."""

from __future__ import annotations

import numpy as np

from ..measures.oxygen import arterial_oxygen_content, haemoglobin_age, oxygen_delivery_index
from ..phase_rules import FLOW_OFF
from ..runs import BoolArray, FloatArray, evidence_runs, median, smooth
from ..view import View
from .course_find import course_find
from .rule import RUNS, Find, Parameter, Params, Rule, alternative

FLOW_SMOOTH_S = 9  # s of flow that its level is a median of
STALE_S = 1800.0  # s from which a haemoglobin is told as old
PLAIN_INDEX, PLAIN_DELIVERY = 0.2, 20.0  # beyond a limit that is plain


def warm_bypass(view: View, outlet_from: float) -> BoolArray:
    """Seconds in which flow and delivery are judged: established bypass, warm, no arrest nor brain perfusion alone."""
    outlet = view.outlet
    assert outlet is not None
    inside = view.inside("bypass") & ~view.inside(
        "going_on", "weaning", "lower_body_arrest", "no_flow_arrest", "selective_cerebral"
    )
    return inside & (outlet >= outlet_from)


def haemoglobin_of(view: View) -> tuple[FloatArray | None, FloatArray | None]:
    """Haemoglobin of each second in g/dL, and how old it is in seconds (None where a channel gives it)."""
    recorded = view.get("haemoglobin")
    if recorded is not None:
        return recorded, None
    if not view.facts.haemoglobin_rows:
        return None, None
    drawn, values = np.array(view.facts.haemoglobin_rows, dtype=np.float64).T
    t = view.start + np.arange(view.n)
    last = np.searchsorted(drawn, t, side="right") - 1
    return np.where(last >= 0, values[np.maximum(last, 0)], np.nan), haemoglobin_age(t, drawn)


def flow_index_of(view: View) -> FloatArray | None:
    """Pump flow index of each second, L/min/m²; None without flow or body surface."""
    flow, surface = view.flow, view.facts.body_surface_m2
    if flow is None or not surface:
        return None
    return np.where(flow <= FLOW_OFF + 1e-6, 0.0, flow) / surface


def delivery_of(view: View) -> FloatArray | None:
    """Oxygen delivery index of each second, mL/min/m²; None where something that it needs is not known."""
    index, (haemoglobin, _), facts = flow_index_of(view), haemoglobin_of(view), view.facts
    if index is None or haemoglobin is None:
        return None
    if facts.arterial_saturation is None or facts.arterial_oxygen_mmhg is None:
        return None
    content = arterial_oxygen_content(
        haemoglobin, facts.arterial_saturation, facts.arterial_oxygen_mmhg, facts.oxygen
    )
    return np.asarray(oxygen_delivery_index(index, content))


def _known(view: View, level: FloatArray) -> BoolArray:
    """Seconds of which the level and the outlet are known."""
    assert view.outlet is not None
    return np.isfinite(level) & np.isfinite(view.outlet)


def find_low_flow(view: View, params: Params) -> list[Find]:
    """E11: see the rule's words."""
    index = flow_index_of(view)
    assert index is not None
    assert view.facts.body_surface_m2
    level = smooth(index, FLOW_SMOOTH_S)
    planned = view.facts.planned_flow
    of_plan = params["of_plan"] / 100 * planned / view.facts.body_surface_m2 if planned else 0.0
    limit = max(params["below"], of_plan)
    holds = (level < limit) & warm_bypass(view, params["outlet"])
    found = []
    for run in evidence_runs(holds, _known(view, level), minimum=int(params["minimum"])):
        pressure = view.pressure
        meanwhile = median(pressure[run.start : run.stop]) if pressure is not None else float("nan")
        found.append(
            course_find(
                E11, view, run, level, params=params, channels=("pump_flow",), limit=limit, unit="L/min/m2",
                above=False, plain=PLAIN_INDEX, minimum=params["minimum"],
                of="pump flow index", area=True,
                limit_words=f"{params['of_plan']:g} % of the planned index" if limit == of_plan else None,
                alternatives=[
                    alternative("lowered by hand for a moment, as to move a clamp", f"it lasted {run.used} s"),
                    alternative("a cold low-flow plan", f"the outlet was at {params['outlet']:g} °C or more"),
                    alternative("a flow probe that reads low",
                                f"mean pressure meanwhile {meanwhile:.0f} mmHg" if np.isfinite(meanwhile)
                                else "cannot tell: no arterial pressure"),
                ],
            )
        )  # fmt: skip
    return found


def find_low_delivery(view: View, params: Params) -> list[Find]:
    """E12: see the rule's words."""
    delivery = delivery_of(view)
    assert delivery is not None
    level = smooth(delivery, FLOW_SMOOTH_S)
    _, age = haemoglobin_of(view)
    holds = (level < params["below"]) & warm_bypass(view, params["outlet"])
    found = []
    for run in evidence_runs(holds, _known(view, level), minimum=int(params["minimum"])):
        oldest = float(np.nanmax(age[run.start : run.stop])) if age is not None else float("nan")
        stale = (
            "it was recorded all along" if age is None
            else f"{'may be' if oldest > STALE_S else 'hardly'}: the value was up to {oldest / 60:.0f} min old"
        )  # fmt: skip
        found.append(
            course_find(
                E12, view, run, level, params=params, channels=("pump_flow",), limit=params["below"],
                unit="mL/min/m2", above=False, plain=PLAIN_DELIVERY, minimum=params["minimum"],
                of="oxygen delivery index", area=True, constants=str(view.facts.oxygen),
                alternatives=[
                    alternative("a haemoglobin that was out of date", stale),
                    alternative("another body surface formula or oxygen constant",
                                "formulas differ by up to a fifth in the obese; constants by up to 3.7 %"),
                    alternative("another limit", "262, 270, 272 and 300 are published as well; none is a target"),
                ],
            )
        )  # fmt: skip
    return found


E11 = Rule(
    code="E11",
    name="low flow index",
    family="delivery",
    needs=("pump_flow", "body_surface", "outlet_temperature"),
    phase=("bypass",),
    words="Pump flow index under {below} L/min/m², or under {of_plan} % of the planned one where that is higher, for "
    "at "
    "least {minimum} s on established bypass with the outlet at {outlet} °C or more, outside arrests, brain perfusion "
    "alone and the ramps of going on and coming off.",
    status="C",
    source="common practice, no source",
    parameters={
        "below": Parameter(2.0, "L/min/m2", "index under which it counts"),
        "of_plan": Parameter(80, "%", "or index under which it counts, of the planned one"),
        "minimum": Parameter(180, "s", "shortest length"),
        "outlet": Parameter(32, "Cel", "outlet temperature from which it is looked for"),
    },
    find=find_low_flow,
    details=f"The index is a median of {FLOW_SMOOTH_S} s, by Du Bois body surface. {RUNS} Plain from "
    f"{PLAIN_INDEX:g} L/min/m² beyond.",
    version=2,
)
E12 = Rule(
    code="E12",
    name="low oxygen delivery",
    family="delivery",
    needs=("pump_flow", "body_surface", "oxygen_content", "outlet_temperature"),
    phase=("bypass",),
    words="Oxygen delivery index under {below} mL/min/m² for at least {minimum} s on established bypass with the "
    "outlet "
    "at {outlet} °C or more, outside arrests, brain perfusion alone and the ramps of going on and coming off.",
    status="P",
    source="280 in a randomised trial: Ranucci et al. J Thorac Cardiovasc Surg 2018;156; 262, 270, 272 and 300 are "
    "published too, and none helped in a high-risk group (J Extra Corpor Technol 2022;54:128-34); the length is this "
    "project's choice",
    parameters={
        "below": Parameter(280, "mL/min/m2", "index under which it counts; must be chosen, none is a target"),
        "minimum": Parameter(300, "s", "shortest length"),
        "outlet": Parameter(32, "Cel", "outlet temperature from which it is looked for"),
    },
    find=find_low_delivery,
    details=f"The index is a median of {FLOW_SMOOTH_S} s. {RUNS} A haemoglobin older than {STALE_S / 60:.0f} min is "
    f"told. Plain from {PLAIN_DELIVERY:g} mL/min/m² beyond.",
    version=2,
)
RULES = (E11, E12)
