"""What of a channel can be used: artefacts A1, A2 and A9, and the seconds that they take away.

`wave_artefacts` holds the shapes on one piece of wave; here a whole channel is read, gaps, off-scale and
frozen values are found in any channel, and the result is laid on the grid of seconds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .memory import Memory
from .series import MASKED, MISSING, OBSERVED, StateArray
from .wave_artefacts import (
    DEFAULT_RULE,
    Artefact,
    BoolArray,
    FloatArray,
    device_patterns,
    fast_flushes,
    open_to_air,
    true_runs,
)

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

__all__ = [
    "Artefact",
    "artefacts",
    "frozen_rows",
    "frozen_wave",
    "gaps_between",
    "masked_seconds",
    "off_scale",
    "seconds_state",
    "waves_on_scale",
]

Piece = tuple[float, float, FloatArray]  # start in reference seconds, rate in Hz, values

OFF_SCALE_LOW_S = 2.0
OFF_SCALE_HIGH_S = 10.0  # a clipped flush may stay at the top for less
FROZEN_WAVE_S = 1.0
STILL_OTHER_WAVE_S = 10.0  # a breath or a pleth may rest, or be cut at the top, for seconds
FROZEN_COARSE_WAVE_S = 5.0  # where a step of the converter is 0.5 units or more, stillness is common
FROZEN_ROWS = 10
GAP_WAVE_S = 1.0
STANDING_FLOW = 0.3  # L/min
RING_S = 1.0  # what follows a flush for so long is ring, not pulse (this project's choice)

PRESSURES = ("arterial_pressure", "central_venous_pressure", "pulmonary_artery_pressure")
_RULES = {
    "arterial_pressure": DEFAULT_RULE,
    "central_venous_pressure": replace(DEFAULT_RULE, zero_step_mmhg=4.0, not_yet_zeroed_mmhg=0.0),
    "pulmonary_artery_pressure": replace(DEFAULT_RULE, zero_step_mmhg=8.0, not_yet_zeroed_mmhg=0.0),
}


# -- pure functions --------------------------------------------------------------------------------


def _still_runs(values: FloatArray, least: int) -> NDArray[np.intp]:
    """Start and past-end of runs of at least `least` identical samples."""
    same = np.concatenate([values[1:] == values[:-1], [False]])
    runs = true_runs(same)
    runs[:, 1] += 1
    return runs[runs[:, 1] - runs[:, 0] >= max(least, 2)]


def off_scale(
    values: FloatArray, rate_hz: float, low: float, high: float, shortest_s: float = OFF_SCALE_LOW_S
) -> BoolArray:
    """Samples in long runs at exactly the lowest or highest value of the whole channel.

    Parameters
    ----------
    values : ndarray
        One piece, NaN where not recorded.
    rate_hz : float
        Samples per second.
    low, high : float
        Lowest and highest value of the whole channel.
    shortest_s : float
        Shortest run at the lowest value.

    Returns
    -------
    ndarray of bool
        True in runs of 2 s at the lowest and 10 s at the highest value (this project's choice): what
        a device writes while nothing is connected, or cannot write any more.
    """
    out = np.zeros(values.shape, bool)
    if not low < high:
        return out
    for start, stop in _still_runs(values, int(shortest_s * rate_hz)):
        if values[start] == low or (values[start] == high and stop - start >= OFF_SCALE_HIGH_S * rate_hz):
            out[start:stop] = True
    return out


def frozen_wave(
    values: FloatArray, rate_hz: float, t0: float = 0.0, shortest_s: float = FROZEN_WAVE_S
) -> list[tuple[float, float]]:
    """Stretches in which a wave repeats one value exactly: for 1 s, or 5 s where its steps are coarse.

    A wave that repeats itself for most of the time anyway is not judged.
    """
    steps = np.abs(np.diff(values))
    steps = steps[np.isfinite(steps)]
    if not steps.size or np.count_nonzero(steps == 0) > 0.8 * steps.size:
        return []
    quantum = float(np.min(steps, where=steps > 0, initial=np.inf))
    least = max(FROZEN_COARSE_WAVE_S, shortest_s) if quantum >= 0.5 else shortest_s
    runs = _still_runs(values, int(np.ceil(least * rate_hz)))
    return [(t0 + start / rate_hz, t0 + stop / rate_hz) for start, stop in runs]


def frozen_rows(t: FloatArray, values: FloatArray, interval_s: float) -> list[tuple[float, float]]:
    """Ten or more identical values in a row on a channel that is noisy enough for that to be odd.

    Parameters
    ----------
    t, values : ndarray
        Rows with a value, in order of time.
    interval_s : float
        Usual distance between rows.

    Returns
    -------
    list of (start, end)
        Runs so long that less than one in a thousand records would show one by chance, judged by how
        often the 60 rows on either side have the same value; none where half of those repeat anyway, as
        rounded values without noise do. A channel that moves one way for long (a rounded
        temperature) is not noisy, and the level 0 is never called frozen: a pump that stands has no flow.
    """
    moves = np.sign(np.diff(values))
    moves = moves[moves != 0]
    if values.size < 2 * FROZEN_ROWS or np.count_nonzero(moves[1:] != moves[:-1]) < 0.3 * moves.size:
        return []
    found = []
    for start, stop in _still_runs(values, FROZEN_ROWS):
        sides = (values[max(start - 60, 0) : start], values[stop : stop + 60])
        repeats = max(np.count_nonzero(side[1:] == side[:-1]) / max(side.size - 1, 1) for side in sides)
        count, rows = max((int(np.count_nonzero(side == values[start])), side.size) for side in sides)
        usual = min((count + 2 * np.sqrt(count) + 1) / (rows + 1), 1.0)  # what the count may well stand for
        by_chance = values.size * usual ** (stop - start - 1)
        if values[start] != 0 and repeats < 0.5 and by_chance < 0.001:
            found.append((float(t[start]), float(t[stop - 1]) + interval_s))
    return found


def gaps_between(spans: Iterable[tuple[float, float]], longest_s: float) -> list[tuple[float, float]]:
    """Stretches of more than `longest_s` seconds between the spans in which samples are there."""
    found = []
    reached: float | None = None
    for start, end in sorted(spans):
        if reached is not None and start - reached > longest_s:
            found.append((reached, start))
        reached = end if reached is None else max(reached, end)
    return found


def waves_on_scale(
    pieces: Sequence[Piece], shortest_s: float = OFF_SCALE_LOW_S
) -> list[tuple[float, float, FloatArray, BoolArray]]:
    """Each piece with its off-scale samples blanked, and where they were."""
    finite = [piece[2][np.isfinite(piece[2])] for piece in pieces]
    low = min((float(v.min()) for v in finite if v.size), default=np.nan)
    high = max((float(v.max()) for v in finite if v.size), default=np.nan)
    out = []
    for t0, rate, values in pieces:
        off = off_scale(values, rate, low, high, shortest_s)
        out.append((t0, rate, np.where(off, np.nan, values) if off.any() else values, off))
    return out


# -- a channel -------------------------------------------------------------------------------------

_ARTEFACTS: Memory[list[Artefact]] = Memory(64)


def artefacts(channel: Channel, others: Sequence[Channel] = ()) -> list[Artefact]:
    """Artefacts A1, A2 and A9 of a channel, in order of time.

    Parameters
    ----------
    channel : Channel
        Any channel. A1 and A2 are looked for on waves of blood pressure in mmHg.
    others : sequence of Channel
        Arterial waves of other sites: where all of them lose their pressure at the same moment the
        patient did, and nothing is called A1. And the pump flow, which a gap of a venous saturation is
        held against: without flow there is nothing to measure, and without a recorded flow such gaps
        are missing seconds but no artefacts. Not compared if none is given.

    Returns
    -------
    list of Artefact
        Nothing before the channel's first usable sample nor after its last: a line that is not in yet,
        or is out, is missing but no artefact (see `seconds_state`).
    """
    key = (channel_key(channel), tuple(channel_key(other) for other in others))
    return list(_ARTEFACTS.get(key, lambda: _find(channel, others)))


def channel_key(channel: Channel) -> tuple[object, ...]:
    """What the samples of a channel depend on: its content, its clock, its unit and the horizon."""
    return (channel.content, channel.id, channel.kind, channel.unit, channel.clock, channel.horizon)


def _find(channel: Channel, others: Sequence[Channel]) -> list[Artefact]:
    if not channel.is_wave:
        return _in_rows(channel, others)
    pieces = [(t0, rate, np.asarray(values, np.float64)) for t0, rate, values in channel.wave()]
    shapes: list[Artefact] = []
    still: list[tuple[str, float, float]] = []
    there: list[tuple[float, float]] = []
    arterial = [other for other in others if other.kind == "arterial_pressure" and other.is_wave]
    is_pressure = channel.kind in PRESSURES and channel.unit == "mm[Hg]"
    for t0, rate, values, off in waves_on_scale(pieces, _shortest(channel)):
        if is_pressure:
            rule = _RULES[channel.kind]
            shapes += open_to_air(
                values, rate, t0, rule=rule, others=_same_time(arterial, t0, rate, values.size)
            )
            shapes += fast_flushes(values, rate, t0, rule=rule)
            shapes += device_patterns(values, rate, t0)
        quiet_s = FROZEN_WAVE_S if channel.kind in PRESSURES else STILL_OTHER_WAVE_S
        still += [("frozen", start, end) for start, end in frozen_wave(values, rate, t0, quiet_s)]
        still += [("off scale", t0 + a / rate, t0 + b / rate) for a, b in true_runs(off)]
        there += [(t0 + a / rate, t0 + b / rate) for a, b in true_runs(np.isfinite(values) | off)]
    still += [
        ("gap", start, end) for start, end in gaps_between(there, max(GAP_WAVE_S, 2 * channel.interval_s))
    ]
    usable = _usable(there, [(start, end) for why, start, end in still if why == "off scale"])
    return _in_order(shapes, still, usable)


def _shortest(channel: Channel) -> float:
    return OFF_SCALE_LOW_S if channel.kind in PRESSURES else STILL_OTHER_WAVE_S


def _in_rows(channel: Channel, others: Sequence[Channel]) -> list[Artefact]:
    span = channel.span
    rows = channel.read(span.start, span.end)
    has_value = np.isfinite(rows.values)
    t, values = rows.t[has_value], rows.values[has_value]
    if t.size < 2:
        return []
    interval = channel.interval_s
    still = [("frozen", start, end) for start, end in frozen_rows(t, values, interval)]
    gaps = gaps_between(zip(t, t + interval, strict=True), 2 * interval)
    if channel.kind == "venous_saturation":
        gaps = [gap for gap in gaps if _blood_flowed(gap, others)]
    still += [("gap", start, end) for start, end in gaps]
    return _in_order([], still, [(float(t[0]), float(t[-1]) + interval)])


def _blood_flowed(gap: tuple[float, float], others: Sequence[Channel]) -> bool:
    """Whether a pump flow among the others shows flow for most of a gap: without, there is nothing to measure."""
    for other in others:
        if other.kind == "pump_flow":
            flow = other.read(*gap).values
            return bool(flow.size and np.count_nonzero(flow >= STANDING_FLOW) > 0.5 * flow.size)
    return False


def _same_time(others: Sequence[Channel], t0: float, rate: float, count: int) -> list[FloatArray]:
    """The other waves laid on the samples of one piece."""
    at = t0 + np.arange(count) / rate
    laid = []
    for other in others:
        samples = other.read(t0 - 1.0, t0 + count / rate + 1.0)
        if samples.t.size > 1:
            nearest = np.clip(np.searchsorted(samples.t, at), 0, samples.t.size - 1)
            close = np.abs(samples.t[nearest] - at) <= 2 * samples.interval_s
            laid.append(np.where(close, samples.values[nearest], np.nan))
    return laid


def _usable(there: list[tuple[float, float]], off: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """From the first to the last usable moment of a wave, as one span; none if it has none."""
    from .measures.intervals import subtract_intervals

    left = subtract_intervals(there, off)
    return [(left[0][0], left[-1][1])] if left else []


_WORDS = {
    "gap": "nothing recorded",
    "off scale": "at the end of the scale: nothing connected, or beyond what the device can write",
    "frozen": "one value repeated exactly",
}


def _in_order(
    shapes: list[Artefact], still: list[tuple[str, float, float]], usable: list[tuple[float, float]]
) -> list[Artefact]:
    """Shapes as they are; still stretches as A9 unless a shape explains them or they lie at the ends."""
    found = list(shapes)
    for why, start, end in still:
        explained = any(one.start - 0.5 <= start and end <= one.end + 0.5 for one in shapes)
        inside = any(first < start and end < last for first, last in usable)
        if inside and not explained:
            found.append(Artefact("A9", start, end, {"reason": _WORDS[why], "what": why}))
    return sorted(found, key=lambda one: (one.start, one.code))


# -- on the grid -----------------------------------------------------------------------------------

_STATES: Memory[StateArray] = Memory(64)


def seconds_state(channel: Channel, grid: FloatArray) -> StateArray:
    """State of each second of a channel: observed, masked (A1, A2), or missing (A9, not recorded).

    Parameters
    ----------
    channel : Channel
        Any channel.
    grid : ndarray
        Whole reference seconds, one apart.

    Returns
    -------
    ndarray of uint8
        A second is masked when any part of it is; the second after a flush is masked for its ring. A
        wave's second is missing when less than half of it was recorded on scale.
    """
    bounds = (float(grid[0]), grid.size) if grid.size else (0.0, 0)
    key = (channel_key(channel), bounds)
    return _STATES.get(key, lambda: _state(channel, grid)).copy()


def _state(channel: Channel, grid: FloatArray) -> StateArray:
    state = np.full(grid.size, OBSERVED, np.uint8)
    if not grid.size:
        return state
    start = float(grid[0])
    if channel.is_wave:
        state[_share_on_scale(channel, start, grid.size) < 0.5] = MISSING
    else:
        state[~np.isfinite(channel.seconds())] = MISSING
    for one in artefacts(channel):
        pad = RING_S if one.code == "A2" else 0.0
        low, high = int(np.floor(one.start - start)), int(np.ceil(one.end + pad - start))
        seconds = slice(max(low, 0), max(high, 0))
        if one.code == "A9":
            state[seconds] = MISSING
        else:
            piece = state[seconds]
            piece[piece == OBSERVED] = MASKED
    return state


def _share_on_scale(channel: Channel, start: float, count: int) -> FloatArray:
    """Part of each second that was recorded and not off scale."""
    share = np.zeros(count)
    pieces = [(t0, rate, np.asarray(values, np.float64)) for t0, rate, values in channel.wave()]
    for t0, rate, values, _ in waves_on_scale(pieces, _shortest(channel)):
        good = np.flatnonzero(np.isfinite(values))
        second = np.floor(t0 - start + good / rate).astype(np.intp)
        inside = (second >= 0) & (second < count)
        share += np.bincount(second[inside], minlength=count)[:count] / rate
    return share


def masked_seconds(channel: Channel, grid: FloatArray) -> BoolArray:
    """Seconds of the grid in which something was recorded that is not to be believed.

    Artefacts, and values off scale or frozen, whether inside the record or before a line was connected.
    """
    return np.asarray((seconds_state(channel, grid) != OBSERVED) & np.isfinite(channel.seconds()))


def clean_waves(channel: Channel, masked: bool = True) -> list[Piece]:
    """Pieces of a wave as float64, off-scale samples blank, and artefacts with the ring of a flush too.

    Parameters
    ----------
    channel : Channel
        A wave.
    masked : bool
        Whether artefacts are blanked; off-scale samples always are, since they are no pressure at all.
    """
    pieces = [(t0, rate, np.asarray(values, np.float64)) for t0, rate, values in channel.wave()]
    found = artefacts(channel) if masked else []
    out: list[Piece] = []
    for t0, rate, values, _ in waves_on_scale(pieces, _shortest(channel)):
        clean = values
        for one in found:
            low = int(np.floor((one.start - t0) * rate))
            high = int(np.ceil((one.end + (RING_S if one.code == "A2" else 0.0) - t0) * rate))
            if high > 0 and low < values.size:
                clean = values.copy() if clean is values else clean
                clean[max(low, 0) : high] = np.nan
        out.append((t0, rate, clean))
    return out
