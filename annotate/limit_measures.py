"""Measures that a limit can stand on: each with its unit, what a number of it can be, and how a file's unit becomes it.

A limit set is checked against this table when it is read, so that a number that figures could not go by never reaches
a rule. A file may write any unit of the same dimension: the number is converted once, on reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from afterclamp.io.units import UNITS, convert, convertible, parse_unit

PER_MINUTE = "/min"


@dataclass(frozen=True, slots=True)
class LimitMeasure:
    """What a limit can stand on.

    Attributes
    ----------
    name : str
        Token in files and figures.
    unit : str
        UCUM code that figures and rules go by.
    lowest, highest : float
        In `unit`; a number beyond is taken for a slip of the pen. An engineering guard, no source; never a limit
        of care.
    difference : bool
        Whether it is a difference or a slope: 18 °F of a gradient are 10 °C, without the zero of the scale.
    """

    name: str
    unit: str
    lowest: float
    highest: float
    difference: bool = False


_MEASURES: Final = (
    LimitMeasure("mean_arterial_pressure", "mm[Hg]", 5, 250),
    LimitMeasure("mean_arterial_pressure_from_55", "mm[Hg]", 55, 250),
    LimitMeasure("mean_arterial_pressure_from_65", "mm[Hg]", 65, 250),
    LimitMeasure("systolic_pressure", "mm[Hg]", 10, 300),
    LimitMeasure("diastolic_pressure", "mm[Hg]", 5, 200),
    LimitMeasure("pulse_pressure", "mm[Hg]", 1, 200),
    LimitMeasure("brain_perfusion_pressure", "mm[Hg]", 5, 250),
    LimitMeasure("flow_by_weight", "mL/kg/min", 0.5, 250),
    LimitMeasure("central_venous_pressure", "mm[Hg]", -10, 60),
    LimitMeasure("pulmonary_artery_pressure", "mm[Hg]", 1, 120),
    LimitMeasure("line_pressure", "mm[Hg]", 10, 800),
    LimitMeasure("pump_flow", "L/min", 0.05, 10),
    LimitMeasure("pump_flow_index", "L/min/m2", 0.05, 6),
    LimitMeasure("oxygen_delivery_index", "mL/min/m2", 20, 1500),
    LimitMeasure("haemoglobin", "g/dL", 2, 25),
    LimitMeasure("venous_saturation", "%", 5, 100),
    LimitMeasure("cerebral_saturation", "%", 5, 100),
    LimitMeasure("cerebral_saturation_of_baseline", "%", 5, 200),
    LimitMeasure("cerebral_side_difference", "%", 1, 100),
    LimitMeasure("reservoir_volume", "mL", 10, 8000),
    LimitMeasure("outlet_temperature", "Cel", 5, 45),
    LimitMeasure("venous_temperature", "Cel", 5, 45),
    LimitMeasure("cooling_gradient", "Cel", 0.1, 40, difference=True),
    LimitMeasure("warming_gradient", "Cel", 0.1, 40, difference=True),
    LimitMeasure("warming_gradient_cold", "Cel", 0.1, 40, difference=True),
    LimitMeasure("warming_gradient_warm", "Cel", 0.1, 40, difference=True),
    LimitMeasure("warming_rate", "Cel/min", 0.01, 10, difference=True),
    LimitMeasure("femoral_radial_gradient", "mm[Hg]", 1, 100, difference=True),
    LimitMeasure("pulmonary_to_systemic_ratio", "1", 0.05, 5),
)

LIMIT_MEASURES: Final[Mapping[str, LimitMeasure]] = MappingProxyType({one.name: one for one in _MEASURES})


def measure_of(name: str) -> LimitMeasure:
    """A measure by its token.

    Raises
    ------
    ValueError
        When no figure measures that; the sentence names those there are.
    """
    if name not in LIMIT_MEASURES:
        raise ValueError(f"no measure is called '{name}'; expected one of: {', '.join(LIMIT_MEASURES)}")
    return LIMIT_MEASURES[name]


def in_own_unit(measure: LimitMeasure, value: float, unit: str) -> tuple[float, str]:
    """A number in a measure's own unit, and the unit it was written in as its UCUM code.

    Parameters
    ----------
    measure : LimitMeasure
    value : float
        In `unit`.
    unit : str
        As a file writes it: UCUM, or a spelling that `io.units` knows.

    Raises
    ------
    ValueError
        When the unit is not known, or is not one of this measure's.

    References
    ----------
    The Unified Code for Units of Measure: mm[Hg] is 133.322 Pa.

    Examples
    --------
    >>> value, code = in_own_unit(LIMIT_MEASURES["mean_arterial_pressure"], 8, "kPa")
    >>> round(value, 2), code
    (60.01, 'kPa')
    """
    if unit.strip() == measure.unit:
        return value, measure.unit
    per_minute = measure.unit.endswith(PER_MINUTE) and measure.unit not in UNITS
    own = measure.unit.removesuffix(PER_MINUTE) if per_minute else measure.unit
    written = unit.strip().removesuffix(PER_MINUTE) if per_minute else unit
    code = parse_unit(written)
    fits = code is not None and convertible(code, own)
    if per_minute and not unit.strip().endswith(PER_MINUTE):
        fits = False
    if code is None or not fits:
        raise ValueError(
            f"found the unit '{unit}' for {measure.name}; expected {measure.unit}"
            + (
                f", or one that converts to it: {_others(own, per_minute)}"
                if _others(own, per_minute)
                else ""
            )
        )
    whole = code + PER_MINUTE if per_minute else code
    if code == own:
        return value, whole
    converted = float(convert(value, code, own))
    if measure.difference:
        converted -= float(convert(0.0, code, own))
    return converted, whole


def implausible(measure: LimitMeasure, value: float) -> str:
    """Why a number in the measure's own unit cannot be meant; empty where it can."""
    if measure.lowest <= value <= measure.highest:
        return ""
    unit = "" if measure.unit == "1" else f" {measure.unit}"
    return (
        f"{value:g}{unit} cannot be meant of {measure.name}; expected a number from {measure.lowest:g} to "
        f"{measure.highest:g}{unit}"
    )


def _others(own: str, per_minute: bool) -> str:
    tail = PER_MINUTE if per_minute else ""
    return ", ".join(code + tail for code in UNITS if code != own and convertible(code, own))
