"""The dialog in which clocks are set: what it says now, by hand, by two readings, by evidence."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from afterclamp.annotate.align import ClockEstimate
from afterclamp.io.case import Case
from afterclamp.io.clock import ClockPiece
from afterclamp.replay.clock_setting import keep
from afterclamp.replay.longwork import LongWork
from afterclamp.replay.panes.clock_box import ClockBox
from afterclamp.replay.wording import half_width
from desk_support import small_folder  # noqa: F401
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractButton, QComboBox, QLineEdit, QWidget
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

FOUND = ClockEstimate(
    "pump",
    evidence="same pressure",
    pieces=(ClockPiece(-3637.0, 60.0, 0.3),),
    zero_s=40.0,
    offset_sd_s=0.25,
    drift_sd_ppm=1.5,
    whole_hours=-1,
    words=("Two pressures were laid on each other.",),
)


@pytest.fixture
def case(small_folder: Path, tmp_path: Path) -> Iterator[Case]:
    folder = tmp_path / "case"
    shutil.copytree(small_folder, folder)
    with Case.open(folder) as made:
        yield made


@pytest.fixture
def unset(case: Case) -> Case:
    """The same, the pump's clock set by nobody."""
    case.log.undo("tester")  # the mark
    case.log.undo("tester")
    case.refresh()
    return case


def opened(qtbot: QtBot, case: Case) -> ClockBox:
    box = ClockBox(case)
    qtbot.addWidget(box)
    box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose, False)
    with qtbot.waitExposed(box):
        box.show()
    return box


def cells(box: ClockBox, name: str) -> list[str]:
    for row in range(box.table.rowCount()):
        texts = [box.table.item(row, column).text() for column in range(box.table.columnCount())]
        if texts[0] == name:
            return texts
    raise AssertionError(name)


def rewrite(qtbot: QtBot, field: QLineEdit, text: str) -> None:
    field.clear()
    qtbot.keyClicks(field, text)


def test_a_clock_that_nobody_set_stands_first_with_its_doubt_unknown(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    assert box.table.item(0, 0).text() == "pump"
    assert cells(box, "pump")[2:4] == ["± unknown", "not set"]
    assert cells(box, "monitor")[3] == "reference"
    assert not box.set.isEnabled(), "there is nothing to keep yet"


def test_a_clock_that_is_set_says_so_with_its_interval(qtbot: QtBot, case: Case) -> None:
    # Standard deviation 0.25 s: 1.96 times that is 0.49.
    assert cells(opened(qtbot, case), "pump")[1:4] == ["40.0 s ahead", "± 0.5 s", "set by hand"]


def test_an_offset_that_is_typed_becomes_an_edit(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    rewrite(qtbot, box.form.offset, "0:40")
    rewrite(qtbot, box.form.within, "1")
    assert cells(box, "pump")[4] == "by hand: 40.0 s ahead ± 1.0 s"
    # The pump's first stamp is 08:00:40, so it belongs at 08:00:00.
    assert "stands at 08:00:40" in box.form.preview.text()
    assert "would stand at <b>08:00:00</b>" in box.form.preview.text()
    box.form.offset.setFocus()
    with qtbot.waitSignal(box.taken) as taken:
        qtbot.keyClick(box.form.offset, Qt.Key.Key_Return)
    (payload,) = taken.args[0]
    assert payload == box.edits[0]
    assert (payload["source"], payload["method"], payload["pieces"][0]["offset_s"]) == (
        "pump",
        "by hand",
        40.0,
    )
    assert half_width(payload["pieces"][0]["sd_s"]) == pytest.approx(1.0)
    keep(unset, "reviewer", box.edits)
    assert unset["pump_flow"].span.start == pytest.approx(0.0)


def test_two_readings_write_the_offset(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    qtbot.keyClicks(box.form.source_says, "08:05:00")
    assert box.form.problems["says"].text() == "Both readings are needed."
    assert not box.set.isEnabled()
    qtbot.keyClicks(box.form.reference_says, "08:06:30")
    assert (box.form.side.currentText(), box.form.offset.text()) == ("behind", "90.0")
    assert cells(box, "pump")[4] == "by hand: 90.0 s behind ± 2.0 s"
    qtbot.keyClicks(box.form.offset, "0")
    assert box.form.source_says.text() == "", "an offset that is typed goes before readings"


@pytest.mark.parametrize(
    ("field", "text", "beside"),
    [
        ("offset", "soon", "offset"),
        ("within", "0", "within"),
        ("drift", "90000", "drift"),
        ("drift", "x", "drift"),
    ],
)
def test_wrong_input_is_said_beside_its_field_and_cannot_be_kept(
    qtbot: QtBot, unset: Case, field: str, text: str, beside: str
) -> None:
    box = opened(qtbot, unset)
    rewrite(qtbot, box.form.offset, "40")
    assert box.set.isEnabled()
    rewrite(qtbot, getattr(box.form, field), text)
    assert box.form.problems[beside].text()
    assert [name for name, label in box.form.problems.items() if label.text()] == [beside]
    assert not box.set.isEnabled()


def test_what_was_written_for_one_source_is_there_after_a_look_at_another(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    rewrite(qtbot, box.form.offset, "40")
    box.choose("monitor")
    assert not box.form.offset.isVisible(), "the reference has nothing to be set"
    box.choose("pump")
    assert box.form.offset.text() == "40"
    assert box.set.isEnabled()


def test_a_clock_that_is_set_keeps_its_offset_when_only_the_drift_is_written(
    qtbot: QtBot, case: Case
) -> None:
    box = opened(qtbot, case)
    rewrite(qtbot, box.form.drift, "-20")
    assert cells(box, "pump")[4].startswith("by hand: 40.0 s ahead ± 0.5 s, 20 ppm slow")


def test_a_proposal_is_taken_by_its_tick_alone(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    box.show_found([FOUND])
    assert not box.set.isEnabled(), "a proposal decides nothing"
    assert "1 h + 37 s behind ± 0.5 s" in box.form.take.text()
    assert "(same pressure)" in box.form.take.text()
    assert box.form.words.text().startswith("The clock of pump is 1 h + 37 s behind. Is it one hour off")
    box.form.take.click()
    assert cells(box, "pump")[4].startswith("as proposed: 1 h + 37 s behind")
    box.accept()
    assert box.edits == [FOUND.to_payload()]


def test_what_is_written_goes_before_a_proposal_and_the_other_way_round(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    box.show_found([FOUND])
    box.form.take.click()
    qtbot.keyClicks(box.form.offset, "40")
    assert not box.form.take.isChecked()
    assert cells(box, "pump")[4].startswith("by hand: 40.0 s")
    box.form.take.click()
    assert box.form.offset.text() == ""
    assert cells(box, "pump")[4].startswith("as proposed")


def test_a_clock_that_cannot_be_told_says_why_and_cannot_be_taken(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    box.show_found([ClockEstimate("pump", cannot_tell="pump shares nothing with a known source.")])
    assert not box.form.take.isVisible()
    assert "shares nothing" in box.form.words.text()
    assert cells(box, "pump")[4] == "no proposal: see below why"


def test_the_dialog_grows_with_what_the_evidence_says_and_is_no_higher_before(
    qtbot: QtBot, unset: Case
) -> None:
    box = opened(qtbot, unset)
    before = box.height()
    below = box.form.preview.mapTo(box, box.form.preview.rect().bottomLeft()).y()
    # The least that a screen of today shows is 768 high, and nothing large is left blank.
    assert before < 600
    assert box.buttons.y() - below < 120
    box.show_found([replace(FOUND, words=tuple(f"Sentence {number}." for number in range(12)))])
    qtbot.waitUntil(lambda: box.height() > before)
    assert box.form.evidence.height() >= 6 * box.fontMetrics().height()


def test_the_look_runs_elsewhere_and_ends_in_words(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    box.propose.click()
    assert box.stop.isVisible()
    qtbot.waitUntil(lambda: box.propose.isEnabled(), timeout=30_000)
    assert "of 1 could be told" in box.doing.text()
    assert cells(box, "pump")[4] in ("proposal below", "no proposal: see below why")


def test_a_look_that_is_stopped_leaves_nothing(
    qtbot: QtBot, unset: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(LongWork, "start", lambda _: None)
    box = opened(qtbot, unset)
    box.propose.click()
    box.stop.click()
    assert box.doing.text().startswith("Stopped")
    assert box.propose.isEnabled()
    assert cells(box, "pump")[4] == ""


def test_with_every_clock_set_the_look_asks_first(qtbot: QtBot, case: Case) -> None:
    box = opened(qtbot, case)
    box.propose.click()
    assert box.doing.text().startswith("Every clock is set")


def test_everything_can_be_reached_by_tab_and_has_a_name(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    box.show_found([FOUND])
    met, widget = set(), box.table
    for _ in range(60):
        met.add(widget)
        widget = widget.nextInFocusChain()
    wanted = [
        one
        for kind in (QLineEdit, QComboBox, QAbstractButton)
        for one in box.findChildren(kind)
        if one.isVisible() and one.isEnabled()
    ]
    for one in wanted:
        assert isinstance(one, QWidget)
        assert one in met, one
        assert one.focusPolicy() & Qt.FocusPolicy.TabFocus, one
        assert one.accessibleName() or getattr(one, "text", lambda: "")(), one
    assert len(wanted) > 8


def test_enter_on_a_row_goes_to_its_fields_and_keeps_nothing(qtbot: QtBot, unset: Case) -> None:
    box = opened(qtbot, unset)
    qtbot.keyClicks(box.form.offset, "40")
    box.table.setFocus()
    qtbot.keyClick(box.table, Qt.Key.Key_Return)
    assert box.isVisible()
    assert box.form.offset.hasFocus()
