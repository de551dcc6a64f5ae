"""Beats that are cut off at the end of the scale: their pulse is wrong, and where much is cut off their mean too.

Where waves were cut is known, since they are cut here; that a full converter holds its last value is what one is.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.finds import find as find_all
from afterclamp.annotate.quality import GOOD, MEAN_ONLY, NOTHING, artefacts, quality_class
from afterclamp.annotate.quality_spans import quality_spans
from afterclamp.io.case import Case
from afterclamp.io.recording import Segment
from afterclamp.sample_traces.courses import Course, Points, Pressure, record
from afterclamp.sample_traces.planting import Line, plant
from numpy.typing import NDArray
from recordings import case_of, even, recording

FloatArray = NDArray[np.float64]

HIGH: Points = ((0.0, 76.0), (100.0, 76.0), (105.0, 110.0), (200.0, 110.0), (205.0, 76.0))
WIDE: Points = ((0.0, 45.0), (100.0, 45.0), (105.0, 70.0), (200.0, 70.0), (205.0, 45.0))


def wave(mean: Points = HIGH, pulse: Points = WIDE, rate_hz: int = 100) -> FloatArray:
    course = Course(300, rate_hz, {"LRAD": Pressure(mean, pulse)}, heart_rate=((0.0, 75.0),))
    return record(course, 5, 1.0)["LRAD"]


def case(folder: Path, samples: FloatArray, rate_hz: int = 100, step: float = 0.1) -> Case:
    codes = np.rint(samples / step).astype(np.int16)
    return case_of(
        folder / "case",
        recording("monitor", [even("LRAD", codes, [Segment(0.0, 0, codes.size, rate_hz, step)])]),
    )


def classes(one: Case) -> NDArray[np.uint8]:
    return quality_class(one["left_radial"], np.asarray(one.grid, np.float64))


@pytest.mark.parametrize("rate_hz", [50, 100, 250])
def test_tops_that_are_cut_off_leave_the_mean(tmp_path: Path, rate_hz: int) -> None:
    # Systolic pressures of 160 mmHg between 105 and 200 s, cut at 145: the mean loses about 1 mmHg.
    with case(tmp_path, np.minimum(wave(rate_hz=rate_hz), 145.0), rate_hz) as one:
        [found] = artefacts(one["left_radial"])
        assert (found.code, found.evidence["what"]) == ("A4", "clipped")
        assert (found.start, found.end) == pytest.approx((104.0, 202.0), abs=4.0)
        seen = classes(one)
        assert (seen[108:198] == MEAN_ONLY).all()
        assert (seen[:98] == GOOD).all()
        assert (seen[208:] == GOOD).all()
        [told] = [span for span in quality_spans(one["left_radial"], one.grid) if span.acode]
        assert "cut off at 145 mmHg" in told.reason
        [find] = [each for each in find_all(one) if each.code == "A4"]
        assert find.name == "clipped line"


def test_where_much_is_cut_off_the_mean_is_wrong_too(tmp_path: Path) -> None:
    # Cut at 120 of 160 mmHg the mean of these beats is more than 5 mmHg too low.
    uncut, cut = wave(), np.minimum(wave(), 120.0)
    assert float((uncut - cut)[11000:19000].mean()) > 5
    with case(tmp_path, cut) as one:
        [found] = artefacts(one["left_radial"])
        assert (found.code, found.evidence["what"]) == ("A9", "clipped")
        assert "its mean is wrong as well" in found.evidence["reason"]
        assert (classes(one)[108:198] == NOTHING).all()
        [find] = [each for each in find_all(one) if each.code == "A9"]
        assert find.name == "clipped line"


def test_feet_that_are_cut_off_at_zero_leave_the_mean(tmp_path: Path) -> None:
    low = wave(((0.0, 20.0),), ((0.0, 45.0),)) - 8.0  # a transducer that hangs too high
    with case(tmp_path, np.maximum(low, 0.0)) as one:
        [found] = artefacts(one["left_radial"])
        assert (found.code, found.evidence["end_mmhg"]) == ("A4", 0.0)
        assert "foot" in found.evidence["reason"]
        assert (classes(one) == MEAN_ONLY).mean() > 0.98


@pytest.mark.parametrize("step", [0.1, 0.5, 1.0, 2.0])
def test_a_coarse_reading_that_is_not_full_is_not_clipped(tmp_path: Path, step: float) -> None:
    # A rounded pulse stays on its highest step for several samples: it comes to it slowly.
    with case(tmp_path, wave(), step=step) as one:
        assert artefacts(one["left_radial"]) == []


def test_a_clipped_flush_is_a_flush_and_its_line_is_not_clipped(tmp_path: Path) -> None:
    flushed = wave()
    for start in (40.0, 45.0, 50.0, 55.0):
        flushed, _ = plant("flush", flushed, Line(100), start, 2.0, np.random.default_rng(1), 290.0)
    with case(tmp_path, np.minimum(flushed, 280.0)) as one:
        assert {found.code for found in artefacts(one["left_radial"])} == {"A2"}


def test_two_beats_that_touch_the_end_are_not_enough(tmp_path: Path) -> None:
    tall = wave(((0.0, 76.0),), ((0.0, 45.0), (100.0, 45.0), (100.2, 70.0), (101.4, 70.0), (101.6, 45.0)))
    with case(tmp_path, np.minimum(tall, np.sort(tall)[-12])) as one:
        assert artefacts(one["left_radial"]) == []
