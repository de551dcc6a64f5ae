"""Measures of single beats on a pressure wave: mean, steepest rise, end of systole, systolic area.

Beats come from `afterclamp.annotate.beats.find_beats`, or from anywhere else as arrays of seconds. A beat that
touches a missing sample has no measure: NaN.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..beats import integral_until
from ..smoothing import boxcar, filled, odd

FloatArray = NDArray[np.float64]

SMOOTH_S = 0.024  # three samples at 125 Hz (this project's choice)
LATEST_NOTCH = 0.45  # of a beat's length after the highest pressure (this project's choice)


def _samples(values: ArrayLike) -> tuple[FloatArray, NDArray[np.bool_]]:
    """The wave with straight lines across what is missing, and where it was missing."""
    wave = np.asarray(values, dtype=np.float64)
    missing = ~np.isfinite(wave)
    return (np.zeros(wave.size) if missing.all() else filled(wave)), missing


def _in_samples(seconds: ArrayLike, rate_hz: float, t0: float) -> FloatArray:
    at = (np.asarray(seconds, dtype=np.float64) - t0) * rate_hz
    # What the arithmetic of times leaves over must not reach into the next sample, or past the last one.
    whole = np.round(at)
    return np.where(np.abs(at - whole) < 1e-6, whole, at)


def _whole(start: FloatArray, end: FloatArray, missing: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether a stretch (in samples) lies within the record and touches nothing missing."""
    count = np.concatenate([[0], np.cumsum(missing)])
    inside = np.isfinite(start) & np.isfinite(end) & (start >= 0) & (end <= missing.size - 1) & (end > start)
    low = np.clip(np.floor(np.where(inside, start, 0)).astype(np.intp), 0, missing.size)
    high = np.clip(np.ceil(np.where(inside, end, 0)).astype(np.intp) + 1, 0, missing.size)
    return np.asarray(inside & (count[high] == count[low]))


def mean_by_integral(
    values: ArrayLike, rate_hz: float, start: ArrayLike, end: ArrayLike, t0: float = 0.0
) -> FloatArray:
    """Mean pressure of each beat: the time integral of the wave over the beat divided by its length, in mmHg.

    Parameters
    ----------
    values : array_like
        Pressure in mmHg, evenly sampled; NaN where missing.
    rate_hz : float
        Samples per second.
    start, end : array_like
        Foot of each beat and of the next, in seconds.
    t0 : float
        Second of the first sample.

    Returns
    -------
    ndarray
        One value a beat; NaN where the beat reaches past the record or touches a missing sample.

    References
    ----------
    The reference way, there at 1,000 samples a second: Am J Hypertens 2023;36:297-305,
    doi 10.1093/ajh/hpad026.

    Examples
    --------
    >>> mean_by_integral([80.0, 120.0, 100.0, 80.0], 10, [0.0], [0.3])
    array([100.])
    """
    wave, missing = _samples(values)
    first, last = _in_samples(start, rate_hz, t0), _in_samples(end, rate_hz, t0)
    whole = _whole(first, last, missing)
    return _between(wave, first, last, whole) / np.where(whole, last - first, np.nan)


def _between(wave: FloatArray, first: FloatArray, last: FloatArray, whole: NDArray[np.bool_]) -> FloatArray:
    """Integral of the wave between fractional indices, in unit x samples; NaN where not whole."""
    found = np.full(first.shape, np.nan)
    found[whole] = integral_until(wave, last[whole]) - integral_until(wave, first[whole])
    return found


def steepest_rise(
    values: ArrayLike,
    rate_hz: float,
    start: ArrayLike,
    end: ArrayLike,
    t0: float = 0.0,
    *,
    smooth_s: float = SMOOTH_S,
) -> FloatArray:
    """dP/dt max of each beat: the largest forward difference of the smoothed wave, in mmHg/s.

    Parameters
    ----------
    values : array_like
        Pressure in mmHg, evenly sampled; NaN where missing.
    rate_hz : float
        Samples per second; 100 or more, or the upstroke is only a few samples long.
    start, end : array_like
        Foot of each beat and its highest pressure (or the next foot), in seconds.
    t0 : float
        Second of the first sample.
    smooth_s : float
        Length of the moving average in seconds; 0 for none. It lowers the result, and the less of it the more
        noise comes through: results with different lengths cannot be compared.

    Returns
    -------
    ndarray
        One value a beat; NaN where the beat touches a missing sample.

    Notes
    -----
    From memory: some hundreds to about 1,000 mmHg/s in a radial artery, and dependent on site and filter. Not
    the dP/dt of the left ventricle, and not valid on a damped or ringing line.

    Examples
    --------
    >>> steepest_rise([80.0, 80.0, 85.0, 89.0, 90.0], 100, [0.0], [0.04], smooth_s=0)
    array([500.])
    """
    wave, missing = _samples(values)
    first, last = _in_samples(start, rate_hz, t0), _in_samples(end, rate_hz, t0)
    whole = _whole(first, last, missing)
    found = np.full(first.shape, np.nan)
    if not whole.any():
        return found
    rises = np.append(np.diff(boxcar(wave, odd(smooth_s * rate_hz))), -np.inf) * rate_hz
    low = np.floor(first[whole]).astype(np.intp)
    high = np.maximum(np.ceil(last[whole]).astype(np.intp), low + 1)
    found[whole] = np.maximum.reduceat(rises, np.column_stack([low, high]).ravel())[::2]
    return found


def end_of_systole_by_rate(interval_s: ArrayLike) -> FloatArray:
    """Length of systole from the length of the beat alone: 0.3 · √(interval), in seconds.

    An estimate (from memory, as used where no notch can be seen); it knows nothing of the wave.

    Parameters
    ----------
    interval_s : array_like
        Length of each beat in seconds; NaN or not positive gives NaN.

    Examples
    --------
    >>> end_of_systole_by_rate([1.0, 0.64]).round(2)
    array([0.3 , 0.24])
    """
    seconds = np.asarray(interval_s, dtype=np.float64)
    return 0.3 * np.sqrt(np.where(seconds > 0, seconds, np.nan))


def dicrotic_notch(
    values: ArrayLike,
    rate_hz: float,
    t_systolic: ArrayLike,
    end: ArrayLike,
    t0: float = 0.0,
    *,
    smooth_s: float = 0.04,
) -> FloatArray:
    """Second of the notch of each beat: where the fall after the highest pressure bends upwards most.

    The largest second difference of the smoothed wave after its steepest fall, within `LATEST_NOTCH` of the
    rest of the beat. That finds a dip as well as a mere bend (this project's choice of method).

    Parameters
    ----------
    values : array_like
        Pressure in mmHg, evenly sampled; NaN where missing.
    rate_hz : float
        Samples per second, 100 or more.
    t_systolic, end : array_like
        Highest pressure of each beat and foot of the next, in seconds.
    t0 : float
        Second of the first sample.
    smooth_s : float
        Length of the moving average in seconds, laid on twice.

    Returns
    -------
    ndarray
        Seconds, one a beat; NaN where the beat touches a missing sample or is too short to look into.

    Notes
    -----
    Not valid on a damped line, which has no notch, nor on a ringing one, which has several.

    Examples
    --------
    >>> wave = np.interp(np.arange(100), [0, 10, 35, 38, 99], [80, 120, 95, 97, 80])
    >>> bool(abs(dicrotic_notch(wave, 100, [0.1], [0.99])[0] - 0.35) < 0.015)
    True
    """
    wave, missing = _samples(values)
    top, last = _in_samples(t_systolic, rate_hz, t0), _in_samples(end, rate_hz, t0)
    whole = _whole(top, last, missing) & (LATEST_NOTCH * (last - top) >= 4)
    found = np.full(top.shape, np.nan)
    if not whole.any():
        return found
    width = odd(smooth_s * rate_hz)
    smooth = boxcar(boxcar(wave, width), width)
    first = np.round(top[whole]).astype(np.intp)
    reach = np.floor(LATEST_NOTCH * (last - top)[whole]).astype(np.intp)
    ahead = np.arange(int(reach.max()) + 1)
    index = np.clip(first[:, None] + ahead, 1, wave.size - 2)
    within = ahead <= reach[:, None]
    fall = np.where(within, smooth[index + 1] - smooth[index - 1], np.inf)
    steepest = np.argmin(fall, axis=1)
    bend = smooth[index + 1] - 2 * smooth[index] + smooth[index - 1]
    bend = np.where(within & (ahead >= steepest[:, None]), bend, -np.inf)
    found[whole] = t0 + (first + np.argmax(bend, axis=1)) / rate_hz
    return found


def systolic_area(
    values: ArrayLike,
    rate_hz: float,
    start: ArrayLike,
    end_of_systole: ArrayLike,
    diastolic: ArrayLike,
    t0: float = 0.0,
) -> FloatArray:
    """Area of the systolic part of each beat above its diastolic pressure, in mmHg·s.

    ∫ (P − diastolic) dt from the foot to the end of systole (definition from memory); the same as the whole
    integral less diastolic pressure times the length of systole.

    Parameters
    ----------
    values : array_like
        Pressure in mmHg, evenly sampled; NaN where missing.
    rate_hz : float
        Samples per second.
    start, end_of_systole : array_like
        Foot of each beat, and its `dicrotic_notch` (or what `end_of_systole_by_rate` adds), in seconds.
    diastolic : array_like
        Diastolic pressure of each beat, mmHg.
    t0 : float
        Second of the first sample.

    Returns
    -------
    ndarray
        One value a beat; NaN where the stretch touches a missing sample or an input is missing.

    Examples
    --------
    >>> systolic_area([80.0, 120.0, 120.0, 80.0], 10, [0.0], [0.3], [80.0]).round(6)
    array([8.])
    """
    wave, missing = _samples(values)
    first, last = _in_samples(start, rate_hz, t0), _in_samples(end_of_systole, rate_hz, t0)
    whole = _whole(first, last, missing)
    low = np.asarray(diastolic, dtype=np.float64)
    return np.asarray((_between(wave, first, last, whole) - low * (last - first)) / rate_hz)
