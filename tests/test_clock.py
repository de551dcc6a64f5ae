"""Clock maps: the convention, runs of repeated stamps, and the way back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from afterclamp.io.clock import ClockMap, ClockPiece
from afterclamp.io.errors import EditRefused
from hypothesis import given
from hypothesis import strategies as st

offsets = st.floats(-5000, 5000)
drifts = st.floats(-200, 200)


def test_positive_offset_means_the_source_is_ahead() -> None:
    # A pump clock 94 s ahead stamps reference second 100 as 194.
    clock = ClockMap(0.0, (ClockPiece(94.0),))
    assert clock.to_reference(194.0) == pytest.approx(100.0)


def test_positive_drift_means_the_source_runs_fast() -> None:
    # 60 parts per million over 350 min are 1.26 s (arithmetic).
    clock = ClockMap(0.0, (ClockPiece(0.0, drift_ppm=60.0),))
    assert clock.to_source(21000.0) == pytest.approx(21001.26)


def test_source_seconds_count_from_the_first_stamp() -> None:
    # The source's first stamp is 34 s after what the reference clock said at reference 0.
    clock = ClockMap(34.0, (ClockPiece(94.0),))
    assert clock.to_reference(0.0) == pytest.approx(-60.0)


def test_a_clock_set_back_repeats_stamps_and_each_run_has_its_own_piece() -> None:
    clock = ClockMap(0.0, (ClockPiece(94.0), ClockPiece(64.0, run=1)))
    assert clock.to_reference([100.0, 100.0], run=0) == pytest.approx(6.0)
    assert clock.to_reference(100.0, run=1) == pytest.approx(36.0)
    assert clock.steps[0][1] == pytest.approx(-30.0)


def test_a_run_without_a_piece_goes_by_the_run_before() -> None:
    clock = ClockMap(0.0, (ClockPiece(94.0), ClockPiece(64.0, run=1)))
    assert clock.to_reference(100.0, run=2) == pytest.approx(36.0)


def test_a_forward_step_within_a_run_starts_a_piece() -> None:
    clock = ClockMap(0.0, (ClockPiece(0.0), ClockPiece(10.0, from_s=100.0)))
    assert clock.to_reference([99.0, 110.0]) == pytest.approx([99.0, 100.0])


@given(offsets, drifts, st.lists(st.floats(0, 30000), min_size=1, max_size=20))
def test_the_way_back_undoes_the_way_there(offset: float, drift: float, seconds: list[float]) -> None:
    clock = ClockMap(12.5, (ClockPiece(offset, drift),))
    assert np.allclose(clock.to_source(clock.to_reference(seconds)), seconds, atol=1e-6)


@given(offsets, drifts)
def test_a_piece_survives_the_log(offset: float, drift: float) -> None:
    piece = ClockPiece(offset, drift, 0.5, run=1)
    assert ClockPiece.from_payload(piece.to_payload()) == piece


@pytest.mark.parametrize(
    "payload",
    [
        {},
        {"offset_s": "soon"},
        {"offset_s": float("nan")},
        {"offset_s": 1.0, "colour": 2},
        {"offset_s": 0, "drift_ppm": -1e6},
        {"offset_s": 0, "drift_ppm": 1e300},
        {"offset_s": 1e300},
    ],
)
def test_a_piece_without_meaning_is_refused(payload: dict[str, object]) -> None:
    with pytest.raises(EditRefused, match="clock piece"):
        ClockPiece.from_payload(payload)


def test_two_pieces_cannot_start_at_the_same_place() -> None:
    with pytest.raises(EditRefused, match="same place"):
        ClockMap(0.0, (ClockPiece(1.0), ClockPiece(2.0)))


def test_a_clock_that_nobody_set_is_unknown_and_not_exact() -> None:
    unset = ClockMap(34.0)
    assert unset.sd([0.0, 50.0]).tolist() == [math.inf, math.inf]
    assert all(piece.sd_s == math.inf for piece in unset.pieces)


def test_the_reference_is_exact_and_a_clock_set_by_hand_as_sure_as_was_said() -> None:
    assert ClockMap(0.0, method="reference").sd(100.0) == 0.0
    assert ClockMap(0.0, (ClockPiece(94.0, sd_s=2.0),), "by hand").sd(100.0) == 2.0
