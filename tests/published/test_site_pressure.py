"""Pressures held against each other, and the height of a transducer."""

import numpy as np
import pytest
from afterclamp.annotate.measures import (
    MMHG_PER_CM_WATER,
    cerebral_perfusion_pressure,
    pulse_pressure,
    site_gradient,
    site_gradient_spans,
    transducer_height_offset,
)
from afterclamp.annotate.series import MASKED, OBSERVED, Series, from_values
from afterclamp.sample_traces import tables, trend


def held(*pieces: tuple[float, int]) -> Series:
    return from_values(0.0, np.concatenate([np.full(seconds, level) for level, seconds in pieces]))


def test_pulse_pressure_of_a_printed_reading():
    # 120/80: the pulse of 40 whose third is added in MAP = 80 + 40/3 = 93.33.
    np.testing.assert_array_equal(pulse_pressure([120, np.nan], [80, 80]), [40, np.nan])


def test_height_of_the_transducer():
    # UCUM: 9.80665 kPa a metre of water, 133.322 kPa a metre of mercury: 0.73556 mmHg a cm; a transducer 10 cm
    # too low reads 7.36 mmHg high.
    assert pytest.approx(0.73556, abs=5e-6) == MMHG_PER_CM_WATER
    assert transducer_height_offset(10) == pytest.approx(7.36, abs=0.005)
    assert transducer_height_offset(-10) == -transducer_height_offset(10)


def test_perfusion_pressure_of_the_brain_takes_the_higher_of_what_is_behind():
    # MAP − ICP, or − CVP if higher (from memory). With the upper body poorly drained (24 mmHg in a neck vein) 62
    # leave 38, which the arterial pressure alone does not show.
    np.testing.assert_array_equal(
        cerebral_perfusion_pressure([62, 62, 62], [24, 5, 5], [10, 10, np.nan]), [38, 52, 57]
    )
    assert cerebral_perfusion_pressure(62, 24) == 38
    assert np.isnan(cerebral_perfusion_pressure([np.nan, 62], [5, np.nan], [10, 10])).all()


@pytest.mark.parametrize(("level", "seconds", "found"), [(10, 300, 1), (9.9, 900, 0), (30, 299, 0)])
def test_a_gradient_of_10_mean_for_5_min(level, seconds, found):
    # PubMed 26599795: 10 mmHg of mean (or 25 of systolic) pressure for 5 min or more.
    assert len(site_gradient_spans(held((0, 60), (level, seconds), (0, 60)))) == found


def test_a_gradient_of_25_systolic_is_enough():
    small = held((6, 600))
    assert site_gradient_spans(small) == []
    assert site_gradient_spans(small, held((24.9, 600))) == []
    assert site_gradient_spans(small, held((0, 100), (25, 400), (0, 100))) == [(100.0, 500.0)]
    with pytest.raises(ValueError, match="same seconds"):
        site_gradient_spans(small, held((25, 599)))


def test_a_systolic_gradient_is_seen_where_the_mean_is_not():
    unseen = from_values(0.0, np.full(600, np.nan))
    assert site_gradient_spans(unseen, held((30, 400), (0, 200))) == [(0.0, 400.0)]
    assert site_gradient_spans(held((14, 400), (0, 200)), unseen) == [(0.0, 400.0)]
    assert site_gradient_spans(unseen, unseen) == []


def test_seconds_that_were_masked_are_no_part_of_the_five_minutes():
    state = np.full(320, OBSERVED, np.uint8)
    state[100:125] = MASKED
    gradient = Series(0.0, np.where(state == OBSERVED, 14.0, np.nan), state)
    assert site_gradient_spans(gradient) == []  # 295 s were seen
    assert site_gradient_spans(gradient, at_least_s=295) == [(0.0, 320.0)]


def test_planted_gradient_of_the_demonstration():
    # truth.csv: femoral less left radial from 304:00 to 326:25, at most 14 mmHg of mean pressure.
    t = np.arange(tables.LENGTH_S, dtype=float)
    gradient = from_values(0.0, site_gradient(trend.trend("FEM", t), trend.trend("LRAD", t)))
    ((start, end),) = site_gradient_spans(gradient)
    ((true_start, true_end),) = tables.spans("E22a")
    assert (start, end) == pytest.approx((true_start, true_end), abs=1)
    assert np.nanmax(gradient.values) == pytest.approx(14.0, abs=0.01)
