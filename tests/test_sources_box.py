"""Sources: what became of the files is told, and taking out is an edit that the person asks for."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from afterclamp.io import bring_in, open_case
from afterclamp.io.case import Case
from afterclamp.replay.panes.sources_box import SourcesBox
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QTableWidgetItem
from pytestqt.qtbot import QtBot


@pytest.fixture
def case(demo_exports: Path, tmp_path: Path) -> Iterator[Case]:
    exports = tmp_path / "exports"
    exports.mkdir()
    for name in ("pump.csv", "oximeter.txt", "log.csv"):
        shutil.copy(demo_exports / name, exports / name)
    bring_in(exports, tmp_path / "case", accept_proposals=True).close()
    with open_case(tmp_path / "case") as opened:
        yield opened


def row_of(box: SourcesBox, name: str) -> list[QTableWidgetItem]:
    for row in range(box.table.rowCount()):
        cells = [box.table.item(row, column) for column in range(box.table.columnCount())]
        whole = [cell for cell in cells if cell is not None]
        if whole[1].text() == name:
            return whole
    raise AssertionError(name)


def test_a_changed_and_a_missing_file_are_told(qtbot: QtBot, case: Case, tmp_path: Path) -> None:
    (tmp_path / "exports" / "log.csv").unlink()
    with (tmp_path / "exports" / "oximeter.txt").open("a") as file:
        file.write("\n")
    box = SourcesBox(lambda: case)
    qtbot.addWidget(box)
    assert row_of(box, "log")[4].text().startswith("no longer where it lay")
    assert row_of(box, "oximeter")[4].text().startswith("changed since it was read")
    assert row_of(box, "pump")[4].text() == "as it was read"


def test_taking_out_is_asked_for_and_shown_with_a_way_back(qtbot: QtBot, case: Case) -> None:
    box = SourcesBox(lambda: case)
    qtbot.addWidget(box)
    box.wanted.connect(
        lambda name, present: case.put_back("kim", name) if present else case.take_out("kim", name)
    )
    row_of(box, "oximeter")[0].setCheckState(Qt.CheckState.Unchecked)
    assert "oximeter" not in {source.name for source in case.sources}
    assert row_of(box, "oximeter")[5].text() == "taken out"
    row_of(box, "oximeter")[0].setCheckState(Qt.CheckState.Checked)
    assert "oximeter" in {source.name for source in case.sources}


def test_the_reference_cannot_be_ticked(qtbot: QtBot, case: Case) -> None:
    box = SourcesBox(lambda: case)
    qtbot.addWidget(box)
    (reference,) = (source.name for source in case.sources if source.is_reference)
    assert not row_of(box, reference)[0].flags() & Qt.ItemFlag.ItemIsUserCheckable
    assert row_of(box, reference)[6].text() == "the reference"
