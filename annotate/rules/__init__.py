"""The catalogue: every pattern as one declared object, one family a file.

To add a pattern, declare one `Rule` in the file of its family, put it in that file's ``RULES``, and
give it its test.
"""

from __future__ import annotations

from collections.abc import Mapping

from ..phase_model import NAMES
from . import (
    after,
    arrest,
    arrhythmia,
    artefact,
    arterial,
    beat_patterns,
    cannulae,
    cerebral,
    clamp,
    damped_noisy,
    delivery,
    fast_change,
    gradients,
    heart,
    height,
    lost_pulse,
    malperfusion,
    pump,
    sites,
    temperature,
)
from .rule import NEEDS, STATUS, Find, Link, Parameter, Rule

__all__ = ["NEEDS", "RULES", "STATUS", "Find", "Link", "Parameter", "Rule", "by_code", "catalogue"]

RULES: tuple[Rule, ...] = tuple(
    sorted(
        (
            *artefact.RULES,
            *arterial.RULES,
            *fast_change.RULES,
            *damped_noisy.RULES,
            *height.RULES,
            *lost_pulse.RULES,
            *pump.RULES,
            *arrest.RULES,
            *temperature.RULES,
            *cannulae.RULES,
            *heart.RULES,
            *arrhythmia.RULES,
            *after.RULES,
            *beat_patterns.RULES,
            *malperfusion.RULES,
            *cerebral.RULES,
            *clamp.RULES,
            *sites.RULES,
            *delivery.RULES,
            *gradients.RULES,
        ),
        key=lambda rule: (rule.code[0] != "A", rule.code),
    )
)
"""All rules, artefacts first, in order of their codes."""


def by_code(code: str) -> Rule:
    """The rule of a class token; KeyError if there is none."""
    return {rule.code: rule for rule in RULES}[code]


def catalogue(codes: Mapping[str, str] | None = None, numbers: Mapping[str, float] | None = None) -> str:
    """The whole catalogue in words, with numbers, status and source.

    Parameters
    ----------
    codes : mapping of str to str, optional
        What is said behind the name of each rule of these codes, such as how often it was found.
    numbers : mapping of str to float, optional
        Numbers in force, by ``"E13.below"``, in place of the catalogue's.
    """
    blocks = []
    for rule in RULES:
        said = (codes or {}).get(rule.code, "")
        needs = ", ".join(words.removeprefix("no ") for words, _ in (NEEDS[need] for need in rule.needs))
        own = {
            name: (numbers or {}).get(f"{rule.code}.{name}", one.value)
            for name, one in rule.parameters.items()
        }
        free = [_line(name, one, own[name]) for name, one in rule.parameters.items() if not one.fixed]
        fixed = [_line(name, one, one.value) for name, one in rule.parameters.items() if one.fixed]
        lines = [
            rule.sentence(own),
            *([f"Measured: {rule.fine_print(own)}"] if rule.details else []),
            f"Needs: {needs or 'nothing beyond the channel itself'}. Looked for: {phases_in_words(rule)}. "
            f"Version {rule.version}. It rests on:",
            rule.rests_on(),
            *free,
            *(["The same in every case, since masks and figures go by them:"] if fixed else []),
            *fixed,
        ]
        name = f"{rule.code}  {rule.name}{f' ({said})' if said else ''}"
        blocks.append("\n      ".join([name, *lines]))
    return "\n\n".join(blocks)


def phases_in_words(rule: Rule) -> str:
    """The phases in which a rule is looked for, in plain words."""
    return ", ".join(NAMES.get(name, name) for name in rule.phase) or "in any phase"


def _line(name: str, parameter: Parameter, value: float) -> str:
    unit = "" if parameter.unit == "1" else f" {parameter.unit}"
    was = f" (the catalogue's {parameter.value:g}{unit})" if value != parameter.value else ""
    return f"{name} = {value:g}{unit}{was}: {parameter.meaning}"
