"""Artefacts A1, A2 and A9: each shape is found where it is, and what looks like it is not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.beats import beats
from afterclamp.annotate.finds import find as find_all
from afterclamp.annotate.measures import mean_arterial_pressure
from afterclamp.annotate.parameter import numbers_of
from afterclamp.annotate.quality import (
    artefacts,
    clean_waves,
    compared,
    frozen_rows,
    frozen_wave,
    gaps_between,
    masked_seconds,
    off_scale,
    seconds_state,
)
from afterclamp.annotate.rules import by_code
from afterclamp.annotate.series import MASKED, MISSING, OBSERVED
from afterclamp.annotate.view import View
from afterclamp.annotate.wave_artefacts import (
    all_fell,
    beatless,
    device_patterns,
    fast_flushes,
    open_to_air,
)
from afterclamp.io.case import Case
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from afterclamp.sample_traces import truth
from numpy.typing import NDArray
from recordings import case_of, even, recording

FloatArray = NDArray[np.float64]
RATE = 100.0


def pulse(
    length_s: float, *, mean: float = 75, size: float = 45, noise: float = 0.7, seed: int = 0
) -> FloatArray:
    """A wave of 80 beats a minute with noise."""
    t = np.arange(int(length_s * RATE)) / RATE
    phase = (t * 80 / 60) % 1
    beat = np.where(phase < 0.15, np.sin(np.pi / 2 * phase / 0.15), np.exp(-(phase - 0.15) / 0.35))
    rng = np.random.default_rng(seed)
    return mean + size * (beat - 0.45) + noise * rng.standard_normal(t.size)


def laid(wave: FloatArray, start_s: float, piece: FloatArray | float, length_s: float) -> FloatArray:
    """The wave with a piece laid over it."""
    out = wave.copy()
    out[int(start_s * RATE) : int((start_s + length_s) * RATE)] = piece
    return out


def still(length_s: float, level: float, sd: float = 0.5) -> FloatArray:
    return level + sd * np.random.default_rng(9).standard_normal(int(length_s * RATE))


# -- A1 --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("length_s", [4, 20, 58])
@pytest.mark.parametrize("level", [-2.0, 0.0, 2.0])
def test_an_opening_to_air_is_found_with_both_ends(length_s, level):
    wave = laid(pulse(120), 30, still(length_s, level), length_s)
    [found] = open_to_air(wave, RATE, t0=1000.0)
    assert found.code == "A1"
    assert found.start == pytest.approx(1030, abs=0.3)
    assert found.end == pytest.approx(1030 + length_s, abs=0.3)
    assert found.evidence["level_mmhg"] == pytest.approx(level, abs=0.3)


def test_the_start_is_put_back_to_where_the_fall_began():
    wave = pulse(120)
    fall = np.linspace(54, 0, int(1.5 * RATE))
    wave = laid(laid(wave, 28.5, fall, 1.5), 30, still(20, 0.0), 20)
    [found] = open_to_air(wave, RATE)
    assert 28.4 <= found.start <= 28.8


def test_a_level_before_the_zero_key_belongs_to_the_same_opening():
    wave = laid(laid(pulse(120), 30, still(4, 7.5, 0.3), 4), 34, still(15, 0.0, 0.3), 15)
    [found] = open_to_air(wave, RATE)
    assert found.start == pytest.approx(30, abs=0.3)
    assert found.end == pytest.approx(49, abs=0.3)


@pytest.mark.parametrize("length_s", [1.5, 2.5])
def test_shorter_than_three_seconds_is_no_opening(length_s):
    assert not open_to_air(laid(pulse(120), 30, still(length_s, 0.0), length_s), RATE)


def test_longer_than_a_minute_is_a_sensor_off_and_no_zeroing():
    [found] = open_to_air(laid(pulse(300), 30, still(120, 0.0), 120), RATE)
    assert found.code == "A9"


def test_a_record_that_ends_or_begins_open_is_told_so():
    [first] = open_to_air(laid(pulse(60), 0, still(20, 0.0), 20), RATE)
    assert "record began" in first.evidence["reason"]
    [last] = open_to_air(laid(pulse(60), 40, still(20, 0.0), 20), RATE)
    assert "record ended" in last.evidence["reason"]


def test_an_arrest_is_no_opening_to_air():
    # The pressure runs down over 30 s to 5-15 mmHg: what tells an arrest from an open tap.
    fall = 7 + 60 * np.exp(-np.arange(40 * RATE) / (8 * RATE))
    wave = np.concatenate([pulse(60), fall + still(40, 0.0, 0.7), still(300, 7.0, 0.7), pulse(60)])
    assert not open_to_air(wave, RATE)


def test_a_slow_fall_to_zero_is_no_opening():
    fall = 70 * np.exp(-np.arange(30 * RATE) / (6 * RATE))
    wave = np.concatenate([pulse(60), fall + still(30, 0.0), still(30, 0.0), pulse(60)])
    assert not open_to_air(wave, RATE)


def test_where_every_other_site_loses_its_pressure_too_it_is_the_patient():
    assert all_fell([(80.0, 40.0)])
    assert not all_fell([(80.0, 40.0), (80.0, 70.0)])
    # A site without pressure before, or without a record, says nothing.
    assert not all_fell([(5.0, 0.0), (float("nan"), 3.0), (-600.0, -600.0)])
    assert not all_fell([])


# -- A2 --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("top", [200.0, 300.0])
@pytest.mark.parametrize("length_s", [0.6, 2.0, 9.0])
def test_a_flush_is_found_with_both_ends(top, length_s):
    [found] = fast_flushes(laid(pulse(60), 20, still(length_s, top), length_s), RATE, t0=500.0)
    assert (found.code, found.evidence["clipped"]) == ("A2", False)
    assert found.start == pytest.approx(520, abs=0.3)
    assert found.end == pytest.approx(520 + length_s, abs=0.1)


def test_a_clipped_flush_is_found_and_said_to_be_clipped():
    [found] = fast_flushes(laid(pulse(60), 20, 270.0, 2.0), RATE)
    assert found.evidence["clipped"]
    assert found.evidence["plateau_mmhg"] == 270


def test_two_flushes_are_two():
    wave = laid(laid(pulse(60), 20, 300.0, 2.0), 26, 300.0, 2.0)
    assert [round(one.start) for one in fast_flushes(wave, RATE)] == [20, 26]


def test_a_pressure_surge_with_beats_on_it_is_no_flush():
    wave = laid(pulse(120), 30, pulse(60, mean=200, size=60), 60)
    assert not fast_flushes(wave, RATE)


def test_tall_slow_beats_are_no_flushes():
    t = np.arange(0, 60, 0.01)
    phase = (t * 30 / 60) % 1
    wave = 70 + 190 * np.where(phase < 0.3, np.sin(np.pi * phase / 0.3), 0.0)
    assert not fast_flushes(wave, RATE)


def test_a_pressure_that_stays_high_is_no_flush():
    assert not fast_flushes(laid(pulse(120), 30, still(40, 300.0), 40), RATE)


def test_a_valve_that_is_held_open_for_15_seconds_is_one_flush_from_its_first_moment():
    # Longer than the 10 s of common practice: no circulation brings it up by 200 mmHg at once and holds it there.
    [found] = fast_flushes(laid(pulse(120), 30, still(15, 300.0), 15), RATE)
    assert (found.code, found.start, found.end) == (
        "A2",
        pytest.approx(30, abs=0.2),
        pytest.approx(45, abs=0.2),
    )
    assert "held open" in found.evidence["reason"]


def test_a_flush_that_ends_a_closed_tap_says_for_how_long_it_was_still():
    wave = laid(laid(pulse(120), 50, still(30, 85.0), 30), 80, 300.0, 2.0)
    [found] = fast_flushes(wave, RATE)
    assert found.evidence["still_before_s"] == pytest.approx(30, abs=1)
    [plain] = fast_flushes(laid(pulse(60), 20, 300.0, 2.0), RATE)
    assert plain.evidence["still_before_s"] == 0


# -- A9 --------------------------------------------------------------------------------------------


def test_a_pattern_of_the_device_is_no_pressure():
    square = np.where(np.arange(3000) // 4 % 2, 24.0, -24.0)
    [found] = device_patterns(np.concatenate([square, pulse(30)]), RATE, t0=10.0)
    assert (found.code, found.start, found.end) == ("A9", 10.0, 40.0)


def test_long_runs_at_the_lowest_value_are_off_scale():
    wave = laid(pulse(60), 10, -600.0, 20)
    off = off_scale(wave, RATE, -600.0, float(wave.max()))
    assert off.sum() == 2000
    assert not off_scale(laid(pulse(60), 10, -600.0, 1.0), RATE, -600.0, 200.0).any()


def test_a_clipped_flush_is_not_off_scale_but_ten_seconds_at_the_top_are():
    assert not off_scale(laid(pulse(60), 10, 270.0, 3.0), RATE, 0.0, 270.0).any()
    assert off_scale(laid(pulse(60), 10, 270.0, 12.0), RATE, 0.0, 270.0).any()


def test_a_repeated_value_on_a_wave_is_frozen():
    assert frozen_wave(laid(pulse(60), 10, 81.25, 1.5), RATE, 100.0) == [(110.0, 111.5)]
    assert frozen_wave(laid(pulse(60), 10, 81.25, 0.8), RATE) == []


def test_a_coarse_converter_that_stands_for_a_second_is_not_frozen():
    coarse = np.round(laid(pulse(60), 10, 8.0, 3.0))
    assert frozen_wave(coarse, RATE) == []


def test_ten_equal_values_on_a_noisy_row_are_frozen():
    rng = np.random.default_rng(7)
    values = np.round(60 + rng.standard_normal(2000), 2)
    values[500:512] = values[500]
    t = np.arange(2000.0)
    assert frozen_rows(t, values, 1.0) == [(500.0, 512.0)]


@pytest.mark.parametrize("rows", [3_600, 40_000])
@pytest.mark.parametrize("seed", range(5))
def test_ten_equal_whole_numbers_are_frozen_in_noise_of_three_however_long_the_record(seed, rows):
    # Seven values, each as often: ten in a row by chance once in 7 ** 9 = 40 million rows.
    values = 60.0 + np.random.default_rng(seed).integers(-3, 4, rows)
    values[1000:1010], values[999], values[1010] = 61.0, 60.0, 60.0
    assert frozen_rows(np.arange(float(rows)), values, 1.0) == [(1000.0, 1010.0)]
    values[1009] = 60.0  # nine are not enough
    assert frozen_rows(np.arange(float(rows)), values, 1.0) == []


def test_where_more_rows_repeat_a_run_must_be_longer():
    # Three values, each as often: ten in a row come by chance, 3 ** 9 = 19,683; twenty hardly, 3 ** 19 = 10 ** 9.
    values = 60.0 + np.random.default_rng(4).integers(-1, 2, 20_000)
    values[1000:1010], values[3000:3020] = 60.0, 60.0
    [(start, end)] = frozen_rows(np.arange(20_000.0), values, 1.0)
    assert (start, end) == (pytest.approx(3000, abs=3), pytest.approx(3020, abs=3))


@pytest.mark.parametrize("step", [0.1, 1.0])
def test_a_rounded_drift_is_not_frozen(step):
    drift = np.round(np.linspace(36.5, 20.0, 3000) / step) * step
    assert frozen_rows(np.arange(3000.0), drift, 1.0) == []


def test_a_rounded_saturation_is_not_frozen():
    rng = np.random.default_rng(1)
    percent = np.round(62 + 0.8 * rng.standard_normal(4200))
    assert frozen_rows(np.arange(4200.0) * 5, percent, 5.0) == []


def test_a_pump_that_stands_is_not_frozen():
    rng = np.random.default_rng(1)
    flow = np.round(np.where(np.arange(4000) < 2000, 4.4 + 0.02 * rng.standard_normal(4000), 0.0), 2)
    assert frozen_rows(np.arange(4000.0), flow, 1.0) == []


def test_gaps_lie_between_spans_whatever_their_order():
    assert gaps_between([(20, 30), (0, 10), (5, 12)], 2.0) == [(12, 20)]
    assert gaps_between([(0, 10), (11, 20)], 2.0) == []


# -- what leads into and out of an artefact --------------------------------------------------------


@pytest.mark.parametrize(("length_s", "found_s"), [(0.3, 0.0), (0.9, 0.9), (2.8, 2.8), (5.0, 0.0)])
@pytest.mark.parametrize("forwards", [True, False])
def test_a_rise_that_no_beat_makes_is_a_ramp(length_s, found_s, forwards):
    beats_80 = pulse(10, noise=0.0)
    beats_80 = beats_80[: int(9.75 * RATE)]  # ends on the upper edge of a beat
    ramp = np.linspace(70, 160, int(length_s * RATE))
    wave = np.r_[ramp, pulse(10, noise=0.0)] if forwards else np.r_[beats_80, ramp][::-1]
    assert beatless(wave, RATE, outward=1 if forwards else -1) == pytest.approx(found_s, abs=0.3)


@pytest.mark.parametrize("rate_per_min", [35, 60, 80, 140])
def test_the_last_beat_before_an_artefact_is_no_ramp(rate_per_min):
    # The longest diastole here is 1.7 s, at 35 a minute.
    t = np.arange(1200) / RATE
    phase = (t * rate_per_min / 60) % 1
    beat = np.where(phase < 0.1, np.sin(np.pi / 2 * phase / 0.1), np.exp(-(phase - 0.1) / 0.4))
    wave = 55 + 60 * beat
    for end in range(600, 800, 7):
        assert beatless(wave[:end][::-1], RATE) == 0
        assert beatless(wave[end:], RATE, outward=1) == 0


def test_a_pressure_without_a_pulse_is_no_ramp():
    flat = 58 + 0.5 * np.sin(2 * np.pi * 2.2 * np.arange(2000) / RATE)
    assert beatless(flat, RATE) == beatless(flat, RATE, outward=1) == 0
    assert beatless(flat[:250], RATE) == 0  # nor where the record begins within 3 s
    assert beatless(np.full(500, np.nan), RATE) == 0


def test_the_ramp_of_a_closed_tap_before_an_opening_is_masked_with_it(tmp_path: Path):
    wave = laid(laid(pulse(120), 28.5, np.linspace(70, 150, 150), 1.5), 30, still(20, 0.0), 20)
    with _case(tmp_path, wave) as case:
        [found] = artefacts(case["left_radial"])
        state = seconds_state(case["left_radial"], case.grid)
        clean = mean_arterial_pressure(case["left_radial"], case.grid)
    assert found.start == pytest.approx(30, abs=0.3)
    assert found.evidence["ramp_before_s"] == pytest.approx(1.5, abs=0.3)
    assert set(state[28:50]) == {MASKED}
    assert set(state[20:28]) == {OBSERVED}
    assert np.isnan(clean.values[28:50]).all()
    assert np.nanmax(clean.values) < 85


# -- a channel -------------------------------------------------------------------------------------


def _case(folder: Path, wave: FloatArray, there: NDArray[np.bool_] | None = None) -> Case:
    channel = even("ABP", wave.astype(np.float32), [Segment(0.0, 0, wave.size, RATE)], valid=there)
    identity = {"abp": Identity("arterial_pressure", "radial", "left", "wave")}
    return case_of(folder / "case", recording("monitor", [channel]), identities=identity)


def test_a_line_that_is_connected_late_is_missing_before_and_no_artefact(tmp_path: Path):
    wave = np.concatenate([np.full(4000, -600.0), still(20, 0.0), pulse(60), np.full(2000, -600.0)])
    with _case(tmp_path, wave) as case:
        channel = case["left_radial"]
        assert [(one.code, round(one.start), round(one.end)) for one in artefacts(channel)] == [
            ("A1", 40, 60)
        ]
        state = seconds_state(channel, case.grid)
        assert set(state[:40]) == {MISSING}
        assert set(state[41:60]) == {MASKED}
        assert set(state[61:119]) == {OBSERVED}
        assert set(state[121:]) == {MISSING}
        assert masked_seconds(channel, case.grid)[41:60].all()


@pytest.mark.parametrize(("level", "what"), [(-600.0, "gap"), (-100.0, "off scale")])
def test_a_line_off_in_the_middle_is_an_artefact_nine(tmp_path: Path, level: float, what: str):
    # What no pressure can be is not there from the bring-in on; what one hardly can be is found by its flatness.
    wave = laid(pulse(180), 60, level, 50)
    with _case(tmp_path, wave) as case:
        [found] = artefacts(case["left_radial"])
        assert (found.code, found.start, found.end) == ("A9", 60.0, 110.0)
        assert found.evidence["what"] == what


def test_a_gap_in_a_wave_is_an_artefact_nine(tmp_path: Path):
    there = np.ones(18_000, bool)
    there[6000:7000] = False
    with _case(tmp_path, pulse(180), there) as case:
        [found] = artefacts(case["left_radial"])
        assert (found.code, found.start, found.end, found.evidence["what"]) == ("A9", 60.0, 70.0, "gap")


def test_the_mean_counts_no_artefact_and_the_raw_mean_does(tmp_path: Path):
    wave = laid(laid(pulse(180), 40, 300.0, 3.0), 90, still(15, 0.0), 15)
    with _case(tmp_path, wave) as case:
        clean = mean_arterial_pressure(case["left_radial"], case.grid)
        raw = mean_arterial_pressure(case["left_radial"], case.grid, masked=False)
        seen = clean.values[clean.state == OBSERVED]
        assert seen.min() > 60
        assert seen.max() < 90
        assert np.count_nonzero(clean.state == MASKED) == pytest.approx(3 + 1 + 15, abs=2)
        assert raw.values[41] > 200
        assert raw.values[95] < 5
        blank = np.concatenate([np.isnan(values) for _, _, values in clean_waves(case["left_radial"])])
        assert blank.sum() == pytest.approx(1900, abs=60)


def test_a_view_of_the_past_knows_nothing_of_a_later_return(tmp_path: Path):
    wave = laid(pulse(180), 60, still(20, 0.0), 20)
    with _case(tmp_path, wave) as case:
        whole = artefacts(case["left_radial"])
        early = artefacts(case.until(70.0)["left_radial"])
        assert [one.end for one in whole] == [pytest.approx(80, abs=0.2)]
        assert [one.end for one in early] == [pytest.approx(70, abs=0.2)]
        assert "record ended" in early[0].evidence["reason"]


# -- held against other channels -------------------------------------------------------------------

LINES = {
    "art1": Identity("arterial_pressure", "radial", "left", "wave"),
    "art2": Identity("arterial_pressure", "femoral", "", "wave"),
    "again": Identity("arterial_pressure", "radial", "left", "wave"),
    "cvp": Identity("central_venous_pressure", "", "", "wave"),
    "svo2": Identity("venous_saturation"),
    "flow": Identity("pump_flow"),
}


def _line(label: str, wave: FloatArray) -> RecordedChannel:
    return even(label, wave.astype(np.float32), [Segment(0.0, 0, wave.size, RATE)])


def _codes(case: Case, name: str) -> list[str]:
    return [one.code for one in artefacts(case[name])]


OPENED = laid(pulse(120), 30, still(20, 0.0), 20)
NEAR_ZERO = laid(pulse(120), 30, still(20, 2.5), 20)  # as near as a tap may lie, and not on it
STEADY = pulse(120, seed=4)


def test_all_lines_of_a_pole_that_are_zeroed_together_are_openings_to_air(tmp_path: Path):
    # Zeroing a whole pole at once is common practice: each line jumps to zero and back, a venous one too.
    venous = laid(9 + 0.1 * (pulse(120, seed=6) - 75), 30, still(20, 0.0), 20)
    staggered = laid(pulse(120, seed=8), 34, still(20, 0.0), 20)  # the last tap 4 s later
    lines = [_line("ART1", OPENED), _line("ART2", staggered), _line("CVP", venous)]
    with case_of(tmp_path / "case", recording("monitor", lines), identities=LINES) as case:
        for name, start in (("left_radial", 30.0), ("femoral", 34.0), ("cvp", 30.0)):
            [one] = artefacts(case[name])
            assert (one.code, one.start) == ("A1", pytest.approx(start, abs=0.5)), name
        assert masked_seconds(case["femoral"], case.grid)[35:53].all()
        assert {find.code for find in find_all(case)} == {"A1"}  # no collapse, no surge


def test_where_one_line_is_opened_while_the_other_runs_down_it_is_the_patient(tmp_path: Path):
    fall = 7 + 68 * np.exp(-np.arange(20 * RATE) / (2 * RATE))  # an arrest runs down, and stops short of zero
    arrest = laid(pulse(120, seed=4), 30, fall + still(20, 0.0), 20)
    both = recording("monitor", [_line("ART1", OPENED), _line("ART2", arrest)])
    with case_of(tmp_path / "case", both, identities=LINES) as case:
        assert _codes(case, "left_radial") == _codes(case, "femoral") == []


def test_two_lines_that_go_near_zero_together_are_no_opening_and_one_alone_is(tmp_path: Path):
    both = recording("monitor", [_line("ART1", NEAR_ZERO), _line("ART2", NEAR_ZERO + 0.3)])
    with case_of(tmp_path / "both", both, identities=LINES) as case:
        assert _codes(case, "left_radial") == _codes(case, "femoral") == []
        # The second look comes from what is kept, and so do means and masks.
        assert _codes(case, "left_radial") == []
        assert set(seconds_state(case["left_radial"], case.grid)) == {OBSERVED}
        assert not masked_seconds(case["left_radial"], case.grid).any()
        assert not any(np.isnan(values).any() for _, _, values in clean_waves(case["left_radial"]))
        assert View.of(case).artefacts["left_radial"] == ()
    one = recording("monitor", [_line("ART1", OPENED), _line("ART2", STEADY)])
    with case_of(tmp_path / "one", one, identities=LINES) as case:
        assert (_codes(case, "left_radial"), _codes(case, "femoral")) == (["A1"], [])
        assert masked_seconds(case["left_radial"], case.grid)[31:50].all()
        assert [found.code for found in View.of(case).artefacts["left_radial"]] == ["A1"]


def test_the_same_line_recorded_by_another_source_is_no_second_opinion(tmp_path: Path):
    monitor = recording("monitor", [_line("ART1", OPENED)])
    copy = recording("pump", [_line("AGAIN", OPENED)])
    with case_of(tmp_path / "case", monitor, copy, identities=LINES) as case:
        assert compared(case["monitor/art1"]) == ()
        assert _codes(case, "monitor/art1") == ["A1"]


@pytest.mark.parametrize(("sd_s", "expected"), [(0.5, []), (5.0, ["A1"]), (None, ["A1"])])
def test_a_line_on_a_clock_that_cannot_say_together_is_not_asked(
    tmp_path: Path, sd_s: float | None, expected: list[str]
):
    # 2 s are what a fall may take; a doubt of 1.96 × 0.5 s is less, one of 1.96 × 5 s more, an unset clock anything.
    monitor, other = (
        recording("monitor", [_line("ART1", OPENED)]),
        recording("other", [_line("ART2", OPENED)]),
    )
    with case_of(tmp_path / "case", monitor, other, identities=LINES) as case:
        case.edit("mara", "reference", {"source": "monitor"})
        if sd_s is not None:
            case.edit("mara", "clock", {"source": "other", "pieces": [{"offset_s": 0.0, "sd_s": sd_s}]})
        assert _codes(case, "left_radial") == expected


def test_a_later_edit_of_what_the_other_line_is_changes_what_was_found(tmp_path: Path):
    both = recording("monitor", [_line("ART1", NEAR_ZERO), _line("ART2", NEAR_ZERO)])
    with case_of(tmp_path / "case", both, identities=LINES) as case:
        assert _codes(case, "left_radial") == []
        case.change_channel("mara", "femoral", kind="central_venous_pressure", site="", side="")
        assert _codes(case, "left_radial") == ["A1"]


def test_a_venous_saturation_that_is_blank_while_blood_flows_is_a_gap(tmp_path: Path):
    saturation = np.round(70 + np.random.default_rng(3).standard_normal(600), 1).astype("f4")
    flow = np.full(600, 4.4, "f4")
    flow[300:400] = 0.0
    there = np.ones(600, bool)
    there[100:130] = there[310:390] = False
    rows = [
        even("SVO2", saturation, [Segment(0.0, 0, 600, 1.0)], unit="%", valid=there),
        even("flow", flow, [Segment(0.0, 0, 600, 1.0)], unit="L/min"),
    ]
    with case_of(tmp_path / "case", recording("pump", rows), identities=LINES) as case:
        assert [(one.code, one.start, one.end) for one in artefacts(case["svo2"])] == [("A9", 100.0, 130.0)]
    with case_of(tmp_path / "alone", recording("pump", rows[:1]), identities=LINES) as case:
        assert artefacts(case["svo2"]) == []


# -- numbers and words -----------------------------------------------------------------------------


def _changed(code: str, name: str, value: float) -> dict[str, float]:
    return {**numbers_of(by_code(code).parameters), name: value}


@pytest.mark.parametrize(
    ("code", "name", "value", "length_s", "words"),
    [
        ("A1", "longest", 30.0, 40.0, "for 3 to 30 s"),
        ("A1", "shortest", 50.0, 40.0, "for 50 to 60 s"),
        ("A1", "level", 0.001, 20.0, "0 ± 0.001 mmHg"),
        ("A1", "sd", 0.2, 20.0, "standard deviation under 0.2 mmHg"),
        ("A1", "step", 90.0, 20.0, "at least 90 mmHg (4"),
        ("A2", "level", 310.0, 2.0, "plateau of 310 mmHg"),
        ("A2", "rise", 400.0, 2.0, "at least 400 mmHg"),
        ("A2", "held", 1.0, 2.0, "for up to 1 s is told too"),
        ("A2", "brief", 3.0, 2.0, "From 3 s on"),
    ],
)
def test_a_changed_number_changes_what_is_found_and_what_is_said(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    code: str,
    name: str,
    value: float,
    length_s: float,
    words: str,
):
    wave = laid(pulse(180), 60, still(length_s, 0.0 if code == "A1" else 300.0), length_s)
    look = open_to_air if code == "A1" else fast_flushes
    assert [one.code for one in look(wave, RATE)] == [code]
    assert [one.code for one in look(wave, RATE, numbers=_changed(code, name, value))] != [code]
    # And in a case: artefacts, masks and the sentence all read the one table.
    rule = by_code(code)
    with _case(tmp_path, wave) as case:
        assert code in [one.code for one in artefacts(case["left_radial"])]
        before = masked_seconds(case["left_radial"], case.grid)
        assert before[60 : 60 + int(length_s)].any()
        monkeypatch.setitem(rule.parameters, name, replace(rule.parameters[name], value=value))
        assert code not in [one.code for one in artefacts(case["left_radial"])]
        assert words in rule.sentence()


def test_the_words_of_a9_go_with_its_numbers_too(monkeypatch: pytest.MonkeyPatch):
    rule = by_code("A9")
    frozen = laid(pulse(60), 10, 81.25, 1.5)
    assert frozen_wave(frozen, RATE) == [(10.0, 11.5)]
    monkeypatch.setitem(rule.parameters, "frozen", replace(rule.parameters["frozen"], value=2.0))
    assert frozen_wave(frozen, RATE) == []
    assert "on a wave of pressure for 2 s" in rule.sentence()
    square = np.where(np.arange(3000) // 4 % 2, 24.0, -24.0)
    assert device_patterns(square, RATE)
    monkeypatch.setitem(rule.parameters, "apart", replace(rule.parameters["apart"], value=50.0))
    assert device_patterns(square, RATE) == []
    assert "at least 50 mmHg apart" in rule.sentence()


def test_a_level_before_the_zero_key_belongs_to_an_arterial_opening_only():
    # A venous pressure of 7.5 mmHg is one that a patient has.
    wave = laid(laid(pulse(120), 30, still(4, 7.5, 0.3), 4), 34, still(15, 0.0, 0.3), 15)
    [arterial] = open_to_air(wave, RATE)
    [venous] = open_to_air(wave, RATE, kind="central_venous_pressure")
    assert (round(arterial.start), round(venous.start)) == (30, 34)


# -- the invented case -----------------------------------------------------------------------------

NAMES = {"LRAD": "left_radial", "RRAD": "right_radial", "FEM": "femoral", "PAM": "pa"}


def test_planted_artefacts_of_the_invented_case_are_found_and_no_others(demo_case: Case):
    # truth.csv of the invented case says what was laid into the record, where, and how near is near.
    codes = ("A1", "A2", "A3", "A5", "A6", "A9")
    planted = [one for one in truth() if one.code in codes and set(one.channels) & set(NAMES)]
    assert len(planted) == 10
    found = {name: list(artefacts(demo_case[name])) for name in (*NAMES.values(), "cvp")}
    for one in planted:
        [name] = [NAMES[channel] for channel in one.channels]
        [match] = [
            seen
            for seen in found[name]
            if seen.code == one.code and abs(seen.start - one.start_s) <= one.onset_tolerance_s
        ]
        assert match.end == pytest.approx(one.end_s, abs=one.onset_tolerance_s)
        found[name].remove(match)
    # A blood sample ends with a flush; that one belongs to it.
    [sample] = [one for one in truth() if one.code == "A3"]
    left = [one for seen in found.values() for one in seen if one.code in codes]
    assert [one.code for one in left] == ["A2"]
    assert sample.start_s < left[0].start < sample.end_s + 1
    assert left[0].evidence["still_before_s"] > 10


def test_rows_of_the_invented_case_have_the_gap_of_the_cable_and_nothing_frozen(demo_case: Case):
    [gap] = [one for one in truth() if one.code == "A9" and one.label == "recording gap"]
    for channel in demo_case.channels:
        if channel.is_wave or channel.source != "pump":
            continue
        found = artefacts(channel)
        if channel.kind == "venous_saturation":  # blank without flow, so its gap is no artefact
            assert found == []
            continue
        assert [one.code for one in found] == ["A9"], channel.id
        assert found[0].start == pytest.approx(gap.start_s, abs=2)
        assert found[0].end == pytest.approx(gap.end_s, abs=2)
    for name in ("left_cerebral_saturation", "right_cerebral_saturation", "nasopharyngeal_temperature"):
        assert artefacts(demo_case[name]) == []


def test_an_arrest_of_the_invented_case_invents_no_beats_and_masks_no_second(demo_case: Case):
    for one in truth():
        if one.code == "E17":
            for name in ("left_radial", "right_radial", "femoral"):
                onset = beats(demo_case[name]).onset
                inside = np.count_nonzero((onset > one.start_s + 60) & (onset < one.end_s))
                assert inside <= (one.end_s - one.start_s) / 60
                second = slice(int(one.start_s) + 60, int(one.end_s))
                assert not masked_seconds(demo_case[name], demo_case.grid)[second].any()
