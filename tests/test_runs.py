"""Runs of seconds: closing, shortest lengths, unknown seconds, and where a change began."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate import runs
from hypothesis import given
from hypothesis import strategies as st

masks = st.lists(st.booleans(), min_size=1, max_size=80).map(np.array)


def mask(text: str) -> np.ndarray:
    return np.array([letter == "x" for letter in text])


def test_spans_are_the_stretches_of_true() -> None:
    assert runs.spans(mask("..xx.x")) == [(2, 4), (5, 6)]
    assert runs.spans(mask("")) == []


@given(masks)
def test_spans_say_the_same_as_the_mask(m: np.ndarray) -> None:
    again = np.zeros_like(m)
    for start, stop in runs.spans(m):
        again[start:stop] = True
    assert (again == m).all()


def test_a_gap_of_five_seconds_is_closed_and_one_of_six_is_not() -> None:
    assert runs.close_gaps(mask("xx.....xx......x"), 5).tolist() == mask("xxxxxxxxx......x").tolist()


def test_a_gap_at_the_edge_is_no_gap() -> None:
    assert runs.close_gaps(mask("..x.."), 5).tolist() == mask("..x..").tolist()


@given(masks, st.integers(1, 6))
def test_what_is_dropped_was_short_and_what_stays_is_long(m: np.ndarray, shortest: int) -> None:
    kept = runs.drop_short(m, shortest)
    assert all(stop - start >= shortest for start, stop in runs.spans(kept))
    assert not (kept & ~m).any()
    assert all(stop - start < shortest for start, stop in runs.spans(m & ~kept))


def test_unknown_seconds_bridge_a_run_but_are_no_evidence() -> None:
    # 40 s hold, 20 s masked, 15 s hold: 55 known seconds do not make 60, although 75 have passed.
    holds = np.array([True] * 40 + [False] * 20 + [True] * 15 + [False] * 30)
    known = np.array([True] * 40 + [False] * 20 + [True] * 45)
    assert runs.evidence_runs(holds, known, minimum=60) == []
    assert runs.evidence_runs(holds, known, minimum=55) == [runs.Run(0, 75, 55, 20)]


def test_masked_seconds_alone_never_make_a_run() -> None:
    assert runs.evidence_runs(np.ones(100, bool), np.zeros(100, bool), minimum=1) == []


def test_a_long_unknown_stretch_ends_a_run() -> None:
    holds = np.array([True] * 60 + [False] * 31 + [True] * 60)
    known = np.array([True] * 60 + [False] * 31 + [True] * 60)
    assert [(r.start, r.stop) for r in runs.evidence_runs(holds, known, minimum=60, bridge=30)] == [
        (0, 60),
        (91, 151),
    ]


@given(masks, masks, st.integers(1, 10))
def test_every_run_has_its_minimum_of_known_seconds(
    holds: np.ndarray, known: np.ndarray, minimum: int
) -> None:
    n = min(len(holds), len(known))
    for run in runs.evidence_runs(holds[:n], known[:n], minimum=minimum):
        assert run.used == known[run.start : run.stop].sum() >= minimum
        assert run.used + run.unknown == run.stop - run.start


def test_a_switch_between_its_two_levels_keeps_its_state() -> None:
    flow = [0.0, 0.15, 0.25, 0.15, 0.11, 0.1, 0.15, np.nan, 0.3, np.nan]
    assert runs.hysteresis(flow, on=0.2, off=0.1).tolist() == [
        False, False, True, True, True, False, False, False, True, True,
    ]  # fmt: skip


def test_the_onset_is_the_last_second_within_a_tenth_of_the_change() -> None:
    # 100 for 50 s, then down by 1 a second to 60: a tenth of the change of 40 is reached at 96.
    level = np.concatenate((np.full(50, 100.0), np.arange(100.0, 60.0, -1.0), np.full(20, 60.0)))
    assert level[runs.back_date(level, 75, base=100.0, after=60.0)] == 96.0
    assert level[runs.settled(level, 75, base=100.0, after=60.0)] == 64.0


def test_an_onset_passes_over_missing_seconds() -> None:
    level = np.array([10.0, 10.0, np.nan, np.nan, 20.0, 20.0])
    assert runs.back_date(level, 4, base=10.0, after=20.0) == 1


def test_smoothing_fills_no_missing_second() -> None:
    x = np.array([1.0, np.nan, 3.0, 100.0, 3.0, 3.0])
    assert np.isnan(runs.smooth(x, 3)[1])
    assert np.isnan(runs.running_mean(x, 3)[1])
    assert runs.smooth(x, 3)[3] == 3.0


def test_a_mean_over_two_breaths_takes_the_swing_out_and_leaves_the_crossing() -> None:
    t = np.arange(600.0)
    level = np.where(t < 300, 70.0, 60.0) + 1.5 * np.sin(2 * np.pi * t / 5)
    calm = runs.running_mean(level, 9)
    assert np.abs(calm[50:290] - 70).max() < 0.3
    assert abs(int(np.flatnonzero(calm < 65)[0]) - 300) <= 1


@given(st.floats(-50, 50), st.floats(-2, 2))
def test_a_line_is_its_own_fit(at_zero: float, slope: float) -> None:
    x = at_zero + slope * np.arange(200.0)
    value, fitted = runs.line_fit(x, 30)
    assert value[30:170] == pytest.approx(x[30:170], abs=1e-6)
    assert fitted[30:170] == pytest.approx(np.full(140, slope), abs=1e-6)


def test_noise_is_told_from_steps_and_trends() -> None:
    rng = np.random.default_rng(1)
    noisy = np.linspace(0, 30, 3000) + rng.normal(0, 0.5, 3000)
    noisy[1500:] += 40
    assert runs.noise_sd(noisy) == pytest.approx(0.5, rel=0.1)
    # Readings in steps of 0.1 that mostly repeat: the rounding's own spread, quantum / sqrt 12.
    assert runs.noise_sd(np.round(np.linspace(0, 3, 3000), 1)) == pytest.approx(0.1 / np.sqrt(12), rel=0.01)


def test_the_median_before_is_that_of_each_window_s_finite_values() -> None:
    from afterclamp.annotate.runs import median_before

    rng = np.random.default_rng(1)
    values = rng.normal(60, 10, 777)
    values[100:400] = np.nan
    values[rng.random(777) < 0.1] = np.nan
    for seconds, skip, step in ((120, 10, 5), (300, 0, 10)):
        found = median_before(values, seconds, step=step, skip=skip)
        for second in (0, 1, 60, 121, 250, 405, 776):
            first = second // step * step
            window = values[max(0, first - seconds) : max(0, first - skip)]
            window = window[np.isfinite(window)]
            assert found[second] == (
                pytest.approx(np.median(window)) if window.size else pytest.approx(np.nan, nan_ok=True)
            )
