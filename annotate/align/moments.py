"""Moments that lines of text can be held against: boundaries of phases, and what other texts note.

Phases come from the traces whose clock is known so far, read at one value a second; nothing is kept in the
case's cache, as those clocks are not yet anybody's decision.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.io.clock import ClockMap
from afterclamp.io.terms import KINDS

from ..phase_model import NAMES, Phase
from ..phases import phases
from ..view import View, facts_of
from .courses import plausible
from .lines import SPOKEN_LATE_S, Line, Moment
from .words import Meaning, meanings_of

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel, TimedNote

NOTED_SD_S = 30.0
"""How far a moment that was only noted may lie from the note, seconds (this project's choice)."""

SPOKEN_SD_S = 3.0
"""The same for one that was spoken of as it happened (this project's choice)."""


def known_phases(case: Case, clocks: Mapping[str, ClockMap]) -> list[Phase]:
    """Phases in force, by the traces of the sources whose clocks are given.

    Parameters
    ----------
    case : Case
    clocks : mapping of str to ClockMap
        By source; the others are left out.
    """
    view = _light_view(case, clocks)
    # What lines of text date can't tell how late lines of text are.
    return phases(case, view, words=False) if view is not None else []


def _light_view(case: Case, clocks: Mapping[str, ClockMap]) -> View | None:
    """A view as far as phases need it: no beats and no artefacts, which take longer than all the rest."""
    chosen: dict[str, Channel] = {}
    for channel in sorted(case.channels, key=lambda channel: (not channel.is_wave, channel.id)):
        units = KINDS[channel.kind].units
        if channel.source not in clocks or not units or channel.unit != units[0]:
            continue
        if channel.statistic not in ("wave", "mean", "value"):
            continue
        name = channel.name.removesuffix("_mean") if channel.kind.endswith("_pressure") else channel.name
        chosen.setdefault(name, channel)
    if not chosen:
        return None
    values = {
        name: plausible(
            (channel if clocks[channel.source] == channel.clock else channel.on_clock(clocks[channel.source]))
            .seconds(),
            channel.kind,
        )
        for name, channel in chosen.items()
    }  # fmt: skip
    return View(
        start=float(case.grid[0]) if len(case.grid) else 0.0,
        values=values,
        arterial=tuple(name for name, one in chosen.items() if one.kind == "arterial_pressure" and one.site),
        source={name: one.source for name, one in chosen.items()},
        clock_sd={name: max(piece.sd_s for piece in clock.pieces) for name, clock in clocks.items()},
        interval={
            name: max(1.0, one.interval_s) if np.isfinite(one.interval_s) else 1.0
            for name, one in chosen.items()
        },
        facts=facts_of(case),
    )


def moments_of(
    meanings: Sequence[Meaning], found: Sequence[Phase], noted: Sequence[Moment], *, before: bool = False
) -> tuple[Moment, ...]:
    """Moments that a line of these meanings can stand for (or, with `before`, can't come before).

    Parameters
    ----------
    meanings : sequence of Meaning
    found : sequence of Phase
        As `known_phases` gives them.
    noted : sequence of Moment
        What other texts note.
    """
    out: list[Moment] = []
    for meaning in meanings:
        for name, end in meaning.not_before if before else meaning.edges:
            for phase in found:
                if phase.name != name:
                    continue
                edge = phase.start if end == "start" else phase.end
                words = f"the {end} of {NAMES[name]}"
                if not any(abs(other.t - edge.time_s) < 1.0 for other in out):
                    sd = float(np.hypot(edge.sampling_sd_s, edge.clock_sd_s))
                    out.append(Moment(meaning.event, edge.time_s, sd, words))
        if not before and not meaning.edges:
            out += [moment for moment in noted if moment.event == meaning.event]
    # A phase that nobody has set yet is known from what other texts say of it.
    if not out and not before:
        out = [moment for moment in noted if any(moment.event == meaning.event for meaning in meanings)]
    return tuple(out)


def noted_moments(
    notes: Sequence[TimedNote], spoken: Mapping[str, bool], words: Sequence[Meaning]
) -> list[Moment]:
    """What texts on known clocks note, as moments for other texts.

    Parameters
    ----------
    notes : sequence of TimedNote
        On the reference clock.
    spoken : mapping of str to bool
        By source, whether it was said as it happened.
    words : sequence of Meaning
    """
    out = []
    for note in notes:
        late = SPOKEN_LATE_S if spoken.get(note.source, False) else 0.0
        own = SPOKEN_SD_S if spoken.get(note.source, False) else NOTED_SD_S
        for meaning in meanings_of(note.text, words):
            out.append(
                Moment(
                    meaning.event,
                    note.t - late,
                    float(np.hypot(own, note.sd_s)),
                    f"the line “{note.text}” of {note.source}",
                )
            )
    return out


def lines_of(
    notes: Sequence[TimedNote],
    stamps: Sequence[float],
    halves: Sequence[float],
    found: Sequence[Phase],
    noted: Sequence[Moment],
    words: Sequence[Meaning],
) -> list[Line]:
    """Lines of a source with every moment that each can mean."""
    out = []
    for note, stamp, half in zip(notes, stamps, halves, strict=True):
        meanings = meanings_of(note.text, words)
        moments = moments_of(meanings, found, noted)
        never_before = moments_of(meanings, found, noted, before=True)
        if moments or never_before:
            out.append(Line(stamp, half, note.text, moments, never_before))
    return out
