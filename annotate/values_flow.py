"""Computed values of body size, planned and given flow, oxygen and resistance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .circulation import (
    NO_OUTPUT,
    brain_perfusion_pressure,
    flow_by_weight,
    inflow_line_resistance,
    oxygen_consumption,
    oxygen_extraction,
    systemic_resistance,
    systemic_resistance_index,
)
from .computed_value import Value, used
from .derived import Absent, Measured
from .figure_bench import Bench
from .measures.body import (
    BODY_SURFACE_AREA_FORMULAS,
)
from .measures.flow import pump_flow_index
from .measures.intervals import Interval
from .measures.oxygen import haemoglobin_age
from .measures.resistance import WOOD_TO_DYN
from .runs import smooth

ESTABLISHED = "established"
RUNNING_S = 601  # of the running number that a line's resistance is held against (this project's choice)
OLD_S = 1800.0  # from which a haemoglobin is called old (common practice, no source)


def size_and_plan(bench: Bench) -> list[Value]:
    """Body surface by each formula, and the planned flow."""
    patient, sheet = bench.case.patient, bench.case.sheet
    rows = []
    for name, formula in BODY_SURFACE_AREA_FORMULAS.items():
        row = Value("body", "body_surface_area", unit="m2", words=name.replace("_", " "))
        if not patient.height_cm or not patient.weight_kg:
            rows.append(row.why_not("no height and weight on the case sheet"))
            break
        rows.append(replace(row, value=float(formula(patient.height_cm, patient.weight_kg))))
    index, surface = sheet.planned_flow_index, bench.derived.body_surface_area
    plan = Value("flow", "planned_flow", unit="L/min", reference="planned index times body surface (Du Bois)")
    back = Value("flow", "planned_flow_index", unit="L/min/m2", reference="Perfusion 2011;26:45-50")
    if index is None:
        return [*rows, plan.why_not("no planned flow index on the case sheet")]
    if surface is None:
        return [*rows, replace(back, value=index), plan.why_not("no height and weight on the case sheet")]
    flow = index * surface
    return [
        *rows,
        replace(plan, value=flow),
        replace(back, value=float(pump_flow_index(flow, surface))).noted(
            f"of the planned {flow:.2f} L/min; body surface {surface:.2f} m2 (Du Bois)"
        ),
    ]


def flow_and_oxygen(bench: Bench) -> list[Value]:
    """Flow and oxygen over the established bypass, arrests left out, and how old the haemoglobin was."""
    derived = bench.derived
    wanted: list[tuple[str, str, Measured, str]] = [
        ("flow", "pump_flow_index", derived.pump_flow_index, "Perfusion 2011;26:45-50"),
        ("oxygen", "oxygen_delivery_index", derived.oxygen_delivery_index, "Crit Care 2011;15:R192"),
        ("oxygen", "oxygen_consumption_index", oxygen_consumption(derived), "Fick's principle"),
        (
            "oxygen",
            "oxygen_extraction_ratio",
            oxygen_extraction(derived),
            "(arterial - venous) / arterial content",
        ),
    ]
    window = _established(bench)
    rows = [
        Value(section, name, words="median", phase=ESTABLISHED, reference=reference).of(
            measured, window, bench.windows.arrests
        )
        for section, name, measured, reference in wanted
    ]
    return [*rows, _age(bench, window)]


def _age(bench: Bench, window: list[Interval] | Absent) -> Value:
    """Oldest haemoglobin that oxygen delivery rests on."""
    row = Value(
        "oxygen", "haemoglobin_age", unit="min", words="oldest", phase=ESTABLISHED,
        reference="since the draw; 30 min and more as old: common practice, no source",
    )  # fmt: skip
    recorded = bench.derived.haemoglobin
    if isinstance(recorded, Absent):
        return row.why_not(recorded.reason)
    if isinstance(window, Absent):
        return row.why_not(window.reason)
    if recorded.site:
        signal = next(one for one in bench.derived.signals.values() if one.token == recorded.site)
        every = signal.first.interval_s
        row = replace(row.of(recorded, window), unit="min", value=every / 60)
        return row.noted(f"recorded by a device, every {every:g} s")
    drawn = np.array([at for at, _ in bench.case.sheet.haemoglobin_rows], dtype=np.float64)
    age = haemoglobin_age(recorded.t, drawn)
    row = replace(row.of(recorded, window), unit="min", site="case sheet")
    inside = used(recorded, window)
    if row.value is None or not inside.any():
        return row
    old = float(np.count_nonzero(age[inside] >= OLD_S))
    said = f"{old / 60:.1f} of {row.observed_s / 60:.1f} min rest on one of 30 min and older" if old else ""
    return replace(row, value=float(age[inside].max()) / 60).noted(said)


def resistances(bench: Bench) -> list[Value]:
    """Of the body on and off bypass, of the lungs, and of the arterial line."""
    derived, window, arrests = bench.derived, _established(bench), bench.windows.arrests
    pulse = bench.pulse_at_site
    rows = []
    on_bypass = "(MAP - CVP) / pump flow: a convention from memory; 1 mmHg·min/L is 80 dyn·s/cm5"
    for name, measured in (
        ("systemic_vascular_resistance", systemic_resistance(derived, pulse)),
        ("systemic_vascular_resistance_index", systemic_resistance_index(derived, pulse)),
    ):
        row = Value("resistance", name, words="median", phase=ESTABLISHED, reference=on_bypass)
        row = row.of(measured, window, arrests)
        said = "" if row.value is None else f"{row.value * WOOD_TO_DYN:.0f} dyn·s/cm5"
        rows.append(row.noted(said if name == "systemic_vascular_resistance" else ""))
    off = Value("resistance", "systemic_vascular_resistance", phase="off", reference="(MAP - CVP) / output")
    lungs = Value(
        "resistance", "pulmonary_vascular_resistance", phase="off", reference="(PA - wedge) / output"
    )
    rows += [off.why_not(NO_OUTPUT), lungs.why_not(f"{NO_OUTPUT}; no wedge pressure is recorded")]
    return rows + _line(bench, inflow_line_resistance(derived), window)


def _line(bench: Bench, measured: Measured, window: list[Interval] | Absent) -> list[Value]:
    """The arterial line: its ordinary resistance, and where it was highest against the minutes around."""
    usual = Value(
        "resistance", "line_resistance", words="median", phase=ESTABLISHED,
        reference="(line - arterial pressure) / flow², running median of 11 s (this project's choice)",
    )  # fmt: skip
    usual = usual.of(measured, window, bench.windows.arrests)
    if isinstance(measured, Absent) or isinstance(window, Absent) or usual.value is None:
        return [usual]
    peak = replace(usual, value=None, words="highest", note="").of(
        measured, window, bench.windows.arrests, "highest"
    )
    if peak.value is None or peak.at_s is None:
        return [usual, peak]
    around = smooth(measured.values, RUNNING_S)[int(peak.at_s - measured.start)]
    times = peak.value / around if around > 0 else float("nan")
    return [
        usual,
        peak.noted(f"{times:.1f} times the running median of 10 min" if np.isfinite(times) else ""),
    ]


def brain_alone(bench: Bench) -> list[Value]:
    """Flow and pressure of each stretch in which the brain alone is perfused."""
    derived = bench.derived
    rows = []
    for phase in (one for one in bench.windows.phases if one.name == "selective_cerebral"):
        window = [(phase.start_s, phase.end_s)]
        for name, measured, reference in (
            ("pump_flow", derived.pump_flow, ""),
            ("flow_by_weight", flow_by_weight(derived), "doi 10.3978/j.issn.2225-319X.2013.03.02"),
            (
                "perfusion_pressure",
                brain_perfusion_pressure(derived),
                "mean of the arterial line on the side of the inflow",
            ),
        ):  # fmt: skip
            row = Value("brain", name, words="mean", phase=phase.name, index=phase.index, reference=reference)
            rows.append(row.of(measured, window, which="mean"))
    return rows


def _established(bench: Bench) -> list[Interval] | Absent:
    [(_, window)] = bench.windows.of(ESTABLISHED)
    return window
