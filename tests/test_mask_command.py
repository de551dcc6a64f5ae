"""``afterclamp hide``, ``unhide`` and ``masks``: what they keep, what they print, what they refuse.

The line of the small case is open to air from 120 s to 140 s, as `small_case` makes it.
"""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
import small_case
from afterclamp.io import open_case
from afterclamp.replay.commands import main
from click.testing import CliRunner, Result


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_case.make(tmp_path_factory.mktemp("mask_command") / "small")


@pytest.fixture
def case(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "copy")
    return tmp_path / "copy"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def rows(case: Path) -> list[dict[str, Any]]:
    result = run("masks", case, "--json")
    assert result.exit_code == 0
    found: list[dict[str, Any]] = json.loads(result.stdout)
    return found


def test_a_stretch_is_hidden_with_its_reason_and_author(case: Path) -> None:
    result = run("hide", case, "femoral", "10:00", "650.5", "--reason", "a cough", "--author", "mara")
    assert result.exit_code == 0
    # 600 s to 650.5 s touch 51 whole seconds.
    found = re.search(r"(\d+) s of it are masked now, (\d+) s before", result.stdout)
    assert found is not None
    assert int(found[1]) - int(found[2]) == 51
    [edit] = [json.loads(line) for line in (case / "log" / "mara.jsonl").read_text("utf-8").splitlines()]
    assert edit["verb"] == "hide"
    assert {key: edit["payload"][key] for key in ("channel", "start_s", "end_s", "reason")} == {
        "channel": "monitor/fem",
        "start_s": 600.0,
        "end_s": 650.5,
        "reason": "a cough",
    }


def test_masks_lists_rules_and_people_with_whole_seconds(case: Path) -> None:
    run("hide", case, "femoral", 600, 650.5, "--reason", "a cough", "--author", "mara")
    run("unhide", case, "femoral", 100, 160)
    found = rows(case)
    [hidden] = [row for row in found if row["by"] == "mara"]
    assert (hidden["state"], hidden["by"], hidden["masked_s"], hidden["why"]) == (
        "masked",
        "mara",
        51,
        "a cough",
    )
    assert "A1" not in {row["code"] for row in found}
    [believed] = [row for row in found if row["by"] == "reviewer"]
    assert (believed["state"], believed["by"], believed["masked_s"]) == ("believed", "reviewer", 0)
    text = run("masks", case).stdout
    assert "a cough" in text


def test_without_people_the_rule_is_named(case: Path) -> None:
    row = rows(case)[0]
    assert (row["code"], row["by"], row["state"], row["masked_s"]) == ("A1", "rule", "masked", 21)


def test_what_the_command_hides_the_desk_can_undo(case: Path) -> None:
    run("hide", case, "femoral", 600, 650)
    with open_case(case) as opened:
        opened.log.undo("reviewer")
        opened.refresh()
        assert opened["femoral"].masks == ()


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("brachial", "600", "650"), "brachial"),
        (("femoral", "650", "600"), "no length"),
        (("femoral", "soon", "650"), "no length of time"),
        (("femoral", "9000", "9100"), "holds nothing"),
        (("femoral", "600", "650", "--author", "a b"), "author"),
    ],
)
@pytest.mark.parametrize("verb", ["hide", "unhide"])
def test_what_cannot_be_done_is_a_sentence_and_keeps_nothing(
    case: Path, verb: str, arguments: tuple[str, ...], word: str
) -> None:
    result = run(verb, case, *arguments)
    assert result.exit_code == 2
    assert word in result.output
    assert not (case / "log" / "reviewer.jsonl").exists()
