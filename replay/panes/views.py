"""Long, Middle and Close view under the phase ladder and the trust strip: one case at three widths, moving together.

The Long view shows the whole case, the Middle view half an hour of it, the Close view half a minute. The
window of a narrower view stands as brackets in the wider ones. Scrubbing in a view moves the playhead;
the narrower views follow it, the view under the hand stays where it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from afterclamp.annotate.finds import Find
from afterclamp.annotate.marks import Mark
from afterclamp.annotate.masking import MaskedSpan
from afterclamp.annotate.phase_model import Phase
from afterclamp.io.case import Case, Span, TimedNote
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QSplitter, QVBoxLayout, QWidget

from ..playhead import Playhead
from ..strips.layout import Strip, strips_of
from .clock_face import ClockFace
from .dose_pane import DosePane
from .ladder import PhaseLadder
from .phase_sums import PhaseSums
from .titled_view import TitledView
from .trust_strip import TrustStripPane

MIDDLE_S = 1800.0
CLOSE_S = 30.0
NARROWEST_S = 2.0
SHORT_CASE_PARTS = 3  # in a case too short for half an hour the Middle view shows this part of it

WAVE_GROWTH = (0.65, 0.8, 1.6)
"""How much of its usual height a wave needs in Long, Middle and Close view at least: a course is seen in a low
strip, single beats are not (this project's choice)."""

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


USUALLY_HIDDEN: tuple[frozenset[str], ...] = (
    frozenset({"Venous and pulmonary", "Line pressure", "Haemoglobin", "Reservoir volume", "Heart rate"}),
    frozenset({"Temperature", "Haemoglobin", "Heart rate"}),
    frozenset(
        {"Temperature", "Saturation", "Haemoglobin", "Reservoir volume", "Heart rate", "Line pressure"}
    ),
)
"""Strips that Long, Middle and Close view leave out until they are chosen: slow rows say nothing in half a
minute, and eight strips in a third of a screen are too low to read (this project's choice)."""

USUAL_SHARES = (230, 290, 330)
"""How the height is shared out at first start: single beats need more of it than a case at a glance."""


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
        self._shown: dict[str, list[Strip]] = {}
        self._ladder_span: Span | None = None
        self.ladder = PhaseLadder(face, self)
        self.sums = PhaseSums(face, self)
        self.trust = TrustStripPane(face, self)
        self.boxes = (
            TitledView("Long view", WAVE_GROWTH[0], self),
            TitledView("Middle view", WAVE_GROWTH[1], self),
            TitledView("Close view", WAVE_GROWTH[2], self),
        )
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
            box.room_changed.connect(lambda box=box: self._fit(box))
            box.view.scrubbed.connect(lambda t, number=number: self._scrub(number, t))
            box.view.zoomed.connect(lambda _, number=number: self._zoomed(number))
            box.view.span_selected.connect(self._selected)
            box.view.picked.connect(self.picked)
        self.splitter.setSizes(list(USUAL_SHARES))
        self.ladder.set_axis(self.long.axis_bounds)
        self.ladder.jumped.connect(self.jump)
        self.dose = DosePane(face, self)
        self.dose.set_axis(self.long.axis_bounds)
        self.dose.jumped.connect(self.jump)
        self.trust.set_axis(self.long.axis_bounds)
        self.trust.jumped.connect(self.jump)
        playhead.moved.connect(self._moved)
        face.changed.connect(self._write_times)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2)
        layout.addWidget(self.ladder)
        layout.addWidget(self.sums)
        layout.addWidget(self.trust)
        layout.addWidget(self.splitter, 1)
        layout.addWidget(self.dose)

    # -- what is shown ------------------------------------------------------------------------------

    def set_case(self, case: Case | None) -> None:
        """Show a case from its start; None empties the views."""
        self._case = case
        self._strips = [] if case is None else strips_of(case)
        self._whole = case.span if case is not None and case.span.duration > 0 else Span(0.0, 1.0)
        self.ladder.set_phases([])
        self.sums.set_phases([])
        self.trust.set_strip(None)
        for box in self.boxes:
            chosen = box.choose(self._strips)
            self._shown[box.title] = chosen
            box.view.set_case(case, chosen)
            box.offer([strip.title for strip in self._strips])
        self._write_times()
        self.reset()

    def set_phases(self, phases: Sequence[Phase]) -> None:
        """Phases for the ladder; the views have no lane of their own for what stands right above them."""
        self.ladder.set_phases(phases)
        self.sums.set_phases(phases)
        self.dose.set_phases(phases)

    def set_finds(self, finds: Sequence[Find]) -> None:
        """Finds that nobody set aside, for the lanes and for what is summed of them."""
        self.sums.set_finds(finds)
        for view in self.views:
            view.set_finds(finds)
        self._show_strips()

    def set_masked(
        self,
        drawn: Mapping[str, Sequence[MaskedSpan]],
        reasons: Mapping[str, Sequence[MaskedSpan]],
        *,
        raw: bool,
    ) -> None:
        """Hatch whole seconds that are masked, by channel id; a gap is a gap, and told of under the pointer.

        Parameters
        ----------
        drawn : mapping of str to sequence of MaskedSpan
            What is hatched.
        reasons : mapping of str to sequence of MaskedSpan
            What is told of: also what is left in.
        raw : bool
            Whether artefacts and hidden seconds are left in; said beside each time axis.
        """
        full, light = (
            {
                name: [one.seconds for one in spans if one.light is lightly and one.there != "nothing"]
                for name, spans in drawn.items()
            }
            for lightly in (False, True)
        )
        for view in self.views:
            view.set_masked(full, light)
            view.set_reasons(reasons, raw=raw)

    def set_shaded(self, spans: Sequence[Span]) -> None:
        """Tint stretches in all views, the runs of a chosen figure for instance; none takes the tint away."""
        for view in self.views:
            view.set_shaded(spans)

    def set_marks(self, marks: Sequence[Mark]) -> None:
        """Marks for the lanes, and for the row of the clamp."""
        self.ladder.set_marks(marks)
        for view in self.views:
            view.set_marks(marks)
        self._show_strips()

    def set_notes(self, notes: Sequence[TimedNote]) -> None:
        """Lines of text for a lane of the Middle view; in the others they have no room to be read."""
        self.ladder.set_notes(notes)
        self.sums.set_notes(notes)
        self.middle.set_notes(notes)
        self._show_strips()

    def refresh_case(self, case: Case) -> None:
        """The same case after an edit. With other clocks it may begin or end elsewhere.

        A view that showed all of it does so again; any other stays where it is, but never beyond the ends.
        """
        before, self._whole = self._whole, case.span if case.span.duration > 0 else Span(0.0, 1.0)
        self._case, self._strips = case, strips_of(case)
        self._shown.clear()
        self._show_strips()
        if self._whole == before:
            return
        for number, view in enumerate(self.views):
            window = view.span
            if window == before:
                window = self._whole
            self._set_window(number, placed(window.start, 0.0, window.duration, self._whole))

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

    def _fit(self, box: TitledView) -> None:
        chosen = box.choose(self._strips)
        if self._case is not None and chosen != self._shown.get(box.title):
            self._shown[box.title] = chosen
            box.view.replace_case(self._case, chosen)

    def _write_times(self) -> None:
        for view in self.views:
            view.set_time_text(self._face.writer)
        self.ladder.update()
        self.trust.update()

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
        self.dose.set_playhead(t)
        self.trust.set_playhead(t)
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
        view = self.views[number]
        view.set_span(window)
        self.boxes[number].show_width(window)
        if number == 0 and window != self._ladder_span:
            self._ladder_span = window
            self.ladder.set_span(window)
            self.dose.set_span(window)
            self.trust.set_window(window)
        shown = self._case is not None
        self.long.set_brackets((self.middle.span, self.close_up.span) if shown else ())
        self.middle.set_brackets((self.close_up.span,) if shown else ())

    def _selected(self, start: float, end: float) -> None:
        self.show_selected(Span(start, end))
        self.span_selected.emit(start, end)

    def show_selected(self, span: Span | None) -> None:
        """Show a chosen stretch in all views."""
        self.ladder.set_selected(span)
        self.trust.set_stretch(span)
        for view in self.views:
            view.set_selected(span)

    def image(self) -> QImage:
        """The ladder and the views as one picture, at the screen's own dots."""
        return self.grab().toImage()
