"""Beats as a table, the pulsatile index, and `afterclamp beats`."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import small_case
from afterclamp.annotate.beat_table import beat_table, pulsation
from afterclamp.io import open_case
from afterclamp.io.errors import NoSuchChannel
from afterclamp.replay.commands import main
from click.testing import CliRunner


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_case.make(tmp_path_factory.mktemp("beats") / "small")


def test_a_table_has_every_beat_of_the_made_wave_and_none_on_the_pump(case: Path) -> None:
    # By construction (small_case): 1.25 beats a second but while the pump runs, 300 to 900 s; open to air 120 to 140 s.
    with open_case(case) as opened:
        found = beat_table(opened["femoral"])
    pulsing = small_case.LENGTH_S - 600 - 20
    assert len(found) == pytest.approx(1.25 * pulsing, rel=0.02)
    assert np.sum((found.onset > 303) & (found.onset < 897)) <= 10  # one a minute
    assert not np.any((found.onset > 120) & (found.onset < 140))
    np.testing.assert_allclose(np.median(found.rate_per_min), 75, atol=0.2)
    assert np.all(np.diff(found.onset) > 0)
    assert set(map(len, found.columns().values())) == {len(found)}


def test_measures_of_a_beat_are_those_of_the_made_shape(case: Path) -> None:
    # The shape in closed form: 60 + 45 sin(π φ / 0.35) + 20 exp(-1.5 φ), φ the part of a beat of 0.8 s.
    phase = np.linspace(0, 1, 100_001)
    shape = 60 + np.where(phase < 0.35, np.sin(np.pi * phase / 0.35), 0) * 45 + np.exp(-1.5 * phase) * 20
    slope = np.diff(shape) / (0.8 / 100_000)
    with open_case(case) as opened:
        found = beat_table(opened["femoral"], 10, 110)
    assert found.onset.min() >= 10
    assert found.onset.max() < 110
    assert np.median(found.systolic) == pytest.approx(shape.max(), abs=1.5)
    assert np.median(found.diastolic) == pytest.approx(shape.min(), abs=1.5)
    assert np.median(found.mean) == pytest.approx(shape.mean(), abs=0.3)
    assert np.median(found.pulse_pressure) == pytest.approx(np.ptp(shape), abs=2.5)
    # At the foot the made wave steps up by 15 mmHg from one sample to the next, which is steeper than its sine.
    assert np.median(found.upstroke) > slope.max()
    systole = phase < 0.35
    area = np.trapezoid(shape[systole] - shape.min(), phase[systole] * 0.8)
    assert np.nanmedian(found.systolic_area) == pytest.approx(area, rel=0.1)


def test_the_end_of_a_window_is_not_part_of_it_and_beats_do_not_move_with_it(case: Path) -> None:
    with open_case(case) as opened:
        whole = beat_table(opened["femoral"])
        part = beat_table(opened["femoral"], whole.onset[20], whole.onset[30])
    np.testing.assert_array_equal(part.onset, whole.onset[20:30])
    np.testing.assert_array_equal(part.systolic_area, whole.systolic_area[20:30])


def test_the_pulsatile_index_is_nought_on_the_pump_and_unknown_in_artefact(case: Path) -> None:
    with open_case(case) as opened:
        found = pulsation(opened["femoral"], opened.grid)
    index = found.index
    assert np.all(index[10:110] == 1)
    assert np.all(index[310:890] == 0)
    assert np.all(np.isnan(index[124:136]))
    assert found.observed_s == pytest.approx(small_case.LENGTH_S - 20, abs=8)
    assert found.pulsatile_s == pytest.approx(small_case.LENGTH_S - 620, abs=12)
    # On the pump the mean of 4 s: 58 by construction.
    assert found.mean[400:800] == pytest.approx(58, abs=0.3)


def test_raw_beats_may_lie_in_what_is_masked_otherwise(case: Path) -> None:
    with open_case(case) as opened:
        clean, raw = (pulsation(opened["femoral"], opened.grid, masked=state) for state in (True, False))
    assert np.isnan(clean.index[130])
    assert raw.index[130] == 0  # open to air there is no pulse


def test_only_pressure_waves_have_beats(case: Path) -> None:
    with open_case(case) as opened, pytest.raises(NoSuchChannel, match="no pressure wave"):
        beat_table(opened["pump_flow"])


def run(*arguments: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    return result.exit_code, result.stdout, result.stderr


def test_the_command_prints_beats_with_their_denominator(case: Path, tmp_path: Path) -> None:
    out = tmp_path / "beats.csv"
    code, said, _ = run("beats", case, "femoral", "--from", 10, "--to", 70, "--csv", out)
    assert code == 0
    assert "of 1.0 observed min" in said
    rows = list(csv.DictReader(out.read_text("utf-8").splitlines()))
    assert len(rows) == pytest.approx(75, abs=1)
    assert float(rows[0]["onset [s]"]) >= 10
    assert float(rows[5]["rate [/min]"]) == pytest.approx(75, abs=2)
    code, said, _ = run("beats", case, "femoral", "--from", 10, "--to", 70, "--json")
    document = json.loads(said)
    assert len(document["beats"]) == len(rows)
    assert document["observed_s"] == 60


def test_the_command_says_what_is_wrong_with_what_it_is_given(case: Path, tmp_path: Path) -> None:
    assert run("beats", case, "femoral", "--from", 70, "--to", 10)[0] == 2
    for line, words in (("pump_flow", "no pressure wave"), ("aorta", "no channel is called")):
        code, _, said = run("beats", case, line)
        assert code == 1
        assert words in said
    there = tmp_path / "there.csv"
    there.write_text("mine")
    code, _, said = run("beats", case, "femoral", "--csv", there)
    assert code == 1
    assert there.read_text() == "mine"


def test_where_nothing_pulses_it_says_so(case: Path) -> None:
    code, said, _ = run("beats", case, "femoral", "--from", 400, "--to", 800)
    assert code == 0
    assert said.startswith(
        "femoral (monitor/fem): 0 beats; a pulse of 5 mmHg or more in 0.0 of 6.7 observed min (artefacts masked)."
    )
