"""A clock, and what speaks for it, in words. No Qt."""

from __future__ import annotations

import math
from collections.abc import Mapping

from afterclamp.annotate.align.estimate import ClockEstimate, offset_words, whole_hours
from afterclamp.io.clock import ClockMap

from .wording import length, number

METHODS: Mapping[str, str] = {
    "reference": "reference",
    "unset": "not set",
    "by hand": "set by hand",
    "by evidence": "by evidence",
}
"""How a clock came to be what it is, in words."""


def clock_words(clock: ClockMap, within: str = "") -> str:
    """A clock in words: ``"94.0 s ahead ± 2.0 s, 60 ppm fast, then set back 30.0 s"``; `within` is the offset's ±."""
    offset = (
        offset_words(clock.offset_s, whole_hours(clock.offset_s)) if clock.offset_s else "as the reference"
    )
    words = [f"{offset} {within}".rstrip()]
    drift = clock.pieces[0].drift_ppm
    if abs(drift) >= 0.5:
        words.append(f"{abs(drift):.0f} ppm {'fast' if drift > 0 else 'slow'}")
    for at, by in clock.steps:
        where = f" at {length(at)}" if math.isfinite(at) else ""
        words.append(f"then set {'back' if by < 0 else 'on'} {number(abs(by), 1)} s{where}")
    return ", ".join(words)


def evidence_lines(found: ClockEstimate) -> list[str]:
    """What a person must know before taking an estimate, as sentences, the question first."""
    if not found.told:
        return [f"Cannot be told from what is here. {found.cannot_tell}"]
    said = [found.question, *found.words]
    told = " ".join(found.words)
    left_out = [f"“{one.text}”" for one in found.outliers if f"“{one.text}”" not in told]
    if left_out:
        said.append(f"Lines that fit nothing, left out: {'; '.join(left_out)}.")
    return [line for line in said if line]
