"""Unexplained changes in words: for the pane of loose ends, the mark that one becomes, and the command line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from afterclamp.annotate.unexplained import NO_RULE, Change, Move, Unexplained

from .wording import minutes, number, plus_minus, site_words, unit_name

Names = Mapping[str, str]


def moves_words(change: Change, names: Names) -> str:
    """What moved and by how much: ``"venous pressure 9 to 16 mmHg, by +7"``, the largest first."""
    return "; ".join(_move(one, names) for one in change.moves)


def change_line(change: Change, names: Names, time_text: Callable[[float], str]) -> str:
    """One change as a line: its times, what moved, and that no rule covers it."""
    times = f"{time_text(change.start_s)} to {time_text(change.end_s)} {plus_minus(change.unc_s)}"
    return f"{times}: {moves_words(change, names)}; {NO_RULE}"


def denominator(found: Unexplained) -> str:
    """How many were found, and of how much of the case could be asked."""
    count = len(found.changes)
    left = f", {found.left_out} smaller ones of the same hours left out" if found.left_out else ""
    return (
        f"{count} unexplained {'change' if count == 1 else 'changes'} in the {minutes(found.looked_s)} of "
        f"{minutes(found.of_s)} that lie beside no find, phase boundary, mark or note and where lines of two kinds "
        f"were seen{left}."
    )


def all_marked(found: Unexplained) -> str:
    """Where somebody marked every change: that none is left, and of how many."""
    many = len(found.changes)
    every = "The one unexplained change is" if many == 1 else f"All {many} unexplained changes are"
    return (
        f"{every} marked: none is left in the {minutes(found.looked_s)} of {minutes(found.of_s)} looked at."
    )


def unexplained_rows(found: Unexplained) -> list[dict[str, Any]]:
    """One row a change, for JSON."""
    return [one.to_json() for one in found.changes]


def unexplained_text(found: Unexplained, names: Names, time_text: Callable[[float], str]) -> str:
    """The list for people, with what it was looked for in."""
    lines = [f"  {change_line(one, names, time_text)}" for one in found.changes]
    return "\n".join(
        [*lines, denominator(found), "Each is a place to look at; what it was is for a person to say."]
    )


def _move(one: Move, names: Names) -> str:
    digits = 0 if max(abs(one.before), abs(one.after)) >= 100 else 1
    by = f"{'+' if one.by > 0 else ''}{number(one.by, digits)}"
    name = names.get(one.channel, site_words(one.channel))
    return (
        f"{name} {number(one.before, digits)} to {number(one.after, digits)} {unit_name(one.unit)}, by {by}"
    )
