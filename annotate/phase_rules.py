"""What the pump's flow says: times on bypass, stops and what they were, full flow, weaning.

The times are the flow's; pressure and temperature say what a stop was. A time is dated to where the
flow left or reached its level, not to where it crossed the switching value.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from .runs import (
    BoolArray,
    FloatArray,
    close_gaps,
    drop_short,
    hysteresis,
    median,
    noise_sd,
    smooth,
    spans,
)
from .view import View

FLOW_ON = 0.2  # L/min, above: flow (this project's choice)
FLOW_OFF = 0.1  # L/min, at or under: no flow (this project's choice)
ON_HELD_S = 20
RETURN_FLOW = 1.0  # L/min; less after coming off may be volume given through the arterial line
RETURN_HELD_S = 60
FULL_FLOW = 0.8  # of the planned flow
FULL_HELD_S = 60
ARREST_MINIMUM_S = 120  # a shorter stop is an interruption, not an arrest
ARREST_PRESSURE = 20.0  # mm[Hg]
CONFIRM_S = 120
COLD_CORE_C = 28.0
WARM_CORE_C = 34.0
OFF_HELD_S = 300
BRIDGE_S = 120
BURST_S = 10  # flow for less than this does not end a stop
BEATING_MMHG = (
    30.0  # pulse beside which a running pump may run round in a loop (an ejecting heart keeps 10 to 30)
)
KEPT_PULSE_MMHG = 10.0  # pulse from which a heart ejects


BEGUN_EARLIER = ("earlier: its start is not recorded",)
"""What is said of the start of something that was under way when the record begins."""


class Pump(NamedTuple):
    """The pump's flow made ready for deciding on states.

    Attributes
    ----------
    flow : ndarray
        L/min, short unrecorded stretches held where nothing speaks against it.
    moving : ndarray of bool
        Flow or not, with hysteresis.
    gap : ndarray of bool
        Seconds that were not recorded.
    """

    flow: FloatArray
    moving: BoolArray
    gap: BoolArray


class Stop(NamedTuple):
    """A stretch without flow, half-open in seconds of the view."""

    start: int
    stop: int
    kind: str  # "arrest", "off" or "pause"
    notes: tuple[str, ...]


class OnPeriod(NamedTuple):
    """One time on bypass, arrests included.

    Where the pump's record begins or ends on bypass, `on` or `off` is that end of it, `on_recorded` or
    `off_recorded` is False, and nothing is known of the flow beyond.
    """

    on: int
    off: int
    on_notes: tuple[str, ...]
    off_notes: tuple[str, ...]
    stops: tuple[Stop, ...]
    on_recorded: bool = True
    off_recorded: bool = True


# -- flow ----------------------------------------------------------------------------------------


def read_pump(view: View, flow: FloatArray) -> Pump:
    """Flow and its state, unrecorded stretches decided by what other channels say.

    A gap is not an arrest's end. With no flow on either side the stop goes on where every arterial
    site stays under 20 mm[Hg] and the reservoir did not empty meanwhile; over 2 min only where a
    pressure was seen nearly all the time. With flow on either side the flow goes on. Otherwise the
    state before the gap holds until its end, and the boundary carries the gap as its uncertainty. Behind the
    last recorded flow a stop goes on as long as the pressures say so; anything else is not known there.
    """
    out = flow.copy()
    gap = ~np.isfinite(flow)
    contradicted = np.zeros(len(flow), dtype=np.bool_)
    for start, stop in spans(gap):
        if start == 0:
            continue
        if stop == len(flow):
            if flow[start - 1] <= FLOW_OFF:
                out[start : _low_until(view, start)] = flow[start - 1]
            continue
        before, after = flow[start - 1], flow[stop]
        if before <= FLOW_OFF and after <= FLOW_OFF:
            if _still_off(view, start, stop):
                out[start:stop] = before
            else:
                contradicted[start:stop] = True
        elif before > FLOW_ON and after > FLOW_ON:
            out[start:stop] = before
    moving = hysteresis(out, on=FLOW_ON, off=FLOW_OFF) | contradicted
    return Pump(out, moving, gap)


def _still_off(view: View, start: int, stop: int) -> bool:
    seen = [view.values[name][start:stop] for name in view.arterial]
    seen = [values for values in seen if np.isfinite(values).any()]
    if not seen or any(median(values) >= ARREST_PRESSURE for values in seen):
        return False
    if stop - start > BRIDGE_S and max(np.isfinite(values).mean() for values in seen) < 0.9:
        return False
    reservoir = view.reservoir
    if reservoir is None:
        return True
    change = median(reservoir[stop : stop + 10]) - median(reservoir[max(0, start - 10) : start])
    return not change < -300  # mL; emptying means that somebody gave the volume back


def _low_until(view: View, start: int) -> int:
    """Up to which second from `start` every arterial site is seen to stay under 20 mm[Hg]."""
    levels = [smooth(view.values[name][start:], 5) for name in view.arterial]
    seen = np.zeros(view.n - start, dtype=np.bool_)
    high = np.zeros(view.n - start, dtype=np.bool_)
    for level in levels:
        seen |= np.isfinite(level)
        high |= level >= ARREST_PRESSURE
    risen = np.flatnonzero(high)
    length = int(risen[0]) if len(risen) else len(high)
    if not seen[:length].any():
        return start
    if length > BRIDGE_S and seen[:length].mean() < 0.9:
        length = BRIDGE_S
    return start + length


def on_periods(view: View, pump: Pump) -> list[OnPeriod]:
    """Every time on bypass.

    On: the first flow above 0.2 L/min held 20 s to which the reservoir or a pressure responds; after
    coming off, flow above 1 L/min held 60 s. Off: no flow for 5 min with the arterial pressure kept up (a
    cold core is then asked about), or at a warm core where no pressure is recorded. Until then a stop is a
    stop on bypass. A pump that runs when its record begins is on bypass, unless the heart beats beside it as
    if there were none; one that stands then is so at a cold core with every arterial site under 20 mm[Hg].
    """
    known = np.flatnonzero(np.isfinite(pump.flow))
    first, last = (int(known[0]), int(known[-1]) + 1) if len(known) else (0, 0)
    held = drop_short(close_gaps(pump.moving, 5), ON_HELD_S)
    strong = drop_short(close_gaps(smooth(pump.flow, 5) > RETURN_FLOW, 5), RETURN_HELD_S)
    periods: list[OnPeriod] = []
    position = 0
    while True:
        wanted = strong if periods else held
        running = not periods and _begins_in_arrest(view, pump, first, last)
        candidates = [] if running else spans(wanted[position:last])
        on = first if running else -1
        notes: tuple[str, ...] = BEGUN_EARLIER if running else ()
        for low, _ in candidates:
            reached = position + low
            quiet = np.flatnonzero(~pump.moving[position:reached])
            start = position + int(quiet[-1]) + 1 if len(quiet) else reached
            running = not periods and start == first
            answered, notes = _response(view, start)
            if answered or (running and not _beats_beside(view, start)):
                on = start if running else left_rest(pump.flow, start)
                notes = BEGUN_EARLIER if running else notes
                break
        if on < 0:
            return periods
        stops = []
        off, off_recorded = last, False
        off_notes: tuple[str, ...] = ()
        for stop in _stops(view, pump, on, last, from_rest=not pump.moving[on]):
            if stop.kind == "off":
                off, off_notes, off_recorded = stop.start, stop.notes, True
                break
            stops.append(stop)
        if not off_recorded:
            off_notes = _at_the_end(stops, last)
        periods.append(OnPeriod(on, off, notes, off_notes, tuple(stops), not running, off_recorded))
        if not off_recorded:
            return periods
        position = off + 1


def _at_the_end(stops: Sequence[Stop], last: int) -> tuple[str, ...]:
    """What is said of the end of bypass where the record ends first."""
    if stops and stops[-1].stop >= last and stops[-1].kind == "pause":
        length = stops[-1].stop - stops[-1].start
        return (f"the pump is stopped for {length} s, not yet known whether it is the end of bypass",)
    return ("later: its end is not recorded",)


def _beats_beside(view: View, on: int) -> bool:
    """Whether every pulse seen in the first minute of a running pump is that of a heart that carries all."""
    pulses = [median(view.pulse[name][on : on + 60]) for name in view.arterial if name in view.pulse]
    pulses = [pulse for pulse in pulses if np.isfinite(pulse)]
    return bool(pulses) and min(pulses) >= BEATING_MMHG


def _response(view: View, on: int) -> tuple[bool, tuple[str, ...]]:
    """Whether anything answered the flow within 3 min: a pump may also run round in a closed loop."""
    before, after = slice(max(0, on - 60), max(1, on - 5)), slice(on, on + 180)
    checks: list[tuple[str, FloatArray | None, float]] = [
        *((name, view.values[name], 5.0) for name in view.arterial),
        *((name, view.pulse[name], 10.0) for name in view.arterial if name in view.pulse),
        ("cvp", view.cvp, 3.0),
        ("reservoir_volume", view.reservoir, 150.0),
    ]
    asked = False
    for _, values, least in checks:
        if values is None:
            continue
        level = median(values[before])
        then = smooth(values[after], 15)
        then = then[np.isfinite(then)]
        if not then.size:
            continue
        if not np.isfinite(level):
            level = float(then[0])  # recorded only from going on, as the reservoir often is
        asked = True
        if float(np.max(np.abs(then - level))) >= least:
            return True, ()
    if asked:
        return False, ()
    return True, ("neither pressure nor reservoir recorded: by flow alone",)


def left_rest(flow: FloatArray, at: int) -> int:
    """Second at which the flow began to leave the level that it had before the switch at `at`."""
    low = max(0, at - 90)
    before = flow[low:at]
    quiet = before[before <= FLOW_ON]
    if not quiet.size:
        return at
    level = median(quiet[-60:])
    still = np.flatnonzero(before <= level + _stray(quiet))
    return low + int(still[-1]) if len(still) else at


def reached_rest(flow: FloatArray, start: int, stop: int) -> int:
    """Second at which the flow reached the level that it has in the stop ``[start, stop)``."""
    piece = flow[start:stop]
    quiet = piece[np.isfinite(piece)][5:65]
    if not quiet.size:
        return start
    there = np.flatnonzero(piece <= median(quiet) + _stray(quiet))
    return start + int(there[0]) if len(there) else start


def _stray(steady: FloatArray) -> float:
    """How far a steady flow strays upwards: three standard deviations, kept between 0.03 and 0.08 L/min."""
    return float(np.clip(3 * noise_sd(steady), 0.03, 0.08))


def _begins_in_arrest(view: View, pump: Pump, first: int, last: int) -> bool:
    """Whether the pump's record begins at rest in what can only be an arrest on bypass."""
    if last <= first or pump.moving[first] or not view.core_near(first) <= COLD_CORE_C:
        return False
    moving = np.flatnonzero(pump.moving[first:last])
    stop = first + int(moving[0]) if len(moving) else last
    return bool(pressures_low(view, first, stop))


def _stops(view: View, pump: Pump, on: int, last: int, *, from_rest: bool = False) -> list[Stop]:
    """Every stretch without flow from `on` to the end of the pump's record, and what it was.

    One right at `on` is what bypass began from, unless the record begins at rest on bypass.
    """
    moving = drop_short(pump.moving[on:last], BURST_S)
    found = []
    for low, high in spans(~moving):
        if low == 0 and not from_rest:
            continue
        start, stop = reached_rest(pump.flow, on + low, on + high), on + high
        if stop < last:
            stop = max(start + 1, left_rest(pump.flow, stop))
        found.append(_classify(view, start, stop, to_end=stop >= last))
    return found


def _classify(view: View, start: int, stop: int, *, to_end: bool) -> Stop:
    """An arrest, coming off, or only a pause: by length, arterial pressures and core temperature."""
    length = stop - start
    low = pressures_low(view, start, stop)
    core = view.core_near(start)
    known_core = bool(np.isfinite(core))
    notes: list[str] = [] if known_core else ["no core temperature recorded"]
    if length >= ARREST_MINIMUM_S:
        if low:
            if known_core and core > COLD_CORE_C:
                notes.append(f"core {core:.1f} °C is warmer than 28 °C: a gap, or a stopped pump?")
            return Stop(start, stop, "arrest", tuple(notes))
        if low is None and known_core and core < WARM_CORE_C:
            notes.append("no arterial pressure recorded: by flow alone, assumed whole body")
            return Stop(start, stop, "arrest", tuple(notes))
    if low is None:
        notes.append("no arterial pressure recorded: by flow alone")
    elif known_core and core < WARM_CORE_C:
        notes.append(f"core {core:.1f} °C is cold for coming off: is the flow reading right?")
    if length >= OFF_HELD_S:
        return Stop(start, stop, "off", tuple(notes))
    if to_end and _kept_up(view, start, stop):
        notes.append("the pump's record ends less than 5 min later, the heart went on")
        return Stop(start, stop, "off", tuple(notes))
    return Stop(start, stop, "pause", tuple(notes))


def _kept_up(view: View, start: int, stop: int) -> bool:
    """Whether the heart carried the circulation for 5 min after a stop with which the pump's record ends."""
    if view.n - start < OFF_HELD_S or stop >= view.n or pressures_low(view, stop, view.n) is not False:
        return False
    pulses = [
        median(view.pulse[name][start : start + OFF_HELD_S]) for name in view.arterial if name in view.pulse
    ]
    pulses = [pulse for pulse in pulses if np.isfinite(pulse)]
    return not pulses or max(pulses) >= KEPT_PULSE_MMHG


def pressures_low(view: View, start: int, stop: int) -> bool | None:
    """Whether every recorded arterial site is under 20 mm[Hg] within 2 min; None without any."""
    lows = []
    for name in view.arterial:
        piece = smooth(view.values[name][start : min(start + CONFIRM_S, stop)], 5)
        piece = piece[np.isfinite(piece)]
        if piece.size:
            lows.append(float(piece.min()))
    return all(level < ARREST_PRESSURE for level in lows) if lows else None


def planned_flow(view: View, pump: Pump, period: OnPeriod) -> tuple[float, str]:
    """The flow that counts as full, L/min, and where it comes from."""
    if view.facts.planned_flow:
        return view.facts.planned_flow, "planned"
    early = pump.flow[period.on + 120 : min(period.off, period.on + 900)]
    level = median(early[early > RETURN_FLOW])
    if not np.isfinite(level):
        level = median(pump.flow[period.on : period.off])
    return level, "no planned flow known: the median of the first 15 min"


def full_flow(pump: Pump, period: OnPeriod, plan: float) -> int | None:
    """First second of 60 s at 80 % of the planned flow."""
    enough = close_gaps(smooth(pump.flow[period.on : period.off], 3) >= FULL_FLOW * plan, 5)
    runs = spans(drop_short(enough, FULL_HELD_S))
    return period.on + runs[0][0] if runs else None


def weaning_start(pump: Pump, period: OnPeriod) -> int | None:
    """Second at which the flow left the last level from which it only falls to nothing.

    Steps and pauses on the way down are part of weaning; a rise by more than a tenth of the usual
    flow is not: weaning begins after the last such rise.
    """
    flow = smooth(pump.flow[period.on : period.off], 15)
    flow = np.where(np.isfinite(flow), flow, 0.0)
    usual = median(flow[flow > RETURN_FLOW])
    if not np.isfinite(usual):
        return None
    highest_after = np.maximum.accumulate(flow[::-1])[::-1]
    rises = np.flatnonzero(highest_after - flow > 0.1 * usual)
    first = int(rises[-1]) + 1 if len(rises) else 0
    if first >= len(flow) - 1:
        return None
    plain = first + int(np.flatnonzero(flow[first:] >= 0.9 * flow[first:].max())[-1])
    low = max(first, plain - 180)
    level = median(flow[low : max(low + 1, plain - 60)])
    still = np.flatnonzero(flow[low : plain + 1] >= 0.99 * level)
    return period.on + low + (int(still[-1]) + 1 if len(still) else 0)
