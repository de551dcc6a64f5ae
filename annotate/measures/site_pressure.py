"""Pressures held against each other: between sites, across the brain, and the height of a transducer."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..runs import evidence_runs
from ..series import OBSERVED, Series
from .intervals import Interval

FloatArray = NDArray[np.float64]

MMHG_PER_CM_WATER = 0.980665 / 1.33322
"""mmHg that one cm of water stands for (UCUM: 1 m[H2O] = 9.80665 kPa, 1 m[Hg] = 133.322 kPa)."""


def pulse_pressure(systolic: ArrayLike, diastolic: ArrayLike) -> FloatArray:
    """Systolic less diastolic pressure, in mmHg; NaN where either is missing.

    Not meaningful without a pulse: on full bypass what is left of it is the ripple of the pump.

    Parameters
    ----------
    systolic, diastolic : array_like
        In mmHg.

    Examples
    --------
    >>> float(pulse_pressure(120, 80))
    40.0
    """
    return np.asarray(np.asarray(systolic, dtype=np.float64) - np.asarray(diastolic, dtype=np.float64))


def site_gradient(central: ArrayLike, peripheral: ArrayLike) -> FloatArray:
    """Central less peripheral pressure, in mmHg: positive where the periphery under-reads.

    Parameters
    ----------
    central, peripheral : array_like
        Mean (or systolic) pressures of two sites in mmHg at the same moments, such as femoral and radial.

    Returns
    -------
    ndarray
        NaN where either is missing. Two transducers at different heights shift it by 0.74 mmHg a cm.

    Examples
    --------
    >>> float(site_gradient(74, 60))
    14.0
    """
    return np.asarray(np.asarray(central, dtype=np.float64) - np.asarray(peripheral, dtype=np.float64))


def site_gradient_spans(
    mean_gradient: Series,
    systolic_gradient: Series | None = None,
    *,
    mean_limit: float = 10.0,
    systolic_limit: float = 25.0,
    at_least_s: int = 300,
) -> list[Interval]:
    """Where one arterial site reads lower than another for long: at least 10 mean or 25 systolic for 5 min.

    Parameters
    ----------
    mean_gradient : Series
        Mean pressures, central less peripheral, mmHg, one value a second.
    systolic_gradient : Series, optional
        The same of systolic pressures, on the same seconds.
    mean_limit, systolic_limit : float
        mmHg; either is enough, and the limit itself counts.
    at_least_s : int
        Shortest stretch, in seconds that were observed. Interruptions of up to 5 known or 30 unknown seconds do
        not end one (this project's choice).

    Returns
    -------
    list of (start, end)
        Reference seconds.

    Raises
    ------
    ValueError
        If the two series do not stand on the same seconds.

    References
    ----------
    25 mmHg systolic or 10 mmHg mean for 5 min or more, found in 33 of 73 patients: PubMed 26599795. Older work
    used 5 mmHg of mean pressure (Baba T, 1997).

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> site_gradient_spans(from_values(0.0, np.r_[np.zeros(60), np.full(400, 12.0), np.zeros(60)]))
    [(60.0, 460.0)]
    """
    wide = mean_gradient.values >= mean_limit
    known = mean_gradient.state == OBSERVED
    if systolic_gradient is not None:
        if (systolic_gradient.start, systolic_gradient.values.size) != (mean_gradient.start, known.size):
            raise ValueError("the mean and the systolic gradient need the same seconds")
        wide = wide | (systolic_gradient.values >= systolic_limit)
        # A second is known not to be wide only where both were seen; one that is wide is known by either.
        known = wide | (known & (systolic_gradient.state == OBSERVED))
    return [
        (mean_gradient.start + run.start, mean_gradient.start + run.stop)
        for run in evidence_runs(wide, known, minimum=at_least_s)
    ]


def cerebral_perfusion_pressure(
    mean_pressure: ArrayLike,
    central_venous_pressure: ArrayLike,
    intracranial_pressure: ArrayLike | None = None,
) -> FloatArray:
    """MAP less the pressure inside the skull, or less venous pressure where that is higher, in mmHg.

    The definition is from memory.

    Parameters
    ----------
    mean_pressure, central_venous_pressure : array_like
        In mmHg, at one level; the venous pressure in a neck vein.
    intracranial_pressure : array_like, optional
        mmHg; seldom measured, and then the venous pressure alone is taken.

    Returns
    -------
    ndarray
        NaN where mean or venous pressure is missing; a missing intracranial value leaves the venous one.

    Examples
    --------
    >>> cerebral_perfusion_pressure([60, 60], [5, 24], [10, 10])
    array([50., 36.])
    """
    behind = np.asarray(central_venous_pressure, dtype=np.float64)
    if intracranial_pressure is not None:
        inside = np.asarray(intracranial_pressure, dtype=np.float64)
        behind = np.where(np.isfinite(inside), np.maximum(behind, inside), behind)
    return np.asarray(np.asarray(mean_pressure, dtype=np.float64) - behind)


def transducer_height_offset(below_heart_cm: float) -> float:
    """How much too high a transducer reads that hangs below the heart, in mmHg; negative for one above it.

    For a line filled with water or saline, 0.73556 mmHg a cm (blood would give about 0.78, from memory). All
    pressures of one pole shift together, while pulse pressures stay.

    Parameters
    ----------
    below_heart_cm : float
        Height of the heart above the transducer in cm.

    References
    ----------
    UCUM: 1 m[H2O] = 9.80665 kPa, 1 m[Hg] = 133.322 kPa.

    Examples
    --------
    >>> round(transducer_height_offset(10), 2)
    7.36
    """
    return MMHG_PER_CM_WATER * below_heart_cm
