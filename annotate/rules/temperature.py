"""Patterns of the temperatures: an outlet that is too warm."""

from __future__ import annotations

import numpy as np

from ..runs import evidence_runs, median
from ..view import View
from .rule import (
    BEFORE_S,
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

READING = 1e-3  # °C; a reading of 37.0 stored in 32 bits is not under 37.0


def find_hot_outlet(view: View, params: Params) -> list[Find]:
    """E16: see the rule's words."""
    outlet = view.outlet
    assert outlet is not None
    hot = outlet >= params["from"] - READING
    if view.phases:
        hot &= view.inside("bypass")
    found = []
    for run in evidence_runs(hot, np.isfinite(outlet), minimum=int(params["minimum"])):
        inside = outlet[run.start : run.stop]
        peak = float(np.nanmax(inside))
        area = float(np.nansum(np.clip(inside - params["from"], 0, None))) / 60
        core = view.core_near(run.start)
        found.append(
            Find(
                "E16",
                E16.name,
                view.time(run.start),
                view.time(run.stop),
                ("outlet_temperature",),
                "",
                confidence(
                    margin=(peak - params["from"]) / params["calibration"],
                    duration=run.used / params["minimum"],
                    seen=run.used / (run.stop - run.start),
                ),
                {
                    "rule": E16.sentence(params),
                    "limit": params["from"],
                    "unit": "Cel",
                    "crossings": [view.time(run.start), view.time(run.stop)],
                    "before": rounded(before(outlet, run.start)),
                    "during": rounded(median(inside)),
                    "peak": rounded(peak),
                    "after": rounded(median(outlet[run.stop : run.stop + BEFORE_S])),
                    "minutes": rounded(run.used / 60, 2),
                    "area_cel_min": rounded(area, 2),
                    "core_c": rounded(core),
                    **counted(view, run, "outlet_temperature"),
                    "alternatives": [
                        alternative(
                            "the sensor's calibration",
                            f"the peak is {peak - params['from']:.1f} °C beyond the limit; sensors may differ by "
                            f"{params['calibration']:g} °C",
                        ),
                        alternative("a wrong unit", "the values before and after are temperatures of blood"),
                    ],
                },
            )
        )
    return found


E16 = Rule(
    code="E16",
    name="hyperthermic outlet",
    family="temperature",
    needs=("outlet_temperature",),
    phase=("bypass",),
    words="Arterial outlet at {from} °C or more for at least {minimum} s on bypass (anywhere where no phase is known); "
    "peak, minutes and area beyond are given.",
    status="P",
    source="outlet below 37 °C: STS/SCA/AmSECT guideline, Engelman et al., Ann Thorac Surg 2015;100:748-57; "
    "the 30 s are this project's choice",
    parameters={
        "from": Parameter(37.0, "Cel", "outlet temperature from which it counts"),
        "minimum": Parameter(30, "s", "shortest length"),
        "calibration": Parameter(0.3, "Cel", "how far two sensors may differ (common practice, no source)"),
    },
    find=find_hot_outlet,
    details=f"{RUNS} A reading within {READING:g} °C of the limit is on it. Plain from {{calibration}} °C beyond it.",
)
RULES = (E16,)
