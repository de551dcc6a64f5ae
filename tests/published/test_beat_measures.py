"""Measures of single beats against integrals and derivatives of shapes that calculus gives in closed form."""

import numpy as np
import pytest
from afterclamp.annotate.beats import find_beats
from afterclamp.annotate.measures import (
    dicrotic_notch,
    end_of_systole_by_rate,
    map_from_cuff,
    mean_by_integral,
    steepest_rise,
    systolic_area,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import trapezoid

LENGTH_S, SYSTOLE_S = 0.8, 0.3


def half_sine_beats(rate_hz: float, beats: int = 10, low: float = 80.0, pulse: float = 40.0) -> np.ndarray:
    """Half a sine in systole, the diastolic pressure for the rest of each beat."""
    phase = np.arange(round(beats * LENGTH_S * rate_hz) + 1) / rate_hz % LENGTH_S
    return low + pulse * np.where(phase < SYSTOLE_S, np.sin(np.pi * phase / SYSTOLE_S), 0.0)


def test_mean_by_integral_of_half_sines():
    # ∫ sin over half a turn is 2: the mean is diastolic + 2/π · pulse · systole / length, 9.55 mmHg here. The
    # third of the pulse that an estimate takes is another number: the true share runs from 23 to 58 % (J
    # Hypertens 2020, PMID 32694334), and is 23.9 % for this shape.
    onset = np.arange(10) * LENGTH_S
    found = mean_by_integral(half_sine_beats(1000), 1000, onset, onset + LENGTH_S)
    assert found == pytest.approx(80 + 40 * 2 / np.pi * SYSTOLE_S / LENGTH_S, abs=0.001)
    assert map_from_cuff(120, 80) - found[0] == pytest.approx(3.78, abs=0.01)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.integers(40, 180), min_size=4, max_size=40),
    st.floats(50, 500),
    st.floats(-100, 100),
    st.data(),
)
def test_mean_by_integral_is_the_trapezoid_rule_between_samples(levels, rate, t0, data):
    # Oracle: scipy.integrate.trapezoid.
    first = data.draw(st.integers(0, len(levels) - 2))
    last = data.draw(st.integers(first + 1, len(levels) - 1))
    (found,) = mean_by_integral(levels, rate, [t0 + first / rate], [t0 + last / rate], t0)
    assert found == pytest.approx(trapezoid(levels[first : last + 1]) / (last - first), rel=1e-6, nan_ok=True)


@pytest.mark.parametrize(("rate_hz", "lowered"), [(125, 0.002), (250, 0.002), (1000, 0.003)])
def test_steepest_rise_of_a_sine_is_its_amplitude_times_its_angular_frequency(rate_hz, lowered):
    # d/dt A sin(2πft) has the maximum 2πfA: 157.1 mmHg/s for 20 mmHg at 1.25 a second. A moving average of T
    # lowers it by sinc(fT), 0.15 % for 24 ms.
    t = np.arange(0, 8, 1 / rate_hz)
    onset = np.arange(1, 9) * 0.8 - 0.2  # troughs
    found = steepest_rise(90 + 20 * np.sin(2 * np.pi * 1.25 * t), rate_hz, onset[:-1], onset[1:])
    assert found == pytest.approx(2 * np.pi * 1.25 * 20, rel=lowered)


def test_more_smoothing_lowers_the_steepest_rise():
    # That site and filter decide about dP/dt is from memory; sinc(fT) gives 0.9355 for 0.16 s at 1.25 Hz, times
    # the same for a difference over one sample.
    t = np.arange(0, 8, 0.001)
    wave = 90 + 20 * np.sin(2 * np.pi * 1.25 * t)
    (smooth,) = steepest_rise(wave, 1000, [2.2], [3.0], smooth_s=0.161)
    assert smooth / (2 * np.pi * 1.25 * 20) == pytest.approx(np.sinc(1.25 * 0.161), abs=0.001)


@pytest.mark.parametrize("rate_hz", [100, 125, 250, 500])
def test_systolic_area_of_a_half_sine(rate_hz):
    # Area under half a sine: 2/π · height · length, 7.639 mmHg·s for 40 mmHg in 0.3 s.
    onset = np.arange(9) * LENGTH_S
    found = systolic_area(half_sine_beats(rate_hz), rate_hz, onset, onset + SYSTOLE_S, np.full(9, 80.0))
    assert found == pytest.approx(2 / np.pi * 40 * SYSTOLE_S, rel=0.005)


def test_systolic_area_is_the_whole_integral_less_diastolic_times_systole():
    # The form in a public port of research code: integral of P, less diastolic pressure times length of systole.
    wave = 70 + 30 * np.sin(np.arange(200) / 25) ** 2
    (area,) = systolic_area(wave, 125, [0.08], [0.4], [71.5])
    assert area == pytest.approx(trapezoid(wave[10:51], dx=1 / 125) - 71.5 * 0.32, rel=1e-9)


@pytest.mark.parametrize("rate_hz", [100, 125, 250, 500])
@pytest.mark.parametrize("noise", [0.0, 0.5])
def test_the_notch_is_found_where_the_shape_has_its_corner(rate_hz, noise):
    # By construction: systole ends at 0.30 s, and from there the pressure runs off exponentially.
    phase = np.arange(round(20 * LENGTH_S * rate_hz)) / rate_hz % LENGTH_S
    systole = 70 + 55 * np.sin(np.pi * np.minimum(phase, SYSTOLE_S) / 0.4)
    wave = np.where(phase < SYSTOLE_S, systole, 70 + 38.9 * np.exp(-(phase - SYSTOLE_S) / 0.6))
    wave = wave + np.random.default_rng(4).normal(0, noise, wave.size)
    onset = np.arange(1, 19) * LENGTH_S
    found = dicrotic_notch(wave, rate_hz, onset + 0.2, onset + LENGTH_S) - onset
    assert np.median(found) == pytest.approx(SYSTOLE_S, abs=0.02)
    assert np.quantile(np.abs(found - SYSTOLE_S), 0.9) < 0.05


def test_end_of_systole_from_rate_alone():
    # 0.3 · √interval (from memory): 0.3 s at 60 a minute; nothing for what is no interval.
    np.testing.assert_allclose(end_of_systole_by_rate([1.0, 0.25, 0.0, np.nan]), [0.3, 0.15, np.nan, np.nan])


def test_a_beat_that_touches_a_gap_or_the_edge_has_no_measure():
    wave = half_sine_beats(125)
    wave[260:270] = np.nan  # within the third beat
    onset = np.arange(-1, 11) * LENGTH_S
    end = onset + LENGTH_S
    lost = np.array([True, False, False, True, *[False] * 7, True])
    for found in (
        mean_by_integral(wave, 125, onset, end),
        steepest_rise(wave, 125, onset, end),
        dicrotic_notch(wave, 125, onset + 0.15, end),
        systolic_area(wave, 125, onset, end, np.full(12, 80.0)),
    ):
        np.testing.assert_array_equal(np.isnan(found), lost)
    assert np.isnan(steepest_rise(np.full(100, np.nan), 125, [0.1], [0.6])).all()


def test_beats_that_were_found_can_be_measured():
    # Means by two ways of the same integral agree; the rise is close to the slope that found the beat.
    t = np.arange(0, 30, 0.008)
    wave = 85 + 15 * np.sin(2 * np.pi * 1.1 * t) + 6 * np.sin(2 * np.pi * 2.2 * t + 0.5)
    found = find_beats(wave, 125)
    assert len(found) > 25
    assert mean_by_integral(wave, 125, found.onset, found.end) == pytest.approx(found.mean, abs=0.01)
    rise = steepest_rise(wave, 125, found.onset, found.t_systolic)
    assert rise[1:] == pytest.approx(found.upstroke[1:], rel=0.05)  # the first lies on the edge of the record
