"""The evidence of a transducer height shift in words: what each line stepped by, and how high that is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from .wording import number

KEYS: Final = frozenset(
    {
        *("common_step_mmhg", "lines_apart_mmhg", "height_cm", "later_steps_mmhg", "left_open"),
        *("amounts_mmhg", "amounts_half_mmhg"),
    }
)
"""Keys of the evidence that are told here."""


def of_height(seen: Mapping[str, Any], name: Callable[[str], str]) -> list[tuple[str, str]]:
    """Labels and texts, in order of use to a reader; none where nothing stepped, no common step of a line alone.

    Parameters
    ----------
    seen : mapping
        What was seen of an A7.
    name : callable
        Plain name of a channel.
    """
    facts: list[tuple[str, str]] = []
    if "common_step_mmhg" in seen:
        step, height = float(seen["common_step_mmhg"]), float(seen["height_cm"])
        lower = "lower" if height > 0 else "higher"
        apart = number(float(seen["lines_apart_mmhg"]), 1)
        facts.append(
            (
                "Common step",
                f"{_signed(step)} mmHg, the lines within {apart} mmHg of it; as with transducers "
                f"{number(abs(height), 0)} cm of water {lower} against the patient",
            )
        )
    halves = seen.get("amounts_half_mmhg") or {}
    lines = [
        f"{name(line)} {_signed(float(amount))}"
        + (f" ± {number(float(halves[line]), 1)}" if line in halves else "")
        for line, amount in (seen.get("amounts_mmhg") or {}).items()
    ]
    if lines:
        facts.append(("Step of each line", f"{', '.join(lines)} mmHg"))
    later = [_signed(float(one)) for one in seen.get("later_steps_mmhg") or ()]
    if later:
        facts.append(("Stepped back by", f"{', then '.join(later)} mmHg"))
    return facts


def _signed(value: float) -> str:
    return ("+" if value > 0 else "") + number(value, 1)
