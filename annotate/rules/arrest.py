"""Planned stops of the flow: circulatory arrest, selective cerebral perfusion."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ..measures.flow import flow_per_weight
from ..phase_arrests import (
    SELECTIVE_MINIMUM_S,
    SELECTIVE_ML_KG,
    SELECTIVE_TOP,
    head_site,
    lower_body_site,
)
from ..phase_model import Phase
from ..phase_rules import ARREST_MINIMUM_S, ARREST_PRESSURE, FLOW_OFF, FLOW_ON
from ..runs import median, smooth
from ..view import View
from .rule import (
    BEFORE_S,
    Find,
    Parameter,
    Params,
    Rule,
    alternative,
    before,
    confidence,
    counted_on,
    in_words,
    rounded,
)

LEVEL_SMOOTH_S = 5  # s that the arterial levels are medians of
RESERVOIR_S = (60, 180)  # s after the stop, over which the reservoir's level is a median
SETTLED_S = (60, 10)  # s left out at the start and the end of selective perfusion
PLAIN_HEAD = 15.0  # mm[Hg] over the least at the head's side that is plain
PLAIN_SELECTIVE_S = 60  # s of selective perfusion, three times which are plain
STEP_SHARE, STEP_S = 0.1, 60  # change of the flow, and seconds that a level lasts, for a new level
STEP_SKIP_S = 15  # s that the flow may take from one level to the next
LEVEL_SHARE = 0.05  # two levels closer than this are one
LEVEL_MEDIAN_S = 31  # s that the flow is a median of for its levels

ARRESTED = ("no_flow_arrest", "lower_body_arrest", "selective_cerebral")
"""Phases in which a low arterial pressure is planned."""

BANDS = ((14.0, "profound"), (20.0, "deep"), (28.0, "moderate"), (34.0, "mild"))
"""Upper ends, °C, of the classes of hypothermia; each takes in its upper end, so that no value falls between."""


def temperature_class(core_c: float) -> str:
    """Class of hypothermia of a core temperature.

    Parameters
    ----------
    core_c : float
        Nasopharyngeal temperature, °C.

    Returns
    -------
    str
        ``"profound"`` up to 14, ``"deep"`` up to 20, ``"moderate"`` up to 28, ``"mild"`` up to 34, else
        ``"none"``; empty for NaN.

    References
    ----------
    Yan et al., Ann Cardiothorac Surg 2013;2:163-8 (bands other than moderate from memory).
    """
    if not np.isfinite(core_c):
        return ""
    return next((name for top, name in BANDS if core_c <= top), "none")


# -- E17 -------------------------------------------------------------------------------------------


def find_arrest(view: View, params: Params) -> list[Find]:
    """E17: see the rule's words."""
    return [
        find
        for phase in view.of_name("no_flow_arrest")
        for find in [_arrest(view, phase, params)]
        if find is not None
    ]


def _arrest(view: View, phase: Phase, params: Params) -> Find | None:
    flow, reservoir = view.flow, view.reservoir
    assert flow is not None
    start, stop = view.index(phase.start_s), view.index(phase.end_s)
    if stop - start < params["minimum"]:
        return None
    known = np.isfinite(flow[start:stop])
    soon = slice(start, min(stop, start + int(params["within"])))
    levels = {
        name: float(np.nanmin(smooth(view.values[name][soon], LEVEL_SMOOTH_S)))
        for name in view.arterial
        if np.isfinite(view.values[name][soon]).any()
    }
    low = all(level < params["pressure"] for level in levels.values())
    if levels and not low and not phase.set_by:
        return None
    core = view.core_near(start)
    rose = float("nan")
    if reservoir is not None:
        rose = median(reservoir[start + RESERVOIR_S[0] : start + RESERVOIR_S[1]]) - before(reservoir, start)
    core_name = view.core.removesuffix("_temperature")
    warm = bool(np.isfinite(core) and core > params["core"])
    alternatives = [
        alternative("a pump stop that nobody ordered", f"it lasted {(stop - start) / 60:.1f} min"
                    + (f" at a core of {core:.1f} °C" if np.isfinite(core) else "")),
        alternative("a gap of the recording", f"flow was recorded for {known.sum()} of {stop - start} s"
                    + ("" if known.all() else "; meanwhile the arterial pressures and the reservoir still said off")),
        alternative("a flow probe that reads zero",
                    f"arterial pressure went down to {max(levels.values()):.0f} mmHg or less at {len(levels)} site(s)"
                    if levels else "cannot tell: no arterial pressure"),
    ]  # fmt: skip
    if warm:
        alternatives.append(
            alternative("a gap or a stopped pump", f"cannot be ruled out: the core is {core:.1f} °C")
        )
    unordered = [
        name
        for name in levels
        if not np.isfinite(view.sd_between("pump_flow", phase.start_s, name, phase.start_s))
    ]
    if unordered:
        alternatives.append(
            alternative(
                "pressures that were low at another time",
                f"cannot tell: flow and {in_words(unordered)} cannot be ordered, a clock of theirs is not set",
            )
        )
    agree = [
        low and bool(levels) and not unordered,
        not warm and bool(np.isfinite(core)),
        bool(rose >= params["reservoir"]),
    ]
    asked = [bool(levels), bool(np.isfinite(core)), bool(np.isfinite(rose))]
    return Find(
        "E17",
        E17.name,
        phase.start_s,
        phase.end_s,
        ("pump_flow", *levels),
        view.believed,
        confidence(
            margin=1.0,
            duration=(stop - start) / params["minimum"],
            seen=max(0.5, float(known.mean())) if len(known) else 0.5,
            agreement=sum(agree) / max(1, sum(asked)),
        ),
        {
            "rule": E17.sentence(params),
            "crossings": [phase.start_s, phase.end_s],
            "before": rounded(before(flow, start), 2),
            "during": rounded(median(flow[start:stop]), 2),
            "after": rounded(median(flow[stop : stop + BEFORE_S]), 2),
            "unit": "L/min",
            **counted_on(view, "pump_flow", start, stop),
            "arterial_low": {name: rounded(level) for name, level in levels.items()},
            "core_c": rounded(core),
            "core_site": core_name or None,
            "class": temperature_class(core) if core_name == "nasopharyngeal" else None,
            "reservoir_rise_ml": rounded(rose, 0),
            "phase_confirmed_by": phase.confirmed_by or None,
            "alternatives": alternatives,
        },
    )


# -- E18 -------------------------------------------------------------------------------------------


def find_selective_perfusion(view: View, params: Params) -> list[Find]:
    """E18: see the rule's words."""
    flow = view.flow
    head, femoral = head_site(view), lower_body_site(view)
    assert flow is not None
    found = []
    for phase in view.of_name("selective_cerebral"):
        start, stop = view.index(phase.start_s), view.index(phase.end_s)
        if not head or not femoral or stop <= start:
            continue
        # The first minute rises to the level and the last seconds leave it.
        first, last = SETTLED_S
        settled = slice(min(stop - 1, start + first), max(start + first + 1, stop - last))
        rate, pressure = flow[settled], view.values[head][settled]
        if median(pressure) < params["head"]:
            continue
        weight = view.facts.weight_kg
        flags: list[str] = []
        per_kg = flow_per_weight(rate, weight) if weight else None
        if per_kg is not None:
            _flag(flags, per_kg, params["flow_low"], params["flow_high"], "flow", "mL/kg/min")
        _flag(flags, pressure, params["pressure_low"], params["pressure_high"], "pressure", "mmHg")
        levels = _levels(rate)
        known = np.isfinite(flow[start:stop])
        found.append(
            Find(
                "E18",
                E18.name,
                phase.start_s,
                phase.end_s,
                ("pump_flow", head, femoral),
                head,
                confidence(
                    margin=(median(pressure) - params["head"]) / PLAIN_HEAD,
                    duration=(stop - start) / PLAIN_SELECTIVE_S,
                    seen=float(known.mean()),
                ),
                {
                    "rule": E18.sentence(params),
                    "crossings": [phase.start_s, phase.end_s],
                    "before": rounded(before(flow, start), 2),
                    "during": rounded(median(rate), 2),
                    "after": rounded(median(flow[stop : stop + BEFORE_S]), 2),
                    "unit": "L/min",
                    "flow_levels": [rounded(level, 2) for level in levels],
                    "flow_ml_per_kg_min": [
                        rounded(level) for level in flow_per_weight(levels, weight).tolist()
                    ]
                    if weight
                    else None,
                    "mean_flow": rounded(float(np.nanmean(flow[start:stop])), 2),
                    "head_pressure": rounded(median(pressure)),
                    "femoral_pressure": rounded(median(view.values[femoral][settled])),
                    "outside_band": flags,
                    **counted_on(view, "pump_flow", start, stop),
                    "alternatives": [
                        alternative(
                            "low flow to the whole body",
                            f"femoral pressure stayed at {median(view.values[femoral][settled]):.0f} mmHg",
                        ),
                        alternative("perfusion backwards through the veins", _backwards(view, start, stop)),
                    ],
                },
            )
        )
    return found


def _without_head(view: View, params: Params) -> list[str]:  # noqa: ARG001
    """That the lines above the legs are of the arm that the head's flow does not reach."""
    head = head_site(view)
    if head and view.get(head) is not None:
        return []
    side = view.facts.inflow_side or "right"
    return [
        f"E18 not looked for: no arterial pressure of the neck or of the {side} arm, which the head's flow reaches"
    ]


def _flag(flags: list[str], values: np.ndarray, low: float, high: float, what: str, unit: str) -> None:
    under, over = int((values < low).sum()), int((values > high).sum())
    if under:
        flags.append(f"{what} under {low:g} {unit} for {under} s")
    if over:
        flags.append(f"{what} over {high:g} {unit} for {over} s")


def _levels(rate: np.ndarray) -> list[float]:
    """Levels that the flow kept, in order: a new one where it moved by more than a tenth for good."""
    smoothed = smooth(rate, LEVEL_MEDIAN_S)
    levels: list[float] = []
    edges = [0]
    for index in range(STEP_S // 2, len(smoothed) - STEP_S // 2, 10):
        early, late = (
            median(smoothed[max(edges[-1], index - STEP_S) : index]),
            median(smoothed[index + STEP_SKIP_S : index + STEP_S]),
        )
        if abs(late - early) > STEP_SHARE * early and index - edges[-1] >= STEP_S:
            edges.append(index + STEP_SKIP_S)
    for low, high in pairwise([*edges, len(smoothed)]):
        levels.append(median(smoothed[low:high]))
    return [
        level
        for index, level in enumerate(levels)
        if index == 0 or abs(level - levels[index - 1]) > LEVEL_SHARE * level
    ]


def _backwards(view: View, start: int, stop: int) -> str:
    cvp = view.cvp
    if cvp is None:
        return "cannot tell: no central venous pressure"
    return f"central venous pressure {median(cvp[start:stop]):.0f} mmHg, {before(cvp, start):.0f} before"


E17 = Rule(
    code="E17",
    name="circulatory arrest, no flow",
    family="arrest",
    needs=("pump_flow", "arterial"),
    phase=("no_flow_arrest",),
    words=f"Pump flow at rest ({FLOW_OFF:g} L/min or less) for at least {{minimum}} s in an arrest (the phase: a stop "
    f"of {ARREST_MINIMUM_S} s or more, or a shorter one beside selective cerebral perfusion) and every recorded "
    "arterial site under {pressure} mmHg within {within} s, unless a person set the arrest's times; core at most "
    "{core} °C and the reservoir up by at least {reservoir} mL are asked for and said if they do not agree. Class by "
    f"the nasopharyngeal temperature at the start: {', '.join(f'{name} up to {top:g}' for top, name in BANDS)} °C.",
    status="P",
    source="classes: Yan et al., Ann Cardiothorac Surg 2013;2:163-8 (bands other than moderate from memory);"
    " the rest is this project's choice",
    parameters={
        "minimum": Parameter(
            120, "s", "shortest length; under it only a stop beside selective perfusion can be"
        ),
        "pressure": Parameter(20, "mm[Hg]", "level that every arterial site falls under"),
        "within": Parameter(120, "s", "time that the pressures may take"),
        "core": Parameter(28, "Cel", "core temperature above which it is asked whether it is an arrest"),
        "reservoir": Parameter(500, "mL", "rise of the reservoir that is expected"),
    },
    find=find_arrest,
    details=f"Pressures are medians of {LEVEL_SMOOTH_S} s. The reservoir's level is that of {RESERVOIR_S[0]} to "
    f"{RESERVOIR_S[1]} s after the stop against that of the {BEFORE_S} s before. A gap of the flow stays in the arrest "
    "where the pressures and the reservoir still say that it is off. Pressures that cannot be ordered against the "
    "flow, since a clock of theirs is not set, do not count as agreeing.",
    version=2,
)
E18 = Rule(
    code="E18",
    name="selective cerebral perfusion",
    family="arrest",
    needs=("pump_flow", "femoral", "upper_body"),
    phase=("selective_cerebral",),
    words=f"Inside an arrest of the lower body (the phase): flow above {FLOW_ON:g} L/min and up to "
    f"{SELECTIVE_ML_KG:g} mL/kg/min (at least {SELECTIVE_TOP:g} L/min) for {SELECTIVE_MINIMUM_S} s with the "
    f"femoral pressure under {ARREST_PRESSURE:g} mmHg and the head's side at {{head}} mmHg or more. Seconds outside "
    "{flow_low} to {flow_high} mL/kg/min or {pressure_low} to {pressure_high} mmHg are counted.",
    status="C",
    source="10 mL/kg/min at 50 to 70 mmHg is described in Heart Lung Circ 2009;18:334; the bands are common "
    "practice, no source",
    parameters={
        "head": Parameter(25, "mm[Hg]", "pressure at the head's side"),
        "flow_low": Parameter(6, "mL/kg/min", "flow under which seconds are counted"),
        "flow_high": Parameter(15, "mL/kg/min", "flow over which seconds are counted"),
        "pressure_low": Parameter(40, "mm[Hg]", "pressure under which seconds are counted"),
        "pressure_high": Parameter(70, "mm[Hg]", "pressure over which seconds are counted"),
    },
    find=find_selective_perfusion,
    details=f"The first {SETTLED_S[0]} s, in which the flow rises, and the last {SETTLED_S[1]} s are left out. A new "
    f"level of the flow (medians of {LEVEL_MEDIAN_S} s) is one that moved by more than {100 * STEP_SHARE:g} % within "
    f"{STEP_SKIP_S} s for {STEP_S} s; levels within {100 * LEVEL_SHARE:g} % are one. Plain from {PLAIN_HEAD:g} mmHg "
    f"over the least at the head's side and three times {PLAIN_SELECTIVE_S} s.",
    parts=_without_head,
)
RULES = (E17, E18)
