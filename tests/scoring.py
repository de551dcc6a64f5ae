"""Seconds of artefact told against what was planted: pure functions on seconds, for tests and measurements.

A second is planted where an artefact of the truth covers at least half of it. Beside an artefact, `BESIDE_S`
on either side (the ring of a flush, the blur of an end) are neither planted nor clean. What is not recorded
and not planted is no clean second either.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from afterclamp.annotate.quality import GOOD, quality_class
from afterclamp.io.case import Case
from afterclamp.sample_traces.tables import Truth
from numpy.typing import NDArray

BoolArray = NDArray[np.bool_]

BESIDE_S = 2.0
NEAR_MISS = "none"  # how the label of a row begins whose class must not be told

ARTERIES = ("left_radial", "right_radial", "femoral")
PRESSURES = (*ARTERIES, "cvp", "pa")
NAMES = {
    "LRAD": ("left_radial",),
    "RRAD": ("right_radial",),
    "FEM": ("femoral",),
    "CVP": ("cvp",),
    "PA": ("pa",),
    "PAM": ("pa",),
    "PP": ARTERIES,
    "HR": ARTERIES,
    "FLOW": ("pump_flow",),
    "ALP": ("line_pressure",),
    "RES": ("reservoir_volume",),
    "TAO": ("outlet_temperature",),
    "TV": ("venous_temperature",),
    "NP": ("nasopharyngeal_temperature",),
    "NIRL": ("left_cerebral_saturation",),
    "NIRR": ("right_cerebral_saturation",),
    "PMP": (
        "pump_flow",
        "line_pressure",
        "reservoir_volume",
        "outlet_temperature",
        "venous_temperature",
        "haemoglobin",
        "femoral_mean",
    ),
}
"""Names of channels by the tokens of the truth tables; a token without a channel says nothing here."""


@dataclass
class Score:
    """Seconds, by class of the truth.

    Attributes
    ----------
    planted, marked : Counter of str
        Seconds of each artefact class, and how many of them were marked.
    event, event_marked : Counter of str
        Seconds of each event class free of artefacts, and how many of them were taken for one. A near miss
        counts as ``"not A4"`` and so on: what could be taken for that artefact.
    clean, clean_marked : Counter of str
        Recorded seconds away from every artefact, events included, and how many of them were marked; by channel.
    """

    planted: Counter[str] = field(default_factory=Counter)
    marked: Counter[str] = field(default_factory=Counter)
    event: Counter[str] = field(default_factory=Counter)
    event_marked: Counter[str] = field(default_factory=Counter)
    clean: Counter[str] = field(default_factory=Counter)
    clean_marked: Counter[str] = field(default_factory=Counter)

    def add(self, other: Score) -> None:
        """Add the seconds of another case."""
        self.planted += other.planted
        self.marked += other.marked
        self.event += other.event
        self.event_marked += other.event_marked
        self.clean += other.clean
        self.clean_marked += other.clean_marked

    def share_marked(self, *codes: str) -> float:
        """Part of the planted seconds of these classes (of all, if none is named) that was marked."""
        return _share(self.marked, self.planted, codes)

    def share_of_events(self, *codes: str) -> float:
        """Part of the seconds of these events (of all, if none is named) that was taken for an artefact."""
        return _share(self.event_marked, self.event, codes)

    def share_of_clean(self, *names: str) -> float:
        """Part of the clean seconds of these channels (of all, if none is named) that was marked."""
        return _share(self.clean_marked, self.clean, names)

    def lines(self) -> Iterator[str]:
        """A table in words, one line a class."""
        yield f"{'class':14}{'planted s':>11}{'marked s':>10}{'share':>8}"
        for code in sorted(self.planted):
            yield _line(code, self.planted[code], self.marked[code])
        rest = [code for code in self.planted if code != "A9"]
        yield _line(
            "A1-A8", sum(self.planted[code] for code in rest), sum(self.marked[code] for code in rest)
        )
        yield _line("A1-A9", self.planted.total(), self.marked.total())
        yield _line("clean", self.clean.total(), self.clean_marked.total())
        waves = [name for name in PRESSURES if name in self.clean]
        yield _line(
            "  waves", sum(self.clean[one] for one in waves), sum(self.clean_marked[one] for one in waves)
        )
        for name in waves:
            if self.clean_marked[name]:
                yield _line(f"  {name}", self.clean[name], self.clean_marked[name])
        for code in sorted(self.event):
            yield _line(code, self.event[code], self.event_marked[code])
        yield _line("E all", self.event.total(), self.event_marked.total())


def _share(part: Counter[str], whole: Counter[str], codes: Sequence[str]) -> float:
    chosen = codes or tuple(whole)
    total = sum(whole[code] for code in chosen)
    return sum(part[code] for code in chosen) / total if total else float("nan")


def _line(name: str, whole: int, part: int) -> str:
    share = f"{100 * part / whole:.1f} %" if whole else "-"
    return f"{name:14}{whole:11}{part:10}{share:>8}"


def score(
    marked: Mapping[str, BoolArray],
    recorded: Mapping[str, BoolArray],
    truth: Iterable[Truth],
    *,
    start_s: float = 0.0,
    beside_s: float = BESIDE_S,
) -> Score:
    """Count the seconds of one case.

    Parameters
    ----------
    marked, recorded : mapping of str to ndarray of bool
        By channel name, one value a second from `start_s` on: not to be used, and recorded at all.
    truth : iterable of Truth
        What is really in it; rows of clocks are passed over.
    start_s : float
        Reference second of the first value.
    beside_s : float
        Seconds beside an artefact that count for nothing.

    Returns
    -------
    Score
    """
    rows = list(truth)
    found = Score()
    for name, flags in marked.items():
        own = [row for row in rows if name in names_of(row)]
        artefacts = [row for row in own if row.code.startswith("A") and not _missed(row)]
        planted = np.zeros(flags.size, bool)
        beside = np.zeros(flags.size, bool)
        for row in artefacts:
            inside = covered(row.start_s - start_s, row.end_s - start_s, flags.size) >= 0.5
            found.planted[row.code] += int((inside & ~planted).sum())
            found.marked[row.code] += int((inside & ~planted & flags).sum())
            planted |= inside
            span = (row.start_s - start_s - beside_s, row.end_s - start_s + beside_s)
            beside |= covered(*span, flags.size) > 0
        clean = recorded[name] & ~planted & ~beside
        found.clean[name] += int(clean.sum())
        found.clean_marked[name] += int((clean & flags).sum())
        for row in own:
            if row.code.startswith("E") or _missed(row):
                code = f"not {row.code}" if _missed(row) else row.code
                inside = (covered(row.start_s - start_s, row.end_s - start_s, flags.size) >= 0.5) & clean
                found.event[code] += int(inside.sum())
                found.event_marked[code] += int((inside & flags).sum())
    return found


def _missed(row: Truth) -> bool:
    return row.label.startswith(NEAR_MISS)


def names_of(row: Truth) -> set[str]:
    """Channel names that a row of the truth speaks of."""
    return {name for token in row.channels for name in NAMES.get(token, ())}


def covered(start: float, end: float, count: int) -> NDArray[np.float64]:
    """Part of each of `count` seconds that lies from `start` to `end`."""
    second = np.arange(count)
    return np.clip(np.minimum(end, second + 1) - np.maximum(start, second), 0, 1)


def marked_now(case: Case) -> tuple[dict[str, BoolArray], dict[str, BoolArray], float]:
    """What `annotate.quality` says of a case today: marked and recorded seconds by channel, and the first second.

    Channels of the names that the truth knows, each once; a pump's mean of a pressure is one of its own.
    """
    known = {name for names in NAMES.values() for name in names}
    grid = np.asarray(case.grid, float)
    marked, recorded = {}, {}
    for channel in case.channels:
        name = channel.identity.name
        if name in known and name not in marked:
            marked[name] = quality_class(channel, grid) != GOOD
            recorded[name] = np.isfinite(channel.seconds())
    return marked, recorded, float(grid[0])
