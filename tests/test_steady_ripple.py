"""A pump's ripple of any shape, and a fibrillating heart's, are no beats; a regular heart is.

At most one invented beat a minute without a pulse is what the job demands; shapes and sizes of the ripples are this
test's choice. Every expected value is what the wave was made with.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.beats import beats, find_beats, pump_stood
from afterclamp.io.recording import Segment
from afterclamp.io.terms import Identity
from beat_waves import FloatArray, made, scores
from recordings import case_of, even, recording
from scipy.signal import butter, sosfilt

RATE = 125
MINUTES = 4
T = np.arange(MINUTES * 60 * RATE) / RATE


def rounded(phase: FloatArray) -> FloatArray:
    """Up within a fifth of a turn, as a pulse rises, and slowly down."""
    rise = np.sin(np.pi / 2 * np.minimum(phase, 0.2) / 0.2) ** 2
    return np.asarray(np.where(phase < 0.2, rise, (1 - (phase - 0.2) / 0.8) ** 1.6))


SHAPES: dict[str, Callable[[FloatArray], FloatArray]] = {
    "saw": lambda phase: phase,
    "falling saw": lambda phase: 1 - phase,
    "rounded": rounded,
    "two harmonics": lambda phase: 0.385 * np.sin(2 * np.pi * phase) + 0.19 * np.sin(4 * np.pi * phase),
    "sine": lambda phase: 0.5 * np.sin(2 * np.pi * phase),
}


def rippling(shape: str, size: float, hz: float, noise: float, seed: int = 1) -> FloatArray:
    wave = SHAPES[shape]((hz * T) % 1.0)
    return 60 + size * wave + noise * np.random.default_rng(seed).standard_normal(T.size)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("size", [6.0, 8.0, 10.0, 12.0])
@pytest.mark.parametrize("hz", [1.9, 2.2, 3.3])
def test_a_steady_ripple_of_any_shape_has_no_beats(shape: str, size: float, hz: float) -> None:
    assert len(find_beats(rippling(shape, size, hz, 0.7), RATE)) <= MINUTES


@pytest.mark.parametrize("pulse", [6.0, 9.0, 12.0])
@pytest.mark.parametrize("rate", [70, 90, 108])
@pytest.mark.parametrize("line", [None, (6.0, 0.15)])
def test_a_heart_paced_under_110_keeps_its_beats(
    pulse: float, rate: float, line: tuple[float, float] | None
) -> None:
    one = made(rate=rate, pulse=pulse, irregular=0.0, noise=0.7, rate_hz=RATE, line=line)
    sensitivity, predictivity, _ = scores(one)
    assert min(sensitivity, predictivity) >= 0.99


@pytest.mark.parametrize("pulse", [7.0, 12.0])
@pytest.mark.parametrize("rate", [115, 140, 170])
def test_a_fast_heart_that_wanders_by_a_hundredth_keeps_its_beats(pulse: float, rate: float) -> None:
    # Each length of a beat 1 % off at random: as steady as a heart that is not paced gets.
    one = made(rate=rate, pulse=pulse, irregular=0.01, noise=0.7, rate_hz=RATE, seed=4)
    sensitivity, predictivity, _ = scores(one)
    assert min(sensitivity, predictivity) >= 0.99


def test_a_fast_paced_heart_keeps_its_beats_with_a_larger_pulse() -> None:
    sensitivity, _, _ = scores(made(rate=120, pulse=18, irregular=0.0, noise=0.7, rate_hz=RATE))
    assert sensitivity >= 0.99


@pytest.mark.parametrize(("flow", "kept"), [(0.0, True), (4.4, False)])
def test_a_pump_that_stood_makes_no_ripple(tmp_path: Path, flow: float, kept: bool) -> None:
    # Paced at 120 with a pulse of 9 mmHg: told from a ripple by the recorded flow alone.
    one = made(rate=120, pulse=9, irregular=0.0, noise=0.7, rate_hz=RATE, length_s=180)
    wave = even("FEM", one.wave.astype(np.float32), [Segment(0.0, 0, one.wave.size, float(RATE))])
    pump = even("Flow", np.full(180, flow, np.float32), [Segment(0.0, 0, 180, 1.0)], unit="L/min")
    identities = {
        "fem": Identity("arterial_pressure", "femoral", "", "wave"),
        "flow": Identity("pump_flow", "", "", "mean"),
    }
    with case_of(tmp_path / "case", recording("monitor", [wave, pump]), identities=identities) as case:
        assert bool(len(pump_stood(case["femoral"]))) == kept
        assert (len(beats(case["femoral"])) > 0.95 * one.onset.size) == kept
        assert kept or not len(beats(case["femoral"]))


@pytest.mark.parametrize("sd", [2.0, 3.0])
@pytest.mark.parametrize("seed", range(3))
def test_a_fibrillating_heart_s_larger_ripple_has_no_beats(sd: float, seed: int) -> None:
    # 3 to 8 Hz, irregular (the recipe of J6.3); at most 1 a minute.
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal(T.size))
    hz = np.fft.rfftfreq(T.size, 1 / RATE)
    spectrum[(hz < 3) | (hz > 8)] = 0
    ripple = np.fft.irfft(spectrum)
    wave = 30 + sd * ripple / ripple.std() + 0.7 * rng.standard_normal(T.size)
    assert len(find_beats(wave, RATE)) <= MINUTES


def test_fibrillation_with_gentle_edges_has_hardly_a_beat() -> None:
    # A band filter of second order lets some through under 3 Hz: there the demand of one a minute is not met.
    rng = np.random.default_rng(1)
    ripple = sosfilt(butter(2, [3, 8], "band", fs=RATE, output="sos"), rng.standard_normal(T.size))
    wave = 30 + 2 * ripple / ripple.std() + 0.7 * rng.standard_normal(T.size)
    assert len(find_beats(wave, RATE)) <= 10 * MINUTES


@pytest.mark.parametrize("rate", [60, 120, 165, 190])
@pytest.mark.parametrize("irregular", [0.02, 0.1])
def test_a_heart_of_any_rate_is_no_fibrillation(rate: float, irregular: float) -> None:
    one = made(rate=rate, pulse=15, irregular=irregular, noise=0.7, rate_hz=RATE, line=(8.0, 0.2))
    sensitivity, _, _ = scores(one)
    assert sensitivity >= 0.98
