"""Temperature gradients and a fast rewarming against the guideline of references.md item 4.4.

Engelman et al., Ann Thorac Surg 2015;100:748-57: outlet against venous at most 10 °C while cooling; while warming
at most 10 °C with the outlet under 30 °C, at most 4 °C and 0.5 °C/min with the outlet at 30 °C or more.
"""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.finds import find_in
from afterclamp.sample_traces import tables
from bypass_case import LENGTH_S, box, bypass, found, hides_all, looked, phase, shifted
from hypothesis import given
from hypothesis import strategies as st
from trend_case import demo_view

OUTLET, VENOUS, CORE = "outlet_temperature", "venous_temperature", "nasopharyngeal_temperature"


@pytest.mark.parametrize("seed", [None, 31])
def test_the_planted_ones_of_the_invented_case_are_found_at_their_times(seed: int | None) -> None:
    view = demo_view(seed=seed)
    finds = find_in(view.with_phases(phases.propose(view)))
    for code in ("E14a", "E14b", "E14c", "E15"):
        row = next(row for row in tables.truth() if row.code == code)
        (find,) = [one for one in finds.of(code[:3]) if one.code + one.subtype == code]
        assert abs(find.start_s - row.start_s) <= row.onset_tolerance_s
        assert abs(find.end_s - row.end_s) <= row.onset_tolerance_s
    peaks = {one.subtype: one.evidence["peak"] for one in finds.of("E14")}
    assert peaks == pytest.approx({"a": 11.6, "b": 10.3, "c": 6.4}, abs=0.2)  # the figures of its description


def gradient(outlet: float, venous: float, seconds: int = 120, **more: float) -> list[str]:
    lines = {OUTLET: np.full(LENGTH_S, 36.0), VENOUS: np.full(LENGTH_S, 36.0)}
    lines[OUTLET][600 : 600 + seconds] = outlet
    lines[VENOUS][600 : 600 + seconds] = venous
    return [one.subtype for one in found("E14", bypass(**{**lines, **more}))]


@pytest.mark.parametrize(
    ("outlet", "venous", "kinds"),
    [
        (20.0, 30.0, []),  # exactly 10.0 does not exceed
        (20.0, 30.1, ["a"]),
        (29.9, 19.9, []),  # 29.9 goes by the 10 °C rule
        (29.9, 19.8, ["b"]),
        (29.9, 25.0, []),
        (30.0, 25.9, ["c"]),  # 30.0 goes by the 4 °C rule
        (30.0, 26.0, []),  # exactly 4.0 does not exceed
        (36.0, 31.9, ["c"]),
    ],
)
def test_points_at_the_guideline_s_edges(outlet: float, venous: float, kinds: list[str]) -> None:
    # The surroundings are 36.0 both; 15 s of averaging at either edge can make no run of 60 s.
    assert gradient(outlet, venous) == kinds
    assert gradient(float(np.float32(outlet)), float(np.float32(venous))) == kinds


@pytest.mark.parametrize(("seconds", "kinds"), [(50, []), (75, ["c"])])
def test_sixty_seconds_are_needed(seconds: int, kinds: list[str]) -> None:
    assert gradient(36.0, 30.0, seconds) == kinds


def test_a_venous_probe_in_standing_blood_says_nothing() -> None:
    assert gradient(36.0, 30.0, pump_flow=0.9) == []


def test_its_times_and_area_are_told() -> None:
    (find,) = found("E14", bypass(venous_temperature=box(600, 900, 30, 36)))
    assert find.start_s == pytest.approx(601, abs=8)
    assert find.end_s == pytest.approx(900, abs=8)
    # 2 °C over 4 for five minutes, and the two edges.
    assert find.evidence["area_beyond"] == pytest.approx(10, abs=0.5)


def test_probes_taken_for_each_other_show_against_the_core() -> None:
    cooled = bypass(venous_temperature=36.0, outlet_temperature=box(600, 900, 20, 36),
                    nasopharyngeal_temperature=[(0, 36), (600, 36), (900, 33), (1800, 33)])  # fmt: skip
    warmed = bypass(venous_temperature=36.0, outlet_temperature=box(600, 900, 20, 36),
                    nasopharyngeal_temperature=[(0, 30), (600, 30), (900, 33), (1800, 33)])  # fmt: skip
    words = [found("E14", view)[0].evidence["alternatives"][1]["why_not"] for view in (cooled, warmed)]
    assert "fell by" in words[0]
    assert "towards the outlet" in words[0]
    assert words[1].startswith("it may be")


@pytest.mark.parametrize(
    ("missing", "words"), [(OUTLET, "no outlet temperature"), (VENOUS, "no venous temperature")]
)
def test_without_a_probe_the_gradient_is_not_looked_for(missing: str, words: str) -> None:
    assert looked("E14", bypass(without=(missing,))).not_looked_for == (f"E14 not looked for: {words}",)


# -- E15 -------------------------------------------------------------------------------------------


def warming(per_min: float, seconds: int = 600, channel: str = CORE) -> dict[str, list[tuple[float, float]]]:
    top = 31 + per_min * seconds / 60
    return {channel: [(0, 31), (600, 31), (600 + seconds, top), (LENGTH_S, top)]}


def test_a_fast_core_is_found() -> None:
    (find,) = found("E15", bypass(**warming(0.7)))
    assert find.channels == (CORE,)
    assert find.evidence["peak"] == pytest.approx(0.7, abs=0.01)
    # The slope of the five minutes around a second passes 0.5 of 0.7 within them, on either side.
    assert 600 - 150 < find.start_s < 600 + 150
    assert 1200 - 150 < find.end_s < 1200 + 150


@pytest.mark.parametrize(("per_min", "hits"), [(0.5, 0), (0.55, 1)])
def test_exactly_half_a_degree_a_minute_does_not_exceed(per_min: float, hits: int) -> None:
    assert len(found("E15", bypass(**warming(per_min, 900)))) == hits


@pytest.mark.parametrize(("outlet", "hits"), [(29.9, 0), (30.0, 1)])
def test_only_a_warm_outlet_counts(outlet: float, hits: int) -> None:
    assert len(found("E15", bypass(outlet_temperature=outlet, **warming(0.7)))) == hits


def test_the_minutes_after_an_arrest_are_left_out() -> None:
    # Reflow: the first three minutes. A rise that is over by then is none.
    quick = warming(0.9, 150)
    assert len(found("E15", bypass(**quick))) == 1
    assert found("E15", bypass(phases=[phase("no_flow_arrest", 300, 620)], **quick)) == ()


def test_an_outlet_that_rises_fast_while_warm_is_found_without_a_core() -> None:
    (find,) = found("E15", bypass(without=(CORE,), **warming(0.7, channel=OUTLET)))
    assert find.channels == (OUTLET,)


def test_without_a_core_that_branch_is_said_not_to_be_asked() -> None:
    assert looked("E15", bypass(without=(CORE,))).not_looked_for == (
        "E15 not looked for by the core temperature: no core temperature",
    )
    assert looked("E15", bypass()).not_looked_for == ()


def test_without_an_outlet_it_is_not_looked_for() -> None:
    assert looked("E15", bypass(without=(OUTLET,))).not_looked_for == (
        "E15 not looked for: no outlet temperature",
    )


# -- what holds for both ---------------------------------------------------------------------------


def test_masked_seconds_alone_make_no_find() -> None:
    assert found("E14", hides_all(bypass(venous_temperature=box(600, 900, 30, 36)), VENOUS)) == ()
    assert found("E15", hides_all(bypass(**warming(0.7)), CORE)) == ()


@given(st.integers(1, 900))
def test_a_shift_of_the_record_shifts_every_find(by: int) -> None:
    for code, lines in (("E14", {VENOUS: box(600, 900, 30, 36)}), ("E15", warming(0.7))):
        before, after = found(code, bypass(**lines)), found(code, shifted(bypass(**lines), by))
        assert [(one.start_s + by, one.end_s + by) for one in before] == [
            (one.start_s, one.end_s) for one in after
        ]
