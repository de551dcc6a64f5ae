"""Ticks: round, labelled, never touching; looks: every line and word has the contrast that it needs."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest
from afterclamp.replay.strips import theme
from afterclamp.replay.strips.axis import FROM_START, TimeText, time_ticks, value_ticks, write_value
from afterclamp.replay.strips.theme import DARK, PAPER, contrast, plain_unit
from hypothesis import given
from hypothesis import strategies as st

CLOCK = TimeText(zero_of_day=7 * 3600 + 42 * 60)
ROUND = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30)


def _width(label: str) -> float:
    return 7.0 * len(label)


def test_times_read_as_minutes_from_the_start() -> None:
    assert FROM_START.write(131 * 60 + 18) == "131:18"
    assert FROM_START.write(59.96, 1) == "1:00.0"
    assert FROM_START.write(-30.5, 1) == "-0:30.5"


def test_times_read_as_the_reference_clock_said_them() -> None:
    # The demo case starts at 07:42:00; minute 131.3 is 09:53:18 by the same clock.
    assert CLOCK.write(131.3 * 60) == "09:53:18"
    assert CLOCK.write(17 * 3600) == "00:42:00"


@given(
    start=st.floats(-1e5, 1e5),
    length=st.floats(0.3, 2e5),
    width=st.floats(60, 4000),
    text=st.sampled_from([FROM_START, CLOCK]),
)
def test_labels_of_the_time_axis_never_touch(
    start: float, length: float, width: float, text: TimeText
) -> None:
    ticks = time_ticks(start, start + length, width, _width, text)
    for (t, label), (later, following) in pairwise(ticks.labelled):
        room = (later - t) * width / length - (_width(label) + _width(following)) / 2
        assert room >= 4
    assert all(start - 1e-6 <= t <= start + length + 1e-6 for t, _ in ticks.labelled)


@given(start=st.floats(0, 3e4), length=st.floats(0.3, 3e4), text=st.sampled_from([FROM_START, CLOCK]))
def test_a_wide_axis_has_several_labels_at_round_times(start: float, length: float, text: TimeText) -> None:
    ticks = time_ticks(start, start + length, 1400, _width, text)
    assert 3 <= len(ticks.labelled) <= 1 + 1400 / (_width("0:00") + 14)
    minutes = ticks.step / 60
    assert (
        any(abs(ticks.step - step) < 1e-9 for step in ROUND)
        or minutes in (1, 2, 5, 10, 15, 30)
        or minutes % 60 == 0
    )
    zero = text.zero_of_day or 0.0
    for t, label in ticks.labelled:
        assert (t + zero) / ticks.step == pytest.approx(round((t + zero) / ticks.step), abs=1e-6)
        parts = [float(part) for part in label.replace("-", "").split(":")]
        seconds = parts[-1] + 60 * parts[-2] + (3600 * parts[0] if len(parts) == 3 else 0)
        assert seconds % 86400 == pytest.approx((t + zero) % 86400, abs=0.0006)


def test_small_ticks_stand_between_the_labelled_ones() -> None:
    ticks = time_ticks(0.0, 60.0, 700, _width, FROM_START)
    labelled = {t for t, _ in ticks.labelled}
    assert ticks.between
    assert not labelled & set(ticks.between)
    assert {round(b - a, 9) for a, b in pairwise(sorted(labelled | set(ticks.between)))} == {1.0}


def test_an_axis_without_length_has_no_ticks() -> None:
    assert time_ticks(5.0, 5.0, 700, _width, FROM_START).labelled == ()


@given(low=st.floats(-1e4, 1e4), size=st.floats(1e-2, 1e5), most=st.integers(2, 4))
def test_two_to_four_values_are_labelled(low: float, size: float, most: int) -> None:
    ticks = value_ticks(low, low + size, most)
    assert 2 <= len(ticks) <= most
    assert low - 1e-6 * size <= ticks[0] < ticks[-1] <= low + size * (1 + 1e-6)


def test_usual_ranges_get_the_values_one_expects() -> None:
    assert value_ticks(0, 160, 4) == (0, 50, 100, 150)
    assert value_ticks(20, 100, 4) == (25, 50, 75, 100)
    assert value_ticks(0, 6, 4) == (0, 2, 4, 6)
    assert write_value(-5.0) == "−5"


# WCAG 2.2: 1.4.11 non-text contrast 3:1, 1.4.3 contrast 4.5:1.
@pytest.mark.parametrize("look", [PAPER, DARK])
def test_lines_have_three_to_one_and_words_four_and_a_half_to_one(look: theme.Theme) -> None:
    published = (theme.BLACK, theme.ORANGE, theme.SKY, theme.GREEN, theme.BLUE, theme.VERMILION, theme.PURPLE)
    for colour in published:
        assert contrast(look.trace(colour), look.ground) >= 3.0
        assert contrast(look.words(look.trace(colour)), look.ground) >= 4.5
    assert len({look.trace(colour) for colour in published}) == len(published)
    for words in (look.ink, look.soft_ink):
        assert contrast(words, look.ground) >= 4.5
        assert contrast(words, look.margin) >= 4.5
    for bar in (look.phase, look.find):
        assert contrast(look.ink, bar) >= 4.5
    assert contrast(look.masked, look.ground) >= 3.0


def test_contrast_is_that_of_the_standard() -> None:
    # WCAG 2.2: black on white is 21:1; #767676 on white is the darkest grey often quoted as 4.54:1.
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.01)


def test_published_colours_stay_where_they_are_strong_enough() -> None:
    for colour in (theme.BLACK, theme.GREEN, theme.BLUE, theme.VERMILION):
        assert PAPER.trace(colour) == colour


def test_units_are_written_as_people_write_them() -> None:
    assert [plain_unit(u) for u in ("mm[Hg]", "Cel", "L/min", "%", "uV")] == [
        "mmHg",
        "°C",
        "L/min",
        "%",
        "µV",
    ]
    assert plain_unit("", "au") == "au"


def test_larger_type_is_larger() -> None:
    assert PAPER.larger(2).text == 24
    assert all(one != other for one, other in combinations((PAPER.ground, DARK.ground), 2))
