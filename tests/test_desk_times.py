"""Going to a time that somebody types, and a playhead that is never lost out of sight without a word."""

from __future__ import annotations

from datetime import datetime

import pytest
from afterclamp.io.case import Span
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.clock_face import CLOCK, MINUTES, MOMENT, ClockFace
from afterclamp.replay.panes.go_to import GoToBox
from desk_support import desk, settings, small_folder  # noqa: F401
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

DAY = Span(0.0, 8 * 3600.0)  # a case from 12:00:00 to 20:00:00


def face(display: str = CLOCK, start: datetime | None = datetime(2000, 1, 1, 12, 0, 0)) -> ClockFace:
    made = ClockFace()
    made.set_start(start)
    made.set_display(display)
    return made


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [
        # 14:03:20 is 2 h 3 min 20 s after noon.
        ("14:03:20", 7400.0),
        ("14:03", 7380.0),
        (" 14:03:20 ", 7400.0),
        ("2:03:20", 7400.0),
        ("123.5", 7410.0),
        ("123,5", 7410.0),
        ("123:30", 7410.0),
        ("0", 0.0),
        ("14:03:20.5", 7400.5),
    ],
)
def test_a_time_can_be_typed_in_every_way_that_is_offered(typed: str, seconds: float) -> None:
    assert face().read(typed, DAY) == pytest.approx(seconds)


@pytest.mark.parametrize("typed", ["", "soon", "14:3:2:1", "14:61:00", "14h", "1e3", "inf", "12:00:75"])
def test_what_is_no_time_is_said_with_what_to_type(typed: str) -> None:
    with pytest.raises(ValueError, match="Type a clock time"):
        face().read(typed, DAY)


@pytest.mark.parametrize("typed", ["20:30:00", "11:59:00", "500", "-5"])
def test_a_time_outside_the_case_is_said_with_where_the_case_lies(typed: str) -> None:
    with pytest.raises(ValueError, match=r"outside the case, which runs from 12:00:00 to 20:00:00"):
        face().read(typed, DAY)


def test_what_can_be_read_both_ways_goes_by_how_times_are_shown() -> None:
    early = datetime(2000, 1, 1, 1, 0, 0)  # 02:30:00 is 1.5 h after the start, and also 2.5 h as minutes
    assert face(CLOCK, early).read("2:30:00", DAY) == 5400.0
    assert face(MINUTES, early).read("2:30:00", DAY) == 9000.0


def test_a_clock_time_after_midnight_belongs_to_the_next_day() -> None:
    night = face(CLOCK, datetime(2000, 1, 1, 22, 0, 0))
    assert night.read("01:00:00", DAY) == 3 * 3600.0


def test_without_a_clock_only_minutes_are_offered_and_taken() -> None:
    bare = face(CLOCK, None)
    assert bare.read("2:03:20", DAY) == 7400.0
    with pytest.raises(ValueError, match="Type minutes"):
        bare.read("noon", DAY)


@given(st.floats(0, DAY.end), st.sampled_from([CLOCK, MINUTES]))
def test_what_the_face_writes_it_also_reads(t: float, display: str) -> None:
    shown = face(display)
    assert shown.read(shown.text(t), DAY) == pytest.approx(t, abs=0.51)


def test_g_goes_to_a_time_and_says_what_it_did_not_understand(qtbot: QtBot, desk: Desk) -> None:
    qtbot.keyClick(desk, "g")
    box = desk.box
    assert isinstance(box, GoToBox)
    qtbot.keyClicks(box.line, "gone")
    qtbot.keyClick(box.line, Qt.Key.Key_Return)
    assert box.isVisible()
    assert "gone" in box.problem.text()
    qtbot.keyClicks(box.line, "08:05:30")  # the wrong words are selected, typing replaces them
    qtbot.keyClick(box.line, Qt.Key.Key_Return)
    assert desk.playhead.time == 330.0  # the case begins at eight
    assert desk.views.close_up.span.start <= 330.0 <= desk.views.close_up.span.end
    assert desk.box is None


# -- the playhead stays in sight --------------------------------------------------------------------


def wheel(desk: Desk, t: float, notches: int) -> None:
    view = desk.views.middle
    place = QPointF(view.x_at(t), view.height() / 2)
    event = QWheelEvent(
        place, QPointF(view.mapToGlobal(place)), QPoint(), QPoint(0, 120 * notches), Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(view, event)


def test_a_playhead_that_the_wheel_leaves_outside_is_told_and_v_fetches_it(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(100.0)
    window = desk.views.middle.span
    for _ in range(12):
        wheel(desk, window.end - 20, 1)
    assert desk.views.middle.span.start > 100.0
    assert "lies left of the Middle view" in desk.statusBar().currentMessage()
    qtbot.keyClick(desk, "v")
    assert desk.views.middle.span.start <= 100.0 <= desk.views.middle.span.end


def test_zooming_by_key_keeps_the_playhead_in_sight(desk: Desk) -> None:
    desk.playhead.seek(100.0)
    window = desk.views.middle.span
    for _ in range(12):
        wheel(desk, window.end - 20, 1)
    desk.does.zoom_in()
    assert desk.views.middle.span.start <= 100.0 <= desk.views.middle.span.end


def test_times_can_be_counted_from_a_moment_and_one_key_goes_round(qtbot: QtBot, desk: Desk) -> None:
    desk.playhead.seek(120.0)
    desk.does.count_from_here()
    assert desk.face.text(120.0) == "0:00"
    assert desk.face.text(150.0) == "+0:30"
    assert desk.face.text(60.0) == "-1:00"
    seen = []
    for _ in range(3):
        desk.does.change_time_display()
        seen.append(desk.face.display)
    assert seen == [CLOCK, MINUTES, MOMENT]


def test_the_moment_is_named_after_what_begins_there(desk: Desk) -> None:
    made = desk.session.mark_point(200.0, "")
    assert made is not None
    desk.session.change_words(made, "clamp seen")
    desk.playhead.seek(200.4)
    desk.does.count_from_here()
    assert desk.face.words == "minutes from clamp seen"
    assert desk.face.writer.title == "min:s from clamp seen"


def test_a_signed_time_is_read_from_the_moment_that_is_shown() -> None:
    shown = face()
    shown.count_from(7400.0, "the arrest")
    assert shown.read("+2:30", DAY) == pytest.approx(7550.0)
    assert shown.read("-1.5", DAY) == pytest.approx(7310.0)
    assert shown.read("14:03:20", DAY) == pytest.approx(7400.0)


def test_another_case_has_no_moment_of_the_one_before() -> None:
    shown = face()
    shown.count_from(7400.0, "the arrest")
    shown.forget_moment()
    assert shown.display == CLOCK
