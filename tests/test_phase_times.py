"""Phases whose times a person sets, the clamp above all: it is never guessed, and what speaks of it is shown."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
from afterclamp.annotate.marks import Mark
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.phases import overlay
from afterclamp.io.case import Span, TimedNote
from afterclamp.replay.panes.clamp_row import Moment, moments_of, stretches_of, unset_words
from afterclamp.replay.panes.clock_face import ClockFace, length
from afterclamp.replay.panes.ladder import PhaseLadder
from PySide6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot

BYPASS = Phase("bypass", Boundary(3600.0, "flow"), Boundary(18_000.0, "flow"))
NOTES = (
    TimedNote(7675.0, 7675.0, "clamp on", 20.0, "log"),
    TimedNote(7683.0, 7685.0, "Clamp on.", 1.0, "captions"),
    TimedNote(7855.0, 7855.0, "circ off 1", 20.0, "log"),
    TimedNote(11_875.0, 11_875.0, "clamp off", math.inf, "log"),
    TimedNote(12_482.0, 12_484.0, "Clamp off.", 1.0, "captions"),
    TimedNote(12_500.0, 12_500.0, "clamps counted", 1.0, "log"),
)
SPAN = Mark("m1", "span", "E23", "", 7680.0, 12_480.0, (), None, "surgeon", "", "e1", False)


@pytest.fixture
def face() -> ClockFace:
    made = ClockFace()
    made.set_start(datetime(2026, 1, 1, 7, 42, 0))
    return made


@pytest.fixture
def ladder(qtbot: QtBot, face: ClockFace) -> PhaseLadder:
    made = PhaseLadder(face)
    qtbot.addWidget(made)
    made.resize(900, made.sizeHint().height())
    made.set_span(Span(0.0, 21_000.0))
    made.set_phases([BYPASS])
    made.set_notes(NOTES)
    with qtbot.waitExposed(made):
        made.show()
    made.setFocus()
    return made


def choose_clamp(ladder: PhaseLadder) -> None:
    ladder.choose(next(rung for rung in ladder.rungs if rung.name == "clamp"))


def menu_texts(ladder: PhaseLadder) -> list[str]:
    assert ladder.rung is not None
    menu = ladder.times.menu(ladder.rung, 100.0, ladder)
    return [action.text() for action in menu.actions() if action.text()]


def pick(ladder: PhaseLadder, beginning: str) -> None:
    assert ladder.rung is not None
    menu = ladder.times.menu(ladder.rung, 100.0, ladder)
    (action,) = [one for one in menu.actions() if one.text().startswith(beginning)]
    action.trigger()


def test_lines_that_mention_the_clamp_are_told_from_others() -> None:
    assert [moment.text for moment in moments_of(NOTES, ())] == [
        "clamp on",
        "Clamp on.",
        "clamp off",
        "Clamp off.",
        "clamps counted",
    ]
    assert [moment.edge for moment in moments_of(NOTES, ())] == ["start", "start", "end", "end", ""]


def test_an_unset_clamp_says_how_many_lines_mention_it(ladder: PhaseLadder) -> None:
    assert unset_words(moments_of(NOTES, ())) == "not set: 5 lines mention it"
    assert unset_words(moments_of(NOTES[:1], ())) == "not set: 1 line mentions it"
    assert unset_words(()) == "not set: no line mentions it"
    rung = next(rung for rung in ladder.rungs if rung.name == "clamp")
    tip = ladder.tip(rung)
    assert "never guessed" in tip
    assert "09:50:03 ± 2.0 s “Clamp on.” (captions)" in tip  # 07:42:00 and 7683 s
    assert "± unknown “clamp off” (log)" in tip


def test_a_line_that_mentions_it_can_be_gone_to(qtbot: QtBot, ladder: PhaseLadder) -> None:
    choose_clamp(ladder)
    with qtbot.waitSignal(ladder.jumped) as jumped:
        pick(ladder, "Go to 09:50:03")
    assert jumped.args == [7683.0]


def test_its_times_are_taken_from_lines_each_with_its_own_doubt(qtbot: QtBot, ladder: PhaseLadder) -> None:
    choose_clamp(ladder)
    pick(ladder, "Starts with 09:49:55")  # the log's, ± 39 s
    assert "start at 09:49:55; ] sets its end" in ladder.times.unset_text(chosen=False)
    with qtbot.waitSignal(ladder.phase_set) as made:
        pick(ladder, "Ends with 11:10:02")
    assert made.args[0] == {
        "name": "clamp", "index": 0, "start_s": 7675.0, "end_s": 12_482.0, "start_sd_s": 20.0, "end_sd_s": 1.0,
        "sd_s": 20.0,
    }  # fmt: skip


def test_a_line_whose_clock_nobody_set_cannot_give_a_time(ladder: PhaseLadder) -> None:
    choose_clamp(ladder)
    assert ladder.rung is not None
    menu = ladder.times.menu(ladder.rung, 0.0, ladder)
    (action,) = [one for one in menu.actions() if one.text().startswith("Ends with 10:59:55")]
    assert not action.isEnabled()
    assert "not set" in action.toolTip()


def test_the_keys_of_spans_set_a_chosen_phase_at_the_playhead(qtbot: QtBot, ladder: PhaseLadder) -> None:
    made: list[dict[str, Any]] = []
    ladder.phase_set.connect(made.append)
    choose_clamp(ladder)
    ladder.set_playhead(7683.0)
    qtbot.keyClicks(ladder, "[")
    assert not made, "one end makes no phase"
    ladder.set_playhead(12_482.0)
    qtbot.keyClicks(ladder, "]")
    assert [(one["start_s"], one["end_s"], one["start_sd_s"], one["end_sd_s"]) for one in made] == [
        (7683.0, 12_482.0, 0.0, 0.0)
    ]


def test_the_end_may_be_set_first_and_escape_forgets_it(qtbot: QtBot, ladder: PhaseLadder) -> None:
    choose_clamp(ladder)
    ladder.set_playhead(12_482.0)
    qtbot.keyClicks(ladder, "]")
    assert "[ sets its start" in ladder.times.unset_text(chosen=False)
    qtbot.keyClick(ladder, Qt.Key.Key_Escape)
    assert ladder.times.unset_text(chosen=False) == "not set: 5 lines mention it"


def test_a_start_after_its_end_is_refused_in_words(qtbot: QtBot, ladder: PhaseLadder) -> None:
    made: list[dict[str, Any]] = []
    ladder.phase_set.connect(made.append)
    ladder.choose(ladder.rungs[0])
    ladder.set_playhead(20_000.0)
    with qtbot.waitSignal(ladder.said) as said:
        qtbot.keyClicks(ladder, "[")
    assert "must lie before its end" in said.args[0]
    assert not made


def test_another_phase_keeps_the_end_that_is_not_set(qtbot: QtBot, ladder: PhaseLadder) -> None:
    ladder.choose(ladder.rungs[0])
    ladder.set_playhead(3610.0)
    with qtbot.waitSignal(ladder.phase_set) as made:
        qtbot.keyClicks(ladder, "i")
    assert (made.args[0]["name"], made.args[0]["start_s"], made.args[0]["end_s"]) == (
        "bypass",
        3610.0,
        18_000.0,
    )


def test_a_phase_that_rests_on_an_unset_clock_is_not_half_set(qtbot: QtBot, ladder: PhaseLadder) -> None:
    unknown = replace(BYPASS, end=Boundary(18_000.0, "flow", clock_sd_s=math.inf))
    ladder.set_phases([unknown])
    assert "± unknown" in ladder.tip(ladder.rungs[0])
    ladder.grab()  # an end without bounds can be painted
    made: list[dict[str, Any]] = []
    ladder.phase_set.connect(made.append)
    ladder.choose(ladder.rungs[0])
    with qtbot.waitSignal(ladder.said) as said:
        qtbot.keyClicks(ladder, "[")
    assert "clock that is not set" in said.args[0]
    assert not made


@pytest.mark.parametrize("code", ["E23", ""])
def test_a_marked_span_and_the_selected_stretch_are_offered(
    qtbot: QtBot, ladder: PhaseLadder, code: str
) -> None:
    ladder.set_marks([replace(SPAN, code=code)])
    ladder.set_selected(Span(100.0, 200.0))
    choose_clamp(ladder)
    offered = [text for text in menu_texts(ladder) if text.startswith("Is ")]
    marked = ["Is 09:50:00 to 11:10:00, marked by surgeon"] if code else []
    assert offered == ["Is 07:43:40 to 07:45:20, the selected stretch", *marked]
    with qtbot.waitSignal(ladder.phase_set) as made:
        pick(ladder, offered[-1])
    assert (made.args[0]["start_s"], made.args[0]["end_s"]) == (
        (7680.0, 12_480.0) if code else (100.0, 200.0)
    )


def test_points_of_the_class_and_spans_of_the_word_count_too() -> None:
    point = replace(SPAN, kind="point", end_s=SPAN.start_s)
    assert moments_of((), [point])[0].t == 7680.0
    assert stretches_of([replace(SPAN, code="", text="clamp time")])[0].end == Moment(
        12_480.0, 0.0, "clamp time", "surgeon"
    )
    assert stretches_of([point]) == []


def test_what_is_sent_sets_the_clamp_and_takes_it_away_again(qtbot: QtBot, ladder: PhaseLadder) -> None:
    made: list[dict[str, Any]] = []
    ladder.phase_set.connect(made.append)
    choose_clamp(ladder)
    ladder.times.set_times(ladder.rung, Moment(7683.0, 1.0), Moment(12_482.0, 1.0))  # type: ignore[arg-type]
    phases = overlay([BYPASS], [("surgeon", json.loads(json.dumps(made[0])))])
    ladder.set_phases(phases)
    rung = ladder.rung
    assert rung is not None, "it stays chosen"
    assert (rung.start, rung.end, rung.confirmed_by) == (7683.0, 12_482.0, "surgeon")
    pick(ladder, "&Take it away")
    taken = [("surgeon", payload) for payload in made]
    assert all(phase.name != "clamp" for phase in overlay([BYPASS], taken))


def test_the_row_of_an_unset_clamp_is_reached_by_the_arrows(qtbot: QtBot, ladder: PhaseLadder) -> None:
    qtbot.keyClick(ladder, Qt.Key.Key_Down)
    qtbot.keyClick(ladder, Qt.Key.Key_Down)
    assert ladder.rung is not None
    assert ladder.rung.name == "clamp"
    assert "never guessed" in ladder.accessibleDescription()


def test_a_click_in_the_row_opens_what_can_be_done(
    qtbot: QtBot, ladder: PhaseLadder, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown: list[QPoint] = []
    monkeypatch.setattr(PhaseLadder, "show_menu", lambda _, at: shown.append(at))
    rung = next(rung for rung in ladder.rungs if rung.name == "clamp")
    qtbot.mouseClick(ladder, Qt.MouseButton.LeftButton, pos=ladder._box(rung).center().toPoint())
    assert len(shown) == 1
    qtbot.keyClick(ladder, Qt.Key.Key_Return)
    assert len(shown) == 2


# -- more than one clamp -----------------------------------------------------------------------------


def shown(*clamps: tuple[float, float, str]) -> list[Phase]:
    return [
        Phase("clamp", Boundary(start, "made"), Boundary(end, "made"), index=number, confirmed_by=by)
        for number, (start, end, by) in enumerate(clamps)
    ]


def test_one_more_clamp_is_set_by_the_same_keys_under_a_number_of_its_own(
    qtbot: QtBot, ladder: PhaseLadder
) -> None:
    ladder.set_phases(shown((100.0, 200.0, "mara")))
    ladder.choose(ladder.rungs[0])
    pick(ladder, "One &more clamp")
    assert ladder.rung is not None
    assert not ladder.rung.is_set
    ladder.set_playhead(300.0)
    qtbot.keyClicks(ladder, "[")
    ladder.set_playhead(400.0)
    with qtbot.waitSignal(ladder.phase_set) as sent:
        qtbot.keyClicks(ladder, "]")
    payload = sent.args[0]
    assert (payload["name"], payload["index"], payload["start_s"], payload["end_s"]) == (
        "clamp",
        1,
        300.0,
        400.0,
    )


def test_escape_takes_the_row_of_one_more_clamp_away(qtbot: QtBot, ladder: PhaseLadder) -> None:
    ladder.set_phases(shown((100.0, 200.0, "mara")))
    ladder.add_clamp()
    assert len(ladder.rungs) == 2
    qtbot.keyClick(ladder, Qt.Key.Key_Escape)
    assert [rung.is_set for rung in ladder.rungs] == [True]


def test_twenty_clamps_can_be_added_one_after_another(ladder: PhaseLadder) -> None:
    # J3.6 row 58: 20 repeats or more.
    sent: list[dict[str, object]] = []
    ladder.phase_set.connect(sent.append)
    have: list[Phase] = []
    for number in range(21):
        ladder.set_phases(have)
        ladder.add_clamp()
        assert ladder.rung is not None
        ladder.times.set_times(ladder.rung, Moment(100.0 * number), Moment(100.0 * number + 50))
        have = overlay([], [("mara", payload) for payload in sent])
    assert [phase.start_s for phase in have] == [100.0 * number for number in range(21)]


def test_a_clamp_of_the_lines_is_confirmed_as_it_stands(qtbot: QtBot, ladder: PhaseLadder) -> None:
    ladder.set_phases(shown((100.0, 200.0, "")))
    ladder.choose(ladder.rungs[0])
    with qtbot.waitSignal(ladder.phase_set) as sent:
        pick(ladder, "&Confirm these times")
    assert (sent.args[0]["start_s"], sent.args[0]["end_s"], sent.args[0]["index"]) == (100.0, 200.0, 0)


def test_an_edit_of_a_clamp_goes_by_the_number_that_it_keeps(qtbot: QtBot, ladder: PhaseLadder) -> None:
    (first,) = shown((100.0, 200.0, "mara"))
    ladder.set_phases([replace(first, identity=3)])
    ladder.choose(ladder.rungs[0])
    with qtbot.waitSignal(ladder.phase_set) as sent:
        pick(ladder, "&Take it away")
    assert sent.args[0] == {"name": "clamp", "index": 3, "removed": True}


def test_a_phase_that_goes_on_beyond_the_record_is_at_least_so_long(ladder: PhaseLadder) -> None:
    (one,) = shown((100.0, 200.0, ""))
    ladder.set_phases(
        [replace(one, end=replace(one.end, recorded=False, alternatives=("later: not recorded",)))]
    )
    tip = ladder.tip(ladder.rungs[0])
    assert "length at least 1:40" in tip
    assert "could also be: later: not recorded" in tip


# -- dragged ---------------------------------------------------------------------------------------


def at(ladder: PhaseLadder, t: float, lane: int) -> QPoint:
    return QPoint(round(ladder._x(t)), 2 + lane * ladder._lane_height + 6)


def drag(qtbot: QtBot, ladder: PhaseLadder, start: QPoint, end: QPoint) -> None:
    qtbot.mousePress(ladder, Qt.MouseButton.LeftButton, pos=start)
    qtbot.mouseMove(ladder, QPoint((start.x() + end.x()) // 2, start.y()))
    qtbot.mouseMove(ladder, end)


def test_an_end_of_a_phase_is_dragged_and_the_other_one_stays(qtbot: QtBot, ladder: PhaseLadder) -> None:
    said: list[str] = []
    ladder.said.connect(said.append)
    drag(qtbot, ladder, at(ladder, 18_000.0, 0), at(ladder, 15_000.0, 0))
    with qtbot.waitSignal(ladder.phase_set) as sent:
        qtbot.mouseRelease(ladder, Qt.MouseButton.LeftButton, pos=at(ladder, 15_000.0, 0))
    payload = sent.args[0]
    pixel = 21_000.0 / 700  # about the seconds of one
    assert (payload["name"], payload["start_s"]) == ("bypass", 3600.0)
    assert payload["end_s"] == pytest.approx(15_000.0, abs=2 * pixel)
    # The new length is told at once.
    assert length(payload["end_s"] - payload["start_s"]) in said[-1]


def test_an_end_cannot_be_dragged_past_the_other(qtbot: QtBot, ladder: PhaseLadder) -> None:
    drag(qtbot, ladder, at(ladder, 18_000.0, 0), at(ladder, 1000.0, 0))
    with qtbot.waitSignal(ladder.phase_set) as sent:
        qtbot.mouseRelease(ladder, Qt.MouseButton.LeftButton, pos=at(ladder, 1000.0, 0))
    assert sent.args[0]["end_s"] == 3601.0


def test_escape_leaves_a_dragged_end_where_it_was(qtbot: QtBot, ladder: PhaseLadder) -> None:
    sent: list[dict[str, Any]] = []
    ladder.phase_set.connect(sent.append)
    drag(qtbot, ladder, at(ladder, 18_000.0, 0), at(ladder, 15_000.0, 0))
    qtbot.keyClick(ladder, Qt.Key.Key_Escape)
    qtbot.mouseRelease(ladder, Qt.MouseButton.LeftButton, pos=at(ladder, 15_000.0, 0))
    assert sent == []


def test_a_click_on_an_end_goes_there_and_sets_nothing(qtbot: QtBot, ladder: PhaseLadder) -> None:
    sent: list[dict[str, Any]] = []
    ladder.phase_set.connect(sent.append)
    with qtbot.waitSignal(ladder.jumped) as jumped:
        qtbot.mouseClick(ladder, Qt.MouseButton.LeftButton, pos=at(ladder, 18_000.0, 0))
    assert jumped.args == [18_000.0]
    assert sent == []
