"""Times that people wrote or said: which moment a line of text means, how surely, and what other lines say of it.

The words are this project's choice: the trade's short phrases in English. A line counts for what it says has
happened; what is denied, asked, wished or announced is left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import hypot, inf, isfinite
from typing import TYPE_CHECKING

from .order import Z95

if TYPE_CHECKING:
    from afterclamp.io.sources import TimedNote

PHRASES: Mapping[str, tuple[str, ...]] = {
    "clamp_on": ("clamp on", "clamp is on", "clamp back on", "clamp on again", "clamped", "reclamped", "re clamped",
                 "cross clamp applied", "clamp applied"),
    "clamp_off": ("clamp off", "clamp is off", "clamp released", "clamp removed", "clamp out", "unclamped",
                  "declamped"),
    "bypass_asked": ("go on please", "on bypass please", "bypass please", "please go on", "you can go on"),
    "bypass_on": ("on bypass", "bypass on", "bypass started", "going on", "on pump", "pump on", "back on bypass"),
    "full_flow": ("full flow",),
    "bypass_off": ("off bypass", "bypass off", "we are off", "came off", "off pump", "bypass ended"),
    "circulation_off": ("circ off", "circulation off", "circulation is off", "circulatory arrest", "arrest on",
                        "circ arrest"),
    "circulation_on": ("circ on", "circulation on", "circulation back", "circulation is back", "flow coming back",
                       "flow back", "reflow", "arrest off"),
    "head_on": ("head perfusion on", "head only", "brain perfusion on", "cerebral perfusion on",
                "selective perfusion on", "perfusing the head", "head perfusion started"),
    "head_off": ("head perfusion off", "brain perfusion off", "cerebral perfusion off", "selective perfusion off",
                 "head perfusion stopped"),
    "cooling": ("cooling", "cool down"),
    "warming": ("warming", "rewarming", "re warming", "warm up"),
    "weaning": ("weaning", "coming off"),
    "cardioplegia": ("cardioplegia", "plegia"),
    "heparin": ("heparin",),
    "protamine": ("protamine", "protamin"),
    "shock": ("shock", "shocked", "shocks", "defibrillated", "defibrillation"),
    "zero": ("zero", "zeroed", "zeroing", "re zeroed"),
    "sample": ("sample", "sampled", "blood gas", "gas drawn", "blood drawn"),
    "cuff": ("cuff",),
}  # fmt: skip
"""Kind of moment, and how people put it: all words of a phrase stand one behind the other."""

OF_BYPASS = (
    "clamp_on", "clamp_off", "bypass_asked", "bypass_on", "full_flow", "bypass_off", "circulation_off",
    "circulation_on", "head_on", "head_off", "cardioplegia",
)  # fmt: skip
"""Kinds that are spoken of in an operation with bypass only."""

WITHOUT: Mapping[str, tuple[str, ...]] = {
    "clamp_on": ("side clamp", "head clamp", "tube clamp", "drain", "half"),
    "clamp_off": ("side clamp", "tube clamp", "drain"),
    "bypass_on": ("off bypass", "off pump", "what", "coming off", "time on"),
    "bypass_off": ("coming off",),
    "full_flow": ("head", "nearly", "almost"),
    "cooling": ("stop", "stopped", "end", "ended", "finished", "blanket"),
    "warming": ("stop", "stopped", "end", "ended", "finished", "blanket"),
    "cardioplegia": ("stop", "stopped", "end", "ended", "finished", "cannula", "line"),
    "heparin": ("rinse", "flush", "prime", "level", "resistance", "saline"),
    "protamine": ("stop", "stopped", "end", "ended", "finished", "complete", "done", "test", "reaction", "all in"),
    "shock": ("cardiogenic", "septic", "in shock", "pads"),
    "zero": ("at zero", "to zero", "zero flow", "flow zero"),
    "sample": ("line",),
}  # fmt: skip
"""Words that turn a sentence into something else."""

_DENIED = ("no", "not", "never", "without", "cannot", "can t", "isn t", "wasn t", "didn t", "don t", "won t")
_NOT_YET = (
    "ready", "about to", "going to", "will", "soon", "before", "after", "until", "till", "when", "once", "if", "wait",
    "waiting", "plan", "planned", "want", "wanted", "should", "maybe", "think", "next", "shall", "prepare", "would",
    "since", "almost", "nearly", "can we", "let me know",
)  # fmt: skip
_IN_A_WHILE = re.compile(r"\bin (?:about )?(?:a|an|one|two|three|four|five|ten|\d+) (?:min|minute|sec|hour)")
_SENTENCE = re.compile(r"(?<=[.!?;])\s+|\n")
_CLAUSE = re.compile(r"[,:;]|\s[-–—]\s|\band then\b")
_SHORTENED = re.compile(r"\b(circ|temp|approx|vol|art|ven|cpl)\.(?=\s|$)", re.IGNORECASE)
_ACT = re.compile(r"\bact\b(?: (?:is|was|now|at|of))? (\d{2,4})\b")
_COPIED = re.compile(
    r"\b(?P<what>(?:cross )?clamp|bypass|pump|perfusion|no flow|arrest|circ arrest|circulatory arrest|head perfusion|"
    r"cerebral perfusion) time (?:is |was |of )?(?P<min>\d{1,3})(?: (?P<sec>[0-5]\d))?\b"
)
COPIED_PHASES = {
    "clamp": "clamp", "cross clamp": "clamp", "bypass": "bypass", "pump": "bypass", "perfusion": "bypass",
    "no flow": "no_flow_arrest", "arrest": "no_flow_arrest", "circ arrest": "no_flow_arrest",
    "circulatory arrest": "no_flow_arrest", "head perfusion": "selective_cerebral",
    "cerebral perfusion": "selective_cerebral",
}  # fmt: skip
"""Which duration a time that somebody wrote down as a number is meant to be."""

SAME_S = 900.0
"""Two sources further apart than this speak of two moments (this project's choice)."""
TWICE_S = 60.0
"""One source that says the same within this says it twice of one moment (this project's choice)."""


@dataclass(frozen=True, slots=True)
class Said:
    """A moment that somebody wrote or said.

    Attributes
    ----------
    kind : str
        Key of `PHRASES`, or ``"act"``.
    t : float
        Reference seconds.
    sd_s : float
        Standard deviation of that time, clock and writing together; infinite for a clock that nobody set.
    text, source : str
        The line, and where it stands.
    value : float or None
        Seconds of an activated clotting time.
    written_sd_s : float
        The part of `sd_s` that the writing leaves open, such as whole minutes.
    """

    kind: str
    t: float
    sd_s: float = 0.0
    text: str = ""
    source: str = ""
    value: float | None = None
    written_sd_s: float = 0.0

    @property
    def unc_s(self) -> float:
        """Half width of the 95 % interval, seconds; infinite where it is not known."""
        return Z95 * self.sd_s

    def apart_s(self, other: Said) -> float:
        """Half width of the 95 % interval of the time between two moments that were said, seconds.

        Two lines of one source share its clock: only what the writing leaves open counts.
        """
        if self.source and self.source == other.source:
            return Z95 * hypot(self.written_sd_s, other.written_sd_s)
        return Z95 * hypot(self.sd_s, other.sd_s)


@dataclass(frozen=True, slots=True)
class SaidEvent:
    """One event with all the times that sources give it, the one with the smallest ± first."""

    kind: str
    times: tuple[Said, ...]

    @property
    def best(self) -> Said:
        """The time with the smallest ±."""
        return self.times[0]

    @property
    def t(self) -> float:
        """Reference seconds of the time with the smallest ±."""
        return self.times[0].t

    def differing(self, slack_s: float = 0.0) -> tuple[Said, ...]:
        """The times that differ from the first by more than both ± together allow, and `slack_s` more."""
        first = self.times[0]
        return tuple(
            one
            for one in self.times[1:]
            if isfinite(first.apart_s(one)) and abs(one.t - first.t) > first.apart_s(one) + slack_s
        )


@dataclass(frozen=True, slots=True)
class CopiedLength:
    """A duration that somebody wrote down as a number.

    Attributes
    ----------
    name : str
        Which duration: a key of `phase_durations.durations`.
    seconds : float
    whole_minutes : bool
        Whether it is known to the minute only.
    t : float
        When it was written, reference seconds.
    text, source : str
    """

    name: str
    seconds: float
    whole_minutes: bool
    t: float
    text: str = ""
    source: str = ""


@lru_cache(4096)  # annotations of every beat are a few words a hundred thousand times
def kinds_of(text: str) -> tuple[str, ...]:
    """What a line says has happened, as kinds, each once, in the order of `PHRASES`.

    Examples
    --------
    >>> kinds_of("Clamp on, cooling.")
    ('clamp_on', 'cooling')
    >>> kinds_of("no clamp on yet"), kinds_of("clamp on?"), kinds_of("clamp off in two minutes")
    ((), (), ())
    """
    found: list[str] = []
    for sentence in _SENTENCE.split(_SHORTENED.sub(r"\1", text)):
        if sentence.rstrip().endswith("?"):
            continue
        whole = f" {plain(sentence)} "
        for clause in _CLAUSE.split(sentence):
            line = f" {plain(clause)} "
            if _has(line, (*_DENIED, *_NOT_YET)) or _IN_A_WHILE.search(line):
                continue
            found += [
                kind
                for kind, phrases in PHRASES.items()
                if _has(line, phrases) and not _has(whole, WITHOUT.get(kind, ()))
            ]
    if "bypass_asked" in found:  # asked for is not yet there
        found = [kind for kind in found if kind != "bypass_on"]
    return tuple(kind for kind in PHRASES if kind in found)


@lru_cache(4096)
def clotting_time(text: str) -> float | None:
    """Seconds of an activated clotting time in a line, None without one.

    Examples
    --------
    >>> clotting_time("ACT 486"), clotting_time("act is 512 s"), clotting_time("exact 480"), clotting_time("ACT?")
    (486.0, 512.0, None, None)
    """
    if text.rstrip().endswith("?"):
        return None
    found = _ACT.search(plain(text))
    value = float(found[1]) if found else 0.0
    return value if 40 <= value <= 2000 else None


def said_times(notes: Iterable[TimedNote]) -> tuple[Said, ...]:
    """Every moment that lines of text give, in order of time.

    Parameters
    ----------
    notes : iterable of TimedNote
        Log lines, captions, monitor texts, on the reference clock.

    Returns
    -------
    tuple of Said
        A line may mean several. One with a length (``t_end``) is dated to its begin: a person speaks of what has
        just happened.
    """
    found = []
    for note in notes:
        value = clotting_time(note.text)
        kinds: list[tuple[str, float | None]] = [(kind, None) for kind in kinds_of(note.text)]
        if value is not None:
            kinds.append(("act", value))
        found += [
            Said(kind, note.t, note.sd_s, note.text, note.source, number, note.written_sd_s)
            for kind, number in kinds
        ]
    return tuple(sorted(found, key=lambda one: (one.t, one.kind, one.source)))


def protamine_times(notes: Iterable[TimedNote]) -> tuple[float, ...]:
    """Reference seconds at which protamine is said to have been given, or to be running: who stops it has begun it."""
    found = []
    for note in notes:
        line = f" {plain(note.text)} "
        running = _has(line, PHRASES["protamine"]) and _has(
            line, ("stop", "stopped", "end", "ended", "finished", "all in")
        )
        asked = note.text.rstrip().endswith("?") or _has(line, _DENIED)
        if "protamine" in kinds_of(note.text) or (running and not asked):
            found.append(note.t)
    return tuple(sorted(found))


def grouped(said: Iterable[Said]) -> tuple[SaidEvent, ...]:
    """What several sources say of one event put together, in order of time.

    Sources are taken in order of their ±. A time joins the nearest event of its kind within `SAME_S` that its
    source has not spoken of, nearest pairs first; what finds none is an event of its own. So a log that is ten
    minutes wrong still speaks of the same clamp, and two clamps stay two.
    """
    by_kind: dict[str, list[Said]] = {}
    for one in said:
        by_kind.setdefault(one.kind, []).append(one)
    events: list[SaidEvent] = []
    for kind, times in by_kind.items():
        sources: dict[str, list[Said]] = {}
        for one in times:
            own = sources.setdefault(one.source, [])
            if not own or one.t - own[-1].t > TWICE_S:
                own.append(one)
        clusters: list[list[Said]] = []
        for source in sorted(sources, key=lambda name: (min(one.sd_s for one in sources[name]), name)):
            clusters = _joined(clusters, sources[source])
        events += [
            SaidEvent(kind, tuple(sorted(group, key=lambda one: (one.sd_s, one.t)))) for group in clusters
        ]
    return tuple(sorted(events, key=lambda event: (event.t, event.kind)))


def _joined(clusters: list[list[Said]], own: Sequence[Said]) -> list[list[Said]]:
    """Clusters with the times of one more source: nearest pairs first, each cluster and each time once."""
    pairs = sorted(
        (abs(one.t - cluster[0].t), number, place)
        for number, cluster in enumerate(clusters)
        for place, one in enumerate(own)
        if abs(one.t - cluster[0].t) <= SAME_S
    )
    taken_clusters: set[int] = set()
    taken: set[int] = set()
    for _, number, place in pairs:
        if number not in taken_clusters and place not in taken:
            clusters[number].append(own[place])
            taken_clusters.add(number)
            taken.add(place)
    return clusters + [[one] for place, one in enumerate(own) if place not in taken]


def copied_lengths(notes: Iterable[TimedNote]) -> tuple[CopiedLength, ...]:
    """Durations that somebody wrote down as numbers: ``"clamp time 80"``, ``"bypass time 247:00"``.

    Whole minutes unless seconds stand behind a colon.
    """
    found = []
    for note in notes:
        if note.text.rstrip().endswith("?"):
            continue
        for one in _COPIED.finditer(plain(note.text)):
            seconds = one["sec"]
            written = re.search(rf"\b{one['min']}:{seconds}\b", note.text) if seconds else None
            length = 60.0 * float(one["min"]) + (float(seconds) if written else 0.0)
            found.append(
                CopiedLength(
                    COPIED_PHASES[one["what"]], length, written is None, note.t, note.text, note.source
                )
            )
    return tuple(found)


def first_of(events: Iterable[SaidEvent], kind: str, *, before: float = inf) -> SaidEvent | None:
    """The first event of a kind, of those before a time."""
    return next((event for event in events if event.kind == kind and event.t < before), None)


_SIGNS = re.compile(r"[\W_]+")


def plain(text: str) -> str:
    """Lower case, with letters, digits and single spaces only."""
    return " ".join(_SIGNS.sub(" ", text.lower()).split())


def _has(line: str, phrases: Iterable[str]) -> bool:
    return any(f" {phrase} " in line for phrase in phrases)
