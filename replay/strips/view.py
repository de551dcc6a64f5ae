"""The widget that shows strips and takes what mouse and keyboard want of them."""

from __future__ import annotations

from enum import Enum, auto
from typing import Final

from afterclamp.io.case import Case, Span
from PySide6.QtCore import QPoint, QPointF, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QWheelEvent
from PySide6.QtWidgets import QToolTip, QWidget

from .hover import bars_tip, margin_tip, strip_tip
from .lanes import Bar
from .over import outside
from .painter import paint_strips
from .surface import StripsSurface
from .theme import PAPER, Theme

__all__ = ["StripsView", "paint_strips"]

SHORTEST_S: Final = 0.5
"""No window is shorter than this."""

_ZOOM_A_NOTCH: Final = 1.25
_NOTCH: Final = 120.0  # what a wheel reports for one notch
_KEY_STEPS: Final[dict[int, tuple[float, float]]] = {
    Qt.Key.Key_Left: (-0.2, 1.0),
    Qt.Key.Key_Right: (0.2, 1.0),
    Qt.Key.Key_Up: (0.0, 1 / _ZOOM_A_NOTCH),
    Qt.Key.Key_Down: (0.0, _ZOOM_A_NOTCH),
}  # share of the window to slide by, factor to zoom by
_PAGE_KEYS: Final[dict[int, int]] = {Qt.Key.Key_PageUp: -1, Qt.Key.Key_PageDown: 1}
_CLICK_ROOM: Final = 3  # a pointer that moved less than this has clicked


class _Drag(Enum):
    SCRUB = auto()
    SELECT = auto()
    PAN = auto()


class StripsView(StripsSurface):
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
    scrolled(int)
        Strips to go down by, up where negative: by the wheel over the margin, or by key.
    """

    scrubbed = Signal(float)
    span_selected = Signal(float, float)
    zoomed = Signal(object)
    picked = Signal(object)
    scrolled = Signal(int)

    def __init__(self, parent: QWidget | None = None, *, theme: Theme = PAPER) -> None:
        super().__init__(parent, theme=theme)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._drag: _Drag | None = None
        self._pressed_at = QPointF()
        self._drag_span = self._span

    # -- the mouse ----------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin to scrub, to select (shift) or to slide the window (on the time axis, or the middle button)."""
        self._arrange()
        places = self._picture.places
        buttons = (Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton)
        if event.button() not in buttons or self._picture.case is None or self._drag is not None:
            event.ignore()
            return
        self._pressed_at = event.position()
        self._drag_span = self._span
        if event.button() == Qt.MouseButton.MiddleButton or event.position().y() >= places.axis[0]:
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
        if event.button() not in (Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton):
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
        """Zoom around the pointer; sideways, or with shift, slide; over the margin go through the strips."""
        if self._picture.case is None:
            event.ignore()
            return
        turn = event.angleDelta()
        sideways = turn.x() or (turn.y() if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 0)
        self._arrange()
        places = self._picture.places
        if sideways:
            self.slide(-sideways / _NOTCH * 0.1)
        elif turn.y() and event.position().x() < places.left:
            self.scrolled.emit(-1 if turn.y() > 0 else 1)
        elif turn.y():
            share = (event.position().x() - places.left) / (places.right - places.left)
            self.zoom(_ZOOM_A_NOTCH ** (-turn.y() / _NOTCH), min(max(share, 0.0), 1.0))
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Alt with an arrow slides or zooms this view and no other, with Page Up or Down it goes through strips."""
        alt = bool(event.modifiers() & Qt.KeyboardModifier.AltModifier)
        step = _KEY_STEPS.get(event.key()) if alt else None
        if alt and event.key() in _PAGE_KEYS:
            self.scrolled.emit(_PAGE_KEYS[event.key()])
        elif step is None or self._picture.case is None:
            super().keyPressEvent(event)
        elif step[0]:
            self.slide(step[0])
        else:
            t, span = self._playhead, self._span
            inside = t is not None and span.start <= t <= span.end
            # Around the playhead where it is in sight, else around the middle.
            self.zoom(step[1], (t - span.start) / span.duration if inside and t is not None else 0.5)

    def slide(self, share: float) -> None:
        """Slide the window by a share of its width, later where positive, within the case, and tell."""
        shift, case = share * self._span.duration, self._picture.case
        if case is not None:
            self._take(Span(self._span.start + shift, self._span.end + shift), case)

    def zoom(self, factor: float, share: float) -> None:
        """Make the window `factor` times as wide around what lies at a share of it, and tell."""
        case = self._picture.case
        if case is None:
            return
        length = self._span.duration * factor
        length = min(max(length, SHORTEST_S), max(case.span.duration, SHORTEST_S))
        fixed = self._span.start + share * self._span.duration
        self._take(Span(fixed - share * length, fixed + (1 - share) * length), case)

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
        found = self._bars_at(position)
        return found[0] if found else None

    def _bars_at(self, position: QPointF) -> list[Bar]:
        """Bars of the lane under the pointer, the shortest first."""
        picture = self._picture
        found = picture.places.lane_at(position.y(), picture.lanes)
        if found is None or position.x() < picture.places.left:
            return []
        lane, row = found
        return picture.lanes[lane].all_at(self.time_at(position.x() - 4), self.time_at(position.x() + 4), row)

    def _show_tip(self, position: QPointF, on_screen: QPoint) -> None:
        self._arrange()
        picture = self._picture
        places, text = picture.places, ""
        if picture.case is not None and position.x() < places.right:
            bars, sign = self._bars_at(position), None
            if self._playhead is not None:
                sign = outside(picture, self._playhead)
            number = places.strip_at(position.y())
            if sign is not None and sign.box.contains(position) and self._playhead is not None:
                text = f"The playhead stands at {picture.time_text.write(self._playhead, 1)}, outside this window"
            elif bars:
                text = bars_tip(bars, picture.time_text)
            elif number is not None and position.x() < places.left:
                text = margin_tip(picture.strips[number])
            elif number is not None:
                t = self.time_at(position.x())
                text = strip_tip(
                    picture.strips[number],
                    t,
                    picture.scale,
                    picture.grain,
                    picture.time_text,
                    picture.reasons,
                    raw=picture.raw,
                )
        if text:
            QToolTip.showText(on_screen, text, self)
        else:
            QToolTip.hideText()
