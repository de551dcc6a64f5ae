"""Values recorded in steps: what rounding takes away and what the moments of change give back, by hand."""

import numpy as np
import pytest
from afterclamp.annotate.measures.exposure import exposure
from afterclamp.annotate.measures.steps import between_steps, step_size
from afterclamp.annotate.series import from_values


def ramp(rate_per_min: float, start: float, seconds: int) -> np.ndarray:
    return start + rate_per_min * (np.arange(seconds) + 0.5) / 60


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ([36.9, 37.0, 37.2], 0.1),
        ([62, 61, 64], 1.0),
        ([68.0, 68.36, 69.08], 0.36),  # a Fahrenheit tenth of two, as a device may round
        ([36.9, 36.93171, 37.2], 0.0),  # no common step
        ([37.0, 37.0], 0.0),
        ([], 0.0),
    ],
)
def test_size_of_a_step(values, expected):
    assert step_size(values) == pytest.approx(expected, abs=1e-6)


def test_float32_leaves_no_trace_in_the_step():
    values = np.round(ramp(0.25, 35.0, 900), 1).astype(np.float32).astype(np.float64)
    assert step_size(values) == pytest.approx(0.1, abs=1e-5)


def test_noise_is_no_step():
    assert step_size(np.random.default_rng(1).normal(37, 0.2, 500)) == 0


def test_a_ramp_comes_back_within_the_reading_of_a_second():
    # A straight line rounded to tenths: halfway between two steps it is known exactly, by arithmetic.
    true = np.r_[ramp(0.25, 36.0, 480), ramp(-0.25, 38.0, 480)]
    drawn = between_steps(np.round(true, 1))
    assert np.abs(drawn - true)[20:-20].max() < 0.02
    assert np.abs(drawn - np.round(true, 1)).max() <= 0.05 + 1e-9  # never farther than half a step


def test_minutes_at_a_limit_on_a_step_are_not_half_a_step_too_many():
    # Up and down by 0.25 °C/min through 37.0, at or over it for exactly 480 s; rounded it stands on 37.0 from
    # 36.95 on, 12 s too early and 12 s too late.
    true = np.r_[ramp(0.25, 36.0, 480), ramp(-0.25, 38.0, 480)]
    rounded = np.round(true, 1)
    as_shown = exposure(from_values(0.0, rounded), above=37.0, inclusive=True).outside_s
    drawn = exposure(from_values(0.0, between_steps(rounded)), above=37.0, inclusive=True).outside_s
    assert as_shown == pytest.approx(480 + 24, abs=1)
    assert drawn == pytest.approx(480, abs=1)


def test_a_level_that_is_held_is_taken_as_it_was_recorded():
    held = between_steps(np.r_[np.full(60, 36.9), np.full(600, 37.0), np.full(60, 36.9)])
    assert held[60 + 30 : 660 - 30] == pytest.approx(37.0)


def test_nothing_is_drawn_across_a_gap_and_a_jump_stays_a_jump():
    x = np.r_[np.full(40, 36.0), np.nan, np.full(40, 37.0), np.full(40, 30.0)]
    drawn = between_steps(x, 0.1)
    assert np.isnan(drawn[40])
    assert drawn[39] == 36.0
    assert drawn[41] == 37.0
    assert np.abs(drawn - x)[np.isfinite(x)].max() <= 0.05 + 1e-9
