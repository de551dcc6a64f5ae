"""A case read once and asked again and again by other numbers: after one edit only the rule concerned is asked."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from afterclamp.io.errors import EditRefused

from .finds import Find, Finds, Raw, find_in
from .inconsistencies import Inconsistency, inconsistencies_of
from .memory import Memory
from .phases import phases
from .quality import channel_key
from .rules import RULES
from .unexplained import Unexplained, unexplained
from .view import View, facts_of

if TYPE_CHECKING:
    from afterclamp.io.case import Case

    from .limit_changes import FindChange

_NOT_READ = frozenset({"verdict", "limit", "limits"})
"""Verbs of edits that neither the lines nor the phases go by."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What another number of a rule would change.

    Attributes
    ----------
    added, removed : tuple of Find
        Finds that would come and go.
    moved : tuple of FindChange
        Finds that would stay with other times or another limit.
    before, after : int
        How many the rule puts forward.
    not_looked_for : tuple of str
        Why the rule cannot be asked, in words.
    """

    added: tuple[Find, ...]
    removed: tuple[Find, ...]
    moved: tuple[FindChange, ...]
    before: int
    after: int
    not_looked_for: tuple[str, ...] = ()


@dataclass(frozen=True)
class KeptFinds:
    """One state of a case and what each rule gave on it, by the numbers that it was asked with.

    Attributes
    ----------
    view : View
        With its phases laid in.
    asked : tuple of Inconsistency
        Of the same state.
    said : tuple of (start, end)
        Marks and notes of people, reference seconds.
    """

    view: View
    asked: tuple[Inconsistency, ...] = ()
    said: tuple[tuple[float, float], ...] = ()
    _raw: dict[Hashable, Raw] = field(default_factory=dict, repr=False)

    def finds(self, numbers: Mapping[str, float]) -> Finds:
        """What all rules propose by these numbers."""
        return replace(find_in(self.view, numbers, kept=self._raw), asked=self.asked)

    def of_rule(self, code: str, numbers: Mapping[str, float]) -> Finds:
        """What the rules of one code propose, linked among themselves alone."""
        return find_in(self.view, numbers, [rule for rule in RULES if rule.code == code], self._raw)

    def trial(self, code: str, before: Mapping[str, float], after: Mapping[str, float]) -> Trial:
        """What other numbers of one rule would change; nothing is written.

        Raises
        ------
        EditRefused
            When the rule cannot be asked by these numbers.
        """
        from .limit_changes import find_changes

        one = self.of_rule(code, before)
        try:
            other = self.of_rule(code, after)
        except (ArithmeticError, ValueError) as said:
            own = ", ".join(f"{key} = {after[key]:g}" for key in after if after[key] != before.get(key))
            raise EditRefused(
                f"{code} cannot be asked by {own} ({said})", todo="Give another number"
            ) from said
        changes = find_changes(tuple(one), tuple(other))
        return Trial(
            tuple(change.after for change in changes if change.after and not change.before),
            tuple(change.before for change in changes if change.before and not change.after),
            tuple(change for change in changes if change.before and change.after),
            len(one),
            len(other),
            other.not_looked_for,
        )

    def unexplained(self, numbers: Mapping[str, float]) -> Unexplained:
        """Large changes that nothing accounts for, by these numbers of the rules."""
        found = self.finds(numbers)
        return unexplained(self.view, [*found, *found.held_back], self.said)


def kept_finds(case: Case) -> KeptFinds:
    """The case as it stands, read anew only where something that is gone by was edited since."""
    standing = tuple(edit.id for edit in case.log.standing() if edit.verb not in _NOT_READ)
    recorded = tuple(channel_key(channel) for channel in case.channels)
    key = (str(case.folder), case.horizon, standing, recorded, repr(facts_of(case)))
    return _KEPT.get(key, lambda: _read(case))


_KEPT: Memory[KeptFinds] = Memory(2)  # the whole case, and a view of its past


def _read(case: Case) -> KeptFinds:
    view = View.of(case)
    found = phases(case, view)
    return KeptFinds(view.with_phases(found), tuple(inconsistencies_of(case, found, view)), said_in(case))


def said_in(case: Case) -> tuple[tuple[float, float], ...]:
    """Marks and notes of people as stretches of reference seconds; words on the whole case are on no moment."""
    from .marks import marks, on_whole_case

    made: Sequence[tuple[float, float]] = [
        (one.start_s, one.end_s) for one in marks(case) if not on_whole_case(case, one)
    ]
    return (*made, *((note.t, note.t) for note in case.notes))
