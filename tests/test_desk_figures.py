"""Minutes and areas on the desk: columns, sorting, copying, and the seconds that each row lights on the strips."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate.figures import Figure
from afterclamp.io.case import Span
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.figures_list import COLUMNS, FiguresList, figure_row, seen_words
from desk_support import desk, settings, small_folder  # noqa: F401
from PySide6.QtCore import QItemSelectionModel, Qt
from PySide6.QtGui import QGuiApplication, QImage
from PySide6.QtWidgets import QWidget
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
WARM = Figure(
    "outlet_temperature",
    "bypass",
    value=2.0,
    unit="Cel.min",
    limit=37.0,
    limit_unit="Cel",
    side="at least",
    limit_source="Engelman et al. Ann Thorac Surg 2015;100:748-57",
    limit_set="published, version 1",
    outside_s=60.0,
    observed_s=3600.0,
    site="pump outlet",
    runs=((100.0, 160.0),),
)
MEAN = Figure(
    "mean_pressure", "record", value=71.2, unit="mm[Hg]", observed_s=20990.0, missing_s=10.0, site="femoral"
)
ABSENT = Figure("oxygen_delivery_index", "bypass", note="not computed: no body size")


def cell(pane: FiguresList, at: int, heading: str) -> str:
    headings = [column.heading for column in COLUMNS]
    return pane.model.rows[at].cells[headings.index(heading)]


def column(heading: str) -> int:
    return [one.heading for one in COLUMNS].index(heading)


def test_no_figure_without_its_denominator_and_the_site_sentence(desk: Desk) -> None:
    desk.session.take("figures", [ABSENT, LOW])
    first, last = desk.figures.model.rows
    assert cell(desk.figures, 0, "Outside") == "4.7 of 43.0 min"
    desk.figures.select(first.key)
    assert "With left radial believed instead: 34.0 min." in desk.figures.note.text()
    assert "a paper" in desk.figures.note.text()
    assert last.dim
    assert "no body size" in last.tip


def test_every_part_of_the_denominator_has_a_column(desk: Desk) -> None:
    whole = replace(
        LOW,
        excluded_s=600.0,
        area=39.0,
        largest_single_area=36.0,
        bridged_s=90.0,
        bridged_outside_s=300.0,
        bridged_area=41.0,
        outside_unc_s=3.0,
    )
    desk.session.take("figures", [whole])
    told = {one.heading: text for one, text in zip(COLUMNS, desk.figures.model.rows[0].cells, strict=True)}
    assert told == {
        "Measure": "MAP, after bypass",
        "Limit": "below 65 mmHg",
        "Outside": "4.7 of 43.0 min ± 3.0 s",
        "Area or mean": "39.0 mmHg·min",
        "Largest": "36.0 mmHg·min",
        "With masked bridged": "5.0 of 44.5 min, 41.0 mmHg·min",
        "Seen": "95 % seen",  # 2580 of 2580 + 90 + 30 s; what is left out by design is not asked for
        "Site": "femoral",
        "Observed": "43.0 min",
        "Left out": "10.0 min",
        "Masked": "1.5 min",
        "Missing": "0.5 min",
        "Source": "a paper",
    }


@pytest.mark.parametrize(
    ("observed_s", "masked_s", "missing_s", "words"),
    [
        (100.0, 0.0, 0.0, "complete"),
        (9999.0, 1.0, 0.0, "99 % seen"),  # never rounded up to all of it
        (1.0, 0.0, 999.0, "< 1 % seen"),
        (30.0, 30.0, 40.0, "30 % seen"),
    ],
)
def test_a_figure_is_complete_or_says_how_much_was_seen(
    observed_s: float, masked_s: float, missing_s: float, words: str
) -> None:
    figure = replace(LOW, observed_s=observed_s, masked_s=masked_s, missing_s=missing_s)
    assert seen_words(figure) == words
    assert seen_words(ABSENT) == "not computed"


def test_rows_of_one_name_and_limit_have_their_site_in_the_name(desk: Desk) -> None:
    brain = replace(
        LOW, measure="cerebral_saturation_of_baseline", phase="record", limit_id="cerebral-80", limit_unit="%"
    )
    two = [
        replace(brain, site=f"{side}_cerebral_saturation", limit_words=f"below 80 % of {base} %")
        for side, base in (("left", 60.6), ("right", 61.2))
    ]
    desk.session.take("figures", [*two, LOW])
    assert [cell(desk.figures, at, "Measure") for at in range(3)] == [
        "cerebral saturation of baseline, whole record, left",
        "cerebral saturation of baseline, whole record, right",
        "MAP, after bypass",
    ]
    assert cell(desk.figures, 1, "Limit") == "below 80 % of 61.2 %"


def test_what_another_line_would_have_said_is_the_first_thing_in_the_note(desk: Desk) -> None:
    said = "with left radial believed instead of femoral: 34.0 min (of 43.0 min)"
    desk.session.take("figures", [replace(LOW, note=f"mean by beats; {said}; masked in it", area=39.0)])
    tip = desk.figures.model.rows[0].tip
    assert tip.startswith("With left radial believed instead of femoral: 34.0 min (of 43.0 min).\n")
    assert tip.count("believed instead of") == 1
    assert "Mean by beats; masked in it." in tip


def test_method_rivals_and_largest_single_area_are_told(desk: Desk) -> None:
    figure = replace(
        LOW,
        method="hold, one value a second",
        rivals=("below 60 mm[Hg] (another paper)",),
        largest_single_area=36.0,
        longest_run_s=200.0,
    )
    desk.session.take("figures", [figure])
    tip = desk.figures.model.rows[0].tip
    for words in (
        "Counted: hold, one value a second.",
        "Other limits: below 60 mmHg (another paper).",
        "largest single area 36.0 mmHg·min",
    ):
        assert words in tip


def test_limits_are_sorted_within_their_unit(desk: Desk) -> None:
    flow = replace(LOW, measure="pump_flow_index", limit=2.0, limit_unit="L/min/m2")
    figures = [replace(LOW, limit=100.0), flow, replace(LOW, limit=50.0), replace(flow, limit=1.8)]
    desk.session.take("figures", figures)
    desk.figures.table.sortByColumn(column("Limit"), Qt.SortOrder.AscendingOrder)
    shown = [row.item.limit for row in desk.figures.shown()]
    assert shown == [1.8, 2.0, 50.0, 100.0]


def test_only_an_edited_limit_s_set_says_that_a_number_is_edited(desk: Desk) -> None:
    title = "published, version 1, 1 number edited"
    edited = replace(
        LOW, limit_set=title, limit_source="edited by mara: our protocol; its set has below 60 mm[Hg]"
    )
    desk.session.take("figures", [replace(LOW, limit_set=title), edited])
    untouched, changed = (row.tip for row in desk.figures.model.rows)
    assert "1 number edited" not in untouched
    assert "1 number edited" in changed


def test_a_long_source_is_cut_with_dots_and_whole_in_the_tip() -> None:
    row = figure_row(0, WARM)
    assert row.cells[-1].endswith("…")
    assert "Ann Thorac Surg 2015;100:748-57" in row.tip


def test_the_heading_says_raw_or_masked_and_which_limits(desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.figures)
    desk.session.take("figures", [WARM])
    assert desk.figures.heading.words == "Masked; limits: published, version 1"
    assert "artefacts are left out and counted" in desk.figures.heading.toolTip()
    desk.figures.show_figures([replace(WARM, clean="raw")])
    assert desk.figures.heading.words == "Raw; limits: published, version 1"
    desk.figures.show_figures([])
    assert desk.figures.heading.words == ""
    assert desk.figures.empty.text() == "The figures have not been worked out yet."


def test_a_figure_goes_to_the_first_seconds_that_it_counts(desk: Desk) -> None:
    desk.session.take("figures", [LOW, ABSENT])
    desk.go_to(desk.figures.model.rows[0])
    assert desk.playhead.time == 500.0
    desk.go_to(desk.figures.model.rows[1])
    assert desk.playhead.time == 500.0


# -- seconds on the strips ---------------------------------------------------------------------------


def pixels(widget: QWidget) -> np.ndarray:
    image = widget.grab().toImage().convertToFormat(QImage.Format.Format_RGB888)
    return np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine()).copy()


def test_a_row_lights_its_seconds_in_all_three_views(desk: Desk) -> None:
    desk.session.take("figures", [LOW, MEAN])
    desk.views.jump(500.0)
    before = [pixels(view) for view in desk.views.views]
    desk.figures.select(desk.figures.model.rows[0].key)
    for view, old in zip(desk.views.views, before, strict=True):
        assert view.shaded == (Span(500.0, 590.0), Span(700.0, 892.0))
        assert (pixels(view) != old).mean() > 0.02, view.accessibleName()
    desk.figures.select(desk.figures.model.rows[1].key)  # a mean counts no stretch
    for view, old in zip(desk.views.views, before, strict=True):
        assert (pixels(view) == old).all()


def test_several_rows_light_the_seconds_of_each(desk: Desk) -> None:
    desk.session.take("figures", [LOW, WARM])
    desk.figures.table.selectAll()
    assert desk.views.long.shaded == (Span(100.0, 160.0), Span(500.0, 590.0), Span(700.0, 892.0))


# -- columns and order -------------------------------------------------------------------------------


def shown(pane: FiguresList) -> list[str]:
    return [one.heading for n, one in enumerate(COLUMNS) if not pane.table.isColumnHidden(n)]


def test_columns_are_chosen_by_menu_and_remembered(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.figures)
    desk.session.take("figures", [LOW, WARM])
    assert shown(desk.figures)[:3] == ["Measure", "Limit", "Outside"]
    desk.figures.columns.every.trigger()
    assert shown(desk.figures) == [one.heading for one in COLUMNS]
    desk.figures.columns.opened.emit()
    desk.figures.columns.shown[column("Source")].trigger()
    assert "Source" not in shown(desk.figures)
    assert "Site" in shown(desk.figures)
    desk.remember()
    again = Desk(desk.settings)
    qtbot.addWidget(again)
    assert again.figures.chosen_columns == [n for n in range(len(COLUMNS)) if n != column("Source")]
    desk.figures.columns.by_room.trigger()
    assert shown(desk.figures)[:3] == ["Measure", "Limit", "Outside"]
    assert "Source" not in shown(desk.figures)  # at 500 pixels


@pytest.mark.parametrize(
    ("heading", "order"),
    [
        ("Outside", ["mean pressure, whole record", "outlet temperature, bypass", "MAP, after bypass"]),
        ("Observed", ["MAP, after bypass", "outlet temperature, bypass", "mean pressure, whole record"]),
        ("Missing", ["outlet temperature, bypass", "mean pressure, whole record", "MAP, after bypass"]),
    ],
)
def test_rows_are_sorted_by_any_column_from_the_menu(desk: Desk, heading: str, order: list[str]) -> None:
    desk.session.take("figures", [LOW, WARM, MEAN])
    desk.figures.columns.sorts[column(heading)].trigger()
    assert [row.cells[0] for row in desk.figures.shown()] == order
    desk.figures.columns.sorts[column(heading)].trigger()
    assert desk.figures.shown()[0].cells[0] == order[-1]


def test_rows_are_sorted_by_the_mouse(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.figures)
    desk.session.take("figures", [LOW, WARM])
    header = desk.figures.table.horizontalHeader()
    at = header.sectionViewportPosition(column("Outside")) + header.sectionSize(column("Outside")) // 2
    qtbot.mouseClick(
        header.viewport(), Qt.MouseButton.LeftButton, pos=header.rect().center().__class__(at, 8)
    )
    assert [row.item for row in desk.figures.shown()] == [WARM, LOW]


def test_a_filter_keeps_the_rows_that_hold_the_words(desk: Desk) -> None:
    desk.session.take("figures", [LOW, WARM])
    desk.figures.filter.setText("outlet")
    assert [row.item for row in desk.figures.shown()] == [WARM]


# -- copying -----------------------------------------------------------------------------------------


def copied(qtbot: QtBot, widget: QWidget) -> list[dict[str, str]]:
    QGuiApplication.clipboard().clear()
    qtbot.keyClick(widget, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    heading, *rows = (line.split("\t") for line in QGuiApplication.clipboard().text().split("\n"))
    return [dict(zip(heading, row, strict=True)) for row in rows]


def test_figures_are_copied_as_text_with_units_and_every_denominator(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.figures)
    desk.session.take("figures", [LOW, ABSENT])
    desk.figures.to_list()
    row, absent = copied(qtbot, desk.figures.table)
    assert row["Outside is"] == "below"
    assert (row["Limit"], row["Limit in"]) == ("65", "mmHg")
    minutes = {name: value for name, value in row.items() if name.endswith("[min]") and value}
    assert minutes == {
        "Outside [min]": "4.70",
        "Observed [min]": "43.00",
        "Left out [min]": "0.00",
        "Masked [min]": "1.50",
        "Missing [min]": "0.50",
    }
    assert (row["Area or mean"], row["Area or mean in"]) == ("39", "mmHg·min")
    for heading in (
        "Largest single area",
        "± of it [s]",
        "Counted",
        "Other limits",
        "Area with masked bridged",
    ):
        assert heading in row
    assert (row["Site"], row["Artefacts"], row["Source of the limit"]) == ("femoral", "masked", "a paper")
    assert (absent["Outside [min]"], absent["Area or mean"]) == ("", "")
    assert absent["Note"] == "not computed: no body size"


def test_selected_rows_are_copied_alone_where_there_are_several(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.figures)
    desk.session.take("figures", [LOW, WARM, MEAN])
    table = desk.figures.table
    select = QItemSelectionModel.SelectionFlag.Select | QItemSelectionModel.SelectionFlag.Rows
    table.setFocus()
    for at in (0, 2):
        table.selectionModel().select(table.model().index(at, 0), select)
    assert [row["Measure"] for row in copied(qtbot, table)] == [
        "mean arterial pressure",
        "mean pressure",
    ]


def test_words_of_the_filter_are_copied_as_anywhere(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.figures)
    desk.session.take("figures", [LOW])
    desk.figures.filter.setText("MAP")
    desk.figures.filter.setFocus()
    desk.figures.filter.selectAll()
    qtbot.keyClick(desk.figures.filter, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert QGuiApplication.clipboard().text() == "MAP"


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


def test_the_limits_in_force_are_one_button_away(desk: Desk) -> None:
    desk.figures.limits.click()
    assert desk.box is not None
    assert desk.box.windowTitle() == "Limits in force"
