"""From trend and beats to the pressure at the catheter tip, and through the line to the transducer.

A beat is two raised-cosine lobes on an exponential fall. It is scaled so that mean and pulse pressure
are those of the keyframes: the mean holds by construction, since the shape's own mean is subtracted.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from . import rhythm, tables, trend
from .trend import line

FloatArray = NDArray[np.float64]

RATE_HZ = 100
PRESSURES = ("LRAD", "RRAD", "FEM", "CVP", "PA")
ARTERIAL = ("LRAD", "RRAD", "FEM")

VENTILATION_HZ = 12 / 60
SWING_MMHG = 3.0  # peak to peak
RIPPLE_HZ = 2.2
RIPPLE_MMHG = 1.5  # peak to peak
FIBRILLATION_HZ = (3.0, 8.0)
FIBRILLATION_SD = 0.4  # mmHg; 0.8 mmHg is two standard deviations
ALTERNANS_MMHG = 7.0
CANNON_MMHG = 8.0  # an early beat closes the atrium against a shut valve: a spike in the venous pressure
CVP_PULSE_MMHG = 4.0

# Pulse pressure variation: 6 % while ventilated off bypass (3 mmHg of a pulse of 50), 17 % in E30.
# A breath holds about seven beats, of which none needs to meet the crest: hence a little more.
VARIATION = 0.06
HIGH_VARIATION = 0.17 * 1.05

# The systolic pressure of both radials against what mean and pulse of the keyframes give: amplified on
# the way out before bypass, and less than central after it. 0.855 makes the systolic gradient to the
# femoral line 28 mmHg where the mean gradient is 14.
SYSTOLIC_FACTOR = ((0, 60, 63, 304, 307, 324, 326.4, 350), (1.12, 1.12, 1, 1, 0.855, 0.855, 1, 1))


@cache
def _shape() -> tuple[FloatArray, FloatArray, float]:
    """Phase, beat from 0 to 1, and the mean of the beat."""
    phase = np.linspace(0, 1, 2001)
    systole = np.where(phase < 0.34, 0.5 - 0.5 * np.cos(2 * np.pi * phase / 0.34), 0)
    dicrotic = np.where(np.abs(phase - 0.46) < 0.08, 0.5 + 0.5 * np.cos(np.pi * (phase - 0.46) / 0.08), 0)
    rise = 0.5 - 0.5 * np.cos(np.pi * phase / 0.17)
    end = np.exp(-0.83 / 0.3)
    fall = np.where(phase < 0.17, rise, (np.exp(-(phase - 0.17) / 0.3) - end) / (1 - end))
    beat = 0.6 * fall + 0.4 * systole + 0.14 * dicrotic
    beat = (beat - beat.min()) / (beat.max() - beat.min())
    return phase, beat, float(np.trapezoid(beat, phase))


def beat_mean() -> float:
    """Mean of a beat that runs from 0 to 1."""
    return _shape()[2]


def beat_shape(phase: FloatArray) -> FloatArray:
    """The beat at `phase` 0 to 1, and its own mean, which is no pulse, beyond 1."""
    grid, beat, mean = _shape()
    return np.interp(phase, grid, beat, right=mean)


class SecondOrder:
    """Catheter, tube and transducer: a second-order system, exact for steps at sample instants.

    Parameters
    ----------
    natural_hz, damping : float
        Natural frequency and damping coefficient.
    rate_hz : float
        Samples a second.
    """

    def __init__(self, natural_hz: float, damping: float, rate_hz: float = RATE_HZ) -> None:
        natural = 2 * np.pi * natural_hz
        damped = natural * np.sqrt(1 - damping**2)
        decay = np.exp(-damping * natural / rate_hz)
        cosine = decay * np.cos(damped / rate_hz)
        sine = decay * np.sin(damped / rate_hz) * damping * natural / damped
        self._b = np.array([0, 1 - cosine - sine, decay**2 + sine - cosine])
        self._a = np.array([1, -2 * cosine, decay**2])
        self._state: FloatArray | None = None

    def __call__(self, pressure: FloatArray) -> FloatArray:
        """The next stretch of the wave as the transducer sees it."""
        from scipy.signal import lfilter, lfilter_zi

        if self._state is None:
            self._state = np.asarray(lfilter_zi(self._b, self._a)) * pressure[0]
        out, self._state = lfilter(self._b, self._a, pressure, zi=self._state)
        return np.asarray(out)


LINES = {
    "LRAD": (14.7, 0.22),
    "RRAD": (14.7, 0.22),
    "FEM": (22.0, 0.35),
    "CVP": (14.7, 0.22),
    "PA": (14.7, 0.22),
}


def fibrillation(rng: np.random.Generator) -> FloatArray:
    """Band-limited ripple of a fibrillating heart, SD 1, one value a sample.

    Made from its spectrum over ten minutes and then repeated.
    """
    return band_noise(rng, 600 * RATE_HZ, RATE_HZ, FIBRILLATION_HZ)


def band_noise(
    rng: np.random.Generator, count: int, rate_hz: float, band_hz: tuple[float, float]
) -> FloatArray:
    """Noise of SD 1 that holds nothing outside a band of frequencies."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    frequency = np.fft.rfftfreq(count, 1 / rate_hz)
    spectrum[(frequency < band_hz[0]) | (frequency > band_hz[1])] = 0
    noise = np.fft.irfft(spectrum, count)
    return np.asarray(noise / noise.std())


@dataclass(frozen=True)
class Scene:
    """What all the pressures share: beats, ripple, and their mean lines every 0.1 s."""

    beats: rhythm.Beats
    ripple: FloatArray
    grid: FloatArray = field(default_factory=lambda: np.arange(0, tables.LENGTH_S + 0.05, 0.1))
    means: dict[str, FloatArray] = field(default_factory=dict)

    @classmethod
    def of(cls, seed: int) -> Scene:
        """The scene of one seed."""
        scene = cls(
            rhythm.beats(np.random.default_rng([seed, 1])), fibrillation(np.random.default_rng([seed, 2]))
        )
        for name in PRESSURES:
            scene.means[name] = _mean_line(name, scene.grid)
        return scene


def _mean_line(name: str, grid: FloatArray) -> FloatArray:
    """Mean pressure every 0.1 s; where a rule changes over, the line takes 2 s instead of no time."""
    if name == "PA":
        return line("PAM", grid)
    if name in ("LRAD", "CVP"):
        return line(name, grid)
    mean = trend.femoral(grid) if name == "FEM" else trend.right_radial(grid)
    padded = np.pad(mean, 10, mode="edge")
    return np.convolve(padded, np.full(21, 1 / 21), mode="valid")


def pulse_pressure(name: str, t: FloatArray, mean: FloatArray) -> FloatArray:
    """Pulse pressure in mmHg at `t` seconds, in front of the line."""
    minutes = t / 60
    pulse = line("PP", t)
    if name == "PA":
        # 52 before bypass, in step with the arteries until the heart fibrillates, 14 once it is back.
        return np.where(minutes < 200, 52 * np.minimum(pulse / 46, 1), 14.0 * (pulse > 0))
    if name == "CVP":
        return CVP_PULSE_MMHG * pulse / 50
    if name == "FEM":
        return pulse
    above = 1 - beat_mean()  # of the pulse, this part stands above the mean
    systolic = mean + above * pulse
    return np.where(pulse > 0, pulse + (np.interp(minutes, *SYSTOLIC_FACTOR) - 1) * systolic / above, 0)


def ventilated(t: FloatArray) -> FloatArray:
    """How much the ventilator acts on the pressures: 1 off bypass, 0 once flow has reached 1 L/min."""
    off_bypass = (t < 61 * 60) | (t > 306 * 60)
    return np.where(off_bypass, np.clip(1 - line("FLOW", t), 0, 1), 0)


def pressure(name: str, t: FloatArray, scene: Scene) -> FloatArray:
    """True pressure in mmHg at `t` seconds (samples of the 100 Hz grid) in front of the line.

    Neither noise nor artefacts; means, pulses, breath, pump ripple and fibrillation.
    """
    mean = np.interp(t, scene.grid, scene.means[name])
    index, phase = scene.beats.at(t)
    onset = scene.beats.onset[index]
    pulse = pulse_pressure(name, t, mean)
    breath = np.sin(2 * np.pi * VENTILATION_HZ * t)
    wave = mean.copy()
    if name in ARTERIAL:
        # What a single beat has more or less than the others is added above an unchanged diastolic.
        ((start, end),) = tables.spans("E30")
        variation = np.where((onset >= start) & (onset < end), HIGH_VARIATION, VARIATION)
        at_onset = variation / 2 * np.sin(2 * np.pi * VENTILATION_HZ * onset) * ventilated(onset)
        more = pulse * (at_onset + scene.beats.strength[index] - 1)
        more += ALTERNANS_MMHG * scene.beats.alternation[index]
        shape = beat_shape(phase)
        wave += pulse * (shape - beat_mean()) + np.where(phase < 1, more * shape, 0)
        flow = line("FLOW", t)
        reaches = 1 - trend.brain_only(t) if name == "FEM" else 1.0
        wave += RIPPLE_MMHG / 2 * np.clip(flow / 2, 0, 1) * reaches * np.sin(2 * np.pi * RIPPLE_HZ * t)
    elif name == "PA":
        wave += pulse * (beat_shape(phase) - beat_mean())
        wave += SWING_MMHG / 2 * breath * ventilated(t)
    else:
        # Two low waves a beat, and the spike of an early beat.
        wave += np.where(phase < 1, pulse / 2 * np.cos(2 * np.pi * 2 * phase), 0)
        lobe = np.where(phase < 0.4, 0.5 - 0.5 * np.cos(2 * np.pi * phase / 0.4), 0)
        wave += np.where(scene.beats.early[index], CANNON_MMHG * lobe, 0)
        wave += SWING_MMHG / 2 * breath * ventilated(t)
    if name != "CVP":
        sample = np.rint(t * RATE_HZ).astype(np.int64)
        wave += np.where(_fibrillating(t), FIBRILLATION_SD * scene.ripple[sample % scene.ripple.size], 0)
    return wave


def _fibrillating(t: FloatArray) -> NDArray[np.bool_]:
    spans = tables.spans("E06") + tables.spans("E24")
    inside = np.zeros(t.size, bool)
    for start, end in spans:
        inside |= (t >= start) & (t < end)
    return inside
