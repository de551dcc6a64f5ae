"""The surface that shows strips: one window of one case, a line of now, what is chosen.

Painting goes straight to the screen when the window moves. When only the line of now moves, the picture is
kept and two narrow columns of it are painted again (measured: 0.1 ms against 4 ms).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from afterclamp.io.case import Case, Span
from PySide6.QtCore import QEvent, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPixmap, QResizeEvent
from PySide6.QtWidgets import QWidget

from .axis import TimeText
from .courses import masked_stretches
from .envelope import Flags, Floats, Grain
from .lanes import Bar, lanes_of
from .layout import Strip, strips_of
from .over import outside, paint_outside, paint_playhead, paint_selection, paint_shaded
from .painter import Picture
from .theme import PAPER, Theme

if TYPE_CHECKING:
    from afterclamp.annotate.marks import Mark
    from afterclamp.annotate.masking import MaskedSpan
    from afterclamp.annotate.phase_model import Phase
    from afterclamp.annotate.rules import Find
    from afterclamp.io.case import TimedNote

_HANDLE: Final = 6  # logical pixels that the playhead's handle reaches to either side


class StripsSurface(QWidget):
    """A stack of strips over one window of time, without hands."""

    def __init__(self, parent: QWidget | None = None, *, theme: Theme = PAPER) -> None:
        super().__init__(parent)
        # Every pixel is painted here: nothing behind it needs to be.
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self._picture = Picture(theme)
        self._span = Span(0.0, 1.0)
        self._playhead: float | None = None
        self._selected: Span | None = None
        self._shaded: tuple[Span, ...] = ()
        self._lane_rows = 4
        self._items: dict[str, Sequence[object]] = {"phases": (), "finds": (), "marks": (), "notes": ()}
        self._still: QPixmap | None = None
        self._picture.arrange(
            max(1, self.width()), max(1, self.height()), self._span, Grain.of_screen(self.devicePixelRatioF())
        )

    # -- what is shown ------------------------------------------------------------------------------

    def set_case(self, case: Case | None, strips: Sequence[Strip] | None = None) -> None:
        """Show a case, from its start to its end; without `strips`, those of `strips_of`."""
        shown = strips if strips is not None else strips_of(case) if case is not None else ()
        self._picture.masked, self._picture.lighter, self._picture.reasons = {}, {}, {}
        self._items = dict.fromkeys(self._items, ())
        self._picture.show(case, shown, ())
        self._selected, self._shaded = None, ()
        if case is not None and case.span.duration > 0:
            self._span = case.span
        self._refresh()

    def replace_case(self, case: Case, strips: Sequence[Strip] | None = None) -> None:
        """Show another view of the same case (an edit, another horizon) and keep window and lanes."""
        self._picture.show(case, strips if strips is not None else strips_of(case), self._picture.lanes)
        self._refresh()

    @property
    def strips(self) -> tuple[Strip, ...]:
        """The strips shown, from the top."""
        return self._picture.strips

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
            self._over()

    @property
    def shaded(self) -> tuple[Span, ...]:
        """Stretches that are tinted."""
        return self._shaded

    def set_shaded(self, spans: Sequence[Span]) -> None:
        """Tint all these stretches, those of a figure for instance; none takes the tint away."""
        wanted = tuple(spans)
        if wanted != self._shaded:
            self._shaded = wanted
            self._over()

    def set_lane_rows(self, most: int) -> None:
        """At most so many rows for each lane; bars beyond share the last one."""
        if most != self._lane_rows:
            self._lane_rows = most
            self._pack_lanes()

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

    def set_masked(
        self,
        masked: Mapping[str, Flags | Floats | Sequence[tuple[float, float]]] | None,
        lighter: Mapping[str, Flags | Floats | Sequence[tuple[float, float]]] | None = None,
    ) -> None:
        """Masked seconds by channel id: flags over the case's grid, or (start, end) pairs.

        Parameters
        ----------
        masked : mapping or None
            What is hatched and whose trace is grey.
        lighter : mapping or None
            What is hatched lightly: its mean or its pulse can be used.
        """
        picture = self._picture
        picture.masked = masked_stretches(picture.case, masked)
        picture.lighter = masked_stretches(picture.case, lighter)
        self._refresh()

    def set_reasons(self, reasons: Mapping[str, Sequence[MaskedSpan]], *, raw: bool = False) -> None:
        """Why stretches are masked, by channel id, for the tips; `raw`: they are told of and left in."""
        self._picture.reasons, self._picture.raw = reasons, raw
        self._picture.state = "raw" if raw else "masked"
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

    def how_many_fit(self, strips: Sequence[Strip]) -> int:
        """How many of these strips, from the first on, have the height they need; at least one."""
        self._arrange()
        places, growth = self._picture.places, self._picture.theme.growth
        room = float(places.axis[0] - places.top)
        for number, strip in enumerate(strips):
            room -= strip.least * growth
            if room < 0:
                return max(1, number)
            room -= places.gap
        return len(strips)

    def sizeHint(self) -> QSize:
        """A usual size."""
        return QSize(1200, 600)

    def minimumSizeHint(self) -> QSize:
        """Room for the margin and something beside it."""
        return QSize(320, 80)

    def place_of(self, number: int) -> tuple[int, int]:
        """Top and height of a strip, in logical pixels."""
        self._arrange()
        return self._picture.places.strips[number]

    @property
    def lane_rows(self) -> tuple[int, ...]:
        """Rows of each lane, from the top."""
        return tuple(lane.rows for lane in self._picture.lanes)

    # -- painting -----------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint what is asked for: everything anew, or pieces of the picture that stands."""
        painter = QPainter(self)
        picture, pieces = self._picture, list(event.region())  # type: ignore[call-overload]  # missing in its stubs
        if self._still is None and sum(piece.width() for piece in pieces) > self.width() // 2:
            picture.paint(painter, self.width(), self.height(), self._span)
        else:
            still = self._standing_picture()
            ratio = still.devicePixelRatio()
            for piece in pieces:
                source = QRectF(
                    piece.x() * ratio, piece.y() * ratio, piece.width() * ratio, piece.height() * ratio
                )
                painter.drawPixmap(QRectF(piece), still, source)
        painter.setClipRegion(event.region())
        if self._shaded:
            paint_shaded(painter, picture, self._shaded)
        if self._selected is not None:
            paint_selection(painter, picture, self._selected)
        if self._playhead is not None:
            sign = outside(picture, self._playhead)
            if sign is not None:
                paint_outside(painter, sign, picture.theme)
            else:
                paint_playhead(painter, picture, self._playhead)
        painter.end()

    def _over(self) -> None:
        """Paint again what lies over the picture, which stays."""
        if self._picture.strips:
            self._standing_picture()
        self.update()

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
        self._pack_lanes()

    def _pack_lanes(self) -> None:
        picture = self._picture
        lanes = lanes_of(**self._items, most_rows=self._lane_rows)  # type: ignore[arg-type]
        picture.show(picture.case, picture.strips, lanes)
        self._refresh()

    def _playhead_box(self, t: float) -> QRect:
        """Where the line of now is painted, or the sign that says where it lies outside the window."""
        self._arrange()
        sign = outside(self._picture, t)
        if sign is not None:
            return sign.box.toAlignedRect().adjusted(-1, -1, 1, 1)
        x = int(self._picture.x_of(t))
        return QRect(x - _HANDLE, 0, 2 * _HANDLE + 2, self.height())
