"""Commands on rules: the catalogue with its numbers, and what no rule covers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from afterclamp.io.case import Span

from .session_numbers import UNEXPLAINED
from .unexplained_words import all_marked, denominator, moves_words

if TYPE_CHECKING:
    from afterclamp.annotate.unexplained import Change

    from .desk import Desk


class RuleActions:
    """Rules, and unexplained changes."""

    _desk: Desk

    def show_rules(self) -> None:
        """Show all rules with their numbers; a number that is changed there is kept once its preview is known."""
        from .panes.rules_box import RulesBox

        session = self._desk.session
        if session.case is None:
            return
        row = self._desk.finds.current
        chosen = row.item.code if row is not None else ""
        box = RulesBox(session.case, session.finds, self._desk.face.text, chosen, self._desk)
        box.taken.connect(session.set_rule_numbers)

        def looked(name: str) -> None:
            if name == "finds":
                box.show_finds(session.finds)

        session.looked.connect(looked)
        box.finished.connect(lambda: session.looked.disconnect(looked))
        self._desk.open_box(box)

    def mark_unexplained(self) -> None:
        """Mark the unexplained change at the playhead; where none is, go to the next one."""
        desk = self._desk
        changes, now = desk.session.open_changes, desk.playhead.time
        if not changes:
            looked = desk.session.unexplained
            if not looked.of_s:
                desk.say("Unexplained changes have not been looked for yet.")
            else:
                desk.say(all_marked(looked) if looked.changes else denominator(looked))
            return
        here = next((one for one in changes if one.start_s <= now <= one.end_s), None)
        if here is None:
            self._show_change(next((one for one in changes if one.start_s > now), changes[0]))
            return
        words = moves_words(here, desk.session.channel_names)
        if desk.session.mark_change(here, words):
            left = len(desk.session.open_changes)
            desk.say(f"Marked as {desk.class_words(UNEXPLAINED)}; {left} left.")

    def show_unexplained(self, number: int) -> None:
        """Go to one of the unexplained changes, by its place in the list."""
        changes = self._desk.session.open_changes
        if number < len(changes):
            self._show_change(changes[number])

    def _show_change(self, change: Change) -> None:
        desk = self._desk
        desk.views.jump(change.at_s)
        desk.views.show_selected(Span(change.start_s, change.end_s))
        desk.say(f"U marks this as {UNEXPLAINED}: {moves_words(change, desk.session.channel_names)}.")
