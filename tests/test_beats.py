"""Beats on waves whose onsets are known because they were made: every kind of rhythm, line and noise.

Sensitivity and positive predictivity of at least 99 % clean and 95 % at 5 mmHg of noise, onsets within
50 ms for 95 %, and at most one invented beat a minute without a pulse: what the job demands.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.beats import average_over_seconds, beats, find_beats, pulse_pressure
from afterclamp.annotate.measures import mean_arterial_pressure
from afterclamp.annotate.ripple import range_without_ripple
from afterclamp.annotate.smoothing import noise_level
from afterclamp.io.recording import Segment
from afterclamp.io.terms import Identity
from beat_waves import general_peaks, made, scores, through_line, without_pulse
from recordings import case_of, even, recording

CLEAN = {
    "slow": {"rate": 30},
    "usual": {"rate": 70},
    "fast": {"rate": 120},
    "fastest": {"rate": 180},
    "irregular": {"rate": 90, "irregular": 0.2},
    "early beats": {"early_every": 5},
    "alternating": {"alternans": 0.2},
    "breath": {"swing": 8},
    "small pulse": {"pulse": 6, "noise": 0.7},
    "pump ripple": {"pulse": 9, "ripple": 1.5, "noise": 0.7, "rate": 60},
    "damped": {"damped_hz": 1.6, "length_s": 90},
    "low and fast": {"pulse": 16, "diastolic": 28, "rate": 123, "swing": 4, "noise": 0.7},
    "tall": {"pulse": 110, "diastolic": 70},
}


@pytest.mark.parametrize(
    ("kind", "rate_hz"),
    [(kind, rate_hz) for kind in CLEAN for rate_hz in (50, 125, 500) if kind != "damped" or rate_hz == 125],
)
def test_clean_beats_are_found_and_nothing_else(kind, rate_hz):
    sensitivity, predictivity, near = scores(made(rate_hz=rate_hz, **CLEAN[kind]))
    assert sensitivity >= 0.99
    assert predictivity >= 0.99
    assert near >= 0.95


@pytest.mark.parametrize("rate", [30, 60, 120, 180])
@pytest.mark.parametrize("noise", [2.0, 5.0])
def test_beats_are_found_in_noise(rate, noise):
    sensitivity, predictivity, near = scores(made(rate=rate, noise=noise, length_s=300))
    assert sensitivity >= 0.95
    assert predictivity >= 0.95
    assert near >= 0.95


LINES = {
    # The chart of natural frequency and damping (Gardner, Anesthesiology 1981;54:227-36) has lines of all these kinds.
    "quick": (14.7, 0.22),
    "ringing": (8.0, 0.15),
    "damped": (4.0, 0.9),
}


@pytest.mark.parametrize("kind", LINES)
@pytest.mark.parametrize(
    ("rate", "noise", "rate_hz"), [(45, 0.0, 50), (75, 1.0, 125), (150, 5.0, 250), (180, 2.0, 500)]
)
def test_beats_are_found_through_any_line(kind, rate, noise, rate_hz):
    one = made(rate=rate, rate_hz=rate_hz, noise=noise, line=LINES[kind], swing=6, pulse_swing=0.2, ripple=1)
    sensitivity, predictivity, near = scores(one)
    assert min(sensitivity, predictivity) >= (0.99 if noise <= 1 else 0.95)
    assert near >= 0.95


@pytest.mark.parametrize("noise", [0.3, 1.0, 2.0])
def test_beats_about_the_least_pulse_are_found_together_or_not_at_all(noise):
    # Half of them would look like an irregular rhythm. From 5 mmHg on a line is pulsatile (beat_table.NO_PULSE_MMHG).
    sensitivity, predictivity, _ = scores(made(pulse=6, noise=noise, swing=2, seed=1))
    assert min(sensitivity, predictivity) >= 0.95
    sensitivity, _, _ = scores(made(pulse=3.5, noise=noise, swing=2, seed=1))
    assert sensitivity <= 0.05


def test_a_fast_small_pulse_sampled_slowly_is_not_taken_for_a_ripple():
    # 3 beats a second, of which the smoothing that this noise needs leaves little more than a sinusoid.
    sensitivity, predictivity, near = scores(made(rate=180, rate_hz=50, pulse=20, diastolic=30, noise=3.5))
    assert min(sensitivity, predictivity, near) >= 0.95


def test_the_line_of_the_test_answers_a_step_as_a_line_of_second_order_does():
    # Overshoot of a step is exp(-πζ/√(1 − ζ²)), 49.2 % at 0.22, half a period of the damped oscillation after it.
    stepped = through_line(np.where(np.arange(1000) < 250, 0.0, 1.0), 500, 14.7, 0.22)
    assert stepped.max() == pytest.approx(1.492, abs=0.01)
    half = 1 / (2 * 14.7 * np.sqrt(1 - 0.22**2))
    assert (np.argmax(stepped) - 250) / 500 == pytest.approx(half, abs=0.003)


PLAIN_PEAKS = {
    "usual": {},
    "irregular": {"irregular": 0.15},
    "fast": {"rate": 150},
    "breath": {"swing": 8},
    "damped": {"line": (4, 0.9)},
    "noise": {"noise": 3},
}


@pytest.mark.parametrize("kind", PLAIN_PEAKS)
def test_each_beat_has_one_peak_of_a_general_peak_finder(kind):
    # Oracle: scipy.signal.find_peaks on a low-passed wave; it knows nothing of pressures.
    one = made(**PLAIN_PEAKS[kind])
    found = find_beats(one.wave, one.rate_hz)
    peaks = general_peaks(one.wave, one.rate_hz, 16)
    beat = np.searchsorted(found.onset, peaks, side="right") - 1
    inside = (beat >= 0) & (peaks < found.end[np.maximum(beat, 0)])
    assert np.mean(inside) >= 0.98  # the first and the last belong to no whole beat
    counts = np.bincount(beat[inside], minlength=len(found))
    assert np.mean(counts == 1) >= 0.99
    apart = np.abs(found.t_systolic[beat[inside]] - peaks[inside])
    assert np.quantile(apart, 0.95) < 0.06


STILL = [
    {"ripples": ((2.2, 3.0), (4.4, 1.0))},  # a pump whose ripple is no pure sinusoid
    {"ripples": ((2.2, 3.0), (0.2, 6.0))},
    {"ripples": ((2.2, 6.0),)},
    {"drift": 10.0},
]


@pytest.mark.parametrize("still", STILL)
@pytest.mark.parametrize(
    ("noise", "rate_hz"), [(0.0, 125), (1.0, 125), (2.0, 50), (2.0, 250), (3.5, 500), (5.0, 50)]
)
def test_nothing_is_invented_on_what_wanders_or_ripples(still, noise, rate_hz):
    assert len(find_beats(without_pulse(noise=noise, rate_hz=rate_hz, **still), rate_hz)) <= 10


def test_a_single_beat_in_a_stillstand_is_not_lost():
    one = made(rate=60, length_s=60, noise=0.5)
    lone = made(rate=60, length_s=2.2, noise=0.5).wave
    still = np.full(15 * 125, 60.0) + 0.5 * np.random.default_rng(3).standard_normal(15 * 125)
    wave = np.concatenate([one.wave, still, lone, still])
    found = find_beats(wave, 125).onset
    assert np.any(np.abs(found - (75 + 0.4)) < 0.1)


@pytest.mark.parametrize("noise", [0.0, 0.7, 2.0, 5.0])
@pytest.mark.parametrize("ripple", [0.0, 1.5, 3.0, 6.0])
def test_without_a_pulse_at_most_one_beat_a_minute_is_invented(noise, ripple):
    t = np.arange(0, 600, 1 / 100)
    wave = (
        8
        + ripple / 2 * np.sin(2 * np.pi * 2.2 * t)
        + noise * np.random.default_rng(5).standard_normal(t.size)
    )
    assert len(find_beats(wave, 100)) <= 10


def test_a_fibrillating_heart_has_no_beats():
    rng = np.random.default_rng(2)
    spectrum = np.fft.rfft(rng.standard_normal(60_000))
    hz = np.fft.rfftfreq(60_000, 0.01)
    spectrum[(hz < 3) | (hz > 8)] = 0
    ripple = np.fft.irfft(spectrum)
    wave = 60 + 0.4 * ripple / ripple.std() + 0.7 * rng.standard_normal(60_000)
    assert len(find_beats(wave, 100)) <= 10


def test_numbers_of_a_beat_are_those_of_the_wave():
    one = made(rate=60, pulse=50, diastolic=70, irregular=0.0, rate_hz=500)
    found = find_beats(one.wave, 500, t0=1000.0)
    inside = slice(5, -5)
    top = one.wave[500:-500].max()
    assert found.systolic[inside] == pytest.approx(top, abs=1.5)
    assert found.diastolic[inside] == pytest.approx(one.wave[500:-500].min(), abs=1.0)
    assert found.rate_per_min[inside] == pytest.approx(60, abs=0.5)
    assert found.onset[0] > 1000
    assert np.all((found.t_systolic > found.onset) & (found.t_systolic < found.end))
    assert found.pulse_pressure[inside] == pytest.approx(found.systolic[inside] - found.diastolic[inside])


def test_the_mean_of_a_beat_is_its_time_integral():
    # Area over length is the reference (Am J Hypertens 2023;36:297-305); over whole beats the mean of all
    # beats, weighted by length, is the mean of the samples between the first onset and the last.
    one = made(rate=67, irregular=0.1)
    found = find_beats(one.wave, 125)
    length = found.end - found.onset
    assert np.all(found.onset[1:] == found.end[:-1])
    first, last = round(found.onset[0] * 125), round(found.end[-1] * 125)
    weighted = float(np.sum(found.mean * length) / np.sum(length))
    assert weighted == pytest.approx(one.wave[first:last].mean(), abs=0.02)


def test_a_gap_cuts_the_beats_and_no_beat_reaches_across():
    one = made(rate=60)
    wave = one.wave.copy()
    wave[50 * 125 : 61 * 125] = np.nan
    found = find_beats(wave, 125)
    assert not np.any((found.end > 50) & (found.onset < 61))
    assert np.all(found.end - found.onset <= 3)
    assert len(found) > 0.9 * one.onset.size - 13


def test_a_stillstand_is_no_long_beat():
    one = made(rate=60, length_s=60)
    wave = np.concatenate([one.wave, np.full(20 * 125, 60.0), one.wave])
    found = find_beats(wave, 125)
    assert np.all(found.end - found.onset <= 3)
    assert not np.any((found.onset > 61) & (found.end < 79))


@pytest.mark.parametrize("wave", [np.empty(0), np.full(3, 60.0), np.full(5000, np.nan), np.full(5000, 60.0)])
def test_a_wave_without_anything_has_no_beats(wave):
    found = find_beats(wave, 125)
    assert len(found) == 0
    assert found.rate_per_min.size == 0


def test_values_of_beats_are_shared_out_to_seconds_by_overlap():
    onset, end = np.array([0.5, 1.25]), np.array([1.25, 2.0])
    average, share = average_over_seconds(onset, end, np.array([10.0, 20.0]), 0.0, 3)
    np.testing.assert_allclose(share, [0.5, 1.0, 0.0])
    np.testing.assert_allclose(average, [10.0, 0.25 * 10 + 0.75 * 20, np.nan])


def test_range_without_beats_leaves_out_ripple_and_noise():
    t = np.arange(0, 120, 0.01)
    rng = np.random.default_rng(1)
    wave = 60 + 0.75 * np.sin(2 * np.pi * 2.2 * t) + 0.7 * rng.standard_normal(t.size)
    still = range_without_ripple(wave, 100, np.arange(5.0, 115.0))
    assert np.median(still) < 0.5
    slow = wave + 4 * np.sin(2 * np.pi * 0.4 * t)
    moving = range_without_ripple(slow, 100, np.arange(5.0, 115.0))
    assert np.median(moving) == pytest.approx(8, abs=1.0)


def test_a_channel_gives_beats_pulse_and_mean_by_second(tmp_path: Path):
    one = made(rate=75, pulse=45, diastolic=55, rate_hz=100, length_s=120)
    wave = np.concatenate([one.wave, np.full(6000, 50.0) + np.tile([0.1, -0.1], 3000)])
    channel = even("ABP", wave.astype(np.float32), [Segment(0.0, 0, wave.size, 100.0)])
    identity = {"abp": Identity("arterial_pressure", "femoral", "", "wave")}
    with case_of(tmp_path / "case", recording("monitor", [channel]), identities=identity) as case:
        found = beats(case["femoral"])
        assert len(found) == pytest.approx(one.onset.size, abs=2)
        pulse = pulse_pressure(case["femoral"], case.grid)
        assert np.nanmedian(pulse[5:115]) == pytest.approx(45, abs=2.5)
        assert np.nanmax(pulse[125:]) < 1
        mean = mean_arterial_pressure(case["femoral"], case.grid)
        assert mean.unit == "mm[Hg]"
        assert mean.site == "femoral"
        assert np.median(mean.values[5:115]) == pytest.approx(one.wave[500:11500].mean(), abs=0.5)
        assert mean.values[130:175] == pytest.approx(50, abs=0.1)
        assert mean.at(140.5) == mean.values[140]


@pytest.mark.parametrize("more", range(6))
def test_a_noisy_wave_of_any_length_has_beats_to_its_end(more: int) -> None:
    # Noise is measured in blocks of 2 s (200 samples here): the last, begun block must have its level too.
    rng = np.random.default_rng(5)
    t = np.arange(6000 + more) / 100
    wave = 80 + 25 * np.maximum(np.sin(2 * np.pi * 1.25 * t), 0) + 3 * rng.standard_normal(t.size)
    for length in (6000 + more, 200 + more, 3 + more):
        assert noise_level(wave[:length], 200).size * 200 >= length
        find_beats(wave[:length], 100.0)
    assert find_beats(wave, 100.0).onset[-1] > 57.0


def test_feet_that_go_back_in_time_are_left_out_one_by_one() -> None:
    from afterclamp.annotate.beats import _apart

    # Behind a foot that went back the next ones are held against the last that was kept, not against their neighbour.
    feet = np.array([100.0, 60.0, 80.0, 99.0, 120.0, 240.0])
    assert _apart(feet, 15.0).tolist() == [True, False, False, False, True, True]
    assert _apart(np.array([0.0, 100.0, 200.0]), 15.0).all()
