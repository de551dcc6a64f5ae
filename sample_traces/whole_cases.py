"""Whole invented operations by seed: waves, pump table, oximeter, temperatures, notes, and the truth of them.

`whole_case(seed)` draws a plan, makes its courses and records them: other heart rates, noise, sampling rates and
sites from seed to seed, some artefacts, and one clock that is wrong. Nothing here is a real person or a reference
for good practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import planting
from .courses import ARTERIAL, PULMONARY, VENOUS, Course, Points, Pressure, record
from .planting import SHAPES
from .tables import Truth
from .trend import FloatArray
from .whole_course import Courses, courses, happening_spans
from .whole_plan import Plan, plan
from .whole_truth import truth_of

RATES_HZ = (50, 100, 100, 125, 125, 250, 500)
NOISE = (0.3, 1.0, 1.0, 1.5, 2.2)  # times the usual noise of a line
SITES = (("FEM", "LRAD", "RRAD"), ("FEM", "LRAD", "RRAD"), ("FEM", "LRAD"))
ARTEFACTS = ("zero", "flush", "flush", "sample", "noise", "kink", "height", "damped")
TEMPERATURE_EVERY_S, OXIMETER_EVERY_S = 10, 5
FLOW_SD, LINE_SD, RESERVOIR_SD, SATURATION_SD = 0.02, 2.0, 15.0, 0.8
CLEAR_S = 180.0  # between an artefact and any event


@dataclass(frozen=True, slots=True)
class WholeCase:
    """One operation as recorded.

    Attributes
    ----------
    plan : Plan
    rate_hz : int
    waves : dict of str to ndarray
        Pressures in mmHg, ``rate_hz`` samples a second.
    pump : dict of str to ndarray
        One value a second: ``flow`` (L/min), ``line pressure`` (mmHg), ``outlet temp``, ``venous temp`` (°C),
        ``SvO2`` (%), ``Hb`` (g/dL), ``reservoir`` (mL), ``femoral mean`` (mmHg); NaN where nothing was recorded.
    temperatures : dict of str to ndarray
        Every ten seconds, °C.
    oximeter : dict of str to ndarray
        Every five seconds, %.
    notes : tuple of (second, text)
    pump_ahead_s : float
        By how much the pump's clock is ahead of the others.
    truth : tuple of Truth
        Artefacts and events in order of start.
    """

    plan: Plan
    rate_hz: int
    waves: dict[str, FloatArray]
    pump: dict[str, FloatArray]
    temperatures: dict[str, FloatArray]
    oximeter: dict[str, FloatArray]
    notes: tuple[tuple[float, str], ...]
    pump_ahead_s: float
    truth: tuple[Truth, ...]


def whole_case(seed: int, *, quiet: bool = False) -> WholeCase:
    """The operation of one seed; the same for the same seed.

    Parameters
    ----------
    seed : int
    quiet : bool
        Nothing happens in it but the operation itself, and nothing spoils it.
    """
    rng = np.random.default_rng([seed, 71])
    drawn = plan(seed, quiet=quiet)
    seen = courses(drawn)
    rate_hz = int(rng.choice(RATES_HZ))
    sites = SITES[int(rng.integers(len(SITES)))]
    if drawn.brain_alone:
        sites = SITES[0]
    course = _course(drawn, seen, sites, rate_hz)
    waves = record(course, seed, float(rng.choice(NOISE)))
    truth = list(truth_of(drawn, seen))
    artefacts = [] if quiet else _spoil(waves, course, truth, drawn, rng)
    here = {"FEM", "LRAD", "CVP", "PAM", *sites}
    truth = [row for row in truth if not ({"FEM", "LRAD", "RRAD"} & set(row.channels) - here)] + artefacts
    return WholeCase(
        drawn, rate_hz, waves, _pump(seen, rng),
        {"NP": _stepped(seen.nasopharyngeal), "bladder": _stepped(seen.bladder)}, _oximeter(seen, rng),
        _notes(drawn), float(np.round(rng.uniform(-150, 150))),
        tuple(sorted(truth, key=lambda row: (row.start_s, row.code))),
    )  # fmt: skip


def _points(values: FloatArray) -> Points:
    return tuple(zip(range(values.size), values.tolist(), strict=True))


def _course(drawn: Plan, seen: Courses, sites: tuple[str, ...], rate_hz: int) -> Course:
    arterial = {
        "FEM": Pressure(_points(seen.femoral), _points(seen.pulse), ARTERIAL, 22.0, 0.35),
        "LRAD": Pressure(_points(seen.left_radial), _points(seen.radial_pulse), ARTERIAL),
        "RRAD": Pressure(_points(seen.right_radial), _points(seen.radial_pulse), ARTERIAL),
    }
    fibrillating = [
        (one.start, one.end) for one in drawn.of("E24") if one.code.endswith("fibrillating")
    ]  # what is irregular beats
    if drawn.fibrillating is not None:
        fibrillating.append(drawn.fibrillating)
    return Course(
        seen.flow.size,
        rate_hz,
        {
            **{name: arterial[name] for name in sites},
            "CVP": Pressure(_points(seen.cvp), _points(0.08 * seen.pulse), VENOUS),
            "PA": Pressure(_points(seen.pa), _points(seen.pa_pulse), PULMONARY),
        },
        heart_rate=_points(seen.rate),
        flow=_points(seen.flow),
        variation=_points(seen.variation),
        fibrillating=tuple(fibrillating),
        early=happening_spans(drawn, "E04"),
        alternating=happening_spans(drawn, "E29"),
        irregular=tuple((one.start, one.end) for one in drawn.of("E24") if one.code.endswith("irregular")),
    )


def _spoil(
    waves: dict[str, FloatArray], course: Course, truth: list[Truth], drawn: Plan, rng: np.random.Generator
) -> list[Truth]:
    """Artefacts over the waves, away from every event that lasts less than half an hour."""
    taken = [(row.start_s, row.end_s) for row in truth if row.end_s - row.start_s < 1800]
    taken += [(drawn.going_on - 60, drawn.full_flow + 300), *((a - 60, b + 300) for a, b in drawn.arrested)]
    rows = []
    for name in ARTEFACTS:
        if rng.random() < 0.4:
            continue
        shape = SHAPES[name]
        length = float(np.round(rng.uniform(*shape.lengths_s), 1))
        label = str(rng.choice([one for one in waves if one not in ("CVP", "PA")]))
        labels = tuple(waves) if name == "height" else (label,)
        depth = float(rng.uniform(*shape.depths))
        for _ in range(40):
            start = float(np.round(rng.uniform(60, course.seconds - length - 60), 1))
            pulsing = start < drawn.going_on - 120 or start > drawn.off + 120
            if name in ("damped", "sample", "cuff") and not pulsing:
                continue
            if all(start + length + CLEAR_S <= a or start >= b + CLEAR_S for a, b in taken):
                break
        else:
            continue
        taken.append((start, start + length))
        span = (start, start + length)
        for one in labels:
            line = course.pressures[one].line(course.rate_hz)
            waves[one], span = planting.plant(name, waves[one], line, start, length, rng, depth)
        channels = tuple("PAM" if one == "PA" else one for one in labels)
        rows.append(Truth(shape.code, shape.label, *span, channels, "", 15.0, f"{shape.depth}: {depth:.3g}"))
    return rows


def _pump(seen: Courses, rng: np.random.Generator) -> dict[str, FloatArray]:
    def noisy(values: FloatArray, sd: float, step: float) -> FloatArray:
        return np.asarray(np.round((values + sd * rng.standard_normal(values.size)) / step) * step)

    return {
        "pump flow": noisy(seen.flow, FLOW_SD, 0.01),
        "line pressure": noisy(seen.line_pressure, LINE_SD, 1),
        "outlet temp": noisy(seen.outlet, 0.02, 0.1),
        "venous temp": noisy(seen.venous, 0.02, 0.1),
        "SvO2": noisy(seen.venous_saturation, 0.5, 1),
        "Hb": noisy(seen.haemoglobin, 0.0, 0.1),
        "reservoir": noisy(seen.reservoir, RESERVOIR_SD, 10),
        "femoral mean": noisy(seen.femoral, 0.5, 1),
    }


def _stepped(values: FloatArray) -> FloatArray:
    return np.round(values[::TEMPERATURE_EVERY_S], 1)


def _oximeter(seen: Courses, rng: np.random.Generator) -> dict[str, FloatArray]:
    return {
        name: np.clip(
            np.rint(
                values[::OXIMETER_EVERY_S]
                + SATURATION_SD * rng.standard_normal(values[::OXIMETER_EVERY_S].size)
            ),
            0,
            100,
        )
        for name, values in (("NIRS_L", seen.left_saturation), ("NIRS_R", seen.right_saturation))
    }


def _notes(drawn: Plan) -> tuple[tuple[float, str], ...]:
    """What somebody typed into the monitor: the few times that no trace can give."""
    on, off = drawn.clamp
    found = [
        (on, "clamp on"),
        (off, "clamp off"),
        (drawn.protamine, "protamine started"),
        (drawn.going_on - 400, "heparin given"),
    ]
    return tuple(sorted(found))
