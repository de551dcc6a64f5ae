"""How much a stretch of wave moves, moment by moment: its pulse, or the ripple of a pump, without its noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .ripple import ripple_line
from .runs import BoolArray, FloatArray
from .smoothing import boxcar, filled, noise_level, odd

STEP_S = 0.08
"""Samples are averaged over so long: noise is not a pulse, and six movements a second are still seen."""
DETREND_S = 2.0  # of which the mean is taken away: a beat of 30 a minute is as long
WINDOW_S, RIPPLE_WINDOW_S = 2.4, 4.0  # over which movement is taken
NOISE_S = 4.0
NOISES = 2.0  # standard deviations of noise that are allowed for where a movement is lost
RIPPLE_SHARE = 0.4  # of all movement, from which one steady line is a pump's ripple


@dataclass(frozen=True, slots=True)
class PulseCourse:
    """Level and movement of a stretch of wave, one value each `STEP_S`.

    Attributes
    ----------
    start : float
        Reference second of the middle of the first step.
    level : ndarray
        Mean of each step in the channel's unit, NaN where most of it is missing.
    power : ndarray
        Mean square of the movement around each step, without that of noise, in the unit squared: half the
        square of a sinusoid's amplitude. NaN where more than half of what it is taken over is missing.
    doubt : ndarray
        Standard deviation that noise alone gives the power.
    ripple_hz : float
        Frequency of the ripple that alone was looked for, 0 where any movement counts.
    """

    start: float
    level: FloatArray
    power: FloatArray
    doubt: FloatArray
    ripple_hz: float = 0.0

    @property
    def edge(self) -> float:
        """Part of the power before that is left where a movement ends at once: at the middle of a window."""
        return 0.25 if self.ripple_hz else 0.5

    @property
    def window_s(self) -> float:
        """Over how long each power is taken."""
        return RIPPLE_WINDOW_S if self.ripple_hz else WINDOW_S

    def time(self, index: float) -> float:
        """Reference seconds of the middle of a step."""
        return self.start + index * STEP_S

    def index(self, t: float) -> int:
        """The step of a time, within the course."""
        return int(np.clip(round((t - self.start) / STEP_S), 0, max(self.level.size - 1, 0)))

    def between(self, start: float, end: float) -> slice:
        """Steps from one time to another, whatever the course holds of them."""
        low, high = (round((t - self.start) / STEP_S) for t in (start, end))
        return slice(max(low, 0), max(high, 0))


def pulse_course(
    values: FloatArray, rate_hz: float, t0: float = 0.0, *, ripple_hz: float = 0.0
) -> PulseCourse:
    """Level and movement of an evenly sampled wave.

    Parameters
    ----------
    values : ndarray
        In any unit, NaN where missing.
    rate_hz, t0 : float
        Samples per second, and the second of the first sample.
    ripple_hz : float
        Frequency of a ripple: only what moves with it counts, so that a small one is told from noise.

    Returns
    -------
    PulseCourse
    """
    block = max(round(STEP_S * rate_hz), 1)
    step = block / rate_hz
    whole = values[: values.size // block * block].reshape(-1, block)
    seen = np.isfinite(whole)
    count = seen.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        level = np.where(count >= block / 2, np.where(seen, whole, 0.0).sum(axis=1) / count, np.nan)
    there = np.isfinite(level)
    if not there.any():
        return PulseCourse(t0, level, np.full(level.size, np.nan), np.zeros(level.size), ripple_hz)
    level = _on_steps(level, step)
    there = np.isfinite(level)
    rest = filled(level) - boxcar(filled(level), odd(DETREND_S / STEP_S))
    rest = np.where(there, rest, 0.0)
    noise = noise_level(filled(values), max(int(NOISE_S * rate_hz), 4)) ** 2 / block
    at = np.minimum((np.arange(level.size) * STEP_S / NOISE_S).astype(np.intp), noise.size - 1)
    width = odd((RIPPLE_WINDOW_S if ripple_hz else WINDOW_S) / STEP_S)
    share = boxcar(there.astype(np.float64), width)
    with np.errstate(invalid="ignore", divide="ignore"):
        if ripple_hz:
            turning = rest * np.exp(-2j * np.pi * ripple_hz * np.arange(level.size) * STEP_S)
            real, imaginary = (boxcar(part, width) / share for part in (turning.real, turning.imag))
            doubt = 2 * noise[at] / width
            power = 2 * (real**2 + imaginary**2) - doubt
        else:
            doubt = noise[at] * np.sqrt(2 / width)
            power = boxcar(rest * rest, width) / share - noise[at]
    power = np.where(share >= 0.5, np.maximum(power, 0.0), np.nan)
    return PulseCourse(t0 + step / 2, level, power, doubt, ripple_hz)


def _on_steps(level: FloatArray, step: float) -> FloatArray:
    """Values a step apart as values `STEP_S` apart, where the rate allows no whole samples of it."""
    if abs(step / STEP_S - 1) < 1e-3:
        return level
    size = max(int(level.size * step / STEP_S), 1)
    place = np.arange(size) * STEP_S / step
    nearest = np.minimum(np.round(place).astype(np.intp), level.size - 1)
    between = np.interp(place, np.arange(level.size), filled(level))
    return np.where(np.isfinite(level[nearest]), between, np.nan)


def pump_ripple_hz(values: FloatArray, rate_hz: float) -> float:
    """Frequency of the steadiest ripple of a stretch of wave, 0 where none can be told."""
    if not np.isfinite(values).any():
        return 0.0
    line = ripple_line(filled(values), rate_hz)
    if line is None:
        return 0.0
    plainest = int(np.argmax(line.share))
    return float(line.hz[plainest]) if line.share[plainest] >= RIPPLE_SHARE else 0.0


def lost(course: PulseCourse, base: float, share: float, most: float) -> BoolArray:
    """Steps in which less than a share of the power before is left, and no more than `most`, noise allowed for."""
    limit = min(share * base, most) + NOISES * course.doubt
    with np.errstate(invalid="ignore"):
        return np.asarray(course.power < np.minimum(limit, course.edge * base))
