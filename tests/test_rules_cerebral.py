"""Saturations of the brain against their definitions (catalogue E19, E20) and truth.csv of the invented case."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.finds import find_in
from afterclamp.annotate.view import View
from afterclamp.sample_traces import tables
from bypass_case import FACTS, box, bypass, found, hides_all, looked, shifted
from hypothesis import given
from hypothesis import strategies as st
from trend_case import demo_view, minutes

LEFT, RIGHT = "left_cerebral_saturation", "right_cerebral_saturation"
FALL = {LEFT: box(600, 780, 44, 61, ramp=40)}
APART = {LEFT: box(600, 780, 49, 61, ramp=40)}


def awake(view: View) -> View:
    # The window of the invented case's own sheet: 2:00 to 4:00, 61 % on both sides by its description.
    return replace(view, facts=replace(view.facts, cerebral_baseline_s=(minutes("2:00"), minutes("4:00"))))


@pytest.mark.parametrize("code", ["E19", "E20"])
def test_the_planted_ones_of_the_invented_case_are_found_at_their_times(code: str) -> None:
    view = awake(demo_view())
    rows = [row for row in tables.truth() if row.code == code and "near miss" not in row.label]
    finds = find_in(view.with_phases(phases.propose(view))).of(code)
    assert len(finds) == len(rows)
    left = list(finds)
    for row in rows:
        hit = next(one for one in left if abs(one.start_s - row.start_s) <= row.onset_tolerance_s)
        left.remove(hit)


# -- E19 -------------------------------------------------------------------------------------------


def test_a_fall_under_eighty_per_cent_is_found_with_its_times_and_area() -> None:
    (find,) = found("E19", bypass(**FALL))
    # 80 % of 61 is 48.8: crossed at 600 + 40 · 12.2/17 = 628.7 s, back at 780 + 40 · 4.8/17 = 791.3 s.
    assert find.start_s == pytest.approx(629, abs=2)
    assert find.end_s == pytest.approx(791, abs=3)
    assert find.channels == (LEFT,)
    assert find.evidence["nadir"] == pytest.approx(44)
    # 140 s at 4.8 below and two ramps of 11.3 s: 4.8 · (140 + 11.3)/60 = 12.1 %·min (hand-worked).
    assert find.evidence["area_beyond"] == pytest.approx(12.1, abs=0.2)
    assert find.evidence["other_side"] == "61 %"


def test_the_near_miss_at_51_per_cent_stays_silent() -> None:
    # truth.csv: "51 % stays above 48.8 %: must not fire".
    assert found("E19", bypass(**{LEFT: box(600, 720, 51, 61, ramp=40)})) == ()


def test_exactly_eighty_per_cent_is_not_under_it() -> None:
    view = bypass(**{LEFT: box(600, 720, 48.0, 60.0), RIGHT: 60.0})
    assert found("E19", view) == ()


@pytest.mark.parametrize(("seconds", "hits"), [(25, 0), (40, 1)])
def test_thirty_seconds_are_needed(seconds: int, hits: int) -> None:
    assert len(found("E19", bypass(**{LEFT: box(600, 600 + seconds, 44, 61)}))) == hits


def test_the_absolute_level_is_looked_for_only_where_asked() -> None:
    low = bypass(**{LEFT: box(600, 700, 48, 55), RIGHT: 55.0})  # 87 % of its baseline, under 50
    assert found("E19", low) == ()
    (find,) = found("E19", low, absolute_too=1)
    assert find.subtype == "b"
    assert find.evidence["limit"] == 50


def test_without_a_baseline_or_a_saturation_that_is_said() -> None:
    bare = bypass(facts=replace(FACTS, cerebral_baseline_s=None), **FALL)
    finds = looked("E19", bare)
    assert finds.finds == ()
    assert finds.not_looked_for == tuple(
        f"E19 not looked for on the {side}: no awake baseline on the case sheet" for side in ("left", "right")
    )
    assert looked("E19", bypass(without=(LEFT, RIGHT))).not_looked_for == (
        "E19 not looked for: no cerebral saturation",
    )


@pytest.mark.parametrize(("gone", "side"), [(LEFT, "left"), (RIGHT, "right")])
def test_a_side_that_was_not_recorded_is_said(gone: str, side: str) -> None:
    assert looked("E19", bypass(without=(gone,))).not_looked_for == (
        f"E19 not looked for on the {side}: no cerebral saturation of that side",
    )


def test_a_step_is_told_as_a_pad_that_may_have_been_moved() -> None:
    (slow,) = found("E19", bypass(**FALL))
    (sudden,) = found("E19", bypass(**{LEFT: box(600, 780, 44, 61)}))
    assert "it fell slowly" in slow.evidence["alternatives"][0]["why_not"]
    assert "it may be" in sudden.evidence["alternatives"][0]["why_not"]


# -- E20 -------------------------------------------------------------------------------------------


def test_a_side_that_lies_ten_points_lower_is_found() -> None:
    (find,) = found("E20", bypass(**APART))
    # 12 points apart: 10 are reached at 600 + 40 · 10/12 = 633.3 s and left at 780 + 40 · 2/12 = 786.7 s.
    assert find.start_s == pytest.approx(633, abs=2)
    assert find.end_s == pytest.approx(787, abs=2)
    assert find.evidence["lower_side"] == "left"
    assert find.channels == (LEFT, RIGHT)


@pytest.mark.parametrize(
    ("low", "seconds", "hits"), [(51.0, 100, 1), (51.5, 100, 0), (45.0, 55, 0), (45.0, 65, 1)]
)
def test_ten_points_count_and_sixty_seconds_are_needed(low: float, seconds: int, hits: int) -> None:
    # "abs(R-L) >= 10 points ... >= 60 s"
    assert len(found("E20", bypass(**{LEFT: box(600, 600 + seconds, low, 61)}))) == hits


def test_a_difference_that_was_there_awake_is_none_and_one_that_grew_is() -> None:
    assert found("E20", bypass(**{LEFT: 50.0})) == ()
    assert len(found("E20", bypass(**{LEFT: box(600, 780, 44, 50)}))) == 1  # 11 awake, 17 then
    # From 8 points one way to 3 the other: never 10 apart, but a change by 11.
    assert len(found("E20", bypass(**{LEFT: box(600, 780, 64, 53)}))) == 1


def test_with_one_side_alone_it_is_not_looked_for() -> None:
    finds = looked("E20", bypass(without=(RIGHT,)))
    assert finds.not_looked_for == ("E20 not looked for: no cerebral saturation of both sides",)


# -- what holds for both ---------------------------------------------------------------------------


def test_masked_seconds_alone_make_no_find() -> None:
    mask = np.zeros(1800, dtype=np.bool_)
    mask[590:830] = True
    for code, lines in (("E19", FALL), ("E20", APART)):
        assert found(code, bypass(masked={LEFT: mask}, **lines)) == ()
        assert found(code, hides_all(bypass(**lines), LEFT)) == ()


@given(st.integers(1, 900))
def test_a_shift_of_the_record_shifts_every_find(by: int) -> None:
    for code, lines in (("E19", FALL), ("E20", APART)):
        before, after = found(code, bypass(**lines)), found(code, shifted(bypass(**lines), by))
        assert [(one.start_s + by, one.end_s + by) for one in before] == [
            (one.start_s, one.end_s) for one in after
        ]
