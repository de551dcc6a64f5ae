"""Pump flow related to body size."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def pump_flow_index(pump_flow: ArrayLike, body_surface_area: float) -> NDArray[np.float64]:
    """Pump flow per body surface, in L/min/m².

    Parameters
    ----------
    pump_flow : array_like
        L/min; NaN where not recorded stays NaN.
    body_surface_area : float
        m².

    Notes
    -----
    2.4 L/min/m² was the calculated standard in a crossover trial in which the patients' own index before
    bypass was 1.9 to 3.1.

    References
    ----------
    Perfusion 2011;26:45-50, doi 10.1177/0267659110382062.

    Examples
    --------
    >>> pump_flow_index([4.8], 2.0)
    array([2.4])
    """
    if not body_surface_area > 0:
        raise ValueError(f"body surface area must be positive, got {body_surface_area:g} m²")
    return np.asarray(pump_flow, dtype=np.float64) / body_surface_area


def flow_per_weight(pump_flow: ArrayLike, weight_kg: float) -> NDArray[np.float64]:
    """Flow per body weight in mL/kg/min, as perfusion of the brain alone is given.

    Parameters
    ----------
    pump_flow : array_like
        L/min.
    weight_kg : float
        kg.

    Returns
    -------
    ndarray
        NaN where the flow is missing. It says what the pump gave, not where it went: only while nothing but the
        brain is perfused is it the brain's.

    References
    ----------
    6 to 10 mL/kg/min: Spielvogel D, Tang GHL. Ann Cardiothorac Surg 2013,
    doi 10.3978/j.issn.2225-319X.2013.03.02; the often quoted 8 to 12 is from memory.

    Examples
    --------
    >>> flow_per_weight([0.74, 0.95], 74).round(1)
    array([10. , 12.8])
    """
    if not weight_kg > 0:
        raise ValueError(f"weight must be positive, got {weight_kg:g} kg")
    return np.asarray(pump_flow, dtype=np.float64) * 1000 / weight_kg
