"""What speaks of the cross-clamp: lines that mention it, marks of its class. Its times are never guessed."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from afterclamp.annotate.align.words import meanings_of, plain
from afterclamp.annotate.marks import Mark
from afterclamp.io.case import TimedNote

CLAMP = "clamp"
CLASS = "E23"
"""Class of marks: clamp on or off."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment that a phase may begin or end at.

    Attributes
    ----------
    t : float
        Reference seconds.
    sd_s : float
        Standard deviation, seconds; infinite where the clock that it rests on was set by nobody.
    text : str
        What was said, written or marked there.
    by : str
        Source or author.
    edge : str
        ``"start"`` or ``"end"`` where the words say which; else empty.
    set_by : str or None
        Who set it as the end of a phase before; empty for a proposal, None for who sets it now.
    """

    t: float
    sd_s: float = 0.0
    text: str = ""
    by: str = ""
    edge: str = ""
    set_by: str | None = None

    @property
    def usable(self) -> bool:
        """Whether its time can be taken: not from a clock that nobody set."""
        return math.isfinite(self.t) and math.isfinite(self.sd_s)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch that somebody marked or selected, as a moment at each end."""

    start: Moment
    end: Moment


def moments_of(notes: Iterable[TimedNote], marks: Iterable[Mark]) -> list[Moment]:
    """Lines that mention the clamp and points marked as it, in order of time."""
    found = [
        Moment(note.t, note.sd_s, note.text, note.source, _edge(note.text))
        for note in notes
        if _mentions(note.text)
    ]
    found += [
        Moment(mark.start_s, mark.unc_s / 1.96, mark.text or f"marked {CLASS}", mark.author, _edge(mark.text))
        for mark in marks
        if mark.kind != "span" and (mark.code == CLASS or _mentions(mark.text))
    ]
    return sorted(found, key=lambda one: (one.t, one.by))


def stretches_of(marks: Iterable[Mark]) -> list[Stretch]:
    """Spans marked as the clamp."""
    return [
        Stretch(
            Moment(mark.start_s, mark.unc_s / 1.96, mark.text, mark.author),
            Moment(mark.end_s, mark.unc_s / 1.96, mark.text, mark.author),
        )
        for mark in marks
        if mark.kind == "span" and mark.end_s > mark.start_s and (mark.code == CLASS or _mentions(mark.text))
    ]


def payload_of(name: str, index: int, start: Moment, end: Moment) -> dict[str, Any]:
    """Payload of a ``phase`` edit: each end with its own ±, and whose it is where that is not who makes the edit.

    ``sd_s`` is that of the less certain end, for readers that know one only.
    """
    return {
        "name": name,
        "index": index,
        "start_s": start.t,
        "end_s": end.t,
        "sd_s": max(start.sd_s, end.sd_s),
        "start_sd_s": start.sd_s,
        "end_sd_s": end.sd_s,
        **{
            f"{edge}_by": moment.set_by
            for edge, moment in (("start", start), ("end", end))
            if moment.set_by is not None
        },
    }


def unset_words(moments: Iterable[Moment]) -> str:
    """What stands in the row of the clamp while nobody has set it."""
    many = len(list(moments))
    if not many:
        return "not set: no line mentions it"
    return f"not set: {many} {'line mentions' if many == 1 else 'lines mention'} it"


def _mentions(text: str) -> bool:
    return bool(_edges(text)) or any(word.startswith(CLAMP) for word in plain(text).split())


def _edges(text: str) -> set[str]:
    return {edge for meaning in meanings_of(text) for phase, edge in meaning.edges if phase == CLAMP}


def _edge(text: str) -> str:
    edges = _edges(text)
    return edges.pop() if len(edges) == 1 else ""
