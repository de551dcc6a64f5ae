"""Commands on masks: hide, unhide, raw or masked; what they go by is the span or the row that was chosen last."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from PySide6.QtCore import QTimer

from .mask_words import state_words
from .panes.clock_face import length
from .panes.mark_box import ClassBox, WordsBox
from .panes.reading_card import in_order

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find
    from afterclamp.io.case import Case, Channel
    from afterclamp.io.log import Edit
    from afterclamp.io.masks import Verb

    from .desk import Desk

CHOOSE = "Choose a find, a span or a mask in its list, or start a span with [ and go to its end."


@dataclass(frozen=True, slots=True)
class _Stretch:
    """What a mask is laid on."""

    start: float
    end: float
    channels: tuple[str, ...] = ()  # any names; none: to be asked
    find: Find | None = None


class MaskActions:
    """Hide, unhide, and raw or masked.

    Attributes
    ----------
    span_from : float or None
        Where a span was started that has no end yet.
    """

    _desk: Desk
    span_from: float | None

    def hide(self) -> None:
        """Hide a stretch of a line from the figures."""
        self._lay("hide")

    def unhide(self) -> None:
        """Believe a stretch of a line although a rule or a person masked it."""
        self._lay("unhide")

    def raw_or_masked(self) -> None:
        """Leave artefacts and hidden seconds in, or take them out again."""
        session = self._desk.session
        session.show_raw(not session.masks.raw)
        self._desk.say(f"{state_words(session.masks.raw)}. R changes back.")

    def take_mask_back(self) -> None:
        """Take the selected mask of one's own back."""
        row = self._desk.masks.current
        if row is None:
            self._desk.say("Choose a mask in the list first.")
        elif not row.item.edit:
            self._desk.say("A rule sees this: Shift+H believes it instead.")
        elif self._desk.session.take_mask_back(row.item.edit):
            self._desk.say(
                f"Taken back: {row.cells[4]} of {row.item.name} at {self._desk.face.text(row.start)}."
            )

    def to_masks(self) -> None:
        """Keyboard to the masks."""
        self._desk.tabs.setCurrentWidget(self._desk.loose_page)
        self._desk.masks.to_list()

    # -- what, and on which line --------------------------------------------------------------------

    def _chosen(self) -> _Stretch | None:
        """The span that was started, else the row that is selected in the list that is shown."""
        desk, now = self._desk, self._desk.playhead.time
        if self.span_from is not None and self.span_from != now:
            return _Stretch(min(self.span_from, now), max(self.span_from, now))
        pane = {
            id(desk.finds_page): desk.finds, id(desk.marks): desk.marks, id(desk.loose_page): desk.masks,
        }.get(id(desk.tabs.currentWidget()))  # fmt: skip
        row = pane.current if pane is not None else None
        if row is None or row.end <= row.start:
            return None
        if pane is desk.masks:
            return _Stretch(row.start, row.end, (row.item.channel,))
        find = row.item if pane is desk.finds else None
        return _Stretch(row.start, row.end, tuple(row.item.channels), find)

    def _lay(self, verb: Verb) -> None:
        desk, case, chosen = self._desk, self._desk.session.case, self._chosen()
        if case is None:
            return
        if chosen is None:
            desk.say(CHOOSE)
            return
        given_back = desk.session.masks.given_back(case, chosen.find) if chosen.find is not None else []
        if verb == "unhide" and given_back:
            self._keep(verb, [(channel.id, start, end) for channel, start, end in given_back])
            return
        lines = self._lines(case, verb, chosen)
        if not lines:
            words = (
                "holds nothing that is masked and could be believed" if verb == "unhide" else "holds no line"
            )
            desk.say(f"{desk.face.text(chosen.start)} to {desk.face.text(chosen.end)} {words}.")
            return
        named = [one for one in lines if one.id in chosen.channels or one.name in chosen.channels]
        if len(named) == 1 or len(lines) == 1:
            self._keep(verb, [((named or lines)[0].id, chosen.start, chosen.end)])
            return
        title = f"{verb.capitalize()} {desk.face.text(chosen.start)} to {desk.face.text(chosen.end)} of which line"
        box = ClassBox([(one.id, one.plain_name) for one in lines], (named or lines)[0].id, title, desk)
        # After it has closed: the words are asked for in a box of their own.
        box.chosen.connect(
            lambda name: QTimer.singleShot(
                0, desk, lambda: self._keep(verb, [(name, chosen.start, chosen.end)])
            )
        )
        desk.open_box(box)

    def _lines(self, case: Case, verb: Verb, chosen: _Stretch) -> list[Channel]:
        """Lines on which a mask would change something."""
        over = [one for one in case.channels if one.span.start < chosen.end and one.span.end > chosen.start]
        if verb == "unhide":
            spans = self._desk.session.masks.in_force(case)
            over = [
                channel
                for channel in over
                if any(
                    one.there == "values" and one.start < chosen.end and one.end > chosen.start
                    for one in spans.get(channel.id, ())
                )
            ]
        return in_order(over)

    def _keep(self, verb: Verb, stretches: list[tuple[str, float, float]]) -> None:
        desk = self._desk
        made = desk.session.mask(verb, stretches)
        if not made:
            return  # the sentence that says why is on the screen
        self.span_from = None
        desk.views.show_selected(None)
        first, start, end = stretches[0]
        name = desk.session.channel_names.get(first, first)
        more = f" and {len(stretches) - 1} more" if len(stretches) > 1 else ""
        word = "Hidden" if verb == "hide" else "Unhidden"
        desk.say(
            f"{word}: {name}{more}, {length(end - start)} from {desk.face.text(start)}. Ctrl+Z takes it back."
        )
        if verb == "hide" and desk.box is None:
            self._ask_why(made, f"{name}, {desk.face.text(start)} to {desk.face.text(end)}")

    def _ask_why(self, made: list[Edit], what: str) -> None:
        """Ask for words on what is hidden already."""
        box = WordsBox(
            "Why", f"Why is {what} hidden? Enter keeps the words, Esc leaves it hidden without.", self._desk
        )
        box.written.connect(lambda text: self._desk.session.say_why(made, text))
        self._desk.open_box(box)
