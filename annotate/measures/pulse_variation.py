"""Variation of the pulse with ventilation, and whether it can be interpreted at all.

The number is always given; beside it stands what is in the way of reading it. What is not known counts as in
the way: a condition that nobody stated is not a condition that holds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

VARIATION_CUT_OFF = 13.0
"""Per cent; told responders to fluid from others in 40 ventilated patients: sensitivity 94 %, specificity 96 %
(Michard et al., Am J Respir Crit Care Med 2000;162:134-8). Disputed: see `VARIATION_GREY_ZONE`."""

VARIATION_GREY_ZONE = (4.0, 17.0)
"""Per cent; within it 62 % of 556 patients in intensive care could not be told apart (PMC4240833)."""

LEAST_TIDAL_VOLUME = 8.0
"""mL/kg, from memory; that smaller breaths move the pulse less: table 2 of Ann Intensive Care 2016,
doi 10.1186/s13613-016-0216-7, and BMC Anesthesiol 2016, doi 10.1186/s12871-016-0233-y."""

LEAST_BEATS_PER_BREATH = 3.6
"""Ratio of heart to breathing rate under which the number reads low (Ann Intensive Care 2016, table 2)."""

REGULAR_WITHIN = 0.10
"""Coefficient of variation of beat lengths up to which a rhythm counts as regular (this project's choice)."""

FEWEST_BEATS = 10
"""Beats without which nothing is said of a rhythm (this project's choice)."""


@dataclass(frozen=True, slots=True)
class BreathingConditions:
    """What has to be known before a variation of the pulse says anything. None: not known.

    Attributes
    ----------
    rhythm_regular : bool or None
        See `rhythm_is_regular`.
    ventilation_controlled : bool or None
        Whether a ventilator alone moved the chest.
    tidal_volume_ml_per_kg : float or None
        Of body weight.
    chest_open : bool or None
        Open chest: the lungs no longer press on the heart's filling, and the number reads low.
    on_bypass : bool or None
        On bypass the pump, not filling, makes the pulse.
    beats_per_breath : float or None
        Ratio of heart to breathing rate; looked at only where it is given.
    """

    rhythm_regular: bool | None = None
    ventilation_controlled: bool | None = None
    tidal_volume_ml_per_kg: float | None = None
    chest_open: bool | None = None
    on_bypass: bool | None = None
    beats_per_breath: float | None = None


@dataclass(frozen=True, slots=True)
class PulseVariation:
    """Variation of the pulse pressure in per cent, and what is in the way of interpreting it.

    Attributes
    ----------
    value : float
        Per cent; NaN where there was too little to compute it from.
    in_the_way : tuple of str
        Empty where every condition is known to hold.
    """

    value: float
    in_the_way: tuple[str, ...] = ()

    @property
    def interpretable(self) -> bool:
        """Whether there is a number and nothing in the way."""
        return not self.in_the_way and bool(np.isfinite(self.value))

    def __str__(self) -> str:
        number = f"{self.value:.0f} %" if np.isfinite(self.value) else "not computed"
        return f"{number}, not interpretable: {', '.join(self.in_the_way)}" if self.in_the_way else number


def pulse_pressure_variation(largest: ArrayLike, smallest: ArrayLike) -> FloatArray:
    """100 · (largest − smallest pulse pressure) / their mean, over one breath, in per cent.

    Parameters
    ----------
    largest, smallest : array_like
        Pulse pressures of one respiratory cycle in mmHg.

    Returns
    -------
    ndarray
        NaN where either is missing or their mean is not positive.

    References
    ----------
    Michard F et al. Am J Respir Crit Care Med 2000;162:134-8, doi 10.1164/ajrccm.162.1.9903035.

    Examples
    --------
    >>> float(pulse_pressure_variation(45, 39).round(2))
    14.29
    """
    high, low = np.asarray(largest, dtype=np.float64), np.asarray(smallest, dtype=np.float64)
    middle = (high + low) / 2
    return np.asarray(
        np.divide(100 * (high - low), middle, out=np.full(middle.shape, np.nan), where=middle > 0)
    )


def variation_by_breath(
    onset: ArrayLike, pulse_pressure: ArrayLike, breath_s: float, *, breaths: int = 3
) -> tuple[FloatArray, FloatArray]:
    """`pulse_pressure_variation` of each breath, each the mean of itself and those before it, in per cent.

    Parameters
    ----------
    onset : array_like
        Second of each beat, increasing.
    pulse_pressure : array_like
        Of each beat in mmHg; NaN where it is not usable.
    breath_s : float
        Length of a breath in seconds, as set on the ventilator or by `breath_length`.
    breaths : int
        How many are averaged (three, as in the reference; from memory).

    Returns
    -------
    t, variation : ndarray
        Second at which each breath begins, counted from the first beat, and the mean up to and with it; NaN for
        the first ones and wherever one of them has fewer than three usable beats or an unusable one.

    Notes
    -----
    Noise makes the largest pulse larger and the smallest smaller, so it can only raise the number.

    References
    ----------
    Michard F et al. Am J Respir Crit Care Med 2000;162:134-8.

    Examples
    --------
    >>> t, found = variation_by_breath(np.arange(20.0), np.tile([50, 45, 40, 45], 5), 4.0)
    >>> found.round(1)
    array([ nan,  nan, 22.2, 22.2, 22.2])
    """
    if not breath_s > 0 or breaths < 1:
        raise ValueError(f"a breath lasts longer than 0 s and one at least is averaged, got {breath_s:g} s")
    beats, pulse = np.asarray(onset, dtype=np.float64), np.asarray(pulse_pressure, dtype=np.float64)
    if not beats.size:
        return np.empty(0), np.empty(0)
    breath = np.floor((beats - beats[0]) / breath_s + 1e-9).astype(np.intp)
    count = int(breath[-1]) + 1
    usable = np.isfinite(pulse)
    largest, smallest = np.full(count, -np.inf), np.full(count, np.inf)
    np.maximum.at(largest, breath[usable], pulse[usable])
    np.minimum.at(smallest, breath[usable], pulse[usable])
    enough = np.bincount(breath, minlength=count) >= 3
    enough &= np.bincount(breath[~usable], minlength=count) == 0
    one = pulse_pressure_variation(np.where(enough, largest, np.nan), np.where(enough, smallest, np.nan))
    found = np.full(count, np.nan)
    if count >= breaths:
        found[breaths - 1 :] = np.lib.stride_tricks.sliding_window_view(one, breaths).mean(axis=1)
    return beats[0] + breath_s * np.arange(count), found


def breath_length(onset: ArrayLike, pulse_pressure: ArrayLike) -> float:
    """Length of a breath in seconds, from the rhythm in which the pulse pressure swells and shrinks.

    The strongest of the frequencies between 6 and 30 a minute (engineering guard, no source); it counts only
    where it holds half of all that moves the pulse within that band (this project's choice).

    Parameters
    ----------
    onset : array_like
        Second of each beat, increasing.
    pulse_pressure : array_like
        Of each beat, mmHg; NaN is passed over.

    Returns
    -------
    float
        Seconds; NaN with less than 30 s of beats or without a rhythm that stands out.

    Examples
    --------
    >>> at = np.arange(0, 60, 0.8)
    >>> round(breath_length(at, 45 + 3 * np.sin(2 * np.pi * at / 5)), 1)
    5.0
    """
    t, pulse = np.asarray(onset, dtype=np.float64), np.asarray(pulse_pressure, dtype=np.float64)
    t, pulse = t[np.isfinite(pulse)], pulse[np.isfinite(pulse)]
    if t.size < FEWEST_BEATS or t[-1] - t[0] < 30:
        return float("nan")
    even = np.arange(t[0], t[-1], 0.25)
    level = np.interp(even, t, pulse)
    level = (level - np.polyval(np.polyfit(even - even[0], level, 1), even - even[0])) * np.hanning(even.size)
    padded = 8 * even.size
    power = np.abs(np.fft.rfft(level, padded)) ** 2
    hertz = np.fft.rfftfreq(padded, 0.25)
    band = (hertz >= 0.1) & (hertz <= 0.5)
    total = float(power[band].sum())
    if total <= 0:
        return float("nan")
    top = float(hertz[band][np.argmax(power[band])])
    near = np.abs(hertz - top) <= 2 / (even.size * 0.25)
    return 1 / top if float(power[band & near].sum()) >= 0.5 * total else float("nan")


def rhythm_is_regular(interval_s: ArrayLike, within: float = REGULAR_WITHIN) -> bool | None:
    """Whether beats come regularly: standard deviation of their lengths up to a share of the mean length.

    Parameters
    ----------
    interval_s : array_like
        Length of each beat in seconds, from its foot to the next; NaN is passed over.
    within : float
        Largest share (this project's choice).

    Returns
    -------
    bool or None
        None with fewer than `FEWEST_BEATS` beats: not known.

    Examples
    --------
    >>> rhythm_is_regular([0.8, 0.82] * 10), rhythm_is_regular([0.8, 0.8, 0.5, 1.1] * 5)
    (True, False)
    """
    seconds = np.asarray(interval_s, dtype=np.float64)
    seconds = seconds[np.isfinite(seconds)]
    if seconds.size < FEWEST_BEATS:
        return None
    return bool(seconds.std(ddof=1) <= within * seconds.mean())


def interpreted(value: float, conditions: BreathingConditions) -> PulseVariation:
    """A variation of the pulse pressure, in per cent, with whatever is in the way of interpreting it.

    Parameters
    ----------
    value : float
        Per cent, from `pulse_pressure_variation`, so within no limit.
    conditions : BreathingConditions
        What is known.

    References
    ----------
    Table 2 of Ann Intensive Care 2016, doi 10.1186/s13613-016-0216-7: spontaneous breathing and arrhythmia read
    falsely high; small breaths, an open chest and a high breathing rate falsely low. That it does not hold on
    bypass is from memory.

    Examples
    --------
    >>> str(interpreted(17.0, BreathingConditions(True, True, 8.0, chest_open=True, on_bypass=False)))
    '17 %, not interpretable: open chest'
    """
    volume, ratio = conditions.tidal_volume_ml_per_kg, conditions.beats_per_breath
    found = [
        _unless(conditions.chest_open, False, "open chest", "not known whether the chest is open"),
        _unless(conditions.on_bypass, False, "on bypass", "not known whether on bypass"),
        _unless(conditions.rhythm_regular, True, "irregular rhythm", "rhythm not known"),
        _unless(conditions.ventilation_controlled, True, "breathing on their own", "ventilation not known"),
        "tidal volume not stated"
        if volume is None
        else f"tidal volume {volume:g} mL/kg"
        if volume < LEAST_TIDAL_VOLUME
        else "",
        f"{ratio:.1f} beats a breath" if ratio is not None and ratio < LEAST_BEATS_PER_BREATH else "",
    ]
    return PulseVariation(float(value), tuple(filter(None, found)))


def _unless(known: bool | None, wanted: bool, otherwise: str, unknown: str) -> str:
    return unknown if known is None else "" if known is wanted else otherwise
