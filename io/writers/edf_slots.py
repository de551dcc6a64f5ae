"""Where each sample goes in an EDF file: the places of a signal stand at one rate, the samples may not.

All signals of a file share one start and one duration of a data record, and have a whole number of places in
it. A sample goes to the place nearest to its time on the reference clock, never more than half an interval
away, and is never changed. Where a clock runs slow a place is left over now and then and holds a copy of the
sample before; where it runs fast two samples meet in one place and the second is left out. Both are counted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..channel import Channel
from ..errors import CannotWrite
from .pieces import Piece, recorded_runs

_MOST_RECORD_S = 3600
_SLIP = 0.01  # of a place: what a rate may be off by over the whole file
_TOLD_S = 1e-3  # from here on, or a hundredth of an interval, a time off its place is told
_MOST_SKEW = 0.05  # no clock runs wrong by more


@dataclass(frozen=True, slots=True)
class Run:
    """Samples that go to places one after the other."""

    first: int
    count: int
    slot: int
    t: float
    dt: float
    line: tuple[float, float]  # scale and offset
    copy: bool = False  # a sample that stands in the place before, too


@dataclass
class Signal:
    """One EDF signal: a channel, or that part of it that has one rate and does not overlap itself."""

    channel: Channel
    rate_hz: float
    runs: list[Run]
    label: str = ""
    left_out: int = 0

    @property
    def copies(self) -> int:
        """Places that hold a copy of the sample before."""
        return sum(run.copy for run in self.runs)

    @property
    def slots(self) -> int:
        """Places up to the last sample."""
        return max((run.slot + run.count for run in self.runs), default=0)

    def holes(self, slots: int) -> NDArray[np.int64]:
        """Half-open ranges of places, of so many in all, for which nothing was recorded."""
        there = [
            recorded_runs(self.channel, run.first, run.count) - run.first + run.slot for run in self.runs
        ]
        rows = np.concatenate([np.zeros((1, 2), np.int64), *there, np.array([[slots, slots]], np.int64)])
        holes = np.stack([rows[:-1, 1], rows[1:, 0]], axis=1)
        return holes[holes[:, 1] > holes[:, 0]]

    def told_times(self, start_s: float) -> list[tuple[int, int, float, float]]:
        """Stretches of places whose samples stand off them: first, past last, shift in s, rate in Hz."""
        tolerance = min(_TOLD_S, 0.01 / self.rate_hz)
        told: list[tuple[int, int, float, float]] = []
        ahead: Run | None = None
        for run in self.runs:
            if run.copy:
                continue
            shift = run.t - start_s - run.slot / self.rate_hz
            at_end = shift + (run.count - 1) * (run.dt - 1 / self.rate_hz)
            if max(abs(shift), abs(at_end)) <= tolerance:
                ahead = None
                continue
            joins = (
                ahead is not None
                and run.slot == told[-1][1]
                and run.dt == ahead.dt
                and abs(ahead.t + ahead.count * ahead.dt - run.t) < 1e-6
            )
            end = run.slot + run.count
            if joins:
                told[-1] = (told[-1][0], end, told[-1][2], told[-1][3])
            else:
                told.append((run.slot, end, shift, 1.0 / run.dt))
            ahead = run
        return told


def signals_of(channel: Channel, pieces: Sequence[Piece], start_s: float) -> list[Signal]:
    """The signals that hold a channel's samples.

    Parameters
    ----------
    channel : Channel
        For its name, and for what of it was recorded.
    pieces : sequence of Piece
        Its samples, in order of time.
    start_s : float
        Reference time of the first place.

    Raises
    ------
    CannotWrite
        When its clock is set to a rate that no clock has.
    """
    signals: list[Signal] = []
    for piece in pieces:
        rate = float(f"{piece.rate_hz:.9g}")
        if abs(piece.dt * rate - 1) > _MOST_SKEW:
            raise CannotWrite(
                f"on the reference clock its {rate:g} samples a second come {1 / piece.dt:g} times a second",
                place=f"channel {channel.id}",
                todo=f"Look at the clock of {channel.source}",
            )
        runs, left_out = _runs(piece, rate, start_s)
        for signal in signals:
            # Two pieces that meet in one place, by rounding, are still one signal.
            meet = signal.slots - runs[0].slot
            if signal.rate_hz == rate and meet <= 1:
                if meet == 1:
                    runs, left_out = _without_first(runs), left_out + 1
                break
        else:
            signal = Signal(channel, rate, [])
            signals.append(signal)
        signal.runs += runs
        signal.left_out += left_out
    return signals


def _without_first(runs: list[Run]) -> list[Run]:
    first, *others = runs
    if first.count == 1:
        return others
    later = Run(first.first + 1, first.count - 1, first.slot + 1, first.t + first.dt, first.dt, first.line)
    return [later, *others]


def _runs(piece: Piece, rate: float, start_s: float) -> tuple[list[Run], int]:
    """Runs of a piece, and how many samples found no place."""
    line = piece.scale, piece.offset
    place = (piece.t - start_s) * rate
    base = math.floor(place + 0.5)
    phase, slip = place - base, piece.dt * rate - 1.0
    if abs(slip) * piece.count < 1e-3:
        return [Run(piece.first, piece.count, base, piece.t, piece.dt, line)], 0
    # Sample i goes to base + i + floor(phase + i * slip + 1/2); find where that moves on by one.
    turns = math.floor(phase + (piece.count - 1) * slip + 0.5)
    numbers = np.arange(1, abs(turns) + 1)
    if slip > 0:
        at = np.ceil((numbers - 0.5 - phase) / slip).astype(np.int64)
    else:
        at = np.floor((phase + numbers - 0.5) / -slip).astype(np.int64) + 1
    at = at[(at > 0) & (at < piece.count)]
    runs, begin, left_out = [], 0, 0
    for number, (a, b) in enumerate(zip([0, *at.tolist()], [*at.tolist(), piece.count], strict=True)):
        slot = base + a + (number if slip > 0 else -number)
        if number and slip > 0:
            before = piece.t + (a - 1) * piece.dt
            runs.append(Run(piece.first + a - 1, 1, slot - 1, before, piece.dt, line, copy=True))
        begin = a
        if number and slip < 0:
            begin, slot, left_out = a + 1, slot + 1, left_out + 1
        if b > begin:
            runs.append(Run(piece.first + begin, b - begin, slot, piece.t + begin * piece.dt, piece.dt, line))
    return runs, left_out


def record_duration(signals: Sequence[Signal], length_s: float) -> tuple[int, list[int]]:
    """Seconds of a data record, and the places of each signal in it.

    The fewest seconds in which every signal has a whole number of places.

    Raises
    ------
    CannotWrite
        When there are none up to an hour.
    """
    seconds = np.arange(1, _MOST_RECORD_S + 1, dtype=np.float64)
    fits = np.ones(len(seconds), bool)
    each = []
    for signal in signals:
        places = signal.rate_hz * seconds
        whole = np.rint(places)
        fit = (np.abs(places - whole) / seconds * max(length_s, 1.0) <= _SLIP) & (whole >= 1)
        fits &= fit
        each.append((signal, fit))
    if not fits.any():
        worst = min(each, key=lambda pair: int(pair[1].sum()))[0]
        raise CannotWrite(
            f"its {worst.rate_hz:.9g} samples a second make no whole number in a data record of EDF of up to "
            f"{_MOST_RECORD_S} s" + (" together with the other channels" if len(signals) > 1 else ""),
            place=f"channel {worst.channel.id}",
            todo="Write it by itself or as CSV",
        )
    duration = int(np.argmax(fits)) + 1
    return duration, [round(signal.rate_hz * duration) for signal in signals]
