"""Clocks of the invented case in depth: intervals, the step, the whole hour, anchors, accepting, refusing.

Truth: `sample_traces.sources.true_clock_maps` and the tables that the recordings are made from. What every
source comes out at stands in test_align.py.
"""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate import align
from afterclamp.annotate.align.estimate import ClockEstimate
from afterclamp.io import Case, CaseError, bring_in, open_case
from afterclamp.io.clock import ClockMap
from afterclamp.io.errors import Cancelled, EditRefused
from afterclamp.sample_traces import tables
from afterclamp.sample_traces.sources import PUMP_SET_BACK_S, true_clock_maps
from recordings import linked_copy

TRUTH = true_clock_maps()


@pytest.fixture
def found(unset_estimates: dict[str, ClockEstimate]) -> dict[str, ClockEstimate]:
    return unset_estimates


@pytest.fixture
def case_copy(unset_folder: Path, tmp_path: Path) -> Case:
    return open_case(linked_copy(unset_folder, tmp_path / "case"))


def test_evidence_is_named_by_its_kind(found: dict[str, ClockEstimate]) -> None:
    assert {name: one.evidence for name, one in found.items()} == {
        "pump": "same pressure",
        "oximeter": "saturation and arrest",
        "log": "log lines",
        "captions": "spoken anchors",
    }


@pytest.mark.parametrize("source", list(TRUTH))
def test_the_95_percent_interval_holds_the_truth(found: dict[str, ClockEstimate], source: str) -> None:
    low, high = found[source].interval_s
    assert low <= TRUTH[source][0].offset_s <= high


def test_drift_is_known_with_its_own_doubt(found: dict[str, ClockEstimate]) -> None:
    pump = found["pump"]
    assert abs(pump.drift_ppm - TRUTH["pump"][0].drift_ppm) <= 1.96 * pump.drift_sd_ppm
    assert 1.96 * pump.drift_sd_ppm <= 15


def test_the_step_is_dated_and_the_gap_is_none(found: dict[str, ClockEstimate]) -> None:
    ((true_at, _),) = tables.spans("C")
    (step,) = found["pump"].steps  # the 70 s without cable would be a second one
    assert step.at_s == pytest.approx(true_at, abs=10)
    assert step.by_s == pytest.approx(-PUMP_SET_BACK_S, abs=1)
    assert step.run == 1


def test_a_whole_hour_is_asked_and_not_assumed(found: dict[str, ClockEstimate]) -> None:
    oximeter = found["oximeter"]
    assert oximeter.offset_words.startswith("1 h + ")
    assert oximeter.question.startswith("The clock of oximeter is 1 h + ")
    assert oximeter.question.endswith("?")
    assert not found["pump"].question


def test_wrong_lines_say_why_and_the_others_agree(found: dict[str, ClockEstimate]) -> None:
    log = found["log"]
    assert all(line.words for line in log.outliers)
    assert sum(line.used for line in log.lines) >= 5
    # Whole minutes: a right line stands within half a minute of the offset, beside people's unevenness.
    assert max(abs(line.residual_s) for line in log.lines if line.used) <= 60


@pytest.mark.parametrize(
    "anchors",
    [
        # Cue times and events of the narration, each said 2 s after it happened.
        [(2390.0, "going on"), (6650.0, "circulation off"), (11270.0, "clamp off")],
        [("Going on.", "going on"), ("Circulation off.", "circulation off"), ("Clamp off.", "clamp off")],
        [("going on", 60 * 60.0), ("circulation off", 131 * 60.0), ("clamp off", 208 * 60.0)],
    ],
    ids=["times", "words", "seconds"],
)
def test_three_anchors_give_the_captions_to_two_seconds(
    case_copy: Case, found: dict[str, ClockEstimate], anchors: list[align.Anchor]
) -> None:
    with case_copy as case:
        # The clamp is never guessed from traces, so somebody sets it.
        case.edit("kim", "phase", {"name": "clamp", "start_s": 128 * 60.0, "end_s": 208 * 60.0})
        align.accept(case, "kim", found["pump"])
        (captions,) = align.estimate(case, sources=["captions"], anchors={"captions": anchors})
    assert captions.told
    assert captions.offset_s == pytest.approx(TRUTH["captions"][0].offset_s, abs=2)
    assert len(captions.lines) == 3


def test_an_anchor_that_fits_no_line_is_refused(case_copy: Case) -> None:
    def ask(source: str, anchor: align.Anchor) -> None:
        align.estimate(case_copy, sources=[source], anchors={"captions": [anchor]})

    with case_copy:
        with pytest.raises(CaseError, match="no line has the words"):
            ask("captions", ("never said", "going on"))
        with pytest.raises(CaseError, match="word list"):
            ask("captions", ("going on", "tea"))
        with pytest.raises(CaseError, match="not looked for"):
            ask("pump", ("going on", "going on"))


def test_accepting_sets_the_clock_and_undo_takes_it_back_whole(
    case_copy: Case, found: dict[str, ClockEstimate]
) -> None:
    with case_copy as case:
        before = {source.name: source.clock for source in case.sources}
        align.accept(case, "kim", found["pump"])
        after = {source.name: source.clock for source in case.sources}
        assert after["pump"].steps[0][1] == pytest.approx(-PUMP_SET_BACK_S, abs=1)
        # Both runs stand where they really were, all along.
        for run, clock in enumerate(TRUTH["pump"]):
            stamps = np.array([3000.0, 9000.0, 20000.0]) + clock.offset_s
            mapped = after["pump"].to_reference(stamps - after["pump"].zero_s, run)
            assert mapped == pytest.approx(clock.reference(stamps), abs=0.5)
        assert {**after, "pump": before["pump"]} == before
        case.log.undo("kim")
        case.refresh()
        assert {source.name: source.clock for source in case.sources} == before


def test_accepting_again_supersedes_the_clock_in_force(
    case_copy: Case, found: dict[str, ClockEstimate]
) -> None:
    with case_copy as case:
        first = align.accept(case, "kim", found["log"])
        second = align.accept(case, "kim", found["log"])
        assert second.supersedes == first.id
        assert [edit.id for edit in case.log.standing("clock")] == [second.id]
        evidence = second.payload["evidence"]
        assert evidence["kind"] == "log lines"
        assert sorted(evidence["not_used"]) == ["clamp off", "protamine"]


def test_a_set_clock_is_found_again_from_the_stamps(case_copy: Case, found: dict[str, ClockEstimate]) -> None:
    with case_copy as case:
        for name in ("pump", "log"):
            align.accept(case, "kim", found[name])
        (again,) = align.estimate(case, sources=["pump"])
        assert again.offset_s == pytest.approx(found["pump"].offset_s, abs=1e-6)
        assert {one.source for one in align.estimate(case)} == {"oximeter", "captions"}


def test_lines_that_nothing_dates_cannot_be_told_nor_accepted(case_copy: Case) -> None:
    with case_copy as case:
        # Without the pump no trace says what was written about.
        (lonely,) = align.estimate(case, sources=["log"])
        assert not lonely.told
        assert lonely.cannot_tell.startswith("The clock of log cannot be told")
        assert lonely.clock == ClockMap(lonely.zero_s)
        with pytest.raises(EditRefused):
            align.accept(case, "kim", lonely)


def test_unknown_sources_and_views_up_to_a_time_are_refused(case_copy: Case) -> None:
    with case_copy as case:
        with pytest.raises(CaseError, match="not in this case"):
            align.estimate(case, sources=["nobody"])
        with pytest.raises(CaseError, match="reference itself"):
            align.estimate(case, sources=["monitor"])
        with pytest.raises(CaseError, match="whole case"):
            align.estimate(case.until(3600.0))


def test_progress_is_told_and_stopping_changes_nothing(case_copy: Case) -> None:
    told: list[tuple[float, str]] = []
    with case_copy as case:
        edits = len(case.log.edits)
        with pytest.raises(Cancelled):
            align.estimate(
                case,
                progress=lambda share, text: told.append((share, text)),
                cancelled=lambda: len(told) >= 1,
            )
        assert len(case.log.edits) == edits
    assert len(told) == 1
    assert told[0][1].startswith("pump: ")


def test_charts_have_their_curve_and_points(found: dict[str, ClockEstimate]) -> None:
    for name in ("pump", "oximeter"):
        curve, points = found[name].curve, found[name].points
        assert curve is not None
        assert points is not None
        assert np.all(np.diff(curve.lag_s) > 0)
        highest = float(curve.lag_s[np.argmax(curve.evidence)])
        assert min(abs(highest - piece.offset_s) for piece in found[name].pieces) <= 60
        assert len(points.t) == len(points.residual_s) == len(points.sd_s) == len(points.used)
    pump = found["pump"].points
    assert pump is not None
    assert np.abs(pump.residual_s[pump.used]).max() < 0.25


def test_without_the_copy_flow_stops_stand_against_pressure_falls(demo_exports: Path, tmp_path: Path) -> None:
    exports = tmp_path / "exports"
    exports.mkdir()
    for name in ("monitor.edf", "case-sheet.toml"):
        shutil.copy(demo_exports / name, exports)
    with (demo_exports / "pump.csv").open(newline="") as read:
        rows = list(csv.reader(read))
    drop = next(k for k, heading in enumerate(rows[0]) if heading.startswith("femoral"))
    with (exports / "pump.csv").open("w", newline="") as write:
        csv.writer(write).writerows(row[:drop] + row[drop + 1 :] for row in rows)
    with bring_in(exports, tmp_path / "case") as case:
        (pump,) = align.estimate(case)
    assert pump.evidence == "flow and pressure"
    # Coupled evidence is worth 5 s, and its interval must say so.
    assert pump.offset_s == pytest.approx(TRUTH["pump"][0].offset_s, abs=5)
    low, high = pump.interval_s
    assert low <= TRUTH["pump"][0].offset_s <= high
    assert [round(step.by_s) for step in pump.steps] == [-30]
