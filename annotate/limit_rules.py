"""Which number of a rule a limit gives: finds and figures then go by the same one.

A rule looks for one number, a set can have several on the same measure. Of those the one counts that the rule has by
itself, whatever somebody made of it since; where none is that one, the first of the set.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final

from .limit_set import SIDES, EditedLimit, Limit, LimitSet

RULE_PARAMETERS: Final[Mapping[tuple[str, str, str], str]] = MappingProxyType(
    {
        ("mean_arterial_pressure", "off", "below"): "E01.below",
        ("mean_arterial_pressure", "established", "below"): "E13.below",
        ("mean_arterial_pressure", "established", "above"): "E13.above",
        ("line_pressure", "bypass", "above"): "E07.above",
        ("central_venous_pressure", "bypass", "at_least"): "E09.to",
        ("pump_flow_index", "established", "below"): "E11.below",
        ("oxygen_delivery_index", "established", "below"): "E12.below",
        ("cooling_gradient", "bypass", "above"): "E14.cooling",
        ("warming_gradient_cold", "bypass", "above"): "E14.warming_cold",
        ("warming_gradient_warm", "bypass", "above"): "E14.warming_warm",
        ("warming_rate", "bypass", "above"): "E15.above",
        ("outlet_temperature", "bypass", "at_least"): "E16.from",
        ("cerebral_saturation_of_baseline", "record", "below"): "E19.fraction",
        ("cerebral_saturation", "record", "below"): "E19.below",
        ("cerebral_side_difference", "record", "at_least"): "E20.points",
        ("femoral_radial_gradient", "post", "at_least"): "E22.mean",
        ("pulmonary_to_systemic_ratio", "post", "at_least"): "E28.ratio",
    }
)
"""Which number of a rule a limit on the same measure, in the same phase and on the same side, stands for."""

WHERE_ASKED: Final = frozenset({"E19.below"})
"""Numbers that their rule looks at only where a person asks for it."""


def parameter_for(limit: Limit) -> str:
    """The number of a rule that a limit can stand for, ``"E13.below"``; empty where there is none."""
    side = next(name for name in SIDES if getattr(limit, name) is not None)
    return RULE_PARAMETERS.get((limit.measure, limit.phase, side), "")


def rules_on(measure: str) -> tuple[str, ...]:
    """The numbers of rules that look at a measure in any phase."""
    return tuple(number for (name, _, _), number in RULE_PARAMETERS.items() if name == measure)


def given(*sets: LimitSet) -> dict[str, tuple[str, Limit]]:
    """The limit that gives each number of a rule, with the name of its set; a later set before an earlier."""
    return {key: (one.name, limit) for one in sets for key, limit in _of_one(one)}


def rule_limits(*sets: LimitSet) -> dict[str, float]:
    """The numbers that limit sets give to rules, as `finds.find` takes them; a later set before an earlier."""
    return {key: limit.value for key, (_, limit) in given(*sets).items()}


def own_number(key: str) -> float:
    """The catalogue's number of a rule, by ``"E13.below"``."""
    from .rules import RULES  # a command that lists no limit reads no rule

    code, _, name = key.partition(".")
    return next(
        rule.parameters[name] for rule in RULES if rule.code == code and name in rule.parameters
    ).value


def _of_one(one: LimitSet) -> Iterator[tuple[str, Limit]]:
    fitting: dict[str, list[Limit]] = {}
    for limit in one:
        key = parameter_for(limit)
        if key and limit.figure and limit.value > 0:  # a rule looks for nothing by nought
            fitting.setdefault(key, []).append(limit)
    for key, limits in fitting.items():
        own = own_number(key)
        yield key, next((limit for limit in limits if _set_s(limit) == own), limits[0])


def _set_s(limit: Limit) -> float:
    """The number that a limit's set has."""
    return limit.was.value if isinstance(limit, EditedLimit) else limit.value
