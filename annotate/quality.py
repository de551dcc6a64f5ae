"""What of a channel can be used: artefacts A1, A2 and A9, and the seconds that they take away.

`wave_artefacts` holds the shapes on one piece of wave, `still` the gaps, off-scale and frozen values; here
a whole channel is read, held against others, and the result is laid on the grid of seconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from .artefact_numbers import FLUSH, OPEN_TO_AIR, RAMP, UNUSABLE
from .memory import Memory
from .order import Z95
from .parameter import numbers_of
from .runs import BoolArray, FloatArray, mean, true_runs
from .series import MASKED, MISSING, OBSERVED, StateArray
from .still import Piece, frozen_rows, frozen_wave, gaps_between, off_scale, waves_on_scale
from .wave_artefacts import (
    Artefact,
    all_fell,
    device_patterns,
    fast_flushes,
    open_to_air,
)

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

__all__ = [
    "PRESSURES",
    "Artefact",
    "Piece",
    "artefacts",
    "channel_key",
    "clean_waves",
    "compared",
    "frozen_rows",
    "frozen_wave",
    "gaps_between",
    "masked_seconds",
    "off_scale",
    "seconds_state",
    "waves_on_scale",
]

PRESSURES = ("arterial_pressure", "central_venous_pressure", "pulmonary_artery_pressure")


ROUNDING = 1e-6  # s or samples; what the arithmetic of a clock may leave

# -- a channel -------------------------------------------------------------------------------------

_ARTEFACTS: Memory[list[Artefact]] = Memory(64)


def artefacts(channel: Channel) -> list[Artefact]:
    """Artefacts A1, A2 and A9 of a channel, in order of time.

    Parameters
    ----------
    channel : Channel
        Any channel. A1 and A2 are looked for on waves of blood pressure in mmHg, and held against the
        channels that `compared` gives.

    Returns
    -------
    list of Artefact
        Nothing before the channel's first usable sample nor after its last: a line that is not in yet,
        or is out, is missing but no artefact (see `seconds_state`).
    """
    return list(_ARTEFACTS.get(channel_key(channel), lambda: _find(channel)))


def compared(channel: Channel) -> tuple[Channel, ...]:
    """Channels of the same case that the artefacts of a channel are held against.

    For a pressure the arterial waves of other sites: where all of them lose their pressure at the same
    moment the patient did, and nothing is called A1. A line of the same or of an unknown site counts only
    within one source, since another source may have recorded the very same line. For a venous saturation
    the pump flow: without flow there is nothing to measure, and a gap is no artefact; nor is it without a
    recorded flow. A source whose clock leaves more doubt than a fall may take says nothing.
    """
    if channel.kind in PRESSURES and channel.is_wave:
        return tuple(
            other
            for other in channel.beside
            if other.id != channel.id
            and (other.kind, other.unit) == ("arterial_pressure", "mm[Hg]")
            and other.is_wave
            and (other.source == channel.source or _other_site(channel, other))
            and _ordered(channel, other, OPEN_TO_AIR["within"].value)
        )
    if channel.kind == "venous_saturation":
        slack = UNUSABLE["intervals"].value * channel.interval_s
        return tuple(
            other for other in channel.beside if other.kind == "pump_flow" and _ordered(channel, other, slack)
        )
    return ()


def _other_site(channel: Channel, other: Channel) -> bool:
    known = bool(channel.site and other.site)
    return known and (channel.kind, channel.site, channel.side) != (other.kind, other.site, other.side)


def _ordered(channel: Channel, other: Channel, within_s: float) -> bool:
    """Whether the clocks of two channels leave less doubt than `within_s` of what was at the same moment."""
    if channel.source == other.source:
        return True
    one, two = (max(piece.sd_s for piece in each.clock.pieces) for each in (channel, other))
    return bool(Z95 * np.hypot(one, two) <= within_s)


def channel_key(channel: Channel) -> tuple[object, ...]:
    """What everything that is computed of a channel depends on.

    Its own content, clock, unit and horizon, those of the channels that its artefacts are held against,
    and the numbers that they are looked for by.
    """
    numbers = tuple(
        parameter.value for table in (OPEN_TO_AIR, FLUSH, RAMP, UNUSABLE) for parameter in table.values()
    )
    return (_own_key(channel), tuple(_own_key(other) for other in compared(channel)), numbers)


def _own_key(channel: Channel) -> tuple[object, ...]:
    return (channel.content, channel.id, channel.kind, channel.unit, channel.clock, channel.horizon)


def _find(channel: Channel) -> list[Artefact]:
    if not channel.is_wave:
        return _in_rows(channel)
    by = numbers_of(UNUSABLE)
    pieces = _pieces(channel)
    shapes: list[Artefact] = []
    still: list[tuple[str, float, float]] = []
    there: list[tuple[float, float]] = []
    lines = compared(channel)
    pressure = channel.kind in PRESSURES
    for t0, rate, values, off in waves_on_scale(pieces, pressure=pressure):
        if pressure and channel.unit == "mm[Hg]":
            opened = open_to_air(values, rate, t0, kind=channel.kind)
            shapes += [one for one in opened if not all_fell(_levels(lines, one))]
            shapes += fast_flushes(values, rate, t0)
            shapes += device_patterns(values, rate, t0)
        still += [("frozen", start, end) for start, end in frozen_wave(values, rate, t0, pressure=pressure)]
        still += [("off scale", t0 + a / rate, t0 + b / rate) for a, b in true_runs(off)]
        there += [(t0 + a / rate, t0 + b / rate) for a, b in true_runs(np.isfinite(values) | off)]
    longest = max(by["gap"], by["intervals"] * channel.interval_s)
    still += [("gap", start, end) for start, end in gaps_between(there, longest)]
    usable = _usable(there, [(start, end) for why, start, end in still if why == "off scale"])
    return _in_order(shapes, still, usable, by["explained"])


def _pieces(channel: Channel) -> list[Piece]:
    """Pieces of a wave as float64, their rates without what a clock's arithmetic left in the last digits.

    A length in samples is cut to a whole number: 0.25 s must not be 24 samples on one clock and 25 on another.
    """
    return [(t0, float(f"{rate:.9g}"), np.asarray(values, np.float64)) for t0, rate, values in channel.wave()]


def _levels(lines: Sequence[Channel], one: Artefact) -> list[tuple[float, float]]:
    """Mean pressure of other lines before an opening to air, and meanwhile once a fall had its time."""
    by = numbers_of(OPEN_TO_AIR)
    windows = (one.start - by["others_before"], one.start), (one.start + by["within"], one.end)
    levels = []
    for line in lines:
        before, during = (line.read(*window).values for window in windows)
        levels.append((mean(before), mean(during)))
    return levels


def _in_rows(channel: Channel) -> list[Artefact]:
    by = numbers_of(UNUSABLE)
    span = channel.span
    rows = channel.read(span.start, span.end)
    has_value = np.isfinite(rows.values)
    t, values = rows.t[has_value], rows.values[has_value]
    if t.size < 2:
        return []
    interval = channel.interval_s
    still = [("frozen", start, end) for start, end in frozen_rows(t, values, interval)]
    gaps = gaps_between(zip(t, t + interval, strict=True), by["intervals"] * interval)
    if channel.kind == "venous_saturation":
        gaps = [gap for gap in gaps if _blood_flowed(gap, compared(channel))]
    still += [("gap", start, end) for start, end in gaps]
    return _in_order([], still, [(float(t[0]), float(t[-1]) + interval)], by["explained"])


def _blood_flowed(gap: tuple[float, float], flows: Sequence[Channel]) -> bool:
    """Whether a pump flow shows flow for most of a gap: without, there is nothing to measure."""
    by = numbers_of(UNUSABLE)
    for flow in flows:
        values = flow.read(*gap).values
        flowed = np.count_nonzero(values >= by["flowing"])
        if values.size:
            return bool(flowed > by["flowing_share"] / 100 * values.size)
    return False


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
    shapes: list[Artefact],
    still: list[tuple[str, float, float]],
    usable: list[tuple[float, float]],
    slack_s: float,
) -> list[Artefact]:
    """Shapes as they are; still stretches as A9 unless a shape explains them or they lie at the ends."""
    found = list(shapes)
    for why, start, end in still:
        explained = any(one.start - slack_s <= start and end <= one.end + slack_s for one in shapes)
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
        A second is masked when any part of it is; the second after a flush is masked for its ring, and what
        leads into or out of an opening or a flush without a beat is masked with it. A wave's second is missing
        when less than half of it was recorded on scale.
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
        begin, end = _not_believed(one)
        low, high = _around(begin - start, end - start)
        seconds = slice(max(low, 0), max(high, 0))
        if one.code == "A9":
            state[seconds] = MISSING
        else:
            piece = state[seconds]
            piece[piece == OBSERVED] = MASKED
    return state


def _not_believed(one: Artefact) -> tuple[float, float]:
    """Start and end of what is masked for an artefact: with the ring of a flush, and with its ramps."""
    if one.code == "A9":
        return one.start, one.end
    ring = FLUSH["ring"].value if one.code == "A2" else 0.0
    before, after = (float(one.evidence.get(name, 0.0)) for name in ("ramp_before_s", "ramp_after_s"))
    return one.start - before, one.end + max(ring, after)


def _around(start: float, end: float) -> tuple[int, int]:
    """First and past-last of the whole units that a stretch touches, the last digits of its ends aside."""
    return int(np.floor(start + ROUNDING)), int(np.ceil(end - ROUNDING))


def _share_on_scale(channel: Channel, start: float, count: int) -> FloatArray:
    """Part of each second that was recorded and not off scale."""
    share = np.zeros(count)
    pieces = _pieces(channel)
    for t0, rate, values, _ in waves_on_scale(pieces, pressure=channel.kind in PRESSURES):
        good = np.flatnonzero(np.isfinite(values))
        second = np.floor(t0 - start + good / rate + ROUNDING).astype(np.intp)
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
    pieces = _pieces(channel)
    found = artefacts(channel) if masked else []
    out: list[Piece] = []
    for t0, rate, values, _ in waves_on_scale(pieces, pressure=channel.kind in PRESSURES):
        clean = values
        for one in found:
            begin, end = _not_believed(one)
            low, high = _around((begin - t0) * rate, (end - t0) * rate)
            if high > 0 and low < values.size:
                clean = values.copy() if clean is values else clean
                clean[max(low, 0) : high] = np.nan
        out.append((t0, rate, clean))
    return out
