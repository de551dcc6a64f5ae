"""What each command of the desk does when it is chosen: one method a row of `actions.ACTIONS`.

Those of the menus File, Case and Mark stand in modules of their own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractButton, QApplication

from .desk_case import CaseActions
from .desk_files import FileActions
from .desk_finds import FindActions
from .desk_marks import MarkActions
from .desk_masks import MaskActions
from .desk_rules import RuleActions
from .desk_what_if import WhatIfActions
from .panes.clock_face import number
from .panes.go_to import GoToBox
from .panes.lists import ListPane
from .panes.sheets import CautionsBox, KeySheet

if TYPE_CHECKING:
    from .desk import Desk

_BESIDE = 0.05  # seconds: a mark this near to the playhead is where one is, not the next one


class DeskActions(
    FileActions, CaseActions, MarkActions, FindActions, RuleActions, MaskActions, WhatIfActions
):
    """The commands of one desk."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.errand = None
        self.span_from = None
        self._just_made = None  # the last mark, and where the playhead stood

    def close(self) -> None:
        """Close the program."""
        self._desk.close()

    # -- move ---------------------------------------------------------------------------------------

    def play_or_pause(self) -> None:
        """Play or pause; on a button that has the keyboard, press that instead."""
        focus = QApplication.focusWidget()
        if isinstance(focus, QAbstractButton) and focus.isEnabled():
            focus.click()  # Space is what presses a button everywhere else
            return
        self._desk.playhead.toggle()

    def faster(self) -> None:
        """The next higher speed."""
        self._desk.playhead.faster()
        self._say_speed()

    def slower(self) -> None:
        """The next lower speed."""
        self._desk.playhead.slower()
        self._say_speed()

    def sound(self) -> None:
        """Hear what was recorded in the room, or be silent again."""
        sound = self._desk.sound
        wanted = not sound.on
        if sound.set_on(wanted):
            self._desk.say("The sound is heard while playing." if wanted else "The sound is off.")

    def _say_speed(self) -> None:
        speed = self._desk.playhead.speed
        self._desk.say(f"Speed {number(speed, 0 if speed >= 1 else 2)} ×")

    def back_1s(self) -> None:
        """One second back."""
        self._step(-1.0)

    def on_1s(self) -> None:
        """One second on."""
        self._step(1.0)

    def back_10s(self) -> None:
        """Ten seconds back."""
        self._step(-10.0)

    def on_10s(self) -> None:
        """Ten seconds on."""
        self._step(10.0)

    def back_1min(self) -> None:
        """One minute back."""
        self._step(-60.0)

    def on_1min(self) -> None:
        """One minute on."""
        self._step(60.0)

    def _step(self, seconds: float) -> None:
        self._desk.playhead.step(seconds)

    def next_mark(self) -> None:
        """Go to the next mark or find."""
        self._to_mark(forward=True)

    def previous_mark(self) -> None:
        """Go to the mark or find before."""
        self._to_mark(forward=False)

    def _to_mark(self, *, forward: bool) -> None:
        desk = self._desk
        now = desk.playhead.time
        found = [(row, pane) for pane in (desk.marks, desk.finds) for row in pane.shown() if not row.dim]
        ahead = [
            one
            for one in found
            if (one[0].start > now + _BESIDE if forward else one[0].start < now - _BESIDE)
        ]
        if not ahead:
            hidden = sum(len(pane.model.rows) - len(pane.shown()) for pane in (desk.marks, desk.finds))
            shown = f" among those that are shown; {hidden} are filtered out" if hidden else ""
            desk.say(f"No mark or find {'after' if forward else 'before'} this{shown}.")
            return
        row, pane = (min if forward else max)(ahead, key=lambda one: one[0].start)
        pane.select(row.key)
        desk.tabs.setCurrentWidget(desk.finds_page if pane is desk.finds else pane)
        desk.go_to(row)

    def go_to_time(self) -> None:
        """Ask for a time and go there."""
        case = self._desk.session.case
        if case is not None:
            box = GoToBox(self._desk.face, case.span, self._desk)
            box.chosen.connect(self._desk.views.jump)
            self._desk.open_box(box)

    def go_home(self) -> None:
        """To the start of the case."""
        if self._desk.session.case is not None:
            self._desk.views.jump(self._desk.session.case.span.start)

    def go_end(self) -> None:
        """To the end of the case."""
        if self._desk.session.case is not None:
            self._desk.views.jump(self._desk.session.case.span.end)

    # -- view ---------------------------------------------------------------------------------------

    def change_time_display(self) -> None:
        """Reference clock, minutes from start, or minutes from a chosen moment."""
        self._desk.face.turn()
        self._desk.say(f"Times are shown as {self._desk.face.words}.")

    def count_from_here(self) -> None:
        """Show times as minutes before and after the playhead, named after what begins or ends there."""
        desk = self._desk
        now = desk.playhead.time
        desk.face.count_from(now, desk.session.moment_words(now) or desk.face.text(now))
        desk.say(f"Times are shown as {desk.face.words}; T changes back.")

    def zoom_in(self) -> None:
        """Narrow the Middle view around the playhead."""
        self._zoom(0.5)

    def zoom_out(self) -> None:
        """Widen the Middle view around the playhead."""
        self._zoom(2.0)

    def _zoom(self, factor: float) -> None:
        views, t = self._desk.views, self._desk.playhead.time
        if not views.middle.span.start <= t <= views.middle.span.end:
            views.jump(t)  # it was left outside by the wheel: fetch it before zooming around it
        views.zoom_middle(factor)

    def show_playhead(self) -> None:
        """Bring the playhead into the middle of the views, wherever they were zoomed to."""
        views, t = self._desk.views, self._desk.playhead.time
        if not views.long.span.start <= t <= views.long.span.end:
            views.reset()  # the Long view was zoomed away from it: the whole case again
        views.jump(t)

    def zoom_reset(self) -> None:
        """The widths of first start."""
        self._desk.views.reset()

    def show_no_stretch(self) -> None:
        """Take the coloured stretch off the views; forget a span that was started and the class of the next mark."""
        self._desk.views.show_selected(None)
        self._desk.views.set_shaded([])
        self.span_from = None
        self._desk.set_code("")

    def turn_dose(self) -> None:
        """Show the dose strips, or hide them."""
        self._desk.views.dose.turn()

    def to_marks(self) -> None:
        """Keyboard to the marks."""
        self._to_list(self._desk.marks)

    def to_finds(self) -> None:
        """Keyboard to the finds."""
        self._to_list(self._desk.finds)

    def _to_list(self, pane: ListPane) -> None:
        self._desk.tabs.setCurrentWidget(self._desk.finds_page if pane is self._desk.finds else pane)
        pane.to_list()

    def to_figures(self) -> None:
        """Keyboard to the minutes and areas."""
        self._to_list(self._desk.figures)

    def to_said(self) -> None:
        """Keyboard to what was said and written."""
        self._to_list(self._desk.said)

    def to_loose_ends(self) -> None:
        """Keyboard to the loose ends."""
        self._desk.tabs.setCurrentWidget(self._desk.loose_page)
        self._desk.loose_ends.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def to_views(self) -> None:
        """Keyboard to the Long view."""
        self._desk.views.long.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def to_filter(self) -> None:
        """Keyboard to the filter of the list that is shown."""
        pane = self._list_shown()
        if pane is not None:
            pane.filter.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def ask_sorting(self) -> None:
        """Ask by which column the list that is shown is sorted."""
        pane = self._list_shown()
        if pane is not None:
            pane.ask_sorting()

    def _list_shown(self) -> ListPane | None:
        page = self._desk.tabs.currentWidget()
        inner = {id(self._desk.finds_page): self._desk.finds, id(self._desk.loose_page): self._desk.masks}
        pane = inner.get(id(page), page)
        return pane if isinstance(pane, ListPane) else None

    def show_sums(self) -> None:
        """Every sum of the phases, in a box beside the desk."""
        self._desk.views.sums.open_list()

    # -- help ---------------------------------------------------------------------------------------

    def show_keys(self) -> None:
        """The sheet of keys."""
        self._desk.open_box(KeySheet(self._desk))

    def show_cautions(self) -> None:
        """The cautions, to be read again."""
        self._desk.open_box(CautionsBox(self._desk.settings, must_accept=False, parent=self._desk))
