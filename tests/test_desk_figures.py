"""Minutes and areas on the desk, and the word on clocks that nobody has set."""

from __future__ import annotations

from dataclasses import replace

from afterclamp.annotate.figures import Figure
from afterclamp.replay.desk import Desk
from desk_support import desk, settings, small_folder  # noqa: F401
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

LOW = Figure(
    "mean_arterial_pressure",
    "post",
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
    note="with left radial believed instead: 34.0 min",
    runs=((500.0, 590.0), (700.0, 892.0)),
)
ABSENT = Figure("oxygen_delivery_index", "bypass", note="not computed: no body size")


def test_no_figure_without_its_denominator_and_the_site_sentence(desk: Desk) -> None:
    desk.session.take("figures", [ABSENT, LOW])
    first, last = desk.figures.model.rows
    assert first.cells[2] == "4.7 of 43.0 min"
    assert first.cells[4] == "2.0 min"
    desk.figures.select(first.key)
    assert "With left radial believed instead: 34.0 min." in desk.figures.note.text()
    assert "a paper" in desk.figures.note.text()
    assert last.dim
    assert "no body size" in last.tip


def test_a_figure_goes_to_the_first_seconds_that_it_counts(desk: Desk) -> None:
    desk.session.take("figures", [LOW, ABSENT])
    desk.go_to(desk.figures.model.rows[0])
    assert desk.playhead.time == 500.0
    desk.go_to(desk.figures.model.rows[1])
    assert desk.playhead.time == 500.0


def test_figures_are_copied_as_text(qtbot: QtBot, desk: Desk) -> None:
    desk.session.take("figures", [LOW])
    qtbot.keyClick(desk.figures, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    heading, row = QGuiApplication.clipboard().text().split("\n")
    assert heading.split("\t")[2] == "Outside"
    assert row.split("\t")[2] == "4.7 of 43.0 min"


def test_without_a_row_there_is_no_hole_beneath_the_figures(desk: Desk) -> None:
    desk.session.take("figures", [LOW, ABSENT])
    desk.tabs.setCurrentWidget(desk.figures)
    page = desk.figures.note.parentWidget()
    assert page is not None
    assert not page.isVisible()
    desk.figures.select(desk.figures.model.rows[0].key)
    assert page.isVisible()


def test_the_tabs_have_a_name_for_those_who_listen(desk: Desk) -> None:
    assert desk.tabs.tabBar().accessibleName()


def test_the_limit_is_told_with_its_source_and_its_set(desk: Desk) -> None:
    desk.session.take("figures", [replace(LOW, limit_set="ours, version 3")])
    assert "Limit: a paper; set ours, version 3." in desk.figures.model.rows[0].tip
