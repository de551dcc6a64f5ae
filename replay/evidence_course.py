"""The evidence of rules that hold a course against a limit, in words: what went with it, and what it amounts to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from .evidence_values import plain, sentence
from .wording import number, unit_name

Told = tuple[str, str, tuple[float, ...]]

_WORDS: Final[Mapping[str, tuple[str, str]]] = {
    "line_peak_mmhg": ("Highest line pressure", "{} mmHg"),
    "resistance_times": ("Resistance of the inflow", "{} times its usual one"),
    "order": ("Which came first", "{}"),
    "ripple_mmhg": ("Irregular ripple meanwhile", "standard deviation {} mmHg"),
    "lowest_before_mmhg": ("Lowest of the minutes before", "{} mmHg"),
    "pulse_mmhg": ("Pulse meanwhile", "{} mmHg"),
    "ejection": ("Ejection", "{}"),
    "systolic_difference_mmhg": ("Difference of the systolic pressures", "{} mmHg"),
    "with_flow": ("Correlation with the flow", "{}"),
    "told_as": ("Told as", "{}"),
    "lower_side": ("Lower side", "{}"),
    "other_side": ("The other side meanwhile", "{}"),
    "awake_difference": ("Difference when awake", "{} %"),
    "constants": ("Constants of the oxygen content", "{}"),
    "ends_with": ("What followed", "{}"),
    "usual": ("Usual value of it", "{}"),
    "label": ("Told as", "{}"),
    "protamine": ("Protamine", "{}"),
    "early_beats": ("Early beats", "{}"),
    "intervals_spread": ("Spread of the beat intervals", "{} %"),
    "signs": ("Signs seen", "{}"),
    "time_from": ("Where the time comes from", "{}"),
    "the_trace_says": ("What the trace says for it", "{}"),
}
"""Label and text of a key that stands by itself."""
_CHANGES: Final[Mapping[str, str]] = {
    "pulmonary_change": "Mean pulmonary artery pressure",
    "venous_change": "Central venous pressure",
    "venous_spike": "Central venous pressure",
}
_PAIRS: Final[Mapping[str, str]] = {
    "pulmonary": "Mean pulmonary artery pressure",
    "arterial": "Mean arterial pressure",
}
KEYS: Final = frozenset(
    {
        *_WORDS,
        *_CHANGES,
        *(f"{name}_{when}" for name in _PAIRS for when in ("before", "during")),
        *(
            "of",
            "limit_words",
            "area_beyond",
            "reservoir_before_ml",
            "reservoir_lowest_ml",
            "low_reservoir_s",
        ),
        *("saturation_falls", "ejection_from_s", "ejection_pulse_mmhg"),
    }
)
"""Keys of the evidence that are told here, or by the levels."""


def of_course(evidence: Mapping[str, Any]) -> list[Told]:
    """Labels, texts and times, in order of use to a reader; none where there is nothing of the kind."""
    told = [*_area(evidence), *_reservoir(evidence), *_others(evidence)]
    for key, (label, words) in _WORDS.items():
        value = evidence.get(key)
        if value not in (None, "", [], ()):
            text = "; ".join(map(str, value)) if isinstance(value, (list, tuple)) else plain(_whole(value))
            told.append((label, sentence(words.format(text)), ()))
    if "ejection_from_s" in evidence:
        level = plain(_whole(evidence.get("ejection_pulse_mmhg")))
        told.append((f"A pulse of {level} mmHg or more since", "", (float(evidence["ejection_from_s"]),)))
    return told


def _whole(value: Any) -> Any:
    """A float that is a whole number as one: it was rounded to it."""
    return int(value) if isinstance(value, float) and value.is_integer() and abs(value) >= 10 else value


def unit_of_text(ucum: str) -> str:
    """A unit behind a number; nothing for a pure number."""
    return "" if ucum == "1" else unit_name(ucum)


def area_unit(ucum: str) -> str:
    """Minutes times a unit, as people write it: of a rate a minute, what it amounts to."""
    return unit_name(ucum.replace("/min", "", 1)) if "/min" in ucum else f"{unit_name(ucum)}·min"


def _area(evidence: Mapping[str, Any]) -> list[Told]:
    if "area_beyond" not in evidence:
        return []
    area = f"{plain(float(evidence['area_beyond']))} {area_unit(str(evidence.get('unit', '')))}"
    return [("Beyond the limit in all", area, ())]


def _reservoir(evidence: Mapping[str, Any]) -> list[Told]:
    parts = [
        f"{words} {number(evidence[key], 0)}"
        for key, words in (("reservoir_before_ml", "before"), ("reservoir_lowest_ml", "lowest"))
        if key in evidence
    ]
    if not parts:
        return []
    low = evidence.get("low_reservoir_s")
    under = f"; {low} s under the low-level mark" if low else ""
    return [("Reservoir", f"{', '.join(parts)} mL{under}", ())]


def _others(evidence: Mapping[str, Any]) -> list[Told]:
    told: list[Told] = []
    falls = evidence.get("saturation_falls")
    if falls:
        sides = ", ".join(f"{side} by {fall} %" for side, fall in falls.items())
        told.append(("Fall of the brain's saturations", f"{sides} of what they were", ()))
    for key, label in _CHANGES.items():
        if key in evidence:
            value = float(evidence[key])
            went = "rose" if value >= 0 else "fell"
            told.append((label, f"{went} by {number(abs(value), 1)} mmHg", ()))
    for name, label in _PAIRS.items():
        parts = [
            f"{when} {plain(evidence[f'{name}_{when}'])}"
            for when in ("before", "during")
            if f"{name}_{when}" in evidence
        ]
        if parts:
            told.append((label, f"{', '.join(parts)} mmHg", ()))
    return told
