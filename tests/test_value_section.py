"""Computed values and ledgers on the paper: each number beside the seconds it rests on, on the demonstration."""

from __future__ import annotations

from pathlib import Path

import pytest
from afterclamp.annotate.ledgers import anticoagulation, cardioplegia
from afterclamp.annotate.overview import computed_values
from afterclamp.io.case import Case
from afterclamp.replay.paper.content import Section
from afterclamp.replay.paper.value_section import ledger_section, value_section


@pytest.fixture(scope="module")
def sections(demo_folder: Path) -> tuple[Section, Section]:
    with Case.open(demo_folder) as case:
        values = value_section(computed_values(case))
        return values, ledger_section(case, anticoagulation(case), cardioplegia(case))


def test_no_value_without_its_seconds_and_site(sections: tuple[Section, Section]) -> None:
    table, absent = sections[0].tables
    observed, site = table.headings.index("of observed min"), table.headings.index("site")
    for row in table.rows:
        assert len(row.cells) == len(table.headings) == len(table.right) == len(table.widths)
        assert row.cells[site]
        if row.cells[site] != "case sheet":
            assert row.cells[observed] != "–", row.cells[0]
    words = {row.cells[0]: row.cells[2] for row in table.rows}
    assert words["line resistance, median"] == "7.75 mmHg·min²/L²"  # the case's own rule: 7.75 · flow²
    assert words["flow by weight, mean"].startswith("11.")  # expected figure of the case: 11.3 mL/kg/min
    assert any("no cardiac output is recorded" in row.cells[2] for row in absent.rows)


def test_ledgers_say_what_is_there_and_what_is_not(sections: tuple[Section, Section]) -> None:
    clotting, doses = sections[1].tables
    assert [row.cells[1] for row in clotting.rows] == [
        "heparin",
        "clotting time 486 s, before bypass",  # "ACT 486" in the log of the case
        "protamine",
    ]
    assert "no target set" in clotting.caption
    assert "when the blood was drawn is not known" in clotting.caption
    assert doses.rows == ()
    assert "No dose is on the case sheet, and no channel recorded one" in doses.caption
