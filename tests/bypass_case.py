"""Test support: half an hour of bypass as a one-second view, in which nothing happens but what a test adds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from afterclamp.annotate.finds import Find, Finds, find_in
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.rules import by_code
from afterclamp.annotate.view import Facts, View

Points = Sequence[tuple[float, float]]

LENGTH_S = 1800
# 168 cm, 74 kg: 1.84 m² by Du Bois (J3.4 no. 32); 2.4 L/min/m² planned.
FACTS = Facts(
    weight_kg=74.0,
    planned_flow=4.4,
    body_surface_m2=1.84,
    arterial_saturation=1.0,
    arterial_oxygen_mmhg=220.0,
    cerebral_baseline_s=(0.0, 300.0),
)
STEADY: Mapping[str, float] = {
    "femoral": 62.0, "left_radial": 61.0, "cvp": 5.0, "pa": 12.0, "pump_flow": 4.4, "line_pressure": 205.0,
    "reservoir_volume": 1200.0, "outlet_temperature": 36.0, "venous_temperature": 36.0,
    "nasopharyngeal_temperature": 36.0, "left_cerebral_saturation": 61.0, "right_cerebral_saturation": 61.0,
    "haemoglobin": 9.5,
}  # fmt: skip
PUMP = (
    "pump_flow",
    "line_pressure",
    "reservoir_volume",
    "outlet_temperature",
    "venous_temperature",
    "haemoglobin",
)


def phase(name: str, start_s: float, end_s: float, **more: Any) -> Phase:
    return Phase(name, Boundary(start_s, "made"), Boundary(end_s, "made"), **more)


def line(points: float | Points | np.ndarray, length: int = LENGTH_S) -> np.ndarray:
    """A level, keyframes with straight lines between them, or an array as it is."""
    if isinstance(points, np.ndarray):
        return points.astype(np.float64)
    if isinstance(points, (int, float)):
        return np.full(length, float(points))
    times, levels = zip(*points, strict=True)
    return np.interp(np.arange(length, dtype=np.float64), times, levels)


def box(
    start: float, end: float, inside: float, outside: float, ramp: float = 1.0
) -> list[tuple[float, float]]:
    """`outside`, and from `start` to `end` `inside`; from one to the other within `ramp` seconds."""
    return [(0, outside), (start, outside), (start + ramp, inside), (end, inside), (end + ramp, outside)]


def bypass(
    length: int = LENGTH_S,
    *,
    without: Sequence[str] = (),
    pulse: float | Points | np.ndarray | None = 8.0,
    phases: Sequence[Phase] = (),
    facts: Facts = FACTS,
    masked: Mapping[str, np.ndarray] | None = None,
    clock_sd: float = 0.0,
    **lines: Any,
) -> View:
    """The view: `lines` instead of the steady ones, `without` some of them, masked seconds taken away."""
    values = {name: line(level, length) for name, level in {**STEADY, **lines}.items() if name not in without}
    waves = (
        {}
        if pulse is None
        else {name: line(pulse, length) for name in ("femoral", "left_radial") if name in values}
    )
    hidden = dict(masked or {})
    for name, mask in hidden.items():
        values[name] = np.where(mask, np.nan, values[name])
        if name in waves:
            waves[name] = np.where(mask, np.nan, waves[name])
    arterial = tuple(name for name in ("femoral", "left_radial", "right_radial") if name in values)
    return View(
        start=0.0,
        values=values,
        pulse=waves,
        masked=hidden,
        arterial=arterial,
        believed=arterial[0] if arterial else "",
        source={name: "pump" if name in PUMP else "monitor" for name in values},
        clock_sd={"monitor": 0.0, "pump": clock_sd},
        facts=facts,
        phases=(phase("bypass", 0.0, float(length)), *phases),
    )


def looked(code: str, view: View, **limits: float) -> Finds:
    """What one rule says of a view."""
    return find_in(view, {f"{code}.{name}": value for name, value in limits.items()}, [by_code(code)])


def found(code: str, view: View, **limits: float) -> tuple[Find, ...]:
    return looked(code, view, **limits).finds


def shifted(view: View, by: int) -> View:
    """The same view with `by` more seconds, in which nothing was recorded, before it."""

    def later(values: np.ndarray, fill: float | bool) -> np.ndarray:
        return np.concatenate((np.full(by, fill, dtype=values.dtype), values))

    moved = tuple(
        replace(
            one,
            start=replace(one.start, time_s=one.start.time_s + by),
            end=replace(one.end, time_s=one.end.time_s + by),
        )
        for one in view.phases
    )
    base = view.facts.cerebral_baseline_s
    facts = replace(view.facts, cerebral_baseline_s=(base[0] + by, base[1] + by) if base else None)
    return replace(
        view,
        values={name: later(values, np.nan) for name, values in view.values.items()},
        pulse={name: later(values, np.nan) for name, values in view.pulse.items()},
        quiver={name: later(values, np.nan) for name, values in view.quiver.items()},
        masked={name: later(values, False) for name, values in view.masked.items()},
        phases=moved,
        facts=facts,
    )


def hides_all(view: View, *names: str) -> View:
    """The same with every second of these lines masked."""
    nothing = np.full(view.n, np.nan)
    every = np.ones(view.n, dtype=np.bool_)
    return replace(
        view,
        values={name: nothing if name in names else values for name, values in view.values.items()},
        pulse={name: nothing if name in names else values for name, values in view.pulse.items()},
        masked={**view.masked, **dict.fromkeys(names, every)},
    )
