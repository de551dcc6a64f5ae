"""Artefacts laid over any wave: each has the shape it is known by, where it was asked for, and nowhere else.

The shapes' limits are those of the definitions that the project prints with each artefact.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from afterclamp.sample_traces.courses import Course, Pressure, record
from afterclamp.sample_traces.planting import SHAPES, Line, plant
from hypothesis import given, settings
from hypothesis import strategies as st

RATE = 100
LINE = Line(RATE)
SETTLED_S = 2.0


def clean(seconds: int = 240, pulse: float = 48, rate_hz: int = RATE, noisy: bool = True) -> np.ndarray:
    return _recorded(seconds, pulse, rate_hz).copy() if noisy else np.full(seconds * rate_hz, 80.0)


@cache
def _recorded(seconds: int, pulse: float, rate_hz: int) -> np.ndarray:
    course = Course(
        seconds, rate_hz, {"LRAD": Pressure(((0, 80.0),), ((0, pulse),))}, heart_rate=((0, 72.0),)
    )
    return record(course, 3)["LRAD"]


def laid(name: str, start: float, length: float, depth: float | None = None) -> np.ndarray:
    return plant(name, clean(), LINE, start, length, np.random.default_rng(1), depth)[0]


def piece(wave: np.ndarray, start: float, end: float) -> np.ndarray:
    return wave[round(start * RATE) : round(end * RATE)]


def swing(wave: np.ndarray) -> float:
    low, high = np.percentile(wave, [1, 99])
    return float(high - low)


def beatwise(wave: np.ndarray) -> float:
    """Median difference of highest and lowest within a second."""
    return float(np.median(np.ptp(wave[: wave.size // RATE * RATE].reshape(-1, RATE), axis=1)))


@given(
    name=st.sampled_from(sorted(SHAPES)),
    start=st.floats(12, 150),
    share=st.floats(0, 1),
    seed=st.integers(0, 1000),
)
@settings(max_examples=40)
def test_nothing_changes_outside_the_span_but_for_the_ring_after_it(name, start, share, seed):
    wave = clean()
    kept = wave.copy()
    low, high = SHAPES[name].lengths_s
    length = min(low + share * (high - low), 80)
    out, (first, last) = plant(name, wave, LINE, start, length, np.random.default_rng(seed))
    np.testing.assert_array_equal(wave, kept)
    assert first == pytest.approx(start, abs=0.01)
    assert last - first == pytest.approx(length, abs=0.02)
    np.testing.assert_allclose(piece(out, 0, first), piece(wave, 0, first), atol=1e-9)
    after = round((last + SETTLED_S) * RATE)
    np.testing.assert_allclose(out[after:], wave[after:], atol=1e-3)
    assert not np.array_equal(piece(out, first, last), piece(wave, first, last))


@pytest.mark.parametrize("name", sorted(SHAPES))
def test_the_same_noise_gives_the_same_wave(name):
    assert np.array_equal(laid(name, 100, 30), laid(name, 100, 30), equal_nan=True)


@pytest.mark.parametrize("name", sorted(SHAPES))
def test_what_is_not_recorded_stays_so(name):
    wave = clean()
    wave[9_500:10_500] = np.nan
    out, _ = plant(name, wave, LINE, 100, 40, np.random.default_rng(1))
    assert np.isnan(out[9_500:10_500]).all()
    if name not in ("gap", "frozen"):
        assert np.isfinite(np.delete(out, np.arange(9_500, 10_500))).all()


def test_a_place_off_the_wave_is_refused_and_one_half_on_it_is_cut():
    with pytest.raises(ValueError, match="no sample"):
        laid("zero", 240, 20)
    _, span = plant("zero", clean(), LINE, 230, 20, np.random.default_rng(1))
    assert span == (230, 240)


def test_open_to_air_is_zero_and_still_within_two_seconds():
    still = piece(laid("zero", 100, 20), 102, 120)
    assert np.abs(still.mean()) < 0.2
    assert still.std() < 1


@pytest.mark.parametrize("rate_hz", [125, 250, 500])
def test_a_flush_rings_as_the_line_does(rate_hz):
    # A second-order step response (any textbook of control): damped period 1 / (f sqrt(1 - z^2)), overshoot
    # exp(-pi z / sqrt(1 - z^2)) of the step.
    natural, damping = 14.7, 0.22
    wave = clean(60, rate_hz=rate_hz, noisy=False)
    out, _ = plant("flush", wave, Line(rate_hz, natural, damping, 0.0), 30, 3, np.random.default_rng(1))
    rung = out[30 * rate_hz : 31 * rate_hz] - 300
    crossings = np.flatnonzero(np.diff(np.sign(rung)) != 0)
    fractions = crossings + rung[crossings] / (rung[crossings] - rung[crossings + 1])
    period = 2 * np.diff(fractions[:4]).mean() / rate_hz
    damped_hz = natural * np.sqrt(1 - damping**2)
    assert 1 / period == pytest.approx(damped_hz, rel=0.02)
    overshoot = np.exp(-np.pi * damping / np.sqrt(1 - damping**2))
    assert rung.max() / 220 == pytest.approx(overshoot, abs=0.04)
    assert out[30 * rate_hz + round(0.3 * rate_hz)] >= 180
    released = out[33 * rate_hz : 34 * rate_hz] - 80
    assert released.min() / 220 == pytest.approx(-overshoot, abs=0.04)


def test_a_sample_is_still_and_ends_with_a_flush():
    out = laid("sample", 100, 40)
    assert swing(piece(out, 102, 136)) < 14  # the drift alone is 12
    assert beatwise(piece(out, 102, 136)) < 5
    assert piece(out, 137.4, 140).min() > 180


@pytest.mark.parametrize("share", [0.2, 0.35, 0.5])
def test_a_damped_line_keeps_its_mean_and_that_share_of_its_pulse(share):
    out, was = laid("damped", 60, 120, share), clean()
    inside = (70, 170)
    assert piece(out, *inside).mean() == pytest.approx(piece(was, *inside).mean(), abs=0.5)
    assert beatwise(piece(out, *inside)) / beatwise(piece(was, *inside)) == pytest.approx(share, abs=0.08)
    rise, rose = (np.max(piece(one, *inside)[10:] - piece(one, *inside)[:-10]) for one in (out, was))
    assert rise < 0.5 * rose


@pytest.mark.parametrize("overshoot", [17, 28])
def test_a_ringing_line_overshoots_by_so_much_and_keeps_its_mean(overshoot):
    out, was = laid("ringing", 60, 120, overshoot), clean()
    inside = (70, 170)
    more = np.percentile(piece(out, *inside), 99.5) - np.percentile(piece(was, *inside), 99.5)
    assert more == pytest.approx(overshoot, abs=3)
    assert more > 15
    assert piece(out, *inside).mean() == pytest.approx(piece(was, *inside).mean(), abs=0.5)


def test_a_kink_drifts_by_eight_within_a_minute_and_has_no_pulse():
    out = laid("kink", 60, 120)
    assert beatwise(piece(out, 62, 178)) < 5  # noise of 0.7 alone spans about four
    assert piece(out, 62, 63).mean() - piece(out, 118, 119).mean() >= 8
    assert piece(out, 178, 179).mean() == pytest.approx(38, abs=1)


def test_a_wedge_is_a_kink_that_drifts_up():
    out = laid("kink", 60, 120, 95.0)
    assert piece(out, 178, 179).mean() - piece(out, 62, 63).mean() >= 8


def test_a_cuff_flattens_holds_and_comes_back_in_steps():
    out, was = laid("cuff", 100, 35), clean()
    assert beatwise(piece(out, 109, 125)) < 5
    assert piece(out, 110, 125).mean() == pytest.approx(30, abs=1)
    levels = [piece(out, at, at + 2.9).mean() for at in (126.1, 129.1, 132.1, 136)]
    pulses = [np.ptp(piece(out, at, at + 2.9)) for at in (126.1, 129.1, 132.1, 136)]
    assert np.all(np.diff(pulses) > -2)
    assert levels[0] < levels[1] < levels[3]
    assert piece(out, 136, 146).mean() == pytest.approx(piece(was, 136, 146).mean(), abs=0.01)


@pytest.mark.parametrize("step", [-20.0, 10.0])
def test_a_height_shift_moves_everything_alike_within_five_seconds(step):
    out, was = laid("height", 100, 60, step), clean()
    np.testing.assert_allclose(piece(out - was, 105, 155), step, atol=1e-9)


def test_noise_has_four_times_the_power_above_fifteen_hertz_and_no_other():
    out, was = laid("noise", 100, 20), clean()

    def power(wave: np.ndarray, low: float, high: float) -> float:
        spectrum = np.abs(np.fft.rfft(wave - wave.mean())) ** 2
        at = np.fft.rfftfreq(wave.size, 1 / RATE)
        return float(spectrum[(at >= low) & (at < high)].sum())

    burst = (100, 104)
    assert power(piece(out, *burst), 15, 50) > 4 * power(piece(was, *burst), 15, 50)
    assert power(piece(out, *burst), 0.5, 10) == pytest.approx(power(piece(was, *burst), 0.5, 10), rel=0.05)
    np.testing.assert_array_equal(piece(out, 104, 108), piece(was, 104, 108))


def test_a_gap_holds_nothing_and_a_frozen_stretch_one_value():
    assert np.isnan(piece(laid("gap", 100, 10), 100, 110)).all()
    still = piece(laid("frozen", 100, 10), 100, 110)
    assert (still == still[0]).all()
    assert still[0] == piece(clean(), 100, 110)[0]
