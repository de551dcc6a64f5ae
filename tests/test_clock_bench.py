"""The clock bench: what is dragged moves by as much, what is taken is what was shown, and nothing is written before."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.align import ClockEstimate
from afterclamp.annotate.align.hand import largest_change
from afterclamp.io import bring_in
from afterclamp.io.case import Case
from afterclamp.replay.panes.clock_bench import ClockBench
from PySide6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot


@pytest.fixture
def estimates(unset_estimates: dict[str, ClockEstimate]) -> dict[str, ClockEstimate]:
    """What the evidence says; it goes by the stamps alone, whatever the clocks in force."""
    return unset_estimates


@pytest.fixture
def bench(qtbot: QtBot, demo_case: Case, estimates: dict[str, ClockEstimate]) -> ClockBench:
    made = ClockBench(demo_case, estimates)
    qtbot.addWidget(made)
    made.show()
    made.source.setCurrentText("pump")
    return made


def test_the_bench_opens_on_what_the_evidence_compared(bench: ClockBench) -> None:
    assert bench.own.currentText() == "femoral mean (pump)"
    assert bench.other.currentText() == "femoral (monitor)"
    # The demo's pump recorder is planted 94.0 s ahead, 60 ppm fast, set back by 30 s.
    assert "94.0 s ahead, 60 ppm fast, then set back 30.0 s" in bench.stands.text()
    assert "correlate" in bench.words.text()


def test_a_drag_of_the_mouse_moves_the_source_by_what_the_axis_says(bench: ClockBench, qtbot: QtBot) -> None:
    bench.overlay.show_window(5400.0, 5460.0)
    before = bench.tried
    plot = bench.overlay.plot
    area = plot.getPlotItem().getViewBox().sceneBoundingRect()
    seconds_a_dot = 60.0 / area.width()
    middle = area.center().toPoint()
    qtbot.mousePress(plot.viewport(), Qt.MouseButton.LeftButton, pos=middle)
    for x in range(10, 101, 10):
        qtbot.mouseMove(plot.viewport(), middle + QPoint(x, 0))
    qtbot.mouseRelease(plot.viewport(), Qt.MouseButton.LeftButton, pos=middle + QPoint(100, 0))
    assert before is not None
    assert bench.tried is not None
    moved = before.offset_s - bench.tried.offset_s
    assert moved == pytest.approx(100 * seconds_a_dot, abs=1.5 * seconds_a_dot)


def test_keys_move_by_a_hundredth_a_tenth_and_a_second(bench: ClockBench, qtbot: QtBot) -> None:
    bench.overlay.setFocus()
    for modifier, by in (
        (Qt.KeyboardModifier.NoModifier, 0.01),
        (Qt.KeyboardModifier.ShiftModifier, 0.1),
        (Qt.KeyboardModifier.ControlModifier, 1.0),
    ):
        before = bench.tried
        qtbot.keyClick(bench.overlay, Qt.Key.Key_Right, modifier)
        assert before is not None
        assert bench.tried is not None
        assert before.offset_s - bench.tried.offset_s == pytest.approx(by, abs=1e-4)


def test_a_held_place_stays_and_the_rest_is_stretched(bench: ClockBench) -> None:
    bench.as_it_stands()
    bench.overlay.show_window(3000.0, 3060.0)
    bench.hold.setChecked(True)
    before = bench.tried
    bench.drag(15_030.0, 1.2)
    after = bench.tried
    assert before is not None
    assert after is not None
    source = before.to_source([3030.0, 15_030.0], run=1)
    assert np.allclose(after.to_reference(source, run=1), [3030.0, 15_031.2], atol=1e-6)
    # 1.2 s in 12,000 s is 100 parts per million.
    assert before.pieces[0].drift_ppm - after.pieces[0].drift_ppm == pytest.approx(100.0, rel=1e-3)


def test_nothing_is_offered_to_keep_while_nothing_was_changed(bench: ClockBench) -> None:
    bench.as_it_stands()
    assert not bench.take.isEnabled()
    bench.drag(100.0, 0.5)
    assert bench.take.isEnabled()


def test_what_is_taken_after_a_drag_is_by_hand_with_the_doubt_the_person_said(
    bench: ClockBench, qtbot: QtBot
) -> None:
    bench.as_it_stands()
    bench.drag(100.0, 0.5)
    bench.doubt.setValue(1.0)
    with qtbot.waitSignal(bench.taken) as heard:
        bench.take.click()
    payload = heard.args[0]
    assert payload["method"] == "by hand"
    assert payload["pieces"][0]["offset_s"] == pytest.approx(93.5, abs=0.01)
    assert payload["pieces"][0]["sd_s"] == pytest.approx(1.0 / 1.96, rel=1e-4)


def test_what_is_taken_untouched_is_the_evidence_with_its_words(
    bench: ClockBench, qtbot: QtBot, estimates: dict[str, ClockEstimate]
) -> None:
    with qtbot.waitSignal(bench.taken) as heard:
        bench.take.click()
    assert heard.args[0] == estimates["pump"].to_payload()


def test_the_log_holds_no_clock_until_one_is_taken(bench: ClockBench, demo_case: Case) -> None:
    before = len(demo_case.log.edits)
    bench.drag(100.0, 0.5)
    bench.close()
    assert len(demo_case.log.edits) == before


def test_the_lines_of_a_written_log_stand_on_the_flow_and_its_odd_lines_are_told(bench: ClockBench) -> None:
    bench.source.setCurrentText("log")
    assert bench.other.currentText() == "pump flow (pump)"
    # The demo's log holds two wrong lines: "clamp off" and "protamine".
    for wrong in ("“clamp off” stands", "“protamine” would be"):
        assert wrong in bench.words.text()


def test_an_hour_is_asked_about_in_words(bench: ClockBench) -> None:
    bench.source.setCurrentText("oximeter")
    assert "Is it one hour off" in bench.words.text()


def test_a_case_of_one_source_says_that_there_is_nothing_to_set(qtbot: QtBot, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(
        "time (s),femoral (mmHg)\n" + "".join(f"{k},{60 + k % 3}\n" for k in range(600)), "utf-8"
    )
    with bring_in(tmp_path / "a.csv", tmp_path / "case", accept_proposals=True) as case:
        bench = ClockBench(case)
        qtbot.addWidget(bench)
        assert "there is no clock to set" in bench.stands.text()
        assert not bench.take.isEnabled()


def test_the_largest_change_is_found_beside_gaps() -> None:
    values = np.concatenate(
        [np.full(600, 80.0), np.full(100, np.nan), np.full(600, 81.0), np.full(600, 20.0)]
    )
    found = largest_change(values, np.arange(1900.0))
    assert found is not None
    assert abs(found - 1300) <= 1
    assert largest_change(np.full(500, np.nan), np.arange(500.0)) is None


def test_the_names_of_the_lines_stand_above_the_chart_and_hide_no_trace(bench: ClockBench) -> None:
    overlay = bench.overlay
    assert overlay.plot.getPlotItem().legend is None
    assert overlay.legend.isVisible()
    assert overlay.legend.geometry().bottom() <= overlay.plot.geometry().top()
    for words in ("femoral (monitor)", "femoral mean (pump), as it stands", "as it would stand"):
        assert words in overlay.legend.text()


def test_a_chart_with_nothing_in_it_has_no_axes_and_one_with_evidence_names_both(
    qtbot: QtBot, demo_case: Case, estimates: dict[str, ClockEstimate]
) -> None:
    bench = ClockBench(demo_case, {})
    qtbot.addWidget(bench)
    bench.show()
    for chart in (bench.evidence, bench.residuals):
        item = chart.plot.getPlotItem()
        assert not item.getAxis("left").isVisible()
        assert not item.getAxis("bottom").isVisible()
    bench.set_estimates(estimates)
    bench.source.setCurrentText("pump")
    for chart in (bench.evidence, bench.residuals):
        item = chart.plot.getPlotItem()
        assert item.getAxis("left").isVisible()
        assert item.getAxis("bottom").isVisible()
    assert bench.evidence.plot.getPlotItem().getAxis("left").labelText
