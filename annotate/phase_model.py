"""What a phase is: a name, two boundaries with their evidence, and who confirmed it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .order import Z95, or_none

NAMES: dict[str, str] = {
    "pre": "before bypass",
    "going_on": "going on bypass",
    "bypass": "bypass",
    "cooling": "cooling",
    "cold_steady": "steady cold",
    "clamp": "cross-clamp",
    "cardioplegia": "cardioplegia",
    "lower_body_arrest": "arrest of the lower body",
    "no_flow_arrest": "arrest, no flow",
    "selective_cerebral": "selective cerebral perfusion",
    "reperfusion": "reperfusion",
    "warming": "warming",
    "weaning": "weaning",
    "post": "after bypass",
    "protamine": "protamine",
    "return_on": "back on bypass",
}
"""Phase tokens and their plain names."""

WORDS_RULE = "said or written"
"""How the rule of a boundary begins whose time comes from a line of text."""


@dataclass(frozen=True)
class Boundary:
    """One end of a phase.

    Attributes
    ----------
    time_s : float
        Reference seconds.
    rule : str
        What was looked for, as a sentence.
    value : float or None
        The channel's value there, in the channel's unit.
    channel : str
        Canonical name of the channel that gives the time; empty for a person's or the record's end.
    source : str
        The source of that channel.
    sampling_sd_s, clock_sd_s : float
        Standard deviations: of the reading itself, and of its source's clock (infinite where nobody set it).
    clock_piece : tuple of int
        Run and piece of that clock: two times share its error only on the same one.
    alternatives : tuple of str
        Other times that could be meant, and why this one was taken.
    recorded : bool
        False where the record begins or ends within the phase: the phase is at least that long, and its true
        end lies beyond by nobody knows how much.
    confirmed_by : str
        Author who set this time or said that it holds; empty while it is a proposal.
    """

    time_s: float
    rule: str
    value: float | None = None
    channel: str = ""
    source: str = ""
    sampling_sd_s: float = 0.0
    clock_sd_s: float = 0.0
    clock_piece: tuple[int, int] = (0, 0)
    alternatives: tuple[str, ...] = ()
    recorded: bool = True
    confirmed_by: str = ""

    @property
    def unc_s(self) -> float:
        """Half width of the 95 % interval, seconds; infinite where it is not known."""
        return Z95 * float(np.hypot(self.sampling_sd_s, self.clock_sd_s))

    def to_json(self) -> dict[str, Any]:
        """As plain values; a ± that is not known is null."""
        return {
            "time_s": self.time_s,
            "rule": self.rule,
            "value": self.value,
            "channel": self.channel,
            "source": self.source,
            "unc_s": or_none(self.unc_s),
            "alternatives": list(self.alternatives),
            "recorded": self.recorded,
            "confirmed_by": self.confirmed_by or None,
        }


@dataclass(frozen=True)
class Phase:
    """A phase of the operation, proposed by a rule or confirmed by a person.

    Attributes
    ----------
    name : str
        Token: key of `NAMES`. ``bypass`` is the whole on-period.
    start, end : Boundary
    parent : str
        Token of the phase that it lies in, empty at the top.
    index : int
        Which of its name it is, from 0.
    confirmed_by : str
        Author who set both its ends, or both authors; empty while an end is a proposal.
    identity : int
        By which number edits speak of it: the one that it was proposed or added under, which it keeps when others
        of its name come or go. -1: the same as `index`.
    """

    name: str
    start: Boundary
    end: Boundary
    parent: str = ""
    index: int = 0
    confirmed_by: str = ""
    identity: int = -1

    @property
    def edited_as(self) -> int:
        """The number that an edit of it carries as ``index``."""
        return self.identity if self.identity >= 0 else self.index

    @property
    def start_s(self) -> float:
        """Reference seconds."""
        return self.start.time_s

    @property
    def end_s(self) -> float:
        """Reference seconds."""
        return self.end.time_s

    @property
    def duration_s(self) -> float:
        """Seconds."""
        return self.end_s - self.start_s

    @property
    def unc_s(self) -> float:
        """Half width of the 95 % interval of the less certain boundary, seconds; infinite where it is not known."""
        return max(self.start.unc_s, self.end.unc_s)

    @property
    def ends_by(self) -> tuple[str, str]:
        """Who set its start, and who its end; empty for an end that is a proposal."""
        return self.start.confirmed_by or self.confirmed_by, self.end.confirmed_by or self.confirmed_by

    @property
    def set_by(self) -> str:
        """Who set any end of it; empty where both are proposals."""
        return authors(self.ends_by)

    @property
    def state(self) -> str:
        """``"proposed"``, ``"confirmed by anna"``, or of each end where they differ."""
        start, end = self.ends_by
        if bool(start) == bool(end):
            return f"confirmed by {authors((start, end))}" if start else "proposed"
        return f"start {f'set by {start}' if start else 'proposed'}, end {f'set by {end}' if end else 'proposed'}"

    @property
    def source(self) -> str:
        """Channel or channels that give its times, the source of words that do, ``person`` for what people set."""
        by = (
            "person" if author else end.channel or (end.source if end.rule.startswith(WORDS_RULE) else "")
            for end, author in zip((self.start, self.end), self.ends_by, strict=True)
        )
        return ", ".join(dict.fromkeys(name for name in by if name))

    @property
    def rule(self) -> str:
        """Both rules in words."""
        return f"from: {self.start.rule}; to: {self.end.rule}"

    @property
    def alternatives(self) -> tuple[str, ...]:
        """What else each boundary could be."""
        return (*self.start.alternatives, *self.end.alternatives)

    def to_json(self) -> dict[str, Any]:
        """As the command line prints it, with the boundaries behind the fixed fields."""
        return {
            "name": self.name,
            "start_s": self.start_s,
            "end_s": self.end_s,
            "unc_s": or_none(self.unc_s),
            "source": self.source,
            "parent": self.parent or None,
            "index": self.index,
            "edited_as": self.edited_as,
            "confirmed_by": self.confirmed_by or None,
            "start": self.start.to_json(),
            "end": self.end.to_json(),
        }


def authors(names: Iterable[str]) -> str:
    """Each of some authors once: ``"anna"``, ``"anna and bob"``; empty ones are nobody."""
    return " and ".join(dict.fromkeys(name for name in names if name))


def numbered(phases: Iterable[Phase]) -> list[Phase]:
    """In order of start (longer first), each with its index among its name."""
    ordered = sorted(phases, key=lambda phase: (phase.start_s, -phase.end_s))
    seen: dict[str, int] = {}
    out = []
    for phase in ordered:
        index = seen.get(phase.name, 0)
        seen[phase.name] = index + 1
        out.append(replace(phase, index=index))
    return out
