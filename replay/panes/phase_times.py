"""Times of a phase set by a person: at the playhead, with a line that was said or written, from a stretch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from afterclamp.annotate.marks import Mark
from afterclamp.io.case import Span, TimedNote
from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QMenu, QWidget

from ..wording import Z95, half_width
from .clamp_row import CLAMP, Moment, Stretch, moments_of, payload_of, stretches_of, unset_words
from .clock_face import ClockFace, length, plus_minus
from .rungs import Rung


class PhaseTimes(QObject):
    """What a person can do with the times of a phase.

    Attributes
    ----------
    moments : list of Moment
        Lines and marks that mention the clamp.
    begun : dict of str to Moment
        The start or end of an unset clamp that was set first; the other one is waited for.

    Signals
    -------
    phase_set(payload)
        Payload of a ``phase`` edit.
    jumped(t)
    said(text)
        A short word on what was done, or why not.
    another_wanted()
        One more clamp is to be set.
    changed()
        The row of an unset clamp says something else.
    """

    phase_set = Signal(dict)
    jumped = Signal(float)
    said = Signal(str)
    another_wanted = Signal()
    changed = Signal()

    def __init__(self, face: ClockFace, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._face = face
        self._notes: Sequence[TimedNote] = ()
        self._marks: Sequence[Mark] = ()
        self._selected: Span | None = None
        self.moments: list[Moment] = []
        self.begun: dict[str, Moment] = {}

    # -- what speaks of it --------------------------------------------------------------------------

    def set_notes(self, notes: Sequence[TimedNote]) -> None:
        """Lines of text."""
        self._notes = notes
        self._mentioned()

    def set_marks(self, marks: Sequence[Mark]) -> None:
        """Marks."""
        self._marks = marks
        self._mentioned()

    def set_selected(self, span: Span | None) -> None:
        """The stretch that is selected in the views."""
        self._selected = span

    def _mentioned(self) -> None:
        self.moments = moments_of(self._notes, self._marks)
        self.changed.emit()

    def forget(self) -> None:
        """Forget an end that was set while the other one is waited for."""
        if self.begun:
            self.begun.clear()
            self.changed.emit()

    # -- words --------------------------------------------------------------------------------------

    def unset_text(self, chosen: bool) -> str:
        """What stands in the row of a clamp that nobody has set."""
        if self.begun:
            edge, moment = next(iter(self.begun.items()))
            other = "] sets its end" if edge == "start" else "[ sets its start"
            return f"{edge} at {self._face.text(moment.t)}; {other} at the playhead, Esc forgets it"
        return f"{unset_words(self.moments)}{'; Enter shows what can be done' if chosen else ''}"

    def unset_tip(self, rung: Rung) -> str:
        """The same with every line that mentions it."""
        return "\n".join(
            (
                f"{rung.words}, {unset_words(self.moments)}; it is never guessed",
                *(self.moment_words(moment) for moment in self.moments),
                "Enter shows what can be done; [ and ] set its start and its end at the playhead",
            )
        )

    def moment_words(self, moment: Moment) -> str:
        """A moment with its ±, its words, and whose they are."""
        by = f"({moment.by})" if moment.by else ""
        within = plus_minus(half_width(moment.sd_s))
        parts = (self._face.text(moment.t), within, f"“{moment.text}”", by)
        return " ".join(part for part in parts if part)

    # -- setting ------------------------------------------------------------------------------------

    def set_edge(self, rung: Rung, edge: str, moment: Moment) -> None:
        """Set the ``"start"`` or ``"end"`` of a phase; of an unset clamp the other one is waited for."""
        ends = dict(self.begun)
        if rung.is_set:
            ends = dict(zip(("start", "end"), ends_of(rung), strict=True))
        ends[edge] = moment
        if len(ends) < 2:
            self.begun = ends
            self.said.emit(f"{_capital(rung.words)}: {self.unset_text(chosen=True)}.")
            self.changed.emit()
        else:
            self.set_times(rung, ends["start"], ends["end"])

    def set_times(self, rung: Rung, start: Moment, end: Moment) -> None:
        """Set both times of a phase, unless they make none."""
        times = f"{self._face.text(start.t)} to {self._face.text(end.t)}"
        name = _capital(rung.words)
        if not start.t < end.t:
            self.said.emit(f"{name} cannot go from {times}: its start must lie before its end.")
        elif not (start.usable and end.usable):
            self.said.emit(
                f"{name}, {times}: one end rests on a clock that is not set. Set that clock first."
            )
        else:
            self.forget()
            within = plus_minus(half_width(math.hypot(start.sd_s, end.sd_s)))
            self.said.emit(
                f"{name} set, {times}, {' '.join(filter(None, (length(end.t - start.t), within)))}."
            )
            self.phase_set.emit(payload_of(rung.name, rung.index, start, end))

    def take_away(self, rung: Rung) -> None:
        """Take a phase away that a person set."""
        self.said.emit(f"{_capital(rung.words)} taken away; Ctrl+Z brings it back.")
        self.phase_set.emit({"name": rung.name, "index": rung.index, "removed": True})

    # -- menu ---------------------------------------------------------------------------------------

    def menu(self, rung: Rung, playhead: float, parent: QWidget) -> QMenu:
        """What can be done with a phase."""
        menu = QMenu(rung.words, parent)
        menu.setToolTipsVisible(True)
        moments = self.moments if rung.name == CLAMP else []
        if rung.is_set:
            menu.addAction("Go to its &start", partial(self.jumped.emit, rung.start))
            menu.addAction("Go to its &end", partial(self.jumped.emit, rung.end))
        for moment in moments:
            menu.addAction(f"Go to {self.moment_words(moment)}", partial(self.jumped.emit, moment.t))
        for edge, word, key in (("start", "Starts", "["), ("end", "Ends", "]")):
            menu.addSeparator()
            menu.addAction(
                f"{word} at the playhead, {self._face.text(playhead)}\t{key}",
                partial(self.set_edge, rung, edge, Moment(playhead)),
            )
            for moment in moments:
                if moment.edge in ("", edge):
                    action = menu.addAction(
                        f"{word} with {self.moment_words(moment)}",
                        partial(self.set_edge, rung, edge, moment),
                    )
                    action.setEnabled(moment.usable)
                    action.setToolTip("" if moment.usable else f"The clock of {moment.by} is not set")
        self._offer_stretches(menu, rung)
        if rung.is_set and (rung.name == CLAMP or not rung.confirmed_by):
            menu.addSeparator()
            if not rung.confirmed_by:
                ends = [
                    end if end.set_by else replace(end, set_by=None) for end in ends_of(rung)
                ]  # a proposal that is confirmed is the person's from now on
                accept = menu.addAction("&Confirm these times", partial(self.set_times, rung, *ends))
                accept.setEnabled(all(end.usable for end in ends) and not rung.at_least)
            if rung.name == CLAMP:
                menu.addAction("One &more clamp", self.another_wanted.emit)
                menu.addAction("&Take it away", partial(self.take_away, rung))
        return menu

    def _offer_stretches(self, menu: QMenu, rung: Rung) -> None:
        """The selected stretch, and what was marked as the clamp."""
        stretches = []
        if self._selected is not None and self._selected.duration > 0:
            stretches.append(Stretch(Moment(self._selected.start), Moment(self._selected.end)))
        if rung.name == CLAMP:
            stretches += stretches_of(self._marks)
        if stretches:
            menu.addSeparator()
        for stretch in stretches:
            by = f"marked by {stretch.start.by}" if stretch.start.by else "the selected stretch"
            action = menu.addAction(
                f"Is {self._face.text(stretch.start.t)} to {self._face.text(stretch.end.t)}, {by}",
                partial(self.set_times, rung, stretch.start, stretch.end),
            )
            action.setEnabled(stretch.start.usable)


def ends_of(rung: Rung) -> tuple[Moment, Moment]:
    """The ends of a phase as they stand, each with its own ± and whose it is."""
    return (
        Moment(rung.start, rung.start_unc / Z95, set_by=rung.start_by),
        Moment(rung.end, rung.end_unc / Z95, set_by=rung.end_by),
    )


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
