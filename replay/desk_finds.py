"""Commands on finds: each decision by one key, kept at once and told in words; which finds are shown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from afterclamp.annotate.judged import can_split
from PySide6.QtCore import Qt

from .find_words import code_words
from .panes.clock_face import length
from .panes.mark_box import ClassBox

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find

    from .desk import Desk
    from .session_verdicts import Decided

JOINED_ALONE_S = 300.0
"""Longest gap over which J alone joins a find with the next of its class (this project's choice)."""


class FindActions:
    """The menu Finds."""

    _desk: Desk

    def accept_find(self) -> None:
        """Accept the selected finds."""
        finds = self._chosen_finds()
        if finds:
            self._decide("accepted", finds, f"accepted, {_own(finds)}.")

    def set_aside_find(self) -> None:
        """Set the selected finds aside."""
        finds = self._chosen_finds()
        if finds:
            self._decide("set aside", finds, "set aside.")

    def reclassify_find(self) -> None:
        """Ask for another class of the selected finds."""
        finds = self._chosen_finds()
        if not finds:
            return
        own = {find.code for find in finds}
        choices = [one for one in self._desk.session.class_names.items() if one[0] not in own]
        what = f"{code_words(finds[0])} is" if len(finds) == 1 else f"these {len(finds)} finds are"
        box = ClassBox(choices, "", f"What {what} instead", self._desk)
        box.chosen.connect(
            lambda code: self._decide(
                "reclassified", finds, f"now {self._desk.class_words(code)}, {_own(finds)}.", code=code
            )
        )
        self._desk.open_box(box)

    def join_finds(self) -> None:
        """Join the selected finds, or the selected one with the next of its class."""
        finds = self._chosen_finds()
        if not finds:
            return
        first = finds[0]
        if len(finds) == 1:
            other = self._desk.finds.next_like(first)
            if other is None:
                self._desk.say(
                    f"No later {code_words(first)} is in the list: choose several rows with Shift to join."
                )
                return
            gap = other.start_s - first.end_s
            if gap > JOINED_ALONE_S:
                self._desk.say(
                    f"The next {code_words(first)} begins {length(gap)} after this one's end, at "
                    f"{self._desk.face.text(other.start_s)}: choose both rows with Ctrl to join them all the same."
                )
                return
            finds = [first, other]
        earliest = min(finds, key=lambda find: (find.start_s, find.key))
        classes = {find.code for find in finds}
        end = max(find.end_s for find in finds)
        words = f"{len(finds)} finds joined to one mark of yours"
        words += f" to {self._desk.face.text(end)}, {length(end - earliest.start_s)}"
        between = uncovered_s(finds)
        words += f", with {length(between)} between them that none of them covers" if between > 0 else ""
        words += f", under the class of the first, {earliest.code}." if len(classes) > 1 else "."
        self._decide("joined", finds, words)

    def split_find(self) -> None:
        """Split the selected find at the playhead."""
        finds = self._chosen_finds()
        if not finds:
            return
        at = self._desk.playhead.time
        when = self._desk.face.text(at)
        if len(finds) > 1:
            self._desk.say(f"{len(finds)} finds are chosen: choose the one to split.")
        elif not can_split(finds[0], at):
            self._desk.say(
                f"{code_words(finds[0])} is split at a moment inside it, a second from its ends or more: "
                f"the playhead is at {when}, the find lasts from {self._desk.face.text(finds[0].start_s)} "
                f"to {self._desk.face.text(finds[0].end_s)}."
            )
        else:
            self._decide("split", finds, f"split at {when} into two marks of yours.", at_s=at)

    def _chosen_finds(self) -> list[Find]:
        """Every selected find, in order of time; where none is, that is said."""
        finds: list[Find] = [row.item for row in self._desk.finds.chosen]
        if not finds:
            self._desk.say("Choose a find in the list first.")
        return sorted(finds, key=lambda find: (find.start_s, find.key))

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
        what = f"{code_words(first)} at {desk.face.text(first.start_s)}"
        if len(finds) > 1 and decision != "joined":
            what += f" and {len(finds) - 1} more"
            counted = counted.replace("Its", "Their")
        desk.say(f"{what}: {words}{counted}")

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


def uncovered_s(finds: Sequence[Find]) -> float:
    """Seconds between the first begin and the last end that none of these finds covers."""
    gaps, end = 0.0, min(find.start_s for find in finds)
    for find in sorted(finds, key=lambda find: find.start_s):
        gaps += max(0.0, find.start_s - end)
        end = max(end, find.end_s)
    return gaps


def _own(finds: Sequence[Find]) -> str:
    return "and a mark of yours" if len(finds) == 1 else "each a mark of yours"
