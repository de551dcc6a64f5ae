"""Every limit that a case is read by on a row of its own: its state, its set, and the limits that say otherwise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from .limit_rules import given, own_number, parameter_for, rules_on
from .limit_set import EditedLimit, Limit, LimitSet, default_sets
from .limits import Choice, Place, place, rank

State = Literal["edited", "local", "published", "practice"]

_PARTS = {
    "pre": {"pre"},
    "post": {"post"},
    "off": {"pre", "post"},
    "selective_cerebral": {"brain"},
    "established": {"established", "brain"},
    "bypass": {"established", "brain", "ramps"},
    "record": {"pre", "established", "brain", "ramps", "post"},
}
"""What the windows of limits are made of: a limit for the whole record speaks of the time before bypass as well."""


@dataclass(frozen=True, slots=True)
class Rival:
    """A limit that says otherwise, and the set that it stands in."""

    limit: Limit
    of: str


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit of a set that is in force.

    Attributes
    ----------
    set_name, version : str
        The set that it stands in.
    limit : Limit
        As it counts; an `EditedLimit` where somebody changed its number.
    state : str
        ``"edited"`` on the desk, ``"local"`` of a unit's own set, ``"published"`` or ``"practice"``.
    stands_back_for : str
        The set whose limit on the same measure, phase and side counts instead; empty where it counts itself.
    rivals : tuple of Rival
        Other limits on the same measure that give another number: of its own set, of the others in force, and of
        those that come with the program.
    gives : str
        The number of a rule that it gives, ``"E13.below"``; empty where no find goes by it.
    instead : mapping
        Where none does, the numbers that rules on its measure go by: by ``"E13.below"`` what it is.
    """

    set_name: str
    version: str
    limit: Limit
    state: State
    stands_back_for: str
    rivals: tuple[Rival, ...]
    gives: str = ""
    instead: Mapping[str, float] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """Set and id."""
        return f"{self.set_name}:{self.limit.id}"

    @property
    def was(self) -> Limit | None:
        """The limit as its set has it, where it was edited."""
        return self.limit.was if isinstance(self.limit, EditedLimit) else None


def limit_rows(choice: Choice) -> list[LimitRow]:
    """The limits of the sets in force, those first that stand before others; what is a rival only is on no row."""
    versions = {one.name: one.version for one in choice.sets}
    effective = {one.name: one for one in choice.in_force}
    everything = [*choice.sets, *(one for one in default_sets() if one.name not in versions)]
    before: dict[Place, str] = {}
    giving = given(*choice.in_force)
    rows = []
    for one in rank(choice.sets):
        for own in one:
            if not own.figure:
                continue
            limit = effective[one.name][own.id]
            first = before.setdefault(place(own), one.name)
            gives = next(
                (key for key, (name, by) in giving.items() if (name, by.id) == (one.name, own.id)), ""
            )
            rows.append(
                LimitRow(
                    one.name,
                    versions[one.name],
                    limit,
                    _state(one, limit),
                    "" if first == one.name else first,
                    tuple(_rivals(one, own, limit, everything)),
                    gives,
                    {} if gives or first != one.name else _instead(own, giving),
                )
            )
    return rows


def _instead(limit: Limit, giving: Mapping[str, tuple[str, Limit]]) -> dict[str, float]:
    """The numbers that rules on a limit's measure go by: its own place's, else those of the measure's other places."""
    keys = (parameter_for(limit),) if parameter_for(limit) else rules_on(limit.measure)
    return {key: giving[key][1].value if key in giving else own_number(key) for key in keys}


def _state(one: LimitSet, limit: Limit) -> State:
    if isinstance(limit, EditedLimit):
        return "edited"
    if not one.is_shipped:
        return "local"
    return "published" if one.name == "published" else "practice"


def _rivals(one: LimitSet, own: Limit, limit: Limit, sets: Iterable[LimitSet]) -> Iterable[Rival]:
    seen = {limit.words}
    named = [Rival(one[rival], one.title) for rival in own.rivals]
    others = [
        Rival(other, among.title)
        for among in sets
        for other in among
        if (other.measure, other.is_above) == (own.measure, own.is_above)
        and _same_time(own.phase, other.phase)
    ]
    told = set()
    for rival in [*named, *others]:
        key = (rival.limit.words, rival.limit.cited)
        if rival.limit.words not in seen and key not in told:
            told.add(key)
            yield rival


def _same_time(one: str, other: str) -> bool:
    return bool(_PARTS[one] & _PARTS[other])
