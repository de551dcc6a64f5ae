"""The panes: what they say of a phase, a value, a find, and what is left open."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.rules import RULES, Link
from afterclamp.io.case import Span, TimedNote
from afterclamp.replay.panes.clock_face import ClockFace, length, number, plus_minus
from afterclamp.replay.panes.finds_list import FindsList
from afterclamp.replay.panes.ladder import PhaseLadder
from afterclamp.replay.panes.lists import ListPane
from afterclamp.replay.panes.loose_ends import LooseEnds, sections
from afterclamp.replay.panes.mark_box import AuthorBox
from afterclamp.replay.panes.rungs import lane_of, rung_of
from afterclamp.replay.panes.said_list import SaidList
from afterclamp.replay.panes.shelf import CaseShelf
from afterclamp.replay.panes.views import placed, turned, usual_widths
from afterclamp.replay.panes.why_card import WhyCard
from desk_support import FLUSH, LOW
from PySide6.QtCore import QLocale, QPoint, QPointF, Qt, QUrl
from pytestqt.qtbot import QtBot

WHOLE = Span(0.0, 21_000.0)


@pytest.fixture
def face() -> ClockFace:
    made = ClockFace()
    made.set_start(datetime(2026, 1, 1, 7, 42, 0))
    return made


@pytest.fixture
def german() -> Iterator[None]:
    before = QLocale()
    QLocale.setDefault(QLocale(QLocale.Language.German, QLocale.Country.Germany))
    yield
    QLocale.setDefault(before)


# -- times and numbers ------------------------------------------------------------------------------


def test_the_clock_shows_the_time_of_day_and_never_the_date(face: ClockFace) -> None:
    # 07:42:00 plus 6650 s (1 h 50 min 50 s) is 09:32:50.
    assert face.text(6650.0) == "09:32:50"
    assert face.text(86_400.0 + 6650.0) == "09:32:50"


def test_minutes_count_from_the_start_and_may_lie_before_it(face: ClockFace) -> None:
    face.turn()
    assert face.text(6650.0) == "110:50"
    assert face.text(-30.0) == "-0:30"


def test_without_a_clock_of_its_own_minutes_are_shown(face: ClockFace) -> None:
    face.set_start(None)
    assert face.text(61.0) == "1:01"


def test_numbers_follow_the_locale(german: None, face: ClockFace) -> None:
    assert number(4.4, 2) == "4,40"
    assert number(1345.0, 0) == "1345", "no grouping: a point there would be read as a decimal sign"
    assert face.text(6650.25, tenths=True) == "09:32:50,2"


def test_a_zero_has_no_minus() -> None:
    assert number(-0.004, 2) == "0.00"


def test_what_is_not_there_is_a_dash() -> None:
    assert number(math.nan, 1) == "–"
    assert length(math.nan) == "–"
    assert plus_minus(math.nan) == ""


@pytest.mark.parametrize(
    ("seconds", "text"), [(2.04, "2.0 s"), (59.4, "59 s"), (60, "1:00 min"), (14_830, "247:10 min")]
)
def test_lengths_are_minutes_and_seconds(seconds: float, text: str) -> None:
    assert length(seconds) == text


# -- windows ----------------------------------------------------------------------------------------


def test_a_window_turns_its_page_only_when_the_playhead_leaves_it() -> None:
    window = Span(100.0, 130.0)
    assert turned(window, 101.0, WHOLE) is window
    assert turned(window, 127.0, WHOLE) is window
    turned_on = turned(window, 129.0, WHOLE)
    assert turned_on.contains(129.0)
    assert turned_on.start > window.start
    assert turned(window, 20.0, WHOLE).contains(20.0)


@pytest.mark.parametrize("t", [0.0, 5.0, 10_000.0, 20_999.0, 21_000.0])
def test_a_window_never_leaves_the_case(t: float) -> None:
    window = placed(t, 0.5, 30.0, WHOLE)
    assert WHOLE.start <= window.start
    assert window.end <= WHOLE.end
    assert window.duration == pytest.approx(30.0)
    assert window.start <= t <= window.end


def test_views_are_half_an_hour_and_half_a_minute_and_less_in_a_short_case() -> None:
    assert usual_widths(21_000.0) == (1800.0, 30.0)
    assert usual_widths(240.0) == (80.0, 30.0)
    assert usual_widths(10.0) == (10.0, 10.0)


def test_a_window_is_never_wider_than_the_case() -> None:
    assert placed(5.0, 0.5, 1800.0, Span(0.0, 60.0)) == Span(0.0, 60.0)


# -- phase ladder -----------------------------------------------------------------------------------


def phase(name: str, start: float, end: float, sd: float = 0.0) -> Phase:
    return Phase(
        name,
        Boundary(start, "rule", source="pump", sampling_sd_s=sd),
        Boundary(end, "rule", source="pump", sampling_sd_s=sd),
    )


@pytest.fixture
def ladder(qtbot: QtBot, face: ClockFace) -> PhaseLadder:
    made = PhaseLadder(face)
    qtbot.addWidget(made)
    made.resize(1000, made.sizeHint().height())
    made.set_axis(lambda: (100.0, 900.0))
    made.set_span(Span(0.0, 8000.0))  # ten seconds a pixel
    made.set_phases([phase("bypass", 1000, 7000), phase("lower_body_arrest", 3000, 5000, 2.0)])
    return made


def test_inner_phases_stand_below_those_that_hold_them() -> None:
    rungs = [lane_of(name) for name in ("bypass", "clamp", "lower_body_arrest", "selective_cerebral")]
    assert rungs == sorted(set(rungs))
    # No flow and head perfused exclude each other, so they share a rung.
    assert lane_of("no_flow_arrest") == lane_of("selective_cerebral")


def test_hovering_tells_name_start_end_and_length_with_their_plus_minus(
    ladder: PhaseLadder, face: ClockFace
) -> None:
    rung = rung_of(phase("lower_body_arrest", 3000, 5000, 2.0))
    tip = ladder.tip(rung)
    # Half-width of 95 %: 1.96 x 2 s = 3.9 s; of the length: 1.96 x sqrt(2^2 + 2^2) = 5.5 s.
    assert "± 3.9 s" in tip
    assert "length 33:20 min ± 5.5 s" in tip
    assert face.text(3000.0) in tip
    assert face.text(5000.0) in tip
    assert "lower" in tip


def test_a_click_goes_there_and_a_double_click_to_the_start(qtbot: QtBot, ladder: PhaseLadder) -> None:
    heard: list[float] = []
    ladder.jumped.connect(heard.append)
    y = int(ladder._box(rung_of(phase("lower_body_arrest", 3000, 5000))).center().y())
    qtbot.mouseClick(ladder, Qt.MouseButton.LeftButton, pos=QPoint(500, y))
    assert heard == [pytest.approx(4000.0)]
    qtbot.mouseDClick(ladder, Qt.MouseButton.LeftButton, pos=QPoint(500, y))
    assert heard[-1] == 3000.0


def test_the_shorter_of_two_bars_is_the_one_under_the_pointer(ladder: PhaseLadder) -> None:
    ladder.set_phases([phase("cooling", 1000, 7000), phase("reperfusion", 3000, 5000)])
    under = ladder.rung_at(QPointF(500.0, ladder._box(ladder.rungs[0]).center().y()))
    assert under is not None
    assert under.name == "reperfusion"


def test_phases_can_be_chosen_and_reached_by_key(qtbot: QtBot, ladder: PhaseLadder) -> None:
    heard: list[float] = []
    ladder.jumped.connect(heard.append)
    for key in (Qt.Key.Key_Down, Qt.Key.Key_Down, Qt.Key.Key_Return):
        qtbot.keyClick(ladder, key)
    assert heard == [3000.0]


def test_a_bar_covers_its_seconds_on_the_axis(ladder: PhaseLadder) -> None:
    ladder.set_phases([phase("no_flow_arrest", 3000, 5000)])
    image = ladder.grab().toImage()
    y = int(ladder._box(ladder.rungs[0]).top()) + 3
    dark = [x for x in range(102, 900) if image.pixelColor(x, y).lightness() < 140]
    # The line of now stands at 100. 3000 s and 5000 s at 10 s a pixel from 100: pixels 400 and 600.
    assert min(dark) in range(399, 402)
    assert max(dark) in range(598, 601)


# -- lists ------------------------------------------------------------------------------------------


@pytest.fixture
def finds(qtbot: QtBot, face: ClockFace) -> FindsList:
    made = FindsList(face)
    qtbot.addWidget(made)
    made.show_finds([FLUSH, LOW], {LOW.key: "set aside"}, {"pump_flow": "pump flow"})
    return made


def test_the_filter_keeps_rows_that_hold_the_words(finds: FindsList) -> None:
    finds.filter.setText("FLUSH")
    assert [row.key for row in finds.shown()] == [FLUSH.key]
    finds.filter.setText("set aside")
    assert [row.key for row in finds.shown()] == [LOW.key]
    finds.filter.clear()
    assert len(finds.shown()) == 2


def test_times_sort_by_time_and_not_by_letters(finds: FindsList, face: ClockFace) -> None:
    face.turn()
    finds.show_finds([LOW, FLUSH], {}, {})  # 8:20 and 3:20
    assert [row.start for row in finds.shown()] == [200.0, 500.0]
    finds.table.sortByColumn(3, Qt.SortOrder.DescendingOrder)
    assert [row.end - row.start for row in finds.shown()] == [90.0, 3.0]


def test_the_chosen_row_stays_chosen_when_the_list_is_written_again(finds: FindsList) -> None:
    finds.select(LOW.key)
    finds.show_finds([FLUSH, LOW], {}, {})
    assert finds.current is not None
    assert finds.current.key == LOW.key


def test_a_narrow_list_leaves_its_spare_columns_out(qtbot: QtBot, finds: FindsList) -> None:
    finds.resize(900, 300)
    finds.show()
    channels = [column.heading for column in finds.model.columns].index("Channels")
    assert not finds.table.isColumnHidden(channels)
    finds.resize(380, 300)
    assert finds.table.isColumnHidden(channels)


def test_lines_of_text_carry_their_own_plus_minus(qtbot: QtBot, face: ClockFace) -> None:
    said = SaidList(face)
    qtbot.addWidget(said)
    said.show_notes([TimedNote(125.0, 125.0, "on bypass", 17.3, "log")])
    # A whole minute leaves 30/sqrt(3) = 17.3 s open; times 1.96 is 34 s.
    assert said.model.rows[0].cells == ("07:44:05", "± 34 s", "on bypass", "log")


def test_an_empty_list_says_what_to_do(qtbot: QtBot, finds: FindsList) -> None:
    assert isinstance(finds, ListPane)
    finds.show_finds([], {}, {})
    assert not finds.empty.isHidden()
    assert finds.empty.text()


# -- why card, loose ends, boxes --------------------------------------------------------------------


def test_the_why_card_gives_rule_numbers_units_and_what_else_it_could_be(
    qtbot: QtBot, face: ClockFace
) -> None:
    card = WhyCard(face)
    qtbot.addWidget(card)
    rule = next(rule for rule in RULES if rule.code == "E13")
    card.show_find(LOW, "proposed", {}, rule, "It has a wave.")
    text = card.toPlainText()
    for words in (
        "E13 low pressure on bypass",
        "proposed",
        "Mean under 50 mmHg for at least 60 s.",
        rule.source,
        "Limit",
        "a kinked line: the ripple stayed",
        "It has a wave.",
        "Do independent sites agree?",
    ):
        assert words in text, words


def test_a_time_on_the_why_card_goes_there(qtbot: QtBot, face: ClockFace) -> None:
    card = WhyCard(face)
    qtbot.addWidget(card)
    card.show_find(LOW, "proposed", {})
    with qtbot.waitSignal(card.jumped) as jumped:
        card.anchorClicked.emit(QUrl("t:590.000"))
    assert jumped.args == [590.0]


def test_a_link_says_before_or_cannot_order_and_never_because(qtbot: QtBot, face: ClockFace) -> None:
    card = WhyCard(face)
    qtbot.addWidget(card)
    link = Link("preceded by", "fast flush", "A2", FLUSH.key, 300.0, ordered=False)
    card.show_find(replace(LOW, linked=(link,)), "proposed", {FLUSH.key: FLUSH})
    text = card.toPlainText()
    assert "preceded by A2 fast flush" in text
    assert "cannot order" in text
    assert "cause" not in text.lower().replace("because", "")


def test_loose_ends_list_only_what_there_is(qtbot: QtBot) -> None:
    page = LooseEnds()
    qtbot.addWidget(page)
    page.show_sections(
        sections(
            not_looked_for=["E17 not looked for: no pump flow"],
            repairs=["a.jsonl, line 2: torn"],
            far_away=["pump: something of it lies 9,497 days before the start of monitor"],
        )
    )
    assert page.count == 3
    text = page.toPlainText()
    assert "E17 not looked for: no pump flow" in text
    assert "a.jsonl, line 2: torn" in text
    assert "9,497 days before" in text
    assert "In dispute" not in text


def test_an_author_that_would_not_do_as_a_file_name_is_not_taken(qtbot: QtBot) -> None:
    box = AuthorBox("reviewer")
    qtbot.addWidget(box)
    heard: list[str] = []
    box.chosen.connect(heard.append)
    box.name.setCurrentText("Dr. Müller")
    box._take()
    assert heard == []
    assert "ASCII" in box.problem.text()
    box.name.setCurrentText("surgeon-2")
    box._take()
    assert heard == ["surgeon-2"]


def test_the_shelf_says_which_case_is_not_there_now(qtbot: QtBot, tmp_path: Path) -> None:
    shelf = CaseShelf()
    qtbot.addWidget(shelf)
    (tmp_path / "here" / "traces").mkdir(parents=True)
    shelf.show_recent([tmp_path / "here", tmp_path / "gone"])
    assert "not there" not in shelf.recent.item(0).text()
    assert "not there" in shelf.recent.item(1).text()
    assert not shelf.recent.item(1).flags() & Qt.ItemFlag.ItemIsEnabled


def test_loose_ends_lead_to_the_clocks_that_nobody_has_set(qtbot: QtBot) -> None:
    ends = LooseEnds()
    qtbot.addWidget(ends)
    ends.show_sections(sections(clocks=["pump: its clock is taken as it stands"]))
    with qtbot.waitSignal(ends.clocks_wanted):
        ends.anchorClicked.emit(QUrl("set-clocks"))
    ends.show_sections(sections(repairs=["a line was torn"]))
    assert "Set clocks" not in ends.toPlainText()
