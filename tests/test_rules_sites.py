"""Arterial sites against each other (catalogue E22) and truth.csv of the invented case."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.finds import find_in
from afterclamp.sample_traces import tables
from bypass_case import FACTS, LENGTH_S, box, bypass, found, hides_all, looked, phase, shifted
from hypothesis import given
from hypothesis import strategies as st
from trend_case import demo_view

UNDER = {"femoral": 74.0, "left_radial": box(600, 1200, 60, 72)}
FED = replace(FACTS, inflow_site="axillary", inflow_side="right")
JET = {"right_radial": box(600, 900, 79, 62)}


def test_the_planted_ones_of_the_invented_case_are_found_at_their_times() -> None:
    view = demo_view()
    finds = find_in(view.with_phases(phases.propose(view))).of("E22")
    for code in ("E22a", "E22b"):
        rows = [row for row in tables.truth() if row.code == code]
        own = [one for one in finds if one.code + one.subtype == code]
        assert len(own) == len(rows)
        for find, row in zip(own, rows, strict=True):
            assert abs(find.start_s - row.start_s) <= row.onset_tolerance_s
            assert abs(find.end_s - row.end_s) <= row.onset_tolerance_s
    # "must be labelled inflow side (E22b), not malperfusion"
    assert {one.evidence["told_as"] for one in finds if one.subtype == "b"} == {"inflow side"}


# -- a: femoral over radial -------------------------------------------------------------------------


def test_a_radial_that_reads_low_for_ten_minutes_is_found() -> None:
    (find,) = found("E22", bypass(**UNDER))
    assert find.subtype == "a"
    assert find.start_s == pytest.approx(601, abs=8)
    assert find.end_s == pytest.approx(1201, abs=8)
    assert find.evidence["during"] == pytest.approx(14)
    assert find.channels == ("femoral", "left_radial")


@pytest.mark.parametrize(
    ("radial", "seconds", "hits"), [(64.0, 600, 1), (64.1, 600, 0), (60.0, 285, 0), (60.0, 315, 1)]
)
def test_ten_of_mean_count_and_five_minutes_are_needed(radial: float, seconds: int, hits: int) -> None:
    # "femoral - radial >= 25 mmHg systolic or >= 10 mmHg mean for >= 5 min": PubMed 26599795.
    view = bypass(femoral=74.0, left_radial=box(600, 600 + seconds, radial, 72))
    assert len(found("E22", view)) == hits


def test_a_systolic_difference_counts_as_well() -> None:
    view = bypass(femoral=74.0, left_radial=72.0)
    # Means 2 apart; pulses of 60 and 20: 2 + 0.58 · 40 = 25.2 mmHg.
    wide = {"femoral": np.full(LENGTH_S, 60.0), "left_radial": np.full(LENGTH_S, 20.0)}
    (find,) = found("E22", replace(view, pulse=wide))
    assert find.evidence["systolic_difference_mmhg"] == 25
    narrower = {**wide, "left_radial": np.full(LENGTH_S, 21.0)}
    assert found("E22", replace(view, pulse=narrower)) == ()


def test_the_arm_that_the_pump_feeds_is_not_asked() -> None:
    view = bypass(facts=replace(FED, inflow_side="left"), **UNDER)
    finds = looked("E22", view)
    assert finds.finds == ()
    assert (
        "E22a not looked for: no radial pressure of an arm that the pump does not feed"
        in finds.not_looked_for
    )


def test_before_any_bypass_nothing_is_said() -> None:
    view = replace(bypass(**UNDER), phases=())
    assert found("E22", view) == ()


# -- b: arm over arm ---------------------------------------------------------------------------------


def test_one_arm_over_the_other_is_told_as_inflow_side_only_where_it_is() -> None:
    view = bypass(**JET)
    (find,) = found("E22", view)
    assert (find.subtype, find.evidence["told_as"]) == ("b", "not explained by the inflow")
    assert find.start_s == pytest.approx(601, abs=3)
    assert find.end_s == pytest.approx(901, abs=3)
    # J4 wants the site and a correlation of over 0.7: with a steady flow there is none to show.
    (find,) = found("E22", replace(view, facts=FED))
    assert find.evidence["told_as"] == "inflow side, not shown: the flow did not change"
    assert find.evidence["with_flow"] is None
    (find,) = found("E22", bypass(facts=FED, pump_flow=box(600, 900, 4.4, 2.0), **JET))
    assert find.evidence["told_as"] == "inflow side"
    (find,) = found("E22", replace(view, facts=replace(FED, inflow_side="left")))
    assert find.evidence["told_as"] == "not explained by the inflow"


def test_an_arm_that_another_line_stands_over_is_not_the_inflow_side() -> None:
    # The vignette "which arm" (job.md 6.8): inflow by the leg, femoral 131, right arm 55, left 24 mmHg, with the flow.
    fed_by_the_leg = {
        "femoral": box(600, 700, 131, 62),
        "right_radial": box(600, 700, 55, 62),
        "left_radial": box(600, 700, 24, 61),
        "pump_flow": box(600, 700, 4.4, 2.0),
    }
    told = [one.evidence for one in found("E22", bypass(facts=FED, **fed_by_the_leg)) if one.subtype == "b"]
    assert [one["told_as"] for one in told] == ["not explained by the inflow"]
    assert told[0]["with_flow"] > 0.7


def test_a_femoral_line_with_a_side_is_a_femoral_line_and_the_believed_one_comes_first() -> None:
    view = bypass(without=("femoral",), right_radial=62.0, left_radial=UNDER["left_radial"])
    sided = replace(
        view,
        values={
            **view.values,
            "right_femoral": np.full(LENGTH_S, 74.0),
            "left_femoral": np.full(LENGTH_S, 62.0),
        },
        arterial=(*view.arterial, "left_femoral", "right_femoral"),
    )
    (find,) = [one for one in found("E22", replace(sided, believed="right_femoral")) if one.subtype == "a"]
    assert (find.channels, find.site) == (("right_femoral", "left_radial"), "right_femoral")
    assert not any("femoral" in line for line in looked("E22", sided).not_looked_for)
    # By the left one, at 62 mmHg, the arm lies 2 mmHg lower.
    by_left = found("E22", replace(sided, believed="left_femoral"))
    assert [one for one in by_left if one.subtype == "a"] == []


def test_a_difference_that_runs_against_the_flow_is_not_the_inflow_s() -> None:
    # "difference correlates with flow (r > 0.7)"
    with_it = bypass(facts=FED, pump_flow=box(600, 900, 4.4, 2.0), **JET)
    against = bypass(facts=FED, pump_flow=box(600, 900, 2.0, 4.4), **JET)
    assert found("E22", with_it)[0].evidence["told_as"] == "inflow side"
    assert found("E22", with_it)[0].evidence["with_flow"] > 0.9
    assert found("E22", against)[0].evidence["told_as"] == "not explained by the inflow"


@pytest.mark.parametrize(
    ("high", "seconds", "hits"), [(71.0, 120, 1), (70.5, 120, 0), (79.0, 55, 0), (79.0, 65, 1)]
)
def test_ten_count_and_a_minute_is_needed(high: float, seconds: int, hits: int) -> None:
    assert len(found("E22", bypass(right_radial=box(600, 600 + seconds, high, 62)))) == hits


@pytest.mark.parametrize(("gap", "finds"), [(28, 1), (36, 2)])
def test_gaps_of_up_to_half_a_minute_are_closed(gap: int, finds: int) -> None:
    arm = np.full(LENGTH_S, 62.0)
    arm[600:900] = 79.0
    arm[700 : 700 + gap] = 62.0
    assert len(found("E22", bypass(right_radial=arm))) == finds


def test_in_brain_perfusion_and_arrests_the_arms_may_differ() -> None:
    for name in ("selective_cerebral", "no_flow_arrest", "lower_body_arrest"):
        assert found("E22", bypass(phases=[phase(name, 590, 910)], **JET)) == ()


# -- what holds for both ----------------------------------------------------------------------------


def test_what_is_missing_is_said() -> None:
    assert looked("E22", bypass(without=("left_radial",))).not_looked_for == (
        "E22 not looked for: no two arterial sites side by side",
    )
    assert looked("E22", bypass()).not_looked_for == ("E22b not looked for: no radial pressure of both arms",)
    assert looked("E22", bypass(without=("femoral",), right_radial=62.0)).not_looked_for == (
        "E22a not looked for: no femoral pressure",
    )


def test_masked_seconds_alone_make_no_find() -> None:
    assert found("E22", hides_all(bypass(**UNDER), "left_radial")) == ()
    assert found("E22", hides_all(bypass(**JET), "right_radial")) == ()


@given(st.integers(1, 900))
def test_a_shift_of_the_record_shifts_every_find(by: int) -> None:
    for lines in (UNDER, JET):
        before, after = found("E22", bypass(**lines)), found("E22", shifted(bypass(**lines), by))
        assert [(one.start_s + by, one.end_s + by) for one in before] == [
            (one.start_s, one.end_s) for one in after
        ]
