"""What spoils the pressures, laid on where ``truth.csv`` says, at the place where it really happens.

At the catheter tip, so that the line rings with it: open to air, flush, blood sample, kink, cuff,
transducer height, clot. In the wire, after the line: diathermy. At the monitor: no catheter at all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import tables
from .trend import FloatArray
from .waves import RATE_HZ, band_noise

NOISE_SD = 0.7  # mmHg
ZERO_NOISE_SD = 0.5  # mmHg, with the transducer open to air

FLUSH_MMHG = 300.0
CUFF_MMHG = 30.0  # what is left beyond a squeezed artery
CUFF_DOWN_S, CUFF_HOLD_S, CUFF_STEP_S = 8.0, 18.0, 3.0  # down, flat, back in steps of 3 s
KINK_MMHG, KINK_TAU_S = 38.0, 25.0
SAMPLE_DRIFT_MMHG = 12.0  # while the tap is shut
SAMPLE_FLUSH_S = 3.0
HEIGHT_MMHG, HEIGHT_RAMP_S = 15.0, 3.0
CLOT_POLE_HZ = 1.6
CLOT_BLEND_S = 5.0
# One pole at 1.6 Hz leaves about 0.6 of this beat at 75 a minute; with this the pulse comes to 0.35.
CLOT_GAIN = 0.57
DIATHERMY_HZ = (20.0, 40.0)
DIATHERMY_SD = 8.0  # mmHg
DIATHERMY_ON_S, DIATHERMY_EVERY_S = 4.0, 8.0

# From when a line is on the monitor; an arterial line is zeroed for its first 20 s.
CONNECTED_S = {"LRAD": 280.0, "RRAD": 580.0, "FEM": 1000.0, "CVP": 1560.0, "PA": 2040.0}
IN_TABLE = {"PA": "PAM"}


def spans(code: str, channel: str) -> list[tuple[float, float]]:
    """Start and end seconds of the artefacts of one code on one pressure."""
    return tables.spans(code, channel=IN_TABLE.get(channel, channel))


def connected(channel: str, t: FloatArray) -> NDArray[np.bool_]:
    """Whether the monitor has a catheter on this channel at `t` seconds."""
    there = t >= CONNECTED_S[channel]
    for start, end in spans("A9", channel):
        there &= (t < start) | (t >= end)
    return there


def ramp(t: FloatArray, start: float, end: float, rise_s: float) -> FloatArray:
    """0 before `start`, 1 from `rise_s` after it until as long before `end`, 0 after; straight between."""
    return np.interp(t, [start, start + rise_s, end - rise_s, end], [0, 1, 1, 0])


class Artefacts:
    """The artefacts of one pressure, stretch by stretch in order.

    Parameters
    ----------
    channel : str
        ``"LRAD"``, ``"RRAD"``, ``"FEM"``, ``"CVP"`` or ``"PA"``.
    rng : numpy Generator
        For diathermy and noise.
    """

    def __init__(self, channel: str, rng: np.random.Generator) -> None:
        self.channel = channel
        self._rng = rng
        self._clot_state = np.zeros(1)

    def at_tip(self, t: FloatArray, wave: FloatArray, mean: FloatArray) -> FloatArray:
        """Pressure that reaches the line, given the true wave and its mean at the same samples."""
        wave = self._clot(t, wave, mean)
        for start, _ in spans("A6", self.channel):
            # A squeezed artery passes nothing on; let go, the pressure comes back step by step.
            steps = start + CUFF_DOWN_S + CUFF_HOLD_S + CUFF_STEP_S * np.arange(4)
            passed = np.interp(t, [start, start + CUFF_DOWN_S], [1, 0]) + 0.0
            passed = passed + np.searchsorted(steps[1:], t, side="right") / 3
            wave = CUFF_MMHG + (wave - CUFF_MMHG) * passed
        for start, end in spans("A5", self.channel):
            level = float(np.interp(start, t, mean))
            drift = KINK_MMHG + (level - KINK_MMHG) * np.exp(-np.maximum(t - start, 0) / KINK_TAU_S)
            shut = ramp(t, start, end, 1.0)
            wave = wave * (1 - shut) + drift * shut
        for start, end in spans("A3", self.channel):
            inside = (t >= start) & (t < end)
            shut_in = float(np.interp(start, t, mean)) + SAMPLE_DRIFT_MMHG * (t - start) / (end - start)
            wave = np.where(inside, np.where(t < end - SAMPLE_FLUSH_S, shut_in, FLUSH_MMHG), wave)
        for start, end in spans("A7", self.channel):
            wave = wave + HEIGHT_MMHG * ramp(t, start, end, HEIGHT_RAMP_S)
        for start, end in spans("A2", self.channel):
            wave = np.where((t >= start) & (t < end), FLUSH_MMHG, wave)
        # Until its first zero is done the transducer is open, so that nothing rings when it appears.
        first = min((end for _, end in spans("A1", self.channel)), default=0.0)
        return np.where(self._open_to_air(t) | (t < first), 0.0, wave)

    def _clot(self, t: FloatArray, wave: FloatArray, mean: FloatArray) -> FloatArray:
        """Smooth the pulse and leave the mean."""
        from scipy.signal import lfilter

        pole = np.exp(-2 * np.pi * CLOT_POLE_HZ / RATE_HZ)
        for start, end in spans("A4", self.channel):
            smooth, self._clot_state = lfilter([1 - pole], [1, -pole], wave - mean, zi=self._clot_state)
            share = ramp(t, start, end + CLOT_BLEND_S, CLOT_BLEND_S)
            share = np.where(t < end, share, 0)  # the flush clears it at once
            wave = wave * (1 - share) + (mean + CLOT_GAIN * np.asarray(smooth)) * share
        return wave

    def _open_to_air(self, t: FloatArray) -> NDArray[np.bool_]:
        inside = np.zeros(t.size, bool)
        for start, end in spans("A1", self.channel):
            inside |= (t >= start) & (t < end)
        return inside

    def in_wire(self, t: FloatArray, wave: FloatArray) -> FloatArray:
        """What the monitor gets: the transducer's wave with noise and diathermy on it."""
        sd = np.where(self._open_to_air(t), ZERO_NOISE_SD, NOISE_SD)
        wave = wave + sd * self._rng.standard_normal(t.size)
        for start, end in spans("A8", self.channel):
            inside = (t >= start) & (t < end)
            if inside.any():
                burst = (t - start) % DIATHERMY_EVERY_S < DIATHERMY_ON_S
                wave = wave + np.where(
                    inside & burst, DIATHERMY_SD * band_noise(self._rng, t.size, RATE_HZ, DIATHERMY_HZ), 0
                )
        return wave
