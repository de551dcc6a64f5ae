"""The trust strip on the desk: drawn, dragged, reached by keyboard, undone, and worked out again."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.figure_row import Figure, OtherLine
from afterclamp.annotate.quality import ARTEFACT, GOOD, MEAN_ONLY, NOTHING, WRONG_LEVEL
from afterclamp.annotate.site_changes import SiteChange
from afterclamp.annotate.trust import TrustLine, TrustStrip, trust_strip
from afterclamp.annotate.trust_rules import BELIEVED, STANDS_IN, TrustSpan
from afterclamp.io.case import Case, Span
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.clock_face import ClockFace
from afterclamp.replay.panes.trust_box import TrustBox
from afterclamp.replay.panes.trust_edits import edges, moved
from afterclamp.replay.panes.trust_menu import trust_menu
from afterclamp.replay.panes.trust_paint import runs_of
from afterclamp.replay.panes.trust_strip import TrustStripPane
from afterclamp.replay.session import Session
from afterclamp.replay.strips.theme import PAPER
from desk_support import settings, shown  # noqa: F401
from PySide6.QtCore import QPoint, QSettings, Qt
from PySide6.QtGui import QColor, QImage
from PySide6.QtWidgets import QDialogButtonBox, QMenu
from pytestqt.qtbot import QtBot
from recordings import case_of, recording
from test_site import SITES, line

# ruff: noqa: F811

LENGTH_S, IN_S = 1000, 200


def make(folder: Path) -> Path:
    """A femoral line that comes in after 200 s, and a left radial one."""
    second = np.arange(LENGTH_S)
    lines = [line("fem", np.full(LENGTH_S, 75.0), second >= IN_S), line("lrad", np.full(LENGTH_S, 72.0))]
    case_of(folder, recording("monitor", lines), identities=SITES).close()
    return folder


@pytest.fixture
def still(
    qtbot: QtBot, settings: QSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Desk]:
    """A desk on that case that looks for nothing by itself, its strip known."""
    monkeypatch.setattr(Session, "look", lambda _: None)
    made = shown(qtbot, settings)
    assert made.does.open_case(make(tmp_path / "case"))
    assert made.session.case is not None
    made.session.take("trust strip", trust_strip(made.session.case))
    yield made
    made.close()


def spans_of(desk: Desk) -> list[tuple[float, float, str, str]]:
    strip = desk.views.trust.strip
    assert strip is not None
    return [(one.start_s, one.end_s, one.line, one.by) for one in strip.spans]


def payloads(desk: Desk) -> list[dict[str, object]]:
    assert desk.session.case is not None
    return [dict(edit.payload) for edit in desk.session.case.log.standing("believe")]


def at(pane: TrustStripPane, t: float, row: int) -> QPoint:
    return QPoint(round(pane._x(t)), 2 + row * pane._row_height + 4)


def drag(qtbot: QtBot, pane: TrustStripPane, row: int, start: float, end: float) -> None:
    qtbot.mousePress(pane, Qt.MouseButton.LeftButton, pos=at(pane, start, row))
    for share in (0.3, 0.7, 1.0):
        qtbot.mouseMove(pane, at(pane, start + share * (end - start), row))
    qtbot.mouseRelease(pane, Qt.MouseButton.LeftButton, pos=at(pane, end, row))


PROPOSED = [(0.0, 200.0, "left_radial", ""), (200.0, 1000.0, "femoral", "")]


# -- drawn -----------------------------------------------------------------------------------------


def coloured(picture: QImage, x: float, y: float) -> str:
    return QColor(picture.pixel(round(x), round(y))).name().upper()


def test_the_believed_line_has_a_filled_bar_and_a_stand_in_a_light_one(still: Desk) -> None:
    pane = still.views.trust
    assert spans_of(still) == PROPOSED
    assert pane.strip is not None
    picture = pane.grab().toImage()
    believed, instead = pane.strip.spans[1], pane.strip.spans[0]
    for span, fill in ((believed, PAPER.mark), (instead, PAPER.phase)):
        box = pane.bar_box(span)
        assert coloured(picture, box.right() - 12, box.center().y()) == fill
    below = pane.bar_box(believed).center().y() + pane._row_height
    assert coloured(picture, pane._x(600.0), below) == PAPER.ground, "the other row has no bar there"


def test_a_class_of_quality_is_a_pattern_and_what_is_missing_is_nothing(qtbot: QtBot) -> None:
    classes = np.repeat(
        np.array([GOOD, NOTHING, ARTEFACT, MEAN_ONLY, WRONG_LEVEL], np.uint8), 100
    )  # fmt: skip
    strip = TrustStrip(0.0, (TrustLine("femoral", "femoral", "femoral", classes),), (), base="femoral")
    pane = TrustStripPane(ClockFace())
    qtbot.addWidget(pane)
    pane.resize(700, 60)
    pane.set_strip(strip)
    pane.set_window(Span(0.0, 500.0))
    picture = pane.grab().toImage()
    middle = pane._row_height - 3.5

    def inked(first: float, last: float) -> list[bool]:
        xs = range(round(pane._x(first)) + 3, round(pane._x(last)) - 3)
        return [coloured(picture, x, middle) != PAPER.ground for x in xs]

    assert all(inked(0, 100)), "good is a line"
    assert not any(inked(100, 200)), "missing is nothing"
    patterns = [inked(first, first + 100) for first in (200, 300, 400)]
    assert all(any(one) and not all(one) for one in patterns), "hatch, dashes and dots have gaps"
    changes = [sum(a != b for a, b in pairwise(one)) for one in patterns]
    assert len(set(changes)) == 3, "and each its own rhythm"


def test_runs_of_classes_cover_every_second_once() -> None:
    assert runs_of(np.array([0, 0, 3, 3, 3, 0], np.uint8)) == [(0, 2, 0), (2, 5, 3), (5, 6, 0)]
    assert runs_of(np.zeros(0, np.uint8)) == []


@pytest.mark.parametrize("count", [1, 6])
def test_it_is_as_high_as_its_lines(qtbot: QtBot, count: int) -> None:
    classes = np.zeros(100, np.uint8)
    lines = tuple(TrustLine(f"l{n}", f"l{n}", f"line {n}", classes) for n in range(count))
    pane = TrustStripPane(ClockFace())
    qtbot.addWidget(pane)
    empty = pane.sizeHint().height()
    pane.set_strip(TrustStrip(0.0, lines, (), base="l0"))
    assert pane.sizeHint().height() == empty + count * pane._row_height


def test_without_a_line_it_says_why(qtbot: QtBot) -> None:
    pane = TrustStripPane(ClockFace())
    qtbot.addWidget(pane)
    assert "not looked for yet" in pane.words()
    pane.set_strip(TrustStrip(0.0, (), (), nothing="there is no wave of arterial pressure in this case"))
    assert pane.words() == "no line is believed: there is no wave of arterial pressure in this case"
    qtbot.keyClick(pane, Qt.Key.Key_Return)
    qtbot.keyClick(pane, Qt.Key.Key_Down)
    assert not pane.grab().isNull()


def test_a_tip_says_line_quality_reason_and_times(still: Desk) -> None:
    tip = still.views.trust.tip(0, 100.0)
    assert "femoral at" in tip
    assert "missing, frozen or withdrawn" in tip
    assert "left radial stands in for finds while femoral is not in yet (R1)" in tip
    assert still.face.text(200.0) in tip


# -- mouse -----------------------------------------------------------------------------------------


def test_a_boundary_is_dragged_shown_at_once_and_undone(qtbot: QtBot, still: Desk) -> None:
    pane = still.views.trust
    drag(qtbot, pane, 1, 200.0, 400.0)
    [payload] = payloads(still)
    assert payload["site"] == "left_radial"
    assert payload["start_s"] == 200.0
    assert payload["end_s"] == pytest.approx(400, abs=3)
    assert [one[2:] for one in spans_of(still)] == [
        ("left_radial", ""),
        ("left_radial", "reviewer"),
        ("femoral", ""),
    ]
    assert still.actions_by_id["undo"].text().startswith("&Undo trusting left radial from")
    still.does.undo()
    assert spans_of(still) == PROPOSED
    still.does.redo()
    assert len(spans_of(still)) == 3


def test_a_stretch_of_a_row_is_selected_by_dragging_and_trusted_by_enter(qtbot: QtBot, still: Desk) -> None:
    pane = still.views.trust
    drag(qtbot, pane, 1, 500.0, 700.0)
    assert payloads(still) == []
    assert pane.line == "left_radial"
    assert pane.stretch is not None
    assert (pane.stretch.start, pane.stretch.end) == (pytest.approx(500, abs=3), pytest.approx(700, abs=3))
    qtbot.keyClick(pane, Qt.Key.Key_Return)
    [payload] = payloads(still)
    assert payload["site"] == "left_radial"
    assert pane.stretch is None
    assert [one[2:] for one in spans_of(still)][2] == ("left_radial", "reviewer")


def test_a_click_goes_there_and_chooses_the_line(qtbot: QtBot, still: Desk) -> None:
    pane = still.views.trust
    qtbot.mouseClick(pane, Qt.MouseButton.LeftButton, pos=at(pane, 600.0, 1))
    assert still.playhead.time == pytest.approx(600, abs=3)
    assert pane.line == "left_radial"
    assert payloads(still) == []


def test_the_menu_trusts_a_line_and_goes_back(qtbot: QtBot, still: Desk) -> None:
    pane, given = still.views.trust, []
    assert pane.strip is not None

    def menu() -> QMenu:
        assert pane.strip is not None
        return trust_menu(
            pane.strip, "left_radial", Span(300.0, 400.0), pane._times, given.append, given.clear, pane
        )

    words = [action.text() for action in menu().actions() if action.text()]
    assert words[0].startswith("&Trust left radial from ")
    back = next(action for action in menu().actions() if action.text().startswith("&Back"))
    assert not back.isEnabled(), "nothing was chosen there"
    menu().actions()[0].trigger()
    assert given == [{"site": "left_radial", "start_s": 300.0, "end_s": 400.0}]
    still.session.believe(given[0])
    back = next(action for action in menu().actions() if action.text().startswith("&Back"))
    assert back.isEnabled()
    back.trigger()
    assert given[1] == {"proposal": True, "start_s": 300.0, "end_s": 400.0}


# -- what a drag comes to --------------------------------------------------------------------------


def strip_with(*spans: TrustSpan, chosen: tuple[tuple[float, float, str], ...] = ()) -> TrustStrip:
    from afterclamp.annotate.site_choices import Piece

    lines = tuple(TrustLine(name, name, name, np.zeros(1000, np.uint8)) for name in ("a", "b"))
    pieces = tuple(Piece(start, end, name, "mara") for start, end, name in chosen)
    return TrustStrip(0.0, lines, spans, pieces, "a")


def test_a_side_that_grows_over_what_the_proposal_says_anyway_goes_back_to_it() -> None:
    whole = TrustSpan(0.0, 1000.0, "a", "why", BELIEVED)
    strip = strip_with(whole, chosen=((200.0, 400.0, "b"),))
    first, second = edges(strip.spans)
    assert moved(strip, first, 250.4) == {"proposal": True, "start_s": 200.0, "end_s": 250.0}
    assert moved(strip, first, 150.0) == {"site": "b", "start_s": 150.0, "end_s": 200.0}
    assert moved(strip, second, 500.0) == {"site": "b", "start_s": 400.0, "end_s": 500.0}
    assert moved(strip, second, 380.0) == {"proposal": True, "start_s": 380.0, "end_s": 400.0}
    assert moved(strip, second, 400.2) is None
    assert moved(strip, first, 900.0) == {"proposal": True, "start_s": 200.0, "end_s": 400.0}, "no farther"


def test_a_proposed_line_that_grows_over_another_proposed_one_is_chosen_there() -> None:
    strip = strip_with(
        TrustSpan(0.0, 300.0, "b", "why", STANDS_IN), TrustSpan(300.0, 1000.0, "a", "why", BELIEVED)
    )
    [edge] = edges(strip.spans)
    assert moved(strip, edge, 200.0) == {"site": "a", "start_s": 200.0, "end_s": 300.0}
    assert moved(strip, edge, 400.0) == {"site": "b", "start_s": 300.0, "end_s": 400.0}


def test_between_two_reasons_for_one_line_there_is_nothing_to_drag() -> None:
    strip = strip_with(
        TrustSpan(0.0, 300.0, "a", "one", BELIEVED), TrustSpan(300.0, 1000.0, "a", "two", BELIEVED)
    )
    assert edges(strip.spans) == []


# -- keyboard --------------------------------------------------------------------------------------


def test_the_keyboard_alone_chooses_a_line_and_a_stretch_and_trusts_it(qtbot: QtBot, still: Desk) -> None:
    pane = still.views.trust
    still.does.to_trust()
    assert pane.hasFocus()
    qtbot.keyClick(pane, Qt.Key.Key_Down)
    assert pane.line == "left_radial"
    still.playhead.seek(700.0)
    qtbot.keyClick(pane, Qt.Key.Key_BracketLeft)
    still.playhead.seek(500.0)
    qtbot.keyClick(pane, Qt.Key.Key_BracketRight)
    qtbot.keyClick(pane, Qt.Key.Key_Return)
    assert payloads(still) == [{"site": "left_radial", "start_s": 500.0, "end_s": 700.0}]
    assert still.session.case is not None
    assert not still.session.case.log.standing("mark"), "the keys of spans marked nothing besides"
    still.playhead.seek(600.0)
    qtbot.keyClick(pane, Qt.Key.Key_Delete)
    assert spans_of(still) == PROPOSED


def test_a_stretch_that_was_not_begun_is_not_ended(qtbot: QtBot, still: Desk) -> None:
    pane, said = still.views.trust, []
    pane.said.connect(said.append)
    qtbot.keyClick(pane, Qt.Key.Key_BracketRight)
    assert pane.stretch is None
    assert "Begin a stretch with [ first" in said[0]
    still.playhead.seek(300.0)
    qtbot.keyClick(pane, Qt.Key.Key_BracketLeft)
    qtbot.keyClick(pane, Qt.Key.Key_Escape)
    still.playhead.seek(400.0)
    qtbot.keyClick(pane, Qt.Key.Key_BracketRight)
    assert pane.stretch is None


def test_the_box_takes_a_line_and_times(qtbot: QtBot, still: Desk) -> None:
    still.views.show_selected(Span(300.0, 400.0))
    still.does.trust_site()
    box = still.box
    assert isinstance(box, TrustBox)
    assert (box.start.text(), box.end.text()) == (still.face.text(300.0), still.face.text(400.0))
    box.line.setCurrentIndex(box.line.findData("left_radial"))
    ok = box.findChild(QDialogButtonBox).button(QDialogButtonBox.StandardButton.Ok)
    box.end.setText("soon")
    ok.click()
    assert box.problem.text()
    assert payloads(still) == []
    box.end.setText(box.start.text())
    ok.click()
    assert "From must lie before To" in box.problem.text()
    box.end.setText(still.face.text(450.0))
    ok.click()
    assert payloads(still) == [{"site": "left_radial", "start_s": 300.0, "end_s": 450.0}]


def test_the_box_chooses_for_the_whole_case_and_back(still: Desk) -> None:
    still.does.trust_site()
    box = still.box
    assert isinstance(box, TrustBox)
    box.whole.setChecked(True)
    assert not box.start.isEnabled()
    box.line.setCurrentIndex(box.line.findData("left_radial"))
    box._take()
    assert payloads(still) == [{"site": "left_radial"}]
    assert spans_of(still) == [(0.0, 1000.0, "left_radial", "reviewer")]
    still.does.trust_site()
    assert isinstance(still.box, TrustBox)
    still.box.whole.setChecked(True)
    still.box.line.setCurrentIndex(still.box.line.findData(""))
    still.box._take()
    assert payloads(still)[-1] == {"proposal": True}


def test_the_status_bar_says_what_was_done_and_not_what_could_be_done(still: Desk, qtbot: QtBot) -> None:
    pane, said = still.views.trust, still.statusBar().currentMessage
    drag(qtbot, pane, 1, 300.0, 500.0)
    assert "Enter trusts it there" in said()
    qtbot.keyClick(pane, Qt.Key.Key_Return)
    assert said().startswith("Left radial is trusted from ")
    edge = next(one for one in edges(pane.strip.spans) if one.right.by)  # type: ignore[union-attr]
    drag(qtbot, pane, 1, edge.t, edge.t - 60)
    assert "moved to" not in said()
    qtbot.keyClick(pane, Qt.Key.Key_Delete)
    assert said().startswith("Back to the proposal from ")


def test_while_the_case_is_looked_through_the_list_of_finds_says_so(still: Desk) -> None:
    assert "not been looked through yet" in still.finds.empty.text()
    still.show_progress("looking for finds", 0.5)
    assert "is being looked through" in still.finds.empty.text()
    still.show_progress("", 1.0)
    assert "not been looked through yet" in still.finds.empty.text()


def test_beside_the_sign_the_first_reason_is_written_whole(qtbot: QtBot) -> None:
    # Widths of the strip and its axis in a window of 1280 by 800.
    why = "femoral: nearest to the centre of the lines in place; right radial is on the side of the inflow"
    strip = TrustStrip(
        0.0, (TrustLine("femoral", "femoral", "femoral", np.zeros(100, np.uint8)),),
        (TrustSpan(0.0, 100.0, "femoral", why, BELIEVED),), base="femoral",
    )  # fmt: skip
    pane = TrustStripPane(ClockFace())
    qtbot.addWidget(pane)
    pane.resize(716, 40)
    pane.set_axis(lambda: (200.0, 686.0))
    pane.set_window(Span(0.0, 100.0))
    pane.set_strip(strip)
    figure = Figure("map", "post")
    pane.set_changes([SiteChange(figure, "left radial", "with …")] * 12)
    pane.show()
    box, words = pane.foot_words()
    assert "lines in place" in words
    assert box.right() < pane.sign.x()


# -- figures ---------------------------------------------------------------------------------------


def test_the_sign_says_how_many_figures_another_line_changes_and_shows_them(
    qtbot: QtBot, still: Desk
) -> None:
    pane = still.views.trust
    assert not pane.sign.isVisible()
    note = (
        "with left radial believed instead of femoral: 34.0 min and 239 mm[Hg].min instead of 4.7 min and 39"
    )
    rows = [
        Figure("map", "pre", value=1.0, unit="mm[Hg].min", limit=65.0, limit_unit="mm[Hg]", side="below"),
        Figure(
            "map",
            "post",
            value=1.0,
            unit="mm[Hg].min",
            limit=65.0,
            limit_unit="mm[Hg]",
            side="below",
            note=note,
            other_lines=(OtherLine("left radial", 2040.0, 239.0, note),),
        ),
        Figure("flow", "established", value=2.0, unit="L", limit=1.8, limit_unit="L/min", side="below"),
    ]
    still.session.take("figures", rows)
    assert pane.sign.isVisible()
    assert pane.sign.text() == "◆ another line changes 1 figure"
    assert "34.0 min and 239 mmHg·min" in pane.sign.toolTip()
    qtbot.mouseClick(pane.sign, Qt.MouseButton.LeftButton)
    assert still.tabs.currentWidget() is still.figures
    assert [row.item for row in still.figures.shown()] == [rows[1]], "these rows alone"
    assert still.figures.filter.text(), "the box says what narrows the list"
    qtbot.keyClick(still.figures.filter, Qt.Key.Key_Escape)
    assert len(still.figures.shown()) == 3
    assert still.figures.current is not None
    assert still.figures.current.item is rows[1]
    still.session.take("figures", rows[:1])
    assert not pane.sign.isVisible()


def test_after_a_choice_finds_and_figures_come_from_the_same_process_again(
    qtbot: QtBot, settings: QSettings, tmp_path: Path
) -> None:
    session = Session(settings)
    with qtbot.waitSignal(session.looked, timeout=60_000, check_params_cb=lambda name: name == "figures"):
        assert session.open(make(tmp_path / "case"))
    process = session._looks.running["case"].process_id
    for end in (400.0, 500.0):
        with qtbot.waitSignal(session.looked, timeout=60_000, check_params_cb=lambda name: name == "figures"):
            session.believe({"site": "left_radial", "start_s": 200.0, "end_s": end})
        whole = next(one for one in session.figures if one.limit_id == "map-65-off-bypass")
        assert f"left_radial 3:20 to {int(end) // 60}:{int(end) % 60:02d}, chosen by reviewer" in whole.site
        assert session._looks.running["case"].process_id == process
    with qtbot.waitSignal(session.looked, timeout=60_000, check_params_cb=lambda name: name == "figures"):
        session.undo()
    assert session.trust is not None
    assert session.trust.chosen[0].end_s == 400.0
    came: list[str] = []
    session.looked.connect(came.append)
    for end in (600.0, 700.0, 800.0):
        session.believe({"site": "left_radial", "start_s": 200.0, "end_s": end})
    assert session.trust.chosen[0].end_s == 800.0, "the strip is there at once"
    qtbot.waitUntil(
        lambda: any("left_radial 3:20 to 13:20" in one.site for one in session.figures), timeout=60_000
    )
    qtbot.wait(200)
    assert came.count("figures") <= 2, "of three in a row the one in the middle is never worked out"
    session.close()


def test_after_a_mask_the_same_process_is_asked_and_another_case_gets_its_own(
    qtbot: QtBot, settings: QSettings, tmp_path: Path
) -> None:
    session, processes = Session(settings), []

    def looked() -> None:
        processes.append(session._looks.running["case"].process_id)
        # The figures are the last part; the process is free a moment later.
        qtbot.waitUntil(lambda: not session._looks.running["case"].running, timeout=10_000)

    for step in (
        lambda: session.open(make(tmp_path / "case")),
        lambda: session.mask("hide", [("monitor/fem", 400.0, 500.0)]),
        lambda: session.open(make(tmp_path / "other")),
    ):
        with qtbot.waitSignal(session.looked, timeout=60_000, check_params_cb=lambda name: name == "figures"):
            assert step()
        if len(processes) == 1:
            row = next(one for one in session.figures if one.limit_id == "map-65-off-bypass")
            assert row.masked_s == pytest.approx(100, abs=3)
        looked()
    assert processes[0] == processes[1] != processes[2]
    session.close()


def test_a_case_can_be_opened_again_with_what_was_chosen(still: Desk) -> None:
    still.session.believe({"site": "left_radial", "start_s": 300.0, "end_s": 400.0})
    assert still.session.case is not None
    with Case.open(still.session.case.folder) as again:
        assert [one.line for one in trust_strip(again).spans] == [
            "left_radial",
            "femoral",
            "left_radial",
            "femoral",
        ]
