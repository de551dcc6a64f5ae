"""Unexplained changes: large changes of several lines at once that no rule, no phase and no person accounts for.

For each line the mean of half a minute is compared with that of half a minute a minute before. A line has moved
where the two differ by more than the least change of its kind and by more than such differences usually are on that
line in that case. Where lines of two kinds moved within a short time, the change is listed, the largest first, unless
something accounts for it. Nothing is said of what it was: it is a place to look at.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .order import half_width, or_none
from .parameter import Parameter, numbers_of
from .rules import Find
from .runs import BoolArray, FloatArray, highest_before, true_runs
from .view import View

NO_RULE = "no rule covers it"

MEAN_S = 30  # over which a level is a mean
APART_S = 60  # between the two levels: a change that takes longer is seen in part
REACH_S = APART_S // 2 + MEAN_S  # seconds on either side that a difference is made of
CAP = 3.0  # a line counts at most as much as three least changes: one line alone must not carry a list

NUMBERS: Mapping[str, Parameter] = {
    "arterial": Parameter(15.0, "mm[Hg]", "least change of the believed mean arterial pressure"),
    "venous": Parameter(4.0, "mm[Hg]", "least change of the central venous pressure"),
    "pulmonary": Parameter(8.0, "mm[Hg]", "least change of the mean pulmonary artery pressure"),
    "flow": Parameter(0.6, "L/min", "least change of the pump flow"),
    "line": Parameter(40.0, "mm[Hg]", "least change of the line pressure"),
    "reservoir": Parameter(250.0, "mL", "least change of the reservoir volume"),
    "temperature": Parameter(1.5, "Cel", "least change of a temperature"),
    "brain": Parameter(6.0, "%", "least change of a cerebral saturation, points"),
    "saturation": Parameter(6.0, "%", "least change of the venous saturation, points"),
    "usual": Parameter(4.0, "1", "times the usual difference of the line in this case that it must reach"),
    "together": Parameter(120.0, "s", "longest time within which lines of two kinds move"),
    "kinds": Parameter(2.0, "1", "fewest kinds of lines that move"),
    "beside": Parameter(60.0, "s", "beside a find or a phase boundary, which accounts for what moves there"),
    "long": Parameter(300.0, "s", "length from which a find accounts for other lines at its two ends alone"),
    "refilling": Parameter(240.0, "s", "after an arrest: flow comes back in steps and the reservoir empties"),
    "before_words": Parameter(60.0, "s", "before a mark or a note, which accounts for what moves there"),
    "after_words": Parameter(180.0, "s", "after one: what a drug or a volume does takes its time"),
    "an_hour": Parameter(5.0, "1", "most of them in any hour"),
}
"""What is gone by: all of it this project's choice, tuned on invented cases."""

_KIND_OF: Mapping[str, str] = {
    "cvp": "venous",
    "pa": "pulmonary",
    "pump_flow": "flow",
    "line_pressure": "line",
    "reservoir_volume": "reservoir",
    "outlet_temperature": "temperature",
    "venous_temperature": "temperature",
    "left_cerebral_saturation": "brain",
    "right_cerebral_saturation": "brain",
    "venous_saturation": "saturation",
}
_RAMPS = ("going_on", "weaning")  # phases in which everything moves
_ARRESTS = ("no_flow_arrest", "lower_body_arrest", "selective_cerebral")


@dataclass(frozen=True, slots=True)
class Move:
    """One line's part in a change.

    Attributes
    ----------
    channel : str
        Canonical name.
    kind : str
        A key of `NUMBERS`.
    before, after : float
        Means of `MEAN_S` seconds, in the line's own unit.
    unit : str
        UCUM code.
    at_s : float
        Reference seconds midway between the two.
    """

    channel: str
    kind: str
    before: float
    after: float
    unit: str
    at_s: float

    @property
    def by(self) -> float:
        """After less before."""
        return self.after - self.before


@dataclass(frozen=True, slots=True)
class Change:
    """A large change of several lines that nothing accounts for.

    Attributes
    ----------
    start_s, end_s : float
        Reference seconds: from half of `APART_S` before the first line's move to as long after the last one's.
    moves : tuple of Move
        The line that moved most, in least changes of its kind, first.
    size : float
        Sum over kinds of least changes, each at most `CAP`: what the list is ranked by.
    unc_s : float
        Half width of the 95 % interval of its times, seconds: what the clocks of its lines leave them, and the step
        that a difference of means is known to; infinite where one of the clocks was set by nobody.
    """

    start_s: float
    end_s: float
    moves: tuple[Move, ...]
    size: float
    unc_s: float = 0.0

    @property
    def channels(self) -> tuple[str, ...]:
        """Canonical names of the lines that moved."""
        return tuple(one.channel for one in self.moves)

    @property
    def at_s(self) -> float:
        """Reference seconds of its middle."""
        return (self.start_s + self.end_s) / 2

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "code": "U1",
            "start_s": self.start_s,
            "end_s": self.end_s,
            "channels": list(self.channels),
            "moves": [
                {
                    "channel": one.channel,
                    "before": round(one.before, 2),
                    "after": round(one.after, 2),
                    "by": round(one.by, 2),
                    "unit": one.unit,
                    "at_s": one.at_s,
                }
                for one in self.moves
            ],
            "size": round(self.size, 2),
            "unc_s": or_none(self.unc_s),
            "why": NO_RULE,
        }


@dataclass(frozen=True, slots=True)
class Unexplained:
    """The list, and how much of the case it is about.

    Attributes
    ----------
    changes : tuple of Change
        In order of time.
    looked_s : int
        Seconds at which lines of two kinds or more could be compared and nothing accounted for a change.
    of_s : int
        Seconds of the case.
    left_out : int
        Changes that were smaller than those of the same hour and are not listed.
    """

    changes: tuple[Change, ...] = ()
    looked_s: int = 0
    of_s: int = 0
    left_out: int = 0


def unexplained(
    view: View,
    finds: Iterable[Find],
    said: Sequence[tuple[float, float]] = (),
    numbers: Mapping[str, float] | None = None,
) -> Unexplained:
    """Look for large changes of several lines at once that nothing accounts for.

    Parameters
    ----------
    view : View
        With its phases laid in. A masked or missing second is no evidence: half of the seconds of a mean must be there.
    finds : iterable of Find
        What rules propose, and what they saw and held back. A find accounts for its own lines all through; an event for
        every line within ``beside`` of its two ends as well, and all through where it is shorter than ``long``: an
        hour of a gradient between two sites must not hide what becomes of the reservoir.
    said : sequence of (start, end)
        Marks and notes of people, reference seconds.
    numbers : mapping of str to float, optional
        In place of those of `NUMBERS`.

    Returns
    -------
    Unexplained
        At most ``an_hour`` changes in any hour, the largest.
    """
    given = {**numbers_of(NUMBERS), **(numbers or {})}
    names = _lines(view)
    nothing = np.zeros(view.n, dtype=np.bool_)
    known, own, unsure = _accounted_for(view, list(finds), said, given)
    told = {
        name: np.where(known | unsure.get(name, nothing), np.nan, _size(values, given[kind], given["usual"]))
        for name, (kind, values) in names.items()
    }
    sizes = {name: np.where(own.get(name, nothing), np.nan, size) for name, size in told.items()}
    kinds = sorted({kind for kind, _ in names.values()})
    by_kind = {
        kind: np.fmax.reduce([sizes[name] for name, (other, _) in names.items() if other == kind])
        for kind in kinds
    }
    seen = np.zeros(view.n, dtype=np.int64)
    for array in by_kind.values():
        seen += np.isfinite(array)
    # Of a second too near to what is accounted for nothing is asked, and where one kind alone is there neither.
    looked = int((seen >= given["kinds"]).sum())
    candidates = _candidates(by_kind, int(given["together"]), int(given["kinds"]))
    found = [_change(view, names, told, at, int(given["together"])) for at in candidates]
    kept = _largest(found, int(given["an_hour"]))
    return Unexplained(tuple(kept), looked, view.n, len(found) - len(kept))


def explained_by(change: Change, spans: Iterable[tuple[float, float]]) -> bool:
    """Whether any of these spans, such as a mark that was made since, lies on a change."""
    return any(start <= change.end_s and end >= change.start_s for start, end in spans)


# -- inside ----------------------------------------------------------------------------------------


def _lines(view: View) -> dict[str, tuple[str, FloatArray]]:
    """The lines that are looked at, with their kind."""
    found: dict[str, tuple[str, FloatArray]] = {}
    pressure = view.as_believed().pressure
    if pressure is not None:
        found[view.believed] = ("arterial", pressure)
    for name in (*_KIND_OF, view.core):
        values = view.get(name) if name else None
        if values is not None:
            found[name] = (_KIND_OF.get(name, "temperature"), values)
    return found


def _levels(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean before and after each second, `APART_S` apart; NaN where half of it is missing."""
    n = len(values)
    finite = np.isfinite(values)
    total = np.concatenate(([0.0], np.cumsum(np.where(finite, values, 0.0))))
    count = np.concatenate(([0], np.cumsum(finite)))

    def mean(first: int) -> FloatArray:
        low = np.clip(np.arange(n) + first, 0, n)
        high = np.clip(np.arange(n) + first + MEAN_S, 0, n)
        there = count[high] - count[low]
        return np.where(2 * there >= MEAN_S, (total[high] - total[low]) / np.maximum(there, 1), np.nan)

    return mean(-REACH_S), mean(APART_S // 2)


def _size(values: FloatArray, least: float, usual: float) -> FloatArray:
    """How large the change around each second is, in least changes; NaN where it cannot be told.

    A line that swings all the time has to move by more than it usually does: the median of the absolute differences,
    which a few large ones hardly touch, stands for that.
    """
    before, after = _levels(values)
    moved = np.abs(after - before)
    there = moved[np.isfinite(moved)]
    if not there.size:
        return moved
    return np.asarray(moved / max(least, usual * float(np.median(there))))


def _accounted_for(
    view: View, finds: Sequence[Find], said: Sequence[tuple[float, float]], given: Mapping[str, float]
) -> tuple[BoolArray, dict[str, BoolArray], dict[str, BoolArray]]:
    """Seconds whose comparison touches something known: of all lines, of those of an event, of those of an artefact.

    What an event's own line does beside an unexplained change is told with it; what an artefact's does is not believed.
    """
    known = np.zeros(view.n, dtype=np.bool_)
    own: dict[str, BoolArray] = {}
    unsure: dict[str, BoolArray] = {}
    beside = given["beside"]

    def lay(mask: BoolArray, start: float, end: float) -> None:
        mask[view.index(start) : view.index(end) + 1] = True

    for one in finds:
        start, end = one.start_s - beside, one.end_s + beside
        of_lines = unsure if one.code.startswith("A") else own
        for name in one.channels:
            lay(of_lines.setdefault(name, np.zeros(view.n, dtype=np.bool_)), start, end)
        if one.code.startswith("A"):
            continue
        if one.duration_s < given["long"]:
            lay(known, start, end)
        else:
            lay(known, start, one.start_s + beside)
            lay(known, one.end_s - beside, end)
    for phase in view.phases:
        if phase.name in _RAMPS:
            lay(known, phase.start_s - beside, phase.end_s + beside)
        for at in (phase.start_s, phase.end_s):
            lay(known, at - beside, at + beside)
        if phase.name in _ARRESTS:
            lay(known, phase.end_s, phase.end_s + given["refilling"])
    for start, end in said:
        lay(known, start - given["before_words"], end + given["after_words"])
    return known, own, unsure


def _candidates(by_kind: Mapping[str, FloatArray], together: int, kinds: int) -> list[int]:
    """Seconds at which most of the kinds moved most, at least `together` apart, in order of time."""
    if not by_kind:
        return []
    n = len(next(iter(by_kind.values())))
    total, count = np.zeros(n), np.zeros(n, dtype=np.int64)
    half = together // 2
    for size in by_kind.values():
        peak = highest_before(np.concatenate((size, np.full(half, np.nan))), 2 * half)[half:]
        moved = np.isfinite(peak) & (peak >= 1.0)
        total += np.where(moved, np.minimum(peak, CAP), 0.0)
        count += moved
    total[count < kinds] = 0.0
    found: list[int] = []
    for start, stop in true_runs(total > 0):
        left = total[start:stop].copy()
        while left.max() > 0:
            best = np.flatnonzero(left == left.max())
            at = int(best[len(best) // 2])
            found.append(int(start) + at)
            left[max(0, at - together) : at + together + 1] = 0.0
    return sorted(found)


def _change(
    view: View,
    names: Mapping[str, tuple[str, FloatArray]],
    sizes: Mapping[str, FloatArray],
    at: int,
    together: int,
) -> Change:
    """What moved around a second, each line where it moved most."""
    first, last = max(0, at - together // 2), at + together // 2 + 1
    moves: list[tuple[float, Move]] = []
    for name, (kind, values) in names.items():
        near = sizes[name][first:last]
        if not np.isfinite(near).any() or not np.nanmax(near) >= 1.0:
            continue
        top = np.flatnonzero(near == np.nanmax(near))
        second = first + int(top[len(top) // 2])
        before, after = _levels(values[max(0, second - REACH_S) : second + REACH_S])
        middle = min(second, REACH_S)
        moves.append(
            (
                float(np.nanmax(near)),
                Move(
                    name,
                    kind,
                    float(before[middle]),
                    float(after[middle]),
                    NUMBERS[kind].unit,
                    view.time(second),
                ),
            )
        )
    moves.sort(key=lambda pair: -pair[0])
    best: dict[str, float] = {}
    for size, one in moves:
        best[one.kind] = max(best.get(one.kind, 0.0), min(size, CAP))
    times = [one.at_s for _, one in moves]
    half = APART_S / 2
    return Change(
        max(view.start, min(times) - half),
        min(view.time(view.n), max(times) + half),
        tuple(one for _, one in moves),
        sum(best.values()),
        half_width(
            max(view.clock_at(view.source.get(one.channel, ""), one.at_s).sd_s for _, one in moves), MEAN_S
        ),
    )


def _largest(found: Sequence[Change], an_hour: int) -> list[Change]:
    """The largest, so that no hour holds more than `an_hour` of them, in order of time."""
    kept: list[Change] = []
    for one in sorted(found, key=lambda change: (-change.size, change.start_s)):
        times = sorted(other.at_s for other in [*kept, one] if abs(other.at_s - one.at_s) < 3600.0)
        hours = (sum(at <= other < at + 3600.0 for other in times) for at in times)
        if max(hours) <= an_hour:
            kept.append(one)
    return sorted(kept, key=lambda change: change.start_s)
