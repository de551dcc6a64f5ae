"""What the heart does on bypass against its definitions (catalogue E06, E24, E25, E26)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.beats import Beats
from afterclamp.annotate.finds import find_in
from afterclamp.annotate.rules.arrhythmia import without_missed
from afterclamp.annotate.view import View
from afterclamp.sample_traces import tables
from bypass_case import LENGTH_S, box, bypass, found, hides_all, line, looked, phase, shifted
from hypothesis import given
from hypothesis import strategies as st
from trend_case import demo_view

LOST = box(600, 900, 0.5, 8.0)


def beats_of(intervals: np.ndarray, first: float = 0.0) -> Beats:
    """Beats of these intervals, one after another, of 70 over 60 mmHg."""
    onset = first + np.concatenate(([0.0], np.cumsum(intervals)[:-1]))
    level = np.ones(onset.size)
    return Beats(onset, onset + intervals, 70 * level, 60 * level, 64 * level, onset + 0.1, 200 * level)


def with_beats(view: View, *pieces: tuple[float, float, float]) -> View:
    """The same with beats of one second each; within a piece (start, end, spread) with intervals that spread."""
    rng = np.random.default_rng(5)
    times, at = [], 0.0
    while at < view.n - 3:
        spread = next((one[2] for one in pieces if one[0] <= at < one[1]), 0.01)
        times.append(float(np.clip(rng.normal(1.0, spread), 0.35, 2.2)))
        at += times[-1]
    return replace(view, beats={"femoral": beats_of(np.array(times))})


def quivering(view: View, start: int, end: int, ripple: float = 0.4) -> View:
    values = np.zeros(view.n)
    values[start:end] = ripple
    return replace(view, quiver={"femoral": values})


# -- E06 -------------------------------------------------------------------------------------------


def test_a_pulse_that_is_lost_is_found_until_it_is_back() -> None:
    (find,) = found("E06", bypass(pulse=LOST))
    assert find.start_s == pytest.approx(601, abs=2)
    assert find.end_s == pytest.approx(901, abs=2)
    assert find.evidence["before"] == 8.0
    assert find.evidence["during"] == 0.5
    assert find.site == "femoral"


def test_a_pulse_that_fades_is_dated_by_where_it_began_to_and_ends_likewise() -> None:
    # J4: the last second within 10 % of the whole change; 8 to 0 mmHg from 600 to 660 s passes 7.2 at 606 s.
    fading = [(0, 8), (600, 8), (660, 0), (900, 0), (960, 8), (1800, 8)]
    (find,) = found("E06", bypass(pulse=fading))
    assert find.start_s == pytest.approx(606, abs=3)
    assert find.end_s == pytest.approx(954, abs=3)
    # Under 2 mmHg from 645 s on, and 4 again at 930 s.
    assert find.evidence["crossings"] == pytest.approx([645, 930], abs=3)
    assert find.evidence["used_s"] == pytest.approx(348, abs=6)


@pytest.mark.parametrize(
    ("pulse", "hits"),
    [
        (box(600, 900, 2.0, 8.0), 0),  # "PP < 2": exactly 2 is none
        (box(600, 900, 1.9, 8.0), 1),
        (box(600, 900, 0.5, 3.9), 0),  # "after PP >= 4"
        (box(600, 900, 0.5, 4.0), 1),
        (box(600, 606, 0.5, 8.0), 0),  # ten seconds are needed
        (box(600, 612, 0.5, 8.0), 1),
    ],
)
def test_points_at_the_edges_of_the_definition(pulse: list, hits: int) -> None:
    assert len(found("E06", bypass(pulse=pulse))) == hits


def test_at_less_than_half_the_planned_flow_nothing_is_said() -> None:
    # 2.1 of 4.4 L/min: 48 %.
    assert found("E06", bypass(pulse=LOST, pump_flow=2.1)) == ()
    assert len(found("E06", bypass(pulse=LOST, pump_flow=2.3))) == 1


def test_what_noise_leaves_of_a_pulse_does_not_end_it_and_one_beat_of_a_starting_pump_neither() -> None:
    pulse = line(LOST)
    pulse[650:670], pulse[700:706] = 2.5, 9.0
    assert len(found("E06", bypass(pulse=pulse))) == 1


def test_masked_minutes_do_not_end_it_and_are_counted() -> None:
    mask = np.zeros(LENGTH_S, dtype=np.bool_)
    mask[700:760] = True
    (find,) = found("E06", bypass(pulse=LOST, masked={"femoral": mask}))
    assert (find.evidence["used_s"], find.evidence["masked_s"]) == pytest.approx((240, 60), abs=3)


def test_an_arrest_is_no_loss_of_ejection() -> None:
    assert found("E06", bypass(pulse=LOST, phases=[phase("no_flow_arrest", 595, 905)])) == ()


# -- E24 -------------------------------------------------------------------------------------------

REFLOW = (phase("clamp", 100, 500),)


def test_ripple_without_ejection_is_a_candidate_for_fibrillation() -> None:
    view = quivering(bypass(pulse=LOST, phases=REFLOW), 600, 900)
    (find,) = found("E24", view)
    assert find.name.startswith("fibrillation on reperfusion (candidate)")
    assert find.start_s == pytest.approx(600, abs=12)
    assert find.end_s == pytest.approx(900, abs=12)


@pytest.mark.parametrize(
    ("ripple", "pulse", "hits"),
    [
        (0.4, 8.0, 0),  # it ejects
        (0.24, LOST, 0),  # under 0.25 mmHg: this project's choice
        (0.25, LOST, 1),
    ],
)
def test_near_misses_of_fibrillation(ripple: float, pulse: object, hits: int) -> None:
    view = quivering(bypass(pulse=pulse, phases=REFLOW), 600, 900, ripple)  # type: ignore[arg-type]
    assert len(found("E24", view)) == hits


def test_before_the_clamp_comes_off_it_is_not_looked_for() -> None:
    view = quivering(bypass(pulse=LOST, phases=[phase("clamp", 100, 1700)]), 600, 900)
    assert found("E24", view) == ()


def test_irregular_beats_are_found_and_what_follows_is_told() -> None:
    view = with_beats(bypass(phases=REFLOW), (700, 900, 0.3))
    (find,) = found("E24", view)
    assert find.name == "irregular beats on reperfusion"
    assert find.start_s == pytest.approx(700, abs=20)
    assert find.end_s == pytest.approx(900, abs=20)
    # The beats after it spread by 1 %: under the 2 % of paced ones.
    assert find.evidence["ends_with"].startswith("very regular beats")


def test_a_spread_of_under_a_fifth_is_none_nor_is_a_short_one() -> None:
    assert found("E24", with_beats(bypass(phases=REFLOW), (700, 900, 0.1))) == ()
    assert found("E24", with_beats(bypass(phases=REFLOW), (700, 712, 0.3))) == ()


def test_weak_beats_that_were_not_seen_and_split_ones_are_no_irregularity() -> None:
    intervals = np.full(1700, 1.0)
    intervals[700:900:5] = 2.0  # every fifth missed
    intervals[1000:1200:10], intervals[1001:1200:10] = (
        0.4,
        0.6,
    )  # every ninth split by noise: they spread by 20.5 %
    view = replace(bypass(phases=REFLOW), beats={"femoral": beats_of(intervals[:1700])})
    assert found("E24", view) == ()


@given(st.lists(st.floats(0.5, 1.5), min_size=1, max_size=60))
def test_folding_missed_beats_never_lengthens_an_interval(lengths: list[float]) -> None:
    told = without_missed(np.array(lengths))
    assert np.all(told <= np.array(lengths) + 1e-12)
    assert np.all(told >= np.array(lengths) / 3 - 1e-12)


def test_what_it_cannot_ask_is_said() -> None:
    bare = looked("E24", bypass(phases=REFLOW)).not_looked_for
    assert any("by its ripple" in text for text in bare)
    assert any("by irregular beats" in text for text in bare)
    assert looked("E24", bypass()).not_looked_for == (
        "E24 not looked for: nothing says when the clamp came off",
    )


# -- E25 -------------------------------------------------------------------------------------------

FULL = {"pa": box(600, 780, 24, 10), "pulse": 0.5}


def test_a_pulmonary_pressure_that_rises_while_nothing_is_ejected_is_found() -> None:
    (find,) = found("E25", bypass(**FULL))
    assert find.start_s == pytest.approx(601, abs=4)
    assert find.end_s == pytest.approx(781, abs=5)
    assert find.evidence["peak"] == 24
    assert find.evidence["limit"] == 20
    assert find.evidence["pulse_mmhg"] == 0.5


@pytest.mark.parametrize(
    ("lines", "hits"),
    [
        ({"pa": box(600, 780, 20, 12), "pulse": 0.5}, 1),  # "PA mean >= 20"
        ({"pa": box(600, 780, 19, 12), "pulse": 0.5}, 0),
        ({"pa": box(600, 780, 18, 8), "pulse": 0.5}, 1),  # "or up >= 10 in 3 min"
        ({"pa": box(600, 780, 17.5, 8), "pulse": 0.5}, 0),
        ({"pa": box(600, 650, 24, 10), "pulse": 0.5}, 0),  # "for >= 60 s"
        ({"pa": box(600, 780, 24, 10), "pulse": 4.0}, 0),  # "not ejecting (PP < 4)"
        ({"pa": box(600, 780, 24, 10), "pulse": 3.9}, 1),
    ],
)
def test_points_at_the_edges_of_distension(lines: dict, hits: int) -> None:
    assert len(found("E25", bypass(**lines))) == hits


def test_a_rise_under_the_level_is_held_against_its_own_limit() -> None:
    (find,) = found("E25", bypass(pa=box(600, 780, 18, 7), pulse=0.5))
    assert find.evidence["limit"] == 17  # 7 and 10


def test_without_a_pulmonary_pressure_it_is_not_looked_for() -> None:
    assert looked("E25", bypass(without=("pa",))).not_looked_for == (
        "E25 not looked for: no pulmonary artery pressure",
    )


# -- E26 -------------------------------------------------------------------------------------------


def test_weaning_and_off_are_told_at_the_phases_times() -> None:
    rows = [row for row in tables.truth() if row.code == "E26"]
    view = demo_view(seed=31)
    finds = find_in(view.with_phases(phases.propose(view))).of("E26")
    assert [one.subtype for one in finds] == ["weaning", "off"]
    for find, row in zip(finds, rows, strict=True):
        assert abs(find.start_s - row.start_s) <= row.onset_tolerance_s
        assert "ejection_from_s" in find.evidence


def test_a_return_to_bypass_is_told_and_a_record_that_ends_on_it_is_no_off() -> None:
    view = bypass()
    first = phase("bypass", 100, 600)
    second = phase("bypass", 1000, 1500, index=1)
    second = replace(second, end=replace(second.end, recorded=False))
    finds = found("E26", replace(view, phases=(first, second)))
    assert [(one.subtype, one.start_s) for one in finds] == [("off", 600), ("return", 1000)]


# -- what holds for several ------------------------------------------------------------------------


@pytest.mark.parametrize("code", ["E06", "E24", "E25", "E26"])
def test_without_a_pump_flow_none_is_looked_for(code: str) -> None:
    (said,) = looked(code, bypass(without=("pump_flow",))).not_looked_for
    assert "no pump flow" in said


def test_masked_seconds_alone_make_no_find() -> None:
    for code, lines in (("E06", {"pulse": LOST}), ("E25", FULL)):
        assert found(code, hides_all(bypass(**lines), "femoral", "left_radial")) == ()
    assert found("E25", hides_all(bypass(**FULL), "pa")) == ()


@given(st.integers(1, 900))
def test_a_shift_of_the_record_shifts_every_find(by: int) -> None:
    for code, view in (
        ("E06", bypass(pulse=LOST)),
        ("E24", quivering(bypass(pulse=LOST, phases=REFLOW), 600, 900)),
        ("E25", bypass(**FULL)),
    ):
        before, after = found(code, view), found(code, shifted(view, by))
        assert [(one.start_s + by, one.end_s + by) for one in before] == [
            (one.start_s, one.end_s) for one in after
        ]
