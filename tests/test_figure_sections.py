"""What `afterclamp figures` prints, section by section, on the demonstration as recorded."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from afterclamp.io.case import Case
from afterclamp.replay.commands import main
from afterclamp.replay.figure_sections import Asked, text_of
from click.testing import CliRunner


def run(*arguments: str | Path) -> Any:
    return CliRunner().invoke(main, ["figures", *map(str, arguments)])


def test_all_sections_stand_under_their_titles(demo_folder: Path) -> None:
    text = run(demo_folder).stdout
    titles = ["Minutes and areas\n", "Computed values\n", "By phase\n", "Ledgers\n"]
    assert sorted(titles, key=text.index) == titles
    assert "with left radial believed instead of femoral: 34.0 min" in text  # expected figure of the case


def test_one_section_alone_has_no_title(demo_folder: Path) -> None:
    text = run(demo_folder, "--section", "ledgers").stdout
    assert text.startswith("Anticoagulation\n")
    assert "clotting time 486 s (before bypass)" in text  # "ACT 486" in the log of the case
    assert "Longest stretch on bypass without a clotting time: 24" in text  # on for 247:00, by subtraction


def test_values_have_unit_seconds_site_and_what_must_be_known(demo_folder: Path) -> None:
    with Case.open(demo_folder) as case:
        text = text_of(case, ["values"], Asked())
    heading, first, *_ = text.splitlines()
    assert [word for word in ("of observed", "left out", "masked", "missing", "site") if word in heading] == [
        "of observed",
        "left out",
        "masked",
        "missing",
        "site",
    ]
    assert "1.84 m²" in first
    assert "mmHg·min²/L²" in text
    assert "mm[Hg]" not in text
    assert "exploratory" in text
    assert "systemic vascular resistance, off bypass: no cardiac output is recorded" in text


def test_each_phase_has_its_seconds_and_share_missing(demo_folder: Path) -> None:
    with Case.open(demo_folder) as case:
        text = text_of(case, ["phases"], Asked())
    for words in ("before bypass, 07:42:00–08:42:00, 60:00", "arrest, no flow 2, ", "established bypass, "):
        assert words in text
    for heading in ("median", "5 %", "95 %", "lowest", "highest", "observed", "masked", "missing"):
        assert heading in text
    assert "of which nothing was observed not shown" in text


def test_json_is_the_limits_alone_unless_asked(demo_folder: Path) -> None:
    rows = json.loads(run(demo_folder, "--json").stdout)
    assert {"measure", "limit", "observed_s", "bridged_outside_s", "exact_outside_s"} <= rows[0].keys()
    several = json.loads(run(demo_folder, "--json", "--section", "values", "--section", "ledgers").stdout)
    assert several.keys() == {"values", "ledgers"}
    assert several["ledgers"].keys() == {"anticoagulation", "cardioplegia"}
    assert {"measure", "value", "unit", "observed_s", "site", "note", "clean"} <= several["values"][0].keys()


def test_a_measure_at_chosen_times(demo_folder: Path) -> None:
    # 304, 297 and 239 mL/min/m² at 110, 210 and 250 min: expected figures of the case.
    times = ("--at", "110:00", "--at", "210:00", "--at", "4:10:00")
    rows = json.loads(run(demo_folder, "--json", *times).stdout)[:3]
    assert [row["value"] for row in rows] == [pytest.approx(one, rel=0.03) for one in (304, 297, 239)]
    wrong = run(demo_folder, "--at", "noon")
    assert wrong.exit_code == 2
    assert "--at" in wrong.stderr
    assert "110:00" in wrong.stderr


def test_raw_says_so(demo_folder: Path) -> None:
    text = run(demo_folder, "--raw", "--section", "limits").stdout
    assert "Raw, artefacts left in." in text
    assert "Artefacts masked and counted." not in text
