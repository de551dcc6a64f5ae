"""Natural frequency and damping of a catheter and transducer from its fast flush."""

import numpy as np
import pytest
from afterclamp.annotate.measures import damping_from_half_cycles, fast_flush_response


def released(natural_hz: float, damping: float, rate_hz: float, *, start: float = 300.0, end: float = 80.0):
    """Answer of a second-order system to a step, from its textbook closed form (underdamped)."""
    t = np.arange(-0.2, 1.2, 1 / rate_hz) - 0.0013  # the step need not fall on a sample
    natural = 2 * np.pi * natural_hz
    damped = natural * np.sqrt(1 - damping**2)
    after = np.maximum(t, 0.0)
    left = np.exp(-damping * natural * after) * (
        np.cos(damped * after) + damping * natural / damped * np.sin(damped * after)
    )
    return end + (start - end) * np.where(t > 0, left, 1.0)


def test_damping_of_the_printed_worked_example():
    # Adjacent peaks 17 and 24 mm: 0.11 (Miller's Anesthesia, 6th ed., fig 32-11). Taken for swings to
    # the same side they would give 0.055.
    assert damping_from_half_cycles(17 / 24) == pytest.approx(0.109, abs=5e-4)


@pytest.mark.parametrize(("ratio", "damping"), [(0.5, 0.215), (0.1, 0.591), (0.05, 0.690)])
def test_damping_from_the_amplitude_ratio(ratio, damping):
    # Recomputed from −ln R / √(π² + ln² R), Gardner, Anesthesiology 1981;54:227-36.
    assert damping_from_half_cycles(ratio) == pytest.approx(damping, abs=5e-4)


@pytest.mark.parametrize("ratio", [0.0, 1.0, 1.7, -0.2])
def test_a_ratio_that_no_ring_has_is_refused(ratio):
    with pytest.raises(ValueError, match="between 0 and 1"):
        damping_from_half_cycles(ratio)


def test_frequency_and_damping_of_the_printed_worked_example():
    # 25 mm/s and a period of 1.7 mm are 14.7 Hz, damping 0.11 (Miller's Anesthesia, 6th ed., fig 32-11):
    # what the period gives is the damped frequency, 0.6 % lower here.
    found = fast_flush_response(released(14.7 / np.sqrt(1 - 0.109**2), 0.109, 1000), 1000)
    assert found.natural_frequency_hz * np.sqrt(1 - found.damping_ratio**2) == pytest.approx(14.7, abs=0.05)
    assert found.damping_ratio == pytest.approx(0.11, abs=0.005)


@pytest.mark.parametrize(
    ("natural_hz", "damping", "rate_hz"),
    [(14.7, 0.22, 100), (14.7, 0.22, 500), (10, 0.15, 125), (24, 0.3, 500), (22, 0.35, 250), (8, 0.1, 100)],
)
def test_a_known_second_order_system_is_recovered(natural_hz, damping, rate_hz):
    found = fast_flush_response(released(natural_hz, damping, rate_hz), rate_hz)
    assert found.natural_frequency_hz == pytest.approx(natural_hz, abs=1.0)
    assert found.damping_ratio == pytest.approx(damping, abs=0.04)


def test_a_pulse_and_noise_beneath_the_ring_hardly_move_it():
    wave = released(14.7, 0.22, 100)
    t = np.arange(wave.size) / 100
    noisy = wave + 12 * np.sin(2 * np.pi * 1.2 * t) + np.random.default_rng(3).normal(0, 0.7, wave.size)
    found = fast_flush_response(noisy, 100)
    assert found.natural_frequency_hz == pytest.approx(14.7, abs=1.0)
    assert found.damping_ratio == pytest.approx(0.22, abs=0.04)


def test_a_line_that_does_not_ring_has_no_frequency():
    t = np.arange(-0.2, 1.2, 0.01)
    overdamped = 80 + 220 * np.where(t > 0, np.exp(-np.maximum(t, 0) * 8), 1.0)
    found = fast_flush_response(overdamped, 100)
    assert np.isnan(found.natural_frequency_hz)
    assert np.isnan(found.damping_ratio)
    assert found.oscillations < 1


def test_a_gap_in_the_ring_gives_nothing():
    wave = released(14.7, 0.22, 100)
    wave[30] = np.nan
    assert np.isnan(fast_flush_response(wave, 100).natural_frequency_hz)
