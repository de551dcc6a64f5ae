"""What people write into the log changes phases and finds: phase times and thresholds."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate import finds, phases
from afterclamp.io.case import Case
from afterclamp.io.recording import Segment
from recordings import case_of, even, recording


@pytest.fixture
def case(tmp_path: Path) -> Iterator[Case]:
    """A pump alone: on at 300 s, a stop of 12 s at 1500 s, off at 3000 s without any weaning."""
    flow = np.full(4000, 4.4, "f4")
    flow[:300] = flow[1500:1512] = flow[3000:] = 0.0
    channel = even("pump flow", flow, [Segment(0.0, 0, len(flow), 1.0)], unit="L/min")
    with case_of(tmp_path / "case", recording("pump", [channel])) as opened:
        yield opened


def found(case: Case) -> list[tuple[str, float]]:
    """Stops of the pump; that it goes off bypass for good is told as well, and not asked here."""
    return [(find.code, find.start_s) for find in finds.find(case) if find.code != "E26"]


def test_a_threshold_edit_is_in_force_until_it_is_undone(case: Case) -> None:
    assert found(case) == [("E10", 1500.0)]
    case.edit("mara", "limit", {"rule": "E10", "parameter": "minimum", "value": 20})
    assert found(case) == []
    assert len(finds.find(case, limits={"E10.minimum": 5}).of("E10")) == 1
    case.log.undo("mara")
    assert found(case) == [("E10", 1500.0)]


def test_a_limit_edit_of_the_figures_is_left_to_them(case: Case) -> None:
    case.edit("mara", "limit", {"set": "practice"})
    assert finds.edited_limits(case) == {}


def test_a_person_s_arrest_makes_a_stop_planned(case: Case) -> None:
    case.edit("mara", "phase", {"name": "no_flow_arrest", "index": 0, "start_s": 1500.0, "end_s": 1512.0})
    assert found(case) == []


def test_a_person_s_phase_stands_until_it_is_undone(case: Case) -> None:
    case.edit("mara", "phase", {"name": "bypass", "index": 0, "start_s": 310.0, "end_s": 2990.0})
    bypass = next(phase for phase in phases.phases(case) if phase.name == "bypass")
    assert (bypass.start_s, bypass.end_s, bypass.confirmed_by) == (310.0, 2990.0, "mara")
    case.log.undo("mara")
    assert next(phase for phase in phases.phases(case) if phase.name == "bypass").confirmed_by == ""


def test_a_view_up_to_a_time_knows_no_person_s_phase_from_after_it(case: Case) -> None:
    case.edit("mara", "phase", {"name": "clamp", "index": 0, "start_s": 1000.0, "end_s": 2500.0})
    case.edit("mara", "phase", {"name": "clamp", "index": 1, "start_s": 2600.0, "end_s": 2700.0})
    clamps = [phase for phase in phases.phases(case.until(2000.0)) if phase.name == "clamp"]
    assert [(phase.start_s, phase.end_s) for phase in clamps] == [(1000.0, 2000.0)]
