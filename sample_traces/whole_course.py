"""The courses of a whole invented operation, one value a second, without beats, noise or artefacts.

Pressures follow flow and tone with a short lag, temperatures the outlet with long ones, the brain's saturations
pressure and flow. A plain model, this project's choice: it must give the trade's shapes, not a patient.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .trend import FloatArray
from .whole_plan import Happening, Plan

PRESSURE_LAG_S = 12.0
OUTLET_LAG_S = 75.0
VENOUS_LAG_S, CORE_LAG_S, BLADDER_LAG_S = 1150.0, 1250.0, 2400.0
RUN_DOWN_MMHG = 8.0
LINE_RESISTANCE = 7.75  # mmHg/(L/min)² of a usual inflow at a body surface of 1.84 m²
BASELINE = (120.0, 240.0)
INFLOW_MMHG = 3.6  # per L/min that a line on the inflow side over-reads


@dataclass(frozen=True, slots=True)
class Courses:
    """Values of every second: pressures and pulse in mmHg, flow in L/min, temperatures in °C, saturations in %."""

    femoral: FloatArray
    left_radial: FloatArray
    right_radial: FloatArray
    pulse: FloatArray
    radial_pulse: FloatArray
    cvp: FloatArray
    pa: FloatArray
    pa_pulse: FloatArray
    rate: FloatArray
    flow: FloatArray
    line_pressure: FloatArray
    outlet: FloatArray
    venous: FloatArray
    nasopharyngeal: FloatArray
    bladder: FloatArray
    left_saturation: FloatArray
    right_saturation: FloatArray
    venous_saturation: FloatArray
    haemoglobin: FloatArray
    reservoir: FloatArray
    variation: FloatArray


def trapezoid(t: FloatArray, start: float, rise: float, end: float, fall: float) -> FloatArray:
    """0 before `start`, 1 from `rise` seconds later to `end`, 0 from `fall` seconds later; straight between."""
    stays = max(end, start + rise)
    return np.asarray(np.interp(t, (start, start + rise, stays, stays + fall), (0, 1, 1, 0)))


def _lagged(target: FloatArray, lag_s: float | FloatArray, first: float) -> FloatArray:
    """First-order lag, one step a second."""
    lags = np.broadcast_to(np.asarray(lag_s, float), target.shape)
    out, value = np.empty_like(target), first
    for i, (goal, lag) in enumerate(zip(target.tolist(), lags.tolist(), strict=True)):
        value += (goal - value) * (1 - np.exp(-1 / lag))
        out[i] = value
    return out


def _points(t: FloatArray, *points: tuple[float, float]) -> FloatArray:
    seconds, values = zip(*sorted(points), strict=True)
    return np.asarray(np.interp(t, seconds, values))


def courses(plan: Plan) -> Courses:
    """The courses of a plan."""
    t = np.arange(plan.length, dtype=float)
    full = plan.flow_index * plan.body_surface
    flow = _flow(plan, t, full)
    ejecting = _points(t, (plan.going_on, 1), (plan.full_flow, 0), (plan.weaning, 0), (plan.off, 1))
    ejecting[(t < plan.going_on)] = 1
    ejecting[t >= plan.off] = 1
    arrested = np.zeros(t.size, bool)
    for start, end in plan.no_flow:
        arrested |= (t >= start) & (t < end)
    alone = np.zeros(t.size, bool)
    for start, end in plan.brain_alone:
        alone |= (t >= start) & (t < end)
    femoral = _arterial(plan, t, flow, full, ejecting, arrested | alone)
    pulse = _pulse(plan, t)
    gradient = np.zeros(t.size)
    for one in plan.of("E22a"):
        gradient += one.depth * trapezoid(t, one.start - 60, 120, one.end, 90)
    left = femoral - gradient - 1.0
    for one in plan.of("E21"):
        fallen = trapezoid(t, one.start, 15, one.end, 25)
        left = left * (1 - fallen) + 20 * fallen
    right = femoral + (INFLOW_MMHG * flow if plan.right_inflow else 1.5) * np.where(flow > 0.2, 1, 0.0)
    right = np.where(t >= plan.off, left + 1, right)
    for start, end in plan.brain_alone:
        head = trapezoid(t, start, 30, end, 1)
        right = np.where(alone, RUN_DOWN_MMHG + head * 46, right)
        left = np.where(alone, RUN_DOWN_MMHG + head * 15, left)
        femoral = np.where(alone, RUN_DOWN_MMHG, femoral)
    blend = np.ones(5) / 5
    right, left = (np.convolve(np.pad(one, 2, mode="edge"), blend, "valid") for one in (right, left))
    outlet, venous, core, bladder = _temperatures(plan, t, flow)
    cvp, pa = _venous(plan, t, ejecting)
    kink = np.zeros(t.size)
    for one in (*plan.of("E07"), *plan.of("E21")):
        level = one.depth if one.code == "E07" else 345.0
        kink = np.maximum(kink, level * trapezoid(t, one.start, 6, one.end, 8))
    line = np.where(alone, right, femoral) + LINE_RESISTANCE * (1.84 / plan.body_surface) ** 2 * flow**2
    line = np.maximum(line, kink)
    left_saturation, right_saturation = _saturations(plan, t, flow, alone)
    haemoglobin = _points(
        t,
        (0, 13.0),
        (plan.going_on, 12.4),
        (plan.full_flow + 60, 9.6),
        (plan.weaning, 9.4),
        (plan.off + 600, 9.9),
    )
    venous_saturation = 76 - 14 * np.clip(1 - flow / full, 0, 1) + 6 * np.clip((34 - venous) / 14, 0, 1)
    variation = np.full(t.size, 0.06)
    for one in plan.of("E30"):
        variation[(t >= one.start) & (t < one.end)] = one.depth
    narrow = np.interp(gradient, (0, 17), (1, 0.72))
    return Courses(
        femoral, left, right, pulse, pulse * narrow, cvp, pa, np.clip(0.45 * pulse, 0, 20), _rate(plan, t), flow,
        np.where((t >= plan.going_on - 60) & (t <= plan.off), line, np.nan), outlet, venous, core, bladder,
        left_saturation, right_saturation,
        np.where(flow >= 0.3, venous_saturation, np.nan), haemoglobin, _reservoir(plan, t), variation,
    )  # fmt: skip


def _flow(plan: Plan, t: FloatArray, full: float) -> FloatArray:
    flow = _points(
        t, (0, 0), (plan.going_on, 0), (plan.going_on + 12, 0.23 * full),
        (plan.going_on + 60, 0.6 * full), (plan.full_flow, full), (plan.weaning, full), (plan.off, 0), (plan.length, 0),
    )  # fmt: skip
    for one in plan.events:
        if one.code in ("E08", "E12", "E10", "none E11", "E07", "E21"):
            left = {"E10": 0.0, "E07": 0.62, "E21": 0.6}.get(one.code, one.depth)
            rise = {"E10": 1, "E08": 8, "E12": 10, "E21": 10}.get(one.code, 6)
            flow = flow * (1 - (1 - left) * trapezoid(t, one.start, rise, one.end, rise))
    for clamp in plan.clamp:  # lowered by hand for the clamp
        flow = flow * (1 - 0.45 * trapezoid(t, clamp - 8, 4, clamp + 10, 5))
    for start, end in plan.no_flow:
        flow = flow * (1 - trapezoid(t, start - 4, 4, end, 70))
    for start, end in plan.brain_alone:
        inside = (t >= start) & (t < end)
        band = 0.0105 * plan.weight_kg * trapezoid(t, start, 20, end + 100, 1)
        flow = np.where(inside, band, flow)
        behind = (t >= end) & (t < end + 120)
        flow = np.where(behind, np.interp(t, (end, end + 80), (0.0105 * plan.weight_kg, full)), flow)
    return np.asarray(flow)


def _arterial(
    plan: Plan,
    t: FloatArray,
    flow: FloatArray,
    full: float,
    ejecting: FloatArray,
    arrested: NDArray[np.bool_],
) -> FloatArray:
    off_bypass = _points(
        t, (0, plan.arterial), (600, plan.arterial - 3), (plan.going_on, plan.arterial - 4),
        (plan.off, 71), (plan.length, plan.arterial - 2),
    )  # fmt: skip
    on_bypass = RUN_DOWN_MMHG + (plan.bypass_pressure - RUN_DOWN_MMHG) * np.minimum(flow / full, 1.15)
    goal = ejecting * off_bypass + (1 - ejecting) * on_bypass
    for one in plan.events:
        span = trapezoid(t, one.start, 30, one.end, 45)
        if one.code in ("E01", "E13", "E13/hyper", "none E01"):
            goal = goal * (1 - span) + one.depth * span
        if one.code == "E02":
            span = trapezoid(t, one.start, 15, one.end, 40)
            goal = goal * (1 - span) + one.depth * span
        if one.code == "E04":
            goal = goal - one.depth * trapezoid(t, one.start, 5, one.end - 10, 20)
        if one.code.startswith("E27"):
            goal = goal - one.depth * trapezoid(
                t, one.start, 70, one.start + 120, max(one.end - one.start - 120, 60)
            )
    lag = np.where(arrested, PRESSURE_LAG_S, PRESSURE_LAG_S / 2)
    return _lagged(np.where(arrested, RUN_DOWN_MMHG, goal), lag, plan.arterial)


def _pulse(plan: Plan, t: FloatArray) -> FloatArray:
    off_before = plan.pulse
    back = plan.clamp[1] + 120 + max((one.end - one.start for one in plan.of("E24")), default=30.0)
    stops = plan.fibrillating[0] if plan.fibrillating is not None else plan.clamp[0] + 20
    partial = 7.5
    pulse = _points(
        t, (0, off_before), (plan.going_on, off_before * 0.9), (plan.full_flow + 60, partial + 1.2),
        (stops - 2, partial), (stops, 0), (back, 0), (back + 20, 6.5), (plan.weaning, 8),
        (plan.off, 46), (plan.length, 50),
    )  # fmt: skip
    for one in plan.of("E24"):
        if one.code.endswith("irregular"):
            beating = (t >= one.start) & (t < back)
            pulse = np.where(beating, 7.0, pulse)
    for one in plan.events:
        if one.code == "E02":
            pulse = pulse * (1 - 0.95 * trapezoid(t, one.start, 12, one.end, 20))
        if one.code in ("E01", "none E01"):
            pulse = pulse * (1 - 0.25 * trapezoid(t, one.start, 30, one.end, 45))
        if one.code.startswith("E27"):
            pulse = pulse * (
                1 - 0.4 * trapezoid(t, one.start, 70, one.start + 120, max(one.end - one.start - 120, 60))
            )
        if one.code == "E04":
            pulse = pulse * (1 - 0.3 * trapezoid(t, one.start, 5, one.end - 10, 20))
    return np.asarray(pulse)


def _rate(plan: Plan, t: FloatArray) -> FloatArray:
    cold = 44.0 if plan.deep else 58.0
    rate = _points(
        t,
        (0, plan.rate),
        (plan.going_on, plan.rate),
        (plan.clamp[0], cold),
        (plan.clamp[1], 55),
        (plan.weaning, 80),
        (plan.length, 88),
    )
    pulse = _pulse(plan, t)
    beats = pulse > 0.4
    for one in plan.of("E24"):
        beats &= ~((t >= one.start) & (t < one.end)) | (one.code.endswith("irregular") & (t >= one.start))
    for one in plan.of("E02"):
        beats &= ~((t >= one.start + 8) & (t < one.end))
    return np.where(beats, rate, 0.0)


def _temperatures(plan: Plan, t: FloatArray, flow: FloatArray) -> tuple[FloatArray, ...]:
    """Outlet, venous, nasopharyngeal, bladder."""
    coldest = 17.5 if plan.deep else 31.0
    cooling_gap, warming_gap, warm_gap = 8.5, 8.0, 3.2
    widest = np.full(t.size, cooling_gap)
    for one in plan.of("E14a"):
        widest += (one.depth - cooling_gap) * trapezoid(t, one.start, 60, one.end, 60)
    wide_cold, wide_warm = np.full(t.size, warming_gap), np.full(t.size, warm_gap)
    for one in plan.of("E14b"):
        wide_cold += (one.depth - warming_gap) * trapezoid(t, one.start, 60, one.end, 60)
    for one in plan.of("E14c"):
        wide_warm += (one.depth - warm_gap) * trapezoid(t, one.start, 60, one.end, 60)
    hot = np.zeros(t.size)
    for one in plan.of("E16"):
        hot = np.maximum(hot, (one.depth - 36.6) * trapezoid(t, one.start, 40, one.end, 40))
    fast = np.zeros(t.size)
    for one in plan.of("E15"):
        fast = np.maximum(fast, one.depth * trapezoid(t, one.start, 20, one.end, 20))
    outlet, venous, core, bladder = (np.empty(t.size) for _ in range(4))
    o, v, n, b = 35.6, 36.0, 36.1, 36.3
    for i in range(t.size):
        running = flow[i] > 0.5
        if t[i] < plan.going_on:
            goal = 35.6
        elif t[i] < plan.cooling:
            goal = v - 0.4
        elif t[i] < plan.warming:
            goal = max(coldest, v - widest[i])
        else:
            goal = min(36.6, v + (wide_cold[i] if o < 30 else wide_warm[i]))
            if o < 30 <= goal and wide_cold[i] > wide_warm[i]:
                goal = min(goal, max(o, v + wide_warm[i], 29.9))
        goal += hot[i] if t[i] >= plan.warming else 0.0
        o += (goal - o) * (1 - np.exp(-1 / OUTLET_LAG_S)) if running else 0.0004
        share = min(flow[i] / (2.4 * plan.body_surface), 1.1)
        v += (o - v) * (1 - np.exp(-share / VENOUS_LAG_S)) if running else 0.0
        n += (o - n) * (1 - np.exp(-share / CORE_LAG_S)) if running else 0.0
        if fast[i] > 0 and running:
            n += fast[i] / 60 - max(o - n, 0) / CORE_LAG_S
        b += (v - b) * (1 - np.exp(-share / BLADDER_LAG_S)) if running else 0.0
        outlet[i], venous[i], core[i], bladder[i] = o, v, n, b
    on = (t >= plan.going_on - 60) & (t <= plan.off)
    return np.where(on, outlet, np.nan), np.where(on, venous, np.nan), core, bladder


def _venous(plan: Plan, t: FloatArray, ejecting: FloatArray) -> tuple[FloatArray, FloatArray]:
    cvp = 4.0 + (plan.venous - 4.0) * ejecting
    pa = 9.5 + (plan.pulmonary - 9.5) * ejecting
    for one in plan.events:
        if one.code == "E09":
            cvp = cvp + one.depth * trapezoid(t, one.start, 20, one.end, 25)
        if one.code == "E25":
            pa = pa + one.depth * trapezoid(t, one.start, 60, one.end, 40)
        if one.code == "E02":
            cvp = cvp + 7 * trapezoid(t, one.start, 20, one.end, 40)
        if one.code == "E27/b":
            shape = trapezoid(t, one.start + 10, 80, one.start + 130, max(one.end - one.start - 130, 60))
            pa, cvp = pa + 0.75 * one.depth * shape, cvp + 5.5 * shape
        if one.code == "E27/a":
            cvp = cvp - 1.5 * trapezoid(t, one.start, 60, one.end, 60)
    return np.asarray(cvp), np.asarray(pa)


def _saturations(
    plan: Plan, t: FloatArray, flow: FloatArray, alone: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    on = (t >= plan.going_on) & (t < plan.off)
    cold = np.clip((t - plan.cooling) / 3000, 0, 1) * (t < plan.warming) * (5 if plan.deep else 1)
    goal = np.where(on, 62.0 + cold, 65.0)
    none = on & (flow < 0.15) & ~alone
    goal = np.where(none, 42.0, goal)
    right, left = goal.copy(), goal.copy()
    left = np.where(alone, 49.5, left)
    lag = np.where(none, 1100.0 / 1.4, np.where(alone, 60.0, 45.0))
    right, left = _lagged(right, lag, 66.0), _lagged(left, lag, 65.0)
    for one in plan.of("E09"):
        shape = trapezoid(t, one.start + 40, 80, one.end, 50)
        right, left = right * (1 - 0.24 * shape), left * (1 - 0.25 * shape)
    for one in plan.events:
        if one.code == "E19/left":
            left = left * (1 - (1 - one.depth) * trapezoid(t, one.start, 45, one.end, 45))
        if one.code == "E21":
            left = left * (1 - 0.3 * trapezoid(t, one.start + 15, 50, one.end, 80))
    return left, right


def _reservoir(plan: Plan, t: FloatArray) -> FloatArray:
    level = np.full(t.size, 1250.0)
    for start, end in _joined(plan.arrested):
        level += 1800 * trapezoid(t, start, 50, end, 110)
    for one in plan.events:
        if one.code == "E08":
            level -= 850 * trapezoid(t, one.start - 4, 45, one.end, 70)
        if one.code in ("E07", "none E11", "E21", "E10"):
            level += 350 * trapezoid(t, one.start, 30, one.end, 40)
        if one.code == "E09":
            level -= 340 * trapezoid(t, one.start, 100, one.end, 90)
    level -= 900 * np.clip((t - plan.weaning) / (plan.off - plan.weaning), 0, 1)
    return np.where((t >= plan.going_on - 60) & (t <= plan.off), np.maximum(level, 120), np.nan)


def _joined(spans: tuple[tuple[float, float], ...]) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if found and start - found[-1][1] < 5:
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return found


def happening_spans(plan: Plan, code: str) -> tuple[tuple[float, float], ...]:
    """Start and end of the events of a class."""
    return tuple((one.start, one.end) for one in plan.of(code))


__all__ = ["BASELINE", "Courses", "Happening", "courses", "happening_spans", "trapezoid"]
