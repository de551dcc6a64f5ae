"""The desk as a window: moving through a case, what is remembered, first start, the unforeseen."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from afterclamp.io.case import Span
from afterclamp.replay.app import Surprises
from afterclamp.replay.cautions import CAUTIONS, CAUTIONS_TITLE
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.sheets import CautionsBox
from afterclamp.replay.session import Session
from desk_support import FLUSH, LOW, desk, empty_desk, own_settings, settings, shown, small_folder  # noqa: F401
from PySide6.QtCore import QPoint, QSettings, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QTextBrowser
from pytestqt.qtbot import QtBot

# ruff: noqa: F811


def test_the_desk_starts_without_scipy_and_pandas() -> None:
    code = "import afterclamp.replay.app, sys; print(*{m.split('.')[0] for m in sys.modules})"
    env = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    done = subprocess.run(
        [sys.executable, "-P", "-c", code], env=env, timeout=60, check=True, capture_output=True, text=True
    )
    loaded = set(done.stdout.split())
    assert "PySide6" in loaded
    assert not loaded & {"scipy", "pandas", "pyqtgraph", "wfdb", "edfio", "jinja2"}


# -- moving -----------------------------------------------------------------------------------------


def test_enter_in_the_list_of_finds_goes_there(qtbot: QtBot, desk: Desk) -> None:
    desk.does.to_finds()
    desk.finds.select(LOW.key)
    qtbot.keyClick(desk.finds.table, Qt.Key.Key_Return)
    assert desk.playhead.time == 500.0
    for view in (desk.views.middle, desk.views.close_up):
        assert view.span.start <= 500.0 <= view.span.end
    assert desk.views.close_up.span.duration == 30.0
    assert desk.views.middle.selected == Span(500.0, 590.0), "how far the find reaches"


def test_double_click_in_the_list_of_marks_goes_there(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.marks)
    table = desk.marks.table
    place = table.visualRect(table.model().index(0, 0)).center()
    qtbot.mouseClick(table.viewport(), Qt.MouseButton.LeftButton, pos=place)
    qtbot.mouseDClick(table.viewport(), Qt.MouseButton.LeftButton, pos=place)
    assert desk.playhead.time == desk.marks.model.rows[0].start


def test_scrubbing_moves_the_playhead_and_the_narrower_views_follow(qtbot: QtBot, desk: Desk) -> None:
    long = desk.views.long
    for t in (300.0, 700.0, 1100.0):
        place = QPoint(int(long.x_at(t)), long.height() // 2)
        qtbot.mousePress(long, Qt.MouseButton.LeftButton, pos=place)
        qtbot.mouseRelease(long, Qt.MouseButton.LeftButton, pos=place)
        pixel = long.span.duration / (long.axis_bounds()[1] - long.axis_bounds()[0])
        assert abs(desk.playhead.time - t) <= 2 * pixel
        close = desk.views.close_up.span
        assert close.start <= desk.playhead.time <= close.end
        assert desk.views.long.span == desk.session.case.span  # type: ignore[union-attr]


def test_the_view_under_the_hand_stays_while_it_is_scrubbed(qtbot: QtBot, desk: Desk) -> None:
    desk.views.jump(600.0)
    close = desk.views.close_up
    before = close.span
    for t in (590.0, 595.0, 612.0):
        place = QPoint(int(close.x_at(t)), close.height() // 2)
        qtbot.mousePress(close, Qt.MouseButton.LeftButton, pos=place)
        qtbot.mouseRelease(close, Qt.MouseButton.LeftButton, pos=place)
    assert close.span == before


def test_windows_of_narrower_views_stand_as_brackets(desk: Desk) -> None:
    desk.views.jump(600.0)
    assert desk.views.long.brackets == (desk.views.middle.span, desk.views.close_up.span)
    assert desk.views.middle.brackets == (desk.views.close_up.span,)


def test_brackets_are_painted_where_the_narrower_window_ends(desk: Desk) -> None:
    desk.views.zoom_middle(0.25)
    desk.views.jump(600.0)
    long, window = desk.views.long, desk.views.middle.span
    image = long.grab().toImage()
    for t in (window.start, window.end):
        x = round(long.x_at(t))
        darkest = min(image.pixelColor(x + dx, y).lightness() for dx in (-1, 0, 1) for y in range(40, 60))
        assert darkest < 80, "ink of the bracket"


@pytest.mark.parametrize(
    ("key", "modifier", "step"),
    [
        (Qt.Key.Key_Right, Qt.KeyboardModifier.NoModifier, 1.0),
        (Qt.Key.Key_Left, Qt.KeyboardModifier.NoModifier, -1.0),
        (Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier, 10.0),
        (Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier, -10.0),
        (Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier, 60.0),
        (Qt.Key.Key_Left, Qt.KeyboardModifier.ControlModifier, -60.0),
    ],
)
def test_arrows_step(
    qtbot: QtBot, desk: Desk, key: Qt.Key, modifier: Qt.KeyboardModifier, step: float
) -> None:
    desk.playhead.seek(600.0)
    qtbot.keyClick(desk.views.long, key, modifier)
    assert desk.playhead.time == 600.0 + step


def test_full_stop_and_comma_go_from_mark_to_find_and_back(qtbot: QtBot, desk: Desk) -> None:
    seen = []
    for key in (".", ".", ".", ".", ",", ","):
        qtbot.keyClick(desk, key)
        seen.append(desk.playhead.time)
    # Finds at 200 and 500; the case came with a mark at 600.
    assert seen == [200.0, 500.0, 600.0, 600.0, 500.0, 200.0]


def test_a_find_that_was_set_aside_is_passed_over(qtbot: QtBot, desk: Desk) -> None:
    desk.finds.select(FLUSH.key)
    desk.does.set_aside_find()
    qtbot.keyClick(desk, ".")
    assert desk.playhead.time == 500.0


def test_home_and_end(qtbot: QtBot, desk: Desk) -> None:
    assert desk.session.case is not None
    qtbot.keyClick(desk.views.long, Qt.Key.Key_End)
    assert desk.playhead.time == desk.session.case.span.end
    qtbot.keyClick(desk.views.long, Qt.Key.Key_Home)
    assert desk.playhead.time == desk.session.case.span.start


def test_space_plays_and_pauses_and_speed_keys_change_the_speed(qtbot: QtBot, desk: Desk) -> None:
    desk.views.long.setFocus()
    qtbot.keyClick(desk.views.long, ">")
    assert desk.playhead.speed == 2.0
    qtbot.keyClick(desk.views.long, Qt.Key.Key_Space)
    assert desk.playhead.playing
    qtbot.waitUntil(lambda: desk.playhead.time > 0.2, timeout=3000)
    qtbot.keyClick(desk.views.long, Qt.Key.Key_Space)
    assert not desk.playhead.playing
    for _ in range(4):
        qtbot.keyClick(desk.views.long, "<")
    assert desk.playhead.speed == 0.25


def test_space_presses_the_button_that_has_the_keyboard(qtbot: QtBot, empty_desk: Desk, monkeypatch) -> None:
    asked: list[str] = []
    monkeypatch.setattr(
        "afterclamp.replay.desk_files.QFileDialog.getExistingDirectory",
        lambda *_: asked.append("folder") or "",
    )
    empty_desk.shelf.open.setFocus()
    qtbot.keyClick(empty_desk.shelf.open, Qt.Key.Key_Space)
    assert asked == ["folder"]


def test_t_turns_every_time_on_the_screen(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(600.0)
    assert desk.now.text().startswith("08:10:00")
    assert desk.finds.model.rows[0].cells[0] == "08:03:20"
    qtbot.keyClick(desk, "t")
    assert desk.now.text().startswith("10:00")
    assert desk.finds.model.rows[0].cells[0] == "3:20"
    assert desk.finds.model.columns[0].heading == "Min:s"


def test_every_pane_can_be_reached_by_tab(qtbot: QtBot, desk: Desk) -> None:
    wanted = {
        desk.views.ladder,
        *desk.views.views,
        desk.card.table,
        desk.finds.filter,
        desk.finds.table,
        desk.why,
    }
    desk.tabs.setCurrentWidget(desk.finds_page)
    desk.views.ladder.setFocus()
    reached = set()
    for _ in range(60):
        reached.add(desk.focusWidget())
        QTest.keyClick(desk.focusWidget() or desk, Qt.Key.Key_Tab)
    assert wanted <= reached


def test_every_pane_has_a_name_for_who_cannot_see_it(desk: Desk) -> None:
    panes = (
        desk.views.ladder, *desk.views.views, desk.card, desk.card.table, desk.marks, desk.marks.table,
        desk.finds, desk.finds.table, desk.said, desk.loose_ends, desk.why, desk.tabs, desk.now,
    )  # fmt: skip
    assert all(pane.accessibleName() for pane in panes)


def test_the_views_are_copied_as_an_image(qtbot: QtBot, desk: Desk) -> None:
    desk.does.copy_image()
    image = QGuiApplication.clipboard().image()
    assert (image.width(), image.height()) == (desk.views.width(), desk.views.height())


# -- what is remembered -----------------------------------------------------------------------------


def test_window_splitters_time_display_and_recent_cases_are_remembered(
    qtbot: QtBot, desk: Desk, settings: QSettings
) -> None:
    desk.resize(790, 700)  # within the offscreen platform's screen of 800 x 800
    desk.right.setSizes([200, 500])
    desk.does.change_time_display()
    kept = desk.right.sizes(), desk.size(), desk.session.case.folder  # type: ignore[union-attr]
    desk.close()
    again = Desk(QSettings(settings.fileName(), QSettings.Format.IniFormat))
    qtbot.addWidget(again)
    with qtbot.waitExposed(again):
        again.show()
    assert again.size() == kept[1]
    assert again.does.open_case(kept[2])
    assert again.right.sizes()[0] / sum(again.right.sizes()) == pytest.approx(
        kept[0][0] / sum(kept[0]), abs=0.05
    )
    assert again.face.wanted == "minutes from start"
    assert again.shelf.recent.item(0).text().split()[0] == kept[2].name
    again.close()


# -- first start ------------------------------------------------------------------------------------


def test_cautions_are_shown_whole_at_first_start_and_never_again(qtbot: QtBot, tmp_path: Path) -> None:
    fresh = own_settings(tmp_path)
    first = shown(qtbot, fresh)
    qtbot.waitUntil(lambda: isinstance(first.box, CautionsBox), timeout=2000)
    box = first.box
    assert isinstance(box, CautionsBox)
    text = box.findChild(QTextBrowser).toPlainText()
    for paragraph in (CAUTIONS_TITLE, *CAUTIONS):
        assert paragraph in text
    assert not box.go_on.isEnabled(), "it goes on only once it is said to be read"
    qtbot.mouseClick(box.read, Qt.MouseButton.LeftButton, pos=QPoint(8, box.read.height() // 2))
    qtbot.mouseClick(box.go_on, Qt.MouseButton.LeftButton)
    first.close()
    second = shown(qtbot, own_settings(tmp_path))
    QTest.qWait(50)
    assert second.box is None
    second.close()


def test_without_the_cautions_the_desk_closes(qtbot: QtBot, tmp_path: Path) -> None:
    fresh = shown(qtbot, own_settings(tmp_path))
    qtbot.waitUntil(lambda: isinstance(fresh.box, CautionsBox), timeout=2000)
    assert fresh.box is not None
    fresh.box.reject()
    qtbot.waitUntil(lambda: not fresh.isVisible(), timeout=2000)


# -- what goes wrong --------------------------------------------------------------------------------


def test_a_folder_that_is_no_case_is_said_and_the_open_case_stays(
    qtbot: QtBot, desk: Desk, tmp_path: Path
) -> None:
    before = desk.session.case
    (tmp_path / "empty").mkdir()
    assert not desk.does.open_case(tmp_path / "empty")
    assert desk.box is not None
    assert "is not a case" in desk.box.text()
    assert desk.session.case is before
    assert desk.isVisible()


def test_the_unforeseen_is_shown_once_and_the_window_stays(qtbot: QtBot, desk: Desk, capsys) -> None:
    hook = Surprises(desk)
    for _ in range(2):
        hook(ZeroDivisionError, ZeroDivisionError("nothing to divide by"), None)
    assert desk.box is not None
    assert "nothing to divide by" in desk.box.text()
    assert "ZeroDivisionError" in capsys.readouterr().err
    assert desk.isVisible()


def test_commands_that_need_a_case_are_grey_without_one(empty_desk: Desk) -> None:
    assert not empty_desk.actions_by_id["mark"].isEnabled()
    assert empty_desk.actions_by_id["open"].isEnabled()
    assert empty_desk.pages.currentWidget() is empty_desk.shelf


def test_closing_a_case_shows_the_shelf_with_it(desk: Desk) -> None:
    desk.does.close_case()
    assert desk.pages.currentWidget() is desk.shelf
    assert desk.session.case is None
    assert desk.shelf.recent.count() == 1


# -- looking ----------------------------------------------------------------------------------------


def test_phases_finds_and_figures_come_from_a_process_of_their_own(
    qtbot: QtBot, settings: QSettings, small_folder: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "looked"
    shutil.copytree(small_folder, folder)
    made = shown(qtbot, settings)
    assert made.does.open_case(folder)
    qtbot.waitUntil(lambda: bool(made.session.figures), timeout=30_000)
    # The small case is on bypass from 300 s to 900 s and its line is open to air from 120 s to 140 s.
    (bypass,) = [phase for phase in made.session.phases if phase.name == "bypass"]
    assert bypass.start_s == pytest.approx(300.0, abs=10)
    assert bypass.end_s == pytest.approx(900.0, abs=10)
    assert any(find.code == "A1" and abs(find.start_s - 120.0) < 2 for find in made.session.finds)
    made.close()


def test_leaving_a_case_ends_the_look_through_it(
    qtbot: QtBot, settings: QSettings, small_folder: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "left"
    shutil.copytree(small_folder, folder)
    made = shown(qtbot, settings)
    assert made.does.open_case(folder)
    look = made.session._looks.running["case"]
    assert look is not None
    made.does.close_case()
    assert not look.running
    QTest.qWait(100)
    assert made.session.phases == []
    made.close()


def test_a_session_without_a_case_answers_with_nothing(settings: QSettings) -> None:
    session = Session(settings)
    assert session.case is None
    assert session.loose_ends(str) == []
    session.undo()
    session.look()
