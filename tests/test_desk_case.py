"""Edits of clocks, sources, lines and phases: the desk reads again after each and after its undoing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.marks import add_mark
from afterclamp.io import mappings
from afterclamp.io.case import Case, Span
from afterclamp.io.origins import SourceFile
from afterclamp.replay.desk import Desk
from afterclamp.replay.panes.clock_bench import ClockBench
from afterclamp.replay.panes.clock_box import ClockBox
from afterclamp.replay.panes.name_lines import NameLinesBox, Naming
from afterclamp.replay.panes.sources_box import SourcesBox
from desk_support import desk, settings, small_folder  # noqa: F401
from pytestqt.qtbot import QtBot

# ruff: noqa: F811

# The small case has the pump 40 s ahead, set by its author.
AHEAD = {"source": "pump", "pieces": [{"offset_s": 70.0, "sd_s": 1.0}], "method": "by hand"}


def pump_rows(desk: Desk) -> list[str]:
    """What the reading card lists of the pump."""
    return [channel.id for channel in desk.card._model.channels if channel.source == "pump"]


def test_a_clock_that_was_set_moves_traces_and_marks_and_undo_moves_them_back(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    before = case["pump_flow"].span.start
    made = add_mark(case, "reviewer", start_s=400.0, channels=["pump_flow"])
    desk.session.set_clocks([AHEAD])
    # 30 s further ahead: what stood at 400 s happened at 370 s.
    assert case["pump_flow"].span.start == pytest.approx(before - 30.0)
    row = lambda: next(row for row in desk.marks.model.rows if row.key == made.id)  # noqa: E731
    assert row().start == pytest.approx(370.0)
    assert desk.playhead.end == case.span.end
    assert desk.actions_by_id["undo"].text() == "&Undo clock of pump"
    desk.does.undo()
    assert case["pump_flow"].span.start == pytest.approx(before)
    assert row().start == pytest.approx(400.0)


def test_a_view_of_the_whole_case_shows_the_whole_case_after_its_clocks_were_set(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    before = case.span
    close = desk.views.close_up.span
    desk.session.set_clocks([{**AHEAD, "pieces": [{"offset_s": 640.0, "sd_s": 1.0}]}])
    # The pump 600 s further ahead: the case now begins with it, 600 s earlier.
    assert case.span.start == pytest.approx(before.start - 600.0)
    assert desk.views.long.span == case.span
    assert desk.views.close_up.span == close
    desk.does.undo()
    assert case.span == before
    assert desk.views.long.span == before


def test_a_view_that_was_zoomed_stays_where_it_was_when_clocks_are_set(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    desk.views.long.set_span(Span(300.0, 900.0))
    desk.session.set_clocks([{**AHEAD, "pieces": [{"offset_s": 640.0, "sd_s": 1.0}]}])
    assert desk.views.long.span == Span(300.0, 900.0)
    # What is shown may not lie beyond the case: as it was, it ends at 1200 s.
    desk.views.long.set_span(Span(-600.0, 0.0))
    desk.does.undo()
    assert desk.views.long.span == Span(case.span.start, case.span.start + 600.0)


def test_a_clock_set_again_replaces_the_one_in_force(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    for offset in (30.0, 45.0):
        desk.session.set_clocks([{**AHEAD, "pieces": [{"offset_s": offset, "sd_s": 1.0}]}])
    (standing,) = [edit for edit in case.log.standing("clock") if edit.payload["source"] == "pump"]
    assert standing.payload["pieces"][0]["offset_s"] == 45.0
    assert case.log.conflicts == []


def test_undo_of_a_source_that_was_taken_out_brings_its_channels_back(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    shown = pump_rows(desk)
    assert shown
    case.take_out("reviewer", "pump")
    desk.session.edited.emit()
    assert pump_rows(desk) == []
    desk.does.undo()
    assert pump_rows(desk) == shown
    desk.does.redo()
    assert pump_rows(desk) == []
    assert desk.actions_by_id["undo"].text() == "&Undo taking pump out"


def test_after_any_edit_that_figures_rest_on_its_undo_looks_again(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked: list[str] = []
    monkeypatch.setattr(type(desk.session), "look", lambda _: looked.append("look"))
    case = desk.session.case
    assert case is not None
    case.log.append("reviewer", "believe", {"site": "femoral"})
    desk.does.undo()
    assert looked == ["look"]
    desk.session.mark_point(10.0, "")
    desk.does.undo()
    assert looked == ["look"], "nothing is worked out from a mark"


def test_a_source_that_is_taken_out_in_its_box_leaves_the_card_and_comes_back(desk: Desk) -> None:
    desk.does.show_sources()
    box = desk.box
    assert isinstance(box, SourcesBox)
    box.wanted.emit("pump", False)
    assert pump_rows(desk) == []
    box.wanted.emit("pump", True)
    assert len(pump_rows(desk)) == 1
    assert desk.actions_by_id["undo"].text() == "&Undo putting pump back"
    box.reject()


def test_what_a_line_is_can_be_settled_undone_and_is_kept_for_the_next_case(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    desk.does.name_lines()
    box = desk.box
    assert isinstance(box, NameLinesBox)
    box.settled.emit([Naming("monitor/fem", "arterial_pressure", "brachial", "left", "wave", "mm[Hg]")])
    box.reject()
    assert desk.card.text("left brachial")
    assert list(mappings.default_folder().glob("*.toml"))
    assert desk.actions_by_id["undo"].text() == "&Undo what monitor/fem is"
    desk.does.undo()
    assert desk.card.text("femoral")


def test_times_of_a_phase_are_an_edit_that_undo_names(desk: Desk) -> None:
    desk.views.ladder.phase_set.emit(
        {"name": "clamp", "index": 0, "start_s": 400.0, "end_s": 700.0, "sd_s": 1.0}
    )
    case = desk.session.case
    assert case is not None
    assert [edit.payload["start_s"] for edit in case.log.standing("phase")] == [400.0]
    assert desk.actions_by_id["undo"].text().startswith("&Undo times of ")


# -- the line over the views ------------------------------------------------------------------------


def without_clock(desk: Desk) -> Case:
    """The small case as if nobody had set the pump's clock."""
    case = desk.session.case
    assert case is not None
    while any(edit.payload["source"] == "pump" for edit in case.log.standing("clock")):
        case.log.undo("tester")
    desk.session._read_again()
    return case


def test_the_line_says_how_many_clocks_are_not_set_and_offers_to_set_them(qtbot: QtBot, desk: Desk) -> None:
    assert not desk.unset_clocks.isVisible()
    case = without_clock(desk)
    unset = [source.name for source in case.sources if source.clock.method == "unset"]
    assert unset == ["pump"]
    assert desk.unset_clocks.text() == ("1 of 1 clock is not set: times between sources cannot be compared.")
    desk.unset_clocks.offer.click()
    box = desk.box
    assert isinstance(box, ClockBox)
    box.taken.emit([AHEAD])
    assert not desk.unset_clocks.isVisible()
    box.reject()


def test_by_evidence_opens_the_clocks_and_looks_at_once(
    qtbot: QtBot, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked: list[object] = []
    monkeypatch.setattr(ClockBox, "look", lambda box: looked.append(box))
    desk.does.align_clocks()
    assert looked == [desk.box]
    assert desk.box is not None
    desk.box.reject()


def test_the_bench_keeps_what_is_taken_and_is_told_of_it(qtbot: QtBot, desk: Desk) -> None:
    desk.does.clock_bench()
    bench = desk.box
    assert isinstance(bench, ClockBench)
    assert bench.source.currentText() == "pump"
    bench.taken.emit(AHEAD)
    case = desk.session.case
    assert case is not None
    assert case.sources[1].clock.offset_s == 70.0
    bench.undo_asked.emit()
    assert case.sources[1].clock.offset_s == 40.0
    bench.reject()


def test_originals_that_changed_or_are_gone_are_named_and_the_line_can_be_hidden(desk: Desk) -> None:
    assert not desk.originals.isVisible()
    folder = desk.session.case.folder  # type: ignore[union-attr]
    rows = [
        SourceFile("pump", "pump.csv", "1", "changed", folder / "pump.csv"),
        SourceFile("monitor", "monitor.edf", "2", "missing", folder / "monitor.edf"),
        SourceFile("notes", "notes.txt", "3", "as it was", folder / "notes.txt"),
        SourceFile("other", "other.csv", "4", "not known here", None),
    ]
    desk.session.take("originals", rows)
    assert desk.originals.text() == (
        "Originals changed since: pump.csv; not where they were: monitor.edf."
        " The case holds them as they were read."
    )
    assert desk.isActiveWindow() or desk.box is None, "it stops nothing"
    desk.originals.hide_it.click()
    desk.session.take("originals", rows)
    assert not desk.originals.isVisible(), "what was hidden is not said again"
    desk.session.take("originals", rows[:1])
    assert desk.originals.isVisible(), "something else is"


def test_a_look_reports_the_originals_first(qtbot: QtBot, desk: Desk) -> None:
    from afterclamp.replay import bringing

    heard: list[dict[str, object]] = []
    case = desk.session.case
    assert case is not None
    bringing.work({"task": "look", "case": str(case.folder)}, heard.append, lambda: False)
    parts = [message["part"][0] for message in heard if "part" in message]  # type: ignore[index]
    assert parts == [
        "originals",
        "masks",
        "phases",
        "trust strip",
        "finds",
        "answers",
        "unexplained",
        "figures",
    ]


def test_what_is_read_stays_the_same_when_only_the_clock_is_another(desk: Desk) -> None:
    case = desk.session.case
    assert case is not None
    before = case["pump_flow"].read(*_whole(desk)).values
    desk.session.set_clocks([AHEAD])
    np.testing.assert_array_equal(case["pump_flow"].read(*_whole(desk)).values, before)


def _whole(desk: Desk) -> tuple[float, float]:
    return -1e6, 1e6


def test_the_bench_looks_for_evidence_itself_and_takes_over_what_the_list_found(
    qtbot: QtBot, desk: Desk, demo_folder: Path
) -> None:

    assert desk.does.open_case(demo_folder)
    desk.does.clock_bench()
    bench = desk.box
    assert isinstance(bench, ClockBench)
    bench.source.setCurrentText("pump")
    assert bench.found is None
    bench.search.click()
    qtbot.waitUntil(lambda: bench.found is not None, timeout=60_000)
    assert bench.again.isEnabled()
    assert "94.0 s ahead" in bench.stands.text()
    bench.reject()
    desk.does.set_clocks()
    box = desk.box
    assert box is not None
    box.show_found([bench.found])
    box.bench_wanted.emit("pump")
    again = desk.box
    assert isinstance(again, ClockBench)
    assert again.found is not None
    again.reject()
