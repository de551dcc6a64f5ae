"""Time and area outside a limit against worked examples, and rules that hold for every record."""

import numpy as np
import pytest
from afterclamp.annotate.measures import area_outside, exposure
from afterclamp.annotate.series import MASKED, MISSING, OBSERVED, Series, from_values
from hypothesis import given, settings
from hypothesis import strategies as st

# Mean pressure each minute, limit 65, recomputed by hand: a value held gives 16.0 mmHg·min, straight
# lines cut at the limit 15.25; both 4 min below.
MINUTES = np.arange(8) * 60.0
PRESSURE = [70, 66, 62, 58, 60, 64, 68, 72]


@pytest.mark.parametrize(("method", "area", "average"), [("hold", 16.0, 2.286), ("exact", 15.25, 2.179)])
def test_two_conventions_give_two_areas_and_say_so(method, area, average):
    found = area_outside(MINUTES, PRESSURE, below=65, method=method)
    assert found.area == pytest.approx(area, abs=1e-9)
    assert found.outside_s == pytest.approx(240.0, abs=1e-9)
    assert found.time_weighted_average == pytest.approx(average, abs=5e-4)
    assert found.observed_s == 420
    assert found.nadir == 58
    assert found.method == method


def test_area_of_oxygen_delivery_every_20_s():
    # 310, 290, 270, 280, 305 every 20 s, limit 300, previous value held: 20.0 mL/m² and 1.0 min
    # (recomputed; sampling as in Mukaida, J Thorac Cardiovasc Surg 2019;158:492).
    found = area_outside(np.arange(5) * 20.0, [310, 290, 270, 280, 305], below=300)
    assert found.area == pytest.approx(20.0, abs=1e-9)
    assert found.outside_s == pytest.approx(60.0, abs=1e-9)


@pytest.mark.parametrize(
    ("values", "area", "seconds"),
    [
        ([60, 70, 70], 5.0, 60.0),  # the 60 stands until the next row: 5 mmHg for 1 min
        ([70, 70, 60], 0.0, 0.0),  # the last row ends the record and stands for no time
        ([62, 58, 70, 61], 10.0, 120.0),  # 3 + 7 mmHg for 1 min each
    ],
)
def test_the_earlier_value_is_held_and_not_the_later(values, area, seconds):
    # By hand, limit 65, one value a minute; with the later value held they would be 0, 5 and 11 mmHg·min.
    found = area_outside(np.arange(len(values)) * 60.0, values, below=65)
    assert (found.area, found.outside_s) == (pytest.approx(area), pytest.approx(seconds))


def test_cumulative_and_largest_single_area_are_told_apart():
    # Cumulative and largest contiguous excursion are different predictors (odds ratio 4.9 for the latter in
    # the follow-up to Mukaida 2019): two stretches of 2 and 3 minutes, 10 and 20 below.
    values = np.concatenate(
        [np.full(60, 300.0), np.full(120, 290.0), np.full(60, 300.0), np.full(180, 280.0)]
    )
    found = exposure(from_values(0.0, values), below=300)
    assert (found.area, found.largest_single_area) == (20 + 60, 60)
    assert (found.outside_s, found.longest_run_s) == (300, 180)
    assert found.runs == ((60.0, 180.0), (240.0, 420.0))


@pytest.mark.parametrize(("inclusive", "seconds"), [(True, 3.0), (False, 2.0)])
def test_the_limit_itself_counts_only_where_the_rule_says_at_least(inclusive, seconds):
    # Engelman, Ann Thorac Surg 2015;100:748: the outlet stays below 37 °C, so 37.0 is outside.
    outlet = from_values(0.0, np.array([36.9, 37.0, 37.1, 37.6]))
    assert exposure(outlet, above=37, inclusive=inclusive).outside_s == seconds


def test_nothing_is_held_or_drawn_across_a_gap():
    t = [0.0, 60, 120, 600, 660]
    for method in ("hold", "exact"):
        found = area_outside(t, [60, 60, 60, 60, 60], below=65, max_gap_s=90, method=method)
        assert found.observed_s == 180
        assert found.missing_s == 480
        assert found.area == pytest.approx(15.0)
    two_runs = area_outside(t, [60, 60, 60, 60, 60], below=65, max_gap_s=90)
    assert two_runs.longest_run_s == 120


def test_masked_and_missing_seconds_break_a_run_and_are_counted():
    state = np.array([OBSERVED] * 10 + [MASKED] * 5 + [OBSERVED] * 10 + [MISSING] * 5, np.uint8)
    series = Series(0.0, np.where(state == OBSERVED, 60.0, np.nan), state)
    for method in ("hold", "exact"):
        found = exposure(series, below=65, method=method)
        assert (found.observed_s, found.masked_s, found.missing_s) == (20, 5, 5)
        assert found.longest_run_s == 10
        assert found.outside_s == 20


def test_a_window_past_the_record_is_missing():
    found = exposure(from_values(100.0, np.full(60, 60.0)), below=65, within=[(0.0, 200.0)])
    assert (found.observed_s, found.missing_s) == (60, 140)


def test_excluded_spans_are_left_out_and_counted():
    series = from_values(0.0, np.full(600, 60.0))
    found = exposure(series, below=65, within=[(0, 300)], exclude=[(100, 150.5), (140, 160), (290, 400)])
    assert found.excluded_s == 70
    assert found.observed_s == 230
    assert found.outside_s == 230


def test_a_shortest_run_leaves_short_ones_out_of_time_area_and_nadir():
    values = np.full(1000, 70.0)
    values[100:112] = 0.0
    values[300:700] = 60.0
    found = exposure(from_values(0.0, values), below=65, min_run_s=300)
    assert (found.outside_s, found.nadir) == (400, 60)


def test_exactly_one_side_is_asked_for():
    series = from_values(0.0, np.ones(3))
    for limits in ({}, {"below": 1.0, "above": 2.0}):
        with pytest.raises(ValueError, match="exactly one"):
            exposure(series, **limits)
    with pytest.raises(ValueError, match="hold"):
        exposure(series, below=1, method="trapezoid")


@st.composite
def series_of_any_state(draw: st.DrawFn) -> Series:
    size = draw(st.integers(1, 60))
    state = np.array(draw(st.lists(st.sampled_from([0, 0, 0, 1, 2]), min_size=size, max_size=size)), np.uint8)
    values = np.array(draw(st.lists(st.integers(40, 90), min_size=size, max_size=size)), float)
    return Series(float(draw(st.integers(-5, 5))), np.where(state == OBSERVED, values, np.nan), state)


times = st.integers(-30, 320).map(lambda quarter: quarter / 4)
methods = st.sampled_from(["hold", "exact"])


@settings(max_examples=150, deadline=None)
@given(series_of_any_state(), times, times, times, st.integers(45, 85), methods)
def test_seconds_add_up_and_areas_add_over_disjoint_windows(series, a, b, c, limit, method):
    low, middle, high = sorted((a, b, c))
    whole, left, right = (
        exposure(series, below=limit, within=[window], exclude=[(3.25, 7.5)], method=method)
        for window in ((low, high), (low, middle), (middle, high))
    )
    for found, length in ((whole, high - low), (left, middle - low), (right, high - middle)):
        parts = found.observed_s + found.excluded_s + found.masked_s + found.missing_s
        assert parts == pytest.approx(length, abs=1e-6)
        assert found.area >= 0
        assert 0 <= found.outside_s <= found.observed_s + 1e-9
        assert found.largest_single_area <= found.area + 1e-9
        assert found.longest_run_s <= found.outside_s + 1e-9
    assert left.area + right.area == pytest.approx(whole.area, abs=1e-6)
    assert left.outside_s + right.outside_s == pytest.approx(whole.outside_s, abs=1e-6)


def test_a_closed_interruption_counts_in_neither_length_nor_time():
    # 10 s below, 4 s back above, 6 s below, 5 s not recorded, 8 s below: with gaps of 5 s closed one stretch
    # of 33 s on the clock, in which 24 s were below.
    values = np.r_[[60.0] * 10, [70.0] * 4, [60.0] * 6, [np.nan] * 5, [60.0] * 8, [70.0] * 20]
    series = from_values(0.0, values)
    found = exposure(series, below=65, close_gaps_s=5)
    assert (found.outside_s, found.longest_run_s, found.runs) == (24, 24, ((0.0, 33.0),))
    assert (found.area, found.largest_single_area) == (2.0, 2.0)
    assert exposure(series, below=65).longest_run_s == 10
    assert exposure(series, below=65, close_gaps_s=5, min_run_s=24).outside_s == 24
    assert exposure(series, below=65, close_gaps_s=5, min_run_s=25).outside_s == 0


@settings(max_examples=150, deadline=None)
@given(series_of_any_state(), st.integers(45, 85), st.integers(0, 8), st.integers(0, 12), methods)
def test_no_stretch_is_longer_than_all_and_stretches_hold_all(series, limit, close, least, method):
    plain = exposure(series, below=limit, method=method, exclude=[(4.0, 9.5)])
    found = exposure(
        series, below=limit, method=method, exclude=[(4.0, 9.5)], close_gaps_s=close, min_run_s=least
    )
    assert found.longest_run_s <= found.outside_s + 1e-9
    assert found.outside_s <= plain.outside_s + 1e-9
    assert found.outside_s <= sum(end - start for start, end in found.runs) + 1e-9
    assert found.longest_run_s == 0 or found.longest_run_s >= least - 1e-9
    assert len(found.runs) * found.longest_run_s >= found.outside_s - 1e-6
    assert len(found.runs) * found.largest_single_area >= found.area - 1e-6
    assert found.observed_s == plain.observed_s
    if not least:
        assert found.outside_s == pytest.approx(plain.outside_s)
        assert found.area == pytest.approx(plain.area)
    if found.observed_s:
        assert found.time_weighted_average * found.observed_s / 60 == pytest.approx(found.area)


@settings(max_examples=100, deadline=None)
@given(series_of_any_state(), st.integers(45, 84), st.integers(1, 10), methods)
def test_a_higher_lower_limit_never_gives_less(series, limit, more, method):
    one = exposure(series, below=limit, method=method)
    other = exposure(series, below=limit + more, method=method)
    assert other.area >= one.area - 1e-9
    assert other.outside_s >= one.outside_s - 1e-9


@settings(max_examples=100, deadline=None)
@given(series_of_any_state(), st.integers(45, 85), methods)
def test_below_is_above_turned_over(series, limit, method):
    turned = Series(series.start, -series.values, series.state)
    one = exposure(series, below=limit, method=method)
    other = exposure(turned, above=-limit, method=method)
    assert (other.area, other.outside_s) == pytest.approx((one.area, one.outside_s))
