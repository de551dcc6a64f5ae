"""Oxygen content, delivery, consumption and extraction.

The oxygen capacity of haemoglobin (1.34, 1.36 or 1.39 mL/g) and the solubility (0.003 or
0.0031 mL/dL/mmHg) are all in use and move a result by up to 3.7 %: they are settings that travel with
each result.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OxygenConstants:
    """Constants of the content formula.

    Attributes
    ----------
    capacity : float
        mL of oxygen that one gram of haemoglobin carries when saturated.
    solubility : float
        mL of oxygen dissolved in one dL of blood per mmHg.
    source : str
        Whose they are.
    """

    capacity: float = 1.34
    solubility: float = 0.003
    source: str = ""

    def __str__(self) -> str:
        said = f" ({self.source})" if self.source else ""
        return f"{self.capacity:g} mL/g and {self.solubility:g} mL/dL/mmHg{said}"


DEFAULT_CONSTANTS = OxygenConstants()


def _fraction(saturation: ArrayLike) -> FloatArray:
    values = np.asarray(saturation, dtype=np.float64)
    if np.nanmax(values, initial=0.0) > 1.5:
        raise ValueError(
            f"saturation must be a fraction between 0 and 1, got {np.nanmax(values):g}: "
            "divide a percentage by 100"
        )
    return values


def oxygen_content(
    haemoglobin: ArrayLike,
    saturation: ArrayLike,
    oxygen_tension: ArrayLike,
    constants: OxygenConstants = DEFAULT_CONSTANTS,
) -> FloatArray:
    """Oxygen content of blood in mL/dL: capacity · Hb · SO2 + solubility · PO2.

    Parameters
    ----------
    haemoglobin : array_like
        g/dL.
    saturation : array_like
        Fraction; a value above 1.5 is refused since it must be a percentage.
    oxygen_tension : array_like
        mmHg.
    constants : OxygenConstants
        Capacity and solubility.

    Returns
    -------
    ndarray
        mL/dL; NaN where any input is missing.

    Raises
    ------
    ValueError
        If the saturation is not a fraction.

    Examples
    --------
    >>> round(float(oxygen_content(17.0, 0.90, 100.0, OxygenConstants(1.34, 0.0031))), 2)
    20.81
    """
    bound = constants.capacity * np.asarray(haemoglobin, dtype=np.float64) * _fraction(saturation)
    return np.asarray(bound + constants.solubility * np.asarray(oxygen_tension, dtype=np.float64))


def arterial_oxygen_content(
    haemoglobin: ArrayLike,
    arterial_saturation: ArrayLike,
    arterial_oxygen_tension: ArrayLike,
    constants: OxygenConstants = DEFAULT_CONSTANTS,
) -> FloatArray:
    """`oxygen_content` of arterial blood, in mL/dL.

    Parameters
    ----------
    haemoglobin, arterial_saturation, arterial_oxygen_tension, constants
        As in `oxygen_content`; a saturation as a fraction.

    Returns
    -------
    ndarray
        mL/dL; NaN where any input is missing.

    Examples
    --------
    >>> float(arterial_oxygen_content(8, 1.0, 200, OxygenConstants(1.36, 0.003)).round(2))
    11.48
    """
    return oxygen_content(haemoglobin, arterial_saturation, arterial_oxygen_tension, constants)


def oxygen_delivery_index(flow_index: ArrayLike, arterial_content: ArrayLike) -> FloatArray:
    """Oxygen delivery per body surface, in mL/min/m²: 10 · flow index · arterial content.

    Parameters
    ----------
    flow_index : array_like
        L/min/m².
    arterial_content : array_like
        mL/dL.

    Returns
    -------
    ndarray
        mL/min/m²; NaN where any input is missing.

    Notes
    -----
    Published limits (260 to 300) rest on different outcomes and sampling and none is "the" threshold.

    References
    ----------
    De Somer F et al. Crit Care 2011;15:R192. Ranucci M et al. Ann Thorac Surg 2005;80:2213-20.

    Examples
    --------
    >>> float(oxygen_delivery_index(2.4, 11.48).round(2))
    275.52
    """
    return np.asarray(
        10 * np.asarray(flow_index, dtype=np.float64) * np.asarray(arterial_content, dtype=np.float64)
    )


def flow_index_for_delivery(delivery_index: ArrayLike, arterial_content: ArrayLike) -> FloatArray:
    """Flow index that carries a given oxygen delivery, in L/min/m²: delivery index / (10 · content).

    Arithmetic only: neither a target nor what a pump or a patient would have done.

    Parameters
    ----------
    delivery_index : array_like
        mL/min/m².
    arterial_content : array_like
        mL/dL.

    Returns
    -------
    ndarray
        NaN where any input is missing or there is no content.

    Examples
    --------
    >>> float(flow_index_for_delivery(280, 11.48).round(3))
    2.439
    """
    delivery, content = np.broadcast_arrays(
        np.asarray(delivery_index, dtype=np.float64), np.asarray(arterial_content, dtype=np.float64)
    )
    return np.asarray(
        np.divide(delivery, 10 * content, out=np.full(content.shape, np.nan), where=content > 0)
    )


def oxygen_consumption_index(
    flow_index: ArrayLike, arterial_content: ArrayLike, venous_content: ArrayLike
) -> FloatArray:
    """Oxygen taken up per body surface, in mL/min/m²: 10 · flow index · (arterial − venous content).

    Parameters
    ----------
    flow_index : array_like
        L/min/m².
    arterial_content, venous_content : array_like
        mL/dL, with one set of constants. The venous one of blood that returns to the pump: a shunt, or blood of
        the upper body alone, does not stand for the whole.

    Returns
    -------
    ndarray
        NaN where any input is missing. Holds in a steady state only: while blood volume or temperature change
        quickly, contents and flow belong to different moments.

    References
    ----------
    Fick's principle; the form with 10 for dL in a L as printed in teaching texts.

    Examples
    --------
    >>> float(oxygen_consumption_index(2.4, 11.48, 8.28).round(1))
    76.8
    """
    difference = np.asarray(arterial_content, dtype=np.float64) - np.asarray(venous_content, np.float64)
    return np.asarray(10 * np.asarray(flow_index, dtype=np.float64) * difference)


def oxygen_extraction_ratio(arterial_content: ArrayLike, venous_content: ArrayLike) -> FloatArray:
    """Share of the delivered oxygen that is taken up: (arterial − venous) / arterial content.

    Parameters
    ----------
    arterial_content, venous_content : array_like
        mL/dL, with one set of constants.

    Returns
    -------
    ndarray
        Fraction; NaN where either is missing or there is no arterial content. About 0.25 at rest (teaching
        texts).

    Examples
    --------
    >>> float(oxygen_extraction_ratio(11.48, 8.28).round(4))
    0.2787
    """
    arterial = np.asarray(arterial_content, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(
            np.where(arterial > 0, (arterial - np.asarray(venous_content, np.float64)) / arterial, np.nan)
        )


def haemoglobin_age(t: ArrayLike, drawn_at: ArrayLike) -> FloatArray:
    """Seconds since the last haemoglobin was drawn, for each time; NaN before the first.

    Parameters
    ----------
    t : array_like
        Reference seconds.
    drawn_at : array_like
        Reference seconds of the draws, increasing. The draw counts, not the time of the result.

    Returns
    -------
    ndarray
        Seconds. An age of 30 min and more as old is common practice without a source.

    Examples
    --------
    >>> haemoglobin_age([50, 150, 400], [100, 300])
    array([ nan,  50., 100.])
    """
    times, draws = np.asarray(t, dtype=np.float64), np.asarray(drawn_at, dtype=np.float64)
    last = np.searchsorted(draws, times, side="right") - 1
    if not draws.size:
        return np.full(times.shape, np.nan)
    return np.asarray(np.where(last >= 0, times - draws[np.maximum(last, 0)], np.nan))
