"""Resistances: of the body, of the lungs, and of the arterial line of the pump."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..runs import smooth

FloatArray = NDArray[np.float64]

WOOD_TO_DYN = 80.0
"""dyn·s·cm⁻⁵ in one Wood unit as it is used; exactly 79.9932 (UCUM: 1 mm[Hg] = 133.322 Pa)."""

EJECTING_MMHG = 10.0
"""Pulse pressure from which the heart adds to the flow of the pump (this project's choice)."""

LEAST_LINE_FLOW = 1.0
"""L/min, under which a line's resistance is not computed: the square of a small flow is mostly noise (this
project's choice)."""


def vascular_resistance(upstream: ArrayLike, downstream: ArrayLike, flow: ArrayLike) -> FloatArray:
    """Resistance between two mean pressures in Wood units (mmHg·min/L); times `WOOD_TO_DYN` in dyn·s·cm⁻⁵.

    Parameters
    ----------
    upstream, downstream : array_like
        Mean pressures in mmHg.
    flow : array_like
        L/min. Without flow there is no resistance: NaN, not infinity.

    Returns
    -------
    ndarray
        Of the broadcast shape; NaN where any input is missing.

    Examples
    --------
    >>> vascular_resistance([60, 60], [0, 0], [4.8, 0.0])
    array([12.5,  nan])
    """
    litres = np.asarray(flow, dtype=np.float64)
    drop = np.asarray(upstream, dtype=np.float64) - np.asarray(downstream, dtype=np.float64)
    drop, litres = np.broadcast_arrays(drop, litres)
    return np.asarray(np.divide(drop, litres, out=np.full(litres.shape, np.nan), where=litres > 0))


def systemic_vascular_resistance(
    mean_pressure: ArrayLike, central_venous_pressure: ArrayLike, flow: ArrayLike
) -> FloatArray:
    """(MAP − CVP) / cardiac output, in Wood units, off bypass.

    Printed with factors of 80, 79.9 and (exactly) 79.99 to dyn·s·cm⁻⁵, so results differ by up to 0.12 %.

    Parameters
    ----------
    mean_pressure, central_venous_pressure : array_like
        Mean pressures in mmHg, taken at one level.
    flow : array_like
        Cardiac output in L/min.

    Returns
    -------
    ndarray
        NaN where any input is missing or there is no flow.

    References
    ----------
    The formula and a worked example (95, 3 and 5 give 18.4) as printed in a teaching text that cites Guyton
    and Hall, Textbook of Medical Physiology.

    Examples
    --------
    >>> float(systemic_vascular_resistance(95, 3, 5))
    18.4
    """
    return vascular_resistance(mean_pressure, central_venous_pressure, flow)


def systemic_vascular_resistance_on_bypass(
    mean_pressure: ArrayLike,
    central_venous_pressure: ArrayLike,
    pump_flow: ArrayLike,
    pulse_pressure: ArrayLike | None = None,
) -> FloatArray:
    """(MAP − CVP) / pump flow, in Wood units, on bypass.

    Parameters
    ----------
    mean_pressure, central_venous_pressure : array_like
        Mean pressures in mmHg.
    pump_flow : array_like
        L/min, taken for the whole flow through the body.
    pulse_pressure : array_like, optional
        In mmHg. Where it reaches `EJECTING_MMHG` the heart adds a flow that nobody measured, and there is no
        resistance to give; where it is missing it is not known, and neither is the resistance.

    Returns
    -------
    ndarray
        NaN without flow (blank, not infinite), while the heart ejects, and where an input is missing.

    Notes
    -----
    That the pump's flow stands in for cardiac output is a convention from memory. Not valid while a part of
    the flow goes elsewhere (brain perfusion alone, a shunt through the filter, a vent that returns blood).

    Examples
    --------
    >>> systemic_vascular_resistance_on_bypass([60, 60], 0, [4.8, 4.8], [3, 30]) * WOOD_TO_DYN
    array([1000.,   nan])
    """
    found = vascular_resistance(mean_pressure, central_venous_pressure, pump_flow)
    if pulse_pressure is None:
        return found
    still = np.asarray(pulse_pressure, dtype=np.float64) < EJECTING_MMHG
    return np.asarray(np.where(still, found, np.nan))


def systemic_vascular_resistance_index(
    mean_pressure: ArrayLike, central_venous_pressure: ArrayLike, flow: ArrayLike, body_surface_area: float
) -> FloatArray:
    """Resistance times body surface: (MAP − CVP) / (flow / BSA), in Wood units · m².

    Multiplied by the body surface, never divided (the definition is from memory; some profiles print the unit
    divided by m², which its dimensions forbid).

    Parameters
    ----------
    mean_pressure, central_venous_pressure : array_like
        Mean pressures in mmHg.
    flow : array_like
        Cardiac output, or the pump's flow on bypass, in L/min.
    body_surface_area : float
        m².

    Returns
    -------
    ndarray
        NaN where any input is missing or there is no flow.

    Examples
    --------
    >>> float(systemic_vascular_resistance_index(95, 3, 5, 2.0))
    36.8
    """
    if not body_surface_area > 0:
        raise ValueError(f"body surface area must be positive, got {body_surface_area:g} m²")
    return body_surface_area * vascular_resistance(mean_pressure, central_venous_pressure, flow)


def pulmonary_vascular_resistance(
    mean_pulmonary_pressure: ArrayLike, wedge_pressure: ArrayLike, flow: ArrayLike
) -> FloatArray:
    """(mean pulmonary artery − wedge pressure) / cardiac output, in Wood units.

    Parameters
    ----------
    mean_pulmonary_pressure, wedge_pressure : array_like
        In mmHg; the pressure of the left atrium may stand in for the wedge pressure.
    flow : array_like
        Flow through the lungs in L/min: on bypass there is none that anybody measures.

    Returns
    -------
    ndarray
        NaN where any input is missing or there is no flow.

    Examples
    --------
    >>> float(pulmonary_vascular_resistance(25, 10, 5))
    3.0
    """
    return vascular_resistance(mean_pulmonary_pressure, wedge_pressure, flow)


def line_resistance(
    line_pressure: ArrayLike,
    arterial_pressure: ArrayLike,
    pump_flow: ArrayLike,
    *,
    least_flow: float = LEAST_LINE_FLOW,
) -> FloatArray:
    """Resistance of the arterial line and cannula: (line − arterial pressure) / flow², mmHg·min²/L².

    With the square of the flow, since what a narrow cannula takes rises with it (turbulent flow, from memory);
    so the number stays where it is when the flow is turned up or down, and rises when the line is kinked, the
    cannula lies against a wall, or the vessel behind it is narrow.

    Parameters
    ----------
    line_pressure : array_like
        Behind the pump, mmHg.
    arterial_pressure : array_like
        Mean pressure of the patient in mmHg, at a site that the inflow reaches.
    pump_flow : array_like
        L/min.
    least_flow : float
        Under this flow nothing is computed.

    Returns
    -------
    ndarray
        NaN where any input is missing or the flow is under `least_flow`.

    Notes
    -----
    The running number as it stands here is this project's choice. It holds the tubing between transducer and
    patient, so it can be compared within one case, not between cases.

    Examples
    --------
    >>> float(line_resistance(214, 64, 4.4).round(2))
    7.75
    """
    line, arterial, flow = np.broadcast_arrays(
        np.asarray(line_pressure, dtype=np.float64),
        np.asarray(arterial_pressure, dtype=np.float64),
        np.asarray(pump_flow, dtype=np.float64),
    )
    running = flow >= least_flow
    return np.asarray(np.divide(line - arterial, flow**2, out=np.full(flow.shape, np.nan), where=running))


def running_line_resistance(
    line_pressure: ArrayLike,
    arterial_pressure: ArrayLike,
    pump_flow: ArrayLike,
    *,
    width_s: int = 11,
    least_flow: float = LEAST_LINE_FLOW,
) -> FloatArray:
    """`line_resistance` each second as a centred running median, in mmHg·min²/L².

    Parameters
    ----------
    line_pressure, arterial_pressure, pump_flow : array_like
        One value a second; mmHg, mmHg and L/min.
    width_s : int
        Odd number of seconds (11: this project's choice, about two breaths).
    least_flow : float
        L/min.

    Returns
    -------
    ndarray
        NaN stays NaN; nothing is filled in from neighbouring seconds.

    Examples
    --------
    >>> running_line_resistance([214] * 3, [64] * 3, [4.4] * 3, width_s=3).round(2)
    array([7.75, 7.75, 7.75])
    """
    return smooth(
        line_resistance(line_pressure, arterial_pressure, pump_flow, least_flow=least_flow), width_s
    )
