"""Figures with their denominators, on the invented case drawn from its keyframes without noise.

The expected numbers were computed from the same keyframes on a grid of one second when the case was
invented, apart from this program; they are printed in the table of expected figures of its description.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import numpy as np
import pytest
from afterclamp.annotate.derived import Derived
from afterclamp.annotate.figures import Figure, figures
from afterclamp.annotate.limits import LimitSet
from afterclamp.annotate.measures import OxygenConstants
from afterclamp.io.case import Case
from afterclamp.sample_traces import trend
from keyframe_case import LENGTH_S, keyframe_case, minutes, row


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    with keyframe_case(tmp_path_factory.mktemp("keyframes") / "case") as opened:
        yield opened


@pytest.fixture(scope="module")
def rows(case: Case) -> list[Figure]:
    return figures(case)


def test_pressure_below_65_after_bypass(rows):
    found = row(rows, "map-65-off-bypass", "post")
    assert found.outside_s / 60 == pytest.approx(4.7, abs=0.05)
    assert found.area == pytest.approx(39, rel=0.01)
    assert found.value == found.area
    assert found.unit == "mm[Hg].min"
    assert found.site == "femoral"
    assert found.limit_source == "Anesthesiology 2022;136:927-39"
    assert found.time_weighted_average == pytest.approx(found.area / (found.observed_s / 60))


def test_pressure_below_65_before_bypass(rows):
    assert row(rows, "map-65-off-bypass", "pre").outside_s / 60 == pytest.approx(1.6, abs=0.1)


def test_the_wrong_site_gives_other_minutes_and_the_figure_says_so(case, rows):
    wrong = row(figures(case, believe="left_radial"), "map-65-off-bypass", "post")
    assert wrong.site == "left_radial"
    assert wrong.outside_s / 60 == pytest.approx(34.0, abs=0.05)
    assert wrong.area == pytest.approx(239, rel=0.01)
    right = row(rows, "map-65-off-bypass", "post")
    assert "with left radial believed instead of femoral: 34.0 min" in right.note
    assert "instead of 4.7 min" in right.note


def test_another_site_is_told_where_only_one_of_the_two_crosses_the_limit(rows):
    # Over 80 on bypass: the femoral line never, the right radial, which over-reads on the side of the inflow by 4 mmHg
    # for each L/min, would (81 mmHg and more at full flow).
    high = row(rows, "map-80-on-bypass", "established")
    assert high.outside_s == 0
    assert "with right radial believed instead of femoral: " in high.note
    assert "instead of 0.0 min and 0 (of" in high.note


def test_pressure_below_50_on_bypass_leaves_out_arrests_and_low_flow(rows):
    found = row(rows, "map-50-on-bypass", "established")
    assert found.outside_s / 60 == pytest.approx(18.1, abs=0.1)
    assert found.observed_s / 60 == pytest.approx(184.9, abs=0.2)
    assert found.area == pytest.approx(109, rel=0.01)
    assert found.excluded_s > minutes("52:30")
    assert "arrests" in found.note
    told_apart = row(rows, "map-50-on-bypass", "lower_body_arrest", note="not judged")
    assert told_apart.observed_s == pytest.approx(minutes("52:30"), abs=3)


def test_without_the_exclusion_the_usual_mistake_is_shown_beside_it(rows):
    mistaken = row(rows, "map-50-on-bypass", "established", note="usual mistake")
    assert mistaken.area == pytest.approx(2328, rel=0.01)
    assert mistaken.excluded_s == 0


def test_oxygen_delivery_below_280_on_warm_full_flow(rows):
    found = row(rows, "do2i-280", "established")
    assert found.longest_run_s == pytest.approx(minutes("12:06"), abs=1)
    assert found.largest_single_area == pytest.approx(481, rel=0.01)
    assert found.area == pytest.approx(541, rel=0.01)  # all seconds: with the pump stop of 12 s
    assert found.unit == "mL/m2"
    # the stop of 12 s reaches nought; the stretch of 12:06 does not
    assert found.nadir == 0
    assert re.search(r"longest stretch 243:5\d to 255:5\d: 12\.1 min, 481 mL/m2, farthest 239 ", found.note)
    assert "1.34 mL/g" in found.note
    assert "Du Bois" in found.note
    assert any("J Extra Corpor Technol" in rival for rival in found.rivals)


def test_the_constants_of_oxygen_content_are_a_setting(case, rows, tmp_path):
    # From the keyframes' own haemoglobin and flow at 250 min (239 with 1.34): the bound part grows with the
    # capacity, the dissolved one stays (form in PMC7792239).
    path = tmp_path / "ours.toml"
    path.write_text(
        'name = "ours"\nversion = "1"\n[oxygen]\ncapacity = 1.39\nsolubility = 0.0031\nstatus = "U"\n'
        'source = "our unit"\n[[limit]]\nid = "do2i"\nmeasure = "oxygen_delivery_index"\nphase = "established"\n'
        'below = 280\nunit = "mL/min/m2"\nstatus = "U"\nsource = "our unit"\n'
    )
    ours = row(figures(case, limits=LimitSet.load(path)), "do2i", "established")
    published = row(rows, "do2i-280", "established")
    assert "constants 1.39 mL/g and 0.0031 mL/dL/mmHg (our unit)" in ours.note
    assert "constants 1.34 mL/g and 0.003 mL/dL/mmHg" in published.note
    assert ours.area < published.area
    at = [float(Derived(case, constants=one).oxygen_delivery_index.at(250 * 60.0))
          for one in (OxygenConstants(1.34, 0.003), OxygenConstants(1.39, 0.0031))]  # fmt: skip
    assert at[0] == pytest.approx(239, abs=2)
    dissolved = 3.6 / 1.84 * 10 * 0.003 * 220  # flow at 250 min, oxygen tension of the sheet
    assert at[1] == pytest.approx((at[0] - dissolved) * 1.39 / 1.34 + dissolved * 0.0031 / 0.003, rel=0.002)


def test_oxygen_delivery_at_the_three_times_of_the_table(case):
    delivery = Derived(case).oxygen_delivery_index
    for at_min, expected in ((110, 304), (210, 297), (250, 239)):
        assert delivery.at(at_min * 60.0) == pytest.approx(expected, abs=2)


def test_rows_of_one_limit_and_phase_are_told_apart(rows):
    told = [(one.limit_id, one.phase, one.site, one.part) for one in rows if one.limit_id]
    assert len(set(told)) == len(told)


def test_oxygen_delivery_while_cold_is_told_and_not_judged(rows):
    cold = row(rows, "do2i-280", "established", note="not judged")
    assert cold.outside_s / 60 == pytest.approx(21.1, abs=0.1)


@pytest.mark.parametrize(
    ("limit_id", "seconds", "extreme"),
    [
        ("cooling-gradient-10", "6:33", 11.6),
        ("warming-gradient-10", "3:34", 10.3),
        ("warming-gradient-4", "7:30", 6.4),
        ("outlet-37", "4:05", 37.6),
        ("cvp-15-on-bypass", "3:00", 24),
        ("line-pressure-300", "2:30", 345),
        ("reservoir-400", "0:43", 340),
        ("venous-saturation-65", "8:59", 60),
        ("side-difference-10", "7:05", 16),
        ("site-gradient-10", "19:25", 14),
        ("pulmonary-ratio-0-7", "1:59", None),
    ],
)
def test_time_outside_and_extreme(rows, limit_id, seconds, extreme):
    found = row(rows, limit_id)
    expected = minutes(seconds)
    assert found.outside_s == pytest.approx(expected, abs=max(1, 0.01 * expected))
    if extreme is not None:
        assert found.nadir == pytest.approx(extreme, abs=max(0.1, 0.002 * extreme))


def test_fastest_five_minutes_of_warming(rows):
    assert row(rows, "warming-rate-0-5").nadir == pytest.approx(0.67, abs=0.01)


def test_cerebral_saturation_below_80_of_baseline(rows):
    left = row(rows, "cerebral-80-of-baseline", site="left_cerebral_saturation")
    assert left.area == pytest.approx(11.3, abs=0.1)
    assert left.limit == pytest.approx(0.8 * 61, abs=0.05)
    assert "baseline of 61.0 %" in left.note
    right = row(rows, "cerebral-80-of-baseline", site="right_cerebral_saturation")
    assert "baseline of 61.0 %" in right.note


def test_seconds_of_every_figure_add_up_to_its_window(case, rows):
    # The whole record and the phases of the invented case: no numerator without its denominator.
    windows = {"record": 350 * 60, "pre": 3600, "post": 43 * 60, "established": 14285, "bypass": 14820}
    for one in rows:
        if one.value is not None and one.phase in windows:
            whole = one.observed_s + one.excluded_s + one.masked_s + one.missing_s
            assert whole == pytest.approx(windows[one.phase], abs=12), one.measure
            assert one.outside_s <= one.observed_s
            assert one.longest_run_s is None or one.longest_run_s <= one.outside_s
            assert 0 <= one.held_back_s <= one.outside_s


def test_every_limit_has_a_source_and_every_row_goes_to_json(rows):
    text = json.dumps([one.to_dict() for one in rows], allow_nan=False)
    for one in json.loads(text):
        assert {"measure", "phase", "value", "limit_source", "observed_s", "missing_s", "note"} <= one.keys()
        assert one["limit"] is None or one["limit_source"]


def test_without_facts_a_measure_says_what_is_missing(tmp_path):
    with keyframe_case(tmp_path / "case", sheet=False) as bare:
        found = figures(bare)
        assert row(found, "do2i-280").note == "not computed: no height and weight on the case sheet"
        left = row(found, "cerebral-80-of-baseline", site="left_cerebral_saturation")
        assert (left.value, left.note) == (None, "not computed: no oximetry baseline on the case sheet")
        assert row(found, "line-pressure-300").value is not None


def test_the_mean_of_each_pressure_wave_stands_at_the_end(case, rows):
    means = [one for one in rows if one.measure == "mean_pressure"]
    assert {one.site for one in means} == {"left_radial", "right_radial", "femoral", "cvp", "pa"}
    femoral = next(one for one in means if one.site == "femoral")
    t = np.arange(17 * 60, LENGTH_S) + 0.5
    assert femoral.value == pytest.approx(float(trend.trend("FEM", t).mean()), abs=0.1)


def test_a_view_of_the_past_counts_nothing_after_it_and_leaves_nothing_in_the_cache(case, rows):
    before = sorted((case.folder / "cache").iterdir())
    early = row(figures(case.until(20_000.0)), "map-65-off-bypass", "post")
    assert early.observed_s <= 20_000 - 18_400
    assert early.outside_s / 60 == pytest.approx(4.7, abs=0.05)
    assert before, "of the whole case what was computed is kept"
    assert sorted((case.folder / "cache").iterdir()) == before


def test_a_set_of_a_units_own_takes_the_place_of_the_built_in_ones(case, tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text(
        'name = "ours"\nversion = "3"\n[[limit]]\nid = "line"\nmeasure = "line_pressure"\nphase = "bypass"\n'
        'above = 250\nunit = "mm[Hg]"\nstatus = "U"\nsource = "our unit"\n'
    )
    found = [one for one in figures(case, limits=LimitSet.load(path)) if one.limit is not None]
    assert [(one.measure, one.limit, one.limit_source) for one in found] == [
        ("line_pressure", 250, "our unit")
    ]
    assert found[0].outside_s > minutes("2:30")
