"""Clocks by evidence, on the demo brought in without a word on its clocks.

The planted clock errors are the truth here: they are laid into the recordings by `sample_traces.sources`, which
the estimation never reads.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from afterclamp.annotate.align import ClockEstimate, accept, estimate
from afterclamp.io import Case, bring_in, open_case
from afterclamp.io.errors import EditRefused
from recordings import linked_copy


@pytest.fixture
def unset(unset_folder: Path, tmp_path: Path) -> Iterator[Case]:
    with open_case(linked_copy(unset_folder, tmp_path / "case")) as case:
        yield case


@pytest.fixture
def found(unset_estimates: dict[str, ClockEstimate]) -> dict[str, ClockEstimate]:
    return unset_estimates


def test_every_clock_but_the_reference_is_looked_at(found: dict[str, ClockEstimate]) -> None:
    assert set(found) == {"pump", "oximeter", "log", "captions"}


def test_the_pump_is_laid_on_the_pressure_that_both_recorded(found: dict[str, ClockEstimate]) -> None:
    before, after = found["pump"].pieces
    assert before.offset_s == pytest.approx(94.0, abs=0.5)
    assert 1.96 * before.sd_s <= 1.0
    assert before.drift_ppm == pytest.approx(60.0, abs=15.0)
    assert after.offset_s - before.offset_s == pytest.approx(-30.0, abs=1.0)
    assert (before.run, after.run) == (0, 1), "one step: the 70 s without a cable are none"


def test_a_clock_that_is_an_hour_off_is_said_in_hours(found: dict[str, ClockEstimate]) -> None:
    oximeter = found["oximeter"]
    (piece,) = oximeter.pieces
    assert piece.offset_s == pytest.approx(-3637.0, abs=10.0)
    assert abs(piece.offset_s + 3637.0) <= 1.96 * piece.sd_s
    assert oximeter.whole_hours == -1
    assert "1 h" in " ".join(oximeter.words)


def test_a_handwritten_log_has_a_bias_and_two_wrong_lines(found: dict[str, ClockEstimate]) -> None:
    (piece,) = found["log"].pieces
    assert piece.offset_s == pytest.approx(125.0, abs=20.0)
    assert sorted(line.text for line in found["log"].outliers) == ["clamp off", "protamine"]


def test_captions_are_placed_by_what_is_said(found: dict[str, ClockEstimate]) -> None:
    (piece,) = found["captions"].pieces
    assert piece.offset_s == pytest.approx(-1212.0, abs=2.0)


def test_what_is_accepted_stands_in_the_log_and_can_be_undone(
    unset: Case, found: dict[str, ClockEstimate]
) -> None:
    edit = accept(unset, "mara", found["pump"])
    pump = next(source for source in unset.sources if source.name == "pump")
    assert (edit.verb, pump.clock.method) == ("clock", "by evidence")
    assert unset["femoral_mean"].span.start == pytest.approx(0.0, abs=0.5)
    unset.log.undo("mara")
    unset.refresh()
    assert next(source for source in unset.sources if source.name == "pump").clock.method == "unset"


def test_a_source_that_shares_nothing_cannot_be_told(tmp_path: Path) -> None:
    rows = "\n".join(f"09:{s // 60:02d}:{s % 60:02d},{4 + (s * 7919 % 13) / 10:.1f}" for s in range(1200))
    (tmp_path / "a.csv").write_text(
        "time,FEM mean [mmHg]\n" + rows.replace(",4", ",74").replace(",5", ",75") + "\n"
    )
    other = "\n".join(f"08:{s // 60:02d}:{s % 60:02d},{60 + (s * 104729 % 11) / 10:.1f}" for s in range(1200))
    (tmp_path / "b.csv").write_text("time,NIRS L [%]\n" + other + "\n")
    with bring_in([tmp_path / "a.csv", tmp_path / "b.csv"], tmp_path / "case") as case:
        (one,) = estimate(case)
        assert not one.told
        assert one.cannot_tell
        with pytest.raises(EditRefused, match="cannot be told"):
            accept(case, "mara", one)
