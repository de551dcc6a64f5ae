"""Limits in force on the desk: table, rivals, sets and numbers chosen, what changes before anything is kept."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from afterclamp.annotate.limit_changes import Changes
from afterclamp.annotate.limits import chosen_in, in_force
from afterclamp.replay.desk import Desk
from afterclamp.replay.limit_files import keep_copy, kept_sets
from afterclamp.replay.longwork import LongWork
from afterclamp.replay.panes.limits_box import COLUMNS, LimitsBox
from desk_support import desk, settings, small_folder  # noqa: F401
from own_limits import OURS
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

NOTHING = Changes((), (), 5, 3)
ON_BYPASS = "published:map-50-on-bypass"


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[LongWork]:
    """Work that was started; none of it runs."""
    works: list[LongWork] = []
    monkeypatch.setattr(LongWork, "start", lambda work: works.append(work))
    return works


@pytest.fixture
def box(desk: Desk, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> LimitsBox:
    monkeypatch.setenv("AFTERCLAMP_SETTINGS", str(tmp_path / "settings"))
    desk.actions_by_id["limits"].trigger()
    assert isinstance(desk.box, LimitsBox)
    return desk.box


@pytest.fixture
def file(tmp_path: Path) -> Path:
    (tmp_path / "ours.toml").write_text(OURS)
    return tmp_path / "ours.toml"


def cells(box: LimitsBox, key: str) -> dict[str, str]:
    [row] = [one for one in box.list.model.rows if one.key == key]
    return dict(zip([column.heading for column in box.list.model.columns], row.cells, strict=True))


def edit(box: LimitsBox, key: str, number: str, reason: str) -> None:
    assert box.list.select(key)
    box.card.number.setText(number)
    box.card.reason.setText(reason)
    box.card.give.click()


def test_each_limit_stands_with_its_set_state_and_source(box: LimitsBox) -> None:
    low = cells(box, ON_BYPASS)  # EACTS/EACTA/EBCP 2019
    assert low["Measure"] == "MAP"
    assert low["Phase"] == "established bypass"
    assert low["Outside is"] == "below 50 mmHg"
    assert low["State"] == "published"
    assert low["Set"] == "published, version 1"
    assert low["Source"].startswith("2019 EACTS/EACTA/EBCP")
    assert cells(box, "practice:line-pressure-300")["State"] == "practice"


def test_the_rivals_of_the_chosen_one_stand_beside_it_with_their_citations(box: LimitsBox) -> None:
    box.list.select(ON_BYPASS)
    text = box.card.text.toPlainText()
    assert "read in a text that quotes it" in text
    assert "below 55 mmHg, established bypass: Sun et al. Anesthesiology 2018;129:440-7" in text
    assert box.card.unit.text() == "mmHg"


def test_nothing_is_kept_before_what_it_changes_is_listed(
    box: LimitsBox, desk: Desk, started: list[LongWork]
) -> None:
    assert not box.keep.isEnabled()
    edit(box, ON_BYPASS, "55", "our protocol")
    assert cells(box, ON_BYPASS)["State"] == "edited"
    assert cells(box, ON_BYPASS)["Outside is"] == "below 55 mmHg"
    assert not box.keep.isEnabled()
    assert started[-1].request["edits"] == box.edits
    box.changes.take(NOTHING)
    assert box.changes.short.text() == "Nothing changes: every figure and every find stays as it is."
    assert desk.session.case is not None
    assert desk.session.case.log.standing("limits") == []
    box.keep.click()
    [edited] = chosen_in(desk.session.case).numbers.items()
    assert edited[0] == ("published", "map-50-on-bypass")
    assert (edited[1].value, edited[1].reason, edited[1].by) == (55, "our protocol", desk.session.author)


def test_a_kept_edit_is_undone_in_its_own_words(box: LimitsBox, desk: Desk, started: list[LongWork]) -> None:
    edit(box, ON_BYPASS, "55", "our protocol")
    box.changes.take(NOTHING)
    box.keep.click()
    assert desk.actions_by_id["undo"].text() == "&Undo 55 mmHg for map-50-on-bypass"
    desk.actions_by_id["undo"].trigger()
    assert desk.session.case is not None
    assert chosen_in(desk.session.case).numbers == {}


def test_an_edit_is_taken_back_before_and_after_it_was_kept(
    box: LimitsBox, desk: Desk, started: list[LongWork]
) -> None:
    edit(box, ON_BYPASS, "55", "our protocol")
    box.card.back.click()
    assert box.edits == []
    assert not box.card.back.isEnabled()
    edit(box, ON_BYPASS, "55", "our protocol")
    box.changes.take(NOTHING)
    box.keep.click()
    desk.does.show_limits()
    again = desk.box
    assert isinstance(again, LimitsBox)
    again.list.select(ON_BYPASS)
    assert again.card.number.text() == "55"
    again.card.back.click()
    assert cells(again, ON_BYPASS)["Outside is"] == "below 50 mmHg"
    again.changes.take(NOTHING)
    again.keep.click()
    assert desk.session.case is not None
    assert chosen_in(desk.session.case).numbers == {}


@pytest.mark.parametrize(
    ("number", "reason", "said"),
    [
        ("55", "", "no reason"),
        ("low", "why", "is no number"),
        ("", "why", "missing"),
        ("50", "why", "already"),
    ],
)
def test_what_is_no_edit_is_said_beneath_the_number(
    box: LimitsBox, started: list[LongWork], number: str, reason: str, said: str
) -> None:
    edit(box, ON_BYPASS, number, reason)
    assert said in box.card.said.text()
    assert box.edits == []
    assert started == []


def test_a_comma_is_a_decimal_sign(box: LimitsBox, started: list[LongWork]) -> None:
    edit(box, "practice:flow-index-2", "2,2", "our protocol")
    assert box.edits[0]["value"] == 2.2


def drop(box: LimitsBox, path: Path) -> None:
    mime = QMimeData()
    mime.setUrls([QUrl.fromLocalFile(str(path))])
    box.dropEvent(
        QDropEvent(
            QPointF(5, 5),
            Qt.DropAction.CopyAction,
            mime,
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
        )
    )


@pytest.mark.parametrize("how", [LimitsBox.open_file, drop])
def test_a_unit_s_file_comes_before_the_published_set(
    box: LimitsBox,
    desk: Desk,
    started: list[LongWork],
    file: Path,
    tmp_path: Path,
    how: Callable[[LimitsBox, Path], None],
) -> None:
    how(box, file)
    assert cells(box, "ours:map-60")["State"] == "local"
    assert cells(box, ON_BYPASS)["State"] == "published, stands back for ours"
    assert box.list.model.rows[0].key == "ours:map-60"
    box.changes.take(NOTHING)
    box.keep.click()
    assert desk.session.case is not None
    assert [one.name for one in in_force(desk.session.case)] == ["ours", "published", "practice"]
    assert [one.title for one, _ in kept_sets(tmp_path / "settings" / "limit-sets")] == ["ours, version 3"]


def test_a_kept_set_is_offered_for_the_next_case_and_ticked_by_hand(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, started: list[LongWork], file: Path, tmp_path: Path
) -> None:
    monkeypatch.setenv("AFTERCLAMP_SETTINGS", str(tmp_path / "settings"))
    kept = keep_copy(file, tmp_path / "settings" / "limit-sets")
    desk.does.show_limits()
    box = desk.box
    assert isinstance(box, LimitsBox)
    item = box.sets.item(2)
    assert item.text() == f"ours, version 3 (1 limit), a unit's own, file {kept.name}"
    assert item.checkState() == Qt.CheckState.Unchecked
    item.setCheckState(Qt.CheckState.Checked)
    assert [one["name"] for one in box.edits[0]["sets"]] == ["published", "practice", "ours"]
    box.sets.item(2).setCheckState(Qt.CheckState.Unchecked)
    assert box.edits == []  # as it stands


def test_two_files_of_one_name_and_version_are_told_apart_and_a_false_published_one_is_not_offered(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, file: Path, tmp_path: Path
) -> None:
    monkeypatch.setenv("AFTERCLAMP_SETTINGS", str(tmp_path / "settings"))
    folder = tmp_path / "settings" / "limit-sets"
    names = [keep_copy(file, folder).name]
    file.write_text(OURS.replace("below = 60", "below = 61"))
    names.append(keep_copy(file, folder).name)
    (folder / "false.toml").write_text(OURS.replace('"ours"', '"published"'))
    desk.does.show_limits()
    box = desk.box
    assert isinstance(box, LimitsBox)
    shown = [box.sets.item(at).text() for at in range(box.sets.count())]
    assert [text.endswith("comes with the program") for text in shown] == [True, True, False, False]
    assert sorted(text.rpartition("file ")[2] for text in shown[2:]) == sorted(names)


def test_limits_are_sorted_by_number_within_one_unit(box: LimitsBox) -> None:
    at = [column.heading for column in COLUMNS].index("Outside is")
    box.list.table.sortByColumn(at, Qt.SortOrder.AscendingOrder)
    shown = [row.item.limit for row in box.list.shown()]
    units = [one.unit for one in shown]
    assert len([n for n, unit in enumerate(units) if n == 0 or unit != units[n - 1]]) == len(set(units))
    pressures = [one.value for one in shown if one.unit == "mm[Hg]"]
    assert pressures == sorted(pressures)


def test_beside_a_limit_stands_whether_finds_go_by_it(box: LimitsBox) -> None:
    for key, words in (
        ("published:do2i-280", "E12 goes by it"),
        ("published:do2i-262", "Finds go by their own number: E12 by 280"),
        ("practice:venous-saturation-65", "No rule looks at it"),
    ):
        box.list.select(key)
        assert words in box.card.text.toPlainText()


def test_the_last_set_cannot_be_taken_out(box: LimitsBox, started: list[LongWork]) -> None:
    box.sets.item(0).setCheckState(Qt.CheckState.Unchecked)
    box.sets.item(1).setCheckState(Qt.CheckState.Unchecked)
    assert "no set was chosen" in box.said.text()
    assert box.sets.item(1).checkState() == Qt.CheckState.Checked


def test_a_file_that_is_no_set_is_one_sentence(
    box: LimitsBox, started: list[LongWork], tmp_path: Path
) -> None:
    (tmp_path / "bad.toml").write_text('name = "ours"')
    box.open_file(tmp_path / "bad.toml")
    assert "version" in box.said.text()
    assert box.edits == []


def test_what_changes_is_worked_out_apart_and_can_be_stopped(
    qtbot: QtBot, box: LimitsBox, desk: Desk
) -> None:
    edit(box, ON_BYPASS, "55", "our protocol")
    assert box.changes.bar.isVisible()
    box.changes.turn.click()
    assert box.changes.short.text() == "Stopped: what it changes is not known."
    assert not box.keep.isEnabled()
    edit(box, ON_BYPASS, "60", "our protocol")
    # 58 mmHg throughout bypass (tests/small_case.py): over 50, under 60.
    qtbot.waitUntil(lambda: box.changes.known, timeout=60_000)
    # The finds of the small case by the catalogue: A1 (the line open to air), E05 (going on), E26 twice (weaning and
    # off), and with 60 mmHg E13.
    assert re.fullmatch(r"1 of \d+ figures and 1 of 5 finds change\.", box.changes.short.text())
    what, before, after = box.changes.list.model.rows[0].cells
    assert what == "mean arterial pressure, established bypass, femoral"
    assert before.startswith("below 50 mmHg (published, version 1): 0.0 min of")
    assert after.startswith("below 60 mmHg (published, version 1, 1 number edited):")
    assert box.changes.list.model.rows[1].cells[0] == "E13 hypotension on bypass, femoral"
    assert box.keep.isEnabled()


def test_the_keyboard_reaches_everything_and_has_names_for_it(qtbot: QtBot, box: LimitsBox) -> None:
    for widget in (box.sets, box.list.table, box.card.text, box.card.number, box.card.reason):
        assert widget.accessibleName()
        assert widget.focusPolicy() & Qt.FocusPolicy.TabFocus
    box.list.to_list()
    qtbot.keyClick(box.list.table, Qt.Key.Key_Return)
    assert box.card.number.hasFocus() or box.focusWidget() is box.card.number


def test_enter_in_the_number_gives_it_and_keeps_nothing(
    qtbot: QtBot, box: LimitsBox, desk: Desk, started: list[LongWork]
) -> None:
    edit(box, ON_BYPASS, "55", "our protocol")
    box.changes.take(NOTHING)
    box.card.number.setText("54")
    qtbot.keyClick(box.card.number, Qt.Key.Key_Return)
    assert box.edits[0]["value"] == 54
    assert desk.box is box
    assert desk.session.case is not None
    assert desk.session.case.log.standing("limits") == []


def test_a_set_that_cannot_be_kept_for_other_cases_is_said_and_this_case_has_it(
    box: LimitsBox, desk: Desk, started: list[LongWork], file: Path, tmp_path: Path
) -> None:
    (tmp_path / "settings").write_text("a file where the folder would be")
    box.open_file(file)
    box.changes.take(NOTHING)
    heard: list[str] = []
    desk.session.refused.connect(heard.append)
    box.keep.click()
    assert "the case keeps the set all the same" in heard[0]
    assert desk.session.case is not None
    assert in_force(desk.session.case)[0].title == "ours, version 3"
