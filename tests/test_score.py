"""The scorer, on examples worked by hand and against published and library values."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate.score import (
    Count,
    Stretch,
    added,
    boundary_offsets,
    brier,
    curve,
    match,
    overall,
    overlap,
    recall_bounds,
    score,
)
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest


def at(start: float, length: float = 60.0, code: str = "E13", **more: object) -> Stretch:
    return Stretch(code, start, start + length, **more)  # type: ignore[arg-type]


def point(start: float, tolerance_s: float = 15.0) -> Stretch:
    return Stretch("E23", start, start, tolerance_s)


# -- matching --------------------------------------------------------------------------------------


def test_greedy_matching_would_lose_one() -> None:
    # True at 100 and 110, found at 108 and 122. The nearest pair is 110 with 108; then 100 and 122 are 22 apart, and
    # one is lost. Matched as 100 with 108 and 110 with 122 none is.
    true, seen = [point(100), point(110)], [point(108), point(122)]
    assert sorted(match(true, seen)) == [(0, 0), (1, 1)]
    assert score(true, seen)["E23"].hits == 2


def test_of_as_many_pairs_those_with_the_smallest_differences_are_taken() -> None:
    true, seen = [point(100), point(110)], [point(101), point(111)]
    assert sorted(match(true, seen)) == [(0, 0), (1, 1)]
    assert score(true, seen)["E23"].onset_s == (1.0, 1.0)


def test_one_find_never_counts_twice() -> None:
    counted = score([point(100), point(104)], [point(102)])["E23"]
    assert (counted.hits, counted.misses, counted.false) == (1, 1, 0)
    counted = score([point(100)], [point(98), point(102)])["E23"]
    assert (counted.hits, counted.misses, counted.false) == (1, 0, 1)


@pytest.mark.parametrize(("late", "hits"), [(15.0, 1), (15.1, 0)])
def test_the_tolerance_of_the_true_event_holds(late: float, hits: int) -> None:
    assert score([point(100)], [point(100 + late)])["E23"].hits == hits


def test_a_long_one_that_mostly_overlaps_matches_whatever_its_onset() -> None:
    # 100 s of 200 s that either covers: exactly one half.
    assert overlap(at(0, 150), at(50, 150)) == 0.5
    assert score([at(0, 150)], [at(50, 150)])["E13"].hits == 1
    assert score([at(0, 150)], [at(51, 150)])["E13"].hits == 0
    assert overlap(point(5), point(5)) == 0.0
    assert overlap(at(0), at(60)) == 0.0


def test_classes_do_not_match_each_other() -> None:
    counts = score([at(100, code="E13")], [at(100, code="E01")])
    assert (counts["E13"].misses, counts["E01"].false) == (1, 1)
    assert list(counts) == ["E01", "E13"]


# -- either way ------------------------------------------------------------------------------------


def test_what_may_be_found_or_not_is_neither_a_miss_nor_false() -> None:
    maybe = at(100, either_way=True)
    assert score([maybe], [])["E13"] == Count()
    assert score([maybe], [at(101)])["E13"] == Count()


def test_it_gives_way_to_what_must_be_found() -> None:
    # Found at 104: nearer to the one that may be found (103), but the one that must be (100) has to have it.
    counted = score([at(103, either_way=True), at(100)], [at(104)])["E13"]
    assert (counted.hits, counted.misses, counted.false) == (1, 0, 0)


def test_two_finds_within_one_such_stretch_are_no_mistake() -> None:
    counted = score([at(100, 400, either_way=True)], [at(110, 30), at(300, 30), at(900)])["E13"]
    assert (counted.hits, counted.false) == (0, 1)


# -- numbers ---------------------------------------------------------------------------------------


def test_recall_precision_and_f1_of_a_worked_example() -> None:
    # 8 of 10 found, 2 false: recall 0.8, precision 0.8, F1 = 2 · 8/(2 · 8 + 2 + 2) = 0.8.
    count = Count(8, 2, 2)
    assert (count.planted, count.recall, count.precision, count.f1) == (10, 0.8, 0.8, 0.8)
    assert np.isnan([Count().recall, Count().precision, Count().f1]).all()
    assert Count(0, 0, 3).precision == 0.0


def test_counts_of_cases_add_up() -> None:
    first, second = score([at(0)], [at(2)]), score([at(0), at(500)], [at(1), at(900)])
    total = added([first, second])["E13"]
    assert (total.hits, total.misses, total.false) == (2, 1, 1)
    assert total.onset_s == (2.0, 1.0)
    assert overall({"a": total, "b": Count(1, 0, 0)}).hits == 3


def test_the_curve_rises_with_the_tolerance() -> None:
    true = [point(0), point(1000), point(2000), point(3000)]
    seen = [point(1), point(1004), point(2012), point(3100)]
    told = curve([(true, seen)], (2, 5, 10, 15, 30, 60))
    assert [count.hits for count in told.values()] == [1, 2, 2, 3, 3, 3]


@given(
    st.lists(st.floats(0, 1000), max_size=8), st.lists(st.floats(0, 1000), max_size=8), st.integers(0, 1000)
)
def test_every_find_and_every_true_one_is_counted_once_in_whatever_order(
    true: list[float], seen: list[float], seed: int
) -> None:
    rng = np.random.default_rng(seed)
    known, found = [point(t) for t in true], [point(t) for t in seen]
    count = overall(score(known, found))
    assert count.hits + count.misses == len(known)
    assert count.hits + count.false == len(found)
    again = overall(
        score(
            [known[i] for i in rng.permutation(len(known))], [found[i] for i in rng.permutation(len(found))]
        )
    )
    assert again.hits == count.hits


@pytest.mark.parametrize(
    ("hits", "misses", "low", "high"),
    [
        # Newcombe RG, Stat Med 1998;17:857-72, table I, Clopper-Pearson (from memory): 81/263,
        # 15/148, 0/20, 1/29.
        (81, 182, 0.2527, 0.3676),
        (15, 133, 0.0578, 0.1617),
        (0, 20, 0.0, 0.1684),
        (1, 28, 0.0009, 0.1776),
    ],
)
def test_bounds_are_clopper_and_pearson_s(hits: int, misses: int, low: float, high: float) -> None:
    assert recall_bounds(Count(hits, misses)) == pytest.approx((low, high), abs=0.0001)
    exact = binomtest(hits, hits + misses).proportion_ci(0.9, "exact")
    assert recall_bounds(Count(hits, misses), 0.9) == pytest.approx((exact.low, exact.high))


def test_bounds_of_all_found() -> None:
    # All of 20: the lower bound is 0.025 to the power of 1/20.
    assert recall_bounds(Count(20, 0)) == pytest.approx((0.025 ** (1 / 20), 1.0))


def test_brier_is_the_mean_square_of_what_was_wrong() -> None:
    # (0.1² + 0.4² + 0.2²)/3 = 0.07; a coin that is always called 0.5 gives 0.25.
    assert brier([0.9, 0.6, 0.2], [True, True, False]) == pytest.approx(0.07)
    assert brier([0.5, 0.5], [True, False]) == 0.25
    assert brier([1.0, 0.0], [True, False]) == 0.0


def test_boundary_differences_are_summed_up() -> None:
    told = boundary_offsets([-2.0, 0.0, 1.0, 3.0, 8.0])
    assert (told.count, told.median_s, told.low_s, told.high_s, told.bias_s) == (5, 1.0, 0.0, 3.0, 2.0)
    assert boundary_offsets([]).count == 0
    assert np.isnan(boundary_offsets([]).median_s)
