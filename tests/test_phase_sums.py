"""Sums of the phases on the desk: in the step in which a time is set, with their ±, as a list and as text."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from datetime import datetime

import pytest
from afterclamp.annotate.inconsistencies import Inconsistency
from afterclamp.annotate.marks import Verdict
from afterclamp.annotate.phase_durations import durations
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.phases import overlay
from afterclamp.io.case import TimedNote
from afterclamp.replay import export
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.clock_face import ClockFace
from afterclamp.replay.panes.phase_sums import PhaseSums
from afterclamp.replay.sum_words import AS_PLACED, as_text, short_sums, sum_rows
from desk_support import FINDS, LOW, desk, settings, small_folder  # noqa: F401
from PySide6.QtCore import QUrl
from PySide6.QtGui import QGuiApplication
from pytestqt.qtbot import QtBot

# ruff: noqa: F811


def phase(name: str, start: float, end: float, sd: float = 0.0, *, open_end: bool = False) -> Phase:
    return Phase(
        name,
        Boundary(start, "flow", sampling_sd_s=sd),
        Boundary(end, "flow", sampling_sd_s=sd, recorded=not open_end),
    )


# Lengths by hand: bypass 4:00:00 = 240 min, arrests 18 and 20 min, 10 min between them.
CASE = [
    phase("bypass", 3600.0, 18_000.0, 1.0),
    phase("clamp", 7200.0, 12_600.0),
    phase("no_flow_arrest", 7800.0, 8880.0, 1.0),
    phase("reperfusion", 8880.0, 9480.0, 1.0),
    phase("no_flow_arrest", 9480.0, 10_680.0, 1.0),
]


def face() -> ClockFace:
    made = ClockFace()
    made.set_start(datetime(2026, 1, 1, 8, 0, 0))
    return made


def test_every_sum_stands_in_the_list_with_its_doubt_and_its_parts() -> None:
    # J5.3: bypass with and without no flow, each arrest, the longest, their sum, reperfusion, clamp off to off.
    rows = {row.cells[0]: row.cells[1:5] for row in sum_rows(durations(CASE), face().text) if not row.part}
    # Two ends of 1 s each: sqrt(2) of a length, 1.96 for 95 %: 2.8 s; of two lengths 3.9 s; of three 4.8 s.
    assert rows["bypass"] == ("09:00:00", "13:00:00", "240:00 min", "± 2.8 s")
    assert rows["bypass net of no flow"][2:] == ("202:00 min", "± 4.8 s")
    assert rows["arrest, no flow"] == ("2 parts", "", "38:00 min", "± 3.9 s")
    assert rows["longest arrest, no flow"][2] == "20:00 min"
    assert rows["brain without flow"][2] == "38:00 min"
    assert rows["reperfusion"][2] == "10:00 min"
    assert rows["cross-clamp"][2:] == ("90:00 min", AS_PLACED)
    assert rows["clamp off to off bypass"][2] == "90:00 min"
    parts = [row.cells[:4] for row in sum_rows(durations(CASE), face().text) if row.part]
    assert ("1", "10:10:00", "10:28:00", "18:00 min") in parts
    assert ("2", "10:38:00", "10:58:00", "20:00 min") in parts


def test_a_sum_that_the_record_cuts_off_is_at_least_so_long() -> None:
    sums = durations([phase("bypass", 3600.0, 18_000.0, open_end=True)])
    assert short_sums(sums)[0].startswith("bypass at least 240:00")
    (row, *_) = sum_rows(sums, face().text)
    assert row.cells[3] == "at least 240:00 min"
    assert "begins or ends within it" in row.cells[-1]


def test_a_clamp_that_nobody_set_is_named_as_that() -> None:
    told = short_sums(durations([phase("bypass", 3600.0, 18_000.0)]))
    assert "cross-clamp not set" in told
    assert short_sums({}) == []


def test_several_are_counted_with_the_longest() -> None:
    (arrest,) = [text for text in short_sums(durations(CASE)) if text.startswith("no flow")]
    assert arrest == "no flow 38:00 ± 3.9 s (2, longest 20:00)"


def test_as_text_each_row_has_every_column() -> None:
    lines = as_text(sum_rows(durations(CASE), face().text)).split("\n")
    assert {line.count("\t") for line in lines} == {7}
    assert lines[0].startswith("What\tFrom\tTo\tLength\t±")


def test_no_number_is_cut_where_room_is_short(qtbot: QtBot) -> None:
    pane = PhaseSums(face())
    qtbot.addWidget(pane)
    pane.set_phases(CASE)
    everything = short_sums(pane.sums)
    for width in (300, 520, 760, 3000):
        pane.resize(width, 30)
        pane.show()
        assert pane.line.count("\n") < 2
        shown = pane.line.removeprefix("Sums, min:s: ").replace("\n", "  ·  ").split("  ·  ")
        kept = [text for text in shown if text in everything]
        assert len(kept) >= len(shown) - 1
        if len(kept) < len(everything):
            assert shown[-1] == f"{len(everything) - len(kept)} more"
    assert pane.line.endswith(everything[-1])
    assert pane.accessibleDescription() == "; ".join(everything)
    pane.set_phases([])
    assert "no phases known" in pane.line


def test_the_time_from_asking_for_bypass_to_full_flow_is_among_them(qtbot: QtBot) -> None:
    pane = PhaseSums(face())
    qtbot.addWidget(pane)
    pane.set_notes([TimedNote(3500.0, 3500.0, "Bypass please.", 1.0, "log")])
    pane.set_phases([phase("going_on", 3600.0, 3680.0, 1.0), *CASE])
    rows = {row.cells[0]: row.cells for row in pane.rows}
    # 3680 − 3500 s; two ends of 1 s each, and of the words what they are taken to be late by or less.
    assert rows["bypass asked for to full flow"][3] == "3:00 min"
    assert rows["bypass asked for to full flow"][4].startswith("± ")


# -- on the desk ---------------------------------------------------------------------------------------


def test_the_sums_follow_a_time_that_is_set_at_once_and_its_undo(desk: Desk, qtbot: QtBot) -> None:
    desk.session.take("phases", [phase("bypass", 300.0, 900.0, 1.0)])
    assert desk.views.sums.sums["bypass"].total_s == 600.0
    assert "clamp" not in desk.views.sums.sums
    desk.does.show_sums()
    box = desk.views.sums.box
    assert box is not None
    assert not box.isModal(), "the ladder is dragged while it is open"
    desk.session.set_phase({"name": "clamp", "index": 0, "start_s": 400.0, "end_s": 700.0, "sd_s": 0.0})
    assert desk.views.sums.sums["clamp"].total_s == 300.0
    assert "5:00 min" in box.page.toPlainText()
    box.copy()
    assert "cross-clamp" in QGuiApplication.clipboard().text()
    desk.does.undo()
    assert "clamp" not in desk.views.sums.sums, "nothing is looked at again for that"
    assert all(not rung.is_set for rung in desk.views.ladder.rungs if rung.name == "clamp")
    desk.does.redo()
    assert desk.views.sums.sums["clamp"].total_s == 300.0
    box.close()


def test_figures_of_old_phases_are_called_that(desk: Desk) -> None:
    from test_desk_figures import LOW as FIGURE

    desk.session.take("phases", [phase("bypass", 300.0, 900.0, 1.0)])
    desk.session.take("figures", [FIGURE])
    assert desk.tabs.tabText(2) == "Figures"
    desk.session.set_phase({"name": "clamp", "index": 0, "start_s": 400.0, "end_s": 700.0, "sd_s": 0.0})
    desk.session._figures_by.clear()  # as a look does; none is started in tests
    desk.session.progressed.emit("figures", 0.5)
    assert desk.tabs.tabText(2) == "Figures (old)"
    desk.session.take("figures", [FIGURE])
    assert desk.tabs.tabText(2) == "Figures"


# -- who decided, and where to look --------------------------------------------------------------------


def test_what_each_author_said_of_a_find_stands_on_the_why_card_and_in_the_loose_ends(
    desk: Desk, qtbot: QtBot
) -> None:
    desk.finds.select(LOW.key)
    desk.does.accept_find()
    assert f"accepted by {desk.session.author}" in desk.why.toPlainText()
    other = Verdict("set aside", {}, "bob", "2026-01-01", "e9")
    desk.session.verdicts[LOW.key].append(other)
    desk._write_lists()
    told = f"accepted by {desk.session.author}, set aside by bob"
    assert f"in dispute: {told}" in desk.why.toPlainText()
    ends = desk.loose_ends.toPlainText()
    assert told in ends
    assert "drawn and counted as a proposal meanwhile" in ends


def test_a_time_in_the_loose_ends_is_gone_to(desk: Desk, qtbot: QtBot) -> None:
    desk.session.verdicts[LOW.key] = [
        Verdict("accepted", {}, "anna", "2026-01-01", "e8"),
        Verdict("set aside", {}, "bob", "2026-01-01", "e9"),
    ]
    desk._write_lists()
    assert f"t:{LOW.start_s:.3f}" in desk.loose_ends.toHtml()
    desk.loose_ends.anchorClicked.emit(QUrl(f"t:{LOW.start_s:.3f}"))
    assert desk.playhead.time == pytest.approx(LOW.start_s)


def test_two_edits_of_the_same_phase_say_who_set_what(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    first = case.edit("anna", "phase", {"name": "clamp", "start_s": 400.0, "end_s": 700.0})
    case.edit("anna", "phase", {"name": "clamp", "start_s": 410.0, "end_s": 700.0}, supersedes=first.id)
    case.edit("bob", "phase", {"name": "clamp", "start_s": 430.0, "end_s": 700.0}, supersedes=first.id)
    desk._write_lists()
    ends = desk.loose_ends.toPlainText()
    for author, t in (("anna", 410.0), ("bob", 430.0)):
        assert author in ends
        assert f"times of cross-clamp, {desk.face.text(t)} to {desk.face.text(700.0)}" in ends
        assert f"t:{t:.3f}" in desk.loose_ends.toHtml()
    assert "The later one stands meanwhile" in ends


def test_what_cannot_be_as_it_stands_leads_to_each_of_its_times(desk: Desk, qtbot: QtBot) -> None:
    asked = Inconsistency(8, "Protamine at {1}, before bypass ended at {0}.", "Look.", (700.0, 600.0))
    desk.session.take("finds", replace(FINDS, asked=(asked,)))
    html = desk.loose_ends.toHtml()
    assert html.index("t:600.000") < html.index("t:700.000"), "in the order of the sentence"
    assert asked.in_words(desk.face.text) in desk.loose_ends.toPlainText()


def test_the_export_names_what_gave_each_end_and_who_set_it(desk: Desk) -> None:
    # J7.7: source_rule, chosen_by and alternatives_json of each phase.
    given = phase("bypass", 300.0, 900.0)
    edit = {"name": "bypass", "index": 0, "start_s": 300.0, "end_s": 880.0, "start_by": "", "end_sd_s": 2.0}
    (row,) = csv.DictReader(export._phases(overlay([given], [("anna", edit)])).splitlines())
    assert (row["start_by"], row["end_by"], row["confirmed_by"]) == ("", "anna", "")
    assert row["source_rule"] == "from: flow; to: set by anna"
    (other,) = json.loads(row["alternatives_json"])["end"]
    assert "0:15:00" in other or "15:00" in other, "where it was proposed, 900 s"
    assert float(row["end_unc95 [s]"]) == pytest.approx(2 * 1.96, rel=1e-3)
