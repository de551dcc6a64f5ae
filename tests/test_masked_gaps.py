"""Masked stretches bridged by straight lines: only beside the observed numbers, and only where both sides were seen."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate.masked_gaps import across_masked
from afterclamp.annotate.series import MASKED, MISSING, OBSERVED, Series


def series(values: list[float], state: list[int]) -> Series:
    codes = np.array(state, np.uint8)
    return Series(0.0, np.where(codes == OBSERVED, values, np.nan), codes, "mm[Hg]")


def test_a_straight_line_between_what_was_seen():
    found = across_masked(series([60, 0, 0, 0, 64], [0, 1, 1, 1, 0]))
    assert found.values == pytest.approx([60, 61, 62, 63, 64])  # by hand
    assert (found.state == OBSERVED).all()


def test_what_was_not_recorded_is_never_filled_nor_bridged_from():
    found = across_masked(series([60, 0, 0, 64, 0, 0], [0, MISSING, MASKED, 0, MASKED, MASKED]))
    assert found.state.tolist() == [0, MISSING, MASKED, 0, MASKED, MASKED]
    assert np.isnan(found.values[[1, 2, 4, 5]]).all()


def test_a_long_stretch_stays_masked():
    state = [OBSERVED] + [MASKED] * 301 + [OBSERVED]
    assert (across_masked(series([60.0] * 303, state)).state == state).all()
    assert (across_masked(series([60.0] * 303, state), longest_s=301).state == OBSERVED).all()


def test_the_series_itself_is_left_as_it_was():
    before = series([60, 0, 64], [0, 1, 0])
    across_masked(before)
    assert before.state.tolist() == [0, 1, 0]
    assert np.isnan(before.values[1])
