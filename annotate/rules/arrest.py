"""Planned stops of the flow: circulatory arrest, selective cerebral perfusion."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ..measures.flow import flow_per_weight
from ..phase_arrests import head_site, lower_body_site
from ..phase_model import Phase
from ..runs import median, smooth
from ..view import View
from .rule import Find, Parameter, Params, Rule, alternative, before, confidence, rounded

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
        name: float(np.nanmin(smooth(view.values[name][soon], 5)))
        for name in view.arterial
        if np.isfinite(view.values[name][soon]).any()
    }
    low = all(level < params["pressure"] for level in levels.values())
    if levels and not low and not phase.confirmed_by:
        return None
    core = view.core_near(start)
    rose = float("nan")
    if reservoir is not None:
        rose = median(reservoir[start + 60 : start + 180]) - before(reservoir, start, 60)
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
    agree = [low and bool(levels), not warm and bool(np.isfinite(core)), bool(rose >= params["reservoir"])]
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
            "after": rounded(median(flow[stop : stop + 60]), 2),
            "unit": "L/min",
            "used_s": int(known.sum()),
            "masked_s": view.masked_seconds("pump_flow", start, stop),
            "unknown_s": int((~known).sum()),
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
        settled = slice(min(stop - 1, start + 60), max(start + 61, stop - 10))
        rate, pressure = flow[settled], view.values[head][settled]
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
                    margin=(median(pressure) - params["head"]) / 15.0,
                    duration=(stop - start) / 60.0,
                    seen=float(known.mean()),
                ),
                {
                    "rule": E18.sentence(params),
                    "crossings": [phase.start_s, phase.end_s],
                    "before": rounded(before(flow, start), 2),
                    "during": rounded(median(rate), 2),
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
                    "used_s": int(known.sum()),
                    "masked_s": view.masked_seconds(head, start, stop),
                    "unknown_s": int((~known).sum()),
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


def _flag(flags: list[str], values: np.ndarray, low: float, high: float, what: str, unit: str) -> None:
    under, over = int((values < low).sum()), int((values > high).sum())
    if under:
        flags.append(f"{what} under {low:g} {unit} for {under} s")
    if over:
        flags.append(f"{what} over {high:g} {unit} for {over} s")


def _levels(rate: np.ndarray) -> list[float]:
    """Levels that the flow kept, in order: a new one where it moved by more than a tenth for good."""
    smoothed = smooth(rate, 31)
    levels: list[float] = []
    edges = [0]
    for index in range(30, len(smoothed) - 30, 10):
        early, late = (
            median(smoothed[max(edges[-1], index - 60) : index]),
            median(smoothed[index + 15 : index + 60]),
        )
        if abs(late - early) > 0.1 * early and index - edges[-1] >= 60:
            edges.append(index + 15)
    for low, high in pairwise([*edges, len(smoothed)]):
        levels.append(median(smoothed[low:high]))
    return [
        level
        for index, level in enumerate(levels)
        if index == 0 or abs(level - levels[index - 1]) > 0.05 * level
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
    words="Pump flow at rest (0.1 L/min or less) for at least {minimum} s and every arterial site under "
    "{pressure} mmHg within {within} s; core at most {core} °C and the reservoir up by at least "
    "{reservoir} mL are asked for and said if they do not agree. Class by the nasopharyngeal "
    "temperature at the start.",
    status="P",
    source="classes: Yan et al., Ann Cardiothorac Surg 2013;2:163-8 (bands other than moderate from memory);"
    " the rest is this project's choice",
    parameters={
        "minimum": Parameter(120, "s", "shortest length"),
        "pressure": Parameter(20, "mm[Hg]", "level that every arterial site falls under"),
        "within": Parameter(120, "s", "time that the pressures may take"),
        "core": Parameter(28, "Cel", "core temperature above which it is asked whether it is an arrest"),
        "reservoir": Parameter(500, "mL", "rise of the reservoir that is expected"),
    },
    find=find_arrest,
)
E18 = Rule(
    code="E18",
    name="selective cerebral perfusion",
    family="arrest",
    needs=("pump_flow", "femoral", "upper_body"),
    phase=("selective_cerebral",),
    words="Inside an arrest of the lower body: flow above 0.2 L/min and up to 20 mL/kg/min with the femoral"
    " pressure under 20 mmHg and the head's side at {head} mmHg or more. Seconds outside {flow_low} "
    "to {flow_high} mL/kg/min or {pressure_low} to {pressure_high} mmHg are counted.",
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
)
RULES = (E17, E18)
