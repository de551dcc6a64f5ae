"""What the answer of a line to a flush means for its pulse: limits with their sources, and a word for each flush."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from .artefact_numbers import DAMPED
from .measures.flush import FlushResponse, fast_flush_response
from .runs import FloatArray

LEAD_S, TAIL_S = 0.3, 1.2
"""Before and after the release, that a response is taken from."""

TEXTS = "teaching texts on the fast-flush test, as read; no primary source for the number"
GARDNER = "Gardner. Anesthesiology 1981;54:227-36, doi 10.1097/00000542-198103000-00010"


@dataclass(frozen=True, slots=True)
class FlushLimit:
    """A limit that a flush response is held against.

    Attributes
    ----------
    name : str
        Stable, for other programs.
    low, high : float
        The band that it speaks of, in `unit`; one number where both are the same.
    unit : str
        ``"Hz"``, or ``"1"`` for damping and counts.
    words : str
        What it says.
    status : str
        ``"P"`` published, ``"C"`` common practice without a source.
    source : str
    """

    name: str
    low: float
    high: float
    unit: str
    words: str
    status: str
    source: str


SLOW = FlushLimit(
    "too_slow", 7.0, 7.0, "Hz", "under 7 Hz a natural frequency is called unacceptable", "P", TEXTS
)
FINE = FlushLimit("fine", 24.0, 24.0, "Hz", "over 24 Hz is wanted to resolve fine features", "P", TEXTS)
OPTIMUM = FlushLimit(
    "optimum", 0.6, 0.7, "1", "a damping of about 0.6 to 0.7 is called the optimum", "P", TEXTS
)
BOUNCES = FlushLimit(
    "oscillations",
    DAMPED["oscillations"].value,
    DAMPED["ringing"].value,
    "1",
    "at most one oscillation is called over-damped, more than two are called ringing",
    "C",
    "common practice, no source",
)
RINGS_UNDER = FlushLimit(
    "rings_under",
    DAMPED["rings_under"].value,
    DAMPED["rings_under"].value,
    "Hz",
    f"ringing is called so under {DAMPED['rings_under'].value:g} Hz: above, the pulse holds little that could ring",
    "C",
    "common practice, no source",
)
SLOWEST_FALL_S = 1.5 / (2 * math.pi * SLOW.low)
"""From a tenth to seven tenths of its fall a line takes 1.5 / (2π fn) at a damping of 0.7: 34 ms at 7 Hz.

A step answer of second order, worked out; that a slower fall with hardly a swing means an over-damped line is this
project's choice.
"""
LIMITS = (SLOW, FINE, OPTIMUM, BOUNCES, RINGS_UNDER)
"""All that a response is held against. The areas of the 1981 chart are not among them: they were not read."""

WORDS = ("adequate", "rings", "over-damped", "too slow", "cannot tell")


@dataclass(frozen=True, slots=True)
class Adequacy:
    """What a response means: one of `WORDS`, why, and whose limit says so."""

    word: str
    why: str
    source: str


def adequacy(response: FlushResponse) -> Adequacy:
    """The word for a response, by the limits of `LIMITS`.

    A line near the optimum makes at most one oscillation too. Where hardly a swing stands out, one that falls more
    slowly than a line at the optimum with the lowest acceptable frequency is over-damped; of a faster one a flush
    alone does not say which it is, and the sentence says so.

    Examples
    --------
    >>> adequacy(FlushResponse(22.0, 0.35, 1.5, 0.31)).word
    'adequate'
    """
    ones = response.oscillations
    if not response.told:
        if hardly_swings(response):
            optimum = f"the optimum of {OPTIMUM.low:g} to {OPTIMUM.high:g}"
            few = f"at most {BOUNCES.low:g} oscillation, and a fall of {1000 * response.fall_s:.0f} ms"
            if response.fall_s > SLOWEST_FALL_S:
                why = (
                    f"{few}: slower than the {1000 * SLOWEST_FALL_S:.0f} ms of a line damped at {optimum} with "
                    f"{SLOW.low:g} Hz, the lowest that is called acceptable"
                )
                return Adequacy("over-damped", why, f"{BOUNCES.source}; the fall: this project's choice")
            return Adequacy(
                "cannot tell", f"{few}: damped near {optimum}, or over-damped; a flush does not say which", ""
            )
        return Adequacy("cannot tell", response.cannot_tell, "")
    if response.natural_frequency_hz < SLOW.low:
        return Adequacy("too slow", SLOW.words, SLOW.source)
    slow_enough = response.natural_frequency_hz < RINGS_UNDER.low
    if ones > BOUNCES.high and slow_enough:
        why = f"{ones:g} oscillations, more than {BOUNCES.high:g}: systolic reads high, diastolic low"
        return Adequacy("rings", why, BOUNCES.source)
    if ones <= BOUNCES.low and response.damping_ratio - response.damping_pm > OPTIMUM.high:
        why = f"{ones:g} oscillations, at most {BOUNCES.low:g}: systolic reads low, diastolic high"
        return Adequacy("over-damped", why, BOUNCES.source)
    fine = response.natural_frequency_hz > FINE.low
    why = f"{ones:g} oscillations, no more than {BOUNCES.high:g}"
    if ones > BOUNCES.high:
        why = (
            f"{ones:g} oscillations, more than {BOUNCES.high:g}, but not under {RINGS_UNDER.low:g} Hz, where a pulse "
            "holds enough to ring"
        )
    if fine:
        return Adequacy("adequate", why, BOUNCES.source)
    why += f"; under {FINE.low:g} Hz fine features are not resolved"
    return Adequacy("adequate", why, f"{BOUNCES.source}; {FINE.low:g} Hz: {FINE.source}")


def hardly_swings(response: FlushResponse) -> bool:
    """Whether at most one oscillation stands out: over-damped, or damped near the optimum."""
    return not response.told and response.oscillations <= BOUNCES.low and math.isfinite(response.fall_s)


def response_at(values: FloatArray, rate_hz: float, release: int) -> FlushResponse:
    """Response of the line from the samples around a release.

    Parameters
    ----------
    values : ndarray
        Pressure in mmHg, NaN where not recorded.
    rate_hz : float
    release : int
        First sample after the plateau.
    """
    begin = max(release - int(LEAD_S * rate_hz), 0)
    return fast_flush_response(values[begin : release + int(TAIL_S * rate_hz)], rate_hz)


def response_words(response: FlushResponse) -> str:
    """Natural frequency and damping with their ±, oscillations and adequacy, as one sentence without its full stop."""
    said = adequacy(response)
    if not response.told:
        if hardly_swings(response):
            return f"{said.word} ({said.why}); natural frequency and damping cannot be told"
        word = "" if said.word == "cannot tell" else f"{said.word} ({said.why}); "
        return f"{word}natural frequency and damping cannot be told: {response.cannot_tell}"
    return (
        f"natural frequency {response.natural_frequency_hz:.1f} ± {response.natural_frequency_pm:.1f} Hz, damping "
        f"{response.damping_ratio:.2f} ± {response.damping_pm:.2f}: {said.word} ({said.why})"
    )


def flush_evidence(values: FloatArray, rate_hz: float, release: int) -> dict[str, Any]:
    """The same as evidence of a flush; numbers are None where they cannot be told."""
    response = response_at(values, rate_hz, release)
    said = adequacy(response)

    def number(value: float, digits: int) -> float | None:
        return round(value, digits) if math.isfinite(value) else None

    return {
        "natural_frequency_hz": number(response.natural_frequency_hz, 2),
        "natural_frequency_pm_hz": number(response.natural_frequency_pm, 2),
        "damping": number(response.damping_ratio, 3),
        "damping_pm": number(response.damping_pm, 3),
        "half_cycle_ratio": number(response.amplitude_ratio, 3),
        "oscillations": response.oscillations,
        "fall_s": number(response.fall_s, 3),
        "adequacy": said.word,
        "adequacy_source": said.source,
        "flush_response": response_words(response),
    }
