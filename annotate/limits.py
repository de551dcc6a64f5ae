"""Limits in force: which sets a case is read by, the numbers that were edited, and what stands before what.

Which sets are in force is an edit in the log, so is every number that somebody changed: both can be undone, and a
unit's own set is kept whole in the edit, so that the case stands alone. What a set looks like stands in `limit_set`.

A ``limits`` edit has one of two payloads::

    {"sets": [{"name": "published", "version": "1"}, {"name": "ours", "version": "3", "table": {...}}]}
    {"set": "ours", "limit": "map-60", "value": 62, "unit": "mm[Hg]", "reason": "..."}

The second with ``"taken_back": true`` instead of a value gives the set's own number back.

A unit's own limit stands before a published one on the same measure, phase and side, and a published one before
common practice: the one that stands back is no figure of its own any more and is named as a rival beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from afterclamp.io.errors import EditRefused
from afterclamp.io.typed_toml import sentence_of
from pydantic import ValidationError

from .limit_measures import LIMIT_MEASURES, implausible
from .limit_rules import rule_limits
from .limit_set import (
    FOLDER,
    PHASES,
    STATUS,
    EditedLimit,
    Limit,
    LimitSet,
    Oxygen,
    built_in,
    default_sets,
    shipped,
)
from .measures.oxygen import DEFAULT_CONSTANTS, OxygenConstants

if TYPE_CHECKING:
    from afterclamp.io.case import Case
    from afterclamp.io.log import Edit

__all__ = [
    "FOLDER",
    "PHASES",
    "STATUS",
    "Choice",
    "EditedLimit",
    "Limit",
    "LimitSet",
    "Oxygen",
    "built_in",
    "choosing",
    "chosen_in",
    "default_sets",
    "editing",
    "in_force",
    "keep",
    "oxygen_constants",
    "rule_limits",
    "taking_back",
]

Payload = Mapping[str, Any]
Key = tuple[str, str]
"""The name of a set and the id of a limit in it."""
Place = tuple[str, str, bool]
"""Measure, phase and side: where one limit stands before another."""


@dataclass(frozen=True, slots=True)
class Number:
    """A limit's number that somebody changed.

    Attributes
    ----------
    value : float
        In the limit's own unit.
    reason, by : str
        Why, and who.
    """

    value: float
    reason: str
    by: str


@dataclass(frozen=True, slots=True)
class Choice:
    """What a case is read by, as its log says.

    Attributes
    ----------
    sets : tuple of LimitSet
        As they were chosen, with their own numbers; the built-in ones where nobody chose.
    numbers : mapping
        Numbers that somebody changed, by set and limit.
    by : str
        Who chose the sets; empty where nobody did.
    unclear : tuple of str
        What of the log could not be gone by, in sentences.
    """

    sets: tuple[LimitSet, ...]
    numbers: Mapping[Key, Number]
    by: str
    unclear: tuple[str, ...]

    @property
    def in_force(self) -> tuple[LimitSet, ...]:
        """The sets that figures go by: numbers edited, and what stands back taken out of the figures."""
        return _ranked([_edited(one, self.numbers) for one in self.sets])


def chosen_in(case: Case, more: Sequence[Payload] = (), by: str = "") -> Choice:
    """What the ``limits`` edits of a case that stand come to.

    Parameters
    ----------
    case : Case
    more : sequence of mapping
        Payloads that are not kept yet, as if they were: to see what they would change.
    by : str
        Who would keep them.
    """
    said = [(edit.payload, edit.author) for edit in case.log.standing("limits")]
    sets: tuple[LimitSet, ...] = default_sets()
    numbers: dict[Key, Number] = {}
    unclear: list[str] = []
    chosen_by = ""
    for payload, author in [*said, *((payload, by) for payload in more)]:
        if "sets" in payload:
            read = [_read(one, unclear) for one in payload["sets"]]
            found = tuple(one for one in read if one is not None)
            if found:
                sets, chosen_by = found, author
            continue
        key = (str(payload["set"]), str(payload["limit"]))
        if payload.get("taken_back"):
            numbers.pop(key, None)
        else:
            numbers[key] = Number(float(payload["value"]), str(payload.get("reason", "")), author)
    if not any(one.limit for one in sets):  # constants of oxygen content alone
        sets = (*default_sets(), *sets)
    known = {(one.name, limit.id) for one in sets for limit in one}
    unclear += [
        f"{number.by} edited {limit} of the set {name}, which is not in force: it changes nothing"
        for (name, limit), number in numbers.items()
        if (name, limit) not in known
    ]
    return Choice(sets, _possible(sets, numbers, unclear), chosen_by, tuple(unclear))


def _possible(
    sets: Sequence[LimitSet], numbers: Mapping[Key, Number], unclear: list[str]
) -> dict[Key, Number]:
    """The numbers that can be meant: one that cannot, of another version or written by hand, changes nothing."""
    measures = {(one.name, limit.id): LIMIT_MEASURES[limit.measure] for one in sets for limit in one}
    kept = {}
    for key, number in numbers.items():
        doubt = implausible(measures[key], number.value) if key in measures else ""
        if doubt:
            unclear.append(
                f"{number.by} edited {key[1]} of the set {key[0]}, but {doubt}: it changes nothing"
            )
        else:
            kept[key] = number
    return kept


def _read(kept: Mapping[str, Any], unclear: list[str]) -> LimitSet | None:
    """A set as an edit keeps it: by name where it comes with the program, else whole."""
    name, version = str(kept["name"]), str(kept["version"])
    if name in built_in():
        found = shipped(name)
        if found.version != version:
            unclear.append(
                f"version {version} of the set {name} was chosen; this program has version {found.version} "
                "and goes by that"
            )
        return found
    try:
        return LimitSet.model_validate(kept.get("table", {}))
    except ValidationError as cause:
        why = sentence_of(cause, None, LimitSet).what
        unclear.append(
            f"the set {name}, version {version}, is not understood by this program: it is left out ({why})"
        )
        return None


def _edited(one: LimitSet, numbers: Mapping[Key, Number]) -> LimitSet:
    """A set with the numbers that somebody changed; its version then says how many."""
    found = {limit.id: numbers[one.name, limit.id] for limit in one if (one.name, limit.id) in numbers}
    if not found:
        return one
    limits = tuple(
        EditedLimit.of(limit, found[limit.id].value, found[limit.id].reason, found[limit.id].by)
        if limit.id in found
        else limit
        for limit in one
    )
    count = "1 number" if len(found) == 1 else f"{len(found)} numbers"
    return one.model_copy(update={"limit": limits, "version": f"{one.version}, {count} edited"})


def rank(sets: Sequence[LimitSet]) -> list[LimitSet]:
    """In the order in which they stand before one another: a unit's own, the last chosen first; then the built-in."""
    own = [one for one in reversed(sets) if not one.is_shipped]
    published_first = sorted((one for one in sets if one.is_shipped), key=lambda one: one.name != "published")
    return own + published_first


def place(limit: Limit) -> Place:
    """What two limits must share for one to stand before the other: measure, phase and side."""
    return limit.measure, limit.phase, limit.is_above


def _ranked(sets: Sequence[LimitSet]) -> tuple[LimitSet, ...]:
    """Sets in order of precedence; what stands back counts in no figure and is a rival of what stands before it."""
    ordered = rank(sets)
    before: dict[Place, str] = {}
    for one in ordered:
        for limit in one:
            if limit.figure:
                before.setdefault(place(limit), one.name)
    back = [
        (one, limit) for one in ordered for limit in one if limit.figure and before[place(limit)] != one.name
    ]
    own_oxygen = next((one.name for one in ordered if one.oxygen is not None and not one.is_shipped), "")
    out = []
    for one in ordered:
        rivals: dict[str, Limit] = {}
        named: dict[
            Place, dict[str, None]
        ] = {}  # each limit has the rivals of its own measure, phase and side
        for other, behind in back:
            if before[place(behind)] != one.name:
                continue
            for limit in [behind, *other.rivals_of(behind)]:
                name = f"{other.name}:{limit.id}"
                rivals[name] = limit.model_copy(update={"id": name, "figure": False, "rivals": ()})
                named.setdefault(place(behind), {})[name] = None
        limits = tuple(_beside(limit, one.name, before, named) for limit in one)
        oxygen = one.oxygen if one.is_shipped or one.name == own_oxygen else None
        changed = limits != one.limit or rivals or oxygen != one.oxygen
        update = {"limit": (*limits, *rivals.values()), "oxygen": oxygen}
        out.append(one.model_copy(update=update) if changed else one)
    return tuple(out)


def _beside(
    limit: Limit, own: str, before: Mapping[Place, str], named: Mapping[Place, Iterable[str]]
) -> Limit:
    """A limit as it counts: standing back, or with those that stand back for it among its rivals."""
    if not limit.figure:
        return limit
    if before[place(limit)] != own:
        return limit.model_copy(update={"figure": False})
    more = tuple(named.get(place(limit), ()))
    return limit.model_copy(update={"rivals": limit.rivals + more}) if more else limit


# -- edits of the log ------------------------------------------------------------------------------------


def choosing(sets: Sequence[LimitSet]) -> dict[str, Any]:
    """The payload of a ``limits`` edit that puts these sets in force; a unit's own is kept whole in it.

    Raises
    ------
    EditRefused
        When there is none, two have one name, or a set that does not come with the program has the name of one
        that does. Constants of oxygen content alone are a choice too: the limits stay those that come with the
        program.
    """
    if not sets:
        raise EditRefused("no set was chosen", todo="Choose one set at least")
    names = [one.name for one in sets]
    twice = next((name for name in names if names.count(name) > 1), "")
    if twice:
        raise EditRefused(f"two sets are called '{twice}'", todo="Give each a name of its own")
    for one in sets:
        if one.is_shipped and one != shipped(one.name):
            raise EditRefused(
                f"'{one.name}' is the name of a set that comes with the program, and this one is another",
                todo="Give your own set a name of its own: the line that begins with name",
            )
    return {
        "sets": [
            {"name": one.name, "version": one.version}
            if one.is_shipped
            else {
                "name": one.name,
                "version": one.version,
                "table": one.model_dump(mode="json", exclude_defaults=True),
            }
            for one in sets
        ]
    }


def editing(choice: Choice, name: str, limit_id: str, value: float, reason: str) -> dict[str, Any]:
    """The payload of a ``limits`` edit that changes one number; in the limit's own unit, and with a reason.

    Raises
    ------
    CaseError
        When there is no such limit, no reason, the number is the set's own, or it cannot be meant of the measure.
    """
    limit = _set_of(choice, name)[limit_id]
    if not reason.strip():
        raise EditRefused(f"no reason was given for another number of {limit_id}", todo="Say why")
    if value == limit.value:
        raise EditRefused(
            f"{limit_id} is {value:g} {limit.unit} already", todo="Take the edit of it back instead"
        )
    doubt = implausible(LIMIT_MEASURES[limit.measure], value)
    if doubt:
        raise EditRefused(f"{limit_id}: {doubt}", todo="Correct the number")
    return {"set": name, "limit": limit_id, "value": value, "unit": limit.unit, "reason": reason.strip()}


def taking_back(name: str, limit_id: str) -> dict[str, Any]:
    """The payload of a ``limits`` edit that gives a limit its set's own number back."""
    return {"set": name, "limit": limit_id, "taken_back": True}


def keep(case: Case, author: str, payloads: Sequence[Payload]) -> list[Edit]:
    """Write ``limits`` edits to the log, each in place of the one in force for the same sets or number."""
    made = []
    for payload in payloads:
        subject = _subject(payload)
        before = [edit.id for edit in case.log.standing("limits") if _subject(edit.payload) == subject]
        made.append(case.edit(author, "limits", payload, supersedes=before[-1] if before else None))
    return made


def _subject(payload: Payload) -> Key:
    return ("", "") if "sets" in payload else (str(payload.get("set")), str(payload.get("limit")))


def _set_of(choice: Choice, name: str) -> LimitSet:
    for one in choice.sets:
        if one.name == name:
            return one
    raise EditRefused(
        f"no set called '{name}' is in force", todo=f"In force are: {', '.join(s.name for s in choice.sets)}"
    )


# -- what figures and rules take -------------------------------------------------------------------------


def in_force(
    case: Case | None = None, chosen: LimitSet | Iterable[LimitSet] | None = None
) -> tuple[LimitSet, ...]:
    """The sets that figures go by.

    Parameters
    ----------
    case : Case, optional
        Its ``limits`` edits say which sets are in force and which numbers are edited; without any, and without a
        case, the published and the practice set.
    chosen : LimitSet or iterable of LimitSet, optional
        Sets to go by instead; where these hold no limit at all but only constants, the others stand before them.
    """
    sets = () if chosen is None else (chosen,) if isinstance(chosen, LimitSet) else tuple(chosen)
    if any(one.limit for one in sets):
        return sets
    return (*(chosen_in(case).in_force if case is not None else default_sets()), *sets)


def oxygen_constants(case: Case | None = None, sets: Iterable[LimitSet] = ()) -> OxygenConstants:
    """The constants of oxygen content that are in force.

    Parameters
    ----------
    case : Case, optional
        Its last standing ``limit`` edit with a payload ``{"oxygen": {"capacity", "solubility", "status",
        "source"}}`` counts where no set has a table ``[oxygen]`` of its own.
    sets : iterable of LimitSet
        Sets in force, those of the case if not given; a later one before an earlier. The published one's own table
        is what counts last.

    Returns
    -------
    OxygenConstants
        Those of the published set where nobody chose others.
    """
    built_in_table = shipped("published").oxygen
    sets = tuple(sets) or in_force(case)
    chosen = [one.oxygen for one in sets if one.oxygen not in (None, built_in_table)]
    if chosen and chosen[-1] is not None:
        return chosen[-1].constants
    for edit in reversed(case.log.standing("limit") if case is not None else ()):
        if "oxygen" in edit.payload:
            try:
                return Oxygen.model_validate(edit.payload["oxygen"]).constants
            except ValidationError:
                continue  # of another version, or written by hand: what is not understood changes nothing
    return built_in_table.constants if built_in_table is not None else DEFAULT_CONSTANTS
