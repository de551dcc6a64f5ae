"""What the tip under the pointer says: the values there, with unit, or the bar of a lane."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from .axis import TimeText, write_value
from .courses import BAND_S
from .envelope import Grain, TimeScale
from .lanes import CLOCK_NOT_SET, Bar
from .layout import Strip, Trace

if TYPE_CHECKING:
    from afterclamp.annotate.masking import MaskedSpan

MOST_LISTED = 8  # bars that a tip lists
_HOLD_INTERVALS = 3.0  # a value further back than this is too old to be one of now


def strip_tip(
    strip: Strip,
    t: float,
    scale: TimeScale,
    grain: Grain,
    text: TimeText,
    reasons: Mapping[str, Sequence[MaskedSpan]] | None = None,
    *,
    raw: bool = False,
) -> str:
    """Lines of a tip for a strip: the time, then one line a trace.

    Parameters
    ----------
    strip : Strip
        Under the pointer.
    t : float
        Reference seconds under the pointer.
    scale : TimeScale
        The window.
    grain : Grain
        How finely it is drawn.
    text : TimeText
        How times are written.
    reasons : mapping of str to sequence of MaskedSpan, optional
        What is masked or missing, by channel id.
    raw : bool
        Whether that is left in.
    """
    per_pixel = scale.second_per_column * grain.across
    lines = [text.write(t, 2 if per_pixel < 0.05 else 1 if per_pixel < 0.5 else 0)]
    lines += [
        f"{trace.name}: {_reading(trace, t, per_pixel, strip.unit)}"
        + (f", {CLOCK_NOT_SET}" if trace.clock_unset else "")
        + _why((reasons or {}).get(trace.channel.id, ()), t, text, raw=raw)
        + _outside(trace, t, text)
        for trace in strip.traces
    ]
    return "\n".join(lines)


def _outside(trace: Trace, t: float, text: TimeText) -> str:
    """That a line's record has not begun or is over; empty within it, and where nobody may know."""
    channel = trace.channel
    span = channel.span
    if not channel.begun or span.start <= t < span.end or (channel.horizon or t) < t:
        return ""
    if t < span.start:
        return f"\n    nothing recorded yet: its record begins at {text.write(span.start)}"
    return f"\n    nothing recorded any more: its record ends at {text.write(span.end)}"


def _why(spans: Sequence[MaskedSpan], t: float, text: TimeText, *, raw: bool) -> str:
    """Why a trace is not to be believed at a moment, a line each; empty where it is."""
    told = []
    for one in spans:
        first, last = one.seconds
        if first <= t < last:
            times = f"{text.write(one.start)} to {text.write(one.end)}"
            told.append(f"\n    {one.state(raw)}{one.reason}, {times}")
    return "".join(told)


def bar_tip(bar: Bar, text: TimeText) -> str:
    """Lines of a tip for a bar: what it is, from when to when, and how sure its times are."""
    times = text.write(bar.start)
    if bar.end > bar.start:
        times = f"{times} to {text.write(bar.end)}"
    if bar.clock_unset:
        return f"{bar.detail or bar.label}\n{times}, {CLOCK_NOT_SET}"
    sure = f" ± {write_value(round(1.96 * bar.sd_s, 1))} s" if bar.sd_s else ""
    return f"{bar.detail or bar.label}\n{times}{sure}"


def bars_tip(bars: Sequence[Bar], text: TimeText) -> str:
    """The tip of bars that lie under the pointer: one whole, several a line each, in order of time.

    Parameters
    ----------
    bars : sequence of Bar
        The shortest first; one at least.
    text : TimeText
        How times are written.
    """
    if len(bars) == 1:
        return bar_tip(bars[0], text)
    listed = sorted(bars[:MOST_LISTED], key=lambda bar: bar.start)
    lines = [bar_tip(bar, text).replace("\n", ", ") for bar in listed]
    more = [f"and {len(bars) - MOST_LISTED} longer ones"] if len(bars) > MOST_LISTED else []
    return "\n".join([f"{len(bars)} here; a click goes to the shortest, {bars[0].label}", *lines, *more])


def margin_tip(strip: Strip) -> str:
    """Lines of a tip beside a strip: its title whole, then each trace with where it comes from."""
    lines = [f"{strip.title}, {strip.unit}" if strip.unit else strip.title]
    for trace in strip.traces:
        channel = trace.channel
        tag = f", {trace.tag} at its end" if trace.tag else ""
        label = f" ({channel.label})" if channel.label and channel.label != trace.name else ""
        unset = f", {CLOCK_NOT_SET}" if trace.clock_unset else ""
        lines.append(f"{trace.name}{tag}: from {channel.source}{label}{unset}")
    return "\n".join(lines)


def _reading(trace: Trace, t: float, per_pixel: float, unit: str) -> str:
    channel = trace.channel
    words = f" {unit}" if unit else ""
    if channel.is_wave and per_pixel >= BAND_S:
        # A pixel holds more than can be told apart: its extremes.
        around = channel.envelope(t - per_pixel, t + per_pixel, 1)
        low, high = float(around.lo[0]), float(around.hi[0])
        return "–" if math.isnan(low) else f"{_write(low)} to {_write(high)}{words}"
    interval = channel.interval_s if channel.interval_s == channel.interval_s else 0.0
    back = max(_HOLD_INTERVALS * interval, per_pixel)
    samples = channel.read(t - back, t + 1e-9)
    seen = np.flatnonzero(~np.isnan(samples.values))
    if not len(seen):
        return "–"
    value, age = float(samples.values[seen[-1]]), t - float(samples.t[seen[-1]])
    old = f", {age:.0f} s old" if interval >= 0.5 and age > 1.5 * interval else ""
    return f"{_write(value)}{words}{old}"


def _write(value: float) -> str:
    return write_value(round(value, 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2))
