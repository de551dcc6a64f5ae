"""Counting seconds of artefact: each second counts once, where it belongs. All figures by hand."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.sample_traces.tables import Truth
from afterclamp.sample_traces.variations import vary
from scoring import covered, marked_now, score
from variation_case import variation_case


def row(code: str, start: float, end: float, *channels: str, label: str = "") -> Truth:
    return Truth(code, label, start, end, channels, "", 0.0, "")


def flags(count: int, *spans: tuple[int, int]) -> np.ndarray:
    out = np.zeros(count, bool)
    for start, end in spans:
        out[start:end] = True
    return out


def counted(marked: np.ndarray, *truth: Truth, recorded: np.ndarray | None = None, start_s: float = 0.0):
    there = np.ones(marked.size, bool) if recorded is None else recorded
    return score({"left_radial": marked}, {"left_radial": there}, truth, start_s=start_s)


def test_seconds_count_where_at_least_half_of_them_is_covered():
    assert covered(1.5, 3.2, 5).tolist() == pytest.approx([0, 0.5, 1, 0.2, 0])
    found = counted(flags(20), row("A1", 10.5, 13.4, "LRAD"))
    assert found.planted == {"A1": 3}  # 10, 11 and 12


def test_planted_marked_beside_and_clean_seconds():
    found = counted(flags(40, (5, 6), (12, 15), (18, 19)), row("A1", 10, 16, "LRAD"))
    assert (found.planted["A1"], found.marked["A1"]) == (6, 3)
    # 40 less six planted, less two on either side; of the marked ones 18 lies clean, and 5 too
    assert (found.clean.total(), found.clean_marked.total()) == (30, 2)
    assert found.share_marked() == 0.5
    assert found.share_of_clean() == pytest.approx(2 / 30)


def test_events_are_clean_seconds_and_are_counted_by_class():
    found = counted(
        flags(60, (30, 32)), row("E02", 28, 40, "LRAD"), row("E17", 34, 44, "PP"), row("A2", 42, 43, "LRAD")
    )
    assert (found.event["E02"], found.event_marked["E02"]) == (12, 2)
    # PP stands for every artery; 40 to 44 lie beside or in the flush
    assert (found.event["E17"], found.event_marked["E17"]) == (6, 0)
    assert found.share_of_events("E02") == pytest.approx(2 / 12)
    assert found.clean_marked.total() == 2


def test_a_near_miss_is_no_artefact_but_what_must_not_be_taken_for_one():
    found = counted(flags(60, (20, 25)), row("A7", 20, 30, "LRAD", label="none (near miss): table tilted"))
    assert not found.planted
    assert (found.event["not A7"], found.event_marked["not A7"]) == (10, 5)
    assert found.clean.total() == 60


def test_what_is_not_recorded_is_clean_only_by_mistake():
    found = counted(flags(20, (0, 5)), recorded=~flags(20, (0, 5)))
    assert (found.clean.total(), found.clean_marked.total()) == (15, 0)
    missing = counted(flags(20, (5, 9)), row("A9", 5, 9, "LRAD"), recorded=~flags(20, (5, 9)))
    assert (missing.planted["A9"], missing.marked["A9"]) == (4, 4)


def test_rows_of_other_channels_and_clocks_say_nothing():
    found = counted(flags(20), row("A1", 5, 9, "FEM"), row("C", 5, 9, "LRAD"), row("E23", 5, 9, "ANNOT"))
    assert not found.planted
    assert not found.event
    assert found.clean.total() == 20


def test_two_artefacts_at_the_same_second_count_once():
    found = counted(flags(20, (5, 9)), row("A3", 5, 9, "LRAD"), row("A2", 8, 9, "LRAD"))
    assert (found.planted.total(), found.marked.total()) == (4, 4)


def test_seconds_are_counted_from_the_first_of_the_grid():
    found = counted(flags(20, (5, 9)), row("A1", 1005, 1009, "LRAD"), start_s=1000.0)
    assert (found.planted["A1"], found.marked["A1"]) == (4, 4)


def test_cases_add_up():
    first = counted(flags(20, (5, 9)), row("A1", 5, 9, "LRAD"))
    first.add(counted(flags(20), row("A1", 5, 9, "LRAD"), row("A2", 15, 17, "LRAD")))
    assert (first.planted["A1"], first.marked["A1"], first.planted["A2"]) == (8, 4, 2)
    assert first.share_marked("A1") == 0.5
    assert any(line.split() == ["A1-A9", "10", "4", "40.0", "%"] for line in first.lines())


def test_a_variation_is_told_on_its_own_channels(tmp_path):
    made = next(made for made in map(vary, range(50)) if any(one.label == "zero" for one in made.truth))
    with variation_case(tmp_path / "case", made) as case:
        marked, recorded, start_s = marked_now(case)
    second = "femoral" if "FEM" in made.waves else "right_radial"
    assert set(marked) == {"left_radial", second, "cvp", "pa", "pump_flow"}
    assert {array.size for array in (*marked.values(), *recorded.values())} == {made.seconds}
    found = score(marked, recorded, made.truth, start_s=start_s)
    # Openings to air are found today: the planted seconds lie where the case has them.
    assert found.share_marked("A1") > 0.9
