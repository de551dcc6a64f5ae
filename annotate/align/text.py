"""From lines of text to an estimate: captions and logs, on their own or with anchors that a person gave."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.io.clock import ClockMap, ClockPiece
from afterclamp.io.errors import CaseError

from .estimate import Z95, ClockEstimate, Curve, length_words, offset_words, whole_hours
from .lines import (
    LEAST_LINES,
    LEAST_MASS,
    LEAST_ODDS,
    SPOKEN_LATE_S,
    Line,
    LinesFit,
    Moment,
    fit_lines,
)
from .moments import known_phases, lines_of, moments_of, noted_moments
from .words import Meaning, meanings_of, plain

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Source, TimedNote

    from ..phase_model import Phase

Anchor = tuple[float | str, float | str]
"""What was said or written (own seconds, or some of its text) and what it means (reference seconds, or words)."""

LEAST_ANCHORS = 2
"""Fewest anchors by a person's hand (this project's choice): with one, a slip could not be seen."""

GIVEN_SD_S = 0.5
"""How well a moment is known that a person gave as a time (this project's choice)."""


def by_text(
    case: Case,
    source: Source,
    known: Mapping[str, ClockMap],
    anchors: Sequence[Anchor] | None,
    words: Sequence[Meaning],
) -> ClockEstimate:
    """The clock of a source of text, from moments that are known without it.

    A source without a clock of its own (a sound, its captions) was spoken as things happened; one with
    stamps of the day was written down.
    """
    spoken = source.first_stamp is None
    kind = "spoken anchors" if spoken else "log lines"
    found = known_phases(case, known)
    notes = _on_known_clocks(case, source, known)
    noted = noted_moments(notes, {one.name: one.first_stamp is None for one in case.sources}, words)
    own = [note for note in case.notes if note.source == source.name]
    stamps = [_stamp(note, source) for note in own]
    halves = [_half(note) for note in own]
    if anchors:
        lines = _anchored(case, own, stamps, halves, anchors, found, noted, words)
    else:
        lines = lines_of(own, stamps, halves, found, noted, words)
    fit = fit_lines(lines, spoken=spoken, prior=not spoken, given=bool(anchors))
    if fit is None:
        why = "none of its lines names a moment that is known from elsewhere"
        return _not_told(source, kind, why, None)
    least = LEAST_ANCHORS if anchors else LEAST_LINES
    if fit.agreeing < least:
        return _not_told(source, kind, f"only {fit.agreeing} of its lines agree; it takes {least}", fit)
    if fit.mass < LEAST_MASS or (fit.odds < LEAST_ODDS and not anchors):
        return _not_told(source, kind, "its lines fit several offsets about as well", fit)
    undated = [line.text for line in lines if anchors and not line.moments]
    hours = whole_hours(fit.offset_s) if not spoken else 0
    return ClockEstimate(
        source=source.name,
        evidence=kind,
        pieces=(ClockPiece(offset_s=fit.offset_s, sd_s=fit.sd_s),),
        zero_s=source.clock.zero_s,
        offset_sd_s=fit.sd_s,
        whole_hours=hours,
        lines=fit.lines,
        curve=_curve(fit),
        words=_words(source, fit, spoken, hours, undated),
    )


def _stamp(note: TimedNote, source: Source) -> float:
    return source.clock.zero_s + float(source.clock.to_source(note.t))


def _half(note: TimedNote) -> float:
    """Half of what the line's time was rounded to: a uniform over ± half has half / sqrt(3) as its sd."""
    return float(np.sqrt(3) * note.written_sd_s)


def _on_known_clocks(case: Case, source: Source, known: Mapping[str, ClockMap]) -> list[TimedNote]:
    """Lines of the other sources whose clock is known, by that clock."""
    clocks = {one.name: one for one in case.sources}
    out = []
    for note in case.notes:
        if note.source == source.name or note.source not in known:
            continue
        own = clocks[note.source]
        at = float(own.clock.to_source(note.t))
        clock = known[note.source]
        sd = float(np.hypot(_half(note) / np.sqrt(3), float(clock.sd(at))))
        out.append(replace(note, t=float(clock.to_reference(at)), sd_s=sd))
    return out


def _anchored(
    case: Case,
    own: Sequence[TimedNote],
    stamps: Sequence[float],
    halves: Sequence[float],
    anchors: Sequence[Anchor],
    found: Sequence[Phase],
    noted: Sequence[Moment],
    words: Sequence[Meaning],
) -> list[Line]:
    """Lines that a person paired with moments."""
    lines = []
    for said, means in anchors:
        if isinstance(said, str):
            fitting = [k for k, note in enumerate(own) if f" {plain(said)} " in f" {plain(note.text)} "]
            if len(fitting) != 1:
                raise CaseError(
                    f"{'no line has' if not fitting else f'{len(fitting)} lines have'} the words “{said}”",
                    path=case.folder,
                    todo="Give more of the line's words, or its time in seconds",
                )
            stamp, half, text = stamps[fitting[0]], halves[fitting[0]], own[fitting[0]].text
        else:
            stamp, half, text = float(said), 0.5, f"at {said:g} s"
        if isinstance(means, str):
            meanings = [one for one in words if one.event == means] or list(meanings_of(means, words))
            if not meanings:
                raise CaseError(
                    f"“{means}” is nothing that the word list knows",
                    path=case.folder,
                    todo="Give the moment in seconds of the reference clock, or add the words to the list",
                )
            moments = moments_of(meanings, found, noted)
        else:
            moments = (Moment("given", float(means), GIVEN_SD_S, "the time that was given"),)
        lines.append(Line(stamp, half, text, moments))
    return lines


def _words(
    source: Source, fit: LinesFit, spoken: bool, hours: int, undated: Sequence[str]
) -> tuple[str, ...]:
    head = f"{source.name} is {offset_words(fit.offset_s, hours)} ± {length_words(Z95 * fit.sd_s)}."
    if spoken:
        at = length_words(-fit.offset_s)
        head = f"Second 0 of {source.name} is at {at} of the reference, ± {Z95 * fit.sd_s:.1f} s."
    late = (
        f"People were taken to speak about {SPOKEN_LATE_S:.0f} s after what they see."
        if spoken
        else "What the clock is off by and how late people wrote cannot be told apart: the offset is both."
    )
    wrong = [f"“{line.text}” {line.words}; it was not used." for line in fit.lines if not line.used]
    wrong += [f"“{text}” was not used: nothing dates what it means yet." for text in undated]
    return (head, f"{fit.agreeing} lines agree with moments that are known from elsewhere.", late, *wrong)


def _not_told(source: Source, kind: str, why: str, fit: LinesFit | None) -> ClockEstimate:
    return ClockEstimate(
        source.name,
        kind,
        zero_s=source.clock.zero_s,
        cannot_tell=f"The clock of {source.name} cannot be told: {why}.",
        lines=fit.lines if fit is not None else (),
        curve=_curve(fit) if fit is not None else None,
    )


def _curve(fit: LinesFit) -> Curve:
    return Curve(fit.offsets, fit.density, "probability of each offset, per second")
