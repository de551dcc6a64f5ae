"""Single values of the evidence as text, and what a key is called that nobody described."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from .wording import NONE, number

Name = Callable[[str], str]

_ENDINGS: Final = {"s": "s", "min": "min", "ml": "mL", "mmhg": "mmHg", "c": "°C", "hz": "Hz", "ppm": "ppm"}


def by_its_name(key: str, value: Any, name: Name) -> tuple[str, str]:
    """Label and text of a key that nobody described: its words, and the unit that its last one names."""
    *words, last = key.split("_")
    unit = _ENDINGS.get(last, "") if words else ""
    label = " ".join(words if unit else [*words, last])
    text = any_value(value, name)
    return label[:1].upper() + label[1:], f"{text} {unit}".rstrip() if unit and text != NONE else text


def any_value(value: Any, name: Name) -> str:
    """Whatever a key holds: a list with commas, a table with the name of each part."""
    if isinstance(value, Mapping):
        return ", ".join(
            f"{name(str(key))} {any_value(part, name)}" for key, part in value.items() if part is not None
        )
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ", ".join(any_value(part, name) for part in value)
    return plain(value)


def plain(value: Any) -> str:
    """A number with as many decimals as it can carry, or words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return number(value, 0)
    if isinstance(value, float):
        if not math.isfinite(value):
            return NONE
        return number(
            value, 0 if abs(value) >= 100 else 1 if abs(value) >= 5 or value == round(value, 1) else 2
        )
    return NONE if value is None else str(value)


def sentence(text: str) -> str:
    """With a capital first letter."""
    return text[:1].upper() + text[1:]
