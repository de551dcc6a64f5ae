"""The numbers that rules go by in a case: the catalogue's, those of limit sets, and those that people changed.

A changed number is a ``limit`` edit of the log with ``rule``, ``parameter``, ``value`` and ``reason``, in place of the
one before it; one with ``taken_back`` gives the rule its number again. Undo and redo are those of the log.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from afterclamp.io.errors import EditRefused

from .parameter import Numbers, Parameter
from .rules import RULES, STATUS, Rule

if TYPE_CHECKING:
    from afterclamp.io.case import Case
    from afterclamp.io.log import Edit

LONGEST_S = 86_400.0
"""No time of a rule is longer than a day: cases are not."""

PLAUSIBLE: Numbers = {
    "mm[Hg]": 300.0,
    "Cel": 50.0,
    "Cel/min": 10.0,
    "L/min": 15.0,
    "L/min/m2": 10.0,
    "mL/min/m2": 2000.0,
    "mL/kg/min": 200.0,
    "mL/kg": 30.0,
    "mL": 10_000.0,
    "%": 100.0,
    "1": 100.0,
}
"""Greatest number of each unit that anything is looked for by; three times the catalogue's where that itself is so
great, as of line pressures.

Pressures: the range that transducers are made for, to 300 mmHg (ANSI/AAMI BP22, from memory); the others are wide
bounds of this project's choice.
"""

ORDERED: tuple[tuple[str, str, str, bool], ...] = (
    ("E01", "severe", "below", True),
    ("E04", "shortest", "longest", False),
    ("E06", "under", "from", False),
    ("E10", "minimum", "longest", False),
    ("E13", "below", "above", False),
    ("E18", "flow_low", "flow_high", False),
    ("E18", "pressure_low", "pressure_high", False),
    ("E24", "none", "pulse", False),
    ("E29", "of_window", "window", True),
)
"""Numbers of one rule of which one must lie under the other, or may equal it where that is true."""

_PER_UNIT_S: Mapping[str, float] = {"s": 1.0, "min": 60.0, "h": 3600.0, "ms": 0.001}


@dataclass(frozen=True, slots=True)
class RuleNumber:
    """One free number of a rule, as it is in force.

    Attributes
    ----------
    code, name : str
        Of the rule, and of the number.
    value : float
        In force, in `unit`.
    own : float
        The catalogue's.
    unit : str
        UCUM code.
    meaning : str
        What it does.
    rests_on : str
        Published, common practice, or this project's choice.
    given_by : str
        Who gave the value in force, in words; empty where it is the catalogue's.
    reason : str
        Why somebody changed it; empty where nobody did.
    edited : bool
        Whether an edit of the case's log gave it.
    """

    code: str
    name: str
    value: float
    own: float
    unit: str
    meaning: str
    rests_on: str
    given_by: str = ""
    reason: str = ""
    edited: bool = False

    @property
    def key(self) -> str:
        """As `finds.find` takes it: ``"E13.below"``."""
        return f"{self.code}.{self.name}"


def edits_in_force(case: Case) -> dict[str, Edit]:
    """The edits that changed a number of a rule and stand, by ``"E13.below"``; a later one before an earlier."""
    return {
        f"{edit.payload['rule']}.{edit.payload['parameter']}": edit
        for edit in case.log.standing("limit")
        if {"rule", "parameter", "value"} <= set(edit.payload)
    }


def numbers_in_force(case: Case) -> dict[str, float]:
    """Numbers by ``"E13.below"``: of the limits in force for the case, and above them what people changed in it."""
    from .limits import in_force, rule_limits

    return {
        **rule_limits(*in_force(case)),
        **{key: float(edit.payload["value"]) for key, edit in edits_in_force(case).items()},
    }


def rule_numbers(case: Case, rule: Rule) -> list[RuleNumber]:
    """The free numbers of a rule as they are in force for a case, in the order of the catalogue."""
    from .limits import in_force, rule_limits

    by_sets, edits = rule_limits(*in_force(case)), edits_in_force(case)
    found = []
    for name, parameter in rule.parameters.items():
        if parameter.fixed:
            continue
        key = f"{rule.code}.{name}"
        value, given_by, reason, edit = parameter.value, "", "", edits.get(key)
        if edit is not None:
            value, given_by = float(edit.payload["value"]), edit.author
            reason = str(edit.payload.get("reason", ""))
        elif by_sets.get(key, value) != value:
            value, given_by = by_sets[key], "the limits in force"
        found.append(
            RuleNumber(
                rule.code,
                name,
                value,
                parameter.value,
                parameter.unit,
                parameter.meaning,
                rests_on(rule, parameter),
                given_by,
                reason,
                edit is not None,
            )
        )
    return found


def rests_on(rule: Rule, parameter: Parameter) -> str:
    """What one number rests on, in two words or so: as its own words say, else what the rule as a whole does.

    Where the source of the rule says that its numbers do not all rest on the same, that is told of each.
    """
    words = {key: status.partition(",")[0] for key, status in STATUS.items()}
    own = next((one for one in words.values() if one in parameter.meaning), "")
    mixed = any(one in rule.source for key, one in words.items() if key != rule.status)
    return own or words[rule.status] + (", in part" if mixed else "")


def edited_words(case: Case) -> list[str]:
    """A line for each number that people changed: what it is, what it was, who and why."""
    lines = []
    for key, edit in sorted(edits_in_force(case).items()):
        code, _, name = key.partition(".")
        rule = next((one for one in RULES if one.code == code and name in one.parameters), None)
        value, why = float(edit.payload["value"]), str(edit.payload.get("reason", "")).strip()
        if rule is None:
            lines.append(f"{key} = {value:g}, by {edit.author}: no rule of this program has that number")
            continue
        parameter = rule.parameters[name]
        unit = "" if parameter.unit == "1" else f" {parameter.unit}"
        lines.append(
            f"{code} {rule.name}, {parameter.meaning}: {value:g}{unit} in place of {parameter.value:g}{unit}, "
            f"by {edit.author}: {why or 'no reason was given'}"
        )
    return lines


def meaning_of(code: str, name: str) -> tuple[str, str, float | None]:
    """What a number of a rule does, its UCUM unit, and the catalogue's value.

    Of a number that no rule of this program has: its name, ``"1"`` and None.
    """
    for rule in RULES:
        if rule.code == code and name in rule.parameters:
            parameter = rule.parameters[name]
            return parameter.meaning, parameter.unit, parameter.value
    return name, "1", None


# -- edits -----------------------------------------------------------------------------------------


def checked(code: str, name: str, value: float, beside: Numbers | None = None) -> tuple[Rule, Parameter]:
    """The rule and the number that somebody wants to be another.

    Parameters
    ----------
    code, name : str
    value : float
        In the unit of the number.
    beside : mapping of str to float, optional
        Numbers in force, by ``"E13.above"``, that it must fit; the catalogue's where one is not given.

    Raises
    ------
    EditRefused
        When there is no such rule or number, it is the same in every case, or nothing can be looked for by the value:
        it lies outside what is plausible (`PLAUSIBLE`), or on the wrong side of another one (`ORDERED`).
    """
    having = [rule for rule in RULES if rule.code == code]
    if not having:
        raise EditRefused(f"there is no rule {code!r}", todo="afterclamp finds CASE --rules lists them all")
    rule = next((one for one in having if name in one.parameters), None)
    if rule is None:
        free = [key for one in having for key, other in one.parameters.items() if not other.fixed]
        raise EditRefused(f"{code} has no number {name!r}", todo=f"It has {', '.join(free) or 'none'}")
    parameter = rule.parameters[name]
    what = f"{code}, {parameter.meaning}"
    if parameter.fixed:
        raise EditRefused(
            f"{what}: {_with_unit(parameter.value, parameter)} in every case",
            todo="Masks and figures go by it: hide or unhide the seconds instead",
        )
    if not math.isfinite(value):
        raise EditRefused(f"{value} is no number to look for anything by")
    given = _with_unit(value, parameter)
    if (parameter.value >= 0 > value) or (parameter.value > 0 == value):
        raise EditRefused(f"{what}: {given} must be above 0")
    if parameter.unit == "1" and parameter.value >= 2 and value < 1:  # a count of something
        raise EditRefused(f"{what}: {given} must be 1 or more")
    seconds = _PER_UNIT_S.get(parameter.unit)
    if seconds is not None and value * seconds > LONGEST_S:
        raise EditRefused(f"{what}: {given} is longer than any case", todo="Give a day at most")
    most = PLAUSIBLE.get(parameter.unit, math.inf)
    most = most if parameter.value < most else 3 * parameter.value
    if value > most:
        raise EditRefused(
            f"{what}: {given} is no value that is ever recorded",
            todo=f"Give {_with_unit(most, parameter)} at most",
        )
    _in_order(rule, name, value, beside or {})
    return rule, parameter


def _in_order(rule: Rule, name: str, value: float, beside: Numbers) -> None:
    """Two numbers of a rule between which nothing, or everything twice, would be found are refused."""
    for code, low, high, may_be_equal in ORDERED:
        if code != rule.code or name not in (low, high) or low not in rule.parameters:
            continue
        other = high if name == low else low
        there = beside.get(f"{code}.{other}", rule.parameters[other].value)
        least, greatest = (value, there) if name == low else (there, value)
        if least > greatest or (least == greatest and not may_be_equal):
            one, two = rule.parameters[name], rule.parameters[other]
            side = "under" if name == low else "above"
            raise EditRefused(
                f"{code}, {one.meaning}: {_with_unit(value, one)} must lie {side} {_with_unit(there, two)}, "
                f"{two.meaning}",
                todo=f"Give a value {side} it, or change the other one first",
            )


def _with_unit(value: float, parameter: Parameter) -> str:
    return f"{value:g}" if parameter.unit == "1" else f"{value:g} {parameter.unit}"


def editing(code: str, name: str, value: float, reason: str, beside: Numbers | None = None) -> dict[str, Any]:
    """The payload of a ``limit`` edit that changes one number of a rule, with a reason; `beside` as in `checked`.

    Raises
    ------
    EditRefused
        As `checked`; and when no reason is given.
    """
    checked(code, name, value, beside)
    if not reason.strip():
        raise EditRefused(f"no reason was given for another number of {code}", todo="Say why")
    return {"rule": code, "parameter": name, "value": float(value), "reason": reason.strip()}


def taking_back(code: str, name: str) -> dict[str, Any]:
    """The payload of a ``limit`` edit that gives a rule its number again."""
    return {"rule": code, "parameter": name, "taken_back": True}


def keep(case: Case, author: str, payloads: Sequence[Mapping[str, Any]]) -> list[Edit]:
    """Write ``limit`` edits of rules to the log, each in place of the one in force for the same number.

    Raises
    ------
    EditRefused
        When there is nothing of it to take back.
    """
    made = []
    for payload in payloads:
        key = f"{payload['rule']}.{payload['parameter']}"
        before = edits_in_force(case).get(key)
        if before is None and payload.get("taken_back"):
            raise EditRefused(f"nobody changed {key} in this case: there is nothing to take back")
        made.append(case.edit(author, "limit", payload, supersedes=before.id if before else None))
    return made


def typed(words: Sequence[str]) -> dict[str, float]:
    """Numbers by ``"E13.below"`` from words such as ``"E13.below=55"``.

    Raises
    ------
    EditRefused
        When a word is none of that form, or as `checked`.
    """
    found: dict[str, float] = {}
    for word in words:
        key, equals, number = word.partition("=")
        code, dot, name = key.strip().partition(".")
        try:
            value = float(number)
        except ValueError:
            value = math.nan
        if not (equals and dot and math.isfinite(value)):
            raise EditRefused(f"{word!r} changes no number", todo="Write it as E13.below=55")
        found[f"{code}.{name}"] = value
    for key, value in found.items():
        code, _, name = key.partition(".")
        checked(code, name, value, found)
    return found
