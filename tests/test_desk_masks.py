"""Masks on the desk: hidden and unhidden by keyboard, shown at once, listed, raw by one key, undone in words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from afterclamp.annotate.masking import MaskedSpan
from afterclamp.replay.desk import Desk
from afterclamp.replay.looks import Looks
from afterclamp.replay.panes.lists import Row
from afterclamp.replay.panes.mark_box import ClassBox, WordsBox
from afterclamp.replay.session import Session
from afterclamp.replay.strips.hover import strip_tip
from afterclamp.replay.strips.theme import PAPER
from afterclamp.replay.strips.view import StripsView
from desk_support import FLUSH, desk, flush_span, settings, small_folder  # noqa: F401
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

FEMORAL = "monitor/fem"


def lines(desk: Desk) -> list[dict[str, Any]]:
    """The author's log as it lies on the disk."""
    assert desk.session.case is not None
    path: Path = desk.session.case.folder / "log" / "reviewer.jsonl"
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()] if path.exists() else []


def listed(desk: Desk) -> list[tuple[str, ...]]:
    """Line, length, why and by whom of each mask, in order of time."""
    return [row.cells[2:] for row in sorted(desk.masks.model.rows, key=lambda row: row.order[0])]


def choose(desk: Desk, pane: Any, key: str) -> Row:
    pane.select(key)
    row = pane.current
    assert row is not None
    return row  # type: ignore[no-any-return]


def choose_flush(desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.finds_page)
    choose(desk, desk.finds, FLUSH.key)


def greyed(view: StripsView) -> int:
    """Pixels of the hatch, and of a trace that is masked."""
    QApplication.processEvents()
    image = view.grab().toImage()
    image = image.convertToFormat(image.Format.Format_RGB32)
    pixels = np.array(image.constBits(), copy=True).view(np.uint32)
    return sum(int((pixels == (0xFF000000 | int(ink[1:], 16))).sum()) for ink in (PAPER.masked, PAPER.hatch))


def hide_span(qtbot: QtBot, desk: Desk, start: float, end: float, line: str = FEMORAL, why: str = "") -> None:
    """By keys alone: [ at the start, H at the end, the line in the box, words or none."""
    desk.playhead.seek(start)
    qtbot.keyClick(desk, "[")
    desk.playhead.seek(end)
    qtbot.keyClick(desk, "h")
    box = desk.box
    assert isinstance(box, ClassBox)
    QTest.keyClicks(box.search, line)
    qtbot.keyClick(box.search, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: isinstance(desk.box, WordsBox), timeout=2000)
    words = desk.box
    assert isinstance(words, WordsBox)
    QTest.keyClicks(words.line, why)
    qtbot.keyClick(words, Qt.Key.Key_Return if why else Qt.Key.Key_Escape)
    desk.activateWindow()  # a window manager would
    qtbot.waitUntil(desk.isActiveWindow, timeout=2000)


def test_a_started_span_is_hidden_on_the_line_that_is_chosen(qtbot: QtBot, desk: Desk) -> None:
    hide_span(qtbot, desk, 650.0, 600.0)
    (edit,) = lines(desk)
    payload = edit["payload"]
    assert (edit["verb"], payload["channel"]) == ("hide", FEMORAL)
    assert (payload["start_s"], payload["end_s"]) == (600.0, 650.0)
    assert desk.does.span_from is None
    assert "Ctrl+Z" in desk.statusBar().currentMessage()
    assert listed(desk) == [
        ("femoral", "4.0 s", "A2 fast flush", "rule"),
        ("femoral", "50 s", "hidden", "reviewer"),
    ]


def test_the_words_of_a_mask_are_asked_for_and_stand_in_the_list(qtbot: QtBot, desk: Desk) -> None:
    hide_span(qtbot, desk, 600.0, 650.0, why="a cough")
    assert listed(desk)[1] == ("femoral", "50 s", "hidden: a cough", "reviewer")
    assert [edit["verb"] for edit in lines(desk)] == ["hide", "hide"]


def test_a_selected_find_is_hidden_on_its_only_line_without_a_question(qtbot: QtBot, desk: Desk) -> None:
    choose_flush(desk)
    qtbot.keyClick(desk, "h")
    assert isinstance(desk.box, WordsBox)
    qtbot.keyClick(desk.box, Qt.Key.Key_Escape)
    (edit,) = lines(desk)
    assert (edit["verb"], edit["payload"]["channel"], edit["payload"]["start_s"]) == ("hide", FEMORAL, 200.0)


def test_without_anything_chosen_it_is_said_what_to_do(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.figures)
    for key in ("h", "H"):
        qtbot.keyClick(
            desk, key, Qt.KeyboardModifier.ShiftModifier if key == "H" else Qt.KeyboardModifier.NoModifier
        )
        assert "start a span with [" in desk.statusBar().currentMessage()
    assert lines(desk) == []


def test_a_hidden_span_is_hatched_and_grey_on_the_card_at_once(qtbot: QtBot, desk: Desk) -> None:
    before = greyed(desk.views.long)
    hide_span(qtbot, desk, 600.0, 700.0)
    assert greyed(desk.views.long) > before
    desk.playhead.seek(620.0)
    qtbot.waitUntil(lambda: desk.card.text("femoral").startswith("femoral, hidden  "), timeout=2000)
    desk.playhead.seek(720.0)
    qtbot.waitUntil(lambda: desk.card.text("femoral").startswith("femoral  "), timeout=2000)


def test_undo_takes_a_mask_back_in_words(qtbot: QtBot, desk: Desk) -> None:
    before = greyed(desk.views.long)
    hide_span(qtbot, desk, 600.0, 700.0)
    assert "hiding of fem" in desk.actions_by_id["undo"].text()
    qtbot.keyClick(desk, "z", Qt.KeyboardModifier.ControlModifier)
    assert "Undone: hiding of fem" in desk.statusBar().currentMessage()
    assert listed(desk) == [("femoral", "4.0 s", "A2 fast flush", "rule")]
    assert greyed(desk.views.long) == before


def test_shift_h_believes_the_seconds_of_an_artefact_with_its_ring(qtbot: QtBot, desk: Desk) -> None:
    choose_flush(desk)
    qtbot.keyClick(desk, "h", Qt.KeyboardModifier.ShiftModifier)
    (edit,) = lines(desk)
    payload = edit["payload"]
    assert (edit["verb"], payload["start_s"], payload["end_s"]) == ("unhide", 200.0, 204.0)
    assert listed(desk) == [("femoral", "4.0 s", "unhidden", "reviewer")]
    assert desk.masks.model.rows[0].dim


def test_unhide_where_nothing_is_masked_keeps_nothing_and_says_so(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(600.0)
    qtbot.keyClick(desk, "[")
    desk.playhead.seek(650.0)
    qtbot.keyClick(desk, "h", Qt.KeyboardModifier.ShiftModifier)
    assert "nothing that is masked" in desk.statusBar().currentMessage()
    assert lines(desk) == []


def test_an_artefact_set_aside_gives_its_seconds_back_and_one_undo_takes_both_back(
    qtbot: QtBot, desk: Desk
) -> None:
    before = greyed(desk.views.long)
    choose_flush(desk)
    qtbot.keyClick(desk, "s")
    assert [edit["verb"] for edit in lines(desk)] == ["verdict", "unhide"]
    assert listed(desk) == [("femoral", "4.0 s", "unhidden: A2 fast flush set aside", "reviewer")]
    assert greyed(desk.views.long) < before
    assert "count in the figures again" in desk.statusBar().currentMessage()
    assert "setting A2" in desk.actions_by_id["undo"].text()
    qtbot.keyClick(desk, "z", Qt.KeyboardModifier.ControlModifier)
    assert desk.session.states == {}
    assert listed(desk) == [("femoral", "4.0 s", "A2 fast flush", "rule")]
    assert greyed(desk.views.long) == before
    qtbot.keyClick(desk, "y", Qt.KeyboardModifier.ControlModifier)
    assert desk.session.states == {FLUSH.key: "set aside"}
    assert listed(desk)[0][2] == "unhidden: A2 fast flush set aside"


def test_accepting_it_after_all_masks_its_seconds_again(qtbot: QtBot, desk: Desk) -> None:
    choose_flush(desk)
    qtbot.keyClick(desk, "s")
    qtbot.keyClick(desk, "a")
    assert listed(desk) == [("femoral", "4.0 s", "A2 fast flush", "rule")]
    qtbot.keyClick(desk, "z", Qt.KeyboardModifier.ControlModifier)
    assert desk.session.states == {FLUSH.key: "set aside"}
    assert listed(desk)[0][2].startswith("unhidden")


def test_the_tooltips_say_that_setting_aside_counts_the_seconds(desk: Desk) -> None:
    assert "count in the figures" in desk.actions_by_id["set_aside"].toolTip()
    row = next(row for row in desk.finds.model.rows if row.key == FLUSH.key)
    assert "lets its seconds count" in row.tip


def test_enter_goes_to_a_mask_and_del_takes_ones_own_back(qtbot: QtBot, desk: Desk) -> None:
    hide_span(qtbot, desk, 600.0, 650.0)
    qtbot.keyClick(desk, "6", Qt.KeyboardModifier.AltModifier)
    assert desk.tabs.currentWidget() is desk.loose_page
    row = next(row for row in desk.masks.model.rows if row.cells[5] == "reviewer")
    choose(desk, desk.masks, row.key)
    qtbot.keyClick(desk.masks.table, Qt.Key.Key_Return)
    assert desk.playhead.time == 600.0
    qtbot.keyClick(desk.masks.table, Qt.Key.Key_Delete)
    assert "Taken back" in desk.statusBar().currentMessage()
    assert listed(desk) == [("femoral", "4.0 s", "A2 fast flush", "rule")]
    choose(desk, desk.masks, desk.masks.model.rows[0].key)
    qtbot.keyClick(desk.masks.table, Qt.Key.Key_Delete)
    assert "A rule sees this" in desk.statusBar().currentMessage()


def test_the_list_counts_each_second_once_and_names_the_lines(qtbot: QtBot, desk: Desk) -> None:
    assert desk.masks_heading.text() == "Masks: 4 s masked on 1 line"
    hide_span(qtbot, desk, 202.0, 210.0)  # two seconds of the flush are hidden too
    assert desk.masks_heading.text() == "Masks: 10 s masked on 1 line"


def test_r_shows_the_traces_raw_says_so_and_asks_for_raw_figures(
    qtbot: QtBot, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[bool] = []
    monkeypatch.setattr(Looks, "start_figures", lambda _, __, *, raw: asked.append(raw))
    desk.playhead.seek(201.0)
    masked = greyed(desk.views.long)
    qtbot.waitUntil(lambda: desk.card.text("femoral").startswith("femoral, A2  "), timeout=2000)
    qtbot.keyClick(desk, "r")
    assert asked == [True]
    assert greyed(desk.views.long) < masked
    assert "RAW" in desk.masking.text()
    assert "raw" in desk.masks_heading.text()
    assert "Raw" in desk.statusBar().currentMessage()
    # What is left in is still named, and no longer grey.
    assert desk.card.text("femoral").startswith("femoral, A2  ")
    qtbot.waitUntil(
        lambda: not next(one for one in desk.card._model.readings if one.artefact).grey, timeout=2000
    )
    qtbot.keyClick(desk, "r")
    assert greyed(desk.views.long) == masked
    assert desk.masking.text() == "masked (R)"


def test_raw_and_masked_figures_are_kept_apart(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[bool] = []
    monkeypatch.setattr(Looks, "start_figures", lambda _, __, *, raw: asked.append(raw))
    session: Session = desk.session
    session.take("figures", [])
    session._figures_by[False] = masked = []
    session.show_raw(True)
    session.take("figures", masked)  # a look that was started before comes in late
    assert True not in session._figures_by
    raw: list[Any] = []
    session.take("raw figures", raw)
    assert session.figures is raw
    session.show_raw(False)
    assert session.figures is masked
    assert asked == [True], "masked ones were there"


def test_a_case_that_is_opened_is_masked(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Looks, "start_figures", lambda *_, **__: None)
    desk.session.show_raw(True)
    assert desk.session.case is not None
    desk.does.open_case(desk.session.case.folder)
    assert not desk.session.masks.raw
    assert desk.masking.text() == "masked (R)"


def test_the_tip_over_a_strip_names_the_reason_and_what_becomes_of_it(desk: Desk) -> None:
    gap = MaskedSpan(300.0, 310.0, "A9", "nothing recorded on this line: unplugged or withdrawn", "nothing")
    damped = MaskedSpan(400.0, 410.0, "A4", "damped or resonant")
    desk.session.take("masks", {FEMORAL: [flush_span(), gap, damped]})
    view = desk.views.middle
    strip = next(one for one in view.strips if any(trace.channel.id == FEMORAL for trace in one.traces))
    picture = view._picture

    def tip(t: float) -> str:
        return strip_tip(
            strip, t, picture.scale, picture.grain, picture.time_text, picture.reasons, raw=picture.raw
        )

    assert "masked: A2 fast flush" in tip(203.5)
    assert "A9 nothing recorded on this line: unplugged or withdrawn" in tip(305.0)
    assert "masked: A9" not in tip(305.0)
    assert "pulse masked: A4 damped or resonant" in tip(405.0)
    assert "A2" not in tip(204.5)
    # The record of the small case runs from 0 s to 1200 s.
    assert "nothing recorded any more" in tip(1300.0)
    assert "nothing recorded yet" in tip(-10.0)
    assert "nothing recorded" not in tip(1100.0)
    desk.session.masks.raw = True
    desk.session.masks_changed.emit()
    assert "left in: A2 fast flush" in tip(203.5)


def test_a_gap_is_not_hatched_and_what_can_be_used_in_part_is_hatched_lightly(desk: Desk) -> None:
    desk.session.take("masks", {})
    bare = greyed(desk.views.long)
    desk.session.take("masks", {FEMORAL: [MaskedSpan(300.0, 400.0, "A9", "a gap", "nothing")]})
    assert greyed(desk.views.long) == bare
    desk.session.take("masks", {FEMORAL: [MaskedSpan(300.0, 400.0, "A7", "a step")]})
    light = greyed(desk.views.long)
    desk.session.take("masks", {FEMORAL: [MaskedSpan(300.0, 400.0, "A1", "open")]})
    assert bare < light < greyed(desk.views.long)
