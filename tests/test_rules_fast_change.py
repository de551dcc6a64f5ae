"""Collapse and decompression surge, on the invented vignette and against what must not be one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.finds import find_in
from afterclamp.annotate.view import View
from trend_case import demo_view, letting_go, trend_view


def noisy(view: View, seed: int) -> View:
    rng = np.random.default_rng(seed)
    return replace(view, values={name: x + rng.normal(0, 0.7, view.n) for name, x in view.values.items()})


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_the_collapse_is_found_from_where_the_fall_began(seed: int | None) -> None:
    # Vignette: 7:30 pressure 96 to 36 in 15 s; back over 45 at 8:51.
    view = letting_go() if seed is None else noisy(letting_go(), seed)
    (find,) = find_in(view).of("E02")
    assert find.start_s == pytest.approx(450, abs=5)
    assert find.end_s == pytest.approx(531, abs=5)
    assert find.evidence["before"] == pytest.approx(96, abs=2)
    assert find.evidence["nadir"] == pytest.approx(36, abs=2)


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_the_surge_is_found_with_the_fall_of_the_venous_pressure(seed: int | None) -> None:
    # Vignette: 5:10 to 5:50, pressure 56 to 96, venous 23 to 9, pulse 22 to 52; a flush on top is masked.
    view = letting_go() if seed is None else noisy(letting_go(), seed)
    (find,) = find_in(view).of("E03")
    assert find.start_s == pytest.approx(310, abs=7)
    assert find.end_s == pytest.approx(350, abs=7)
    assert find.evidence["cvp_before"] - find.evidence["cvp_after"] == pytest.approx(14, abs=3)


def test_a_rise_without_a_fall_of_the_venous_pressure_is_no_decompression() -> None:
    view = letting_go()
    steady = {**view.values, "cvp": np.full(view.n, 12.0)}
    assert find_in(replace(view, values=steady)).of("E03") == ()


@pytest.mark.parametrize(("pulse", "expected"), [(22.0, 0), (31.0, 0), (35.0, 1)])
def test_a_rise_without_a_wider_pulse_is_no_decompression(pulse: float, expected: int) -> None:
    # The pulse before is 22; half as much again is 33.
    view = letting_go()
    t = np.arange(view.n)
    wide = {
        "left_radial": np.where(t < 450, np.interp(t, [310, 350], [22.0, pulse]), view.pulse["left_radial"])
    }
    assert len(find_in(replace(view, pulse=wide)).of("E03")) == expected


def test_one_line_that_falls_while_another_stands_is_no_collapse() -> None:
    view = letting_go()
    two = replace(
        view, values={**view.values, "femoral": np.full(view.n, 75.0)}, arterial=("left_radial", "femoral")
    )
    assert find_in(two).of("E02") == ()


def test_both_lines_that_fall_together_are() -> None:
    view = letting_go()
    both = replace(
        view,
        values={**view.values, "femoral": view.values["left_radial"] + 4},
        arterial=("left_radial", "femoral"),
    )
    (find,) = find_in(both).of("E02")
    assert find.evidence["sites"] == 2


def test_a_slow_fall_is_no_collapse() -> None:
    slow = trend_view(
        900,
        {"femoral": [(0, 90), (300, 90), (420, 40), (900, 40)]},
        believe="femoral",
        arterial=("femoral",),
    )
    assert find_in(slow).of("E02") == ()


@pytest.mark.parametrize("seed", [None, 7, 8])
def test_no_planned_arrest_of_the_invented_case_is_a_collapse(seed: int | None) -> None:
    view = demo_view(seed=seed)
    finds = find_in(view.with_phases(phases.propose(view)))
    assert finds.of("E02") == ()
    assert finds.of("E03") == ()


def test_an_unplanned_stop_with_a_collapse_is_still_a_collapse() -> None:
    # The pump stops for 100 s on warm bypass: too short for an arrest, and nobody ordered it.
    view = trend_view(
        4000,
        {
            "femoral": [
                (0, 75),
                (300, 75),
                (330, 60),
                (2000, 60),
                (2025, 12),
                (2100, 10),
                (2130, 60),
                (4000, 60),
            ],
            "pump_flow": [
                (0, 0),
                (300, 0),
                (360, 4.4),
                (2000, 4.4),
                (2002, 0),
                (2100, 0),
                (2103, 4.4),
                (4000, 4.4),
            ],
        },
        pulse={"femoral": [(0, 40), (300, 40), (400, 2), (4000, 2)]},
        believe="femoral",
        arterial=("femoral",),
    )
    finds = find_in(view.with_phases(phases.propose(view)))
    assert [find.code for find in finds if find.code in ("E02", "E10", "E17")] == ["E02", "E10"]
