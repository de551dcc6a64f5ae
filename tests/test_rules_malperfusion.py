"""Malperfusion: several signs at once soon after inflow; one alone, or late, is none."""

from __future__ import annotations

from dataclasses import replace

import pytest
from afterclamp.annotate.finds import find_in
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.rules import by_code
from afterclamp.annotate.view import View
from trend_case import trend_view

ON_S = 600


def bypass(view: View, end: float = 3000) -> View:
    start, stop = (Boundary(at, "made", 0.0, "pump_flow", 0.0) for at in (float(ON_S), end))
    return view.with_phases([Phase("bypass", start, stop)])


def which_arm(*, left: float = 22, line: float = 345, saturation: float = 46, at: float = 640) -> View:
    """The left arm loses its pressure at `at`, the line pressure rises, the left saturation falls: 100 s of it."""
    end = at + 100

    def dip(usual: float, to: float) -> list[tuple[float, float]]:
        return [(0, usual), (at, usual), (at + 10, to), (end, to), (end + 20, usual), (3000, usual)]

    view = trend_view(
        3000,
        {
            "left_radial": dip(65, left), "femoral": [(0, 66), (3000, 66)],
            "line_pressure": dip(200, line), "pump_flow": [(0, 0), (ON_S, 0), (ON_S + 20, 4), (3000, 4)],
            "left_cerebral_saturation": dip(63, saturation), "right_cerebral_saturation": [(0, 62), (3000, 62)],
        },
        believe="femoral",
        arterial=("femoral", "left_radial"),
    )  # fmt: skip
    return bypass(view)


def found(view: View) -> list:
    return list(find_in(view, rules=[by_code("E21")]))


def test_two_sites_one_line_pressure_and_a_saturation_make_the_pattern() -> None:
    (find,) = found(which_arm())
    assert find.start_s == pytest.approx(650, abs=35)
    assert len(find.evidence["signs"]) == 3
    assert find.channels[0] == "left_radial"


@pytest.mark.parametrize(
    "changed", [{"line": 200, "saturation": 63}, {"left": 65, "saturation": 63}, {"left": 65, "line": 200}],
    ids=["one flat arm", "line pressure alone", "saturation alone"],
)  # fmt: skip
def test_one_sign_alone_is_none(changed: dict) -> None:
    assert not found(which_arm(**changed))


def test_a_resistance_of_the_inflow_counts_as_a_high_line_pressure_does() -> None:
    # E07's other half: 290 mmHg are under its limit; (290 - 66)/4² = 14, (200 - 66)/4² = 8.4: 1.7 times the usual.
    late = ON_S + 300
    (find,) = found(which_arm(line=290, saturation=63, at=late))
    assert "resistance of the inflow" in " ".join(find.evidence["signs"])
    # (250 - 66)/4² = 11.5: 1.4 times.
    assert not found(which_arm(line=250, saturation=63, at=late))


def test_long_after_the_inflow_it_is_not_asked() -> None:
    assert not found(which_arm(at=ON_S + 900))


def test_off_bypass_it_is_not_asked() -> None:
    assert not found(replace(which_arm(), phases=()))


def test_what_is_missing_is_said() -> None:
    finds = find_in(
        trend_view(600, {"femoral": [(0, 70), (600, 70)]}, believe="femoral", arterial=("femoral",))
    )
    assert any(line.startswith("E21 not looked for: ") for line in finds.not_looked_for)
