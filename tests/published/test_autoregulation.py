"""Correlation of pressure and saturation, and the band that chance alone gives."""

import numpy as np
import pytest
from afterclamp.annotate.measures import EXPLORATORY, pearson, pressure_saturation_correlation
from afterclamp.annotate.series import MASKED, OBSERVED, Series, from_values

# Anscombe FJ. Graphs in statistical analysis. Am Stat 1973;27:17-21 (from memory): four sets of very different shape.
X = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5]
ANSCOMBE = [
    (X, [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]),
    (X, [9.14, 8.14, 8.74, 8.77, 9.26, 8.10, 6.13, 3.10, 9.13, 7.26, 4.74]),
    (X, [7.46, 6.77, 12.74, 7.11, 7.81, 8.84, 6.08, 5.39, 8.15, 6.42, 5.73]),
    ([8] * 7 + [19] + [8] * 3, [6.58, 5.76, 7.71, 8.84, 8.47, 7.04, 5.25, 12.50, 5.56, 7.91, 6.89]),
]


def tens(values: np.ndarray) -> Series:
    """One value for each 10 s."""
    return from_values(0.0, np.repeat(values, 10))


@pytest.mark.parametrize("pair", ANSCOMBE)
def test_pearson_of_a_printed_quartet(pair):
    # All four have 0.816.
    assert pearson(*pair) == pytest.approx(0.816, abs=0.0011)


def test_a_window_holds_thirty_averages_of_ten_seconds():
    # Thirty 10-s averages, 300 s (PMC11433420; Brady, Stroke 2007). Oracle: numpy.corrcoef.
    rng = np.random.default_rng(7)
    pressure, saturation = rng.normal(60, 5, 70), rng.normal(65, 2, 70)
    found = pressure_saturation_correlation(tens(pressure), tens(saturation))
    assert found.t[0] == 300
    assert found.t.size == found.r.size == 41
    for i in (0, 20, 40):
        expected = np.corrcoef(pressure[i : i + 30], saturation[i : i + 30])[0, 1]
        assert found.r[i] == pytest.approx(expected, abs=1e-9)


def test_the_band_of_unrelated_noise_is_the_tabled_critical_value():
    # Critical correlation of 30 pairs, two-sided 5 %: 0.361 (28 degrees of freedom; tables of Fisher and
    # Yates, from memory).
    rng = np.random.default_rng(8)
    found = pressure_saturation_correlation(tens(rng.normal(60, 5, 4000)), tens(rng.normal(65, 2, 4000)))
    assert found.low == pytest.approx(-0.361, abs=0.03)
    assert found.high == pytest.approx(0.361, abs=0.03)
    inside = (found.r > found.low) & (found.r < found.high)
    assert inside.mean() == pytest.approx(0.95, abs=0.04)


def test_the_band_of_drifting_courses_is_far_wider():
    # Yule, J R Stat Soc 1926;89:1-63 (from memory): series that drift correlate by themselves. A limit of 0.3 to 0.4
    # says nothing of such a record.
    rng = np.random.default_rng(9)
    pressure, saturation = (np.cumsum(rng.normal(0, 1, 3000)) for _ in range(2))
    found = pressure_saturation_correlation(tens(60 + pressure), tens(65 + saturation))
    assert found.low < -0.7
    assert found.high > 0.7
    assert found.share_above(0.4) > 0.2


def test_the_same_seed_gives_the_same_band_and_another_seed_nearly():
    rng = np.random.default_rng(10)
    pressure, saturation = tens(rng.normal(60, 5, 600)), tens(rng.normal(65, 2, 600))
    one, again, other = (
        pressure_saturation_correlation(pressure, saturation, seed=seed) for seed in (1, 1, 2)
    )
    assert (one.low, one.high) == (again.low, again.high)
    assert (one.low, one.high) != (other.low, other.high)
    assert other.high == pytest.approx(one.high, abs=0.08)


def test_shuffled_pairs_never_share_a_second():
    # By counting: of 151 windows of 30 averages, 121 · 122 of the 151² ordered pairs lie 30 or more apart.
    rng = np.random.default_rng(17)
    slow = np.cumsum(rng.normal(0, 1, 180))
    found = pressure_saturation_correlation(tens(60 + slow), tens(65 + slow), draws=4000)
    assert found.draws / 4000 == pytest.approx(121 * 122 / 151**2, abs=0.03)


def test_a_saturation_that_follows_pressure_leaves_the_band():
    rng = np.random.default_rng(11)
    slow = rng.normal(0, 5, 900)
    found = pressure_saturation_correlation(tens(60 + slow), tens(65 + 0.4 * slow + rng.normal(0, 0.5, 900)))
    assert found.r.min() > found.high
    assert found.share_above(0.4) == 1.0


def test_half_of_a_window_and_of_an_average_must_be_observed():
    rng = np.random.default_rng(12)
    pressure, saturation = rng.normal(60, 5, 30), rng.normal(65, 2, 30)
    state = np.full(300, OBSERVED, np.uint8)
    state[:150] = MASKED
    values = np.where(state == OBSERVED, np.repeat(saturation, 10), np.nan)
    found = pressure_saturation_correlation(tens(pressure), Series(0.0, values, state))
    assert found.pairs[0] == 15
    assert found.r[0] == pytest.approx(np.corrcoef(pressure[15:], saturation[15:])[0, 1])
    state[150:155] = MASKED  # five of ten seconds: the average stands
    values = np.where(state == OBSERVED, np.repeat(saturation, 10), np.nan)
    assert pressure_saturation_correlation(tens(pressure), Series(0.0, values, state)).pairs[0] == 15
    state[150:156] = MASKED  # six of ten seconds: one average less
    values = np.where(state == OBSERVED, np.repeat(saturation, 10), np.nan)
    assert np.isnan(pressure_saturation_correlation(tens(pressure), Series(0.0, values, state)).r[0])


def test_what_is_excluded_is_not_used():
    rng = np.random.default_rng(13)
    pressure, saturation = rng.normal(60, 5, 90), rng.normal(65, 2, 90)
    pressure[40:60], saturation[40:60] = 8, 45  # an arrest: both fall for one reason
    found = pressure_saturation_correlation(tens(pressure), tens(saturation), exclude=[(400, 600)])
    fallen = pressure_saturation_correlation(tens(pressure), tens(saturation))
    assert np.nanmax(fallen.r) > 0.9
    assert np.nanmax(found.r) < 0.9
    assert found.pairs.min() == 10
    assert np.isnan(found.r[found.pairs < 15]).all()


def test_nothing_after_a_window_changes_it():
    rng = np.random.default_rng(14)
    pressure, saturation = rng.normal(60, 5, 100), rng.normal(65, 2, 100)
    whole = pressure_saturation_correlation(tens(pressure), tens(saturation))
    part = pressure_saturation_correlation(tens(pressure[:60]), tens(saturation[:60]))
    np.testing.assert_array_equal(part.t, whole.t[: part.t.size])
    np.testing.assert_allclose(part.r, whole.r[: part.r.size])


def test_a_course_that_does_not_move_or_a_short_record_gives_no_number():
    moving = np.random.default_rng(15).normal(60, 5, 40)
    assert np.isnan(pressure_saturation_correlation(tens(moving), tens(np.full(40, 65.3))).r).all()
    short = pressure_saturation_correlation(tens(moving[:29]), tens(moving[:29]))
    assert short.t.size == 0
    assert np.isnan(short.share_above(0.4))
    few = pressure_saturation_correlation(tens(moving), tens(moving[::-1]))
    assert np.isnan(few.low)
    assert few.draws == 0
    with pytest.raises(ValueError, match="same seconds"):
        pressure_saturation_correlation(tens(moving), tens(moving[:30]))


def test_every_result_says_that_it_is_exploratory():
    rng = np.random.default_rng(16)
    for averages in (10, 60, 400):
        found = pressure_saturation_correlation(
            tens(rng.normal(60, 5, averages)), tens(rng.normal(65, 2, averages))
        )
        assert found.note.startswith(EXPLORATORY)
    assert "exploratory" in EXPLORATORY
