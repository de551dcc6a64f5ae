"""Phases set on the desk: shown at once, kept under the author, taken back by undo; stretches of a figure shaded."""

from __future__ import annotations

from typing import Any

import pytest
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.io.case import Span
from afterclamp.replay.desk import Desk
from desk_support import desk, settings, small_folder  # noqa: F401
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot
from test_desk_figures import LOW

# ruff: noqa: F811

BYPASS = Phase("bypass", Boundary(300.0, "flow"), Boundary(900.0, "flow"))


def clamp_of(desk: Desk) -> Any:
    return next(rung for rung in desk.views.ladder.rungs if rung.name == "clamp")


def test_the_clamp_is_set_by_keys_and_undone(qtbot: QtBot, desk: Desk) -> None:
    desk.session.take("phases", [BYPASS])
    ladder = desk.views.ladder
    ladder.setFocus()
    ladder.choose(clamp_of(desk))
    desk.playhead.seek(400.0)
    qtbot.keyClick(ladder, Qt.Key.Key_BracketLeft)
    desk.playhead.seek(800.0)
    qtbot.keyClick(ladder, Qt.Key.Key_BracketRight)
    assert (clamp_of(desk).start, clamp_of(desk).end) == (400.0, 800.0)
    assert desk.session.case is not None
    (edit,) = desk.session.case.log.standing("phase")
    assert edit.author == desk.session.author
    assert not desk.session.case.log.standing("mark")[1:], "the keys of spans marked nothing besides"
    desk.does.undo()
    assert not desk.session.case.log.standing("phase")


def test_times_set_twice_replace_each_other(desk: Desk) -> None:
    desk.session.take("phases", [BYPASS])
    for end in (700.0, 800.0):
        desk.session.set_phase({"name": "clamp", "index": 0, "start_s": 400.0, "end_s": end, "sd_s": 0.0})
    assert desk.session.case is not None
    assert [edit.payload["end_s"] for edit in desk.session.case.log.standing("phase")] == [800.0]
    assert not desk.session.case.log.conflicts


def test_a_chosen_figure_shades_every_stretch(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    shaded: list[list[Span]] = []
    for view in desk.views.views:
        monkeypatch.setattr(view, "set_shaded", shaded.append)
    desk.session.take("figures", [LOW])
    desk.figures.select("0")
    assert [Span(*run) for run in LOW.runs] in [list(spans) for spans in shaded]


def test_the_tab_counts_the_finds_that_nobody_has_judged(desk: Desk) -> None:
    assert desk.tabs.tabText(1) == "Finds 2 of 2"
    desk.finds.select(desk.finds.model.rows[0].key)
    desk.does.accept_find()
    assert desk.tabs.tabText(1) == "Finds 1 of 2"
    desk.does.undo()
    assert desk.tabs.tabText(1) == "Finds 2 of 2"
