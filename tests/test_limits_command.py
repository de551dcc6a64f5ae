"""``afterclamp limits``: lists what is in force with sources and rivals, chooses sets, edits numbers, tells changes."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
import small_case
from afterclamp.annotate.limits import default_sets
from afterclamp.io import open_case
from afterclamp.replay.commands import main
from click.testing import CliRunner, Result
from own_limits import OURS


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_case.make(tmp_path_factory.mktemp("limits") / "small")


@pytest.fixture
def case(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "case")
    return tmp_path / "case"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    (tmp_path / "ours.toml").write_text(OURS)
    return tmp_path / "ours.toml"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["limits", *map(str, arguments)])


def read(*arguments: object) -> Any:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def edits(case: Path) -> int:
    with open_case(case) as opened:
        return len(opened.log.standing("limits"))


def test_every_limit_is_listed_with_its_set_state_source_and_rivals(case: Path) -> None:
    document = read(case)
    assert [(one["name"], one["built_in"]) for one in document["sets"]] == [
        ("published", True),
        ("practice", True),
    ]
    by_id = {one["id"]: one for one in document["limits"]}
    assert set(by_id) == {limit.id for one in default_sets() for limit in one if limit.figure}
    low = by_id["map-50-on-bypass"]  # EACTS/EACTA/EBCP 2019: below 50 mmHg
    assert (low["side"], low["limit"], low["unit"], low["state"]) == ("below", 50, "mm[Hg]", "published")
    assert "Br J Anaesth 2019;123:713-57" in low["source"]
    assert any("Sun et al." in rival["source"] and rival["limit"] == 55 for rival in low["rivals"])
    text = run(case).stdout
    assert "published, version 1; practice, version 1; nobody chose others" in text
    assert "None is a target" in text
    assert "below 55 mmHg" in text


def test_a_unit_s_file_is_put_in_force_and_can_be_undone(case: Path, file: Path) -> None:
    result = run(case, "--use", "published", "--use", "practice", "--use", file, "--author", "mara")
    assert result.exit_code == 0, result.stderr
    assert "chosen by mara" in result.stdout
    document = read(case)
    by_id = {(one["set"], one["id"]): one for one in document["limits"]}
    assert by_id["ours", "map-60"]["state"] == "local"
    assert by_id["published", "map-50-on-bypass"]["stands_back_for"] == "ours"
    with open_case(case) as opened:
        opened.log.undo("mara")
    assert read(case)["chosen_by"] is None


def test_a_number_is_edited_with_a_reason_and_taken_back(case: Path) -> None:
    assert run(case, "--number", "published:map-50-on-bypass=55", "--why", "our protocol").exit_code == 0
    low = next(one for one in read(case)["limits"] if one["id"] == "map-50-on-bypass")
    assert (low["limit"], low["was"], low["state"]) == (55, 50, "edited")
    assert "our protocol" in low["source"]
    assert "was below 50 mmHg" in run(case).stdout
    assert run(case, "--take-back", "published:map-50-on-bypass").exit_code == 0
    low = next(one for one in read(case)["limits"] if one["id"] == "map-50-on-bypass")
    assert (low["limit"], low["state"]) == (50, "published")


def test_what_changes_is_told_and_nothing_is_kept(case: Path, file: Path) -> None:
    # 58 mmHg throughout bypass (tests/small_case.py): over 50, under 60.
    text = run(case, "--use", "published", "--use", "practice", "--use", file, "--what-changes").stdout
    assert "E13" in text
    assert "below 50 mmHg (published, version 1): 0.0 min of" in text
    assert re.search(r"below 60 mmHg \(ours, version 3\): ([\d.]+ min) of \1 observed", text)  # all of it
    same = run(case, "--number", "practice:reservoir-400=300", "--why", "why", "--what-changes").stdout
    assert same.strip() == "Nothing changes: every figure and every find stays as it is."
    assert edits(case) == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--use", "guideline"], "no limit set and no file 'guideline'"),
        (["--number", "published:map-50-on-bypass=55"], "--why"),
        (["--number", "published:map-50-on-bypass=low", "--why", "x"], "SET:LIMIT=NUMBER"),
        (["--number", "map-50-on-bypass=55", "--why", "x"], "SET:LIMIT"),
        (["--take-back", "published:map-50-on-bypass"], "no number of published:map-50-on-bypass is edited"),
        (["--what-changes"], "--use, --number or --take-back"),
        (["--use", "practice", "--author", "me & you"], "author"),
    ],
)
def test_wrong_use_ends_with_two_and_keeps_nothing(case: Path, arguments: list[str], said: str) -> None:
    result = run(case, *arguments)
    assert result.exit_code == 2
    assert said in result.stderr
    assert edits(case) == 0


def test_a_limit_that_is_not_there_is_one_sentence(case: Path) -> None:
    result = run(case, "--number", "published:map-1=55", "--why", "x")
    assert result.exit_code == 1
    assert "no limit 'map-1'" in result.stderr


def test_the_figures_go_by_what_is_in_force_and_limits_stands_above_it(case: Path, file: Path) -> None:
    def low(*arguments: str) -> list[float]:
        found = CliRunner().invoke(main, ["figures", str(case), "--json", *arguments])
        return [
            one["limit"]
            for one in json.loads(found.stdout)
            if (one["measure"], one["phase"], one["side"], one["part"])
            == ("mean_arterial_pressure", "established", "below", "")
        ]

    run(case, "--use", file)
    assert low() == [60]
    assert low("--limits", "published") == [50]


def test_tables_and_paper_name_the_sets_in_force(case: Path, file: Path, tmp_path: Path) -> None:
    run(case, "--use", file)
    exported = CliRunner().invoke(main, ["export", str(case), "--out", str(tmp_path / "out")])
    assert exported.exit_code == 0, exported.stderr
    assert "Limits in force: ours, version 3" in (tmp_path / "out" / "NOTE.txt").read_text("utf-8")
    assert "ours, version 3" in (tmp_path / "out" / "figures.csv").read_text("utf-8")
    paper = CliRunner().invoke(main, ["paper", str(case), "--out", str(tmp_path / "paper.html")])
    assert paper.exit_code == 0, paper.stderr
    assert "Limits in force: ours, version 3" in (tmp_path / "paper.html").read_text("utf-8")


def test_a_unit_that_does_not_fit_is_refused_before_anything_is_worked_out(case: Path, file: Path) -> None:
    file.write_text(OURS.replace("mm[Hg]", "L/min"))
    result = run(case, "--use", file, "--what-changes")
    assert result.exit_code != 0
    assert "limit 'map-60': found the unit 'L/min' for mean_arterial_pressure" in result.stderr
    assert edits(case) == 0


def test_figures_and_finds_go_by_the_same_number_of_a_limit_in_kpa(case: Path, file: Path) -> None:
    # 58 mmHg throughout bypass (tests/small_case.py); 60 mm[Hg] are 7.99932 kPa by UCUM.
    file.write_text(OURS.replace("below = 60", "below = 7.99932").replace("mm[Hg]", "kPa"))
    found = read(case, "--use", "published", "--use", file, "--what-changes")
    after = {one["what"]: one["after"] for one in found["changes"]}
    assert "limit 60.0 mmHg" in after["E13 hypotension on bypass, femoral"]
    assert after["mean arterial pressure, established bypass, femoral"].startswith("below 60 mmHg (ours")
    run(case, "--use", "published", "--use", file)
    own = next(one for one in read(case)["limits"] if one["id"] == "map-60")
    assert own["written"] == {"limit": 7.99932, "unit": "kPa"}
    assert own["rule"] == "E13.below"
    assert "below 60 mmHg (7.99932 kPa)" in run(case).stdout


def test_constants_alone_can_be_used(case: Path, file: Path) -> None:
    file.write_text(
        'name = "ours"\nversion = "1"\n[oxygen]\ncapacity = 1.36\nsolubility = 0.003\nstatus = "U"\nsource = "us"\n'
    )
    assert [one["name"] for one in read(case, "--use", file)["sets"]] == ["published", "practice", "ours"]


def test_whether_finds_go_by_a_limit_is_said_in_the_list(case: Path) -> None:
    text = run(case).stdout
    assert re.search(r"below 280 mL/min/m²\s+published\s+E12 goes by it", text)
    assert re.search(r"below 262 mL/min/m²\s+published\s+finds go by their own number: E12 by 280", text)
