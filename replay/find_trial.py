"""Finds on the command line: as they stand, or with numbers of rules tried that nobody keeps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from afterclamp.annotate.finds import Finds
from afterclamp.annotate.kept_finds import KeptFinds, Trial, kept_finds
from afterclamp.annotate.rule_numbers import numbers_in_force, typed

from .find_table import channel_words
from .unexplained_words import unexplained_rows, unexplained_text
from .wording import length

if TYPE_CHECKING:
    from afterclamp.annotate.rules import Find
    from afterclamp.annotate.unexplained import Unexplained
    from afterclamp.io.case import Case


@dataclass(frozen=True)
class Looked:
    """A look through a case.

    Attributes
    ----------
    found : Finds
        By the numbers in force, those that are tried above them.
    numbers, before : mapping
        These, and those in force, by ``"E13.below"``.
    tried : mapping
        Those that are tried alone.
    """

    found: Finds
    numbers: Mapping[str, float]
    before: Mapping[str, float]
    tried: Mapping[str, float]
    kept: KeptFinds

    @cached_property
    def unexplained(self) -> Unexplained:
        """Large changes that nothing accounts for."""
        return self.kept.unexplained(self.numbers)

    def unexplained_rows(self) -> list[dict[str, Any]]:
        """The same for JSON."""
        return unexplained_rows(self.unexplained)

    def unexplained_text(self, case: Case) -> str:
        """The same for people."""
        shown = channel_words(case)
        names = {name: shown(name) for one in self.unexplained.changes for name in one.channels}
        return unexplained_text(self.unexplained, names, case.clock_text)

    def words(self, case: Case) -> str:
        """What the numbers that are tried change; empty where none are."""
        if not self.tried:
            return ""
        lines = []
        for code in dict.fromkeys(key.partition(".")[0] for key in self.tried):
            lines += _trial_lines(case, code, self.kept.trial(code, self.before, self.numbers))
        told = ", ".join(f"{key} = {value:g}" for key, value in self.tried.items())
        return "\n".join([f"\n\nTried and not kept: {told}", *lines])


def look(case: Case, limits: Mapping[str, float] | None, tried: Sequence[str] = ()) -> Looked:
    """Look for finds.

    Parameters
    ----------
    case : Case
    limits : mapping, optional
        Numbers of a limit set that stand above those of the case.
    tried : sequence of str
        As ``"E13.below=55"``; above all others.

    Raises
    ------
    EditRefused
        When one of them changes no number of a rule.
    """
    more = typed(tried)
    kept = kept_finds(case)
    before = {**numbers_in_force(case), **(limits or {})}
    numbers = {**before, **more}
    for code in dict.fromkeys(key.partition(".")[0] for key in more):
        kept.trial(code, before, numbers)  # refuses what the rule cannot be asked by
    return Looked(kept.finds(numbers), numbers, before, more, kept)


def _trial_lines(case: Case, code: str, found: Trial) -> list[str]:
    head = (
        f"  {code}: +{len(found.added)}, −{len(found.removed)}: {found.after} in place of {found.before}"
        f"{f', {len(found.moved)} with other times' if found.moved else ''}"
    )
    signs = [("+", one) for one in found.added] + [("−", one) for one in found.removed]
    signs.sort(key=lambda pair: pair[1].start_s)
    return [head, *(f"    {sign} {_told(case, one)}" for sign, one in signs)]


def _told(case: Case, find: Find) -> str:
    return f"{find.code} {find.name}, {case.clock_text(find.start_s)} for {length(find.duration_s)}"
