"""The three vignettes: what their truth says is in the samples, and a bring-in needs nobody.

Limits are those of the definitions that the project prints with each pattern; points without another source
are those of the vignettes' own description in ``afterclamp.sample_traces.vignettes``. Samples are read with
edfio, not with the project's reader.
"""

from __future__ import annotations

import csv
import hashlib
import io
from functools import cache
from pathlib import Path

import edfio
import numpy as np
import pytest
from afterclamp.io import bring_in
from afterclamp.io.plan import look
from afterclamp.sample_traces import __main__ as command
from afterclamp.sample_traces import vignette_files
from afterclamp.sample_traces.tables import Truth
from afterclamp.sample_traces.vignettes import LETTING_GO, POLE, VIGNETTES, WHICH_ARM, Vignette

RATE = 100


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return vignette_files.vignette_files()


@cache
def _signals(content: bytes) -> dict[str, np.ndarray]:
    return {signal.label: np.asarray(signal.data) for signal in edfio.read_edf(io.BytesIO(content)).signals}


def samples(files: dict[str, bytes], vignette: Vignette) -> dict[str, np.ndarray]:
    return _signals(files[f"{vignette.name}/{vignette.name}.edf"])


def rows(vignette: Vignette, code: str) -> list[Truth]:
    return [row for row in vignette.truth if row.code == code]


def piece(wave: np.ndarray, start: float, end: float) -> np.ndarray:
    return wave[round(start * RATE) : round(end * RATE)]


def means(wave: np.ndarray, over_s: int = 1) -> np.ndarray:
    """Mean of each second, or of `over_s` seconds around it."""
    each = wave.reshape(-1, RATE).mean(axis=1)
    return np.convolve(np.pad(each, over_s // 2, mode="edge"), np.full(over_s, 1 / over_s), mode="valid")


def swing(wave: np.ndarray) -> float:
    low, high = np.percentile(wave, [1, 99])
    return float(high - low)


# -- files ------------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others(files):
    def digests(of: dict[str, bytes]) -> dict[str, str]:
        return {name: hashlib.sha256(content).hexdigest() for name, content in of.items()}

    assert digests(vignette_files.vignette_files()) == digests(files)
    other = digests(vignette_files.vignette_files(seed=2))
    for name, digest in digests(files).items():
        assert (other[name] != digest) == name.endswith(".edf")


def test_each_is_one_small_recording(files):
    recordings = {name: len(content) for name, content in files.items() if name.endswith(".edf")}
    assert len(recordings) == 3
    assert max(recordings.values()) < 600_000


def test_they_are_ten_to_fourteen_minutes_long(files):
    lengths = [edfio.read_edf(io.BytesIO(files[f"{v.name}/{v.name}.edf"])).duration / 60 for v in VIGNETTES]
    assert lengths == [14, 12, 10]


@pytest.mark.parametrize("vignette", VIGNETTES, ids=lambda one: one.name)
def test_the_table_beside_a_recording_is_its_truth(files, vignette):
    table = list(csv.DictReader(io.StringIO(files[f"{vignette.name}.truth.csv"].decode())))
    told = [(row["code"], float(row["start_s"]), float(row["end_s"]), row["channels"]) for row in table]
    assert told == [(row.code, row.start_s, row.end_s, " ".join(row.channels)) for row in vignette.truth]
    assert all(0 <= row.start_s < row.end_s <= vignette.course.seconds for row in vignette.truth)


@pytest.mark.parametrize("vignette", VIGNETTES, ids=lambda one: one.name)
def test_a_bring_in_of_the_folder_asks_nothing(files, vignette, tmp_path):
    folder = tmp_path / "given"
    folder.mkdir()
    for name, content in files.items():
        if name.startswith(f"{vignette.name}/"):
            (folder / Path(name).name).write_bytes(content)
    plan = look([folder], tmp_path / "case")
    assert not plan.questions
    assert not plan.found  # nothing of anybody's identity
    with bring_in(folder, tmp_path / "case") as case:
        assert len(case.channels) == len(vignette.course.pressures) + len(vignette.slow)
        assert all(channel.identity.kind != "other" and channel.unit for channel in case.channels)
        assert {note.text for note in case.notes} >= {text for _, text in vignette.notes}


def test_the_command_writes_all_of_them_and_names_them(files, tmp_path, capsys):
    assert command.main(["vignettes", str(tmp_path / "there")]) == 0
    told = [Path(line) for line in capsys.readouterr().out.splitlines()]
    assert {path.relative_to(tmp_path / "there").as_posix(): path.read_bytes() for path in told} == files


def test_a_place_that_cannot_be_written_is_named(tmp_path, capsys):
    (tmp_path / "note.txt").write_text("in the way")
    assert command.main(["vignettes", str(tmp_path / "note.txt")]) == 1
    assert "note.txt" in capsys.readouterr().err


# -- letting go -------------------------------------------------------------------------------------


def test_each_flush_rises_to_180_within_three_tenths_of_a_second_and_lies_there(files):
    wave = samples(files, LETTING_GO)["LRAD"]
    flushes = rows(LETTING_GO, "A2")
    assert len(flushes) == 2
    for row in flushes:
        before = piece(wave, row.start_s - 0.1, row.start_s).mean()
        risen = piece(wave, row.start_s, row.start_s + 0.3)
        assert risen[-1] - before >= 100
        plateau = piece(wave, row.start_s + 0.3, row.end_s)
        assert plateau.min() >= 180
        assert swing(plateau) < 10  # no beats on it
        assert 0.5 <= row.end_s - row.start_s <= 10
        assert piece(wave, row.end_s + 0.3, row.end_s + 0.9).max() < 180


def test_while_the_chest_is_closed_the_systolic_pressure_swings_by_eighteen(files):
    wave = samples(files, LETTING_GO)["LRAD"]
    systolic = [piece(wave, t, t + 0.65).max() for t in np.arange(60, 180, 0.2)]
    assert np.percentile(systolic, 98) - np.percentile(systolic, 2) == pytest.approx(18, abs=3)
    after = [piece(wave, t, t + 0.65).max() for t in np.arange(375, 445, 0.2)]
    assert np.percentile(after, 98) - np.percentile(after, 2) < 6


def test_opening_the_chest_raises_the_pressure_and_lowers_the_venous_one(files):
    signals = samples(files, LETTING_GO)
    (row,) = rows(LETTING_GO, "E03")
    before, after = (row.start_s - 10, row.start_s), (row.end_s + 25, row.end_s + 35)
    pressure, venous = signals["LRAD"], signals["CVP"]
    assert piece(pressure, *before).mean() == pytest.approx(56, abs=1)
    assert piece(pressure, *after).mean() == pytest.approx(96, abs=1)
    assert piece(venous, *before).mean() == pytest.approx(23, abs=1)
    assert piece(venous, *after).mean() == pytest.approx(9, abs=1)
    assert swing(piece(pressure, *after)) > 1.5 * swing(piece(pressure, *before))


def test_the_collapse_has_no_beats_and_lies_under_45_until_it_ends(files):
    signals = samples(files, LETTING_GO)
    (row,) = rows(LETTING_GO, "E02")
    course = means(signals["LRAD"])
    before = course[int(row.start_s) - 10 : int(row.start_s)].mean()
    lowest = course[int(row.start_s) : int(row.start_s) + 60].min()
    assert before - lowest >= max(25, 0.4 * before)
    assert swing(piece(signals["LRAD"], 470, 518)) < 5
    under = np.flatnonzero(course < 45)
    assert under.size >= 15
    assert under[-1] + 1 == pytest.approx(row.end_s, abs=3)
    assert signals["heart rate"][460:515].max() <= 3


def test_hypotension_is_where_the_pressure_lies_under_65(files):
    course = means(samples(files, LETTING_GO)["LRAD"], 5)
    under = np.flatnonzero(np.diff((course < 65).astype(int)))
    crossings = [row for each in rows(LETTING_GO, "E01") for row in (each.start_s, each.end_s)][1:]
    for told in crossings:
        assert np.abs(under + 1 - told).min() <= 3
    assert (course[int(crossings[0]) + 4 : int(crossings[1]) - 4] > 65).all()


# -- which arm --------------------------------------------------------------------------------------


def test_one_arm_falls_while_the_leg_and_the_line_rise(files):
    signals = samples(files, WHICH_ARM)
    (row,) = rows(WHICH_ARM, "E21")
    start, end = int(row.start_s), int(row.end_s)
    half = means(signals["LRAD"])[start:end] < 0.5 * means(signals["FEM"])[start:end]
    assert np.count_nonzero(half & (signals["pump flow"][start:end] >= 1)) >= 30
    assert swing(piece(signals["LRAD"], 255, 318)) < 5
    assert piece(signals["RRAD"], 255, 318).mean() == pytest.approx(55, abs=1)
    assert piece(signals["FEM"], 255, 318).mean() == pytest.approx(131, abs=1)


def test_the_line_pressure_crosses_300_where_the_truth_says(files):
    (row,) = rows(WHICH_ARM, "E07")
    over = np.flatnonzero(samples(files, WHICH_ARM)["line pressure"] > 300)
    assert over[0] == pytest.approx(row.start_s, abs=2)
    assert over[-1] + 1 == pytest.approx(row.end_s, abs=2)
    assert np.diff(over).max() == 1


def test_the_saturations_cross_their_limits_where_the_truth_says(files):
    signals = samples(files, WHICH_ARM)
    left, right = (np.convolve(signals[f"NIRS {side}"], np.full(5, 0.2), mode="same") for side in "LR")
    base_left, base_right = left[4:24].mean(), right[4:24].mean()
    (fallen,), (apart,) = rows(WHICH_ARM, "E19"), rows(WHICH_ARM, "E20")
    low = np.flatnonzero(left[4:-4] < 0.8 * base_left) * 5 + 20
    assert low[0] == pytest.approx(fallen.start_s, abs=fallen.onset_tolerance_s)
    assert low[-1] == pytest.approx(fallen.end_s, abs=fallen.onset_tolerance_s)
    side = np.flatnonzero((right - left)[4:-4] - (base_right - base_left) >= 10) * 5 + 20
    assert side[0] == pytest.approx(apart.start_s, abs=apart.onset_tolerance_s)
    assert side[-1] == pytest.approx(apart.end_s, abs=apart.onset_tolerance_s)


def test_the_cuff_flattens_one_arm_for_ten_seconds_and_nothing_else(files):
    signals = samples(files, WHICH_ARM)
    (row,) = rows(WHICH_ARM, "A6")
    assert 20 <= row.end_s - row.start_s <= 60
    for label in ("LRAD", "RRAD", "FEM"):
        wave = signals[label]
        before = piece(wave, row.start_s - 20, row.start_s)
        held = piece(wave, row.start_s + 8, row.start_s + 20)
        if label == "LRAD":
            assert swing(held) < 5
            assert held.mean() < before.mean() - 25
        else:
            assert swing(held) == pytest.approx(swing(before), abs=3)
            assert held.mean() == pytest.approx(before.mean(), abs=1)
    assert piece(signals["LRAD"], row.end_s, row.end_s + 10).mean() == pytest.approx(64, abs=1)


@pytest.mark.parametrize("number", [0, 1])
def test_the_right_arm_reads_ten_more_than_the_left_where_the_truth_says(files, number):
    signals = samples(files, WHICH_ARM)
    row = rows(WHICH_ARM, "E22b")[number]
    (cuff,) = rows(WHICH_ARM, "A6")
    more = (means(signals["RRAD"]) - means(signals["LRAD"]) >= 10)[int(row.start_s) : int(row.end_s)]
    if number:
        more = np.delete(more, np.arange(int(cuff.start_s - row.start_s), int(cuff.end_s - row.start_s)))
    assert np.mean(more) > 0.97


# -- protamine or the pole --------------------------------------------------------------------------


def test_all_four_step_by_the_same_amount_within_five_seconds_and_keep_their_pulse(files):
    signals = samples(files, POLE)
    (row,) = rows(POLE, "A7")
    steps = []
    for label in ("FEM", "LRAD", "CVP", "PA"):
        before = piece(signals[label], row.start_s - 30, row.start_s)
        within = piece(signals[label], row.start_s + 5, row.start_s + 35)
        after = piece(signals[label], row.end_s, row.end_s + 30)
        steps.append(within.mean() - before.mean())
        assert after.mean() == pytest.approx(before.mean(), abs=1)
        assert swing(within) == pytest.approx(swing(before), abs=2.5)
    assert steps == pytest.approx([-14] * 4, abs=0.5)


def test_the_reaction_lowers_one_and_raises_the_others(files):
    signals = samples(files, POLE)
    (row,) = rows(POLE, "E27")
    femoral = means(signals["FEM"], 5)
    before = femoral[300:328].mean()
    fallen = np.flatnonzero(femoral < 0.8 * before)
    fallen = fallen[fallen > 300]
    assert fallen.size >= 60
    assert fallen[-1] + 1 == pytest.approx(row.end_s, abs=15)
    assert means(signals["PA"], 5)[420] - means(signals["PA"], 5)[310:328].mean() >= 8
    assert means(signals["CVP"], 5)[420] - means(signals["CVP"], 5)[310:328].mean() >= 3


def test_the_crisis_stays_a_near_miss_by_both_halves_of_its_definition(files):
    signals = samples(files, POLE)
    (row,) = rows(POLE, "E28")
    assert row.label.startswith("none")
    lung, femoral = means(signals["PA"], 5), means(signals["FEM"], 5)
    high = np.flatnonzero(lung / femoral >= 0.7)
    assert 40 <= high.size < 60
    assert high[0] == pytest.approx(row.start_s, abs=5)
    # A breath lasts 5 s; the seconds of the height shift are no pressures.
    (shift,) = rows(POLE, "A7")
    lung = np.where((np.arange(600) >= shift.start_s - 3) & (np.arange(600) < shift.end_s + 3), np.nan, lung)
    assert np.nanmax(lung[300:] - lung[:-300]) < 15


def test_no_vignette_tells_a_name_or_a_date(files):
    for name, content in files.items():
        if name.endswith(".edf"):
            assert content[8:88].decode().split() == ["X", "X", "X", "X"]
            assert content[168:176] == b"01.01.85"  # EDF+ for a date left out (Kemp and Olivan 2003)
