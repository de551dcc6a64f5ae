"""How tables and pages write times, lengths, numbers and units: the same words everywhere, no Qt.

Numbers in files and pages use a point; the desk has its own face for the person's locale. What stands
after ± is a 95 % interval.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from types import MappingProxyType

from afterclamp.annotate.phase_model import NAMES as _PHASE_NAMES
from afterclamp.io.errors import several as several

NONE = "–"
Z95 = 1.959964  # half-width of a 95 % interval of a normal distribution, in standard deviations

_WINDOW_NAMES = {"established": "established bypass", "record": "whole record"}

UNIT_NAMES: Mapping[str, str] = MappingProxyType(
    {
        "mm[Hg]": "mmHg",
        "cm[H2O]": "cmH₂O",
        "Cel": "°C",
        "[degF]": "°F",
        "L/min/m2": "L/min/m²",
        "mL/min/m2": "mL/min/m²",
        "mL/m2": "mL/m²",
        "m2": "m²",
        "[arb'U]": "arbitrary",
        "1": "",
    }
)


def phase_name(token: str) -> str:
    """Plain name of a phase, or of the window of a figure; the token with spaces where it has none."""
    return _PHASE_NAMES.get(token) or _WINDOW_NAMES.get(token, token.replace("_", " "))


_SITE_WORDS: Mapping[str, str] = MappingProxyType({"cvp": "central venous", "pa": "pulmonary artery"})


def site_words(text: str) -> str:
    """Canonical names of channels as people say them: ``pa and left_radial`` is pulmonary artery and left radial."""
    spaced = text.replace("_", " ") if "/" not in text else text
    return re.sub(r"\b(cvp|pa)\b", lambda found: _SITE_WORDS[found[1]], spaced)


def unit_name(ucum: str) -> str:
    """A UCUM unit as people write it: ``mm[Hg].min`` becomes ``mmHg·min``."""
    if ucum in UNIT_NAMES:
        return UNIT_NAMES[ucum]
    text = ucum
    for code in ("mm[Hg]", "cm[H2O]", "[degF]", "Cel"):
        text = text.replace(code, UNIT_NAMES[code])
    for squared in ("m2", "min2", "L2"):
        text = text.replace(squared, squared.replace("2", "²"))
    return text.replace(".", "·")


def readable(text: str) -> str:
    """A sentence with the UCUM codes in it written as people write them."""
    for code in ("mm[Hg].min", "mm[Hg]", "cm[H2O]", "Cel/min", "[degF]"):
        text = text.replace(code, unit_name(code))
    return re.sub(r"\bCel\b", "°C", re.sub(r"\bm2\b", "m²", text))


def number(value: float | None, digits: int = 1) -> str:
    """With a fixed number of decimals and a real minus sign; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return NONE
    text = f"{value:.{digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def quantity(value: float | None, unit: str, digits: int | None = None) -> str:
    """A number with its unit; as many decimals as it can carry where none are asked for."""
    if value is None or not math.isfinite(value):
        return NONE
    if digits is None:
        digits = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2
    return f"{number(value, digits)} {unit_name(unit)}".rstrip()


def length(seconds: float | None) -> str:
    """A duration in minutes and seconds, ``18:30``; hours are not split off: a team says 247 min."""
    if seconds is None or not math.isfinite(seconds):
        return NONE
    whole = round(abs(seconds))
    return f"{'−' if seconds < 0 and whole else ''}{whole // 60}:{whole % 60:02d}"


def minutes(seconds: float | None) -> str:
    """Minutes with one decimal; seconds below a tenth of a minute, so that a short run is not 0.0."""
    if seconds is None or not math.isfinite(seconds):
        return NONE
    if 0 < abs(seconds) < 6:
        return f"{seconds:.0f} s" if seconds >= 1 else "< 1 s"
    return f"{seconds / 60:.1f} min"


def in_minutes(seconds: float | None) -> str:
    """Minutes without their unit, for a column that has it in its heading; two decimals below one minute."""
    if seconds is None or not math.isfinite(seconds):
        return NONE
    return "0" if seconds == 0 else number(seconds / 60, 1 if abs(seconds) >= 60 else 2)


def plus_minus(half_width_s: float | None) -> str:
    """The half-width of a 95 % interval in seconds, ``± 2 s``; without limit it is unknown."""
    if half_width_s == math.inf:
        return "± unknown"  # of a clock that nobody set
    if half_width_s is None or not math.isfinite(half_width_s):
        return "± ?"
    if half_width_s < 0.1:
        return "± < 0.1 s"
    return f"± {half_width_s:.1f} s" if half_width_s < 10 else f"± {half_width_s:.0f} s"


def spread(half_width_s: float | None) -> str:
    """The same for a page, which says why it is unknown: a clock that the time rests on was set by nobody."""
    text = plus_minus(half_width_s)
    return f"{text}: clock not set" if half_width_s == math.inf else text


def half_width(sd_s: float) -> float:
    """Half-width of the 95 % interval that a standard deviation stands for."""
    return Z95 * sd_s
