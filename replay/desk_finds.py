"""Commands on finds: each decision by one key, kept at once and told in words; which finds are shown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt

from .find_words import code_words
from .panes.mark_box import ClassBox

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find

    from .desk import Desk
    from .session_verdicts import Decided


class FindActions:
    """The menu Finds."""

    _desk: Desk

    def accept_find(self) -> None:
        """Accept the selected find."""
        find = self._chosen_find()
        if find is not None:
            self._decide("accepted", [find], "accepted, and a mark of yours.")

    def set_aside_find(self) -> None:
        """Set the selected find aside."""
        find = self._chosen_find()
        if find is not None:
            self._decide("set aside", [find], "set aside.")

    def reclassify_find(self) -> None:
        """Ask for another class of the selected find."""
        find = self._chosen_find()
        if find is None:
            return
        choices = [one for one in self._desk.session.class_names.items() if one[0] != find.code]
        box = ClassBox(choices, "", f"What {code_words(find)} is instead", self._desk)
        box.chosen.connect(
            lambda code: self._decide(
                "reclassified", [find], f"now {self._desk.class_words(code)}, a mark of yours.", code=code
            )
        )
        self._desk.open_box(box)

    def join_finds(self) -> None:
        """Join the selected finds, or the selected one with the next of its class."""
        first = self._chosen_find()
        if first is None:
            return
        finds: list[Find] = [row.item for row in self._desk.finds.chosen]
        if len(finds) == 1:
            other = self._desk.finds.next_like(first)
            if other is None:
                self._desk.say(
                    f"No later {code_words(first)} is in the list: choose several rows with Shift to join."
                )
                return
            finds.append(other)
        earliest = min(finds, key=lambda find: (find.start_s, find.key))
        classes = {find.code for find in finds}
        words = f"{len(finds)} finds joined to one mark of yours"
        words += f", under the class of the first, {earliest.code}." if len(classes) > 1 else "."
        self._decide("joined", finds, words)

    def split_find(self) -> None:
        """Split the selected find at the playhead."""
        find = self._chosen_find()
        if find is not None:
            at = self._desk.playhead.time
            self._decide(
                "split", [find], f"split at {self._desk.face.text(at)} into two marks of yours.", at_s=at
            )

    def _chosen_find(self) -> Find | None:
        row = self._desk.finds.current
        if row is None:
            self._desk.say("Choose a find in the list first.")
            return None
        find: Find = row.item
        return find

    def _decide(
        self, decision: str, finds: Sequence[Find], words: str, *, code: str = "", at_s: float = 0.0
    ) -> None:
        desk = self._desk
        done: Decided | None = desk.session.decide(decision, finds, code=code, at_s=at_s)
        if done is None:
            return  # the sentence that says why is on the screen
        first = min(finds, key=lambda find: find.start_s)
        counted = ""
        if done.masks_changed:
            back = decision in ("set aside", "reclassified")
            counted = f" Its seconds count in the figures {'again' if back else 'no more'}."
        desk.say(f"{code_words(first)} at {desk.face.text(first.start_s)}: {words}{counted}")

    # -- which are shown ----------------------------------------------------------------------------

    def to_find_class(self) -> None:
        """Open the box of classes."""
        self._to_filter_box(0)

    def to_find_phase(self) -> None:
        """Open the box of phases."""
        self._to_filter_box(1)

    def to_find_state(self) -> None:
        """Open the box of states."""
        self._to_filter_box(2)

    def _to_filter_box(self, number: int) -> None:
        self._desk.tabs.setCurrentWidget(self._desk.finds_page)
        box = self._desk.finds.filters.boxes[number]
        box.setFocus(Qt.FocusReason.ShortcutFocusReason)
        box.showPopup()

    def show_all_finds(self) -> None:
        """Take every filter off."""
        self._desk.finds.show_all()
        self._desk.say(f"All {len(self._desk.finds.model.rows)} finds are shown.")

    # -- looking ------------------------------------------------------------------------------------

    def look_again(self) -> None:
        """Look for phases and finds again."""
        self._desk.session.look()

    def show_flushes(self) -> None:
        """What the flushes of the case tell of its lines."""
        case = self._desk.session.case
        if case is not None:
            from afterclamp.annotate.flushes import flushes

            from .panes.flush_box import FlushBox  # loads the charts

            box = FlushBox(case, flushes(case), parent=self._desk)
            box.gone_to.connect(self._desk.views.jump)
            self._desk.open_box(box)
