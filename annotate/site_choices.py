"""Which arterial line people chose to believe, for a whole case or from one time to another.

A ``believe`` edit names a line, or goes back to the proposal, for the whole case or, with ``start_s`` and ``end_s``,
for one stretch. Later edits stand over earlier ones: one for the whole case over every stretch that was chosen
before it. No edit replaces another, so that taking one back gives exactly what stood before it.

Why a stretch that a person chose counts in the figures while a stand-in that a rule proposed is only told in
words: a second line reads differently from the first, so that a mean made of both is a number nobody asked for.
Who chose has looked at both lines at that time and answers for it by name; a rule has done neither.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.io.errors import NoSuchChannel

from .named import Signal, signal_called, signals
from .series import Series

if TYPE_CHECKING:
    from afterclamp.io.case import Case
    from afterclamp.io.log import Edit

THEN = "; "
"""Between the parts of the site of a measure that goes by several lines one after another."""
_TIMES = re.compile(r" -?\d+:\d\d to .*$")


@dataclass(frozen=True)
class Piece:
    """Half-open stretch of time in which one choice is in force.

    Attributes
    ----------
    start_s, end_s : float
        Reference seconds.
    line : str
        Name of the chosen line as in `named.signals`; empty for "as proposed".
    author : str
        Who chose.
    """

    start_s: float
    end_s: float
    line: str
    author: str


def whole_case_choice(case: Case) -> tuple[Signal, str] | None:
    """The line that somebody chose for the whole case, with who did; None where the proposal stands."""
    found = None
    for edit in case.log.standing("believe"):
        if not is_stretch(edit):
            line = _line_of(case, edit)
            if line is not None:
                found = (line, edit.author)
            elif goes_back(edit):
                found = None
    return found


def chosen_pieces(case: Case) -> tuple[Piece, ...]:
    """The stretches in which somebody chose a line, in order of time, none over another.

    Stretches beyond the end of the case, or of a view of its past, are cut there.
    """
    names = {signal.first.id: name for name, signal in signals(case).items()}
    found: tuple[Piece, ...] = ()
    for edit in case.log.standing("believe"):
        line = _line_of(case, edit)
        if line is None and not goes_back(edit):
            continue  # of a line that is not in this case, or no longer called so
        if not is_stretch(edit):
            found = ()
            continue
        name = names[line.first.id] if line is not None else ""
        start, end = float(edit.payload["start_s"]), float(edit.payload["end_s"])
        found = laid_over(found, Piece(start, end, name, edit.author))
    return tuple(cut_to([one for one in found if one.line], case.span.start, case.span.end))


def is_stretch(edit: Edit) -> bool:
    """Whether a ``believe`` edit is for one stretch and not for the whole case."""
    return "start_s" in edit.payload


def goes_back(edit: Edit) -> bool:
    """Whether it goes back to the proposal."""
    return bool(edit.payload.get("proposal"))


def laid_over(pieces: Sequence[Piece], new: Piece) -> tuple[Piece, ...]:
    """Pieces with a new one over them; touching pieces of one line and one author are one."""
    left = [replace(one, end_s=min(one.end_s, new.start_s)) for one in pieces]
    right = [replace(one, start_s=max(one.start_s, new.end_s)) for one in pieces]
    rest = [one for one in (*left, *right) if one.end_s > one.start_s]
    joined: list[Piece] = []
    for one in sorted([*rest, new], key=lambda piece: piece.start_s):
        last = joined[-1] if joined else None
        if last and (last.line, last.author, last.end_s) == (one.line, one.author, one.start_s):
            joined[-1] = replace(last, end_s=one.end_s)
        else:
            joined.append(one)
    return tuple(joined)


def cut_to(pieces: Iterable[Piece], start_s: float, end_s: float) -> list[Piece]:
    """The part of pieces within a stretch."""
    cut = [replace(one, start_s=max(one.start_s, start_s), end_s=min(one.end_s, end_s)) for one in pieces]
    return [one for one in cut if one.end_s > one.start_s]


def seconds_of(start_s: float, end_s: float, first_s: float, count: int) -> tuple[int, int]:
    """First and past-last of the seconds that begin within a stretch, on a grid of `count` from `first_s`."""
    low, high = (int(np.ceil(t - first_s - 1e-6)) for t in (start_s, end_s))
    return min(max(low, 0), count), min(max(high, 0), count)


def followed(base: Series, chosen: Iterable[tuple[Piece, Series]]) -> Series:
    """A pressure second by second from the line that is believed in each.

    Parameters
    ----------
    base : Series
        Of the line that is believed for the whole case.
    chosen : iterable of (Piece, Series)
        Stretches that a person chose, each with the series of its line, all of the seconds of `base`. A second
        that is masked or missing in the chosen line is so in the result: it is not filled from the other.

    Returns
    -------
    Series
        Its site names the base first, then each stretch with its times and who chose it.
    """
    values, state, told = base.values.copy(), base.state.copy(), [base.site]
    for piece, series in chosen:
        low, high = seconds_of(piece.start_s, piece.end_s, base.start, state.size)
        values[low:high], state[low:high] = series.values[low:high], series.state[low:high]
        told.append(f"{series.site} {stretch_words(piece)}")
    return replace(base, values=values, state=state, site=THEN.join(told))


def sites_in(site: str) -> list[str]:
    """The lines and channels that the site of a measure names: ``"femoral; left_radial 286:00 to 288:30, ..."``.

    Examples
    --------
    >>> sites_in("pa and femoral; left_radial 286:00 to 288:30, chosen by mara")
    ['pa', 'femoral', 'left_radial']
    """
    return [_TIMES.sub("", one) for part in site.split(THEN) for one in part.split(" and ")]


def stretch_words(piece: Piece) -> str:
    """Times and who chose, ``286:00 to 288:30, chosen by mara``; minutes and seconds from the reference's start."""
    return f"{span_words(piece.start_s, piece.end_s)}, chosen by {piece.author}"


def span_words(start_s: float, end_s: float) -> str:
    """``286:00 to 288:30``; minutes and seconds from the reference's start."""
    return f"{_minutes(start_s)} to {_minutes(end_s)}"


def _minutes(seconds: float) -> str:
    whole = round(abs(seconds))
    return f"{'-' if seconds < 0 and whole else ''}{whole // 60}:{whole % 60:02d}"


def _line_of(case: Case, edit: Edit) -> Signal | None:
    """The arterial line that an edit names; None if it names none of this case."""
    name = str(edit.payload.get("site", edit.payload.get("channel", "")))
    if not name:
        return None
    try:
        signal = signal_called(case, name)
    except NoSuchChannel:
        return None
    return signal if signal.first.kind == "arterial_pressure" else None
