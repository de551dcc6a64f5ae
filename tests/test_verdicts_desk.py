"""What a person makes of finds: by one key each, kept as their own marks with the origin, undone whole."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from afterclamp.annotate import judged, marks
from afterclamp.annotate.finds import Finds
from afterclamp.annotate.judged import no_longer_found, own_marks
from afterclamp.annotate.marks import Mark
from afterclamp.annotate.rules import RULES
from afterclamp.io import open_case
from afterclamp.io.case import Case
from afterclamp.io.errors import EditRefused
from afterclamp.replay.desk import Desk
from afterclamp.replay.export import export_tables
from afterclamp.replay.label_rows import decision_rows, label_rows
from desk_support import FLUSH, LOW, desk, settings, small_folder  # noqa: F401
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

LATER = replace(LOW, start_s=700.0, end_s=760.0)
THREE = Finds((FLUSH, LOW, LATER), (), (), "femoral", "")
VERSION = next(rule.version for rule in RULES if rule.code == "E13")


def lines(desk: Desk, author: str = "reviewer") -> list[dict[str, Any]]:
    assert desk.session.case is not None
    path = desk.session.case.folder / "log" / f"{author}.jsonl"
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()] if path.exists() else []


def own(desk: Desk) -> list[Mark]:
    return [mark for mark in desk.session.marks if mark.author == "reviewer"]


def choose(desk: Desk, *keys: str, finds: Finds = THREE) -> None:
    desk.session.take("finds", finds)
    desk.tabs.setCurrentWidget(desk.finds_page)
    desk.finds.select(keys[0])
    for key in keys[1:]:
        row = next(number for number, one in enumerate(desk.finds.shown()) if one.key == key)
        selection = desk.finds.table.selectionModel()
        index = desk.finds.table.model().index(row, 0)
        selection.select(index, selection.SelectionFlag.Select | selection.SelectionFlag.Rows)
    desk.finds.table.setFocus()


def test_an_accepted_find_is_a_mark_of_that_person_with_its_origin(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    qtbot.keyClick(desk.finds.table, "a")
    (mark,) = own(desk)
    assert (mark.code, mark.start_s, mark.end_s, mark.kind) == ("E13", 500.0, 590.0, "span")
    (copy,) = mark.found
    assert (mark.origin["from"], copy["code"], copy["version"], copy["key"]) == (
        "rule",
        "E13",
        VERSION,
        LOW.key,
    )
    assert desk.session.states == {LOW.key: "accepted"}
    assert list(desk.session.finds) == list(THREE), "what the rules propose is as it was"


def test_accepting_twice_makes_one_mark_and_keeps_what_was_changed_of_it(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    qtbot.keyClick(desk.finds.table, "a")
    desk.session.change_words(own(desk)[0], "seen by all")
    qtbot.keyClick(desk.finds.table, "a")
    (mark,) = own(desk)
    assert mark.text == "seen by all"
    assert mark.found[0]["key"] == LOW.key, "an amended mark keeps its origin"


def test_set_aside_after_accepting_takes_the_mark_away(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    qtbot.keyClick(desk.finds.table, "a")
    qtbot.keyClick(desk.finds.table, "s")
    assert own(desk) == []
    assert desk.session.states == {LOW.key: "set aside"}


def test_another_class_is_asked_for_and_kept(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    qtbot.keyClick(desk.finds.table, "c")
    assert desk.box is not None
    assert all("E13" not in desk.box.list.item(n).text() for n in range(desk.box.list.count()))
    QTest.keyClicks(desk.box.search, "E11")
    qtbot.keyClick(desk.box.search, Qt.Key.Key_Return)
    (mark,) = own(desk)
    assert (mark.code, mark.found[0]["code"]) == ("E11", "E13")
    assert desk.session.states == {LOW.key: "reclassified as E11"}
    assert LOW not in desk.session.live_finds
    assert desk.actions_by_id["undo"].text() == "&Undo calling E13 at 08:08:20 E11"


def test_join_takes_the_next_of_the_class(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    qtbot.keyClick(desk.finds.table, "j")
    (mark,) = own(desk)
    assert (mark.code, mark.start_s, mark.end_s) == ("E13", 500.0, 760.0)
    assert (mark.origin["from"], [one["key"] for one in mark.found]) == ("joined", [LOW.key, LATER.key])
    assert desk.session.states == {LOW.key: "joined", LATER.key: "joined"}


def test_join_takes_every_selected_row_whatever_its_class(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key, FLUSH.key)
    qtbot.keyClick(desk.finds.table, "j")
    (mark,) = own(desk)
    assert (mark.code, mark.start_s, mark.end_s) == ("A2", 200.0, 590.0)
    assert "under the class of the first, A2" in desk.statusBar().currentMessage()


def test_join_without_another_says_so_and_keeps_nothing(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LATER.key)
    qtbot.keyClick(desk.finds.table, "j")
    assert lines(desk) == []
    assert "No later E13" in desk.statusBar().currentMessage()


def test_split_at_the_playhead_makes_two_marks(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    desk.playhead.seek(530.0)
    qtbot.keyClick(desk.finds.table, "x")
    assert [(mark.start_s, mark.end_s, mark.code) for mark in own(desk)] == [
        (500.0, 530.0, "E13"),
        (530.0, 590.0, "E13"),
    ]
    assert desk.session.states == {LOW.key: "split"}


def test_split_outside_the_find_is_refused_in_a_sentence(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    desk.playhead.seek(600.0)
    qtbot.keyClick(desk.finds.table, "x")
    assert desk.box is None, "a line at the foot is enough: nothing was lost"
    said = desk.statusBar().currentMessage()
    assert "inside it" in said
    assert desk.face.text(600.0) in said
    assert lines(desk) == []


@pytest.mark.parametrize(
    ("key", "words", "states", "count"),
    [
        ("a", "accepting E13 at 08:08:20", {LOW.key: "accepted"}, 1),
        ("j", "joining E13 at 08:08:20 and 1 more", {LOW.key: "joined", LATER.key: "joined"}, 1),
        ("x", "splitting E13 at 08:08:20", {LOW.key: "split"}, 2),
    ],
)
def test_undo_takes_a_decision_back_whole_and_redo_brings_it_back(
    qtbot: QtBot, desk: Desk, key: str, words: str, states: dict[str, str], count: int
) -> None:
    choose(desk, LOW.key)
    desk.playhead.seek(530.0)
    qtbot.keyClick(desk.finds.table, key)
    assert desk.actions_by_id["undo"].text() == f"&Undo {words}"
    desk.does.undo()
    assert (own(desk), desk.session.states) == ([], {})
    assert desk.statusBar().currentMessage() == f"Undone: {words}."
    desk.does.redo()
    assert (len(own(desk)), desk.session.states) == (count, states)
    desk.does.undo()
    assert (own(desk), desk.session.states) == ([], {})


def test_another_decision_on_a_joined_find_gives_the_other_one_back(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    qtbot.keyClick(desk.finds.table, "j")
    desk.finds.select(LOW.key)
    qtbot.keyClick(desk.finds.table, "s")
    assert own(desk) == []
    assert desk.session.states == {LOW.key: "set aside"}
    desk.does.undo()
    assert desk.session.states == {LOW.key: "joined", LATER.key: "joined"}
    assert len(own(desk)) == 1


def test_taking_the_mark_back_makes_the_find_a_proposal_again(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    qtbot.keyClick(desk.finds.table, "a")
    desk.session.delete_mark(own(desk)[0])
    assert (own(desk), desk.session.states) == ([], {})
    desk.does.undo()
    assert (len(own(desk)), desk.session.states) == (1, {LOW.key: "accepted"})


def test_an_artefact_called_an_event_gives_its_seconds_back(desk: Desk) -> None:
    assert desk.session.case is not None
    done = desk.session.decide("reclassified", [FLUSH], code="E03")
    assert done is not None
    assert done.masks_changed
    assert [edit["verb"] for edit in lines(desk)] == ["verdict", "mark", "unhide"]
    desk.does.undo()
    assert desk.session.masks.in_force(desk.session.case).keys() == {"monitor/fem"}
    assert own(desk) == []


def test_two_people_who_decide_otherwise_are_in_dispute(desk: Desk) -> None:
    desk.session.decide("accepted", [LOW])
    desk.session.set_author("surgeon")
    desk.session.decide("reclassified", [LOW], code="E11")
    assert desk.session.states == {LOW.key: "in dispute"}
    assert {(mark.author, mark.code) for mark in desk.session.marks if mark.found} == {
        ("reviewer", "E13"),
        ("surgeon", "E11"),
    }


def test_a_decision_survives_a_find_that_moved_and_says_when_it_is_gone(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    judged.join(case, "reviewer", [LOW, LATER])
    moved = replace(LOW, start_s=512.0)  # another key, most of its time the same
    assert moved.key != LOW.key
    desk.session.take("finds", Finds((moved,), (), (), "femoral", ""))
    assert desk.session.states == {moved.key: "joined"}
    (mark,) = own(desk)
    assert no_longer_found(mark, [moved]) == (LATER.key,)
    row = next(row for row in desk.marks.model.rows if row.key == mark.id)
    assert "the rules no longer find 1 of 2, the mark stays" in row.tip
    assert own_marks(case, "reviewer", moved) == [mark]


def test_decisions_that_have_no_meaning_are_refused(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    with pytest.raises(EditRefused, match="own class"):
        judged.reclassify(case, "reviewer", LOW, code="E13")
    with pytest.raises(EditRefused, match="two finds"):
        judged.join(case, "reviewer", [LOW, LOW])
    with pytest.raises(EditRefused, match="needs a class"):
        marks.verdict(case, "reviewer", LOW, "reclassified")
    assert lines(desk) == []


def test_every_version_is_in_the_table_with_its_origin(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    judged.accept(case, "reviewer", LOW)
    (made,) = [mark for mark in marks.marks(case) if mark.found]
    marks.amend(case, "reviewer", made.id, text="so it was")
    marks.add_mark(case, "reviewer", code="U2", start_s=100.0)
    judged.join(case, "surgeon", [LOW, LATER])
    rows = [row for row in label_rows(case) if row["rater_id"] != "tester"]
    assert [(row["rater_id"], row["origin"], row["in_force"]) for row in rows] == [
        ("reviewer", "rule", "no"),
        ("reviewer", "rule", "yes"),
        ("reviewer", "human", "yes"),
        ("surgeon", "merged", "yes"),
    ]
    first, second = rows[:2]
    assert (second["supersedes"], second["label_id"]) == (first["version_id"], first["label_id"])
    assert (second["rule_id"], second["rule_version"], second["find_keys"]) == ("E13", str(VERSION), LOW.key)
    assert [row["decision"] for row in decision_rows(case)] == ["accepted", "joined", "joined"]


def test_export_keeps_what_rules_propose_apart_from_what_people_say(desk: Desk, tmp_path: Path) -> None:
    case = desk.session.case
    assert case is not None
    judged.accept(case, "reviewer", LOW)
    with open_case(case.folder) as again:
        export_tables(again, tmp_path / "out")
    with (tmp_path / "out" / "labels.csv").open(newline="", encoding="utf-8") as file:
        labels = [row for row in csv.DictReader(file) if row["rater_id"] == "reviewer"]
    assert [(row["class"], row["origin"], row["t0_s"], row["t1_s"]) for row in labels] == [
        ("E13", "rule", "500", "590")
    ]
    with (tmp_path / "out" / "finds.csv").open(newline="", encoding="utf-8") as file:
        assert "rater_id" not in (csv.DictReader(file).fieldnames or ())


# -- through the list -------------------------------------------------------------------------------


def test_the_place_in_the_list_is_kept_where_a_decided_find_leaves_it(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, FLUSH.key)
    desk.finds.filters.choose(("", "", "proposed"))
    qtbot.keyClick(desk.finds.table, "s")
    assert desk.finds.current is not None
    assert desk.finds.current.item is LOW
    qtbot.keyClick(desk.finds.table, "a")
    qtbot.keyClick(desk.finds.table, "s")
    assert desk.session.states == {FLUSH.key: "set aside", LOW.key: "accepted", LATER.key: "set aside"}


def test_a_key_held_down_decides_once(desk: Desk) -> None:
    for name in ("accept", "set_aside", "join", "split", "delete"):
        assert not desk.actions_by_id[name].autoRepeat(), name


# -- several at once --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "state", "made", "doing"),
    [("a", "accepted", 2, "accepting {}"), ("s", "set aside", 0, "setting {} aside")],
)
def test_every_selected_find_is_decided_on_and_undone_as_one(
    qtbot: QtBot, desk: Desk, key: str, state: str, made: int, doing: str
) -> None:
    choose(desk, LATER.key, LOW.key)
    qtbot.keyClick(desk.finds.table, key)
    assert desk.session.states == {LOW.key: state, LATER.key: state}
    assert len(own(desk)) == made
    assert desk.statusBar().currentMessage().startswith("E13 at 08:08:20 and 1 more: ")
    assert desk.actions_by_id["undo"].text() == f"&Undo {doing.format('E13 at 08:08:20 and 1 more')}"
    desk.does.undo()
    assert (own(desk), desk.session.states) == ([], {})
    desk.does.redo()
    assert (len(own(desk)), desk.session.states) == (made, {LOW.key: state, LATER.key: state})


def test_several_called_another_class_go_together(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key, LATER.key, FLUSH.key)
    qtbot.keyClick(desk.finds.table, "c")
    assert desk.box is not None
    offered = [desk.box.list.item(n).text()[:3].strip() for n in range(desk.box.list.count())]
    assert not {"E13", "A2"} & set(offered), "none of their own classes"
    QTest.keyClicks(desk.box.search, "E11")
    qtbot.keyClick(desk.box.search, Qt.Key.Key_Return)
    assert set(desk.session.states.values()) == {"reclassified as E11"}
    assert len(own(desk)) == 3
    desk.does.undo()
    assert (own(desk), desk.session.states) == ([], {})
    assert desk.session.case is not None
    assert desk.session.masks.in_force(desk.session.case).keys() == {"monitor/fem"}


def test_an_artefact_among_several_set_aside_gives_its_seconds_back_and_undo_hides_them(
    qtbot: QtBot, desk: Desk
) -> None:
    choose(desk, LOW.key, FLUSH.key)
    qtbot.keyClick(desk.finds.table, "s")
    assert desk.session.case is not None
    assert "Their seconds count" in desk.statusBar().currentMessage()
    assert [edit["verb"] for edit in lines(desk)].count("unhide") == 1
    desk.does.undo()
    assert desk.session.states == {}
    assert desk.session.masks.in_force(desk.session.case).keys() == {"monitor/fem"}


def test_of_several_none_is_called_its_own_class(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    with pytest.raises(EditRefused, match="own class"):
        judged.reclassify(case, "reviewer", LOW, FLUSH, code="A2")
    assert lines(desk) == [], "nothing is kept of a decision that is refused"


def test_only_one_find_is_split_at_a_time(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key, LATER.key)
    desk.playhead.seek(530.0)
    qtbot.keyClick(desk.finds.table, "x")
    assert lines(desk) == []
    assert "choose the one to split" in desk.statusBar().currentMessage()


# -- joining ----------------------------------------------------------------------------------------

FAR = replace(LOW, start_s=2000.0, end_s=2060.0)


def test_joining_tells_times_length_and_what_lies_between(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key)
    qtbot.keyClick(desk.finds.table, "j")
    # 500 to 760 s from 08:00:00: 260 s, of which 590 to 700 lie in no find
    said = desk.statusBar().currentMessage()
    assert "to 08:12:40, 4:20 min, with 1:50 min between them that none of them covers" in said


def test_joining_alone_goes_over_no_long_gap(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key, finds=Finds((LOW, FAR), (), (), "femoral", ""))
    qtbot.keyClick(desk.finds.table, "j")
    assert lines(desk) == []
    said = desk.statusBar().currentMessage()
    assert "23:30 min after this one's end, at 08:33:20" in said
    assert "Ctrl" in said


def test_rows_chosen_by_hand_are_joined_over_any_gap(qtbot: QtBot, desk: Desk) -> None:
    choose(desk, LOW.key, FAR.key, finds=Finds((LOW, FAR), (), (), "femoral", ""))
    qtbot.keyClick(desk.finds.table, "j")
    (mark,) = own(desk)
    assert (mark.start_s, mark.end_s) == (500.0, 2060.0)
    assert "23:30 min between them" in desk.statusBar().currentMessage()


# -- what a mark keeps of its find ------------------------------------------------------------------


def test_undo_names_the_subtype(qtbot: QtBot, desk: Desk) -> None:
    hypo = replace(LOW, subtype="hypo")
    choose(desk, hypo.key, finds=Finds((hypo,), (), (), "femoral", ""))
    qtbot.keyClick(desk.finds.table, "a")
    assert desk.actions_by_id["undo"].text() == "&Undo accepting E13 hypo at 08:08:20"


@pytest.mark.parametrize("within", [7.84, math.inf])
def test_an_accepted_find_keeps_its_uncertainty(desk: Desk, within: float) -> None:
    case = desk.session.case
    assert case is not None
    judged.accept(case, "reviewer", replace(LOW, unc_s=within))
    (mark,) = own_of(case)
    assert mark.unc_s == within
    row = next(row for row in label_rows(case) if row["rater_id"] == "reviewer")
    # half the width of a 95 % interval is 1.96 standard deviations (normal distribution)
    assert row["t0_unc_s"] == pytest.approx(within / 1.96, rel=1e-3)
    marks.amend(case, "reviewer", mark.id, start_s=510.0, end_s=580.0)
    assert own_of(case)[0].unc_s < 7.84, "times that a person set are none of the find's"


def own_of(case: Case) -> list[Mark]:
    return [mark for mark in marks.marks(case) if mark.author == "reviewer"]


def test_the_table_of_marks_tells_where_each_came_from(desk: Desk, tmp_path: Path) -> None:
    case = desk.session.case
    assert case is not None
    judged.accept(case, "reviewer", replace(LOW, subtype="hypo"))
    judged.join(case, "surgeon", [LOW, LATER])
    with open_case(case.folder) as again:
        export_tables(again, tmp_path / "out")
    with (tmp_path / "out" / "marks.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["author"] != "tester"]
    assert [(row["author"], row["subtype"], row["site"], row["origin"]) for row in rows] == [
        ("reviewer", "hypo", "femoral", "rule"),
        ("surgeon", "", "femoral", "merged"),
    ]


def test_a_view_up_to_some_time_tells_nothing_of_later_finds(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    judged.set_aside(case, "reviewer", LATER)
    judged.join(case, "surgeon", [LOW, LATER])
    judged.accept(case, "third", LOW)
    view = case.until(550.0)
    assert [(row["rater_id"], row["find_key"], row["find_t1_s"]) for row in decision_rows(view)] == [
        ("surgeon", LOW.key, 550.0),
        ("third", LOW.key, 550.0),
    ]
    rows = [row for row in label_rows(view) if row["rater_id"] != "tester"]
    assert [(row["rater_id"], row["find_keys"]) for row in rows] == [("surgeon", LOW.key), ("third", LOW.key)]
    assert all(row["t1_s"] <= 550.0 for row in rows)
