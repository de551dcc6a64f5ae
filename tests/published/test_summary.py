"""Middle, spread and extremes within a phase, with the seconds they rest on."""

import numpy as np
import pytest
from afterclamp.annotate.measures import lowest_sustained, summary
from afterclamp.annotate.series import MASKED, MISSING, OBSERVED, Series, from_values
from hypothesis import given, settings
from hypothesis import strategies as st


def test_percentiles_of_a_printed_list():
    # 15, 20, 35, 40, 50 is the list by which percentile definitions are usually told apart; with rank
    # 1 + p · (n − 1) its 40th is 29 where the rank p · (n + 1) gives 26 (the alternative and the primary method
    # of the NIST/SEMATECH handbook). By that rule its 5th is 16 and its 95th 48.
    found = summary(from_values(0.0, np.array([35.0, 15, 50, 20, 40])))
    assert (found.fifth, found.median, found.ninety_fifth) == pytest.approx((16, 35, 48))
    assert (found.lowest, found.highest) == (15, 50)


def test_lowest_value_sustained_for_a_cumulative_five_minutes():
    # Definition of Ahuja, Anesthesiology 2020;132:291-306, on 70, 66, 62, 58, 60, 64, 68 and 72 a minute each: the five
    # lowest minutes are 58, 60, 62, 64 and 66, so 66 was kept at or under for five in all; 58 for one.
    series = from_values(0.0, np.repeat([70.0, 66, 62, 58, 60, 64, 68, 72], 60))
    assert lowest_sustained(series) == 66
    assert lowest_sustained(series, 60) == 58
    assert lowest_sustained(series, 60.5) == 60
    assert lowest_sustained(series, exclude=[(180, 300)]) == 70
    assert np.isnan(lowest_sustained(series, 481))
    assert np.isnan(lowest_sustained(series, within=[(0, 299)]))


def test_seconds_stand_beside_every_row():
    state = np.repeat(np.array([OBSERVED, MASKED, MISSING], np.uint8), [60, 20, 20])
    series = Series(0.0, np.where(state == OBSERVED, 60.0, np.nan), state, "mm[Hg]", "mean", "femoral")
    found = summary(series, within=[(0, 120)], exclude=[(50, 60)])
    assert (found.observed_s, found.excluded_s, found.masked_s, found.missing_s) == (50, 10, 20, 40)
    assert found.missing_percent == pytest.approx(100 * 40 / 110)
    assert (found.unit, found.name, found.site) == ("mm[Hg]", "mean", "femoral")


def test_a_second_at_the_edge_gives_its_value_where_half_of_it_is_inside():
    series = from_values(0.0, np.array([50.0, 60.0, 70.0]))
    found = summary(series, within=[(0.4, 1.4)])
    assert (found.lowest, found.highest) == (50, 50)
    assert found.observed_s == pytest.approx(1.0)
    assert np.isnan(summary(series, within=[(0.6, 1.4)]).median)


def test_nothing_observed_gives_no_numbers_but_its_seconds():
    found = summary(from_values(0.0, np.full(30, np.nan)))
    assert np.isnan([found.median, found.fifth, found.lowest, found.highest]).all()
    assert (found.observed_s, found.missing_s, found.missing_percent) == (0, 30, 100)
    assert np.isnan(summary(from_values(0.0, np.ones(5)), within=[]).missing_percent)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.sampled_from([0, 0, 1, 2]), min_size=1, max_size=60),
    st.integers(-20, 80).map(lambda quarter: quarter / 4),
    st.integers(0, 240).map(lambda quarter: quarter / 4),
)
def test_seconds_add_up_to_the_window_and_values_are_in_order(states, start, length):
    state = np.array(states, np.uint8)
    values = np.where(state == OBSERVED, np.arange(state.size) % 17 + 50.0, np.nan)
    found = summary(Series(0.0, values, state), within=[(start, start + length)], exclude=[(3.5, 8.0)])
    parts = found.observed_s + found.excluded_s + found.masked_s + found.missing_s
    assert parts == pytest.approx(length)
    if np.isfinite(found.median):
        assert found.lowest <= found.fifth <= found.median <= found.ninety_fifth <= found.highest
