"""The sitting's part that has to do with the numbers of rules, and with what no rule covers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from afterclamp.annotate.marks import add_mark
from afterclamp.annotate.rule_numbers import keep
from afterclamp.annotate.unexplained import Change, Unexplained, explained_by

from .open_ends import open_ends
from .panes.loose_ends import Section
from .unexplained_words import change_line

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find
    from afterclamp.annotate.marks import Mark, Verdict
    from afterclamp.io.case import Case

    from .looks import Looks
    from .session_masks import CaseMasks

UNEXPLAINED = "U1"
"""Class of a mark that one becomes."""


class NumbersOfRules:
    """Numbers of rules, changed and given back; unexplained changes; what else is left open."""

    case: Case | None
    finds: Sequence[Find]
    marks: list[Mark]
    verdicts: dict[str, list[Verdict]]
    unexplained: Unexplained
    masks: CaseMasks
    _looks: Looks
    _figures_by: dict[bool, list[Any]]

    if TYPE_CHECKING:
        # What the sitting as a whole has, and is asked for here.
        @property
        def author(self) -> str: ...  # noqa: D102
        @property
        def unset_clocks(self) -> list[str]: ...  # noqa: D102
        @property
        def channel_names(self) -> dict[str, str]: ...  # noqa: D102
        def _try(self, step: Callable[[Case], object]) -> None: ...
        def look(self) -> None: ...  # noqa: D102

    def set_rule_numbers(self, payloads: Sequence[Mapping[str, Any]]) -> None:
        """Keep edits of numbers of rules, each in place of the one before it, and look for finds by them."""
        if payloads:
            self._try(lambda case: keep(case, self.author, payloads))
            self.look_at_finds()

    def look_at_finds(self) -> None:
        """Look for finds again: of the rules only those are asked whose numbers are others."""
        if self.case is None:
            return
        self._figures_by.clear()
        if not self._looks.start_finds(self.case.folder, raw=self.masks.raw):
            self.look()

    @property
    def open_changes(self) -> list[Change]:
        """Unexplained changes that no mark lies on, in order of time; one made since explains it."""
        marked = [(mark.start_s, mark.end_s) for mark in self.marks if mark.kind != "note"]
        return [one for one in self.unexplained.changes if not explained_by(one, marked)]

    def mark_change(self, change: Change, words: str) -> bool:
        """Mark an unexplained change as one, on the lines that moved, with what moved as its words."""
        made: list[Mark] = []

        def step(case: Case) -> None:
            made.append(
                add_mark(
                    case,
                    self.author,
                    kind="span",
                    code=UNEXPLAINED,
                    text=words,
                    start_s=change.start_s,
                    end_s=change.end_s,
                    channels=change.channels,
                )
            )

        self._try(step)
        return bool(made)

    def loose_ends(self, time_text: Callable[[float], str]) -> list[Section]:
        """What is left open in this case; `time_text` writes a reference time."""
        case = self.case
        if case is None:
            return []
        names = self.channel_names
        lines = [change_line(one, names, time_text) for one in self.open_changes]
        return open_ends(case, self.finds, self.unset_clocks, time_text, lines, self.verdicts)
