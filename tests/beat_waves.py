"""Pressure waves whose beats are known because they were made, and how well found onsets agree with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from afterclamp.annotate.beats import find_beats
from numpy.typing import NDArray
from scipy.signal import butter, find_peaks, lfilter, sosfiltfilt

FloatArray = NDArray[np.float64]

EDGE_S = 3.0
"""At either end of a wave beats are cut and not scored."""

SHORTEST_S = 0.3
"""No beat follows the one before sooner (200 a minute, the fastest that a beat is looked for at)."""


@dataclass(frozen=True)
class Made:
    """A wave and the truth about it."""

    wave: FloatArray
    rate_hz: float
    onset: FloatArray


def made(
    *,
    rate: float = 70,
    pulse: float = 40,
    diastolic: float = 60,
    rate_hz: float = 125,
    length_s: float = 180,
    noise: float = 0.0,
    irregular: float = 0.02,
    alternans: float = 0.0,
    swing: float = 0.0,
    pulse_swing: float = 0.0,
    ripple: float = 0.0,
    damped_hz: float = 0.0,
    line: tuple[float, float] | None = None,
    early_every: int = 0,
    seed: int = 0,
) -> Made:
    """A pulse of one upstroke of 130 ms, a fall and a dicrotic wave, at the given rate and with the given faults.

    Parameters
    ----------
    rate, pulse, diastolic, rate_hz, length_s
        Beats a minute, mmHg, mmHg, samples a second, seconds.
    noise : float
        Standard deviation in mmHg, from sample to sample.
    irregular, early_every
        Standard deviation of the length of a beat as its share; one beat in so many is early.
    alternans : float
        Strong and weak beats in turn: share above and below the mean.
    swing, pulse_swing : float
        With breath at 12 a minute: of the pressure in mmHg from lowest to highest, of the pulse as a share.
    ripple : float
        Of a pump at 2.2 Hz, mmHg from lowest to highest.
    damped_hz : float
        A line that passes only what is slower (first order).
    line : (float, float), optional
        Natural frequency in Hz and damping of a line of second order.
    """
    rng = np.random.default_rng(seed)
    count = int(length_s * rate / 60 * 1.5) + 5
    periods = 60 / rate * np.clip(1 + irregular * rng.standard_normal(count), 0.5, 1.8)
    if early_every:
        periods[::early_every] *= 0.6
        periods[1::early_every] *= 1.4
    periods = np.maximum(periods, SHORTEST_S)
    onset = 0.4 + np.concatenate([[0.0], np.cumsum(periods)])
    onset = onset[onset < length_s - 0.2]
    t = np.arange(int(length_s * rate_hz)) / rate_hz
    which = np.clip(np.searchsorted(onset, t, side="right") - 1, 0, onset.size - 1)
    since = t - onset[which]
    rise_s = min(0.13, 0.4 * 60 / rate)
    up = np.where(since < rise_s, 0.5 - 0.5 * np.cos(np.pi * since / rise_s), 0.0)
    length = np.diff(onset, append=onset[-1] + 60 / rate)[which]
    left = np.clip((length - since) / (length - rise_s), 0, 1)
    down = np.where(since >= rise_s, left * np.exp(-(since - rise_s) / 0.5), 0.0)
    notch = 0.08 * np.exp(-(((since - 0.55 * length) / (0.06 * length)) ** 2))
    strength = pulse * (1 + alternans * (1 - 2 * (which % 2)))
    strength = strength * (1 + pulse_swing / 2 * np.sin(2 * np.pi * 0.2 * onset))[which]
    wave = diastolic + np.where(since >= 0, strength * (up + down + notch), 0.0)
    wave += swing / 2 * np.sin(2 * np.pi * 0.2 * t) + ripple / 2 * np.sin(2 * np.pi * 2.2 * t)
    if damped_hz:
        keep = np.exp(-2 * np.pi * damped_hz / rate_hz)
        wave = wave[0] + lfilter([1 - keep], [1, -keep], wave - wave[0])
    if line is not None:
        wave = through_line(wave, rate_hz, *line)
        # What a line of second order delays all that is slow by is no inaccuracy of who looks at its far end.
        onset = onset + line[1] / (np.pi * line[0])
    return Made(wave + noise * rng.standard_normal(t.size), rate_hz, onset)


def through_line(wave: FloatArray, rate_hz: float, natural_hz: float, damping: float) -> FloatArray:
    """The wave as a fluid-filled line of second order passes it on.

    x'' + 2 ζ ω x' + ω² x = ω² P, the model behind the flush test (Gardner, Anesthesiology 1981;54:227-36), solved at
    2 kHz with the wave straight between its samples.
    """
    fine = max(round(2000 / rate_hz), 1)
    step = 1 / (rate_hz * fine)
    at = np.arange(wave.size * fine) / fine
    driven = np.interp(at, np.arange(wave.size), wave) - wave[0]
    turn = 2 * np.pi * natural_hz
    # Poles of the exact answer to a unit that begins at once, sampled every step.
    decay, angle = np.exp(-damping * turn * step), turn * np.sqrt(1 - damping**2) * step
    poles = [1.0, -2 * decay * np.cos(angle), decay**2]
    return wave[0] + np.asarray(lfilter([sum(poles)], poles, driven))[::fine]


def agreement(
    found: FloatArray, truth: FloatArray, length_s: float, tolerance_s: float = 0.15
) -> tuple[float, float, float]:
    """Sensitivity, positive predictivity, and share of onsets within 50 ms; the edges are left out."""
    inner_truth = truth[(truth > EDGE_S) & (truth < length_s - 2 * EDGE_S)]
    inner = found[(found > EDGE_S + 0.2) & (found < length_s - 2 * EDGE_S - 0.2)]
    if not found.size:
        return 0.0, 1.0, 0.0
    apart, back = nearest(inner_truth, found), nearest(inner, truth)
    return (
        float(np.mean(apart < tolerance_s)),
        float(np.mean(back < tolerance_s)) if back.size else 1.0,
        float(np.mean(apart < 0.05)),
    )


def nearest(these: FloatArray, others: FloatArray) -> FloatArray:
    """How far the nearest of the others lies from each of these; both in order of time, others not empty."""
    after = np.clip(np.searchsorted(others, these), 1, max(others.size - 1, 1))
    return np.asarray(
        np.minimum(
            np.abs(these - others[after - 1]), np.abs(these - others[np.minimum(after, others.size - 1)])
        )
    )


def scores(one: Made, tolerance_s: float = 0.15) -> tuple[float, float, float]:
    """The agreement of what `find_beats` finds on a made wave with its truth."""
    found = find_beats(one.wave, one.rate_hz).onset
    return agreement(found, one.onset, one.wave.size / one.rate_hz, tolerance_s)


def without_pulse(
    *,
    rate_hz: float = 125,
    length_s: float = 600,
    noise: float = 0.0,
    ripples: Sequence[tuple[float, float]] = (),
    drift: float = 0.0,
    seed: int = 5,
) -> FloatArray:
    """A pressure near 50 mmHg with no beat in it.

    `ripples` are (Hz, mmHg from lowest to highest); `drift` wanders slowly by about so many mmHg.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(int(length_s * rate_hz)) / rate_hz
    wave = 50 + noise * rng.standard_normal(t.size)
    for hz, size in ripples:
        wave += size / 2 * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6))
    knots = np.arange(0, length_s + 20, 20.0)
    return np.asarray(wave + np.interp(t, knots, drift * rng.standard_normal(knots.size)))


def general_peaks(wave: FloatArray, rate_hz: float, prominence: float) -> FloatArray:
    """Seconds of the peaks of a wave by a general peak finder: a second opinion that knows nothing of pressures.

    `scipy.signal.find_peaks` on the wave below 8 Hz, at least 0.25 s apart.
    """
    good = np.isfinite(wave)
    at = np.arange(wave.size)
    low = sosfiltfilt(butter(3, 8, fs=rate_hz, output="sos"), np.interp(at, at[good], wave[good]))
    peaks, _ = find_peaks(low, prominence=prominence, distance=max(int(0.25 * rate_hz), 1))
    return np.asarray(peaks / rate_hz)
