"""What stands beside a figure: masked seconds bridged, and the other way of counting where it matters. By hand."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate.figure_row import Figure, exposed, with_exact, with_filled
from afterclamp.annotate.limits import Limit
from afterclamp.annotate.series import MASKED, Series, from_values

LIMIT = Limit(
    id="low",
    measure="mean_arterial_pressure",
    phase="record",
    below=65.0,
    unit="mm[Hg]",
    status="U",
    source="ours",
)


def row_of(series: Series) -> Figure:
    found = exposed(LIMIT, series, [(0.0, float(series.values.size))], [])
    return Figure(
        "mean_arterial_pressure", "record", value=found.area, unit="mm[Hg].min", limit=65.0,
        outside_s=found.outside_s, observed_s=found.observed_s, masked_s=found.masked_s, area=found.area,
    )  # fmt: skip


def masked(values: list[float], start: int, stop: int) -> Series:
    seconds = np.zeros(len(values), bool)
    seconds[start:stop] = True
    return from_values(0.0, np.array(values), unit="mm[Hg]").masked_where(seconds)


def test_masked_seconds_within_a_low_stretch_stand_beside_the_observed_ones():
    # 60 for three minutes, the middle one masked: 2 min and 10 mmHg·min observed, 3 min and 15 bridged.
    series = masked([60.0] * 180, 60, 120)
    row = with_filled(row_of(series), LIMIT, series, [(0.0, 180.0)], [])
    assert (row.outside_s, row.area, row.observed_s) == (120, 10, 120)
    assert (row.bridged_outside_s, row.bridged_area, row.bridged_s) == (180, 15, 60)
    assert (
        row.note
        == "with a straight line across 1.0 min masked in it: 3.0 of 3.0 min and 15 mm[Hg].min (an estimate)"
    )


def test_masked_seconds_outside_of_it_add_nothing_and_are_not_told():
    series = masked([60.0] * 60 + [80.0] * 120, 90, 120)
    row = with_filled(row_of(series), LIMIT, series, [(0.0, 180.0)], [])
    assert (row.outside_s, row.bridged_outside_s, row.note) == (60, 60, "")


def test_what_cannot_be_bridged_is_not_estimated():
    series = masked([60.0] * 180, 120, 180)  # nothing seen behind it
    assert (series.state[120:] == MASKED).all()
    row = with_filled(row_of(series), LIMIT, series, [(0.0, 180.0)], [])
    assert row.bridged_outside_s is None
    assert row.bridged.outside_s == 120


def test_the_way_of_counting_is_told_where_it_matters():
    # One value in 10 s, from 70 to 60 and back, held: 70, 60, 70 ... as seconds 70, 60, 70: held 1 s and 5 mmHg·s under
    # 65; by straight lines half a second to either side of it, a triangle 5 high and 1 s wide: 2.5 mmHg·s.
    series = from_values(0.0, np.array([70.0, 60.0, 70.0]), unit="mm[Hg]")
    row = with_exact(row_of(series), LIMIT, series, [(0.0, 3.0)], [])
    assert row.area == pytest.approx(5 / 60)
    assert row.exact_outside_s == pytest.approx(1.0)
    assert row.exact_area == pytest.approx(2.5 / 60)
    assert row.note.startswith(
        "each second's value held until the next; by straight lines between them 0.02 min"
    )


def test_it_is_not_told_where_it_does_not_matter():
    ramp = from_values(0.0, np.r_[np.linspace(80, 50, 600), np.linspace(50, 80, 600)], unit="mm[Hg]")
    row = with_exact(row_of(ramp), LIMIT, ramp, [(0.0, 1200.0)], [])
    assert row.exact_outside_s == pytest.approx(row.outside_s, rel=0.01)
    assert row.note == ""
