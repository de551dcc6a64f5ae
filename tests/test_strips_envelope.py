"""Pixels of a strip: which rows each column covers, what joins and what doesn't."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.replay.strips.envelope import (
    Columns,
    Grain,
    TimeScale,
    ValueScale,
    columns_of,
    edge,
    flagged_runs,
    joined,
    patterned,
    runs_of_samples,
    solid,
    steps_of,
    thickened,
    wash,
)
from hypothesis import given
from hypothesis import strategies as st

NAN = np.nan
ONE, TWO = Grain(), Grain.of_screen(2.0)
INK, GROUND = "#0072B2", "#FCFCFA"


def _columns(lo: list[float], hi: list[float], rows: int = 11) -> Columns:
    return columns_of(np.array(lo, np.float32), np.array(hi, np.float32), ValueScale(0.0, 10.0, rows))


def _blank(grain: Grain, rows: int, columns: int) -> np.ndarray:  # type: ignore[type-arg]
    pixels = np.empty(rows * columns * grain.dots, np.uint32)
    picture = grain.room(pixels, rows, columns)
    picture[:] = grain.ink(GROUND)
    return picture


def _device(picture: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    return picture.view(np.uint32)


def test_the_highest_value_is_the_top_row() -> None:
    columns = _columns([0, 2, 5], [10, 4, 5])
    assert columns.top.tolist() == [0, 6, 5]
    assert columns.bottom.tolist() == [10, 8, 5]


def test_values_beyond_the_range_are_drawn_at_its_edge() -> None:
    columns = _columns([-50, 20], [300, 30])
    assert columns.top.tolist() == [0, 0]
    assert columns.bottom.tolist() == [10, 0]


def test_a_column_touches_the_one_before_but_never_over_a_gap() -> None:
    columns = joined(_columns([0, 8, NAN, 0], [2, 10, NAN, 2]))
    assert (columns.top[1], columns.bottom[1]) == (0, 8)  # reaches down to the row where the first one ends
    assert (columns.top[3], columns.bottom[3]) == (8, 10)
    assert columns.seen.tolist() == [True, True, False, True]


@pytest.mark.parametrize("grain", [ONE, TWO])
def test_solid_sets_exactly_the_rows_of_each_column(grain: Grain) -> None:
    picture = _blank(grain, 11, 3)
    solid(picture, _columns([0, 2, NAN], [10, 4, NAN]), grain.ink(INK))
    covered = picture == grain.ink(INK)
    assert covered[:, 0].all()
    assert np.flatnonzero(covered[:, 1]).tolist() == [6, 7, 8]
    assert not covered[:, 2].any()
    assert (picture[~covered] == grain.ink(GROUND)).all()


@given(
    lo=st.lists(st.one_of(st.just(NAN), st.floats(-2, 12)), min_size=1, max_size=40),
    rows=st.integers(2, 150),
    size=st.floats(0, 9),
    dots=st.sampled_from([1.0, 2.0]),
)
def test_solid_and_wash_agree_with_one_pixel_at_a_time(
    lo: list[float], rows: int, size: float, dots: float
) -> None:
    grain = Grain.of_screen(dots)
    columns = _columns(lo, [value + size for value in lo], rows)
    expected = np.zeros((rows, len(lo)), bool)
    for number, value in enumerate(lo):
        if not np.isnan(value):
            expected[columns.top[number] : columns.bottom[number] + 1, number] = True
    picture = _blank(grain, rows, len(lo))
    solid(picture, columns, grain.ink(INK))
    assert np.array_equal(picture == grain.ink(INK), expected)
    washed = _blank(grain, rows, len(lo))
    wash(washed, columns, grain.element(0x203010), lighten=False)
    below = np.uint32(0xFF000000 | 0xFCFCFA - 0x203010)
    assert np.array_equal(_device(washed) == below, np.repeat(expected, grain.dots, axis=1))


@pytest.mark.parametrize("grain", [ONE, TWO])
def test_washes_that_overlap_add_up(grain: Grain) -> None:
    picture = _blank(grain, 11, 2)
    wash(picture, _columns([0, 0], [5, 5]), grain.element(0x101010), lighten=False)
    wash(picture, _columns([4, 4], [10, 10]), grain.element(0x200000), lighten=False)
    assert (_device(picture)[5] == 0xFFFCFCFA - 0x301010).all()
    assert (_device(picture)[10] == 0xFFFCFCFA - 0x101010).all()


@given(
    at=st.lists(st.one_of(st.none(), st.integers(0, 39)), min_size=2, max_size=60), pixels=st.integers(1, 3)
)
def test_an_edge_is_one_connected_line_where_neighbours_are_seen(at: list[int | None], pixels: int) -> None:
    seen = np.array([row is not None for row in at])
    rows = np.array([row or 0 for row in at], np.int32)
    picture = _blank(ONE, 42, len(at))
    edge(picture, rows, seen, seen, pixels, ONE.ink(INK))
    drawn = picture == ONE.ink(INK)
    for column in range(len(at)):
        own = np.flatnonzero(drawn[:, column])
        if not seen[column]:
            assert not len(own)
            continue
        assert rows[column] in own
        assert np.array_equal(own, np.arange(own[0], own[-1] + 1))
        if column and seen[column - 1]:
            before = set(np.flatnonzero(drawn[:, column - 1]).tolist())
            near = {row + step for row in before for step in (-1, 0, 1)}
            assert near & set(own.tolist())


def test_breaks_of_a_pattern_stand_still_in_time() -> None:
    columns = _columns([5.0] * 60, [5.0] * 60)
    here = patterned(columns, "dash", 1000, 1.0, None).seen
    further = patterned(columns, "dash", 1007, 1.0, None).seen
    assert np.array_equal(here[7:], further[:-7])
    assert 0 < here.sum() < 60


def test_an_excursion_in_a_break_is_drawn_all_the_same() -> None:
    lo, hi = [5.0] * 60, [5.0] * 60
    breaks = ~patterned(_columns(lo, hi), "dash", 0, 1.0, None).seen
    flush = int(np.flatnonzero(breaks)[0])
    hi[flush] = 10.0
    assert patterned(_columns(lo, hi), "dash", 0, 1.0, always=4).seen[flush]


def test_a_thin_line_is_as_thick_as_asked_and_stays_in_the_strip() -> None:
    columns = thickened(_columns([5.0, 0.0, NAN], [5.0, 0.0, NAN]), 3, 11)
    assert (columns.bottom - columns.top).tolist()[0] == 2
    assert columns.bottom.tolist()[1] == 10
    assert columns.bottom.tolist()[2] == -1


@given(
    start=st.floats(-1e4, 3e4),
    length=st.floats(0.5, 3e4),
    columns=st.integers(50, 4000),
    share=st.floats(0, 0.999),
)
def test_middle_and_column_are_inverse(start: float, length: float, columns: int, share: float) -> None:
    scale = TimeScale.of(start, start + length, columns)
    number = int(share * columns)
    assert scale.column(scale.middle(number)) == number
    assert abs(scale.start - start) <= scale.second_per_column * 1.001


@given(start=st.floats(0, 3e4), shift=st.integers(-500, 500))
def test_sliding_the_window_moves_the_grid_by_whole_columns(start: float, shift: int) -> None:
    width = 30.0 / 1400
    one, other = (
        TimeScale.of(start, start + 30, 1400),
        TimeScale.of(start + shift * width, start + shift * width + 30, 1400),
    )
    assert abs(other.first - one.first - shift) <= 1
    assert other.second_per_column == pytest.approx(one.second_per_column, rel=1e-9)


def test_a_step_of_more_than_two_intervals_is_a_gap() -> None:
    t = np.array([0.0, 1.0, 3.0, 5.5, 6.5, 7.5])
    values = np.array([1.0, 1.0, 1.0, 1.0, NAN, 1.0])
    assert runs_of_samples(t, values, 1.0) == [slice(0, 3), slice(3, 4), slice(5, 6)]
    assert runs_of_samples(t, np.full(6, NAN), 1.0) == []
    assert runs_of_samples(t[:0], t[:0], 1.0) == []


def test_a_step_line_holds_each_value_until_the_next() -> None:
    x, y = steps_of(np.array([0.0, 1.0, 2.0]), np.array([5.0, 7.0, 6.0]))
    assert x.tolist() == [0.0, 1.0, 1.0, 2.0, 2.0]
    assert y.tolist() == [5.0, 5.0, 7.0, 7.0, 6.0]


def test_runs_of_flags() -> None:
    assert flagged_runs(np.array([True, False, True, True])) == [(0, 1), (2, 4)]
    assert flagged_runs(np.zeros(3, bool)) == []
