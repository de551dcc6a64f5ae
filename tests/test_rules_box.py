"""The dialog of rules: each in words, a number tried before it is kept; unexplained changes marked by a key."""

from __future__ import annotations

import pytest
from afterclamp.annotate.finds import Finds
from afterclamp.annotate.kept_finds import Trial
from afterclamp.annotate.limit_changes import FindChange
from afterclamp.annotate.rule_numbers import numbers_in_force
from afterclamp.annotate.rules import RULES, by_code
from afterclamp.annotate.unexplained import Change, Move, Unexplained
from afterclamp.io.log import Edit
from afterclamp.replay.actions import ACTIONS
from afterclamp.replay.desk import Desk
from afterclamp.replay.longwork import LongWork
from afterclamp.replay.panes.loose_ends import UNEXPLAINED
from afterclamp.replay.panes.rule_trial import NOTHING, WAIT_MS, trial_words
from afterclamp.replay.panes.rules_box import RulesBox
from desk_support import FINDS, LOW, desk, settings, small_folder  # noqa: F401
from PySide6.QtCore import Qt, QUrl
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

E13 = f"E13 {by_code('E13').name}"
CHANGE = Change(
    400.0, 460.0, (Move("femoral", "arterial", 60.0, 82.0, "mm[Hg]", 430.0),
                   Move("pump_flow", "flow", 4.4, 3.2, "L/min", 431.0)), 3.5, 2.0,
)  # fmt: skip


@pytest.fixture(autouse=True)
def started(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, object]]:
    """What was asked of other processes; none of it runs."""
    asked: list[dict[str, object]] = []
    monkeypatch.setattr(LongWork, "start", lambda work: asked.append(work.request))
    return asked


@pytest.fixture
def box(desk: Desk) -> RulesBox:
    desk.session.take("finds", FINDS)
    desk.actions_by_id["rules"].trigger()
    assert isinstance(desk.box, RulesBox)
    return desk.box


def cells(box: RulesBox, key: str) -> dict[str, str]:
    [row] = [one for one in box.list.model.rows if one.key == key]
    return dict(zip([column.heading for column in box.list.model.columns], row.cells, strict=True))


def preview(box: RulesBox, *, added: int = 1) -> None:
    """As if the other process had answered."""
    box.trial.take(Trial((LOW,) * added, (), (), 1, 1 + added))


def limit_edits(desk: Desk) -> list[Edit]:
    assert desk.session.case is not None
    return desk.session.case.log.standing("limit")


# -- the list --------------------------------------------------------------------------------------


def test_every_rule_stands_in_the_list_once(box: RulesBox) -> None:
    assert [row.cells[0] for row in box.list.model.rows] == [rule.code for rule in RULES]


def test_how_often_each_was_found_is_told(box: RulesBox) -> None:
    assert cells(box, E13)["Found"] == "1"
    assert cells(box, f"E16 {by_code('E16').name}")["Found"] == "0"


def test_a_rule_that_was_not_looked_for_says_why_and_not_nought(box: RulesBox) -> None:
    key = f"E09 {by_code('E09').name}"
    assert cells(box, key)["Found"] == "–"
    box.list.select(key)
    assert "no central venous pressure" in box.card.text.toPlainText()


def test_the_chosen_rule_is_told_in_words_with_its_source_and_what_it_needs(box: RulesBox) -> None:
    box.list.select(E13)
    text = box.card.text.toPlainText()
    assert "under 50 mmHg for at least 60 s" in text
    assert "EACTS/EACTA/EBCP" in text
    assert "believed arterial site, pump flow" in text
    assert "{" not in text and "mm[Hg]" not in text  # noqa: PT018


def test_every_rule_can_be_shown(box: RulesBox) -> None:
    for rule in RULES:
        box.list.select(f"{rule.code} {rule.name}")
        text = box.card.text.toPlainText()
        assert rule.name in text
        assert "{" not in text
        free = [one for one in rule.parameters.values() if not one.fixed]
        assert len(box.card.numbers.model.rows) == len(free), rule.code


def test_the_rule_of_the_selected_find_is_shown_first(desk: Desk) -> None:
    desk.session.take("finds", FINDS)
    desk.finds.select(LOW.key)
    desk.does.show_rules()
    assert isinstance(desk.box, RulesBox)
    assert desk.box.rule is not None
    assert desk.box.rule.code == LOW.code


def test_before_any_look_it_says_that_there_was_none(desk: Desk) -> None:
    desk.session.take("finds", ())
    desk.does.show_rules()
    assert isinstance(desk.box, RulesBox)
    assert "has not been looked through yet" in desk.box.card.text.toPlainText()


# -- numbers ---------------------------------------------------------------------------------------


def test_a_number_is_tried_only_once_typing_rests(
    box: RulesBox, started: list[dict[str, object]], qtbot: QtBot
) -> None:
    box.list.select(E13)
    before = len(started)
    for text in ("5", "55"):
        box.card.number.setText(text)
    assert len(started) == before
    qtbot.waitUntil(lambda: len(started) == before + 1)
    assert started[-1]["rule"] == "E13"
    assert started[-1]["numbers"] == {"E13.below": 55.0}


def test_nothing_is_kept_before_its_preview_is_there(box: RulesBox) -> None:
    box.list.select(E13)
    box.card.number.setText("55")
    box.card.reason.setText("our protocol")
    assert not box.card.keep.isEnabled()
    preview(box)
    assert box.card.keep.isEnabled()


def test_a_kept_number_is_an_edit_of_the_log_with_its_reason(box: RulesBox, desk: Desk) -> None:
    box.list.select(E13)
    box.card.number.setText("55")
    box.card.reason.setText("our protocol")
    preview(box)
    box.card.keep.click()
    [edit] = limit_edits(desk)
    assert edit.payload == {"rule": "E13", "parameter": "below", "value": 55.0, "reason": "our protocol"}
    assert cells(box, E13)["Changed"] == "changed"
    assert "under 55 mmHg" in box.card.text.toPlainText()
    # what it does, with its unit, from what to what
    kept = "Kept: E13, mean pressure under which it counts as low: 55 mmHg in place of 50 mmHg."
    assert kept in box.trial.short.text()
    assert desk.actions_by_id["undo"].text().endswith(kept.removeprefix("Kept: ").rstrip("."))
    box.card.back.click()
    assert "50 mmHg in place of 55 mmHg" in box.trial.short.text()


@pytest.mark.parametrize("text", ["80", "300", "1000000000"])
def test_a_number_by_which_everything_is_found_is_not_offered(
    box: RulesBox, started: list[dict[str, object]], qtbot: QtBot, text: str
) -> None:
    box.list.select(E13)
    asked = len(started)
    box.card.number.setText(text)
    assert "mmHg" in box.trial.short.text()
    assert "mm[Hg]" not in box.trial.short.text()
    qtbot.wait(WAIT_MS + 100)
    assert len(started) == asked
    assert not box.card.keep.isEnabled()


def test_the_number_of_the_catalogue_stands_beside_that_in_force(box: RulesBox, qtbot: QtBot) -> None:
    box.list.select(E13)
    columns = [column.heading for column in box.card.numbers.model.columns]
    assert not box.card.numbers.table.isColumnHidden(columns.index("Catalogue"))


def test_a_number_without_a_reason_is_not_kept(box: RulesBox, desk: Desk) -> None:
    box.list.select(E13)
    box.card.number.setText("55")
    preview(box)
    box.card.keep.click()
    assert limit_edits(desk) == []
    assert "Say why" in box.trial.short.text()


def test_an_edit_is_taken_back_in_the_dialog_and_by_undo(box: RulesBox, desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    for number in ("55", "60"):
        box.list.select(E13)
        box.card.number.setText(number)
        box.card.reason.setText("our protocol")
        preview(box)
        box.card.keep.click()
    desk.session.undo()
    assert numbers_in_force(case)["E13.below"] == 55
    box.show_finds(desk.session.finds)
    box.card.back.click()
    assert "E13.below" not in {
        f"{e.payload['rule']}.{e.payload['parameter']}" for e in limit_edits(desk) if "value" in e.payload
    }
    assert box.card.number.text() == "50"
    assert not box.card.back.isEnabled()


@pytest.mark.parametrize(("text", "said"), [("x", "is no number"), ("", "missing"), ("-4", "above 0")])
def test_what_is_no_number_is_told_at_once(box: RulesBox, text: str, said: str) -> None:
    box.list.select(E13)
    box.card.number.setText(text)
    assert said in box.trial.short.text()
    assert not box.card.keep.isEnabled()


def test_the_number_in_force_again_asks_nothing(box: RulesBox) -> None:
    box.list.select(E13)
    box.card.number.setText("55")
    box.card.number.setText("50")
    assert box.trial.short.text() == NOTHING


def test_an_answer_to_what_was_asked_before_is_not_shown(box: RulesBox) -> None:
    from afterclamp.replay.bringing import pack

    box.list.select(E13)
    box.card.number.setText("55")  # typing has not rested: its own answer comes later
    box.trial._came(pack(Trial((LOW,), (), (), 1, 2)))
    assert not box.trial.known


def test_another_look_leaves_what_is_being_typed(box: RulesBox, desk: Desk) -> None:
    box.list.select(E13)
    box.card.number.setText("57")
    box.show_finds(FINDS)
    assert box.card.number.text() == "57"


def test_the_preview_names_what_comes_and_goes(box: RulesBox) -> None:
    box.trial.take(Trial((LOW,), (LOW,), (FindChange(LOW, LOW),), 3, 3))
    assert box.trial.short.text().startswith("+1, −1")
    assert sorted(row.cells[0] for row in box.trial.list.model.rows) == ["+", "moved", "−"]


def test_the_preview_counts_in_words() -> None:
    assert trial_words(Trial((LOW, LOW), (LOW,), (), 4, 5)) == "+2, −1: 5 finds of this rule in place of 4."
    assert trial_words(Trial((), (LOW,), (), 2, 1)).startswith("+0, −1: 1 find of this rule in place of 2")


def test_enter_in_the_line_of_the_reason_keeps_the_number(box: RulesBox, desk: Desk, qtbot: QtBot) -> None:
    box.list.select(E13)
    box.card.number.setText("55")
    box.card.reason.setText("our protocol")
    preview(box)
    qtbot.keyClick(box.card.reason, Qt.Key.Key_Return)
    assert len(limit_edits(desk)) == 1
    assert box.isVisible()


def test_the_dialog_is_reached_by_a_key_of_its_own() -> None:
    [action] = [one for one in ACTIONS if one.id == "rules"]
    assert action.menu == "finds"
    assert action.keys == ("Ctrl+R",)


def test_everything_in_it_has_a_name_that_can_be_read_aloud(box: RulesBox) -> None:
    for widget in (
        box.list,
        box.card.text,
        box.card.numbers,
        box.card.number,
        box.card.reason,
        box.trial.short,
    ):
        assert widget.accessibleName() or getattr(widget, "table", widget).accessibleName()


# -- unexplained -----------------------------------------------------------------------------------


@pytest.fixture
def unexplained_desk(desk: Desk) -> Desk:
    desk.session.take("finds", Finds(()))
    desk.session.take("unexplained", Unexplained((CHANGE,), 900, 1200))
    return desk


def test_an_unexplained_change_stands_among_the_loose_ends(unexplained_desk: Desk) -> None:
    text = unexplained_desk.loose_ends.toPlainText()
    assert UNEXPLAINED in text
    assert "60.0 to 82.0 mmHg, by +22.0" in text
    assert "no rule covers it" in text


def test_its_time_is_a_link_to_it(unexplained_desk: Desk) -> None:
    unexplained_desk.loose_ends.anchorClicked.emit(QUrl("go:0"))
    assert unexplained_desk.playhead.time == pytest.approx(CHANGE.at_s, abs=1)


def test_one_key_goes_to_it_and_then_marks_it(unexplained_desk: Desk) -> None:
    act = unexplained_desk.actions_by_id["unexplained"]
    assert [key.toString() for key in act.shortcuts()] == ["U"]
    unexplained_desk.views.jump(0.0)
    before = list(unexplained_desk.session.marks)
    act.trigger()
    assert unexplained_desk.session.marks == before
    act.trigger()
    [mark] = [one for one in unexplained_desk.session.marks if one not in before]
    assert (mark.code, mark.kind, mark.start_s, mark.end_s) == ("U1", "span", 400.0, 460.0)
    assert "by +22.0" in mark.text


def test_a_marked_one_is_open_no_more_until_the_mark_is_undone(unexplained_desk: Desk) -> None:
    session = unexplained_desk.session
    unexplained_desk.views.jump(430.0)
    unexplained_desk.does.mark_unexplained()
    assert session.open_changes == []
    assert UNEXPLAINED not in unexplained_desk.loose_ends.toPlainText()
    session.undo()
    assert session.open_changes == [CHANGE]


def test_where_there_is_none_it_says_of_how_much(desk: Desk) -> None:
    desk.session.take("unexplained", Unexplained((), 900, 1200))
    desk.does.mark_unexplained()
    assert "0 unexplained changes in the 15.0 min of 20.0 min" in desk.statusBar().currentMessage()


def test_where_all_are_marked_it_says_so(unexplained_desk: Desk) -> None:
    unexplained_desk.views.jump(430.0)
    unexplained_desk.does.mark_unexplained()
    unexplained_desk.does.mark_unexplained()
    said = unexplained_desk.statusBar().currentMessage()
    assert said == "The one unexplained change is marked: none is left in the 15.0 min of 20.0 min looked at."
