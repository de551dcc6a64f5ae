"""Long, Middle and Close view under the phase ladder: one case at three widths, moving together.

The Long view shows the whole case, the Middle view half an hour of it, the Close view half a minute. The
window of a narrower view stands as brackets in the wider ones. Scrubbing in a view moves the playhead;
the narrower views follow it, the view under the hand stays where it is.
"""

from __future__ import annotations

from collections.abc import Sequence

from afterclamp.annotate.finds import Find
from afterclamp.annotate.marks import Mark
from afterclamp.annotate.phase_model import Phase
from afterclamp.io.case import Case, Span, TimedNote
from PySide6.QtCore import QLineF, Qt, Signal
from PySide6.QtGui import QColor, QImage, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QMenu, QSplitter, QToolButton, QVBoxLayout, QWidget

from ..playhead import Playhead
from ..strips.layout import Strip, strips_of
from ..strips.theme import PAPER, Theme
from ..strips.view import StripsView
from .clock_face import ClockFace, length
from .ladder import PhaseLadder

MIDDLE_S = 1800.0
CLOSE_S = 30.0
NARROWEST_S = 2.0
SHORT_CASE_PARTS = 3  # in a case too short for half an hour the Middle view shows this part of it

STRIP_ROOM = 28  # pixels: a strip lower than this cannot be read
OTHER_ROOM = 76  # pixels for the lanes and the time axis

PAGE_FROM = 0.92  # once the playhead passes this share of a window, the window turns to the next page ...
PAGE_TO = 0.08  # ... so that the playhead stands here: standing pages cost a fiftieth of scrolling ones


def usual_widths(whole_s: float) -> tuple[float, float]:
    """Widths of Middle and Close view: half an hour and half a minute, less in a recording of minutes."""
    middle = min(MIDDLE_S, max(whole_s / SHORT_CASE_PARTS, 2 * CLOSE_S))
    return min(middle, whole_s), min(CLOSE_S, whole_s)


def turned(window: Span, t: float, whole: Span) -> Span:
    """The window as it must stand for the playhead to be in it; the same one while it is."""
    if window.start <= t <= window.start + PAGE_FROM * window.duration:
        return window
    return placed(t, PAGE_TO, window.duration, whole)


def placed(t: float, share: float, width: float, whole: Span) -> Span:
    """A window of this width with `t` at a share of it, kept within the whole case where it fits."""
    width = min(width, whole.duration)
    start = min(max(t - share * width, whole.start), whole.end - width)
    return Span(start, start + width)


class BracketedView(StripsView):
    """Strips with the windows of narrower views drawn as brackets."""

    _ARM = 7  # pixels
    _LEAST = 6  # a window narrower than this is no more than the playhead

    def __init__(self, parent: QWidget | None = None, *, theme: Theme = PAPER) -> None:
        super().__init__(parent, theme=theme)
        self._brackets: tuple[Span, ...] = ()
        self._ink = QColor(theme.ink)

    @property
    def brackets(self) -> tuple[Span, ...]:
        """Windows that are drawn."""
        return self._brackets

    def set_brackets(self, windows: Sequence[Span]) -> None:
        """Draw these windows; only the narrow columns where brackets stand are painted again."""
        wanted = tuple(windows)
        if wanted == self._brackets:
            return
        for window in {*self._brackets, *wanted}:
            for t in (window.start, window.end):
                self.update(int(self.x_at(t)) - self._ARM - 2, 0, 2 * self._ARM + 4, self.height())
        self._brackets = wanted

    def axis_bounds(self) -> tuple[float, float]:
        """Where the time axis begins and ends, in pixels."""
        return self.x_at(self.span.start), self.x_at(self.span.end)

    def paintEvent(self, event: QPaintEvent) -> None:
        """The strips, then the brackets over them."""
        super().paintEvent(event)
        if not self._brackets:
            return
        painter = QPainter(self)
        painter.setClipRegion(event.region())
        painter.setPen(QPen(self._ink, 2))
        low, high = self.axis_bounds()
        top, bottom = 2, self.height() - 26  # above the labels of the axis
        for window in self._brackets:
            a, b = self.x_at(window.start), self.x_at(window.end)
            if b - a < self._LEAST or b < low or a > high:
                continue
            reach = min(self._ARM, (b - a) / 3)
            for x, arm in ((a, reach), (b, -reach)):
                if low - 1 <= x <= high + 1:
                    painter.drawLine(QLineF(x, top, x, bottom))
                    painter.drawLine(QLineF(x, top, x + arm, top))
                    painter.drawLine(QLineF(x, bottom, x + arm, bottom))
        painter.end()


class _Titled(QWidget):
    """A view under a line that says which it is, how wide it is, and which strips it shows.

    Signals
    -------
    hidden_changed(titles)
        Titles of the strips that the person took out of this view.
    resized()
        More or fewer strips may have room now.
    """

    hidden_changed = Signal(list)
    resized = Signal()

    def __init__(self, title: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.title = title
        self.view = BracketedView(self)
        self.view.setAccessibleName(title)
        self.hidden: set[str] = set()
        self.left_out = 0
        self._width = 0.0
        self.head = QLabel(title, self)
        self.head.setProperty("heading", True)
        self.chooser = QToolButton(self)
        self.chooser.setText("Strips")
        self.chooser.setToolTip(f"Choose which strips the {title} shows")
        self.chooser.setAccessibleName(f"Strips of the {title}")
        self.chooser.setProperty("small", True)
        self.chooser.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.chooser.setMenu(QMenu(self.chooser))
        row = QHBoxLayout()
        row.setContentsMargins(0, 0, 16, 0)
        row.addWidget(self.head, 1)
        row.addWidget(self.chooser)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addLayout(row)
        layout.addWidget(self.view, 1)

    def show_width(self, span: Span) -> None:
        """Say how wide the window is, and whether strips had no room."""
        self._width = span.duration
        more = "strip" if self.left_out == 1 else "strips"
        left_out = f"   ({self.left_out} more {more} where there is room)" if self.left_out else ""
        self.head.setText(f"{self.title}, {length(span.duration)}{left_out}")

    def choose(self, strips: Sequence[Strip]) -> list[Strip]:
        """Strips that the person wants, as many from the top as stay high enough to be read."""
        wanted = [strip for strip in strips if strip.title not in self.hidden] or list(strips)
        room = max(2, (self.view.height() - OTHER_ROOM) // STRIP_ROOM)
        self.left_out = max(0, len(wanted) - room)
        self.show_width(Span(0.0, self._width))
        return wanted[:room]

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Say that there is more or less room."""
        super().resizeEvent(event)
        self.resized.emit()

    def offer(self, titles: Sequence[str]) -> None:
        """Offer these strips to be shown or hidden."""
        menu = self.chooser.menu()
        menu.clear()
        for title in titles:
            action = menu.addAction(title)
            action.setCheckable(True)
            action.setChecked(title not in self.hidden)
            action.toggled.connect(lambda shown, title=title: self._toggle(title, shown))

    def _toggle(self, title: str, shown: bool) -> None:
        (self.hidden.discard if shown else self.hidden.add)(title)
        self.hidden_changed.emit(sorted(self.hidden))


USUALLY_HIDDEN: tuple[frozenset[str], ...] = (
    frozenset({"Venous and pulmonary", "Line pressure", "Haemoglobin", "Reservoir volume", "Heart rate"}),
    frozenset({"Temperature", "Haemoglobin", "Heart rate"}),
    frozenset(
        {"Temperature", "Saturation", "Haemoglobin", "Reservoir volume", "Heart rate", "Line pressure"}
    ),
)
"""Strips that Long, Middle and Close view leave out until they are chosen: slow rows say nothing in half a
minute, and eight strips in a third of a screen are too low to read (this project's choice)."""


class ThreeViews(QWidget):
    """The ladder and the three views, linked to each other and to the playhead.

    Signals
    -------
    span_selected(start, end)
        A span was drawn in one of the views.
    picked(object)
        A bar of a lane was clicked: the mark, find, phase or note.
    strips_changed()
        Other strips are shown or hidden.
    """

    span_selected = Signal(float, float)
    picked = Signal(object)
    strips_changed = Signal()

    def __init__(self, playhead: Playhead, face: ClockFace, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._playhead = playhead
        self._face = face
        self._case: Case | None = None
        self._strips: list[Strip] = []
        self._whole = Span(0.0, 1.0)
        self._follow_from: int | None = None
        self._shown: dict[str, list[str]] = {}
        self.ladder = PhaseLadder(face, self)
        self.boxes = tuple(_Titled(title, self) for title in ("Long view", "Middle view", "Close view"))
        self.views = tuple(box.view for box in self.boxes)
        self.long, self.middle, self.close_up = self.views
        self.splitter = QSplitter(Qt.Orientation.Vertical, self)
        self.splitter.setChildrenCollapsible(False)
        for number, (box, usually) in enumerate(zip(self.boxes, USUALLY_HIDDEN, strict=True)):
            box.hidden = set(usually)
            self.splitter.addWidget(box)
            self.splitter.setStretchFactor(number, 1)
            box.hidden_changed.connect(self._show_strips)
            box.hidden_changed.connect(self.strips_changed)
            box.resized.connect(lambda box=box: self._fit(box))
            box.view.scrubbed.connect(lambda t, number=number: self._scrub(number, t))
            box.view.zoomed.connect(lambda _, number=number: self._zoomed(number))
            box.view.span_selected.connect(self._selected)
            box.view.picked.connect(self.picked)
        self.splitter.setSizes([300, 340, 240])
        self.ladder.set_axis(self.long.axis_bounds)
        self.ladder.jumped.connect(self.jump)
        playhead.moved.connect(self._moved)
        face.changed.connect(self._write_times)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2)
        layout.addWidget(self.ladder)
        layout.addWidget(self.splitter, 1)

    # -- what is shown ------------------------------------------------------------------------------

    def set_case(self, case: Case | None) -> None:
        """Show a case from its start; None empties the views."""
        self._case = case
        self._strips = [] if case is None else strips_of(case)
        self._whole = case.span if case is not None and case.span.duration > 0 else Span(0.0, 1.0)
        self.ladder.set_phases([])
        for box in self.boxes:
            chosen = box.choose(self._strips)
            self._shown[box.title] = [strip.title for strip in chosen]
            box.view.set_case(case, chosen)
            box.offer([strip.title for strip in self._strips])
        self._write_times()
        self.reset()

    def set_phases(self, phases: Sequence[Phase]) -> None:
        """Phases for the ladder; the views have no lane of their own for what stands right above them."""
        self.ladder.set_phases(phases)

    def set_finds(self, finds: Sequence[Find]) -> None:
        """Finds for the lanes; seconds that an artefact covers are hatched on its channels."""
        masked: dict[str, list[tuple[float, float]]] = {}
        for find in finds:
            for channel in (
                self._case.channels if self._case is not None and find.code.startswith("A") else ()
            ):
                if channel.name in find.channels:
                    masked.setdefault(channel.id, []).append((find.start_s, find.end_s))
        for view in self.views:
            view.set_finds(finds)
            view.set_masked(masked)

    def set_marks(self, marks: Sequence[Mark]) -> None:
        """Marks for the lanes."""
        for view in self.views:
            view.set_marks(marks)

    def set_notes(self, notes: Sequence[TimedNote]) -> None:
        """Lines of text for a lane of the Middle view; in the others they have no room to be read."""
        self.middle.set_notes(notes)

    def refresh_case(self, case: Case) -> None:
        """The same case after an edit."""
        self._case, self._strips = case, strips_of(case)
        self._whole = case.span
        self._shown.clear()
        self._show_strips()

    def hidden_strips(self) -> list[list[str]]:
        """Titles taken out of each view, to be remembered."""
        return [sorted(box.hidden) for box in self.boxes]

    def set_hidden_strips(self, hidden: Sequence[Sequence[str]]) -> None:
        """Take these strips out of the views."""
        for box, titles in zip(self.boxes, hidden, strict=False):
            box.hidden = set(titles)
        self._show_strips()

    def _show_strips(self, *_: object) -> None:
        for box in self.boxes:
            self._fit(box)

    def _fit(self, box: _Titled) -> None:
        chosen = box.choose(self._strips)
        titles = [strip.title for strip in chosen]
        if self._case is not None and titles != self._shown.get(box.title):
            self._shown[box.title] = titles
            box.view.replace_case(self._case, chosen)

    def _write_times(self) -> None:
        for view in self.views:
            view.set_time_text(self._face.writer)
        self.ladder.update()

    # -- windows ------------------------------------------------------------------------------------

    def reset(self) -> None:
        """The whole case, half an hour, half a minute."""
        t = self._playhead.time
        middle, close = usual_widths(self._whole.duration)
        self._set_window(0, self._whole)
        self._set_window(1, placed(t, 0.5, middle, self._whole))
        self._set_window(2, placed(t, 0.5, close, self._whole))

    def zoom_middle(self, factor: float) -> None:
        """Make the Middle view's window `factor` times as wide, around the playhead."""
        window = self.middle.span
        width = min(
            max(window.duration * factor, self.close_up.span.duration, NARROWEST_S), self._whole.duration
        )
        t = min(max(self._playhead.time, window.start), window.end)
        share = (t - window.start) / window.duration
        self._set_window(1, placed(t, share, width, self._whole))

    def jump(self, t: float) -> None:
        """Go to a time: it comes to stand in the middle of the narrower views."""
        self._go(0, t)

    def _scrub(self, number: int, t: float) -> None:
        self._go(number, t)

    def _go(self, number: int, t: float) -> None:
        """Move the playhead from view `number`: narrower ones centre on it, wider ones keep it in sight."""
        self._follow_from = number
        try:
            self._playhead.seek(t)
        finally:
            self._follow_from = None
        self._follow(number)

    def _moved(self, t: float) -> None:
        for view in self.views:
            view.set_playhead(t)
        self.ladder.set_playhead(t)
        if self._follow_from is None:
            self._follow(None)

    def _follow(self, number: int | None) -> None:
        t = self._playhead.time
        for index, view in enumerate(self.views):
            window = view.span
            if number is not None and index > number:
                self._set_window(index, placed(t, 0.5, window.duration, self._whole))
            elif number is None or index < number:
                self._set_window(index, turned(window, t, self._whole))

    def _zoomed(self, number: int) -> None:
        self._set_window(number, self.views[number].span)

    def _set_window(self, number: int, window: Span) -> None:
        self.views[number].set_span(window)
        self.boxes[number].show_width(window)
        if number == 0:
            self.ladder.set_span(window)
        self.long.set_brackets((self.middle.span, self.close_up.span) if self._case is not None else ())
        self.middle.set_brackets((self.close_up.span,) if self._case is not None else ())

    def _selected(self, start: float, end: float) -> None:
        self.show_selected(Span(start, end))
        self.span_selected.emit(start, end)

    def show_selected(self, span: Span | None) -> None:
        """Show a chosen stretch in all views."""
        for view in self.views:
            view.set_selected(span)

    def image(self) -> QImage:
        """The ladder and the views as one picture, at the screen's own dots."""
        return self.grab().toImage()
