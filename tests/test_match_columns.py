"""Match columns: what is seen while it is chosen is what the reader reads, and the map that is kept says it all."""

from __future__ import annotations

from pathlib import Path

import pytest
from afterclamp.io.readers.column_map import load_column_map
from afterclamp.io.readers.delimited import READER
from afterclamp.replay.panes.match_columns import MatchColumnsBox
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QTableWidgetItem
from pytestqt.qtbot import QtBot

PLAIN = "time;flow (l/min);P1;remark\n" + "".join(
    f"07:42:{n:02d};4,{n:02d};{90 + n};text\n" for n in range(60)
)
US_DATES = "time,flow [L/min]\n" + "".join(f"03/04/2031 07:{n:02d},4.{n:02d}\n" for n in range(40))
NO_HEADER = "".join(f"{n},4.{n},7{n}\n" for n in range(10, 40))


def box_of(qtbot: QtBot, folder: Path, text: str, name: str = "pump.csv") -> MatchColumnsBox:
    table = folder / name
    table.write_text(text, "utf-8")
    box = MatchColumnsBox(table, folder / "kept")
    qtbot.addWidget(box)
    box.show()
    return box


def cell(box: MatchColumnsBox, row: int, column: int) -> QTableWidgetItem:
    item = box.columns.item(row, column)
    assert item is not None
    return item


def test_what_is_found_stands_in_every_choice(qtbot: QtBot, tmp_path: Path) -> None:
    box = box_of(qtbot, tmp_path, PLAIN)
    assert box.choices.separator.currentText() == "found: semicolon"
    assert box.choices.decimal.currentText() == "found: ,"
    assert box.choices.time_column.currentText() == "found: 1: time"
    assert "07:42:00 to 07:42:59" in box.times.text()
    assert cell(box, 1, 5).text() == "pump flow, L/min"
    assert cell(box, 1, 6).text().startswith("4,00 → 4   4,01 → 4.01")


def test_a_unit_that_is_not_written_is_said_and_never_guessed(qtbot: QtBot, tmp_path: Path) -> None:
    box = box_of(qtbot, tmp_path, PLAIN)
    assert "unit not known" in cell(box, 2, 5).text()
    cell(box, 2, 4).setText("mmHg")
    qtbot.waitUntil(lambda: "mmHg" in cell(box, 2, 5).text())
    assert "unit not known" not in cell(box, 2, 5).text()


def test_a_choice_changes_the_preview_and_the_way_back_is_one_press(qtbot: QtBot, tmp_path: Path) -> None:
    box = box_of(qtbot, tmp_path, PLAIN)
    box.choices.separator.setCurrentIndex(box.choices.separator.findData("tab"))
    qtbot.waitUntil(lambda: "In the way" in box.said.text())
    assert not box.use.isEnabled()
    qtbot.mouseClick(box.anew, Qt.MouseButton.LeftButton)
    assert box.use.isEnabled()
    assert box.choices.separator.currentText() == "found: semicolon"


def test_the_order_of_a_date_is_asked_until_it_is_told(qtbot: QtBot, tmp_path: Path) -> None:
    box = box_of(qtbot, tmp_path, US_DATES)
    assert "3 April 2031 or 4 March 2031" in box.said.text()
    box.choices.date_order.setCurrentIndex(box.choices.date_order.findData("month-first"))
    qtbot.waitUntil(lambda: box.use.isEnabled())


def test_a_table_without_headers_is_matched_by_its_numbers(qtbot: QtBot, tmp_path: Path) -> None:
    box = box_of(qtbot, tmp_path, NO_HEADER)
    assert not box.use.isEnabled()
    box.choices.header_rows.setCurrentIndex(box.choices.header_rows.findData("0"))
    box.choices.time_column.setCurrentIndex(box.choices.time_column.findData(1))
    box.choices.time_kind.setCurrentIndex(box.choices.time_kind.findData("seconds"))
    box.look()
    assert box.seen.times is not None
    assert box.seen.times.duration_s == 29.0


def test_the_map_that_is_kept_reads_the_table_as_it_was_seen(qtbot: QtBot, tmp_path: Path) -> None:
    box = box_of(qtbot, tmp_path, PLAIN)
    cell(box, 2, 3).setText("femoral")
    cell(box, 2, 4).setText("mmHg")
    cell(box, 1, 0).setCheckState(Qt.CheckState.Unchecked)
    with qtbot.waitSignal(box.matched) as heard:
        box._take()
    table, columns = (Path(one) for one in heard.args)
    recording = READER.read(table, {"columns": load_column_map(columns)})[0]
    assert [(one.label, one.unit_as_written) for one in recording.channels] == [("femoral", "mmHg")]


@pytest.mark.parametrize("name", ["pump [1].csv", "a*b.csv"])
def test_a_name_with_signs_of_a_pattern_is_served_by_its_own_map(
    qtbot: QtBot, tmp_path: Path, name: str
) -> None:
    box = box_of(qtbot, tmp_path, PLAIN, name)
    assert box.told().serves(tmp_path / name)
    assert box.seen.columns[1].role == "channel"


def test_a_field_that_is_no_number_is_said_in_words(qtbot: QtBot, tmp_path: Path) -> None:
    box = box_of(qtbot, tmp_path, PLAIN)
    box.choices.rate.setText("fast")
    box.look()
    assert "rate_hz" in box.said.text()
    assert not box.use.isEnabled()


def test_a_map_from_before_is_taken_over_into_the_choices(qtbot: QtBot, tmp_path: Path) -> None:
    first = box_of(qtbot, tmp_path, PLAIN)
    first.choices.zero.setChecked(True)
    first.choices.missing.setText("-1; off")
    first.look()
    kept = first.write(tmp_path / "columns.toml")
    again = MatchColumnsBox(tmp_path / "pump.csv", tmp_path / "kept", load_column_map(kept))
    qtbot.addWidget(again)
    assert again.choices.zero.isChecked()
    assert again.choices.missing.text() == "-1; off"
    assert again.seen.proposal == first.seen.proposal


def test_a_map_that_cannot_be_written_is_said_and_the_box_stays(qtbot: QtBot, tmp_path: Path) -> None:
    box = box_of(qtbot, tmp_path, PLAIN)
    (tmp_path / "kept").write_text("a file where the folder would be", "utf-8")
    box._take()
    assert box.isVisible()
    assert "could not be written" in box.said.text()


def test_a_table_without_headers_takes_one_edit_after_another(qtbot: QtBot, tmp_path: Path) -> None:
    box = box_of(qtbot, tmp_path, NO_HEADER)
    box.choices.header_rows.setCurrentIndex(box.choices.header_rows.findData("0"))
    box.choices.time_column.setCurrentIndex(box.choices.time_column.findData(1))
    box.choices.time_kind.setCurrentIndex(box.choices.time_kind.findData("seconds"))
    box.look()
    for row, label, unit in ((1, "pump flow", "L/min"), (2, "heart rate", "/min")):
        cell(box, row, 3).setText(label)
        box.look()
        cell(box, row, 4).setText(unit)
        box.look()
    assert box.use.isEnabled(), box.said.text()
    with qtbot.waitSignal(box.matched) as heard:
        box._take()
    table, columns = (Path(one) for one in heard.args)
    recording = READER.read(table, {"columns": load_column_map(columns)})[0]
    assert [(one.label, one.unit_as_written) for one in recording.channels] == [
        ("pump flow", "L/min"),
        ("heart rate", "/min"),
    ]


def test_two_tables_of_one_stem_keep_a_map_each(qtbot: QtBot, tmp_path: Path) -> None:
    written = []
    for name in ("pump.csv", "pump.txt"):
        box = box_of(qtbot, tmp_path, PLAIN, name)
        with qtbot.waitSignal(box.matched) as heard:
            box._take()
        written.append(heard.args[1])
    assert len(set(written)) == 2
