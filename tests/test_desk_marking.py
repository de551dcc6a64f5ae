"""Marking by key: what is pressed is in the log at once, under its author, and can be taken back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.lists import Row
from afterclamp.replay.panes.mark_box import WordsBox
from afterclamp.replay.undoing import next_redo, next_undo
from desk_support import FLUSH, LOW, desk, leave_words, settings, small_folder  # noqa: F401
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

# ruff: noqa: F811


def lines(desk: Desk, author: str = "reviewer") -> list[dict[str, Any]]:
    """The author's log as it lies on the disk."""
    assert desk.session.case is not None
    path: Path = desk.session.case.folder / "log" / f"{author}.jsonl"
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()] if path.exists() else []


def rows(desk: Desk) -> list[Row]:
    """Rows of the list, without the mark that the case came with."""
    return [row for row in desk.marks.model.rows if row.item.author != "tester"]


def press(qtbot: QtBot, desk: Desk, *keys: str) -> None:
    for key in keys:
        qtbot.keyClick(desk, key)


def mark(qtbot: QtBot, desk: Desk) -> None:
    """A mark at the playhead, without words."""
    press(qtbot, desk, "m")
    leave_words(qtbot, desk)


def test_m_marks_the_moment_at_the_playhead(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(321.5)
    press(qtbot, desk, "m")
    (edit,) = lines(desk)
    assert edit["verb"] == "mark"
    assert edit["payload"]["kind"] == "point"
    assert edit["payload"]["start_s"] == 321.5
    assert [row.start for row in rows(desk)] == [321.5]


def test_brackets_mark_a_span_in_either_order(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(700.0)
    press(qtbot, desk, "[")
    desk.playhead.seek(640.0)
    press(qtbot, desk, "]")
    (edit,) = lines(desk)
    assert (edit["payload"]["kind"], edit["payload"]["start_s"], edit["payload"]["end_s"]) == (
        "span",
        640.0,
        700.0,
    )


def test_a_span_end_without_a_start_keeps_nothing_and_says_so(qtbot: QtBot, desk: Desk) -> None:
    press(qtbot, desk, "]")
    assert lines(desk) == []
    assert "[" in desk.statusBar().currentMessage()


def test_shift_and_drag_marks_a_span(qtbot: QtBot, desk: Desk) -> None:
    view = desk.views.long
    y = view.height() // 2
    a, b = (QPoint(int(view.x_at(t)), y) for t in (400.0, 800.0))
    qtbot.mousePress(view, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ShiftModifier, pos=a)
    qtbot.mouseMove(view, pos=b)
    qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ShiftModifier, pos=b)
    (edit,) = lines(desk)
    pixel = view.span.duration / (view.axis_bounds()[1] - view.axis_bounds()[0])
    assert abs(edit["payload"]["start_s"] - 400.0) < 2 * pixel
    assert abs(edit["payload"]["end_s"] - 800.0) < 2 * pixel


def test_n_keeps_words_at_the_moment_it_was_pressed(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(410.0)
    press(qtbot, desk, "n")
    assert isinstance(desk.box, WordsBox)
    QTest.keyClicks(desk.box.line, "line moved, M not a mark")
    desk.playhead.seek(500.0)
    qtbot.keyClick(desk.box, Qt.Key.Key_Return)
    (edit,) = lines(desk)
    assert edit["payload"]["text"] == "line moved, M not a mark"
    assert edit["payload"]["start_s"] == 410.0


def test_the_chosen_class_is_given_to_the_next_marks(qtbot: QtBot, desk: Desk) -> None:
    press(qtbot, desk, "k")
    assert desk.box is not None
    QTest.keyClicks(desk.box.search, "U2")
    qtbot.keyClick(desk.box.search, Qt.Key.Key_Return)
    press(qtbot, desk, "m")
    assert lines(desk)[-1]["payload"]["code"] == "U2"


def test_another_class_replaces_the_mark_and_keeps_the_earlier_one(qtbot: QtBot, desk: Desk) -> None:
    mark(qtbot, desk)
    desk.does.to_marks()
    desk.does.change_class()
    assert desk.box is not None
    QTest.keyClicks(desk.box.search, "U1")
    qtbot.keyClick(desk.box.search, Qt.Key.Key_Return)
    first, second = lines(desk)
    assert second["supersedes"] == first["id"]
    assert [row.item.code for row in rows(desk)] == ["U1"]


def test_undo_and_redo_take_back_and_bring_back_in_order(qtbot: QtBot, desk: Desk) -> None:
    for t in (100.0, 150.0):
        desk.playhead.seek(t)
        mark(qtbot, desk)
    control, shift = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier
    seen = [[row.start for row in rows(desk)]]
    for modifiers in (control, control, control | shift, control | shift):
        qtbot.keyClick(desk, Qt.Key.Key_Z, modifiers)
        seen.append([row.start for row in rows(desk)])
    assert seen == [[100.0, 150.0], [100.0], [], [100.0], [100.0, 150.0]]
    assert [edit["verb"] for edit in lines(desk)] == ["mark", "mark", "undo", "undo", "redo", "redo"]


def test_undo_with_nothing_left_says_so(qtbot: QtBot, desk: Desk) -> None:
    qtbot.keyClick(desk, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert lines(desk) == []
    assert "undo" in desk.statusBar().currentMessage()


def test_del_takes_the_chosen_mark_back(qtbot: QtBot, desk: Desk) -> None:
    mark(qtbot, desk)
    desk.does.to_marks()
    qtbot.keyClick(desk.marks.table, Qt.Key.Key_Delete)
    assert rows(desk) == []
    assert len(lines(desk)) == 2, "taking back is an edit, nothing is erased"


def test_marks_are_kept_under_the_author_that_was_chosen(qtbot: QtBot, desk: Desk) -> None:
    desk.session.set_author("perfusionist")
    press(qtbot, desk, "m")
    assert lines(desk) == []
    assert len(lines(desk, "perfusionist")) == 1


def test_somebody_elses_mark_is_refused_in_a_sentence(qtbot: QtBot, desk: Desk) -> None:
    mark(qtbot, desk)
    desk.session.set_author("teacher")
    desk.does.to_marks()
    desk.does.delete_mark()
    assert desk.box is not None
    assert "reviewer" in desk.box.text()
    assert len(rows(desk)) == 1


def test_a_accepts_and_s_sets_aside_the_chosen_find(qtbot: QtBot, desk: Desk) -> None:
    desk.does.to_finds()
    desk.finds.select(FLUSH.key)
    qtbot.keyClick(desk.finds.table, "a")
    desk.finds.select(LOW.key)
    qtbot.keyClick(desk.finds.table, "s")
    said = [edit["payload"]["decision"] for edit in lines(desk) if edit["verb"] == "verdict"]
    assert said == ["accepted", "set aside"]
    assert desk.session.states == {FLUSH.key: "accepted", LOW.key: "set aside"}
    for row, word in zip(desk.finds.model.rows, ("accepted", "set aside"), strict=True):
        assert word in row.cells


def test_a_verdict_carries_its_own_copy_of_the_find(qtbot: QtBot, desk: Desk) -> None:
    desk.finds.select(LOW.key)
    qtbot.keyClick(desk, "a")
    copy = lines(desk)[0]["payload"]["find"]
    assert (copy["code"], copy["start_s"], copy["end_s"]) == ("E13", 500.0, 590.0)


def test_letters_typed_into_the_filter_mark_nothing(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.marks)
    desk.marks.filter.setFocus()
    QTest.keyClicks(desk.marks.filter, "mast n.,[]")
    assert desk.marks.filter.text() == "mast n.,[]"
    assert lines(desk) == []


def test_a_log_that_cannot_be_written_is_said_and_the_desk_stays(
    qtbot: QtBot,
    desk: Desk,
) -> None:
    assert desk.session.case is not None
    log = desk.session.case.folder / "log"
    (log / "reviewer.jsonl").mkdir()  # a folder where the file should be: also refused to root
    press(qtbot, desk, "m")
    assert desk.box is not None
    assert "reviewer.jsonl" in desk.box.text()
    assert desk.isVisible()
    assert rows(desk) == []


def write(qtbot: QtBot, desk: Desk, text: str) -> None:
    """Words into the box that is open, kept."""
    assert isinstance(desk.box, WordsBox)
    qtbot.keyClicks(desk.box.line, text)
    qtbot.keyClick(desk.box.line, Qt.Key.Key_Return)


def test_a_mark_asks_for_its_words_at_once_and_enter_keeps_them(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(321.5)
    press(qtbot, desk, "m")
    assert len(lines(desk)) == 1, "kept before a word is written"
    write(qtbot, desk, "clamp on")
    (row,) = rows(desk)
    assert (row.item.kind, row.item.text) == ("point", "clamp on")
    assert [edit["supersedes"] is None for edit in lines(desk)] == [True, False]


def test_esc_keeps_the_mark_without_words(qtbot: QtBot, desk: Desk) -> None:
    press(qtbot, desk, "[")
    desk.playhead.seek(400.0)
    press(qtbot, desk, "]")
    assert isinstance(desk.box, WordsBox)
    qtbot.keyClicks(desk.box.line, "thrown away")
    qtbot.keyClick(desk.box.line, Qt.Key.Key_Escape)
    (row,) = rows(desk)
    assert (row.item.kind, row.item.text) == ("span", "")
    assert len(lines(desk)) == 1


def test_a_span_drawn_by_hand_asks_for_its_words(qtbot: QtBot, desk: Desk) -> None:
    desk._span_drawn(400.0, 480.0)
    write(qtbot, desk, "head down")
    assert [(row.start, row.end, row.item.text) for row in rows(desk)] == [(400.0, 480.0, "head down")]


def test_n_right_after_a_mark_gives_that_mark_its_words(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(321.5)
    mark(qtbot, desk)
    press(qtbot, desk, "n")
    write(qtbot, desk, "clamp on")
    (row,) = rows(desk)
    assert (row.item.kind, row.item.text) == ("point", "clamp on")
    desk.does.undo()
    assert rows(desk)[0].item.text == ""


def test_n_anywhere_else_is_a_note_of_its_own(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(321.5)
    mark(qtbot, desk)
    desk.playhead.seek(400.0)
    press(qtbot, desk, "n")
    write(qtbot, desk, "snare let out")
    assert sorted(row.item.kind for row in rows(desk)) == ["note", "point"]


def test_a_chosen_class_holds_for_one_mark(qtbot: QtBot, desk: Desk) -> None:
    desk.set_code("U2")
    assert "U2" in desk.class_name.text()
    mark(qtbot, desk)
    assert "U2" not in desk.class_name.text()
    desk.playhead.seek(100.0)
    mark(qtbot, desk)
    assert [edit["payload"]["code"] for edit in lines(desk)] == ["U2", ""]


def test_the_box_for_words_names_the_class_that_was_given(qtbot: QtBot, desk: Desk) -> None:
    desk.set_code("E13")
    press(qtbot, desk, "m")
    assert desk.box is not None
    assert "E13" in desk.box.line.accessibleName()


def test_esc_forgets_the_class_of_the_next_mark(qtbot: QtBot, desk: Desk) -> None:
    desk.set_code("U2")
    qtbot.keyClick(desk, Qt.Key.Key_Escape)
    mark(qtbot, desk)
    assert lines(desk)[-1]["payload"]["code"] == ""


def test_undo_names_what_it_takes_back_before_and_after(qtbot: QtBot, desk: Desk) -> None:
    menu = desk.actions_by_id["undo"]
    assert menu.text() == "&Undo"
    desk.playhead.seek(600.0)  # ten past eight by the case's clock
    press(qtbot, desk, "m")
    write(qtbot, desk, "clamp on")
    assert menu.text() == "&Undo words of the mark at 08:10:00"
    desk.does.undo()
    assert desk.statusBar().currentMessage() == "Undone: words of the mark at 08:10:00."
    assert menu.text() == "&Undo mark at 08:10:00"
    assert desk.actions_by_id["redo"].text() == "&Redo words of the mark at 08:10:00"
    desk.finds.select(LOW.key)
    desk.does.set_aside_find()
    assert menu.text() == "&Undo setting E13 at 08:08:20 aside"
    assert menu.iconText() == "Undo", "the toolbar keeps its word"
    qtbot.keyClick(desk, "t")
    assert menu.text() == "&Undo setting E13 at 8:20 aside"


def test_what_undo_names_is_what_the_log_takes_back(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    marks = [desk.session.mark_point(t, "") for t in (10.0, 20.0, 30.0)]
    assert marks[0] is not None
    desk.session.change_class(marks[0], "U1")
    for turn in ("undo", "undo", "redo", "undo", "undo", "undo", "undo", "redo", "redo", "redo"):
        told = (next_undo if turn == "undo" else next_redo)(case.log, "reviewer")
        made = getattr(case.log, turn)("reviewer")
        assert (told.id if told else None) == (made.payload["edit"] if made else None)


def test_a_find_that_was_set_aside_greys_nothing_any_more(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(201.0)  # within the flush
    desk.views.jump(201.0)
    wait = lambda words: qtbot.waitUntil(  # noqa: E731
        lambda: desk.card.text("femoral").startswith(words), timeout=2000
    )
    wait("femoral, A2")
    desk.finds.select(FLUSH.key)
    desk.does.set_aside_find()
    wait("femoral  ")
    desk.does.undo()
    wait("femoral, A2")
