"""What `afterclamp phases` prints: rule, value and alternatives of each boundary, durations, times, checks.

Times and sums: J6.4 of the invented case.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from afterclamp.replay.commands import main
from click.testing import CliRunner


def run(case: Path, *arguments: str) -> str:
    result = CliRunner().invoke(main, ["phases", str(case), *arguments])
    assert result.exit_code == 0, result.output
    return result.stdout


def read(case: Path, *sections: str) -> Any:
    return json.loads(run(case, "--json", *(word for one in sections for word in ("--section", one))))


def test_each_boundary_has_rule_value_and_alternatives_in_json(demo_folder: Path) -> None:
    rows = read(demo_folder)
    (bypass,) = [row for row in rows if row["name"] == "bypass"]
    assert bypass["start"]["channel"] == "pump_flow"
    assert bypass["start"]["rule"].startswith("flow above 0.2 L/min held 20 s")  # J5.1
    assert 0.0 <= bypass["start"]["value"] <= 0.2
    (clamp,) = [row for row in rows if row["name"] == "clamp"]
    assert any("clamp off" in text for text in clamp["end"]["alternatives"])
    # The names that were there before stay as they were.
    assert all({"name", "start_s", "end_s", "unc_s", "source", "parent"} <= set(row) for row in rows)


def test_details_give_them_as_sentences(demo_folder: Path) -> None:
    text = run(demo_folder, "--details")
    assert "flow above 0.2 L/min held 20 s, dated to where it left zero (pump flow 0." in text
    assert "could also be: “clamp off” (log)" in text
    assert "could also be" not in run(demo_folder)


def test_durations_times_and_checks_are_sections(demo_folder: Path) -> None:
    found = read(demo_folder, "durations", "times", "checks")
    sums = {row["duration"]: row["total_s"] for row in found["durations"]}
    assert sums["lower_body_arrest"] == pytest.approx(52 * 60 + 30, abs=20)  # 18:30 + 34:00
    times = {row["name"]: row for row in found["times"]}
    assert times["on bypass"]["at_s"] == pytest.approx(3600, abs=10)
    assert times["drainage lost"]["value"] > 0
    assert [row["number"] for row in found["checks"]] == list(range(1, 15))  # J5.4
    # The line of the log that is ten minutes wrong, and protamine before off bypass (J6.9).
    asking = {row["number"] for row in found["checks"] if row["asks"]}
    assert {8, 10} <= asking
    assert all(ask["todo"] for row in found["checks"] for ask in row["asks"])


def test_the_whole_text_has_every_section_and_one_alone_has_it_alone(demo_folder: Path) -> None:
    text = run(demo_folder)
    assert all(
        word in text
        for word in ("cross-clamp", "brain without flow", "coldest nasopharyngeal", "of 14 checks")
    )
    assert "brain without flow" not in run(demo_folder, "--section", "phases")
    assert read(demo_folder, "durations")[0]["duration"] == "bypass"
