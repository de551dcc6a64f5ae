"""Temperatures on bypass against the guideline's edges, a first-order lag, and what was planted."""

import numpy as np
import pytest
from afterclamp.annotate.measures import (
    area_over_37,
    cooling_gradient,
    hypothermia_class,
    rate_per_min,
    temperature_lag,
    warming_gradient,
    warming_gradient_limit,
)
from afterclamp.annotate.series import Series, from_values
from afterclamp.sample_traces import tables, trend
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter


def planted(name: str) -> Series:
    return from_values(0.0, trend.trend(name, np.arange(tables.LENGTH_S, dtype=float)))


def during(phase: str) -> tuple[float, float]:
    return next((one.start_s, one.end_s) for one in tables.phases() if one.name == phase)


def test_edges_of_the_guideline():
    # Engelman, Ann Thorac Surg 2015;100:748-57: outlet below 37 °C, so 37.0 is outside; at 30.0 the limit of
    # 4 °C holds, at 29.9 that of 10 °C; a gradient of exactly 10.0 does not exceed.
    assert area_over_37(from_values(0.0, np.array([36.9, 37.0]))).outside_s == 1
    np.testing.assert_array_equal(warming_gradient_limit([30.0, 29.9, np.nan]), [4.0, 10.0, np.nan])
    assert not cooling_gradient(30.0, 20.0) > 10
    assert not warming_gradient(20.0, 30.0) > 10


def test_area_over_37_by_hand():
    # Two minutes at 37.3 and one at 37.6: 0.6 + 0.6 °C·min.
    found = area_over_37(from_values(0.0, np.r_[np.full(60, 36.0), np.full(120, 37.3), np.full(60, 37.6)]))
    assert found.area == pytest.approx(1.2)
    assert found.outside_s == 180
    assert found.nadir == 37.6


def test_planted_warm_outlet_and_fast_rewarming_of_the_demonstration():
    # By the case's own specification: 37.0 °C and more for 4:05, at most 37.6; fastest 5 min of the nasopharynx
    # 0.67 °C/min.
    found = area_over_37(planted("TAO"))
    assert found.outside_s == pytest.approx(4 * 60 + 5, rel=0.01)
    assert found.nadir == pytest.approx(37.6, abs=0.01)
    assert np.nanmax(rate_per_min(planted("NP").values)) == pytest.approx(0.67, abs=0.005)


def test_slope_is_that_of_least_squares():
    # Oracle: numpy.polyfit over the same 301 seconds.
    values = 20 + np.cumsum(np.random.default_rng(6).normal(0.005, 0.05, 900))
    rate = rate_per_min(values)
    for at in (150, 400, 749):
        expected = 60 * np.polyfit(np.arange(301), values[at - 150 : at + 151], 1)[0]
        assert rate[at] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("tau_s", [60, 300, 600])
@pytest.mark.parametrize("rate", [-0.5, 0.4])
def test_lag_of_a_slow_site_on_a_steady_ramp_is_its_time_constant(tau_s, rate):
    # A first-order system follows a ramp late by its time constant, once its start has died away (textbook).
    ramp = 30 + rate / 60 * np.arange(7200)
    share = 1 - np.exp(-1 / tau_s)
    slow, _ = lfilter([share], [1, share - 1], ramp, zi=[(1 - share) * ramp[0]])
    found = temperature_lag(from_values(0.0, ramp), from_values(0.0, slow), 4 * tau_s, 7200)
    assert found == pytest.approx(tau_s, rel=0.05)


def test_lag_of_a_delayed_copy_is_its_delay_while_cooling_and_while_warming():
    down = np.r_[np.full(600, 36.0), np.linspace(36, 20, 2400), np.full(600, 20.0)]
    core = np.r_[down, down[::-1]]
    late = np.r_[np.full(420, 36.0), core[:-420]]
    one, two = from_values(0.0, core), from_values(0.0, late)
    assert temperature_lag(one, two, 300, 3600) == pytest.approx(420, abs=1)
    assert temperature_lag(one, two, 3700, 7200) == pytest.approx(420, abs=1)
    assert temperature_lag(two, one, 300, 3600) == pytest.approx(-420, abs=1)


def test_lag_survives_missing_seconds_and_says_nothing_of_too_little():
    core = from_values(0.0, 36 - np.arange(1800) / 120)
    late = np.r_[np.full(240, 36.0), core.values[:-240]]
    late[::7] = np.nan
    assert temperature_lag(core, from_values(0.0, late), 0, 1800) == pytest.approx(240, abs=2)
    flat = from_values(0.0, np.full(1800, 36.0))
    assert np.isnan(temperature_lag(core, flat, 0, 1800))
    assert np.isnan(temperature_lag(core, from_values(0.0, np.full(1800, np.nan)), 0, 1800))
    assert np.isnan(temperature_lag(core, flat, 5000, 6000))


def test_bladder_lags_the_nasopharynx_in_the_demonstration():
    # Read off the keyframe table: while cooling the nasopharynx passes 26.5 °C at 88 min and the bladder at
    # about 102 min (26.8 at 101, 25.1 at 110), 14 min later; the median over all levels is near that.
    cooling = during("cooling")
    assert temperature_lag(planted("NP"), planted("BLAD"), *cooling) == pytest.approx(14 * 60, abs=120)


@pytest.mark.parametrize(
    ("celsius", "name"),
    [
        # Yan, Ann Cardiothorac Surg 2013;2:163-8 (bands but the moderate one from memory).
        (14.0, "profound"),
        (14.1, "deep"),
        (20.0, "deep"),
        (20.1, "moderate"),
        (28.0, "moderate"),
        (28.1, "mild"),
        (34.0, "mild"),
        (34.1, None),
        # Between the printed bands.
        (14.05, "deep"),
        (20.05, "moderate"),
        (28.05, "mild"),
        (float("nan"), None),
    ],
)
def test_class_of_hypothermia(celsius, name):
    assert hypothermia_class(celsius) == name


def test_both_arrests_of_the_demonstration_are_deep():
    # By the case's own specification: nasopharynx 19.7 and 19.6 °C at their starts.
    core = planted("NP")
    for start in (131 * 60, 161 * 60):
        assert hypothermia_class(core.at(start)) == "deep"


@given(st.floats(0, 45), st.floats(0, 45))
def test_every_temperature_has_one_class_and_colder_is_never_milder(one, other):
    order = ["profound", "deep", "moderate", "mild", None]
    low, high = sorted((one, other))
    assert order.index(hypothermia_class(low)) <= order.index(hypothermia_class(high))
