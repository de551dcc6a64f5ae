"""Short recordings from courses of their own: trend, beats, line and noise, in the manner of the demo.

A `Course` says in a few straight lines how the pressures of one invented patient went; `record` makes the
recorded waves of it, clean but for noise. Artefacts are laid over them afterwards, see `planting`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from . import rhythm, waves
from .planting import Line
from .trend import FloatArray

Points = tuple[tuple[float, float], ...]
"""Seconds and values, straight between them, the first and last one held."""

ARTERIAL, VENOUS, PULMONARY = "arterial", "venous", "pulmonary"


def at(points: Points, t: FloatArray | float) -> FloatArray:
    """Values of a course at seconds `t`."""
    seconds, values = zip(*points, strict=True)
    return np.asarray(np.interp(t, seconds, values))


@dataclass(frozen=True, slots=True)
class Pressure:
    """One pressure.

    Attributes
    ----------
    mean, pulse : tuple of (second, mmHg)
        Mean and pulse pressure in front of the line.
    shape : str
        ``"arterial"``, ``"venous"`` or ``"pulmonary"``.
    natural_hz, damping : float
        Of its line.
    """

    mean: Points
    pulse: Points
    shape: str = ARTERIAL
    natural_hz: float = 14.7
    damping: float = 0.22

    def line(self, rate_hz: float) -> Line:
        """As artefacts are laid over it."""
        return Line(rate_hz, self.natural_hz, self.damping)


@dataclass(frozen=True, slots=True)
class Course:
    """What happened to one invented patient.

    Attributes
    ----------
    seconds, rate_hz : int
        Length, and samples a second of the pressures.
    pressures : mapping of str to Pressure
        By label.
    heart_rate : tuple of (second, beats a minute)
        Under 30 the heart does not beat.
    flow : tuple of (second, L/min)
        Of the pump; with flow the ventilator is off and the pump's ripple is on the arteries.
    variation : tuple of (second, part)
        Part of the pulse pressure by which it changes with the breath, highest to lowest.
    fibrillating : tuple of (start, end)
        Seconds with the ripple of a fibrillating heart.
    spread : float
        Standard deviation of the beat interval, in parts of it.
    early, alternating, irregular : tuple of (start, end)
        Seconds in which every fourth beat comes early, beats are strong and weak by turns, and the heart
        beats as irregularly as in atrial fibrillation.
    """

    seconds: int
    rate_hz: int
    pressures: Mapping[str, Pressure]
    heart_rate: Points
    flow: Points = ((0, 0),)
    variation: Points = ((0, waves.VARIATION),)
    fibrillating: tuple[tuple[float, float], ...] = field(default=())
    spread: float = rhythm.SPREAD
    early: tuple[tuple[float, float], ...] = field(default=())
    alternating: tuple[tuple[float, float], ...] = field(default=())
    irregular: tuple[tuple[float, float], ...] = field(default=())


IRREGULAR_SPREAD = 0.28
ALTERNATION = 0.09  # more and less than the pulse of the beats that alternate, in parts of it


def inside(t: FloatArray, spans: tuple[tuple[float, float], ...]) -> NDArray[np.bool_]:
    """Which of the seconds `t` lie in any of the spans."""
    found = np.zeros(t.size, bool)
    for start, end in spans:
        found |= (t >= start) & (t < end)
    return found


def beats(course: Course, rng: np.random.Generator) -> rhythm.Beats:
    """Every beat of a course."""
    grid = np.arange(0, course.seconds + 1, 0.1)

    def rate(t: FloatArray) -> FloatArray:
        return at(course.heart_rate, t)

    def spread(t: FloatArray) -> FloatArray:
        return np.where(inside(t, course.irregular), IRREGULAR_SPREAD, course.spread)

    pieces = [
        rhythm.episode(grid[a:b], rate, spread, rng)
        for a, b in rhythm.beating_stretches(rate(grid) >= rhythm.SLOWEST)
    ]
    if not pieces:
        pieces = [(np.zeros(1), np.full(1, 1e-9))]  # one beat that is over before the first sample
    onset, own_length = (np.concatenate(part) for part in zip(*pieces, strict=True))
    order = np.argsort(onset, kind="stable")
    onset, own_length = onset[order], own_length[order]
    number = np.arange(onset.size)
    early = inside(onset, course.early) & (number % 4 == 2)
    onset = onset - np.where(early, rhythm.EARLY_BY * own_length, 0)
    strength = np.ones(onset.size)
    strength[early] = rhythm.EARLY_PULSE
    strength[np.flatnonzero(early[:-1]) + 1] = rhythm.NEXT_PULSE
    alternation = np.where(inside(onset, course.alternating), 1.0 - 2 * (number % 2), 0.0)
    return rhythm.Beats(onset, rhythm.lengths(onset, own_length), strength, alternation, early)


def record(course: Course, seed: int, noise: float = 1.0) -> dict[str, FloatArray]:
    """Recorded waves in mmHg by label, artefacts not in; the same for the same seed.

    Parameters
    ----------
    course : Course
    seed : int
    noise : float
        How many times the usual noise of a line.
    """
    heart = beats(course, np.random.default_rng([seed, 1]))
    t = np.arange(course.seconds * course.rate_hz) / course.rate_hz
    index, phase = heart.at(t)
    shape = waves.beat_shape(phase)
    flow = at(course.flow, t)
    ventilated = np.clip(1 - flow, 0, 1)
    breath = np.sin(2 * np.pi * waves.VENTILATION_HZ * t)
    onset = heart.onset
    variation = at(course.variation, onset) / 2 * np.sin(2 * np.pi * waves.VENTILATION_HZ * onset)
    variation = variation * np.clip(1 - at(course.flow, onset), 0, 1)
    variation = (variation + heart.strength - 1 + ALTERNATION * heart.alternation)[index]
    quiver = _quiver(course, t, np.random.default_rng([seed, 2]))
    ripple = waves.RIPPLE_MMHG / 2 * np.clip(flow / 2, 0, 1) * np.sin(2 * np.pi * waves.RIPPLE_HZ * t)
    found = {}
    for number, (label, pressure) in enumerate(course.pressures.items()):
        pulse = at(pressure.pulse, t)
        wave = at(pressure.mean, t)
        if pressure.shape == VENOUS:
            wave = wave + np.where(phase < 1, pulse / 2 * np.cos(2 * np.pi * 2 * phase), 0)
            lobe = np.where(phase < 0.4, 0.5 - 0.5 * np.cos(2 * np.pi * phase / 0.4), 0)
            wave = wave + np.where(heart.early[index], waves.CANNON_MMHG * lobe, 0)
        else:
            wave = wave + pulse * (shape - waves.beat_mean()) + quiver
        if pressure.shape == ARTERIAL:
            wave = wave + np.where(phase < 1, pulse * variation * shape, 0) + ripple
        else:
            wave = wave + waves.SWING_MMHG / 2 * breath * ventilated
        seen = waves.SecondOrder(pressure.natural_hz, pressure.damping, course.rate_hz)(wave)
        rng = np.random.default_rng([seed, 10 + number])
        found[label] = seen + noise * pressure.line(course.rate_hz).noise_sd * rng.standard_normal(t.size)
    return found


def _quiver(course: Course, t: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Ripple of a fibrillating heart, nothing while it beats."""
    if not course.fibrillating:
        return np.zeros(t.size)
    inside = np.zeros(t.size, bool)
    for start, end in course.fibrillating:
        inside |= (t >= start) & (t < end)
    ripple = waves.band_noise(rng, t.size, course.rate_hz, waves.FIBRILLATION_HZ)
    return np.where(inside, waves.FIBRILLATION_SD * ripple, 0)
