"""Marks and verdicts: kept in the author's log, moving with their trace, amended without losing a version."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate import marks
from afterclamp.annotate.rules import Find
from afterclamp.io.case import Case
from afterclamp.io.errors import EditRefused, NoSuchChannel
from afterclamp.io.recording import Segment
from recordings import START, case_of, even, recording


@pytest.fixture
def case(tmp_path: Path) -> Iterator[Case]:
    wave = even("FEM", np.zeros(60_000, "i2"), [Segment(0.0, 0, 60_000, 100.0)])
    # The pump's clock is set back by 30 s after its 300th second: a second run of stamps.
    flow = even(
        "pump flow",
        np.zeros(600, "f4"),
        [Segment(0.0, 0, 300, 1.0), Segment(270.0, 300, 300, 1.0, run=1)],
        unit="L/min",
    )
    with case_of(
        tmp_path / "case",
        recording("monitor", [wave]),
        recording("pump", [flow], first_stamp=START + timedelta(seconds=94)),
    ) as opened:
        opened.edit(
            "mara",
            "clock",
            {"source": "pump", "pieces": [{"offset_s": 94.0, "run": 0}, {"offset_s": 64.0, "run": 1}]},
        )
        yield opened


def test_a_mark_comes_back_as_it_was_made(case: Case) -> None:
    made = marks.add_mark(
        case,
        "mara",
        kind="span",
        code="E13",
        text="low",
        start_s=100.0,
        end_s=160.0,
        channels=["femoral"],
        confidence=75,
    )
    with Case.open(case.folder) as again:
        assert marks.marks(again) == [made]
    assert (made.kind, made.code, made.text, made.start_s, made.end_s) == ("span", "E13", "low", 100.0, 160.0)
    assert (made.channels, made.confidence, made.author) == (("monitor/fem",), 75, "mara")


def test_a_mark_on_a_trace_moves_with_its_clock_and_one_on_the_case_does_not(case: Case) -> None:
    marks.add_mark(case, "mara", start_s=200.0, channels=["pump_flow"], text="on the flow")
    marks.add_mark(case, "mara", start_s=200.0, text="on the case")
    case.edit(
        "mara",
        "clock",
        {"source": "pump", "pieces": [{"offset_s": 90.0, "run": 0}, {"offset_s": 60.0, "run": 1}]},
    )
    # The pump was 94 s ahead, now 90 s: everything that it recorded lies 4 s later.
    assert {mark.text: mark.start_s for mark in marks.marks(case)} == {
        "on the case": 200.0,
        "on the flow": 204.0,
    }


def test_a_mark_after_a_step_of_the_clock_keeps_to_its_run(case: Case) -> None:
    marks.add_mark(case, "mara", start_s=310.0, channels=["pump_flow"])
    anchor = case.log.standing("mark")[0].payload["anchor"]
    assert anchor["run"] == 1
    assert anchor["source_s"] == pytest.approx(280.0)  # 310 s + 64 s ahead - 94 s at its first stamp
    case.edit(
        "mara",
        "clock",
        {"source": "pump", "pieces": [{"offset_s": 94.0, "run": 0}, {"offset_s": 61.0, "run": 1}]},
    )
    assert marks.marks(case)[0].start_s == pytest.approx(313.0)


def test_a_mark_has_the_uncertainty_of_its_trace_s_clock_and_none_where_nobody_set_it(case: Case) -> None:
    on_trace = marks.add_mark(case, "mara", start_s=200.0, channels=["pump_flow"])
    on_case = marks.add_mark(case, "mara", start_s=200.0)
    assert (on_trace.unc_s, on_case.unc_s) == (0.0, 0.0)
    pieces = [{"offset_s": 94.0, "sd_s": 2.0, "run": 0}, {"offset_s": 64.0, "sd_s": 5.0, "run": 1}]
    made = case.edit("mara", "clock", {"source": "pump", "pieces": pieces})
    after = marks.add_mark(case, "mara", start_s=320.0, channels=["pump_flow"])
    known = {mark.id: mark.unc_s for mark in marks.marks(case)}
    # 1.96 standard deviations of the piece that holds there.
    assert known[on_trace.id] == pytest.approx(3.92)
    assert known[after.id] == pytest.approx(9.8)
    assert made.verb == "clock"
    while any(edit.verb == "clock" for edit in case.log.standing()):
        case.log.undo("mara")
    case.refresh()
    unset = marks.add_mark(case, "mara", start_s=200.0, channels=["pump_flow"])
    assert unset.unc_s == np.inf


def test_a_note_stands_at_its_moment_and_shows_once_that_is_reached(case: Case) -> None:
    made = marks.add_mark(case, "mara", kind="note", text="cannula moved", start_s=100.0)
    whole = marks.add_mark(case, "mara", kind="note", text="a teaching case", start_s=0.0)
    assert not marks.on_whole_case(case, made)
    assert marks.on_whole_case(case, whole)
    assert not marks.on_whole_case(case, marks.add_mark(case, "mara", start_s=0.0))
    for until, seen in ((100.0, {whole.id}), (100.5, {whole.id, made.id})):
        assert {mark.id for mark in marks.marks(case.until(until)) if mark.kind == "note"} == seen


def test_amending_keeps_the_id_and_the_earlier_version(case: Case) -> None:
    made = marks.add_mark(case, "mara", start_s=100.0, text="first")
    changed = marks.amend(case, "mara", made.id, text="second", start_s=105.0)
    assert (changed.id, changed.text, changed.start_s, changed.end_s) == (made.id, "second", 105.0, 105.0)
    assert marks.marks(case) == [changed]
    assert [edit.payload["text"] for edit in case.log.edits if edit.verb == "mark"] == ["first", "second"]


def test_an_amended_mark_moves_from_where_it_is_now(case: Case) -> None:
    made = marks.add_mark(case, "mara", start_s=200.0, channels=["pump_flow"])
    case.edit(
        "mara",
        "clock",
        {"source": "pump", "pieces": [{"offset_s": 90.0, "run": 0}, {"offset_s": 60.0, "run": 1}]},
    )
    assert marks.amend(case, "mara", made.id, text="seen again").start_s == pytest.approx(204.0)


def test_undo_and_redo_are_those_of_the_log(case: Case) -> None:
    made = marks.add_mark(case, "mara", start_s=100.0, text="first")
    marks.amend(case, "mara", made.id, text="second")
    marks.remove(case, "mara", made.id)
    assert marks.marks(case) == []
    case.log.undo("mara")
    assert [mark.text for mark in marks.marks(case)] == ["second"]
    case.log.undo("mara")
    assert [mark.text for mark in marks.marks(case)] == ["first"]
    case.log.redo("mara")
    assert [mark.text for mark in marks.marks(case)] == ["second"]


def test_ids_stay_apart_after_an_undo(case: Case) -> None:
    first = marks.add_mark(case, "mara", start_s=1.0)
    case.log.undo("mara")
    second = marks.add_mark(case, "mara", start_s=2.0)
    assert first.id != second.id


def test_marks_belong_to_their_author(case: Case) -> None:
    made = marks.add_mark(case, "mara", start_s=100.0)
    with pytest.raises(EditRefused, match="mara's"):
        marks.amend(case, "noor", made.id, text="mine")
    with pytest.raises(EditRefused, match="mara's"):
        marks.remove(case, "noor", made.id)
    marks.add_mark(case, "noor", start_s=100.0)
    assert len(marks.marks(case)) == 2


def test_a_view_up_to_a_time_shows_no_mark_from_after_it(case: Case) -> None:
    marks.add_mark(case, "mara", kind="span", start_s=100.0, end_s=400.0)
    marks.add_mark(case, "mara", start_s=350.0)
    assert [(mark.start_s, mark.end_s) for mark in marks.marks(case.until(300.0))] == [(100.0, 300.0)]


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "square", "start_s": 1.0},
        {"kind": "span", "start_s": 10.0, "end_s": 5.0},
        {"start_s": float("nan")},
        {"start_s": 1.0, "confidence": 101},
    ],
)
def test_a_mark_without_meaning_is_refused_and_not_written(case: Case, wrong: dict[str, object]) -> None:
    with pytest.raises(EditRefused):
        marks.add_mark(case, "mara", **wrong)  # type: ignore[arg-type]
    assert marks.marks(case) == []


def test_a_mark_on_a_channel_that_is_not_there_is_refused(case: Case) -> None:
    with pytest.raises(NoSuchChannel):
        marks.add_mark(case, "mara", start_s=1.0, channels=["aortic"])
    with pytest.raises(EditRefused):
        marks.amend(case, "mara", "mara-m7", text="x")
    made = marks.add_mark(case, "mara", start_s=1.0)
    with pytest.raises(EditRefused, match="colour"):
        marks.amend(case, "mara", made.id, colour="blue")


# -- verdicts --------------------------------------------------------------------------------------

FOUND = Find("E13", "hypotension on bypass", 1000.0, 1100.0, ("femoral",), "femoral", subtype="hypo")


def test_a_verdict_carries_a_copy_of_its_find(case: Case) -> None:
    marks.verdict(case, "mara", FOUND, "accepted")
    with Case.open(case.folder) as again:
        (one,) = marks.verdicts(again, [FOUND])[FOUND.key]
    assert (one.decision, one.author, one.find["start_s"]) == ("accepted", "mara", 1000.0)


def test_a_verdict_finds_its_find_again_after_it_moved(case: Case) -> None:
    marks.verdict(case, "mara", FOUND, "set aside")
    moved = replace(FOUND, start_s=1012.0, end_s=1095.0)
    elsewhere = replace(FOUND, start_s=2000.0, end_s=2100.0)
    other_class = replace(FOUND, code="E01", subtype="")
    assert list(marks.verdicts(case, [elsewhere, moved, other_class])) == [moved.key]


def test_a_verdict_by_key_goes_before_one_by_overlap(case: Case) -> None:
    marks.verdict(case, "mara", FOUND, "accepted")
    wider = replace(FOUND, start_s=900.0, end_s=1200.0)
    assert list(marks.verdicts(case, [wider, FOUND])) == [FOUND.key]


def test_a_later_verdict_of_the_same_author_replaces_the_earlier(case: Case) -> None:
    marks.verdict(case, "mara", FOUND, "accepted")
    marks.verdict(case, "noor", FOUND, "accepted")
    marks.verdict(case, "mara", FOUND, "set aside")
    said = {one.author: one.decision for one in marks.verdicts(case, [FOUND])[FOUND.key]}
    assert said == {"mara": "set aside", "noor": "accepted"}
    case.log.undo("mara")
    assert {one.author: one.decision for one in marks.verdicts(case, [FOUND])[FOUND.key]}[
        "mara"
    ] == "accepted"


def test_an_unknown_decision_is_refused(case: Case) -> None:
    with pytest.raises(EditRefused, match="accepted, set aside"):
        marks.verdict(case, "mara", FOUND, "perhaps")
