"""Hand over on the desk: what is asked for is what the process is told to write."""

from __future__ import annotations

from pathlib import Path

from afterclamp.io.case import Span
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.hand_over_box import WHOLE, HandOverBox
from desk_support import desk, settings, small_folder  # noqa: F401
from PySide6.QtWidgets import QLabel, QRadioButton
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

MIDDLE = {"what the Middle view shows": Span(0.0, 60.0)}


def choose(box: HandOverBox, form: str) -> None:
    (button,) = (one for one in box.findChildren(QRadioButton) if one.property("form") == form)
    button.setChecked(True)


def test_tables_are_of_the_whole_case_and_samples_of_a_window(qtbot: QtBot, tmp_path: Path) -> None:
    box = HandOverBox(tmp_path / "out", MIDDLE)
    qtbot.addWidget(box)
    assert not box.window_name.isEnabled()
    choose(box, "edf")
    assert box.window_name.isEnabled()
    box.window_name.setCurrentIndex(1)
    with qtbot.waitSignal(box.chosen) as heard:
        box._take()
    assert heard.args == ["edf", "what the Middle view shows", str(tmp_path / "out")]


def test_the_caution_is_read_whole(qtbot: QtBot, tmp_path: Path) -> None:
    box = HandOverBox(tmp_path / "out", MIDDLE)
    qtbot.addWidget(box)
    with qtbot.waitExposed(box):
        box.show()
    for label in box.findChildren(QLabel):
        if label.wordWrap():
            assert label.height() >= label.heightForWidth(label.width()), label.text()


def test_without_a_folder_nothing_can_be_handed_over(qtbot: QtBot, tmp_path: Path) -> None:
    box = HandOverBox(tmp_path / "out", {})
    qtbot.addWidget(box)
    box.into.setText(" ")
    assert not box.go.isEnabled()
    assert box.window_name.itemText(0) == WHOLE


def test_the_desk_writes_what_was_asked_for(qtbot: QtBot, desk: Desk, tmp_path: Path) -> None:
    desk.does.write_hand_over("annotations", Span(0.0, 300.0), tmp_path / "out")
    qtbot.waitUntil(lambda: not desk.does.busy(), timeout=60_000)
    assert (tmp_path / "out" / "NOTE.txt").exists()
    assert (tmp_path / "out" / "case.finds").exists()
