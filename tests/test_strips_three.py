"""The three views together: what is shown where, how high, and what leaves with a find that was set aside."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate.rules import Find
from afterclamp.io.case import Span
from afterclamp.replay.desk import Desk
from afterclamp.replay.strips.theme import PAPER
from afterclamp.replay.strips.view import StripsView
from desk_support import FLUSH, LOW, desk, settings, small_folder  # noqa: F401
from numpy.typing import NDArray
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

# ruff: noqa: F811


def pixels(view: StripsView) -> NDArray[np.uint32]:
    image = view.grab().toImage()
    image = image.convertToFormat(image.Format.Format_RGB32)
    return np.array(image.constBits(), copy=True).view(np.uint32).reshape(image.height(), -1)


def greyed(view: StripsView) -> int:
    """Pixels in the grey of what is masked, or of its hatch."""
    picture = pixels(view)
    return sum(int((picture == (0xFF000000 | int(ink[1:], 16))).sum()) for ink in (PAPER.masked, PAPER.hatch))


def test_the_hatch_of_an_artefact_goes_when_it_is_set_aside(desk: Desk) -> None:
    view = desk.views.long
    with_flush = greyed(view)
    desk.session.decide("set aside", [FLUSH])
    QApplication.processEvents()
    assert greyed(view) < with_flush
    desk.session.decide("accepted", [FLUSH])
    QApplication.processEvents()
    assert greyed(view) == with_flush


def test_finds_that_are_no_artefact_hatch_nothing(desk: Desk) -> None:
    desk.session.take("masks", {})
    desk.views.set_finds([LOW])
    bare = greyed(desk.views.long)
    desk.views.set_finds([])
    assert greyed(desk.views.long) == bare


def test_all_runs_of_a_figure_are_shaded_in_every_view(desk: Desk) -> None:
    runs = [Span(100.0, 160.0), Span(400.0, 700.0)]
    desk.views.set_shaded(runs)
    assert all(view.shaded == tuple(runs) for view in desk.views.views)
    desk.views.set_shaded([])
    assert all(view.shaded == () for view in desk.views.views)


def test_a_wave_in_the_close_view_is_high_enough_at_1280_by_800(desk: Desk) -> None:
    desk.resize(1280, 800)
    QApplication.processEvents()
    view = desk.views.close_up
    top, height = view.place_of(0)
    assert view.strips[0].is_wave
    # 110 px for 160 mmHg: a pulse of 40 mmHg is 27 px, more than twice a line of text.
    assert height >= 110
    assert top + height < view.height()


@pytest.mark.parametrize("size", [(1280, 800), (1600, 1000), (1920, 1080)])
def test_no_strip_is_lower_than_it_can_be_read(desk: Desk, size: tuple[int, int]) -> None:
    desk.resize(*size)
    QApplication.processEvents()
    for view in desk.views.views:
        for number, strip in enumerate(view.strips):
            assert view.place_of(number)[1] >= strip.least - 1


def test_strips_without_room_are_reached_by_scrolling(qtbot: QtBot, desk: Desk) -> None:
    box = desk.views.boxes[2]
    desk.views.splitter.setSizes([600, 400, 90])
    QApplication.processEvents()
    assert [strip.title for strip in box.view.strips] == ["Arterial pressure"]
    assert "1 more strip" in box.head.text
    assert box.scroll_bar.maximum() == 1
    qtbot.keyClick(box.view, Qt.Key.Key_PageDown, Qt.KeyboardModifier.AltModifier)
    assert [strip.title for strip in box.view.strips] == ["Pump flow"]
    desk.views.splitter.setSizes([200, 200, 600])
    QApplication.processEvents()
    assert [strip.title for strip in box.view.strips] == ["Arterial pressure", "Pump flow"]
    assert "more" not in box.head.text


def test_time_axes_of_all_views_begin_and_end_at_the_same_places(desk: Desk) -> None:
    desk.views.splitter.setSizes([600, 400, 90])  # one of them has a scroll bar
    QApplication.processEvents()
    assert len({view.width() for view in desk.views.views}) == 1


def test_a_view_slid_by_key_leaves_the_others_and_the_playhead(qtbot: QtBot, desk: Desk) -> None:
    desk.views.jump(600.0)
    close, long = desk.views.close_up.span, desk.views.long.span
    middle = desk.views.middle.span
    desk.views.middle.setFocus()
    qtbot.keyClick(desk.views.middle, Qt.Key.Key_Left, Qt.KeyboardModifier.AltModifier)
    assert desk.views.middle.span.start == pytest.approx(middle.start - 0.2 * middle.duration)
    assert (desk.views.close_up.span, desk.views.long.span, desk.playhead.time) == (close, long, 600.0)


def test_a_copied_view_has_its_legend_and_its_axis(desk: Desk) -> None:
    box = desk.views.boxes[1]
    box.copy_image()
    image = QGuiApplication.clipboard().image()
    assert (image.width(), image.height()) == (box.view.width(), box.view.height())
    margin = int(box.view.axis_bounds()[0])
    words = {image.pixelColor(x, y).name() for x in range(0, margin, 2) for y in range(100)}
    axis = {image.pixelColor(x, image.height() - 12).name() for x in range(margin, image.width())}
    assert len(words) > 5
    assert len(axis) > 2


def test_the_line_over_a_view_changes_without_laying_out_the_window(desk: Desk) -> None:
    asked: list[QEvent.Type] = []
    box = desk.views.boxes[1]
    original = box.event
    box.event = lambda event: (asked.append(event.type()), original(event))[1]  # type: ignore[method-assign]
    desk.views.zoom_middle(0.5)
    QApplication.processEvents()
    assert QEvent.Type.LayoutRequest not in asked


def test_lanes_of_a_low_view_have_one_row(desk: Desk) -> None:
    finds = [Find("E05", "one", 100.0, 400.0, ("femoral",), "", 0.5, {"rule": ""})] * 3
    desk.views.set_finds(finds)
    desk.resize(1280, 800)
    QApplication.processEvents()
    assert desk.views.close_up.height() < 280
    assert set(desk.views.close_up.lane_rows) == {1}
