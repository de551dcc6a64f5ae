"""Flushes as rows for other programs, as a table, and as sentences: what each tells of its line, and whose limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from afterclamp.annotate.flush_adequacy import LIMITS, response_words
from afterclamp.annotate.rules.rule import STATUS

from .tables import Row, table
from .wording import NONE, number, site_words

if TYPE_CHECKING:
    from afterclamp.annotate.flushes import Flush
    from afterclamp.io.case import Case

NO_FLUSH: Final = "No fast flush was found, so that natural frequency and damping of the lines are not known."
HEADINGS: Final = (
    "line",
    "time",
    "natural frequency (Hz)",
    "damping",
    "oscillations",
    "what it means",
    "by whose limit",
)
KEYS: Final = frozenset(
    {
        *("natural_frequency_hz", "natural_frequency_pm_hz", "damping", "damping_pm", "half_cycle_ratio"),
        *("oscillations", "fall_s", "adequacy", "adequacy_source", "flush_response"),
        *("against", "cleared_by_flush", "flush", "pulse_before_mmhg", "pulse_mmhg", "pulse_percent"),
        *("above_before_mmhg", "above_mmhg", "mean_change_mmhg", "upstroke_percent"),
        *("overshoot_mmhg", "swings_times"),
        *("fast_mmhg", "usual_fast_mmhg", "loud_s", "steep_s", "sampled_hz"),
    }
)
"""Keys of the evidence of A2, A4 and A8 that are told here, or by their reason."""


def of_line(seen: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Labels and texts of what a flush told of a line: of the flush itself, or of the one that cleared it."""
    if seen.get("flush_response"):
        text = str(seen["flush_response"])
        source = str(seen.get("adequacy_source") or "")
        return [("Flush response", text), *([("By whose limit", source)] if source else [])]
    if seen.get("flush"):
        which = "The flush at its end" if seen.get("cleared_by_flush") else "The flush before it"
        return [(which, str(seen["flush"]))]
    return []


def flush_rows(case: Case, found: Sequence[Flush]) -> list[Row]:
    """One row a flush; what cannot be told is null, with the reason."""
    return [
        {
            "channel": one.channel,
            "line": one.line,
            "start_s": one.start_s,
            "release_s": one.release_s,
            "clock": case.clock_text(one.release_s),
            "natural_frequency_hz": one.response.natural_frequency_hz if one.response.told else None,
            "natural_frequency_pm_hz": one.response.natural_frequency_pm if one.response.told else None,
            "damping": one.response.damping_ratio if one.response.told else None,
            "damping_pm": one.response.damping_pm if one.response.told else None,
            "half_cycle_ratio": one.response.amplitude_ratio if one.response.told else None,
            "oscillations": one.response.oscillations,
            "clipped": one.clipped,
            "sampled_hz": one.sampled_hz,
            "adequacy": one.adequacy.word,
            "why": one.adequacy.why,
            "source": one.adequacy.source,
            "cannot_tell": one.response.cannot_tell,
        }
        for one in found
    ]


def frequency(one: Flush) -> str:
    """Natural frequency with its ±, without its unit."""
    return _with_pm(one.response.natural_frequency_hz, one.response.natural_frequency_pm, 1)


def damping(one: Flush) -> str:
    """Damping with its ±."""
    return _with_pm(one.response.damping_ratio, one.response.damping_pm, 2)


def _with_pm(value: float, half: float, digits: int) -> str:
    text = number(value, digits)
    return text if text == NONE else f"{text} ± {number(half, digits)}"


def cells(case: Case, one: Flush) -> tuple[str, ...]:
    """One line of a list, by `HEADINGS`."""
    return (
        line_name(one),
        case.clock_text(one.release_s),
        frequency(one),
        damping(one),
        number(one.response.oscillations, 1) if one.response.told else NONE,
        one.adequacy.word,
        one.adequacy.source or NONE,
    )


def line_name(one: Flush) -> str:
    """Plain name of the line."""
    return site_words(one.line)


def told(one: Flush) -> str:
    """What a flush tells, as one sentence."""
    clipped = " The plateau is at the top of the scale; the ring below it is whole." if one.clipped else ""
    return f"{response_words(one.response)[:1].upper()}{response_words(one.response)[1:]}.{clipped}"


def limit_lines() -> list[str]:
    """The limits that flushes are held against, each with what it rests on."""
    return [
        f"{one.words[:1].upper()}{one.words[1:]}: {STATUS[one.status]}"
        + ("" if one.status == "C" else f" ({one.source})")
        + "."
        for one in LIMITS
    ]


def flushes_text(case: Case, found: Sequence[Flush]) -> str:
    """All flushes as a table, what each means, and the limits."""
    if not found:
        return NO_FLUSH
    rows = [cells(case, one)[:-1] for one in found]
    what = [f"{line_name(one)}, {case.clock_text(one.release_s)}: {told(one)}" for one in found]
    return "\n".join([table(HEADINGS[:-1], rows, "<>>>><"), "", *what, "", *limit_lines()])
