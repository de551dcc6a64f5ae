"""What one channel shows by itself: openings to air, flushes, gaps, frozen and off-scale values (A1, A2, A9).

`wave_artefacts` holds the shapes on one piece of wave, `still` the gaps, off-scale and frozen values; here a
whole channel is read, and an opening to air held against the other arterial lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from .artefact_numbers import OPEN_TO_AIR, UNUSABLE
from .order import Z95
from .parameter import numbers_of
from .runs import mean, true_runs
from .still import Piece, frozen_rows, frozen_wave, gaps_between, waves_on_scale
from .wave_artefacts import (
    Artefact,
    all_fell,
    device_patterns,
    fast_flushes,
    open_to_air,
)

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

PRESSURES = ("arterial_pressure", "central_venous_pressure", "pulmonary_artery_pressure")


def own_shapes(channel: Channel) -> list[Artefact]:
    """A1, A2 and A9 of a channel, in order of time; see `quality.artefacts`."""
    if not channel.is_wave:
        return _in_rows(channel)
    by = numbers_of(UNUSABLE)
    pieces = pieces_of(channel)
    shapes: list[Artefact] = []
    still: list[tuple[str, float, float]] = []
    there: list[tuple[float, float]] = []
    lines = compared(channel)
    pressure = channel.kind in PRESSURES
    for t0, rate, values, off in waves_on_scale(pieces, pressure=pressure):
        if pressure and channel.unit == "mm[Hg]":
            opened = open_to_air(values, rate, t0, kind=channel.kind)
            shapes += [one for one in opened if _is_the_line(channel, lines, one)]
            shapes += fast_flushes(values, rate, t0)
            shapes += device_patterns(values, rate, t0)
        still += [("frozen", start, end) for start, end in frozen_wave(values, rate, t0, pressure=pressure)]
        still += [("off scale", t0 + a / rate, t0 + b / rate) for a, b in true_runs(off)]
        there += [(t0 + a / rate, t0 + b / rate) for a, b in true_runs(np.isfinite(values) | off)]
    longest = max(by["gap"], by["intervals"] * channel.interval_s)
    still += [("gap", start, end) for start, end in gaps_between(there, longest)]
    usable = _usable(there, [(start, end) for why, start, end in still if why == "off scale"])
    return _in_order(shapes, still, usable, by["explained"])


def pieces_of(channel: Channel) -> list[Piece]:
    """Pieces of a wave as float64, their rates without what a clock's arithmetic left in the last digits.

    A length in samples is cut to a whole number: 0.25 s must not be 24 samples on one clock and 25 on another.
    """
    return [(t0, float(f"{rate:.9g}"), np.asarray(values, np.float64)) for t0, rate, values in channel.wave()]


def _is_the_line(channel: Channel, lines: Sequence[Channel], one: Artefact) -> bool:
    """Whether an opening to air is one: another site kept its pressure, or every line of the source was opened."""
    levels = _levels(lines, one)
    if not all_fell(levels):
        return True
    least = OPEN_TO_AIR["others_from"].value
    fell = [line for line, (before, _) in zip(lines, levels, strict=True) if before >= least]
    return _came_to_zero(one) and all(
        line.source == channel.source and _opened_with(line, one) for line in fell
    )


def _came_to_zero(one: Artefact) -> bool:
    """Whether it lies on zero, and not as near to it as a patient without a circulation may come."""
    return abs(float(one.evidence["level_mmhg"])) <= OPEN_TO_AIR["together"].value


def _opened_with(line: Channel, one: Artefact) -> bool:
    """Whether another line was itself open to air for most of that time.

    All transducers of a pole are often zeroed at once: each jumps to zero within two seconds, and back. The pressures
    of a patient whose circulation stands run down over many seconds, and stop short of zero.
    """
    by = numbers_of(OPEN_TO_AIR)
    reach = 2 * (by["within"] + by["around"]) + by["others_before"]
    for t0, rate, values in pieces_of(line):
        first, last = (round((edge - t0) * rate) for edge in (one.start - reach, one.end + reach))
        if last <= 0 or first >= values.size:
            continue
        first = max(first, 0)
        for own in open_to_air(values[first:last], rate, t0 + first / rate, kind=line.kind):
            shared = min(own.end, one.end) - max(own.start, one.start)
            if _came_to_zero(own) and 2 * shared >= one.end - one.start:
                return True
    return False


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
            and (other.source == channel.source or other_site(channel, other))
            and ordered(channel, other, OPEN_TO_AIR["within"].value)
        )
    if channel.kind == "venous_saturation":
        slack = UNUSABLE["intervals"].value * channel.interval_s
        return tuple(
            other for other in channel.beside if other.kind == "pump_flow" and ordered(channel, other, slack)
        )
    return ()


def other_site(channel: Channel, other: Channel) -> bool:
    """Whether both sites are known and they are two."""
    known = bool(channel.site and other.site)
    return known and (channel.kind, channel.site, channel.side) != (other.kind, other.site, other.side)


def ordered(channel: Channel, other: Channel, within_s: float) -> bool:
    """Whether the clocks of two channels leave less doubt than `within_s` of what was at the same moment."""
    if channel.source == other.source:
        return True
    one, two = (max(piece.sd_s for piece in each.clock.pieces) for each in (channel, other))
    return bool(Z95 * np.hypot(one, two) <= within_s)
