"""A clock, and what speaks for it, in words; and as it goes into the log when a person set it."""

from __future__ import annotations

import math
from typing import Any

from afterclamp.annotate.align import ClockEstimate
from afterclamp.annotate.align.estimate import Z95, offset_words, whole_hours
from afterclamp.io.clock import ClockMap

from ..wording import length


def by_hand_payload(source: str, clock: ClockMap, within_s: float) -> dict[str, Any]:
    """A ``clock`` edit for a clock that a person set by eye."""
    pieces = [piece.to_payload() | {"sd_s": within_s / Z95} for piece in clock.pieces]
    return {"source": source, "pieces": pieces, "method": "by hand"}


def clock_words(clock: ClockMap) -> str:
    """A clock in words: ``"94.0 s ahead, 60 ppm fast, 1 step"``."""
    first = clock.pieces[0]
    words = (
        offset_words(clock.offset_s, whole_hours(clock.offset_s)) if clock.offset_s else "as the reference"
    )
    if abs(first.drift_ppm) >= 0.5:
        words += f", runs {abs(first.drift_ppm):.0f} ppm {'fast' if first.drift_ppm > 0 else 'slow'}"
    for at, by in clock.steps:
        where = f" at {length(at)}" if math.isfinite(at) else ""
        words += f", set {'forward' if by > 0 else 'back'} by {abs(by):.1f} s{where}"
    return words


def evidence_words(found: ClockEstimate | None) -> str:
    """What the evidence says, as sentences."""
    if found is None:
        return "The clocks were not looked for yet. Drag the trace, or let them be worked out."
    if not found.told:
        return f"Cannot tell: {found.cannot_tell}"
    said = [*found.words, *([found.question] if found.question else [])]
    if found.outliers:
        said.append(
            "Fits nothing, and was left out: " + "; ".join(f"“{line.text}”" for line in found.outliers) + "."
        )
    return " ".join(said)
