"""The widget: what the mouse says to the desk, what is painted again when only the playhead moves."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from afterclamp.io.case import Case, Span
from afterclamp.io.recording import Segment
from afterclamp.replay.strips import hover
from afterclamp.replay.strips.axis import FROM_START
from afterclamp.replay.strips.envelope import Grain, TimeScale
from afterclamp.replay.strips.lanes import Bar
from afterclamp.replay.strips.layout import strips_of
from afterclamp.replay.strips.theme import DARK, PAPER
from afterclamp.replay.strips.view import SHORTEST_S, StripsView
from numpy.typing import NDArray
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from recordings import case_of, even, recording

LENGTH = 3600.0


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    t = np.arange(int(LENGTH * 50)) / 50
    wave = even(
        "Art Rad L",
        np.round(800 + 200 * np.sin(2 * np.pi * t)).astype(np.int16),
        [Segment(0.0, 0, len(t), 50.0, scale=0.1)],
    )
    rows = np.full(int(LENGTH), 44, np.int16)
    rows[100:] = 46
    valid = np.ones(len(rows), bool)
    valid[200:] = False
    flow = even("pump flow", rows, [Segment(0.0, 0, len(rows), 1.0, scale=0.1)], unit="L/min", valid=valid)
    with case_of(tmp_path_factory.mktemp("view") / "case", recording("a", [wave, flow])) as opened:
        yield opened


@pytest.fixture
def view(case: Case, qtbot: QtBot) -> StripsView:
    made = StripsView()
    qtbot.addWidget(made)
    made.resize(900, 400)
    made.set_case(case)
    with qtbot.waitExposed(made):
        made.show()
    return made


def grabbed(view: StripsView) -> NDArray[np.uint32]:
    image = view.grab().toImage().convertToFormat(view.grab().toImage().Format.Format_RGB32)
    return np.array(image.constBits(), copy=True).view(np.uint32).reshape(image.height(), -1)


def turn(
    view: StripsView, at: QPointF, angle: QPoint, keys: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier
) -> None:
    event = QWheelEvent(
        at,
        view.mapToGlobal(at),
        QPoint(),
        angle,
        Qt.MouseButton.NoButton,
        keys,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(view, event)


def a_pixel(view: StripsView) -> float:
    """Seconds."""
    return view.time_at(501) - view.time_at(500)


def test_a_case_is_shown_whole(view: StripsView, case: Case) -> None:
    assert view.span == case.span


def test_a_click_scrubs_to_the_time_under_it(view: StripsView, qtbot: QtBot) -> None:
    with qtbot.waitSignal(view.scrubbed) as caught:
        qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=QPoint(500, 200))
    assert caught.args is not None
    (t,) = caught.args
    # Where the playhead is then drawn is the column that was clicked.
    assert view.x_at(t) == 500.0
    left, right = view.x_at(0.0), view.x_at(LENGTH)
    assert t == pytest.approx((500.5 - left) / (right - left) * LENGTH, abs=a_pixel(view))


def test_dragging_scrubs_all_the_way(view: StripsView, qtbot: QtBot) -> None:
    heard: list[float] = []
    view.scrubbed.connect(heard.append)
    qtbot.mousePress(view, Qt.MouseButton.LeftButton, pos=QPoint(400, 200))
    for x in (410, 450, 5000):
        qtbot.mouseMove(view, pos=QPoint(x, 210))
    qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, pos=QPoint(5000, 210))
    assert heard == sorted(heard)
    assert heard[0] == view.time_at(400)
    assert heard[-1] <= LENGTH  # beyond the edge it stays at the edge
    qtbot.mouseMove(view, pos=QPoint(300, 210))
    assert len(heard) == 4


def test_dragging_with_shift_selects_a_stretch(view: StripsView, qtbot: QtBot) -> None:
    scrubs: list[float] = []
    view.scrubbed.connect(scrubs.append)
    shift = Qt.KeyboardModifier.ShiftModifier
    with qtbot.waitSignal(view.span_selected) as caught:
        qtbot.mousePress(view, Qt.MouseButton.LeftButton, shift, pos=QPoint(600, 200))
        qtbot.mouseMove(view, pos=QPoint(500, 220))
        qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, shift, pos=QPoint(400, 220))
    assert caught.args is not None
    start, end = caught.args
    assert (start, end) == pytest.approx((view.time_at(400), view.time_at(600)), abs=a_pixel(view))
    assert view.selected == Span(start, end)
    assert not scrubs


def test_a_click_with_shift_chooses_nothing(view: StripsView, qtbot: QtBot) -> None:
    view.set_selected(Span(10.0, 20.0))
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ShiftModifier, pos=QPoint(600, 200))
    assert view.selected is None


def test_a_selection_is_tinted(view: StripsView) -> None:
    before = grabbed(view)
    view.set_selected(Span(1000.0, 2000.0))
    after = grabbed(view)
    changed = np.flatnonzero((before != after).any(axis=0))
    assert changed.min() == pytest.approx(view.x_at(1000.0), abs=1)
    assert changed.max() == pytest.approx(view.x_at(2000.0), abs=1)


@pytest.mark.parametrize("x", [300, 550, 860])
def test_the_wheel_zooms_around_the_pointer(view: StripsView, qtbot: QtBot, x: int) -> None:
    for _ in range(6):
        before, length = view.time_at(x), view.span.duration
        with qtbot.waitSignal(view.zoomed) as caught:
            turn(view, QPointF(x + 0.5, 150), QPoint(0, 120))
        assert caught.args == [view.span]
        assert view.span.duration == pytest.approx(length / 1.25)
        assert view.time_at(x) == pytest.approx(before, abs=1.5 * length / 600)
    turn(view, QPointF(x, 150), QPoint(0, -120 * 40))
    assert view.span == Span(0.0, LENGTH)


def test_no_window_is_shorter_than_the_shortest(view: StripsView) -> None:
    turn(view, QPointF(500, 150), QPoint(0, 120 * 200))
    assert view.span.duration == pytest.approx(SHORTEST_S)
    assert grabbed(view).shape == (400, 900)


def test_the_wheel_with_shift_slides(view: StripsView) -> None:
    view.set_span(Span(1000.0, 1100.0))
    turn(view, QPointF(500, 150), QPoint(0, -120), Qt.KeyboardModifier.ShiftModifier)
    assert view.span == Span(1010.0, 1110.0)
    turn(view, QPointF(500, 150), QPoint(120, 0))
    assert view.span == Span(1000.0, 1100.0)


def test_the_time_axis_is_dragged_with_its_times_under_the_pointer(view: StripsView, qtbot: QtBot) -> None:
    view.set_span(Span(1000.0, 1100.0))
    held = view.time_at(600)
    qtbot.mousePress(view, Qt.MouseButton.LeftButton, pos=QPoint(600, 390))
    with qtbot.waitSignal(view.zoomed):
        qtbot.mouseMove(view, pos=QPoint(500, 392))
    qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, pos=QPoint(500, 392))
    assert view.time_at(500) == pytest.approx(held, abs=2 * a_pixel(view))
    assert view.span.duration == pytest.approx(100.0)


def test_a_window_stays_within_the_case(view: StripsView, qtbot: QtBot) -> None:
    view.set_span(Span(0.0, 100.0))
    qtbot.mousePress(view, Qt.MouseButton.LeftButton, pos=QPoint(500, 390))
    qtbot.mouseMove(view, pos=QPoint(800, 392))
    qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, pos=QPoint(800, 392))
    assert view.span == Span(0.0, 100.0)


def test_setting_window_or_playhead_says_nothing_back(view: StripsView) -> None:
    heard: list[object] = []
    for signal in (view.zoomed, view.scrubbed, view.picked):
        signal.connect(heard.append)
    view.set_span(Span(100.0, 200.0))
    view.set_playhead(150.0)
    assert heard == []


def test_a_clicked_bar_hands_back_what_it_was_made_from(view: StripsView, qtbot: QtBot) -> None:
    scrubs: list[float] = []
    view.scrubbed.connect(scrubs.append)
    thing = object()
    view.set_finds([Bar(1800.0, 1801.0, "A2", origin=thing)])
    with qtbot.waitSignal(view.picked) as caught:
        qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=QPoint(int(view.x_at(1800.0)), 10))
    assert caught.args == [thing]
    assert not scrubs
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=QPoint(int(view.x_at(600.0)), 10))
    assert len(scrubs) == 1


# -- each view by itself, by hand and by key ------------------------------------------------------------


def test_the_middle_button_drags_the_window_anywhere(view: StripsView, qtbot: QtBot) -> None:
    view.set_span(Span(1000.0, 1100.0))
    held, scrubs = view.time_at(600), []
    view.scrubbed.connect(scrubs.append)
    qtbot.mousePress(view, Qt.MouseButton.MiddleButton, pos=QPoint(600, 150))
    with qtbot.waitSignal(view.zoomed):
        qtbot.mouseMove(view, pos=QPoint(450, 150))
    qtbot.mouseRelease(view, Qt.MouseButton.MiddleButton, pos=QPoint(450, 150))
    assert view.time_at(450) == pytest.approx(held, abs=2 * a_pixel(view))
    assert scrubs == []


@pytest.mark.parametrize(
    ("key", "window"),
    [
        (Qt.Key.Key_Left, Span(980.0, 1080.0)),
        (Qt.Key.Key_Right, Span(1020.0, 1120.0)),
        (Qt.Key.Key_Up, Span(1010.0, 1090.0)),
        (Qt.Key.Key_Down, Span(987.5, 1112.5)),
    ],
)
def test_alt_and_an_arrow_slide_and_zoom_the_view_with_the_keyboard(
    view: StripsView, qtbot: QtBot, key: Qt.Key, window: Span
) -> None:
    view.set_span(Span(1000.0, 1100.0))
    with qtbot.waitSignal(view.zoomed):
        qtbot.keyClick(view, key, Qt.KeyboardModifier.AltModifier)
    assert (view.span.start, view.span.end) == pytest.approx((window.start, window.end))


def test_keys_zoom_around_the_playhead_where_it_is_in_sight(view: StripsView, qtbot: QtBot) -> None:
    view.set_span(Span(1000.0, 1100.0))
    view.set_playhead(1010.0)
    qtbot.keyClick(view, Qt.Key.Key_Up, Qt.KeyboardModifier.AltModifier)
    # A tenth of the window lies before the playhead, as before: 80 s from 1010 - 8.
    assert (view.span.start, view.span.end) == pytest.approx((1002.0, 1082.0))


def test_the_wheel_over_the_names_goes_through_the_strips(view: StripsView, qtbot: QtBot) -> None:
    window = view.span
    for angle, strips in ((-120, 1), (120, -1)):
        with qtbot.waitSignal(view.scrolled) as caught:
            turn(view, QPointF(50, 150), QPoint(0, angle))
        assert caught.args == [strips]
    assert view.span == window


@pytest.mark.parametrize(("t", "before"), [(100.0, True), (3000.0, False)])
def test_a_playhead_outside_the_window_is_told_at_the_edge_it_lies_beyond(
    view: StripsView, t: float, before: bool
) -> None:
    view.set_span(Span(1000.0, 1100.0))
    plain = grabbed(view)
    view.set_playhead(t)
    rows, columns = np.nonzero(grabbed(view) != plain)
    left, right = view.x_at(1000.0), view.x_at(1100.0)
    middle = (left + right) / 2
    assert len(columns)
    assert (columns.max() < middle) if before else (columns.min() > middle)
    edge = columns.min() if before else columns.max()
    assert edge == pytest.approx(left if before else right, abs=3)
    assert rows.max() < 400 - 24, "above the time axis"


def test_the_sign_of_a_playhead_outside_goes_when_it_comes_in(view: StripsView) -> None:
    view.set_span(Span(1000.0, 1100.0))
    view.set_playhead(100.0)
    QApplication.processEvents()
    view.set_playhead(1050.0)
    QApplication.processEvents()
    inside = grabbed(view)
    view.set_playhead(None)
    view.set_playhead(1050.0)
    view.set_theme(PAPER)  # painted whole
    assert np.array_equal(inside, grabbed(view))


def test_all_shaded_stretches_are_tinted_and_nothing_else(view: StripsView) -> None:
    before = grabbed(view)
    spans = [Span(600.0, 700.0), Span(1800.0, 2400.0), Span(3000.0, 3030.0)]
    view.set_shaded(spans)
    changed = (grabbed(view) != before).any(axis=0)
    for span in spans:
        assert changed[int(view.x_at(span.start)) + 1 : int(view.x_at(span.end)) - 1].all()
    within = [(int(view.x_at(span.start)), int(view.x_at(span.end))) for span in spans]
    outside = np.ones(len(changed), bool)
    for a, b in within:
        outside[a - 1 : b + 2] = False
    assert not changed[outside].any()
    view.set_shaded([])
    assert np.array_equal(grabbed(view), before)


def test_hundreds_of_shaded_stretches_are_no_darker_than_one(view: StripsView) -> None:
    view.set_shaded([Span(1000.0, 2000.0)])
    one = grabbed(view)
    view.set_shaded([Span(1000.0 + n, 1001.0 + n) for n in range(1000)])
    assert np.array_equal(grabbed(view), one)


# -- painting -------------------------------------------------------------------------------------------


def test_moving_the_playhead_leaves_what_a_whole_painting_gives(
    view: StripsView, case: Case, qtbot: QtBot
) -> None:
    for t in (100.0, 1234.5, 3000.0, 3001.0, 20.0):
        view.set_playhead(t)
        QApplication.processEvents()
    standing = grabbed(view)
    fresh = StripsView()
    qtbot.addWidget(fresh)
    fresh.resize(900, 400)
    fresh.set_case(case)
    fresh.set_playhead(20.0)
    assert np.array_equal(standing, grabbed(fresh))
    # And on the widget's own surface, painted piece by piece, there is one playhead only.
    screen = view.screen().grabWindow(view.winId()).toImage()
    if not screen.isNull() and screen.width() == view.width():
        columns = [
            x for x in range(view.width()) if screen.pixelColor(x, 60).name().upper() == PAPER.playhead
        ]
        assert len(columns) <= 1


def test_moving_the_playhead_paints_two_narrow_columns(view: StripsView) -> None:
    view.set_playhead(1000.0)
    QApplication.processEvents()
    painted: list[int] = []
    original = view.paintEvent
    view.paintEvent = lambda event: (painted.append(sum(r.width() for r in event.region())), original(event))  # type: ignore[method-assign, assignment, func-returns-value, attr-defined]
    view.set_playhead(2000.0)
    QApplication.processEvents()
    assert painted
    assert max(painted) <= 40


def test_the_playhead_stands_in_the_column_of_its_time(view: StripsView) -> None:
    view.set_playhead(1234.0)
    pixels = grabbed(view)
    strip = pixels[40:60]
    line = 0xFF000000 | int(PAPER.playhead[1:], 16)
    assert np.flatnonzero((strip == line).all(axis=0)).tolist() == [int(view.x_at(1234.0))]
    view.set_playhead(None)
    assert not (grabbed(view)[40:60] == line).all(axis=0).any()


def test_another_look_window_or_size_is_painted_anew(view: StripsView) -> None:
    first = grabbed(view)
    view.set_span(Span(0.0, 60.0))
    second = grabbed(view)
    view.set_theme(DARK)
    third = grabbed(view)
    assert (first != second).any()
    assert (second != third).mean() > 0.8
    view.resize(700, 300)
    assert grabbed(view).shape == (300, 700)


def test_without_a_case_the_mouse_says_nothing(qtbot: QtBot) -> None:
    view = StripsView()
    qtbot.addWidget(view)
    view.resize(600, 300)
    heard: list[object] = []
    for signal in (view.zoomed, view.scrubbed, view.picked):
        signal.connect(heard.append)
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=QPoint(400, 100))
    turn(view, QPointF(400, 100), QPoint(0, 120))
    view.set_case(None)
    assert grabbed(view).shape == (300, 600)
    assert heard == []


def test_another_view_of_the_same_case_keeps_window_and_lanes(view: StripsView, case: Case) -> None:
    view.set_finds([Bar(600.0, 1200.0, "E05")])
    view.set_span(Span(500.0, 1500.0))
    view.replace_case(case.until(1000.0))
    assert view.span == Span(500.0, 1500.0)
    fill = 0xFF000000 | int(PAPER.find[1:], 16)
    assert (grabbed(view)[:20] == fill).any()


# -- what the tip says ----------------------------------------------------------------------------------


def _tip(case: Case, number: int, t: float, length: float) -> str:
    scale = TimeScale.of(t - length / 2, t + length / 2, 700)
    return hover.strip_tip(strips_of(case)[number], t, scale, Grain(), FROM_START)


def test_the_tip_gives_value_and_unit(case: Case) -> None:
    assert _tip(case, 0, 100.25, 10.0).splitlines() == ["1:40.25", "left radial: 100 mmHg"]
    assert _tip(case, 1, 150.0, 10.0).splitlines()[1] == "pump flow: 4.6 L/min"


def test_far_away_the_tip_gives_the_extremes_of_the_pixel(case: Case) -> None:
    assert _tip(case, 0, 1800.0, LENGTH).splitlines() == ["30:00", "left radial: 60 to 100 mmHg"]


def test_an_old_value_tells_its_age_and_a_lost_one_is_a_dash(case: Case) -> None:
    assert _tip(case, 1, 201.6, 10.0).splitlines()[1] == "pump flow: 4.6 L/min, 3 s old"
    assert _tip(case, 1, 400.0, 10.0).splitlines()[1] == "pump flow: –"


def test_the_tip_of_a_bar_gives_its_times_and_how_sure_they_are() -> None:
    text = hover.bar_tip(Bar(60.0, 75.0, "E05", "E05 arterial pressure low", sd_s=10.0), FROM_START)
    # 1.96 standard deviations are half of a 95 % interval.
    assert text == "E05 arterial pressure low\n1:00 to 1:15 ± 19.6 s"
