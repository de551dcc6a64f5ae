"""A clock set by hand: what was dragged stands where it was dragged to, and the rest follows."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate.align.hand import carried
from afterclamp.io.clock import ClockMap, ClockPiece
from afterclamp.io.errors import EditRefused
from hypothesis import given
from hypothesis import strategies as st

STEPPED = ClockMap(
    94.0,
    (ClockPiece(94.0, 60.0), ClockPiece(64.0, 60.0, run=1), ClockPiece(65.0, 60.0, run=1, from_s=20_000.0)),
)
seconds = st.floats(-40_000, 40_000)


@given(now=seconds, by=st.floats(-5_000, 5_000))
def test_one_place_moves_everything_by_the_same_length(now: float, by: float) -> None:
    moved = carried(STEPPED, [(now, now + by)], within_s=2.0)
    for run in (0, 1):
        source = np.array([0.0, 500.0, 19_999.0, 20_001.0])
        before, after = STEPPED.to_reference(source, run), moved.to_reference(source, run)
        assert np.allclose(after - before, by, atol=1e-6)


@given(first=seconds, apart=st.floats(120, 40_000), by=st.floats(-500, 500), more=st.floats(-1, 1))
def test_two_places_both_fit_and_what_is_between_them_keeps_its_share(
    first: float, apart: float, by: float, more: float
) -> None:
    second = first + apart
    pairs = [(first, first + by), (second, second + by + more)]
    moved = carried(STEPPED, pairs, within_s=2.0)
    for now, wanted in [*pairs, (first + apart / 2, first + apart / 2 + by + more / 2)]:
        source = STEPPED.to_source(now, 0)
        assert float(moved.to_reference(source, 0)) == pytest.approx(wanted, abs=1e-5)


def test_the_doubt_is_what_the_person_said_as_a_95_percent_interval() -> None:
    moved = carried(ClockMap(0.0), [(0.0, 1.0)], within_s=2.0)
    # 1.96 standard deviations either side hold 95 % of a normal distribution (tables of the normal distribution).
    assert float(moved.sd(0.0)) == pytest.approx(2.0 / 1.96)
    assert moved.method == "by hand"


def test_steps_keep_their_size_and_their_place_on_the_sources_own_stamps() -> None:
    moved = carried(STEPPED, [(0.0, -3.5)], within_s=1.0)
    assert [piece.from_s for piece in moved.pieces] == [piece.from_s for piece in STEPPED.pieces]
    sizes = [size for _, size in moved.steps]
    assert sizes == pytest.approx([size for _, size in STEPPED.steps], abs=1e-9)


@pytest.mark.parametrize(
    ("pairs", "within", "said"),
    [
        ([(0.0, 1.0), (30.0, 31.0)], 2.0, "do not tell how fast"),
        ([(0.0, 0.0), (1000.0, 1100.0)], 2.0, "parts per million"),
        ([(0.0, 1.0)], 0.0, "doubt above zero"),
    ],
)
def test_what_no_clock_can_be_is_refused(pairs: list[tuple[float, float]], within: float, said: str) -> None:
    with pytest.raises(EditRefused, match=said):
        carried(ClockMap(0.0), pairs, within)
