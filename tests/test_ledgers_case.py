"""The ledgers of a case: from its sheet, from a channel, and from what was written down; and as they are printed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.ledgers import anticoagulation, cardioplegia
from afterclamp.io.case import Case
from afterclamp.io.recording import Note, Segment
from afterclamp.io.terms import Identity
from afterclamp.replay.figure_sections import anticoagulation_text, cardioplegia_text
from recordings import case_of, even, recording

SHEET = """
[plan]
cardioplegia_interval_min = 20
[anticoagulation]
target_s = 480
target_source = "our unit"
[[heparin]]
time = "5:00"
units = 28000
[[clotting_time]]
drawn = "9:00"
result = "15:00"
seconds = 486
[[clotting_time]]
drawn = "40:00"
seconds = 455
[[protamine]]
time = "95:00"
[[cardioplegia]]
start = "22:00"
end = "26:00"
route = "root"
volume_ml = 1000
temperature_c = 4
pressure_mmhg = 80
[[cardioplegia]]
start = "48:30"
end = "50:30"
route = "ostial"
volume_ml = 300
"""
LENGTH_S = 7200
ON_S, OFF_S = 900, 5400  # bypass from 15 to 90 min
CLAMP_S = (1200.0, 4800.0)


def make(folder: Path, *, sheet: str = "", notes: tuple[Note, ...] = (), channel: bool = False) -> Case:
    flow = np.zeros(LENGTH_S, np.float32)
    flow[ON_S:OFF_S] = 4.4
    channels = [even("flow", flow, [Segment(0.0, 0, LENGTH_S, 1.0)], unit="L/min")]
    if channel:
        dose = np.zeros(LENGTH_S, np.float32)
        dose[3600:3720] = 300.0  # mL/min from 60:00 to 62:00
        channels.append(even("cpg", dose, [Segment(0.0, 0, LENGTH_S, 1.0)], unit="mL/min"))
    identities = {"flow": Identity("pump_flow"), "cpg": Identity("cardioplegia_flow")}
    case_of(folder, recording("pump", channels, notes=notes), identities=identities).close()
    (folder / "traces" / "case-sheet.toml").write_text(sheet)
    case = Case.open(folder)
    clamp = {"name": "clamp", "index": 0, "start_s": CLAMP_S[0], "end_s": CLAMP_S[1]}
    case.log.append("tester", "phase", clamp)
    return case


def test_anticoagulation_from_the_sheet(tmp_path):
    with make(tmp_path / "case", sheet=SHEET) as case:
        ledger, said = anticoagulation(case)
        text = anticoagulation_text(case, ledger, said)
    assert said == ()
    assert [row.part for row in ledger.rows] == ["before", "on"]
    assert [row.below_target for row in ledger.rows] == [False, True]
    assert ledger.rows[0].result_after_s == 360
    assert ledger.first_before is not None
    assert ledger.first_before.seconds == 486
    # Draws on bypass: at 40:00 alone; so from there to coming off at 90:00, by subtraction.
    assert ledger.longest_on_bypass_s == pytest.approx(50 * 60, abs=15)
    assert "Target in force: 480 s (our unit)." in text
    assert "clotting time 455 s (on bypass)" in text
    assert text.count("below") == 1


def test_what_the_sheet_does_not_hold_is_taken_from_what_was_written_down_and_said(tmp_path):
    notes = (
        Note(300.0, 300.0, "heparin"),
        Note(600.0, 600.0, "ACT 486"),
        Note(5500.0, 5500.0, "Protamine"),
        Note(5600.0, 5600.0, "Pressure is going, stop the protamine."),
        Note(5700.0, 5700.0, "contact lost"),
    )
    with make(tmp_path / "case", notes=notes) as case:
        ledger, said = anticoagulation(case)
    assert (ledger.heparin_s, ledger.protamine_s) == ((300.0,), (5500.0,))
    assert [(row.test.drawn_s, row.test.seconds) for row in ledger.rows] == [(600.0, 486.0)]
    assert len(said) == 3
    assert "when the blood was drawn is not known" in said[2]


def test_a_case_without_any_of_it_says_what_is_missing(tmp_path):
    with make(tmp_path / "case") as case:
        ledger, said = anticoagulation(case)
        doses, doses_said = cardioplegia(case)
        text = anticoagulation_text(case, ledger, said) + cardioplegia_text(case, doses, doses_said)
    assert "no heparin is written down" in ledger.missing
    assert doses_said == ("no dose is on the case sheet, and no channel recorded one",)
    assert "No activated clotting time is written down." in text
    assert "Target in force: none set." in text


def test_cardioplegia_from_sheet_and_channel(tmp_path):
    with make(tmp_path / "case", sheet=SHEET, channel=True) as case:
        ledger, said = cardioplegia(case)
        text = cardioplegia_text(case, ledger, said)
    assert [(row.dose.route, row.since_clamp_s, row.interval_s) for row in ledger.rows] == [
        ("root", 120, 120),
        ("ostial", 1710, 1350),  # 48:30 less 26:00
        ("", 2400, 570),  # 60:00 less 50:30
    ]
    assert [row.over_own_limit for row in ledger.rows] == [False, True, False]
    assert ledger.rows[2].dose.volume_ml == pytest.approx(600)
    assert ledger.last_intervals_s == (4800 - 3720,)
    assert said == ("1 read off the channel cardioplegia flow",)
    assert "The unit's own limit for an interval: 20:00 min." in text
    assert text.count("over") == 1, "shown, not judged"


def test_without_a_clamp_nobody_guesses_one(tmp_path):
    with make(tmp_path / "case", sheet=SHEET) as case:
        case.log.undo("tester")
        ledger, said = cardioplegia(case)
    assert ledger.clamps == ()
    assert np.isnan(ledger.longest_interval_s)
    assert said[0] == "when the clamp was on is not known: nobody set it"
