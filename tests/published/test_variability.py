"""Variability of pressure: one uneven record, three numbers under one name."""

import numpy as np
import pytest
from afterclamp.annotate.measures import (
    average_real_variability,
    average_real_variability_weighted,
    coefficient_of_variation,
    generalised_average_real_variability,
    root_mean_square_step,
    standard_deviation,
)
from hypothesis import given, settings
from hypothesis import strategies as st

# Mean pressure each minute, and one uneven record (minutes 0, 1, 3 and 8): recomputed by hand from the formulas
# named beside each check.
EVEN = [70, 66, 62, 58, 60, 64, 68, 72]
UNEVEN, AT = [70, 60, 66, 66], [0, 60, 180, 480]


def test_unweighted_of_the_even_record():
    # Mean |x(k+1) − x(k)|, mmHg; review doi 10.1161/JAHA.117.006895.
    assert average_real_variability(EVEN) == pytest.approx(3.714, abs=5e-4)


def test_the_three_conventions_give_three_numbers_on_an_uneven_record():
    # By hand: (10 + 6 + 0)/3 mmHg; Mena, J Hypertens 2005;23:505-11 (weights from memory): (1·10 + 2·6 + 5·0)/8
    # mmHg; Mascha, Anesthesiology 2015;123:79-91 (formula from memory): 16/8 mmHg/min.
    assert average_real_variability(UNEVEN, AT) == pytest.approx(16 / 3)
    assert average_real_variability_weighted(UNEVEN, AT) == pytest.approx(2.75)
    assert generalised_average_real_variability(UNEVEN, AT) == pytest.approx(2.0)


def test_spread_of_the_even_record():
    # n − 1 in the denominator: 4.899 mmHg, 7.54 % of the mean of 65.0.
    assert standard_deviation(EVEN) == pytest.approx(4.899, abs=5e-4)
    assert coefficient_of_variation(EVEN) == pytest.approx(7.54, abs=5e-3)
    assert root_mean_square_step([70, 60, 66, 66]) == pytest.approx(np.sqrt((100 + 36) / 3))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(20, 160), min_size=2, max_size=50), st.integers(1, 600))
def test_on_even_spacing_weights_change_nothing_and_the_rate_is_per_minute(values, spacing):
    at = np.arange(len(values)) * float(spacing)
    plain = average_real_variability(values, at)
    assert average_real_variability_weighted(values, at) == pytest.approx(plain)
    assert generalised_average_real_variability(values, at) == pytest.approx(plain * 60 / spacing)
    assert root_mean_square_step(values, at) >= plain - 1e-9


def test_nothing_is_joined_across_a_gap_or_a_missing_reading():
    # By hand: steps of 2 in 60 s and of 1 in 90 s are left; the last one is a second too long.
    values, at = [60, 62, np.nan, 90, 91, 50], [0, 60, 120, 180, 270, 361]
    assert average_real_variability(values, at, max_gap_s=90) == pytest.approx(1.5)
    assert average_real_variability_weighted(values, at, max_gap_s=90) == pytest.approx(210 / 150)
    assert generalised_average_real_variability(values, at, max_gap_s=90) == pytest.approx(3 / 2.5)
    assert average_real_variability(values, at) == pytest.approx((2 + 1 + 41) / 3)


@pytest.mark.parametrize("values", [[], [60.0], [np.nan, 60.0]])
def test_too_little_gives_no_number(values):
    at = np.arange(len(values), dtype=float)
    assert np.isnan(average_real_variability(values))
    assert np.isnan(average_real_variability_weighted(values, at))
    assert np.isnan(generalised_average_real_variability(values, at))
    assert np.isnan(root_mean_square_step(values))
    assert np.isnan(standard_deviation(values))
    assert np.isnan(coefficient_of_variation(values))


def test_times_that_do_not_increase_are_refused():
    with pytest.raises(ValueError, match="increase"):
        average_real_variability([60, 61], [5, 5])
