"""Artefacts laid over any recorded pressure wave: the same shapes as the demo's, where and how deep one likes.

Each function takes a wave in mmHg, evenly sampled, and gives a new one and the true span of what was laid on;
the wave given is not changed. What happens in front of the line (open to air, flush, closed tap) rings with
it at both ends. The wave should be clean around the place: levels are taken from the ten seconds before it.
Missing samples (NaN) stay missing.

The shapes follow what is common practice to expect of each; lengths, steps and noise are this project's choice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from .artefacts import (
    CUFF_DOWN_S,
    CUFF_HOLD_S,
    CUFF_MMHG,
    CUFF_STEP_S,
    DIATHERMY_EVERY_S,
    DIATHERMY_HZ,
    DIATHERMY_ON_S,
    DIATHERMY_SD,
    FLUSH_MMHG,
    HEIGHT_MMHG,
    HEIGHT_RAMP_S,
    KINK_MMHG,
    KINK_TAU_S,
    NOISE_SD,
    SAMPLE_DRIFT_MMHG,
    SAMPLE_FLUSH_S,
    ZERO_NOISE_SD,
    ramp,
)
from .trend import FloatArray
from .waves import SecondOrder, band_noise

Span = tuple[float, float]

LEVEL_S = 10.0  # before a place, over which its level is taken
SETTLED_S = 2.0  # after which a line has stopped ringing
DAMPED_SHARE = 0.35
CLOT_HZ = 1.6
BLEND_S = 5.0
RINGING_HZ, RINGING_DAMPING = 6.0, 0.12
OVERSHOOT_MMHG = 20.0
PEAKS = 99  # percentile of a wave that stands for its systolic peaks
GAIN_ROUNDS = 5
CUFF_STEPS = 3


@dataclass(frozen=True, slots=True)
class Line:
    """How a wave was recorded.

    Attributes
    ----------
    rate_hz : float
        Samples a second.
    natural_hz, damping : float
        Natural frequency and damping coefficient of catheter, tube and transducer.
    noise_sd : float
        Noise of the recorded wave, mmHg.
    """

    rate_hz: float
    natural_hz: float = 14.7
    damping: float = 0.22
    noise_sd: float = NOISE_SD


Planter = Callable[[FloatArray, Line, float, float, float, np.random.Generator], tuple[FloatArray, Span]]


def plant(
    name: str,
    wave: FloatArray,
    line: Line,
    start_s: float,
    length_s: float,
    rng: np.random.Generator,
    depth: float | None = None,
) -> tuple[FloatArray, Span]:
    """Lay one artefact over a wave.

    Parameters
    ----------
    name : str
        A key of `SHAPES`.
    wave : ndarray
        mmHg, from second 0, evenly sampled; NaN where nothing was recorded.
    line : Line
        How it was recorded.
    start_s, length_s : float
        Seconds; moved to whole samples, and cut where the wave ends.
    rng : numpy Generator
        For noise.
    depth : float, optional
        How strong, in the unit that `SHAPES` names; the usual one if left out.

    Returns
    -------
    wave : ndarray
        A new array.
    span : (float, float)
        Start and end in seconds of what was laid on.

    Raises
    ------
    KeyError
        `name` is none of the shapes.
    ValueError
        Nothing of the place lies on the wave.
    """
    shape = SHAPES[name]
    first = max(round(start_s * line.rate_hz), 0)
    last = min(round((start_s + length_s) * line.rate_hz), wave.size)
    if last <= first:
        raise ValueError(f"{start_s:g} to {start_s + length_s:g} s holds no sample of the wave")
    start, end = first / line.rate_hz, last / line.rate_hz
    strength = shape.usual if depth is None else depth
    laid, span = shape.lay(wave, line, start, end, strength, rng)
    return np.where(np.isnan(wave), np.nan, laid), span


def open_to_air(
    wave: FloatArray, line: Line, start: float, end: float, level: float, rng: np.random.Generator
) -> tuple[FloatArray, Span]:
    """A1: still at `level` mmHg (0 but for a transducer that was not zeroed yet)."""
    quiet = Line(line.rate_hz, line.natural_hz, line.damping, ZERO_NOISE_SD)
    return _in_front_of(wave, quiet, start, end, _flat(wave, line, start, end, level), rng), (start, end)


def fast_flush(
    wave: FloatArray, line: Line, start: float, end: float, plateau: float, rng: np.random.Generator
) -> tuple[FloatArray, Span]:
    """A2: a square wave to `plateau` mmHg; the line rings at either end."""
    return _in_front_of(wave, line, start, end, _flat(wave, line, start, end, plateau), rng), (start, end)


def blood_sample(
    wave: FloatArray, line: Line, start: float, end: float, drift: float, rng: np.random.Generator
) -> tuple[FloatArray, Span]:
    """A3: the tap is shut, what is shut in drifts by `drift` mmHg, and a flush ends it."""
    t = _times(wave, line, start, end)
    shut_in = _level(wave, line, start) + drift * (t - start) / (end - start)
    target = np.where(t < end - SAMPLE_FLUSH_S, shut_in, FLUSH_MMHG)
    return _in_front_of(wave, line, start, end, target, rng), (start, end)


def damped(
    wave: FloatArray, line: Line, start: float, end: float, share: float, rng: np.random.Generator
) -> tuple[FloatArray, Span]:
    """A4, a clot or bubble: the pulse smoothed and narrowed to `share` of itself, the mean unchanged."""
    from scipy.signal import lfilter

    mean = _course(wave, line)
    pole = np.exp(-2 * np.pi * CLOT_HZ / line.rate_hz)
    smooth = np.asarray(lfilter([1 - pole], [1, -pole], np.nan_to_num(wave - mean)))
    inside = _inside(wave, line, start, end)
    before, after = _size((wave - mean)[inside]), _size(smooth[inside])
    gain = share * before / after if after > 0 else 0.0
    noise = line.noise_sd * rng.standard_normal(wave.size)
    blend = _blend(wave, line, start, end)
    return wave * (1 - blend) + (mean + gain * smooth + noise) * blend, (start, end)


def ringing(
    wave: FloatArray,
    line: Line,
    start: float,
    end: float,
    overshoot: float,
    rng: np.random.Generator,  # noqa: ARG001
) -> tuple[FloatArray, Span]:
    """A4, a long soft tube: systolic peaks `overshoot` mmHg too high, with a swing after each upstroke."""
    filled = np.where(np.isnan(wave), _level(wave, line, start), wave)
    rung = SecondOrder(RINGING_HZ, RINGING_DAMPING, line.rate_hz)(filled) - filled
    inside = _inside(wave, line, start, end)
    quiet, more = filled[inside], rung[inside]
    peak, gain = np.percentile(quiet, PEAKS), 1.0
    for _ in range(GAIN_ROUNDS):  # peaks move as they grow, so that once is not enough
        reached = float(np.percentile(quiet + gain * more, PEAKS) - peak)
        if reached < 1:  # no pulse that could ring
            break
        gain *= overshoot / reached
    return wave + gain * rung * _blend(wave, line, start, end), (start, end)


def kink(
    wave: FloatArray, line: Line, start: float, end: float, level: float, rng: np.random.Generator
) -> tuple[FloatArray, Span]:
    """A5: no pulse nor ripple, and a slow drift to `level` mmHg; on a pulmonary artery line a wedge."""
    t = np.arange(wave.size) / line.rate_hz
    drift = level + (_level(wave, line, start) - level) * np.exp(-np.maximum(t - start, 0) / KINK_TAU_S)
    shut = ramp(t, start, end, min(1.0, (end - start) / 2))
    noise = line.noise_sd * rng.standard_normal(wave.size)
    return wave * (1 - shut) + (drift + noise) * shut, (start, end)


def cuff(
    wave: FloatArray, line: Line, start: float, end: float, level: float, rng: np.random.Generator
) -> tuple[FloatArray, Span]:
    """A6: a squeezed artery falls to `level` mmHg, lies flat, and comes back in steps."""
    t = np.arange(wave.size) / line.rate_hz
    part = (end - start) / (CUFF_DOWN_S + CUFF_HOLD_S + CUFF_STEPS * CUFF_STEP_S)
    steps = start + part * (CUFF_DOWN_S + CUFF_HOLD_S + CUFF_STEP_S * np.arange(1, CUFF_STEPS + 1))
    passed = np.interp(t, [start, start + part * CUFF_DOWN_S], [1, 0])
    passed = passed + np.searchsorted(steps, t, side="right") / CUFF_STEPS
    noise = line.noise_sd * np.sqrt(1 - np.minimum(passed, 1) ** 2) * rng.standard_normal(wave.size)
    return level + (wave - level) * passed + noise, (start, end)


def height_shift(
    wave: FloatArray,
    line: Line,
    start: float,
    end: float,
    step: float,
    rng: np.random.Generator,  # noqa: ARG001
) -> tuple[FloatArray, Span]:
    """A7: transducer and patient moved apart: `step` mmHg more or less within 3 s. For every line of a pole."""
    t = np.arange(wave.size) / line.rate_hz
    return wave + step * ramp(t, start, end, min(HEIGHT_RAMP_S, (end - start) / 2)), (start, end)


def noise(
    wave: FloatArray, line: Line, start: float, end: float, sd: float, rng: np.random.Generator
) -> tuple[FloatArray, Span]:
    """A8: diathermy, 20 to 40 Hz, `sd` mmHg, four seconds of every eight; the pauses belong to the span."""
    t = np.arange(wave.size) / line.rate_hz
    on = (t >= start) & (t < end) & ((t - start) % DIATHERMY_EVERY_S < DIATHERMY_ON_S)
    return wave + np.where(on, sd * band_noise(rng, wave.size, line.rate_hz, DIATHERMY_HZ), 0), (start, end)


def gap(
    wave: FloatArray,
    line: Line,
    start: float,
    end: float,
    depth: float,  # noqa: ARG001
    rng: np.random.Generator,  # noqa: ARG001
) -> tuple[FloatArray, Span]:
    """A9: nothing recorded."""
    return np.where(_inside(wave, line, start, end), np.nan, wave), (start, end)


def frozen(
    wave: FloatArray,
    line: Line,
    start: float,
    end: float,
    depth: float,  # noqa: ARG001
    rng: np.random.Generator,  # noqa: ARG001
) -> tuple[FloatArray, Span]:
    """A9: one value, repeated exactly."""
    inside = _inside(wave, line, start, end)
    return np.where(inside, wave[int(np.argmax(inside))], wave), (start, end)


@dataclass(frozen=True, slots=True)
class Shape:
    """One way to spoil a wave.

    Attributes
    ----------
    code : str
        ``"A1"`` to ``"A9"``.
    label : str
        In words, as in the truth tables.
    lay : callable
    usual : float
        Depth if nothing else is said.
    depth : str
        What the depth is.
    depths, lengths_s : (float, float)
        Between which a variation draws them.
    """

    code: str
    label: str
    lay: Planter
    usual: float
    depth: str
    depths: tuple[float, float]
    lengths_s: tuple[float, float]


SHAPES: Mapping[str, Shape] = MappingProxyType(
    {
        "zero": Shape("A1", "zero", open_to_air, 0.0, "level, mmHg", (-1.0, 1.0), (6, 40)),
        "flush": Shape("A2", "flush", fast_flush, FLUSH_MMHG, "plateau, mmHg", (230, 300), (1, 6)),
        "sample": Shape(
            "A3", "blood sample", blood_sample, SAMPLE_DRIFT_MMHG, "drift, mmHg", (-8, 15), (20, 90)
        ),
        "damped": Shape(
            "A4", "over-damped line", damped, DAMPED_SHARE, "part of the pulse left", (0.2, 0.5), (90, 240)
        ),
        "ringing": Shape(
            "A4", "ringing line", ringing, OVERSHOOT_MMHG, "overshoot, mmHg", (17, 28), (90, 240)
        ),
        "kink": Shape("A5", "catheter kink", kink, KINK_MMHG, "level drifted to, mmHg", (25, 45), (60, 150)),
        "cuff": Shape("A6", "cuff same arm", cuff, CUFF_MMHG, "level squeezed to, mmHg", (25, 40), (25, 45)),
        "height": Shape(
            "A7", "transducer height shift", height_shift, HEIGHT_MMHG, "step, mmHg", (10, 20), (40, 120)
        ),
        "noise": Shape("A8", "diathermy noise", noise, DIATHERMY_SD, "SD, mmHg", (6, 12), (12, 40)),
        "gap": Shape("A9", "gap", gap, 0.0, "none", (0, 0), (5, 60)),
        "frozen": Shape("A9", "frozen", frozen, 0.0, "none", (0, 0), (8, 60)),
    }
)


def _inside(wave: FloatArray, line: Line, start: float, end: float) -> np.ndarray:
    inside = np.zeros(wave.size, bool)
    inside[round(start * line.rate_hz) : round(end * line.rate_hz)] = True
    return inside


def _times(wave: FloatArray, line: Line, start: float, end: float) -> FloatArray:
    return np.asarray(np.flatnonzero(_inside(wave, line, start, end)) / line.rate_hz)


def _flat(wave: FloatArray, line: Line, start: float, end: float, level: float) -> FloatArray:
    return np.full(_times(wave, line, start, end).size, level)


def _level(wave: FloatArray, line: Line, at: float) -> float:
    """Mean of the ten seconds before a place; of the first ten seconds where it lies at the beginning."""
    last = round(at * line.rate_hz)
    width = round(LEVEL_S * line.rate_hz)
    before = wave[max(last - width, 0) : last] if last > line.rate_hz else wave[:width]
    before = before[np.isfinite(before)]
    return float(before.mean()) if before.size else 0.0


def _course(wave: FloatArray, line: Line) -> FloatArray:
    """Mean over four seconds around each sample, missing ones left out."""
    width = round(4 * line.rate_hz)
    there = np.isfinite(wave)
    total = np.concatenate(([0.0], np.cumsum(np.where(there, wave, 0))))
    count = np.concatenate(([0], np.cumsum(there)))
    middle = np.arange(wave.size)
    low, high = np.maximum(middle - width // 2, 0), np.minimum(middle + width // 2 + 1, wave.size)
    return np.asarray((total[high] - total[low]) / np.maximum(count[high] - count[low], 1))


def _size(pulse: FloatArray) -> float:
    """From the 2nd to the 98th percentile."""
    low, high = np.nanpercentile(pulse, [2, 98])
    return float(high - low)


def _blend(wave: FloatArray, line: Line, start: float, end: float) -> FloatArray:
    t = np.arange(wave.size) / line.rate_hz
    return ramp(t, start, end, min(BLEND_S, (end - start) / 4))


def _in_front_of(
    wave: FloatArray, line: Line, start: float, end: float, target: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """The wave with another pressure in front of the line for a while: seen through it, and with noise."""
    first, last = round(start * line.rate_hz), round(end * line.rate_hz)
    low, high = max(first - round(line.rate_hz), 0), min(last + round(SETTLED_S * line.rate_hz), wave.size)
    was = np.where(np.isnan(wave[low:high]), _level(wave, line, start), wave[low:high])
    inside = slice(first - low, last - low)
    now = was.copy()
    now[inside] = target
    seen, unspoilt = (SecondOrder(line.natural_hz, line.damping, line.rate_hz)(x) for x in (now, was))
    out = wave.copy()
    out[low:high] += seen - unspoilt  # the same up to the start, and again once the ring has died away
    out[first:last] = seen[inside] + line.noise_sd * rng.standard_normal(last - first)
    return out
