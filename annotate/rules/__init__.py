"""The catalogue: every pattern as one declared object, one family a file.

To add a pattern, declare one `Rule` in the file of its family, put it in that file's ``RULES``, and
give it its test.
"""

from __future__ import annotations

from . import arrest, artefact, arterial, fast_change, pump, temperature
from .rule import NEEDS, STATUS, Find, Link, Parameter, Rule

__all__ = ["NEEDS", "RULES", "STATUS", "Find", "Link", "Parameter", "Rule", "by_code", "catalogue"]

RULES: tuple[Rule, ...] = tuple(
    sorted(
        (
            *artefact.RULES,
            *arterial.RULES,
            *fast_change.RULES,
            *pump.RULES,
            *arrest.RULES,
            *temperature.RULES,
        ),
        key=lambda rule: (rule.code[0] != "A", rule.code),
    )
)
"""All rules, artefacts first, in order of their codes."""


def by_code(code: str) -> Rule:
    """The rule of a class token; KeyError if there is none."""
    return {rule.code: rule for rule in RULES}[code]


def catalogue() -> str:
    """The whole catalogue in words, with numbers, status and source."""
    lines = []
    for rule in RULES:
        lines.append(f"{rule.code}  {rule.name} ({STATUS[rule.status]})")
        lines.append(f"     {rule.sentence()}")
        needs = ", ".join(words.removeprefix("no ") for words, _ in (NEEDS[need] for need in rule.needs))
        lines.append(f"     Needs: {needs or 'nothing beyond the channel itself'}. Source: {rule.source}.")
        lines += [
            f"     {name} = {parameter.value:g} {parameter.unit}: {parameter.meaning}"
            for name, parameter in rule.parameters.items()
        ]
    return "\n".join(lines)
