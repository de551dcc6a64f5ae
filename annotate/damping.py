"""A pressure line that smooths the pulse, or rings with it (A4): its mean can be used, its pulse cannot.

Both are held against the other arterial lines. A pulse that narrows everywhere is the patient, and so is one whose
mean falls with it; a radial pulse that was narrower than the femoral one all along is no change of the line. So
a line must change against every other site that has a pulse, within a minute or two, while its mean stays; the
shape of its beats must change too, and that is looked up in the samples. What a flush shows of a line counts
without any change.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .artefact_numbers import DAMPED
from .damped_throughout import damped_by_flush, damped_throughout, in_words
from .line_pulse import RING_HZ, Against, Pulse, Shape
from .line_seconds import BLOCK_S, FINE_S, LineSeconds, binned, row_medians, windows
from .lost_pulse import lost_pulse
from .own_shapes import other_site
from .parameter import Numbers, numbers_of
from .runs import BoolArray, FloatArray, close_gaps, median, true_runs
from .wave_artefacts import Artefact

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

BIN_S = 5
"""Seconds that share one median while changes are looked for."""
APART = 2
"""Bins between before and after: what a line needs to become damped."""
EDGE = 0.85
"""Share of the pulse before at which a change has begun, walked back to for at most `EDGE_S`."""
EDGE_S = 15
AGAIN = 1.08
"""Above the limit by so much the pulse is back: noise on it does not end a stretch."""
STEADY_FLOW = 0.3  # L/min by which a pump's flow may change while one line alone is judged
SWING_SD, ROUGH_SD = 4.8, 1.22
"""Highest less lowest of 75 normal values, and roughness of white noise, in standard deviations."""
CLEARED_S = 30.0  # within which of a flush a line alone that comes to stand higher was cleared by it
SLACK_S = 3  # by which a stretch may be measured too short: its pulse is of three seconds each
LONGEST_LOOK_S = 120.0  # of a stretch, that samples are read of


@dataclass(frozen=True, slots=True)
class _Change:
    """A course before and after each bin."""

    before: FloatArray
    after: FloatArray

    @classmethod
    def of(cls, course: FloatArray, by: Numbers, forget: BoolArray) -> _Change:
        """Medians over ``before`` and ``shortest`` seconds; `forget` marks seconds that no "before" counts."""
        back, ahead = int(by["before"] / BIN_S), int(by["shortest"] / BIN_S)
        usual = binned(np.where(forget, np.nan, course), BIN_S)
        return cls(
            row_medians(windows(usual, back + APART, 0)[:, :back], int(by["seen"] / BIN_S)),
            row_medians(windows(binned(course, BIN_S), 0, ahead)[:, 1:], ahead // 2),
        )


def damped_line(line: LineSeconds, others: tuple[LineSeconds, ...]) -> list[Artefact]:
    """A4: over-damped and ringing stretches of an arterial line.

    Parameters
    ----------
    line : LineSeconds
        An arterial wave in mmHg; anything else gives nothing.
    others : tuple of LineSeconds
        The other channels of its case. Arterial waves of other sites are held against it; where there is none,
        a pulmonary artery pressure; without that its own pulse before, while no recorded pump flow changes.

    Returns
    -------
    list of Artefact
        In order of time, none of them overlapping; ``what`` in the evidence is ``"over-damped"`` or ``"ringing"``.
        A line that was damped before the first 20 s that it was seen, or that dampens over more than about two
        minutes, is found beside another arterial line (`damped_throughout`), or by a flush.
    """
    if not _arterial(line.channel) or line.count < 2 * BIN_S:
        return []
    by = numbers_of(DAMPED)
    peers = [one for one in others if _arterial(one.channel) and _another(line.channel, one.channel)]
    if not peers:
        peers = [
            one for one in others if one.channel.is_wave and one.channel.kind == "pulmonary_artery_pressure"
        ]
    own = Pulse.of(line)
    against = [Against.of(own, Pulse.of(one), by["least"]) for one in peers]
    flows = [one for one in others if one.channel.kind == "pump_flow"]
    taken = np.zeros(line.count, np.bool_)
    found: list[Artefact] = []
    while True:
        cursor = line.index(found[-1].end) // BIN_S if found else 0
        looks = [look(own, against, flows, by, taken) for look in (_Damped, _Ringing)]
        candidates = sorted(
            (int(at), rank) for rank, look in enumerate(looks) for at in look.candidates() if at >= cursor
        )
        new = next((new for at, rank in candidates if (new := looks[rank].stretch(at)) is not None), None)
        if new is None:
            break
        found.append(new)
        taken[_seconds(line, new)] = True
    found = _not_lost(found, line, others, own, by)
    flushed = damped_by_flush(own, against, by, taken)
    for one in flushed:
        taken[_seconds(line, one)] = True
    found += flushed
    if all(_arterial(one.channel) for one in peers):
        found += damped_throughout(own, against, by, taken)
    return sorted(found, key=lambda one: one.start)


def _not_lost(
    found: list[Artefact], line: LineSeconds, others: tuple[LineSeconds, ...], own: Pulse, by: Numbers
) -> list[Artefact]:
    """The same, less what is told as a pulse lost on this line (A3, A5, A6), where hardly any was left of it."""

    def hardly_any(one: Artefact) -> bool:
        first = line.index(one.start)
        before = median(own.pulse[max(first - int(by["before"]), 0) : first])
        return bool(one.evidence["pulse_mmhg"] < by["left"] / 100 * before)

    if not any(hardly_any(one) for one in found):
        return found
    lost = [(one.start, one.end) for one in lost_pulse(line, others)]
    kept = []
    for one in found:
        pieces = [(one.start, one.end)]
        for start, end in lost if hardly_any(one) else ():
            pieces = [
                piece
                for low, high in pieces
                for piece in ((low, min(high, start)), (max(low, end), high))
                if piece[1] - piece[0] > by["joined"]
            ]
        kept += [replace(one, start=low, end=high) for low, high in pieces]
    return kept


def _seconds(line: LineSeconds, one: Artefact) -> slice:
    return slice(line.index(one.start), line.index(one.end - 1) + 1)


def _arterial(channel: Channel) -> bool:
    return channel.is_wave and (channel.kind, channel.unit) == ("arterial_pressure", "mm[Hg]")


def _another(channel: Channel, other: Channel) -> bool:
    """Whether it is another line: two sources may have recorded the very same one."""
    return other.source == channel.source or other_site(channel, other)


class _Look(ABC):
    """One way in which a line can change against the others.

    Parameters
    ----------
    own, against : Pulse, list of Against
        The line, and the line against each other one.
    flows : list of LineSeconds
        Pump flows, asked only where no other line has a pulse.
    by : mapping
        Numbers of `DAMPED`.
    forget : ndarray of bool
        Seconds that no "before" counts: those already told.
    """

    what = ""

    def __init__(
        self,
        own: Pulse,
        against: list[Against],
        flows: list[LineSeconds],
        by: Numbers,
        forget: BoolArray,
    ) -> None:
        self.own, self.against, self.flows, self.by = own, against, flows, by
        self.forget = forget
        courses: tuple[Pulse | Against, ...] = (own, *against)
        self.changes = [self._changes(one) for one in courses]
        self.silent = [self._silent(*one) for one in zip(against, self.changes[1:], strict=True)]

    def _changes(self, one: Pulse | Against) -> tuple[_Change, _Change, _Change]:
        pulse, above, mean = (
            _Change.of(course, self.by, self.forget) for course in (one.pulse, one.above, one.mean)
        )
        return pulse, above, mean

    def _silent(self, one: Against, changes: tuple[_Change, _Change, _Change]) -> BoolArray:
        """Bins at which another line changed in the same way, so that beside it this one did not: it tells nothing."""
        pulse, above, _ = self._changes(one.other)
        return self._itself(pulse, above) & ~self._differs(*changes[:2])

    def candidates(self) -> NDArray[np.intp]:
        """Bins after which the line is unlike before, against every other line that has a pulse there."""
        said = np.zeros(self.changes[0][0].before.size, np.bool_)
        denied = np.zeros(said.size, np.bool_)
        for (pulse, above, mean), silent in zip(self.changes[1:], self.silent, strict=True):
            known = np.isfinite(pulse.before + pulse.after + mean.before + mean.after)
            stayed = np.abs(mean.after - mean.before) <= self.by["mean"]
            yes = known & stayed & self._differs(pulse, above)
            said |= yes
            denied |= known & ~yes & ~silent
        pulse, above, mean = self.changes[0]
        alone = np.abs(mean.after - mean.before) <= self.by["mean"]
        alone &= self._differs(pulse, above) & (pulse.before >= self.by["alone"])
        for one in self.against:
            alone &= ~np.isfinite(binned(one.other.pulse, BIN_S))
        began = (pulse.before >= self.by["least"]) & self._itself(pulse, above)
        return np.flatnonzero(((said & ~denied) | alone) & began)

    @abstractmethod
    def _differs(self, pulse: _Change, above: _Change) -> BoolArray:
        """Whether it is unlike before against another line."""

    @abstractmethod
    def _itself(self, pulse: _Change, above: _Change) -> BoolArray:
        """Whether the line itself changed, and not the others."""

    @abstractmethod
    def _share(self, one: Pulse | Against, at: int, changes: tuple[_Change, _Change, _Change]) -> FloatArray:
        """How far each second is on the way: 1 as before, ``limit`` where it counts."""

    limit = 0.0

    def stretch(self, at: int) -> Artefact | None:
        """The artefact that begins about a bin; None where it is too short or the beats kept their shape."""
        shares, stayed, names = [], [], []
        for one, changes, silent in zip(self.against, self.changes[1:], self.silent, strict=True):
            usual = changes[2].before[at]
            if not silent[at] and np.isfinite(changes[0].before[at]) and np.isfinite(usual):
                shares.append(self._share(one, at, changes))
                stayed.append(np.abs(one.mean - usual))
                names.append(one.other.line.channel.identity.name)
        if not shares:
            if not self._flow_steady(at):
                return None
            shares = [self._share(self.own, at, self.changes[0])]
            stayed = [np.zeros(self.own.mean.size)]  # its own mean stayed at the change; it may wander later
        # Every other line must agree on the pulse; of the mean it is enough that one of them says it stayed.
        share = _widest(shares)
        mean_stayed = np.fmin.reduce(stayed) <= self.by["mean"]
        run = self._run(share, mean_stayed, at)
        if run is None or self._too_short(*run):
            return None
        return self._judged(*run, at, names)

    def _run(self, share: FloatArray, stayed: BoolArray, at: int) -> tuple[int, int] | None:
        """First and past-last second, walked back and on to where the change began and was over."""
        inside = close_gaps((share <= self.limit * AGAIN) & stayed, int(self.by["joined"]))
        first, last = at * BIN_S, at * BIN_S + int(self.by["shortest"])
        run = next((run for run in true_runs(inside) if run[1] > first + BIN_S and run[0] < last), None)
        if run is None:
            return None
        start, stop = int(run[0]), int(run[1])
        for _ in range(EDGE_S):
            if start > 0 and share[start - 1] < EDGE:
                start -= 1
            if stop < share.size and share[stop] < EDGE:
                stop += 1
        return start, stop

    def _too_short(self, start: int, stop: int) -> bool:
        seen = np.count_nonzero(np.isfinite(self.own.pulse[start:stop]))
        return bool(seen < self.by["shortest"] - SLACK_S or self.forget[start:stop].any())

    def _flow_steady(self, at: int) -> bool:
        """Whether no recorded pump flow changes about a bin: going on and coming off bypass change every pulse."""
        around = slice(max(at * BIN_S - int(self.by["before"]), 0), at * BIN_S + int(self.by["shortest"]))
        return all(_spread(flow.mean[around]) <= STEADY_FLOW for flow in self.flows)

    @abstractmethod
    def _judged(self, start: int, stop: int, at: int, names: list[str]) -> Artefact | None:
        """The artefact of a stretch; None where its beats kept their shape."""

    def _evidence(self, start: int, stop: int, at: int, names: list[str]) -> dict[str, Any]:
        pulse, above, mean = self.changes[0]
        inside = slice(start, stop)
        others = [
            median(one.mean[inside]) - changes[2].before[at]
            for one, changes in zip(self.against, self.changes[1:], strict=True)
        ]
        moved = others if np.isfinite(others).any() else [median(self.own.mean[inside]) - mean.before[at]]
        cleared = next(
            (one for one in self.own.line.own if one.code == "A2" and self._ends_with(stop, one)), None
        )
        return {
            "what": self.what,
            "against": names,
            "cleared_by_flush": cleared is not None,
            "flush": "" if cleared is None else str(cleared.evidence.get("flush_response", "")),
            "pulse_before_mmhg": round(float(pulse.before[at]), 1),
            "pulse_mmhg": round(median(self.own.pulse[inside]), 1),
            "above_before_mmhg": round(float(above.before[at]), 1),
            "above_mmhg": round(median(self.own.above[inside]), 1),
            "mean_change_mmhg": round(float(min((one for one in moved if np.isfinite(one)), key=abs)), 1),
        }

    def _ends_with(self, stop: int, flush: Artefact) -> bool:
        end = self.own.line.start + stop
        return flush.start <= end + self.by["joined"] and flush.end >= end - self.by["joined"]

    def _noise(self, start: int, stop: int) -> float:
        """Swing of three seconds that the noise of the line makes by itself, mmHg."""
        return float(
            SWING_SD * median(self.own.line.rough[start:stop]) / ROUGH_SD / np.sqrt(BLOCK_S / FINE_S)
        )

    def _shapes(self, start: int, stop: int) -> tuple[Shape, Shape]:
        """Shape of the beats before and meanwhile, from the samples."""
        line, back = self.own.line, int(self.by["before"])
        begin = line.start + start
        middle = 0.5 * max(stop - start - LONGEST_LOOK_S, 0)
        look = (
            begin + middle + EDGE_S / 3,
            min(line.start + stop - EDGE_S / 3, begin + middle + LONGEST_LOOK_S),
        )
        return Shape.of(line.channel, begin - back, begin - 1), Shape.of(line.channel, *look)


class _Damped(_Look):
    """The pulse shrinks, the upstroke with it, and the mean stays."""

    what = "over-damped"

    @property
    def limit(self) -> float:  # type: ignore[override]
        return self.by["pulse"] / 100

    def _differs(self, pulse: _Change, above: _Change) -> BoolArray:  # noqa: ARG002
        return np.asarray(pulse.after < self.limit * pulse.before)

    def _itself(self, pulse: _Change, above: _Change) -> BoolArray:  # noqa: ARG002
        return np.asarray(pulse.after < EDGE * pulse.before)

    def _share(self, one: Pulse | Against, at: int, changes: tuple[_Change, _Change, _Change]) -> FloatArray:
        return np.asarray(one.pulse / changes[0].before[at])

    def _judged(self, start: int, stop: int, at: int, names: list[str]) -> Artefact | None:
        evidence = self._evidence(start, stop, at, names)
        before, now = self._shapes(start, stop)
        slope = _part(now.upstroke, before.upstroke)
        growth = _part(_part(now.fast, now.slow), _part(before.fast, before.slow))
        left = self.by["noise"] * self._noise(start, stop)
        if not evidence["pulse_mmhg"] > left or not slope < self.by["slope"] / 100:
            return None
        beside = any(_arterial(one.other.line.channel) for one in self.against) and bool(names)
        if not beside and not growth < self.by["round"] / 100:
            return None
        pulses = "pulse {pulse_mmhg:g} mmHg after {pulse_before_mmhg:g}".format(**evidence)
        evidence["upstroke_percent"] = round(100 * slope)
        evidence["reason"] = (
            f"{pulses}, {_beside(names)}; upstroke {100 * slope:.0f} % of before; mean within "
            f"{abs(evidence['mean_change_mmhg']):.1f} mmHg of it"
        )
        line = self.own.line
        return Artefact("A4", line.start + start, line.start + stop, evidence)


class _Ringing(_Look):
    """Systolic peaks grow, and swings between the pulse and 15 Hz with them; the mean stays."""

    what = "ringing"
    limit = 0.5

    def _differs(self, pulse: _Change, above: _Change) -> BoolArray:  # noqa: ARG002
        return np.asarray(above.after - above.before > self.by["over"])

    def _itself(self, pulse: _Change, above: _Change) -> BoolArray:  # noqa: ARG002
        return np.asarray(above.after - above.before > 0.5 * self.by["over"])

    def _share(self, one: Pulse | Against, at: int, changes: tuple[_Change, _Change, _Change]) -> FloatArray:
        over = changes[1].after[at] - changes[1].before[at]
        return np.asarray(1 - (one.above - changes[1].before[at]) / over)

    def _judged(self, start: int, stop: int, at: int, names: list[str]) -> Artefact | None:
        evidence = self._evidence(start, stop, at, names)
        before, now = self._shapes(start, stop)
        growth = _part(_part(now.fast, now.slow), _part(before.fast, before.slow))
        if not growth > self.by["swings"] / 100 or self._was_damped(before, start, names):
            return None
        over = evidence["above_mmhg"] - evidence["above_before_mmhg"]
        evidence["overshoot_mmhg"] = round(over, 1)
        evidence["swings_times"] = round(growth, 1)
        evidence["reason"] = (
            f"systolic {over:.0f} mmHg higher above the mean than before, {_beside(names)}; swings of "
            f"{RING_HZ[0]:g} to {RING_HZ[1]:g} Hz {growth:.1f} times as strong beside the pulse; mean within "
            f"{abs(evidence['mean_change_mmhg']):.1f} mmHg of before"
        )
        line = self.own.line
        return Artefact("A4", line.start + start, line.start + stop, evidence)

    def _was_damped(self, before: Shape, start: int, names: list[str]) -> bool:
        """Whether the beats before were rounder than those of every other line: then it was cleared, and rings not.

        Without another line a flush just before says so.
        """
        begin, back = self.own.line.start + start, self.by["before"]
        if not names:
            flushed = [one.end for one in self.own.line.own if one.code == "A2"]
            return any(begin - CLEARED_S <= end <= begin + CLEARED_S for end in flushed)
        others = [Shape.of(one.other.line.channel, begin - back, begin - 1) for one in self.against]
        mine = _part(before.fast, before.slow)
        return all(mine < self.by["round"] / 100 * _part(one.fast, one.slow) for one in others)


def _widest(shares: list[FloatArray]) -> FloatArray:
    """Largest of several courses second by second, of those that are known."""
    return np.asarray(np.fmax.reduce(shares))


def _spread(course: FloatArray) -> float:
    seen = course[np.isfinite(course)]
    return float(np.ptp(seen)) if seen.size else 0.0


def _part(one: float, of: float) -> float:
    return one / of if of > 0 else float("nan")


def _beside(names: list[str]) -> str:
    if not names:
        return "no other arterial line to hold it against"
    return f"while that of {in_words(names)} stayed"
