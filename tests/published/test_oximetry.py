"""Cerebral oximetry: areas by hand, and those that were planted in the demonstration."""

import numpy as np
import pytest
from afterclamp.annotate.measures import (
    area_below_baseline,
    area_below_level,
    desaturation_score,
    exposure,
    percent_of_baseline,
    saturation_baseline,
    side_difference,
)
from afterclamp.annotate.series import MASKED, MISSING, OBSERVED, Series, from_values
from afterclamp.sample_traces import tables, trend


def planted(name: str) -> Series:
    return from_values(0.0, trend.trend(name, np.arange(tables.LENGTH_S, dtype=float)))


def test_areas_of_the_two_kinds_by_hand():
    # Definitions of J Clin Med 2020;9:840: below 80 % of the baseline, and below 50 %. Baseline 60, so 48: two
    # minutes at 44 are 8 %·min below it and 12 %·min below 50; one minute at 49 adds 1 to the latter alone.
    values = np.r_[np.full(60, 60.0), np.full(120, 44.0), np.full(60, 49.0)]
    saturation = from_values(0.0, values)
    assert saturation_baseline(saturation, (0, 60)) == 60
    assert area_below_baseline(saturation, 60.0).area == pytest.approx(8.0)
    assert area_below_level(saturation).area == pytest.approx(13.0)
    assert area_below_baseline(saturation, 60.0).limit == 48.0


def test_a_value_on_the_limit_is_not_below_it():
    # A near miss that was planted: 51 % stays above 80 % of 61; 48.8 % itself is 80 %.
    assert area_below_baseline(from_values(0.0, np.array([51.0, 48.8])), 61.0).outside_s == 0
    assert percent_of_baseline(from_values(0.0, np.array([48.8])), 61.0).values == pytest.approx(80.0)


def test_short_falls_do_not_count_where_a_rule_asks_for_a_length():
    # Below 55 % for 15 s and more: Crit Care 2011;15(Suppl 1):P9.
    values = np.r_[
        np.full(30, 60.0), np.full(14, 54.0), np.full(30, 60.0), np.full(15, 54.0), np.full(9, 60.0)
    ]
    found = area_below_level(from_values(0.0, values), level=55.0, at_least_s=15)
    assert found.outside_s == 15
    assert found.runs == ((74.0, 89.0),)


def test_score_in_per_cent_seconds():
    # Σ (50 − saturation)·s, Slater 2009 (from memory): ten minutes at 45 reach its limit of 3,000 %·s.
    assert desaturation_score(from_values(0.0, np.full(600, 45.0))) == pytest.approx(3000.0)
    assert desaturation_score(from_values(0.0, np.full(600, 50.0))) == 0
    assert np.isnan(desaturation_score(from_values(0.0, np.full(5, np.nan))))


def test_planted_baseline_and_area_of_the_demonstration():
    # By the case's own specification: baseline 61 on both sides (2:00 to 4:00), left area below 80 % of it
    # 11.3 %·min.
    left, right = planted("NIRL"), planted("NIRR")
    assert saturation_baseline(left, (120, 240)) == pytest.approx(61.0, abs=0.05)
    assert saturation_baseline(right, (120, 240)) == pytest.approx(61.0, abs=0.05)
    assert area_below_baseline(left, 61.0).area == pytest.approx(11.3, abs=0.3)


def test_planted_side_difference_of_the_demonstration():
    # Right less left of 10 points and more for 7:05, at most 16.
    difference = side_difference(planted("NIRR"), planted("NIRL"))
    found = exposure(difference, above=10, inclusive=True)
    assert found.outside_s == pytest.approx(7 * 60 + 5, abs=1)
    assert found.nadir == pytest.approx(16.0, abs=0.05)
    assert found.runs[0][0] == pytest.approx(182 * 60 + 38, abs=2)


def test_side_difference_is_signed_and_known_only_where_both_sides_are():
    state = np.array([OBSERVED, MASKED, MISSING], np.uint8)
    left = Series(0.0, np.array([50.0, np.nan, np.nan]), state)
    right = from_values(0.0, np.array([66.0, 60.0, 60.0]))
    found = side_difference(right, left)
    np.testing.assert_array_equal(found.values, [16.0, np.nan, np.nan])
    np.testing.assert_array_equal(found.state, state)
    assert side_difference(left, right).values[0] == -16.0
    assert side_difference(right, left, baseline=6.0).values[0] == 10.0
    with pytest.raises(ValueError, match="same seconds"):
        side_difference(right, from_values(1.0, np.full(3, 60.0)))


def test_without_a_baseline_there_is_no_share_of_it():
    saturation = from_values(0.0, np.array([np.nan, 60.0]))
    baseline = saturation_baseline(saturation, (0, 1))
    assert np.isnan(baseline)
    share = percent_of_baseline(saturation, baseline)
    assert np.isnan(share.values).all()
    assert (share.state == MISSING).all()
    with pytest.raises(ValueError, match="positive baseline"):
        area_below_baseline(saturation, baseline)


def test_baseline_is_a_median_of_observed_seconds_within_its_window():
    # One pad touched for a second does not move it.
    values = np.r_[np.full(10, 30.0), np.full(59, 61.0), 95.0, np.full(10, 30.0)]
    assert saturation_baseline(from_values(0.0, values), (10.0, 70.0)) == 61.0
