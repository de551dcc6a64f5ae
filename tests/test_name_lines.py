"""Name the lines: proposals are shown, choices follow the kind, and only what was changed is settled."""

from __future__ import annotations

from pathlib import Path

import pytest
from afterclamp.io import bring_in
from afterclamp.io.case import Case
from afterclamp.replay.desk_frame import STYLE
from afterclamp.replay.panes.name_lines import NameLinesBox, Naming
from PySide6.QtWidgets import QComboBox, QMainWindow
from pytestqt.qtbot import QtBot


@pytest.fixture
def box(qtbot: QtBot, demo_case: Case) -> NameLinesBox:
    made = NameLinesBox(demo_case)
    qtbot.addWidget(made)
    made.show()
    return made


def row_of(box: NameLinesBox, label: str) -> int:
    for row in range(box.table.rowCount()):
        item = box.table.item(row, 1)
        if item is not None and item.text().startswith(label):
            return row
    raise AssertionError(label)


def choose(box: NameLinesBox, row: int, column: int, value: str) -> None:
    widget = box.table.cellWidget(row, column)
    assert isinstance(widget, QComboBox)
    assert widget.findData(value) >= 0
    widget.setCurrentIndex(widget.findData(value))


def so_it_is(box: NameLinesBox, row: int) -> str:
    item = box.table.item(row, 8)
    assert item is not None
    return item.text()


def test_every_channel_has_a_row_and_nothing_is_changed_by_looking(
    box: NameLinesBox, demo_case: Case
) -> None:
    assert box.table.rowCount() == len(demo_case.channels)
    assert box.changes() == []
    assert not box.keep.isEnabled()


def test_a_site_taken_away_says_that_only_artefacts_are_looked_for(box: NameLinesBox) -> None:
    row = row_of(box, "LRAD")
    choose(box, row, 4, "")
    assert "without a site: artefacts only" in so_it_is(box, row)
    choose(box, row, 7, "")
    assert "drawn only" in so_it_is(box, row)


def test_another_kind_offers_its_own_sites_and_units(box: NameLinesBox) -> None:
    row = row_of(box, "LRAD")
    choose(box, row, 3, "temperature")
    sites = box.table.cellWidget(row, 4)
    assert isinstance(sites, QComboBox)
    assert sites.findData("bladder") >= 0
    assert sites.findData("radial") < 0


def test_no_choice_is_cut_in_the_desks_style_also_after_another_kind(qtbot: QtBot, demo_case: Case) -> None:
    window = QMainWindow()
    window.setStyleSheet(STYLE.read_text("utf-8"))
    qtbot.addWidget(window)
    box = NameLinesBox(demo_case, window)
    box.show()
    qtbot.waitExposed(box)
    choose(box, row_of(box, "CVP"), 3, "temperature")
    choose(box, row_of(box, "CVP"), 4, "nasopharyngeal")
    qtbot.wait(60)  # a box that adjusts itself does so some 20 ms later
    for row in range(box.table.rowCount()):
        for column in range(3, 8):
            widget = box.table.cellWidget(row, column)
            assert isinstance(widget, QComboBox)
            assert widget.width() >= widget.sizeHint().width(), widget.currentText()


def test_only_what_was_changed_is_settled_and_undoing_brings_the_proposal_back(
    qtbot: QtBot, demo_exports: Path, tmp_path: Path
) -> None:
    with bring_in(demo_exports / "pump.csv", tmp_path / "case", accept_proposals=True) as case:
        box = NameLinesBox(case)
        qtbot.addWidget(box)
        row = row_of(box, "femoral mean")
        before = box.naming(row)
        choose(box, row, 4, "aortic")
        with qtbot.waitSignal(box.settled) as heard:
            box._take()
        assert heard.args[0] == [
            Naming(before.channel, "arterial_pressure", "aortic", before.side, before.statistic, before.unit)
        ]
        (one,) = heard.args[0]
        case.change_channel(
            "kim",
            one.channel,
            kind=one.kind,
            site=one.site,
            side=one.side,
            statistic=one.statistic,
            unit=one.unit,
        )
        assert case[one.channel].site == "aortic"
        case.log.undo("kim")
        case.refresh()
        assert case[one.channel].site == "femoral"
