"""A recorded mean of a line that is there as a wave: what takes the wave's level away takes its mean away.

What lies where is known, since each test lays it: a line open to air from 120 to 140 s (`small_case`). Clocks, twice
0.25 s: half a second is the doubt of two of them together (1.96 × 0.25).
"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import small_case
from afterclamp.annotate.quality import quality_class, rule_spans, seconds_state
from afterclamp.annotate.series import MASKED, OBSERVED
from afterclamp.io.case import Case
from afterclamp.io.recording import Segment
from afterclamp.io.terms import Identity
from recordings import START, case_of, even, recording

OPEN = slice(120, 140)
FEMORAL_MEAN = Identity("arterial_pressure", "femoral", "", "mean")


def case(
    folder: Path, mean: np.ndarray, identity: Identity = FEMORAL_MEAN, sd_s: float = 0.25, wave_side: str = ""
) -> Case:
    """The wave of the small case on the monitor, and a mean of one row a second on the pump."""
    wave = small_case.pressure()
    one = case_of(
        folder / "case",
        recording("monitor", [even("FEM", wave, [Segment(0.0, 0, wave.size, 100.0, scale=0.1)])]),
        recording(
            "pump",
            [even("fem mean", mean.astype(np.float32), [Segment(0.0, 0, mean.size, 1.0)])],
            first_stamp=START + timedelta(seconds=40),
        ),
        identities={"fem": Identity("arterial_pressure", "femoral", wave_side, "wave"), "fem_mean": identity},
    )
    one.edit("tester", "reference", {"source": "monitor"})
    clock = {"source": "pump", "pieces": [{"offset_s": 40.0, "sd_s": sd_s}], "method": "by hand"}
    one.edit("tester", "clock", clock)
    return one


def means() -> np.ndarray:
    """Mean of each second of the wave, as a second device of the same transducer records it."""
    return small_case.pressure().reshape(-1, 100).mean(axis=1) / 10


def masked(one: Case) -> np.ndarray:
    return np.flatnonzero(seconds_state(one["pump/fem_mean"], one.grid) == MASKED)


def test_a_mean_is_masked_where_its_wave_was_open_to_air(tmp_path: Path) -> None:
    with case(tmp_path, means()) as one:
        assert one["femoral_mean"].id == "pump/fem_mean"
        # 120 to 140 s, and the second that the doubt of the clocks touches on either side.
        assert masked(one).tolist() == list(range(119, 141))
        assert (quality_class(one["femoral_mean"], one.grid)[OPEN] == 3).all()
        [span] = [span for span in rule_spans(one["femoral_mean"]) if span.code == "A1"]
        assert "wave of monitor" in span.reason
        # The wave itself is no other for it.
        assert "wave of" not in rule_spans(one["femoral"])[0].reason


def test_a_clock_that_leaves_more_than_three_seconds_in_doubt_carries_nothing(tmp_path: Path) -> None:
    # 1.96 times 2 s is more than the 3 s within which lines are held against each other.
    with case(tmp_path, means(), sd_s=2.0) as one:
        assert masked(one).size == 0


@pytest.mark.parametrize(
    "identity",
    [
        Identity("arterial_pressure", "radial", "left", "mean"),
        Identity("arterial_pressure", "femoral", "left", "mean"),
        Identity("arterial_pressure", "", "", "mean"),
        Identity("arterial_pressure", "femoral", "", "systolic"),
        Identity("arterial_pressure", "femoral", "", "value"),
        Identity("central_venous_pressure", "", "", "mean"),
    ],
    ids=lambda one: f"{one.kind} {one.site} {one.side} {one.statistic}",
)
def test_what_is_called_after_another_line_is_not_its_mean(tmp_path: Path, identity: Identity) -> None:
    with case(tmp_path, means(), identity) as one:
        assert masked(one).size == 0


def test_a_mean_that_keeps_away_from_the_wave_is_another_transducer_s(tmp_path: Path) -> None:
    with case(tmp_path / "always", means() + 12) as one:
        assert masked(one).size == 0
    kept = means()
    kept[OPEN] = 80  # the pressure went on while the wave was open to air
    with case(tmp_path / "then", kept) as one:
        assert masked(one).size == 0
    with case(tmp_path / "near", means() + 3) as one:
        assert masked(one).size == 22


def test_a_mean_that_was_hardly_recorded_tells_nothing(tmp_path: Path) -> None:
    few = np.full(small_case.LENGTH_S, np.nan)
    few[100:155] = means()[100:155]  # 35 s beside the opening
    with case(tmp_path, few) as one:
        assert masked(one).size == 0


def test_what_a_person_believes_of_the_wave_is_believed_of_its_mean(tmp_path: Path) -> None:
    with case(tmp_path, means()) as one:
        one.edit("mara", "unhide", {"channel": "monitor/fem", "start_s": 100.0, "end_s": 130.0})
        assert masked(one).tolist() == list(range(129, 141))


def test_a_person_hides_one_recording_and_not_the_other(tmp_path: Path) -> None:
    with case(tmp_path, means()) as one:
        one.edit(
            "mara", "hide", {"channel": "monitor/fem", "start_s": 400.0, "end_s": 430.0, "reason": "table"}
        )
        assert seconds_state(one["femoral"], one.grid)[410] == MASKED
        assert seconds_state(one["femoral_mean"], one.grid)[410] == OBSERVED


def test_in_a_view_of_the_past_it_is_told_from_what_was_recorded_until_then(tmp_path: Path) -> None:
    # By 160 s the line is closed again, and 140 s beside the opening tell that the two go together.
    with case(tmp_path, means()) as one:
        past = one.until(160.0)
        state = seconds_state(past["femoral_mean"], past.grid)
        assert np.flatnonzero(state == MASKED).tolist() == list(range(119, 141))
