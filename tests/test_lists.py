"""The lists: filter, widths, why one is empty, ± on times, what nobody has judged, every stretch of a figure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import pytest
from afterclamp.annotate.figures import Figure
from afterclamp.annotate.finds import Finds
from afterclamp.annotate.marks import Mark
from afterclamp.annotate.rules import Find
from afterclamp.io.case import Span, TimedNote
from afterclamp.replay.panes.clock_face import ClockFace
from afterclamp.replay.panes.figures_list import FiguresList
from afterclamp.replay.panes.finds_list import FindsList
from afterclamp.replay.panes.lists import ListPane
from afterclamp.replay.panes.marks_list import MarksList
from afterclamp.replay.panes.said_list import SaidList
from desk_support import FLUSH, LOW
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

FIGURE = Figure(
    "mean_arterial_pressure",
    "established",
    value=39.0,
    unit="mm[Hg].min",
    limit=65.0,
    limit_unit="mm[Hg]",
    side="below",
    limit_source="a paper",
    outside_s=282.0,
    observed_s=2580.0,
    excluded_s=0.0,
    masked_s=90.0,
    missing_s=30.0,
    site="femoral",
    runs=((500.0, 590.0), (700.0, 892.0), (1000.0, 1001.0)),
)
MEAN = replace(FIGURE, measure="femoral_pressure", side="", limit=None, runs=())


@pytest.fixture
def face() -> ClockFace:
    made = ClockFace()
    made.set_start(datetime(2026, 1, 1, 7, 42, 0))
    return made


def mark(**changes: object) -> Mark:
    plain = Mark("m1", "point", "E23", "clamp", 60.0, 60.0, (), None, "surgeon", "", "e1", False)
    return replace(plain, **changes)  # type: ignore[arg-type]


def finds_list(qtbot: QtBot, face: ClockFace, finds: Sequence[Find], states: dict[str, str]) -> FindsList:
    pane = FindsList(face)
    qtbot.addWidget(pane)
    pane.resize(480, 300)
    with qtbot.waitExposed(pane):
        pane.show()
    pane.show_finds(Finds(tuple(finds), (), (), "femoral", ""), states, {})
    return pane


def headings(pane: ListPane) -> list[str]:
    return [column.heading for column in pane.model.columns]


def column(pane: ListPane, heading: str) -> list[str]:
    number = headings(pane).index(heading)
    return [row.cells[number] for row in pane.model.rows]


# -- filter -----------------------------------------------------------------------------------------


def test_enter_in_the_filter_goes_to_the_first_hit(qtbot: QtBot, face: ClockFace) -> None:
    pane = finds_list(qtbot, face, (FLUSH, LOW), {})
    pane.filter.setFocus()
    qtbot.keyClicks(pane.filter, "bypass")
    with qtbot.waitSignal(pane.jumped) as jumped:
        qtbot.keyClick(pane.filter, Qt.Key.Key_Return)
    assert jumped.args[0].item is LOW
    assert pane.current is not None
    assert pane.current.item is LOW


def test_escape_clears_the_filter_and_then_leaves_it(qtbot: QtBot, face: ClockFace) -> None:
    pane = finds_list(qtbot, face, (FLUSH, LOW), {})
    pane.filter.setFocus()
    qtbot.keyClicks(pane.filter, "bypass")
    qtbot.keyClick(pane.filter, Qt.Key.Key_Escape)
    assert (pane.filter.text(), len(pane.shown())) == ("", 2)
    qtbot.keyClick(pane.filter, Qt.Key.Key_Escape)
    assert pane.table.hasFocus()


def test_down_goes_from_the_filter_into_the_list(qtbot: QtBot, face: ClockFace) -> None:
    pane = finds_list(qtbot, face, (FLUSH, LOW), {})
    pane.filter.setFocus()
    qtbot.keyClick(pane.filter, Qt.Key.Key_Down)
    assert pane.table.hasFocus()
    assert pane.table.currentIndex().row() == 0


def test_a_list_without_hits_says_what_was_looked_for(qtbot: QtBot, face: ClockFace) -> None:
    pane = finds_list(qtbot, face, (FLUSH, LOW), {})
    assert pane.empty.isHidden()
    qtbot.keyClicks(pane.filter, "nowhere")
    assert not pane.empty.isHidden()
    assert "None of the 2 rows has “nowhere” in it" in pane.empty.text()
    pane.filter.clear()
    assert pane.empty.isHidden()


def test_a_list_says_whether_nobody_looked_or_nothing_was_found(qtbot: QtBot, face: ClockFace) -> None:
    pane = finds_list(qtbot, face, (), {})
    assert "The rules found nothing" in pane.empty.text()
    pane.show_finds((), {}, {})
    assert "not been looked through yet" in pane.empty.text()


# -- widths -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [420, 480, 620, 900])
def test_no_word_of_a_shown_column_is_cut(qtbot: QtBot, face: ClockFace, width: int) -> None:
    long = replace(
        FLUSH, code="A9", name="gap, frozen or withdrawn", channels=("pulmonary_artery",), end_s=9000.0
    )
    pane = finds_list(qtbot, face, (FLUSH, LOW, long, replace(LOW, unc_s=math.inf, start_s=501.0)), {})
    pane.resize(width, 300)
    table = pane.table
    for row in range(table.model().rowCount()):
        for number in range(table.model().columnCount()):
            if table.isColumnHidden(number):
                continue
            text = str(table.model().index(row, number).data())
            wide = (
                table.columnWidth(number) - 15
            )  # beside the text: 4 px of the sheet and 3 px of the style, each side
            box = table.fontMetrics().boundingRect(0, 0, wide, 10_000, Qt.TextFlag.TextWordWrap, text)
            assert box.width() <= wide, (text, number)
            assert box.height() <= table.rowHeight(row), text


def test_spare_columns_come_back_with_room(qtbot: QtBot, face: ClockFace) -> None:
    pane = finds_list(qtbot, face, (FLUSH, LOW), {})
    channels = headings(pane).index("Channels")
    pane.resize(420, 300)
    assert pane.table.isColumnHidden(channels)
    pane.resize(1000, 300)
    assert not pane.table.isColumnHidden(channels)


# -- times ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("within", "written"), [(0.04, "± < 0.1 s"), (0.5, "± 0.5 s"), (12.4, "± 12 s"), (math.inf, "± unknown")]
)
def test_every_time_has_what_its_clock_leaves_open(
    qtbot: QtBot, face: ClockFace, within: float, written: str
) -> None:
    finds = finds_list(qtbot, face, (replace(LOW, unc_s=within),), {})
    marks = MarksList(face)
    qtbot.addWidget(marks)
    marks.show_marks([mark(unc_s=within)], {}, {})
    assert column(finds, "±") == [written]
    assert column(marks, "±") == [written]
    assert written in finds.model.rows[0].tip
    assert written in marks.model.rows[0].tip


def test_a_find_that_is_known_to_the_sample_says_so(qtbot: QtBot, face: ClockFace) -> None:
    finds = finds_list(qtbot, face, (replace(LOW, unc_s=0.0),), {})
    assert column(finds, "±") == ["± < 0.1 s"]
    assert "± < 0.1 s" in finds.model.rows[0].tip


def test_a_line_whose_clock_nobody_set_is_told_as_unknown(qtbot: QtBot, face: ClockFace) -> None:
    pane = SaidList(face)
    qtbot.addWidget(pane)
    pane.show_notes(
        [TimedNote(60.0, 60.0, "clamp on", math.inf, "log"), TimedNote(70.0, 70.0, "x", 20.0, "log")]
    )
    assert column(pane, "±") == ["± unknown", "± 39 s"]  # 1.96 times 20 s


# -- verdicts ---------------------------------------------------------------------------------------


def test_the_title_counts_what_nobody_has_judged(qtbot: QtBot, face: ClockFace) -> None:
    pane = finds_list(qtbot, face, (FLUSH, LOW), {})
    assert pane.title == "Finds 2 of 2"
    pane.show_finds(Finds((FLUSH, LOW), (), (), "femoral", ""), {LOW.key: "accepted"}, {})
    assert (pane.title, pane.not_reviewed) == ("Finds 1 of 2", 1)
    pane.show_finds(
        Finds((FLUSH, LOW), (), (), "femoral", ""), {LOW.key: "accepted", FLUSH.key: "in dispute"}, {}
    )
    assert pane.title == "Finds 2"


def test_a_find_on_many_channels_names_two_and_counts_the_rest(qtbot: QtBot, face: ClockFace) -> None:
    many = replace(FLUSH, channels=("femoral", "left_radial", "central_venous", "pulmonary_artery"))
    pane = finds_list(qtbot, face, (many,), {})
    assert column(pane, "What") == ["fast flush, femoral, left radial and 2 more"]
    assert "pulmonary artery" in pane.model.rows[0].tip


# -- figures ----------------------------------------------------------------------------------------


@pytest.fixture
def figures(qtbot: QtBot) -> FiguresList:
    pane = FiguresList()
    qtbot.addWidget(pane)
    pane.resize(480, 300)
    with qtbot.waitExposed(pane):
        pane.show()
    pane.show_figures([FIGURE, MEAN])
    return pane


def test_a_chosen_figure_hands_out_every_stretch_that_it_counts(qtbot: QtBot, figures: FiguresList) -> None:
    with qtbot.waitSignal(figures.runs_chosen) as chosen:
        figures.select("0")
    assert chosen.args[0] == [Span(500.0, 590.0), Span(700.0, 892.0), Span(1000.0, 1001.0)]
    with qtbot.waitSignal(figures.runs_chosen) as chosen:
        figures.select("1")
    assert chosen.args[0] == [], "a mean counts none"


def test_enter_goes_from_stretch_to_stretch_and_round_again(qtbot: QtBot, figures: FiguresList) -> None:
    figures.select("0")
    figures.table.setFocus()
    gone: list[tuple[float, float]] = []
    figures.jumped.connect(lambda row: gone.append((row.start, row.end)))
    for _ in range(4):
        qtbot.keyClick(figures.table, Qt.Key.Key_Return)
    assert gone == [*FIGURE.runs, FIGURE.runs[0]]
    assert figures.note.text().startswith("Stretch 1 of 3 outside")


def test_a_double_click_goes_one_stretch_further_and_not_two(qtbot: QtBot, figures: FiguresList) -> None:
    gone: list[float] = []
    figures.jumped.connect(lambda row: gone.append(row.start))
    cell = figures.table.visualRect(figures.table.model().index(0, 0)).center()
    qtbot.mouseClick(figures.table.viewport(), Qt.MouseButton.LeftButton, pos=cell)
    qtbot.mouseDClick(figures.table.viewport(), Qt.MouseButton.LeftButton, pos=cell)
    assert gone == [500.0]


def test_another_figure_begins_with_its_first_stretch(qtbot: QtBot, figures: FiguresList) -> None:
    other = replace(FIGURE, phase="post", runs=((1.0, 2.0), (3.0, 4.0)))
    figures.show_figures([FIGURE, other])
    figures.select("0")
    figures.table.setFocus()
    qtbot.keyClick(figures.table, Qt.Key.Key_Return)
    figures.select("1")
    with qtbot.waitSignal(figures.jumped) as jumped:
        qtbot.keyClick(figures.table, Qt.Key.Key_Return)
    assert jumped.args[0].start == 1.0


def test_rows_of_one_limit_and_phase_are_told_apart(figures: FiguresList) -> None:
    figures.show_figures([FIGURE, replace(FIGURE, part="arrests counted in")])
    names = column(figures, "Measure")
    assert names[0] != names[1]
    assert names[1].endswith("arrests counted in")


def test_a_class_that_the_program_does_not_know_is_told_as_that(qtbot: QtBot, face: ClockFace) -> None:
    pane = MarksList(face)
    qtbot.addWidget(pane)
    pane.show_marks([mark(code="E99", text=""), mark(code="", text="")], {"E23": "clamp on or off"}, {})
    assert column(pane, "What") == ["E99 is no class of this program", "not classed"]
