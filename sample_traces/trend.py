"""The underlying trend of every channel, the computed ones included: no beat, no noise, no artefact.

Straight lines between keyframes; the rules of the computed channels (t in minutes):

- no flow at all for 131.3 ≤ t < 149.5 and 161.3 ≤ t < 181.5; brain perfused alone for 181.5 ≤ t < 195;
- FEM = LRAD + FOFF; without flow LRAD − 1; while the brain is perfused alone 8;
- RRAD = LRAD + 4·FLOW above 1.2 L/min (it lies on the inflow side), else LRAD + 1;
  while the brain is perfused alone a line of its own;
- ALP, the pressure in the arterial line = FEM (RRAD while the brain is perfused alone) + 7.75·FLOW²,
  with a kink at 96.3 to 99.3;
- DO2I = 10·FLOW·(1.34·HB·SaO2 + 0.003·PaO2) / body surface area, with SaO2 1.0, PaO2 220 mmHg and the
  surface of Du Bois and Du Bois, Arch Intern Med 1916;17:863-71.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import tables

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

ARTERIAL_SATURATION = 1.0
ARTERIAL_OXYGEN_MMHG = 220.0

# Minutes and mmHg: right radial while the brain is perfused alone, and the kink of the arterial line
# with the weight it has against the rule.
_BRAIN_LINE = ((181.5, 182.2, 188, 188.6, 195), (9, 52, 53, 61, 61))
_KINK_LINE = ((96.3, 96.6, 99), (345, 345, 338))
_KINK_WEIGHT = ((96.3, 96.6, 99, 99.3), (0, 1, 1, 0))


def line(name: str, t: ArrayLike) -> FloatArray:
    """Keyframe channel at `t` seconds, held at its first and last value outside its valid time."""
    frames = tables.keyframes()[name]
    values: FloatArray = np.interp(np.asarray(t, float), frames.t, frames.values)
    return values


def no_flow(t: ArrayLike) -> BoolArray:
    """Seconds in which nothing is perfused and the arterial pressures have run down."""
    minutes = np.asarray(t, float) / 60
    return ((minutes >= 131.3) & (minutes < 149.5)) | ((minutes >= 161.3) & (minutes < 181.5))


def brain_only(t: ArrayLike) -> BoolArray:
    """Seconds in which the brain alone is perfused."""
    minutes = np.asarray(t, float) / 60
    return (minutes >= 181.5) & (minutes < 195)


def femoral(t: ArrayLike) -> FloatArray:
    """Femoral mean pressure in mmHg at `t` seconds."""
    pressure = line("LRAD", t) + np.where(no_flow(t), -1.0, line("FOFF", t))
    return np.where(brain_only(t), 8.0, pressure)


def right_radial(t: ArrayLike) -> FloatArray:
    """Right radial mean pressure in mmHg at `t` seconds: it over-reads on the inflow side."""
    flow = line("FLOW", t)
    pressure = line("LRAD", t) + np.where((flow > 1.2) & ~no_flow(t), 4 * flow, 1.0)
    return np.where(brain_only(t), np.interp(np.asarray(t, float) / 60, *_BRAIN_LINE), pressure)


def line_pressure(t: ArrayLike) -> FloatArray:
    """Pressure in the pump's arterial line in mmHg at `t` seconds."""
    minutes = np.asarray(t, float) / 60
    downstream = np.where(brain_only(t), right_radial(t), femoral(t))
    pressure = downstream + 7.75 * line("FLOW", t) ** 2
    weight = np.interp(minutes, *_KINK_WEIGHT)
    return (1 - weight) * pressure + weight * np.interp(minutes, *_KINK_LINE)


def body_surface_area() -> float:
    """Du Bois body surface area of the invented patient in m²."""
    height_cm, weight_kg = tables.body()
    return float(0.007184 * height_cm**0.725 * weight_kg**0.425)


def oxygen_delivery_index(t: ArrayLike) -> FloatArray:
    """Oxygen delivery in mL/min/m² at `t` seconds."""
    content = 1.34 * line("HB", t) * ARTERIAL_SATURATION + 0.003 * ARTERIAL_OXYGEN_MMHG
    return 10 * line("FLOW", t) * content / body_surface_area()


_COMPUTED = {
    "FEM": femoral,
    "RRAD": right_radial,
    "ALP": line_pressure,
    "DO2I": oxygen_delivery_index,
}
WITHDRAWN_S = (125 * 60.0, 258 * 60.0)  # the pulmonary artery catheter


def trend(name: str, t: ArrayLike) -> FloatArray:
    """Trend of a channel as ``minutes.csv`` lists it, NaN where it is not there.

    Parameters
    ----------
    name : str
        Column name of ``minutes.csv``.
    t : array_like
        Reference seconds.
    """
    t = np.asarray(t, float)
    compute = _COMPUTED.get(name)
    values = line(name, t) if compute is None else compute(t)
    first, last = tables.valid_s(name)
    there = (t >= first) & (t <= last)
    if name == "PAM":
        there &= (t < WITHDRAWN_S[0]) | (t >= WITHDRAWN_S[1])
    if name == "SVO2":
        there &= line("FLOW", t) >= 0.3  # stagnant blood in the probe says nothing
    return np.where(there, values, np.nan)
