"""Test support: a planned operation as a one-second view with lines of text, without waves or files."""

from __future__ import annotations

import numpy as np
from afterclamp.annotate.said import Said
from afterclamp.annotate.view import Facts, View
from afterclamp.sample_traces.whole_course import courses
from afterclamp.sample_traces.whole_plan import Plan, plan

PUMP = ("pump_flow", "outlet_temperature", "venous_temperature", "reservoir_volume", "line_pressure")
PUMP_SD_S = 0.5
TARGET_C = 35.0  # at which a planned patient is called warm
LOG_CLOCK_SD_S, MINUTE_SD_S = 10.0, 30 / np.sqrt(3)


def planned(seed: int, *, quiet: bool = False) -> tuple[Plan, View, tuple[Said, ...]]:
    """Plan, view and what was said: the monitor to the second, a log in whole minutes."""
    drawn = plan(seed, quiet=quiet)
    return drawn, plan_view(drawn), said_of(drawn)


def plan_view(drawn: Plan) -> View:
    """The courses of a plan with noise and the steps that recorders have."""
    seen = courses(drawn)
    rng = np.random.default_rng([drawn.seed, 73])
    n = seen.flow.size

    def stepped(values: np.ndarray, step: float, every: int = 1) -> np.ndarray:
        return np.round(values[(np.arange(n) // every) * every] / step) * step

    def pressure(values: np.ndarray) -> np.ndarray:
        return values + rng.normal(0, 0.7, n)

    values = {
        "femoral": pressure(seen.femoral),
        "left_radial": pressure(seen.left_radial),
        "right_radial": pressure(seen.right_radial),
        "cvp": pressure(seen.cvp),
        "pump_flow": stepped(seen.flow + rng.normal(0, 0.02, n), 0.01),
        "outlet_temperature": stepped(seen.outlet + rng.normal(0, 0.02, n), 0.1),
        "venous_temperature": stepped(seen.venous + rng.normal(0, 0.02, n), 0.1),
        "nasopharyngeal_temperature": stepped(seen.nasopharyngeal, 0.1, 10),
        "reservoir_volume": stepped(seen.reservoir + rng.normal(0, 15, n), 10),
        "line_pressure": seen.line_pressure,
    }
    pulses = {"femoral": seen.pulse, "left_radial": seen.radial_pulse, "right_radial": seen.radial_pulse}
    return View(
        start=0.0,
        values=values,
        pulse={name: np.abs(one + rng.normal(0, 0.3, n)) for name, one in pulses.items()},
        arterial=tuple(pulses),
        believed="femoral",
        source={name: "pump" if name in PUMP else "monitor" for name in values},
        clock_sd={"monitor": 0.0, "pump": PUMP_SD_S},
        interval={"nasopharyngeal_temperature": 10.0},
        facts=Facts(drawn.weight_kg, drawn.flow_index * drawn.body_surface, TARGET_C, "axillary", "right"),
    )


def said_of(drawn: Plan) -> tuple[Said, ...]:
    """What a monitor's texts and a handwritten log say of a plan."""
    on, off = drawn.clamp
    told = [
        ("clamp_on", on, "clamp on", None), ("clamp_off", off, "clamp off", None),
        ("heparin", drawn.going_on - 600, "heparin", None), ("act", drawn.going_on - 300, "ACT 486", 486.0),
        ("bypass_on", drawn.going_on, "on bypass", None), ("bypass_off", drawn.off, "off bypass", None),
        ("protamine", drawn.protamine, "protamine", None),
    ]  # fmt: skip
    typed = [Said(kind, t, 0.0, text, "monitor", value) for kind, t, text, value in told[:2]]
    sd = float(np.hypot(LOG_CLOCK_SD_S, MINUTE_SD_S))
    written = [
        Said(kind, round(t / 60) * 60.0, sd, text, "log", value, MINUTE_SD_S) for kind, t, text, value in told
    ]
    return tuple(sorted([*typed, *written], key=lambda one: one.t))
