"""Outlet temperature against truth.csv of the invented case and the guideline's edge."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.finds import find_in
from afterclamp.annotate.rules import by_code
from afterclamp.annotate.view import View
from afterclamp.sample_traces import tables
from trend_case import demo_view, trend_view


@pytest.mark.parametrize("seed", [None, 41, 42])
def test_the_planted_warm_outlet_is_found_once(seed: int | None) -> None:
    view = demo_view(seed=seed)
    (find,) = find_in(view.with_phases(phases.propose(view))).of("E16")
    row = next(row for row in tables.truth() if row.code == "E16")
    assert abs(find.start_s - row.start_s) <= row.onset_tolerance_s
    assert find.duration_s == pytest.approx(245, abs=15)  # 4:05
    assert find.evidence["peak"] == pytest.approx(37.6, abs=0.05)


def outlet(level: float, seconds: int = 60) -> View:
    view = trend_view(400, {"outlet_temperature": [(0, 36.0), (400, 36.0)]})
    values = view.values["outlet_temperature"].copy()
    values[100 : 100 + seconds] = level
    return trend_view(400, {"outlet_temperature": list(enumerate(values))})


def codes(view: View) -> list[str]:
    return [find.code for find in find_in(view, rules=[by_code("E16")])]


def test_37_0_does_not_meet_the_guideline_and_36_9_does() -> None:
    # "Below 37 °C": Engelman et al., Ann Thorac Surg 2015;100:748-57.
    assert codes(outlet(37.0)) == ["E16"]
    assert codes(outlet(float(np.float32(37.0)))) == ["E16"]
    assert codes(outlet(36.9)) == []


def test_levels_before_during_and_after_are_told() -> None:
    (find,) = find_in(outlet(37.4), rules=[by_code("E16")])
    assert [find.evidence[when] for when in ("before", "during", "after")] == pytest.approx(
        [36.0, 37.4, 36.0]
    )


@pytest.mark.parametrize(("seconds", "expected"), [(29, []), (30, ["E16"])])
def test_thirty_seconds_are_needed(seconds: int, expected: list[str]) -> None:
    assert codes(outlet(37.4, seconds)) == expected


def test_without_an_outlet_temperature_it_is_not_looked_for() -> None:
    finds = find_in(trend_view(100, {"femoral": [(0, 70), (100, 70)]}))
    assert "E16 not looked for: no outlet temperature" in finds.not_looked_for
