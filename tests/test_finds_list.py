"""The list of finds: by class, phase and state, counted, in any order, remembered, and why one is empty."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from afterclamp.annotate.find_phases import phases_at
from afterclamp.annotate.finds import Finds
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.rules import Find
from afterclamp.replay.desk import Desk
from afterclamp.replay.find_words import code_words, state_kind
from afterclamp.replay.panes.clock_face import ClockFace
from afterclamp.replay.panes.find_filters import ARTEFACTS, EVENTS, NO_PHASE
from afterclamp.replay.panes.finds_list import FindsList
from desk_support import FLUSH, LOW, desk, own_settings, settings, small_folder  # noqa: F401
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QStyleOptionComboBox, QStylePainter
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

AGAIN = replace(LOW, start_s=700.0, end_s=760.0)
WARM = Find("E14", "temperature gradient", 900.0, 980.0, ("outlet_temperature",), subtype="c")
EVERY = (FLUSH, LOW, AGAIN, WARM)
NAMES = {"A2": "fast flush", "E13": "low pressure", "E14": "gradient", "E17": "arrest"}


def phase(name: str, start: float, end: float, parent: str = "") -> Phase:
    return Phase(name, Boundary(start, "made"), Boundary(end, "made"), parent)


PHASES = (phase("pre", 0.0, 300.0), phase("bypass", 300.0, 1000.0), phase("cooling", 400.0, 600.0, "bypass"))


@pytest.fixture
def pane(qtbot: QtBot) -> FindsList:
    made = FindsList(ClockFace())
    qtbot.addWidget(made)
    made.resize(700, 400)
    with qtbot.waitExposed(made):
        made.show()
    found = Finds(EVERY, ("E17 not looked for: no pump flow",), (), "femoral", "")
    made.show_finds(found, {AGAIN.key: "accepted", LOW.key: "reclassified as E11"}, {}, PHASES, NAMES)
    return made


def shown(pane: FindsList) -> list[Find]:
    return [row.item for row in pane.shown()]


def cells(pane: FindsList, heading: str) -> list[str]:
    number = [column.heading for column in pane.model.columns].index(heading)
    return [row.cells[number] for row in pane.shown()]


@pytest.mark.parametrize(
    ("wanted", "left"),
    [
        (("", "", ""), [FLUSH, LOW, AGAIN, WARM]),
        (("E13", "", ""), [LOW, AGAIN]),
        ((EVENTS, "", ""), [LOW, AGAIN, WARM]),
        ((ARTEFACTS, "", ""), [FLUSH]),
        (("", "bypass", ""), [LOW, AGAIN, WARM]),
        (("", "cooling", ""), [LOW]),
        (("", "pre", ""), [FLUSH]),
        (("", NO_PHASE, ""), []),
        (("", "", "accepted"), [AGAIN]),
        (("", "", "reclassified"), [LOW]),
        (("", "", "proposed"), [FLUSH, WARM]),
        (("E13", "bypass", "accepted"), [AGAIN]),
    ],
)
def test_finds_are_shown_by_class_phase_and_state(
    pane: FindsList, wanted: tuple[str, str, str], left: list[Find]
) -> None:
    pane.filters.choose(wanted)
    assert shown(pane) == left
    of = f"{len(left)} of 4" if len(left) < 4 else "4 finds"
    assert pane.filters.count.text() == of


def test_words_and_boxes_hold_together(qtbot: QtBot, pane: FindsList) -> None:
    pane.filters.choose(("E13", "", ""))
    qtbot.keyClicks(pane.filter, "accepted")
    assert shown(pane) == [AGAIN]
    assert pane.filters.count.text() == "1 of 4"
    pane.show_all()
    assert (len(shown(pane)), pane.filter.text()) == (4, "")


def test_the_phase_is_the_innermost_one_and_the_tip_names_all(pane: FindsList) -> None:
    assert cells(pane, "Phase") == ["before bypass", "cooling", "bypass", "bypass"]
    assert "in bypass, cooling" in next(row.tip for row in pane.shown() if row.item is LOW)


def test_the_end_of_a_phase_lies_outside_it() -> None:
    assert phases_at(PHASES, 600.0) == ("bypass",)
    assert phases_at(PHASES, 1000.0) == ()


@pytest.mark.parametrize(
    ("code", "subtype", "written"),
    [("E14", "c", "E14 c"), ("E22", "a", "E22 a"), ("E13", "hyper", "E13 hyper"), ("E01", "", "E01")],
)  # as the catalogue writes its subtypes (job.md 4 and 7.2)
def test_the_subtype_stands_beside_the_code(code: str, subtype: str, written: str) -> None:
    assert code_words(replace(LOW, code=code, subtype=subtype)) == written


def test_a_class_that_was_not_looked_for_says_why(pane: FindsList) -> None:
    pane.filters.choose(("E17", "", ""))
    assert not pane.empty.isHidden()
    assert pane.empty.text().startswith("No find of this kind: E17 not looked for: no pump flow.")
    assert "Shift+A" in pane.empty.text()


def test_a_class_that_was_looked_for_and_is_not_there_says_so(pane: FindsList) -> None:
    pane.filters.choose(("E09", "", ""))
    assert "E09 was looked for, and nothing fits its rule" in pane.empty.text()


def test_what_a_rule_held_back_is_told_where_nothing_else_is(pane: FindsList) -> None:
    back = replace(LOW, code="E02", held_back="one line alone fell")
    pane.show_finds(Finds((FLUSH,), (), (back,), "femoral", ""), {}, {}, PHASES, NAMES)
    pane.filters.choose(("E02", "", ""))
    assert "1 seen and not put forward (one line alone fell)" in pane.empty.text()


def test_filters_that_leave_nothing_say_what_they_ask_for(pane: FindsList) -> None:
    pane.filters.choose(("E13", "pre", ""))
    assert pane.empty.text() == "None of the 4 finds is E13, in before bypass. Shift+A shows all finds."


def test_classes_without_a_find_are_offered_too(pane: FindsList) -> None:
    box = pane.filters.by_class
    offered = [box.itemText(number) for number in range(box.count())]
    assert "E13 low pressure (2)" in offered
    assert "E17 arrest (none)" in offered


def test_sorted_by_any_column_and_turned_round(qtbot: QtBot, pane: FindsList) -> None:
    pane.sort("Length")
    assert shown(pane) == sorted(EVERY, key=lambda find: find.duration_s)
    menu = pane.ask_sorting()
    entries = {entry.text().partition("  ")[0]: entry for entry in menu.actions()}
    assert set(entries) == {f"Sort by {heading}" for heading in _headings(pane)}
    entries["Sort by Length"].trigger()
    menu.close()
    assert shown(pane) == sorted(EVERY, key=lambda find: -find.duration_s)
    assert pane.sorting == ("Length", True)


def _headings(pane: FindsList) -> list[str]:
    return ["Time", *(column.heading for column in pane.model.columns[1:])]


def test_the_next_of_a_class_is_looked_for_among_those_shown(pane: FindsList) -> None:
    assert pane.next_like(LOW) == AGAIN
    assert pane.next_like(AGAIN) is None
    pane.filters.choose(("", "cooling", ""))
    assert pane.next_like(LOW) is None


@pytest.mark.parametrize("state", ["set aside", "split", "reclassified as E11"])
def test_the_next_of_a_class_is_none_that_a_person_took_away(pane: FindsList, state: str) -> None:
    later = replace(LOW, start_s=800.0, end_s=830.0)
    pane.show_finds(Finds((LOW, AGAIN, later), (), (), "femoral", ""), {AGAIN.key: state}, {}, PHASES, NAMES)
    assert pane.next_like(LOW) == later


def test_a_hidden_row_gives_its_place_to_the_next_one_and_the_last_to_the_one_before(pane: FindsList) -> None:
    pane.select(LOW.key)
    pane.filters.choose(("", "", "accepted"))  # AGAIN alone, which stands after it
    assert pane.current is not None
    assert pane.current.item is AGAIN
    pane.show_all()
    pane.select(WARM.key)
    pane.filters.choose(("", "pre", ""))  # FLUSH alone, which stands before it
    assert pane.current is not None
    assert pane.current.item is FLUSH


def test_code_and_subtype_stand_on_one_line(pane: FindsList) -> None:
    hypo = replace(LOW, subtype="hypo", unc_s=0.5)
    long = replace(FLUSH, code="A9", name="gap, frozen or withdrawn", channels=("pulmonary_artery",))
    pane.show_finds(Finds((hypo, long), (), (), "femoral", ""), {}, {})
    pane.resize(480, 400)
    number = _headings(pane).index("Code")
    wide = pane.table.fontMetrics().horizontalAdvance("E13 hypo")
    assert pane.table.columnWidth(number) >= wide + 15  # beside the text of a cell


def test_a_class_too_long_for_its_box_ends_with_a_sign(
    pane: FindsList, monkeypatch: pytest.MonkeyPatch
) -> None:
    pane.resize(360, 400)
    pane.filters.choose(("E13", "", ""))
    drawn: list[str] = []

    def draw(_: object, what: object, option: QStyleOptionComboBox) -> None:
        drawn.append(option.currentText)

    monkeypatch.setattr(QStylePainter, "drawControl", draw)
    pane.filters.by_class.grab()
    assert drawn
    assert drawn[-1].startswith("E13 ")
    assert drawn[-1].endswith("…")


@pytest.mark.parametrize(
    ("state", "kind"), [("reclassified as E11", "reclassified"), ("accepted", "accepted"), ("", "proposed")]
)
def test_a_state_with_its_class_is_of_its_kind(state: str, kind: str) -> None:
    assert state_kind(state) == kind


# -- on the desk ------------------------------------------------------------------------------------


def test_each_box_opens_by_a_key_and_esc_goes_back(qtbot: QtBot, desk: Desk) -> None:
    control = Qt.KeyboardModifier.ControlModifier
    for key, box in zip((Qt.Key.Key_1, Qt.Key.Key_2, Qt.Key.Key_3), desk.finds.filters.boxes, strict=True):
        qtbot.keyClick(desk, key, control)
        assert box.view().isVisible()
        box.hidePopup()
        assert box.hasFocus()
        assert box.accessibleName()
        qtbot.keyClick(box, Qt.Key.Key_Escape)
        assert desk.finds.table.hasFocus()


def test_letters_in_a_box_decide_nothing(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.finds_page)
    desk.finds.select(LOW.key)
    desk.finds.filters.by_class.setFocus()
    qtbot.keyClick(desk.finds.filters.by_class, "a")
    assert desk.session.states == {}


def test_next_and_previous_keep_to_what_is_shown(qtbot: QtBot, desk: Desk) -> None:
    desk.tabs.setCurrentWidget(desk.marks)
    desk.marks.filter.setText("nothing like it")
    desk.playhead.seek(0.0)
    desk.finds.filters.choose(("E13", "", ""))
    qtbot.keyClick(desk, ".")
    assert desk.playhead.time == LOW.start_s
    qtbot.keyClick(desk, ",")
    assert desk.playhead.time == LOW.start_s
    assert "filtered out" in desk.statusBar().currentMessage()
    qtbot.keyClick(desk, "A", Qt.KeyboardModifier.ShiftModifier)
    qtbot.keyClick(desk, ",")
    assert desk.playhead.time == FLUSH.start_s


def test_a_bar_that_is_picked_is_shown_although_filtered_out(desk: Desk) -> None:
    desk.finds.filters.choose(("E13", "", ""))
    desk._picked(desk.session.finds[0])
    assert desk.finds.current is not None
    assert desk.finds.current.item is FLUSH
    assert desk.finds.filters.wanted == ("", "", "")


def test_filters_and_order_are_remembered(qtbot: QtBot, desk: Desk, tmp_path: Path) -> None:
    desk.finds.filters.choose(("E13", "cooling", "accepted"))
    desk.finds.sort("Code", True)
    desk.remember()
    other = Desk(own_settings(tmp_path))
    qtbot.addWidget(other)
    assert other.finds.filters.wanted == ("E13", "cooling", "accepted")
    assert other.finds.sorting == ("Code", True)


def test_the_phase_keeps_its_place_until_words_would_be_cut(pane: FindsList) -> None:
    number = _headings(pane).index("Phase")
    pane.resize(540, 400)  # the right column at first start, job.md 8.1 names the list beside the strips
    assert not pane.table.isColumnHidden(number)
    assert pane.table.isColumnHidden(_headings(pane).index("Channels")), "spare columns go first"
    pane.resize(260, 400)
    assert pane.table.isColumnHidden(number)
