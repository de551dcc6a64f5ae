"""Courses that combine flow, pressure and blood: resistances, oxygen uptake, flow of the brain, one value a second."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .derived import Absent, Derived, Measured
from .measures.flow import flow_per_weight
from .measures.oxygen import (
    arterial_oxygen_content,
    oxygen_consumption_index,
    oxygen_content,
    oxygen_extraction_ratio,
)
from .measures.resistance import (
    running_line_resistance,
    systemic_vascular_resistance_on_bypass,
)
from .series import MISSING, OBSERVED, FloatArray, Series, combined_state, from_values

NO_OUTPUT = "no cardiac output is recorded, and off bypass the pump's flow does not stand for it"


def together(name: str, unit: str, values: FloatArray, *parts: Series, note: str = "") -> Series:
    """A series computed from several: observed where all of them are and the formula gives a number."""
    state = combined_state(*parts)
    state[(state == OBSERVED) & ~np.isfinite(values)] = MISSING
    site = " and ".join(dict.fromkeys(filter(None, (one.site for one in parts))))
    return Series(parts[0].start, np.where(state == OBSERVED, values, np.nan), state, unit, name, site, note)


def _contents(derived: Derived) -> tuple[Series, FloatArray, FloatArray] | Absent:
    """Venous saturation with the arterial and venous oxygen content, mL/dL."""
    haemoglobin, venous = derived.haemoglobin, derived.venous_saturation
    saturation, tension = derived.case.sheet.arterial_saturation, derived.case.sheet.arterial_oxygen_mmhg
    if isinstance(venous, Absent):
        return venous
    if isinstance(haemoglobin, Absent):
        return haemoglobin
    if saturation is None:
        return Absent("no arterial saturation on the case sheet")
    if tension is None:
        return Absent("no arterial oxygen tension on the case sheet")
    arterial = arterial_oxygen_content(haemoglobin.values, saturation, tension, derived.constants)
    returned = oxygen_content(haemoglobin.values, venous.values / 100, 0.0, derived.constants)
    both = Series(venous.start, venous.values, combined_state(venous, haemoglobin), "", "", venous.site, "")
    return both, arterial, returned


_UPTAKE = "dissolved venous oxygen left out: no venous tension is recorded; holds in a steady state only"


def oxygen_consumption(derived: Derived) -> Measured:
    """Oxygen uptake per body surface, mL/min/m²."""
    found, index = _contents(derived), derived.pump_flow_index
    if isinstance(found, Absent):
        return found
    if isinstance(index, Absent):
        return index
    known, arterial, venous = found
    values = oxygen_consumption_index(index.values, arterial, venous)
    return together("oxygen_consumption_index", "mL/min/m2", values, index, known, note=_UPTAKE)


def oxygen_extraction(derived: Derived) -> Measured:
    """Share of the delivered oxygen that is taken up, per cent."""
    found = _contents(derived)
    if isinstance(found, Absent):
        return found
    known, arterial, venous = found
    values = 100 * oxygen_extraction_ratio(arterial, venous)
    return together("oxygen_extraction_ratio", "%", values, known, note=_UPTAKE)


def systemic_resistance(derived: Derived, pulse_pressure: FloatArray | None) -> Measured:
    """(MAP − CVP) / pump flow on bypass, Wood units (mmHg·min/L); blank without flow and while the heart ejects."""
    parts = (derived.mean_arterial_pressure, derived.central_venous_pressure, derived.pump_flow)
    for one in parts:
        if isinstance(one, Absent):
            return one
    pressure, venous, flow = (one for one in parts if isinstance(one, Series))
    running = np.where(flow.values > 0.2, flow.values, 0.0)  # a probe at rest hums about zero
    values = systemic_vascular_resistance_on_bypass(pressure.values, venous.values, running, pulse_pressure)
    note = (
        "blank without flow and where the pulse reaches 10 mmHg: the heart then adds a flow nobody measured"
    )
    return together("systemic_vascular_resistance", "mm[Hg].min/L", values, pressure, venous, flow, note=note)


def systemic_resistance_index(derived: Derived, pulse_pressure: FloatArray | None) -> Measured:
    """The same times body surface, mmHg·min·m²/L."""
    found = systemic_resistance(derived, pulse_pressure)
    if isinstance(found, Absent):
        return found
    if derived.body_surface_area is None:
        return Absent("no height and weight on the case sheet")
    note = f"{found.note}; body surface {derived.body_surface_area:.2f} m2 (Du Bois)"
    name, unit = "systemic_vascular_resistance_index", "mm[Hg].min.m2/L"
    return replace(found, values=found.values * derived.body_surface_area, name=name, unit=unit, note=note)


def inflow_line_resistance(derived: Derived) -> Measured:
    """(line − arterial pressure) / flow² as a running median of 11 s, mmHg·min²/L²."""
    parts = (derived.line_pressure, derived.mean_arterial_pressure, derived.pump_flow)
    for one in parts:
        if isinstance(one, Absent):
            return one
    line, pressure, flow = (one for one in parts if isinstance(one, Series))
    values = running_line_resistance(line.values, pressure.values, flow.values)
    note = "running median of 11 s; not below 1 L/min"
    return together("line_resistance", "mm[Hg].min2/L2", values, line, pressure, flow, note=note)


def flow_by_weight(derived: Derived) -> Measured:
    """Pump flow in mL/kg/min."""
    flow, weight = derived.pump_flow, derived.case.patient.weight_kg
    if isinstance(flow, Absent):
        return flow
    if not weight:
        return Absent("no weight on the case sheet")
    return replace(flow, values=flow_per_weight(flow.values, weight), unit="mL/kg/min", name="flow_by_weight")


def brain_perfusion_pressure(derived: Derived) -> Measured:
    """Mean pressure of the radial line on the side of the inflow, mmHg: what perfuses the brain through that arm."""
    side = derived.case.sheet.inflow_side
    signal = derived.signals.get(f"{side}_radial") if side else None
    if not side:
        return Absent("no side of the inflow on the case sheet")
    if signal is None:
        return Absent(f"no {side} radial pressure is recorded")
    return derived.pressure(signal)


def pulse_course(derived: Derived, name: str, pulse_pressure: FloatArray) -> Series:
    """Pulse pressure of one line as the view has it, mmHg."""
    start = float(derived.grid[0]) if derived.grid.size else 0.0
    return from_values(start, pulse_pressure, unit="mm[Hg]", name="pulse_pressure", site=name)
