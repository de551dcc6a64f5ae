"""What this program's own EDF+ files tell beyond the format: samples that are not there, and their times.

The format has one rate a signal and no code for "not recorded". A file written by `afterclamp.io.writers.edf`
therefore fills such places up and says so in annotations that any program shows, with onset and duration:

- ``not recorded: FEM``: no sample of the signal FEM stands in this stretch;
- ``repeated: FEM``: one sample, a copy of the one before it, where a slow clock left a place free;
- ``sample times: FEM +0.25 s, 0.99994 Hz``: the samples of this stretch were taken later than their places
  by what is said (at its first), and follow each other at that rate.

Here they are taken back: the samples are as they were in the case that was written. Only files whose header
names this program as the equipment are read so; in others such words are a text like any other.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ..recording import Block, RecordedChannel, Segment
from .edf_annotations import Annotation, Annotations

EQUIPMENT = "afterclamp"
NOT_RECORDED = "not recorded: "
REPEATED = "repeated: "
TIMES = "sample times: "
_SHIFT = re.compile(r"(.+) ([+-]\d{1,9}(?:\.\d{1,9})?) s, (\d{1,9}(?:\.\d{1,9})?) Hz", re.ASCII)
_MOST_SKEW = 0.06  # what the writer tells is within 5 % of the signal's rate and a sample of its place


@dataclass
class _Told:
    """Half-open ranges of places of one signal."""

    missing: list[tuple[int, int]] = field(default_factory=list)
    repeated: list[tuple[int, int]] = field(default_factory=list)
    times: list[tuple[int, int, float, float]] = field(default_factory=list)  # and shift in s, rate in Hz


def times_text(label: str, shift_s: float, rate_hz: float) -> str:
    """The annotation that tells when the samples of a stretch were taken."""
    return f"{TIMES}{label} {shift_s:+.7f} s, {rate_hz:.9f} Hz"


def restored(
    channels: Sequence[RecordedChannel], annotations: Annotations, origin_s: float
) -> tuple[tuple[RecordedChannel, ...], Annotations]:
    """Channels without what the annotations call not recorded, and the annotations that remain.

    Parameters
    ----------
    channels : sequence of RecordedChannel
        As the file has them: one segment each.
    annotations : Annotations
        All of the file.
    origin_s : float
        When the first record starts, in the annotations' seconds.
    """
    labels = Counter(channel.label for channel in channels)
    known = {
        channel.label: channel
        for channel in channels
        if len(channel.segments) == 1 and labels[channel.label] == 1
    }
    told = {label: _Told() for label in known}
    rest = [text for text in annotations.texts if not _take(text, known, told, origin_s)]
    out = tuple(
        _restored(channel, told[channel.label]) if channel.label in told else channel for channel in channels
    )
    return out, replace(annotations, texts=tuple(rest))


def _take(
    text: Annotation, known: dict[str, RecordedChannel], told: dict[str, _Told], origin_s: float
) -> bool:
    """Whether the text is one of the three; it is kept with its signal then."""
    words = text.text
    shift = _SHIFT.fullmatch(words.removeprefix(TIMES)) if words.startswith(TIMES) else None
    if shift is not None:
        label = shift[1]
    elif words.startswith((NOT_RECORDED, REPEATED)):
        label = words.partition(": ")[2]
    else:
        return False
    if label not in known:
        return False
    channel = known[label]
    rate = channel.segments[0].rate_hz
    if shift is not None and not (
        abs(float(shift[3]) / rate - 1) <= _MOST_SKEW and abs(float(shift[2])) * rate <= 1.0
    ):
        return False
    ends = (text.onset_s - origin_s, text.onset_s + text.duration_s - origin_s)
    a, b = (min(max(round(at * rate), 0), channel.count) for at in ends)
    if shift is not None:
        told[label].times.append((a, b, float(shift[2]), float(shift[3])))
    else:
        (told[label].missing if words.startswith(NOT_RECORDED) else told[label].repeated).append((a, b))
    return True


def _restored(channel: RecordedChannel, told: _Told) -> RecordedChannel:
    missing = _merged(told.missing)
    # What is missing at either end was never there: the signal is as long as it was.
    start = int(missing[0, 1]) if len(missing) and missing[0, 0] == 0 else 0
    end = int(missing[-1, 0]) if len(missing) and missing[-1, 1] == channel.count else channel.count
    kept: list[tuple[int, int]] = []
    for a, b in _merged(told.repeated):
        if a > start:
            kept.append((start, int(a)))
        start = max(start, int(b))
    if start < end:
        kept.append((start, end))
    segments = _segments(channel.segments[0], kept, sorted(told.times))
    return replace(
        channel,
        count=sum(segment.count for segment in segments),
        segments=tuple(segments),
        blocks=partial(_blocks, channel, np.array(kept, np.int64).reshape(-1, 2), missing),
    )


def _merged(ranges: Sequence[tuple[int, int]]) -> NDArray[np.int64]:
    rows = np.array(sorted(ranges), np.int64).reshape(-1, 2)
    rows = rows[rows[:, 1] > rows[:, 0]]
    if len(rows) < 2:
        return rows
    reach = np.maximum.accumulate(rows[:, 1])
    opens = np.concatenate([[True], rows[1:, 0] > reach[:-1]])
    closes = np.concatenate([opens[1:], [True]])
    return np.stack([rows[opens, 0], reach[closes]], axis=1)


def _segments(
    whole: Segment, kept: Sequence[tuple[int, int]], times: Sequence[tuple[int, int, float, float]]
) -> list[Segment]:
    segments: list[Segment] = []
    first = at = 0
    for a, b in kept:
        while a < b:
            while at < len(times) and times[at][1] <= a:
                at += 1
            start_s, rate, stop = whole.start_s + a / whole.rate_hz, whole.rate_hz, b
            if at < len(times) and times[at][0] < b:
                begin, end, shift, own_rate = times[at]
                if begin > a:
                    stop = begin
                else:
                    start_s = whole.start_s + begin / whole.rate_hz + shift + (a - begin) / own_rate
                    rate, stop = own_rate, min(b, end)
            segments.append(replace(whole, start_s=start_s, first=first, count=stop - a, rate_hz=rate))
            first += stop - a
            a = stop
    return segments


def _blocks(channel: RecordedChannel, kept: NDArray[np.int64], missing: NDArray[np.int64]) -> Iterator[Block]:
    at = 0
    for block in channel.blocks():
        end = at + len(block.codes)
        valid = np.ones(end - at, bool)
        for a, b in _within(missing, at, end):
            valid[a:b] = False
        for a, b in _within(kept, at, end):
            yield Block(block.codes[a:b], None if valid[a:b].all() else valid[a:b])
        at = end


def _within(ranges: NDArray[np.int64], at: int, end: int) -> Iterator[tuple[int, int]]:
    """Parts of ranges that lie in ``at:end``, counted from `at`."""
    first = int(np.searchsorted(ranges[:, 1], at, side="right"))
    last = int(np.searchsorted(ranges[:, 0], end, side="left"))
    for a, b in ranges[first:last].tolist():
        yield max(a - at, 0), min(b, end) - at
