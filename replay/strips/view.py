"""The widget that shows strips: one window of one case, a line of now, and the mouse.

Painting goes straight to the screen when the window moves. When only the line of now moves, the picture is
kept and two narrow columns of it are painted again (measured: 0.1 ms against 4 ms).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import Enum, auto
from typing import TYPE_CHECKING, Final

from afterclamp.io.case import Case, Span
from PySide6.QtCore import QEvent, QPoint, QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPixmap, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QToolTip, QWidget

from .axis import TimeText
from .courses import masked_stretches
from .envelope import Flags, Floats, Grain
from .hover import bar_tip, strip_tip
from .lanes import Bar, lanes_of
from .layout import Strip, strips_of
from .painter import Picture, paint_strips
from .theme import PAPER, Theme

if TYPE_CHECKING:
    from afterclamp.annotate.marks import Mark
    from afterclamp.annotate.phase_model import Phase
    from afterclamp.annotate.rules import Find
    from afterclamp.io.case import TimedNote

__all__ = ["StripsView", "paint_strips"]

SHORTEST_S: Final = 0.5
"""No window is shorter than this."""

_ZOOM_A_NOTCH: Final = 1.25
_NOTCH: Final = 120.0  # what a wheel reports for one notch
_HANDLE: Final = 6  # logical pixels that the playhead's handle reaches to either side
_CLICK_ROOM: Final = 3  # a pointer that moved less than this has clicked


class _Drag(Enum):
    SCRUB = auto()
    SELECT = auto()
    PAN = auto()


class StripsView(QWidget):
    """A stack of strips over one window of time.

    Signals
    -------
    scrubbed(float)
        Reference seconds that a person clicked or dragged to.
    span_selected(float, float)
        Start and end of the stretch that was drawn with shift held down.
    zoomed(Span)
        The window after the wheel, or after the time axis was dragged. The view shows it already.
    picked(object)
        What the clicked bar of a lane was made from.
    """

    scrubbed = Signal(float)
    span_selected = Signal(float, float)
    zoomed = Signal(object)
    picked = Signal(object)

    def __init__(self, parent: QWidget | None = None, *, theme: Theme = PAPER) -> None:
        super().__init__(parent)
        # Every pixel is painted here: nothing behind it needs to be.
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._picture = Picture(theme)
        self._span = Span(0.0, 1.0)
        self._playhead: float | None = None
        self._selected: Span | None = None
        self._items: dict[str, Sequence[object]] = {"phases": (), "finds": (), "marks": (), "notes": ()}
        self._still: QPixmap | None = None
        self._drag: _Drag | None = None
        self._pressed_at = QPointF()
        self._drag_span = self._span
        self._picture.arrange(
            max(1, self.width()), max(1, self.height()), self._span, Grain.of_screen(self.devicePixelRatioF())
        )

    # -- what is shown ------------------------------------------------------------------------------

    def set_case(self, case: Case | None, strips: Sequence[Strip] | None = None) -> None:
        """Show a case, from its start to its end; without `strips`, those of `strips_of`."""
        shown = strips if strips is not None else strips_of(case) if case is not None else ()
        self._picture.masked = {}
        self._items = dict.fromkeys(self._items, ())
        self._picture.show(case, shown, ())
        self._selected = None
        if case is not None and case.span.duration > 0:
            self._span = case.span
        self._refresh()

    def replace_case(self, case: Case, strips: Sequence[Strip] | None = None) -> None:
        """Show another view of the same case (an edit, another horizon) and keep window and lanes."""
        self._picture.show(case, strips if strips is not None else strips_of(case), self._picture.lanes)
        self._refresh()

    @property
    def span(self) -> Span:
        """The window shown."""
        return self._span

    def set_span(self, span: Span) -> None:
        """Show another window; emits nothing."""
        if span != self._span and span.end > span.start:
            self._span = span
            self._still = None
            self._arrange()
            # The margin stays, but for half a label of the axis.
            left = self._picture.places.left - 4 * self._picture.theme.text
            self.update(left, 0, self.width() - left, self.height())

    @property
    def playhead(self) -> float | None:
        """Where the line of now stands, in reference seconds."""
        return self._playhead

    def set_playhead(self, t: float | None) -> None:
        """Move the line of now; only two narrow columns are painted again."""
        if t == self._playhead:
            return
        for moment in (self._playhead, t):
            if moment is not None:
                self.update(self._playhead_box(moment))
        self._playhead = t

    @property
    def selected(self) -> Span | None:
        """The chosen stretch."""
        return self._selected

    def set_selected(self, span: Span | None) -> None:
        """Choose a stretch, or none; emits nothing."""
        if span != self._selected:
            self._selected = span
            self.update()

    def set_marks(self, marks: Sequence[Mark | Bar]) -> None:
        """Marks for their lane."""
        self._set_items("marks", marks)

    def set_finds(self, finds: Sequence[Find | Bar]) -> None:
        """Finds for their lane."""
        self._set_items("finds", finds)

    def set_phases(self, phases: Sequence[Phase | Bar]) -> None:
        """Phases for their lane."""
        self._set_items("phases", phases)

    def set_notes(self, notes: Sequence[TimedNote | Bar]) -> None:
        """Notes for their lane."""
        self._set_items("notes", notes)

    def set_masked(self, masked: Mapping[str, Flags | Floats | Sequence[tuple[float, float]]] | None) -> None:
        """Masked seconds by channel id: flags over the case's grid, or (start, end) pairs."""
        self._picture.masked = masked_stretches(self._picture.case, masked)
        self._refresh()

    def set_theme(self, theme: Theme) -> None:
        """Another ground or size of type."""
        self._picture.set_theme(theme)
        self._refresh()

    def set_time_text(self, text: TimeText) -> None:
        """How times are written."""
        self._picture.time_text = text
        self._refresh()

    # -- where things are ---------------------------------------------------------------------------

    def time_at(self, x: float) -> float:
        """Reference seconds at a place, in logical pixels from the left edge of the widget."""
        self._arrange()
        picture = self._picture
        grain = picture.grain
        column = int(x * grain.down - round(picture.places.left * grain.down)) // grain.dots
        return picture.scale.middle(min(max(column, 0), picture.scale.columns - 1))

    def x_at(self, t: float) -> float:
        """Left edge, in logical pixels, of the column that holds a moment."""
        self._arrange()
        return self._picture.x_of(t)

    def sizeHint(self) -> QSize:
        """A usual size."""
        return QSize(1200, 600)

    def minimumSizeHint(self) -> QSize:
        """Room for the margin and something beside it."""
        return QSize(320, 80)

    # -- painting -----------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint what is asked for: everything anew, or pieces of the picture that stands."""
        painter = QPainter(self)
        wanted = event.rect()
        if self._still is None and wanted.width() > self.width() // 2:
            self._picture.paint(painter, self.width(), self.height(), self._span)
        else:
            still = self._standing_picture()
            ratio = still.devicePixelRatio()
            for piece in event.region():  # type: ignore[attr-defined]  # missing in its stubs
                source = QRectF(
                    piece.x() * ratio, piece.y() * ratio, piece.width() * ratio, piece.height() * ratio
                )
                painter.drawPixmap(QRectF(piece), still, source)
        painter.setClipRegion(event.region())
        if self._selected is not None:
            self._picture.paint_selection(painter, self._selected)
        if self._playhead is not None:
            self._picture.paint_playhead(painter, self._playhead)
        painter.end()

    def _standing_picture(self) -> QPixmap:
        if self._still is None:
            ratio = self.devicePixelRatioF()
            self._still = QPixmap(round(self.width() * ratio), round(self.height() * ratio))
            self._still.setDevicePixelRatio(ratio)
            painter = QPainter(self._still)
            self._picture.paint(painter, self.width(), self.height(), self._span)
            painter.end()
        return self._still

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The picture that stood no longer fits."""
        self._still = None
        super().resizeEvent(event)

    def event(self, event: QEvent) -> bool:
        """A screen with other dots needs another picture."""
        if event.type() == QEvent.Type.DevicePixelRatioChange:
            self._refresh()
        return super().event(event)

    def _refresh(self) -> None:
        self._still = None
        self._arrange()
        self.update()

    def _arrange(self) -> None:
        self._picture.arrange(
            max(1, self.width()), max(1, self.height()), self._span, Grain.of_screen(self.devicePixelRatioF())
        )

    def _set_items(self, name: str, items: Sequence[object]) -> None:
        self._items[name] = tuple(items)
        picture = self._picture
        picture.show(picture.case, picture.strips, lanes_of(**self._items))  # type: ignore[arg-type]
        self._refresh()

    def _playhead_box(self, t: float) -> QRect:
        x = int(self.x_at(t))
        return QRect(x - _HANDLE, 0, 2 * _HANDLE + 2, self.height())

    # -- the mouse ----------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin to scrub, to select (shift) or to slide the window (on the time axis)."""
        self._arrange()
        places = self._picture.places
        if event.button() != Qt.MouseButton.LeftButton or self._picture.case is None:
            event.ignore()
            return
        self._pressed_at = event.position()
        self._drag_span = self._span
        if event.position().y() >= places.axis[0]:
            self._drag = _Drag.PAN
        elif event.position().x() < places.left:
            event.ignore()
        elif event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            self._drag = _Drag.SELECT
        else:
            bar = self._bar_at(event.position())
            if bar is not None and bar.origin is not None:
                self.picked.emit(bar.origin)
                return
            self._drag = _Drag.SCRUB
            self.scrubbed.emit(self.time_at(event.position().x()))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Go on with what was begun, or say what is under the pointer."""
        if self._drag is None:
            self._show_tip(event.position(), event.globalPosition().toPoint())
        elif self._drag is _Drag.SCRUB:
            self.scrubbed.emit(self.time_at(event.position().x()))
        elif self._drag is _Drag.SELECT:
            self.set_selected(self._drawn_span(event.position()))
        else:
            self._pan_to(event.position())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """End it; a stretch that was drawn is handed on."""
        if event.button() != Qt.MouseButton.LeftButton:
            return
        drag, self._drag = self._drag, None
        if drag is _Drag.SELECT:
            if abs(event.position().x() - self._pressed_at.x()) < _CLICK_ROOM:
                self.set_selected(None)
                return
            chosen = self._drawn_span(event.position())
            self.set_selected(chosen)
            self.span_selected.emit(chosen.start, chosen.end)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom around the pointer; sideways, or with shift, slide."""
        case = self._picture.case
        if case is None:
            event.ignore()
            return
        turn = event.angleDelta()
        sideways = turn.x() or (turn.y() if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 0)
        if sideways:
            shift = -sideways / _NOTCH * 0.1 * self._span.duration
            self._take(Span(self._span.start + shift, self._span.end + shift), case)
        elif turn.y():
            self._arrange()
            places = self._picture.places
            share = (event.position().x() - places.left) / (places.right - places.left)
            share = min(max(share, 0.0), 1.0)
            length = self._span.duration * _ZOOM_A_NOTCH ** (-turn.y() / _NOTCH)
            length = min(max(length, SHORTEST_S), max(case.span.duration, SHORTEST_S))
            fixed = self._span.start + share * self._span.duration
            self._take(Span(fixed - share * length, fixed + (1 - share) * length), case)
        event.accept()

    def _pan_to(self, position: QPointF) -> None:
        case, places = self._picture.case, self._picture.places
        if case is None:
            return
        per_pixel = self._drag_span.duration / (places.right - places.left)
        shift = (self._pressed_at.x() - position.x()) * per_pixel
        self._take(Span(self._drag_span.start + shift, self._drag_span.end + shift), case)

    def _take(self, span: Span, case: Case) -> None:
        """Show a window, moved so that it lies within the case, and tell."""
        length = span.duration
        start = min(max(span.start, case.span.start), max(case.span.start, case.span.end - length))
        inside = Span(start, start + length)
        if inside != self._span:
            self.set_span(inside)
            self.zoomed.emit(inside)

    def _drawn_span(self, position: QPointF) -> Span:
        ends = sorted((self.time_at(self._pressed_at.x()), self.time_at(position.x())))
        half = self._picture.scale.second_per_column / 2
        return Span(ends[0] - half, ends[1] + half)  # whole columns

    def _bar_at(self, position: QPointF) -> Bar | None:
        picture = self._picture
        found = picture.places.lane_at(position.y(), picture.lanes)
        if found is None or position.x() < picture.places.left:
            return None
        lane, row = found
        return picture.lanes[lane].at(self.time_at(position.x() - 4), self.time_at(position.x() + 4), row)

    def _show_tip(self, position: QPointF, on_screen: QPoint) -> None:
        self._arrange()
        picture = self._picture
        text = ""
        if picture.case is not None and picture.places.left <= position.x() < picture.places.right:
            bar = self._bar_at(position)
            number = picture.places.strip_at(position.y())
            if bar is not None:
                text = bar_tip(bar, picture.time_text)
            elif number is not None:
                t = self.time_at(position.x())
                text = strip_tip(picture.strips[number], t, picture.scale, picture.grain, picture.time_text)
        if text:
            QToolTip.showText(on_screen, text, self)
        else:
            QToolTip.hideText()
