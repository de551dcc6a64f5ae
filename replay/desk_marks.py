"""Commands on marks: made at the playhead by one key, kept at once, given words and a class, taken back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtWidgets import QApplication

from . import undoing
from .panes.clock_face import length
from .panes.mark_box import ClassBox, WordsBox

if TYPE_CHECKING:
    from afterclamp.annotate.marks import Mark
    from afterclamp.io.log import Edit

    from .desk import Desk


class MarkActions:
    """The menu Mark.

    Attributes
    ----------
    span_from : float or None
        Where a span was started that has no end yet.
    """

    _desk: Desk
    span_from: float | None
    _just_made: tuple[str, float] | None

    def mark_point(self) -> None:
        """Mark the moment at the playhead."""
        t = self._desk.playhead.time
        self._marked(self._desk.session.mark_point(t, self._desk.code), f"Marked {self._desk.face.text(t)}.")

    def span_start(self) -> None:
        """Start a span at the playhead."""
        self.span_from = self._desk.playhead.time
        self._desk.say(f"A span starts at {self._desk.face.text(self.span_from)}; ] ends it.")

    def span_end(self) -> None:
        """End the span at the playhead and keep it."""
        if self.span_from is None:
            self._desk.say("No span was started: [ starts one.")
            return
        self.keep_span(self.span_from, self._desk.playhead.time)
        self.span_from = None

    def keep_span(self, start: float, end: float) -> None:
        """Keep a span as a mark."""
        if start == end:
            self._desk.say("A span needs two different times: move the playhead first.")
            return
        made = self._desk.session.mark_span(start, end, self._desk.code)
        self._marked(made, f"Marked a span of {length(abs(end - start))}.")

    def write_note(self) -> None:
        """Ask for words: for the mark that was just made here, else as a note at the playhead."""
        t = self._desk.playhead.time
        row = self._desk.marks.current
        if row is not None and self._just_made == (row.key, t):
            self._ask_words(row.item)
            return
        box = WordsBox("Note", f"Note at {self._desk.face.text(t)}", self._desk)
        box.written.connect(lambda text: self._noted(self._desk.session.write_note(t, text)))
        self._desk.open_box(box)

    def _noted(self, made: Mark | None) -> None:
        if made is not None:
            self._choose(made)
            self._desk.say("Note kept.")

    def _marked(self, made: Mark | None, words: str) -> None:
        """Choose what was just made in the list, and ask for its words; it is in the log already."""
        if made is None:
            return  # the sentence that says why is on the screen
        self._desk.set_code("")  # a class holds for one mark: it must not stick to later ones unseen
        self._choose(made)
        self._desk.say(words)
        if self._desk.box is None:
            self._ask_words(made)

    def _choose(self, made: Mark) -> None:
        self._desk.marks.select(made.id)
        self._just_made = (made.id, self._desk.playhead.time)
        focus = QApplication.focusWidget()
        if focus is None or not self._desk.finds_page.isAncestorOf(focus):
            self._desk.tabs.setCurrentWidget(self._desk.marks)

    def _ask_words(self, mark: Mark) -> None:
        at = self._desk.face.text(mark.start_s)
        classed = f", {self._desk.class_words(mark.code)}" if mark.code else ""
        box = WordsBox(
            "Words",
            f"Words for the mark at {at}{classed}. Enter keeps them, Esc keeps the mark as it is.",
            self._desk,
        )
        box.line.setText(mark.text)
        box.written.connect(lambda text: self._desk.session.change_words(mark, text))
        self._desk.open_box(box)

    def choose_class(self) -> None:
        """Ask for the class that the next mark is given."""
        choices = [("", "no class"), *self._desk.session.class_names.items()]
        box = ClassBox(choices, self._desk.code, "Class of the next mark", self._desk)
        box.chosen.connect(self._desk.set_code)
        self._desk.open_box(box)

    def change_class(self) -> None:
        """Ask for another class for the selected mark."""
        row = self._desk.marks.current
        if row is None:
            self._desk.say("Choose a mark in the list first.")
            return
        choices = [("", "no class"), *self._desk.session.class_names.items()]
        box = ClassBox(choices, row.item.code, "Class of this mark", self._desk)
        box.chosen.connect(lambda code: self._desk.session.change_class(row.item, code))
        self._desk.open_box(box)

    def delete_mark(self) -> None:
        """Take the selected mark back; in the list of masks, the selected mask."""
        if self._desk.tabs.currentWidget() is self._desk.loose_page:
            self._desk.does.take_mask_back()
            return
        row = self._desk.marks.current
        if row is None:
            self._desk.say("Choose a mark in the list first.")
            return
        self._desk.session.delete_mark(row.item)

    def undo(self) -> None:
        """Undo one's own last edit, and say which."""
        self._turned("Undone", self._desk.session.undo())

    def redo(self) -> None:
        """Redo what was undone, and say which."""
        self._turned("Redone", self._desk.session.redo())

    def _turned(self, word: str, edit: Edit | None) -> None:
        case = self._desk.session.case
        if edit is not None and case is not None:
            self._desk.say(f"{word}: {undoing.words(case.log, edit, self._desk.face.text)}.")
