"""A figure drawn out over time sums to the figure."""

import numpy as np
import pytest
from afterclamp.annotate.measures import exposure, exposure_strip
from afterclamp.annotate.series import MASKED, OBSERVED, Series, from_values
from hypothesis import given, settings
from hypothesis import strategies as st


def test_each_minute_of_a_worked_example():
    # Mean pressure of 70, 66, 62, 58, 60, 64, 68 held for a minute each, limit 65: by hand 0, 0, 3, 7, 5, 1 and
    # 0 mmHg·min, 16.0 in all.
    series = from_values(0.0, np.repeat([70.0, 66, 62, 58, 60, 64, 68], 60), unit="mm[Hg]")
    strip = exposure_strip(series, exposure(series, below=65))
    np.testing.assert_allclose(strip.area, [0, 0, 3, 7, 5, 1, 0])
    np.testing.assert_allclose(strip.outside_s, [0, 0, 60, 60, 60, 60, 0])
    np.testing.assert_allclose(strip.depth, [np.nan, np.nan, 3, 7, 5, 1, np.nan])
    np.testing.assert_array_equal(strip.start, np.arange(7) * 60)


@st.composite
def any_series(draw: st.DrawFn) -> Series:
    size = draw(st.integers(1, 90))
    state = np.array(draw(st.lists(st.sampled_from([0, 0, 0, 1, 2]), min_size=size, max_size=size)), np.uint8)
    values = np.array(draw(st.lists(st.integers(40, 90), min_size=size, max_size=size)), float)
    return Series(float(draw(st.integers(-5, 5))), np.where(state == OBSERVED, values, np.nan), state)


@settings(max_examples=200, deadline=None)
@given(
    any_series(),
    st.integers(45, 85),
    st.sampled_from([1.0, 1.5, 7.0, 60.0, 200.0]),
    st.sampled_from(["hold", "exact"]),
    st.booleans(),
    st.integers(0, 8),
    st.integers(0, 6),
)
def test_the_strip_sums_to_the_figure(series, limit, width, method, above, least, close):
    window, exclude = [(-3.5, 40.25), (50.0, 70.0)], [(10.0, 12.75)]
    side = {"above": limit} if above else {"below": limit}
    found = exposure(
        series,
        within=window,
        exclude=exclude,
        inclusive=True,
        method=method,
        min_run_s=least,
        close_gaps_s=close,
        **side,
    )
    strip = exposure_strip(series, found, width_s=width, within=window, exclude=exclude)
    assert strip.area.sum() == pytest.approx(found.area, abs=1e-9)
    assert strip.outside_s.sum() == pytest.approx(found.outside_s, abs=1e-6)
    assert strip.observed_s.sum() == pytest.approx(found.observed_s, abs=1e-6)
    assert (strip.outside_s <= strip.observed_s + 1e-9).all()
    assert (strip.observed_s <= width + 1e-9).all()
    assert (strip.area >= -1e-12).all()


def test_a_stretch_in_which_nothing_was_seen_is_told_from_one_with_nothing_outside():
    state = np.repeat(np.array([OBSERVED, MASKED], np.uint8), 60)
    series = Series(0.0, np.where(state == OBSERVED, 70.0, np.nan), state)
    strip = exposure_strip(series, exposure(series, below=65))
    np.testing.assert_array_equal(strip.area, [0, 0])
    np.testing.assert_array_equal(strip.observed_s, [60, 0])


def test_stretches_shorter_than_a_second_are_refused():
    series = from_values(0.0, np.ones(3))
    with pytest.raises(ValueError, match="a second or more"):
        exposure_strip(series, exposure(series, below=1), width_s=0.5)
