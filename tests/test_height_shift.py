"""Transducer height shift (A7): found where every line of a pole steps alike, and in nothing that a patient does.

What the shapes of patients are: section 4 of the project's description of the patterns (hypotension, a reaction to
protamine, going on bypass, table tilt), common practice without a source for the cough.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.finds import Finds
from afterclamp.annotate.finds import find as find_all
from afterclamp.annotate.height_shift import MMHG_PER_CM, can_tell
from afterclamp.annotate.lone_step import lone_steps
from afterclamp.annotate.pole_steps import common_steps
from afterclamp.annotate.quality import NO_PULSE, WRONG_LEVEL, artefacts, quality_class, seconds_state
from afterclamp.annotate.rules import by_code
from afterclamp.annotate.series import MASKED, OBSERVED
from afterclamp.annotate.view import View
from afterclamp.annotate.wave_artefacts import Artefact
from afterclamp.io import Case, bring_in
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from afterclamp.replay.evidence_words import facts_of
from afterclamp.sample_traces import truth
from afterclamp.sample_traces.courses import PULMONARY, VENOUS, Course, Pressure, record
from afterclamp.sample_traces.planting import Line as PlantedLine
from afterclamp.sample_traces.planting import plant
from afterclamp.sample_traces.tables import Truth
from afterclamp.sample_traces.variations import vary
from afterclamp.sample_traces.vignette_files import build_vignettes
from afterclamp.sample_traces.vignettes import POLE
from numpy.typing import NDArray
from recordings import case_of, even, recording
from scoring import score
from variation_case import variation_case

FloatArray = NDArray[np.float64]
RATE = 100.0
NAMES = {
    "LRAD": "left_radial",
    "RRAD": "right_radial",
    "FEM": "femoral",
    "CVP": "cvp",
    "PAM": "pa",
    "PA": "pa",
}

# -- seconds of four lines -------------------------------------------------------------------------

KINDS = ("arterial_pressure", "arterial_pressure", "central_venous_pressure", "pulmonary_artery_pressure")
PLACES = ("femoral", "radial", "cvp", "pa")
LEVELS = np.array([76.0, 73.0, 9.0, 22.0])
PULSES = np.array([50.0, 50.0, 3.0, 16.0])
T = np.arange(300.0)


def seconds(changes: list[FloatArray | float], seed: int = 0) -> FloatArray:
    """Four lines of five minutes with the noise of seconds, and what each of them changes by."""
    noise = np.array([1.5, 1.5, 0.5, 0.8])[:, None]
    quiet = LEVELS[:, None] + noise * np.random.default_rng(seed).standard_normal((4, T.size))
    return quiet + np.array([change * np.ones(T.size) for change in changes])


def course(*points: tuple[float, float]) -> FloatArray:
    times, values = zip(*points, strict=True)
    return np.interp(T, times, values)


def swings(*factors: FloatArray | float) -> FloatArray:
    return PULSES[:, None] * np.array([factor * np.ones(T.size) for factor in factors or (1.0,) * 4])


def away(by: float, start: float = 100, end: float = 200, within: float = 3) -> FloatArray:
    return course((start, 0), (start + within, by), (end - within, by), (end, 0))


def steps(changes: list[FloatArray | float], swing: FloatArray | None = None) -> list[float]:
    found = common_steps(seconds(changes), swings() if swing is None else swing, kinds=KINDS, places=PLACES)
    return [one.common for one in found]


@pytest.mark.parametrize("by", [10.0, 15.0, -14.0, -20.0])
def test_a_step_of_every_line_and_the_step_back_are_found_with_their_amounts(by: float) -> None:
    found = common_steps(seconds([away(by)] * 4), swings(), kinds=KINDS, places=PLACES)
    assert [one.common for one in found] == pytest.approx([by, -by], abs=1.0)
    assert [one.begins for one in found] == pytest.approx([100, 197], abs=1)
    assert [one.settled for one in found] == pytest.approx([103, 200], abs=1)
    for amount, half in zip(found[0].amounts, found[0].halves, strict=True):
        assert abs(amount - by) <= max(2 * half, 0.6)  # the ± covers the truth
        assert 0 < half < 2


FALL = away(-20.0, within=3)
NEAR_MISSES: dict[str, list[FloatArray | float]] = {
    "hypotension: the arteries alone": [FALL, FALL, 0.0, 0.0],
    "hypotension with a lower filling": [FALL, FALL, away(-4), away(-8)],
    "protamine reaction": [course((100, 0), (160, -27)), course((100, 0), (160, -27)), course((100, 0), (190, 6)),
                           course((100, 0), (190, 16))],
    "table tilted": [away(12, within=12), away(12, within=12), away(7, within=5), away(3, within=5)],
    "volume given": [course((100, 0), (160, 12)), course((100, 0), (160, 12)), course((100, 0), (160, 6)),
                     course((100, 0), (160, 9))],
    "a slow drift of everything": [course((100, 0), (140, -14))] * 4,
    "one line stays": [away(15), away(15), 0.0, away(15)],
    "one line steps the other way": [away(15), away(15), away(15), away(-15)],
    "less than 8": [away(6.0)] * 4,
    "lungs held: venous up, arteries down": [away(-12), away(-12), away(11), away(11)],
}  # fmt: skip


@pytest.mark.parametrize("changes", NEAR_MISSES.values(), ids=NEAR_MISSES.keys())
def test_what_a_patient_does_is_no_common_step(changes: list[FloatArray | float]) -> None:
    assert steps(changes) == []


def test_going_on_bypass_is_none_since_the_pulse_goes() -> None:
    gone = course((100, 1), (103, 0.1))
    lower = course((100, 0), (103, -12))
    assert steps([lower] * 4) == [pytest.approx(-12, abs=1)]
    assert steps([lower] * 4, swings(gone, gone, gone, gone)) == []


def test_three_lines_of_two_kinds_are_asked_for() -> None:
    # Three lines and two kinds are this project's choice: two arteries move together in a patient too.
    arteries = [("arterial_pressure", "radial left"), ("arterial_pressure", "femoral")]
    venous = ("central_venous_pressure", "")
    assert can_tell([*arteries, venous])
    assert not can_tell([*arteries, ("arterial_pressure", "radial right")])
    assert not can_tell([arteries[0], venous])
    assert not can_tell([arteries[0], arteries[0], venous])  # mean and systolic of one line
    level = seconds([away(15)] * 4)
    level[2:] = np.nan  # venous and pulmonary lines out at that time
    assert common_steps(level, swings(), kinds=KINDS, places=PLACES) == []


def test_ten_centimetres_too_low_read_7_36_mmhg_too_high() -> None:
    # UCUM: m[H2O] = 9.80665 kPa, m[Hg] = 133.322 kPa; references R7.11 gives 0.73556 and 7.36.
    assert pytest.approx(0.73556, abs=5e-6) == MMHG_PER_CM
    assert pytest.approx(7.36, abs=0.005) == 10 * MMHG_PER_CM


# -- cases -----------------------------------------------------------------------------------------

LINES = {
    "femoral": Identity("arterial_pressure", "femoral", "", "wave"),
    "radial": Identity("arterial_pressure", "radial", "left", "wave"),
    "cvp": Identity("central_venous_pressure", statistic="wave"),
    "pa": Identity("pulmonary_artery_pressure", statistic="wave"),
}
LABELS = ("femoral", "radial", "cvp", "pa")


def waves(change: FloatArray, length_s: int = 300) -> dict[str, FloatArray]:
    """Four lines with 80 beats a minute, moved by one value a second."""
    t = np.arange(int(length_s * RATE)) / RATE
    phase = (t * 80 / 60) % 1
    beat = np.where(phase < 0.15, np.sin(np.pi / 2 * phase / 0.15), np.exp(-(phase - 0.15) / 0.35)) - 0.35
    moved = np.interp(t, np.arange(change.size), change)
    rng = np.random.default_rng(2)
    return {
        label: level + pulse * beat + moved + 0.7 * rng.standard_normal(t.size)
        for label, level, pulse in zip(LABELS, LEVELS, PULSES, strict=True)
    }


def line(label: str, wave: FloatArray) -> RecordedChannel:
    return even(label, wave.astype(np.float32), [Segment(0.0, 0, wave.size, RATE)])


def one_source(folder: Path, made: dict[str, FloatArray]) -> Case:
    return case_of(folder, recording("monitor", [line(*one) for one in made.items()]), identities=LINES)


def shifts(case: Case, name: str) -> list[Artefact]:
    return [one for one in artefacts(case[name]) if one.code == "A7"]


def test_a_shift_takes_away_the_level_and_leaves_the_pulse(tmp_path: Path) -> None:
    with one_source(tmp_path / "case", waves(away(15))) as case:
        for name in ("femoral", "left_radial", "cvp", "pa"):
            [found] = shifts(case, name)
            assert (found.start, found.end) == (pytest.approx(100, abs=1), pytest.approx(200, abs=1))
            classes = quality_class(case[name], case.grid)
            assert set(classes[102:198]) == {WRONG_LEVEL}
            assert set(seconds_state(case[name], case.grid)[102:198]) == {MASKED}
            assert set(seconds_state(case[name], case.grid, NO_PULSE)[102:198]) == {OBSERVED}


def test_a_shift_that_is_not_undone_lasts_to_the_end_and_says_so(tmp_path: Path) -> None:
    with one_source(tmp_path / "case", waves(course((100, 0), (102, -14)))) as case:
        [found] = shifts(case, "femoral")
        assert (found.start, found.end) == (pytest.approx(100, abs=1), 300)
        assert "the record ended before the lines stepped back" in found.evidence["reason"]
        assert "cannot be told" in found.evidence["reason"]
    with one_source(tmp_path / "again", waves(away(15))) as case:
        [early] = shifts(case.until(150.0), "femoral")
        assert early.end == 150
        assert early.evidence["left_open"]
        assert shifts(case.until(95.0), "femoral") == []


def test_an_opening_to_air_ends_a_shift_that_was_not_undone_on_its_line(tmp_path: Path) -> None:
    made = waves(course((100, 0), (102, 14)))
    quiet = 0.3 * np.random.default_rng(5).standard_normal(2000)
    made["radial"][20_000:22_000] = quiet
    with one_source(tmp_path / "case", made) as case:
        [zeroed], [other] = shifts(case, "left_radial"), shifts(case, "femoral")
        assert zeroed.end == pytest.approx(200, abs=1)
        assert "opened to air" in zeroed.evidence["reason"]
        assert other.end == 300


def test_a_line_that_was_hidden_while_the_pole_moved_has_moved_with_it(tmp_path: Path) -> None:
    for number, (mine, expected) in enumerate(((15.0, 1), (0.0, 0))):
        made = waves(away(15))
        made["radial"] = waves(away(mine))["radial"]  # or hangs elsewhere
        made["radial"][9_000:11_500] = 0.3 * np.random.default_rng(5).standard_normal(
            2500
        )  # open to air meanwhile
        with one_source(tmp_path / str(number), made) as case:
            assert len(shifts(case, "left_radial")) == expected
            [found] = shifts(case, "femoral")
            assert found.end == pytest.approx(200, abs=1)


def test_a_pole_that_goes_back_in_two_steps_is_one_shift(tmp_path: Path) -> None:
    change = course((60, 0), (62, 20), (120, 20), (122, 9), (200, 9), (202, 0))
    with one_source(tmp_path / "case", waves(change)) as case:
        [found] = shifts(case, "cvp")
        assert (found.start, found.end) == (pytest.approx(60, abs=1), pytest.approx(202, abs=1))
        assert found.evidence["later_steps_mmhg"] == pytest.approx([-11, -9], abs=1)


def test_a_strain_of_twelve_seconds_is_no_shift(tmp_path: Path) -> None:
    with one_source(tmp_path / "case", waves(away(25, 100, 112, within=1))) as case:
        assert all(shifts(case, name) == [] for name in ("femoral", "left_radial", "cvp", "pa"))


def test_coughs_on_every_line_are_no_shift(tmp_path: Path) -> None:
    coughs = np.zeros(300)
    coughs[100:130:3] = 45.0  # a jolt of a second every three seconds
    with one_source(tmp_path / "case", waves(coughs)) as case:
        assert all(shifts(case, name) == [] for name in ("femoral", "left_radial", "cvp", "pa"))


def test_lines_of_two_sources_are_not_one_pole(tmp_path: Path) -> None:
    made = waves(away(15))
    arteries = recording("monitor", [line(one, made[one]) for one in ("femoral", "radial")])
    others = recording("other", [line(one, made[one]) for one in ("cvp", "pa")])
    with case_of(tmp_path / "case", arteries, others, identities=LINES) as case:
        assert shifts(case, "femoral") == shifts(case, "cvp") == []
        said = " ".join(find_all(case).not_looked_for)
    assert "A7 not looked for: no source with three lines of two kinds of pressure" in said


def test_rows_of_a_second_show_it_and_rows_of_ten_do_not(tmp_path: Path) -> None:
    means = {
        "femoral": Identity("arterial_pressure", "femoral", "", "mean"),
        "cvp": Identity("central_venous_pressure", "", "", "mean"),
        "pa": Identity("pulmonary_artery_pressure", "", "", "mean"),
    }
    level = seconds([away(15)] * 4)[[0, 2, 3]]
    for every, expected in ((1, 1), (10, 0)):
        rows = [
            even(key, course[::every].astype(np.float32), [Segment(0.0, 0, course[::every].size, 1 / every)])
            for key, course in zip(means, level, strict=True)
        ]
        with case_of(tmp_path / str(every), recording("monitor", rows), identities=means) as case:
            assert len(shifts(case, "femoral_mean")) == expected


# -- the find --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    folder = tmp_path_factory.mktemp("pole")
    build_vignettes(folder)
    with bring_in(folder / POLE.name, folder / "case") as case:
        yield case


def _in_truth(rows: tuple[Truth, ...] | list[Truth]) -> Truth:
    [row] = [one for one in rows if one.code == "A7"]
    return row


def test_the_pole_of_the_vignette_is_found_and_the_reaction_after_it_is_not_taken_for_one(pole: Case) -> None:
    row = _in_truth(POLE.truth)
    found = find_all(pole)
    [shift] = found.of("A7")
    assert shift.start_s == pytest.approx(row.start_s, abs=row.onset_tolerance_s)
    assert shift.end_s == pytest.approx(row.end_s, abs=row.onset_tolerance_s)
    assert set(shift.channels) == {NAMES[one] for one in row.channels}
    seen = shift.evidence["seen"]
    # The vignette's own words: all four fall by 14 in 3 s.
    assert seen["common_step_mmhg"] == pytest.approx(-14, abs=1)
    assert all(amount == pytest.approx(-14, abs=2) for amount in seen["amounts_mmhg"].values())
    assert "higher against the patient" in seen["reason"]  # what reads low stands too high
    assert "reference-level shift" in seen["reason"]
    assert shift.confidence > 0.8


def test_the_shift_of_the_invented_case_is_one_find_of_five_lines(demo_case: Case) -> None:
    row = _in_truth(truth())
    found: Finds = find_all(demo_case)
    [shift] = found.of("A7")
    assert shift.start_s == pytest.approx(row.start_s, abs=row.onset_tolerance_s)
    assert shift.end_s == pytest.approx(row.end_s, abs=row.onset_tolerance_s)
    assert set(shift.channels) == {NAMES[one] for one in row.channels}
    seen = shift.evidence["seen"]
    assert seen["common_step_mmhg"] == pytest.approx(15, abs=2)
    assert seen["height_cm"] == pytest.approx(15 / 0.73556, abs=2)  # R7.11
    assert all(amount == pytest.approx(15, abs=2) for amount in seen["amounts_mmhg"].values())
    assert all(half > 0 for half in seen["amounts_half_mmhg"].values())
    told = {fact.label: fact.text for fact in facts_of(shift)}
    assert re.match(r"\+1[3-7]\.\d mmHg, .* 2\d cm of water lower against the patient$", told["Common step"])
    assert told["Step of each line"].count("±") == 5
    assert told["Step of each line"].endswith(" mmHg")
    assert told["Stepped back by"].startswith("−1")
    # An artefact makes no event: nothing of the patient begins while the lines stand wrong.
    assert [one.code for one in found if one.code[0] == "E" and row.start_s <= one.start_s < row.end_s] == []


def test_a_find_without_a_way_back_is_less_plain() -> None:
    evidence = {
        "reason": "x", "common_step_mmhg": 14.0, "lines_apart_mmhg": 1.0, "height_cm": 19, "amount_mmhg": 14.0,
        "amount_half_mmhg": 1.0, "later_steps_mmhg": [], "left_open": "the record ended",
    }  # fmt: skip
    names = ("femoral", "left_radial", "cvp")
    closed = {**evidence, "left_open": "", "later_steps_mmhg": [-14.0]}
    values = {name: np.full(300, 50.0) for name in names}

    def view(own: dict[str, object]) -> View:
        seen = {name: (Artefact("A7", 100.0, 200.0, own),) for name in names}
        return View(0.0, values, arterial=names[:2], source=dict.fromkeys(names, "monitor"), artefacts=seen)

    rule = by_code("A7")
    [open_end] = [one for one in rule.find(view(evidence), rule.values()) if not one.held_back]
    [undone] = rule.find(view(closed), rule.values())
    assert open_end.confidence < undone.confidence
    assert undone.channels == ("cvp", "femoral", "left_radial")
    assert rule.missing(view(closed)) == []
    assert [one["what"] for one in undone.evidence["alternatives"]]


def falling(start: float, end: float) -> dict[str, FloatArray]:
    """Five lines: the arteries fall by 40 mmHg within two minutes, and the pole hangs 15 mmHg off meanwhile."""
    arterial = ((0.0, 76.0), (100.0, 76.0), (220.0, 36.0))
    pulse = ((0.0, 45.0), (100.0, 45.0), (220.0, 25.0))
    pressures = {label: Pressure(arterial, pulse) for label in ("LRAD", "RRAD", "FEM")}
    pressures["CVP"] = Pressure(((0.0, 8.0),), ((0.0, 4.0),), VENOUS)
    pressures["PA"] = Pressure(((0.0, 22.0),), ((0.0, 16.0),), PULMONARY)
    made = record(Course(300, int(RATE), pressures, heart_rate=((0.0, 75.0),)), 5, 1.0)
    if end <= start:
        return made
    rng = np.random.default_rng(2)
    return {
        label: plant("height", wave, PlantedLine(int(RATE)), start, end - start, rng)[0]
        for label, wave in made.items()
    }


@pytest.mark.parametrize(("start", "end"), [(130.0, 190.0), (150.0, 210.0), (170.0, 230.0)])
def test_a_shift_while_the_arteries_fall_is_found_on_every_line(
    tmp_path: Path, start: float, end: float
) -> None:
    # The arteries fall by a third of a mmHg each second, the venous and the pulmonary artery pressure do not.
    with one_source(tmp_path, falling(start, end)) as case:
        for name in ("femoral", "left_radial", "right_radial", "cvp", "pa"):
            [found] = shifts(case, name)
            assert (found.start, found.end) == pytest.approx((start, end), abs=3.0), name
            assert found.evidence["amount_mmhg"] == pytest.approx(15.0, abs=2.0), name


def test_a_fall_of_the_arteries_alone_is_no_shift(tmp_path: Path) -> None:
    with one_source(tmp_path, falling(0.0, 0.0)) as case:
        assert all(shifts(case, name) == [] for name in ("femoral", "left_radial", "cvp", "pa"))


def test_a_shift_that_is_never_undone_is_left_open_in_words(tmp_path: Path) -> None:
    with one_source(tmp_path, waves(np.where(np.arange(300) >= 150, 15.0, 0.0))) as case:
        found = find_all(case)
        [shift] = [one for one in found if one.code == "A7"]
        [open_end] = [one for one in found.held_back if one.code == "A7"]
    assert (open_end.start_s, open_end.channels) == (shift.start_s, shift.channels)
    assert "may be the time before the step" in open_end.held_back


# -- one line alone --------------------------------------------------------------------------------


def _beside(*changes: FloatArray | float) -> tuple[list[FloatArray], list[FloatArray]]:
    rng = np.random.default_rng(4)
    long = np.ones(600)
    levels = [76.0 + 1.5 * rng.standard_normal(600) + change * long for change in changes]
    return levels, [45.0 * long for _ in changes]


STEPPED = np.where(np.arange(600) >= 300, 25.0, 0.0)


def test_one_transducer_that_moves_alone_is_a_doubt_with_its_amount() -> None:
    [one] = lone_steps(*_beside(0.0, STEPPED, 0.0))
    assert (one.line, one.undone, one.ends) == (1, False, 600)
    assert (one.begins, one.amount) == (pytest.approx(300, abs=5), pytest.approx(25.0, abs=1.0))
    [back] = lone_steps(*_beside(np.where(np.arange(600) >= 480, 0.0, STEPPED), 0.0))
    assert back.undone
    assert back.ends == pytest.approx(480, abs=5)


def test_what_moves_with_another_artery_slowly_or_with_its_pulse_is_no_doubt() -> None:
    assert lone_steps(*_beside(STEPPED, STEPPED, 0.0)) == []  # the patient: two arteries
    assert lone_steps(*_beside(np.interp(np.arange(600), (200, 400), (0, 25)), 0.0)) == []  # a gradient
    levels, pulses = _beside(0.0, -STEPPED)
    pulses[1] = np.where(STEPPED > 0, 20.0, 45.0)  # the artery narrowed above it
    assert lone_steps(levels, pulses) == []
    short = np.where((np.arange(600) >= 300) & (np.arange(600) < 340), 25.0, 0.0)
    assert lone_steps(*_beside(short, 0.0)) == []
    assert lone_steps(*_beside(STEPPED)) == []  # nothing to hold it against


def test_one_transducer_that_moves_alone_is_held_back_and_masks_nothing(tmp_path: Path) -> None:
    # 400 s of four lines, the left radial one 25 mmHg higher from 200 s on.
    made = waves(np.zeros(400), 400)
    made["radial"] = made["radial"] + np.where(np.arange(40_000) >= 20_000, 25.0, 0.0)
    with one_source(tmp_path, made) as case:
        found = find_all(case)
        assert [one for one in found if one.code == "A7"] == []
        [doubt] = [one for one in found.held_back if one.code == "A7"]
        assert doubt.channels == ("left_radial",)
        assert doubt.start_s == pytest.approx(200.0, abs=3.0)
        assert "+25 mmHg" in doubt.held_back
        assert "never undone" in doubt.held_back
        assert set(seconds_state(case["left_radial"], case.grid)) == {OBSERVED}


@pytest.mark.parametrize("seed", [3, 13, 25, 57])
def test_planted_shifts_are_marked_and_tilted_tables_are_not(seed: int, tmp_path: Path) -> None:
    made = vary(seed)
    rows = [row for row in made.truth if row.code == "A7"]
    assert rows  # a shift, or what could be taken for one
    with variation_case(tmp_path / "case", made) as case:
        marked, recorded = {}, {}
        for channel in case.channels:
            if channel.identity.name in NAMES.values():
                own = np.zeros(case.grid.size, bool)
                for one in shifts(case, channel.id):
                    own[int(one.start) : int(np.ceil(one.end))] = True
                marked[channel.identity.name] = own
                recorded[channel.identity.name] = np.isfinite(channel.seconds())
        found = score(marked, recorded, rows)
    if found.planted["A7"]:
        assert found.share_marked("A7") >= 0.9
    assert found.share_of_clean() <= 0.002
    assert found.event_marked.total() == 0
