"""Clocks from simulated pairs of recordings, whose true clocks the simulation knows (tests/bench/clocks.py)."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate.align.courses import Course, Rows
from afterclamp.annotate.align.seams import seams_of
from afterclamp.annotate.align.shared import match_same
from afterclamp.annotate.align.steps import fit_pieces
from bench.clocks import Truth, pair, score, solved, stamped


@pytest.mark.parametrize("seed", range(5))
def test_a_pressure_recorded_twice_gives_offset_and_steps(seed: int) -> None:
    given = pair("shared", seed)
    out = score("shared", given)
    assert out.told
    assert abs(out.error_s) <= 1.0
    assert out.steps == (1 if given.truth.step_s else 0)
    if given.truth.step_s:
        assert abs(out.step_error_s) <= 1.0
        assert not abs(out.step_at_error_s) > 10.0


@pytest.mark.parametrize("seed", [1, 3, 5, 6, 8])
def test_a_flow_and_its_pressure_give_the_offset(seed: int) -> None:
    out = score("coupled", pair("coupled", seed))
    assert out.told
    assert abs(out.error_s) <= 3 * out.sd_s
    assert abs(out.error_s) <= 10.0


@pytest.mark.parametrize("family", ["shared", "coupled", "saturation"])
@pytest.mark.parametrize("seed", range(3))
def test_unrelated_recordings_cannot_be_told(family: str, seed: int) -> None:
    assert solved(family, pair(family, seed, unrelated=True)) is None


def _lags(truth: Truth, every_s: float = 300.0) -> tuple[Rows, np.ndarray, np.ndarray, np.ndarray]:
    """Rows of an hour by a clock, and the exact lag of a row every few minutes."""
    stamp, t, run = stamped(truth, 3600.0, 1.0)
    rows = Rows(stamp, np.zeros(len(stamp)), run, 1.0)
    at = np.arange(30, len(stamp), int(every_s))
    return rows, at.astype(np.intp), stamp[at], (stamp - t)[at]


@pytest.mark.parametrize("step", [45.0, -45.0])
def test_exact_lags_give_the_clock_back(step: float) -> None:
    truth = Truth(offset_s=-812.0, drift_ppm=-35.0, step_s=step, step_at_s=1700.0)
    rows, first, stamp, lag = _lags(truth)
    pieces = fit_pieces(rows, first, stamp, lag, np.full(len(lag), 0.01), common_sd_s=0.0)
    assert pieces is not None
    assert pieces.pieces[0].offset_s == pytest.approx(truth.offset_s, abs=0.01)
    assert pieces.drift_ppm == pytest.approx(truth.drift_ppm, abs=3)
    assert [piece.step_s for piece in pieces.pieces[1:]] == [pytest.approx(step, abs=0.02)]


def test_a_gap_with_the_same_lag_on_both_sides_is_no_step() -> None:
    truth = Truth(offset_s=94.0, drift_ppm=60.0, gap=(1800.0, 1870.0))
    rows, first, stamp, lag = _lags(truth)
    assert [round(jump) for jump in seams_of(rows).jump_s] == [70]
    pieces = fit_pieces(rows, first, stamp, lag, np.full(len(lag), 0.05), common_sd_s=0.0)
    assert pieces is not None
    assert len(pieces.pieces) == 1


def test_where_stamps_run_on_evenly_no_step_is_seen() -> None:
    # A jump of the lag without a hole or a repetition in the stamps is no clock that was set.
    rows, first, stamp, lag = _lags(Truth(offset_s=10.0, drift_ppm=0.0))
    lag = lag + np.where(stamp > 1800, 8.0, 0.0)
    pieces = fit_pieces(rows, first, stamp, lag, np.full(len(lag), 0.5), common_sd_s=0.0)
    assert pieces is not None
    assert len(pieces.pieces) == 1


def test_one_wrong_lag_moves_nothing() -> None:
    rows, first, stamp, lag = _lags(Truth(offset_s=10.0, drift_ppm=20.0))
    lag[4] += 5.2
    pieces = fit_pieces(rows, first, stamp, lag, np.full(len(lag), 0.05), common_sd_s=0.0)
    assert pieces is not None
    assert pieces.pieces[0].offset_s == pytest.approx(10.0, abs=0.1)
    assert not pieces.used[4]


def test_a_run_that_no_lag_speaks_for_follows_on_with_a_wide_doubt() -> None:
    truth = Truth(offset_s=0.0, drift_ppm=0.0, step_s=-20.0, step_at_s=3500.0)
    rows, first, stamp, lag = _lags(truth)
    sd = np.where(rows.run[first] > 0, np.inf, 0.1)
    pieces = fit_pieces(rows, first, stamp, lag, sd, common_sd_s=0.0)
    assert pieces is not None
    last = pieces.pieces[-1]
    assert (last.run, last.seen) == (1, False)
    assert last.offset_s == pytest.approx(-20.0, abs=1.5)
    assert last.sd_s >= 30.0


def test_a_recorder_that_averages_longer_is_laid_at_the_end_of_its_mean() -> None:
    given = pair("shared", 2)
    length = given.course.end
    t = np.arange(10.0, length - 10.0)
    # A mean over 8 s before each of its stamps, the clock exact.
    value = np.mean([given.course.at(t - k) for k in range(8)], axis=0)
    good = np.isfinite(value)
    rows = Rows(t[good], value[good], np.zeros(int(good.sum()), np.intp), 1.0)
    same = match_same(rows, given.course)
    assert same is not None
    assert same.fit is not None
    assert same.pieces is not None
    assert same.fit.width_s == 8.0
    assert same.pieces.pieces[0].offset_s == pytest.approx(0.0, abs=0.3)


def test_too_little_to_compare_gives_nothing() -> None:
    short = Rows(np.arange(3.0), np.zeros(3), np.zeros(3, np.intp), 1.0)
    assert match_same(short, Course(0.0, 0.05, np.zeros(100))) is None
    level = Rows(np.arange(3600.0), np.full(3600, 70.0), np.zeros(3600, np.intp), 1.0)
    course = Course(0.0, 0.05, np.random.default_rng(1).normal(70, 5, 72000))
    same = match_same(level, course)
    assert same is None or same.pieces is None
