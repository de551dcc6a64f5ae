"""One way to paint strips, for the screen, for pictures and for pages."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import numpy as np
from afterclamp.io.case import Case, Span
from PySide6.QtCore import QLineF, QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QImage, QPainter, QPixmap

from . import over, page, raster, signs
from .axis import FROM_START, TimeText, TimeTicks, time_ticks
from .courses import Course, course_of, masked_stretches
from .envelope import Flags, Floats, Grain, TimeScale, ValueScale
from .envelope import Picture as Pixels
from .frame import Frame
from .hatch import Patch, patches_of
from .lane_paint import paint_lane
from .lanes import Bar, Lane, lanes_of, within
from .layout import Strip
from .lines import draw_samples, draw_thread
from .margin import measurer, paint_margin, text_font, ticks_of
from .places import places_of
from .theme import PAPER, Theme

if TYPE_CHECKING:
    from afterclamp.annotate.marks import Mark
    from afterclamp.annotate.masking import MaskedSpan
    from afterclamp.annotate.phase_model import Phase
    from afterclamp.annotate.rules import Find
    from afterclamp.io.case import TimedNote

_PAGE: Final = Grain(2.0, 2.0)  # a page is drawn at 192 columns and rows an inch
_AXIS_TEXT: Final = 0.88  # of ordinary text

NO_CASE: Final = "No case is open. Open one, or drop a folder with exports here."
NO_CHANNELS: Final = "This case holds no recorded channel."


def paint_strips(
    painter: QPainter,
    rect: QRectF | QRect,
    case: Case | None,
    span: Span,
    strips: Sequence[Strip],
    *,
    theme: Theme = PAPER,
    marks: Sequence[Mark | Bar] = (),
    finds: Sequence[Find | Bar] = (),
    phases: Sequence[Phase | Bar] = (),
    notes: Sequence[TimedNote | Bar] = (),
    playhead: float | None = None,
    selected: Span | None = None,
    masked: Mapping[str, Flags | Floats | Sequence[tuple[float, float]]] | None = None,
    time_text: TimeText = FROM_START,
    vector: bool = False,
) -> None:
    """Paint a stack of strips with lanes, margin and time axis into a rectangle.

    Parameters
    ----------
    painter : QPainter
        On a widget, a picture, or (with `vector`) a page of any resolution.
    rect : QRectF or QRect
        Where, in the painter's own units.
    case : Case or None
        What is shown; None, or one without channels, gives a sentence instead.
    span : Span
        Window in reference seconds.
    strips : sequence of Strip
        From `layout.strips_of`, all or some of them.
    theme : Theme
        Colours and size of type.
    marks, finds, phases, notes : sequences
        For the lanes; a kind without any has no lane.
    playhead : float, optional
        Where the line of now stands, in reference seconds.
    selected : Span, optional
        A chosen stretch.
    masked : mapping, optional
        By channel id: a flag for each second of ``case.grid``, or (start, end) pairs in reference seconds.
    time_text : TimeText
        How times are written.
    vector : bool
        Lines and polygons only, in sizes that are true at the device's dots an inch.
    """
    picture = Picture(theme)
    lanes = lanes_of(phases=phases, finds=finds, marks=marks, notes=notes)
    picture.show(case, strips, [part for lane in lanes if (part := within(lane, span)) is not None])
    picture.masked = masked_stretches(case, masked)
    picture.time_text = time_text
    box = QRectF(rect)
    painter.save()
    painter.translate(box.topLeft())
    width, height = box.width(), box.height()
    if vector:
        # A page counts in its own dots; sizes here are meant at 96 an inch.
        present = painter.deviceTransform().m11() or 1.0
        growth = painter.device().logicalDpiX() / 96.0 / present
        painter.scale(growth, growth)
        width, height = width / growth, height / growth
    picture.paint(painter, int(width), int(height), span, vector=vector)
    if selected is not None:
        over.paint_selection(painter, picture, selected)
    if playhead is not None:
        over.paint_playhead(painter, picture, playhead)
    painter.restore()


class Picture:
    """What stays the same from one window to the next, so that a frame costs only what moves.

    Attributes
    ----------
    theme : Theme
        Colours and sizes.
    masked, lighter : dict
        Masked stretches by channel id, and those of which the mean or the pulse can be used.
    reasons : mapping of str to sequence of MaskedSpan
        Why, by channel id, for the tip under the pointer.
    raw : bool
        Whether what is masked is drawn like everything else.
    state : str
        Which of the two it is, beside the time axis; empty on the paper, whose words say so.
    time_text : TimeText
        How times are written.
    places : Places
        Where everything stood when it was last painted.
    scale : TimeScale
        The window of that.
    grain : Grain
        How finely that was drawn.
    """

    def __init__(self, theme: Theme) -> None:
        self.theme = theme
        self.masked: dict[str, Floats] = {}
        self.lighter: dict[str, Floats] = {}
        self.reasons: Mapping[str, Sequence[MaskedSpan]] = {}
        self.raw, self.state = False, ""
        self.time_text = FROM_START
        self.case: Case | None = None
        self.strips: tuple[Strip, ...] = ()
        self.lanes: tuple[Lane, ...] = ()
        self.grain = Grain()
        self.scale = TimeScale(0, 1.0, 1)
        self.places = places_of(1, 1, (), (), theme)
        self._margin: tuple[object, QPixmap] | None = None
        self._arranged: tuple[int, int, Span, Grain] | None = None  # what places and scale were settled for
        self._set_axis_font()
        self._pixels = np.empty(0, np.uint32)

    def show(self, case: Case | None, strips: Sequence[Strip], lanes: Sequence[Lane]) -> None:
        """Take another case, other strips or other lanes."""
        self.case, self.strips, self.lanes = case, tuple(strips), tuple(lanes)
        self._margin = self._arranged = None

    def set_theme(self, theme: Theme) -> None:
        """Take another look."""
        self.theme = theme
        self._set_axis_font()
        self._margin = self._arranged = None

    def _set_axis_font(self) -> None:
        self._axis_font = text_font(self.theme, _AXIS_TEXT)
        self._axis_ascent = QFontMetricsF(self._axis_font).ascent()
        self._measure = measurer(self._axis_font)
        self._titled: tuple[object, tuple[str, float]] | None = None

    def arrange(self, width: int, height: int, span: Span, grain: Grain) -> None:
        """Settle places and scale for a picture of this size, without painting."""
        wanted, settled = (width, height, span, grain), self._arranged
        if wanted == settled:
            return
        self._arranged = wanted
        self.grain = grain
        if settled is None or settled[:2] != (width, height):
            self.places = places_of(width, height, self.strips, self.lanes, self.theme)
        room = self.dots(self.places.right) - self.dots(self.places.left)
        columns = max(1, room // grain.dots)
        self.scale = TimeScale.of(span.start, max(span.end, span.start + 1e-6), columns)

    def x_of(self, t: float) -> float:
        """Left edge, in logical pixels, of the column that holds a moment."""
        return (self.dots(self.places.left) + self.scale.column(t) * self.grain.dots) / self.grain.down

    def paint(self, painter: QPainter, width: int, height: int, span: Span, *, vector: bool = False) -> None:
        """Paint everything but the playhead and the selection, from the painter's origin on."""
        self.arrange(
            width, height, span, _PAGE if vector else Grain.of_screen(painter.device().devicePixelRatioF())
        )
        theme = self.theme
        if self.case is None or not self.strips:
            self._paint_empty(painter, width, height)
            return
        self._paint_margin(painter, vector)
        places = self.places
        self._paint_between(painter)
        ticks = time_ticks(
            self.scale.start, self.scale.end, places.right - places.left, self._measure, self.time_text
        )
        self._paint_axis(painter, ticks, vector)
        painter.setFont(text_font(theme, 0.85))
        for lane, (top, row_height) in zip(self.lanes, places.lanes, strict=True):
            self._clip(painter, top, row_height * lane.rows)
            paint_lane(
                painter, lane, places.left, top, row_height, self.scale, self.grain, theme, page=vector
            )
            painter.setClipping(False)
        for strip, (top, strip_height) in zip(self.strips, places.strips, strict=True):
            self._paint_strip(painter, strip, top, strip_height, ticks, vector)

    def dots(self, logical: float) -> int:
        """Device pixels up to a place in logical ones."""
        return round(logical * self.grain.down)

    def width_of(self, text: str) -> float:
        """Logical pixels that a text of the axis takes."""
        return self._measure(text)

    # -- parts --------------------------------------------------------------------------------------

    def _clip(self, painter: QPainter, top: float, height: float) -> None:
        painter.setClipRect(QRectF(self.places.left, top, self.places.right - self.places.left, height))

    def _paint_empty(self, painter: QPainter, width: int, height: int) -> None:
        painter.fillRect(QRectF(0, 0, width, height), QColor(self.theme.ground))
        painter.setFont(text_font(self.theme, 1.15))
        painter.setPen(QColor(self.theme.soft_ink))
        text = NO_CASE if self.case is None else NO_CHANNELS
        flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
        painter.drawText(QRectF(20, 0, max(1, width - 40), height), flags, text)

    def _paint_between(self, painter: QPainter) -> None:
        """Everything right of the margin that is no strip, in device pixels: no dot is left between."""
        places, colour = self.places, QColor(self.theme.margin)
        left, bottom = self.dots(places.left), self.dots(places.height) + 1
        right = max(self.dots(places.width) + 1, left)
        with self._device_pixels(painter):
            top = 0
            for strip_top, height in (*places.strips, (places.height + 1, 0)):
                painter.fillRect(left, top, right - left, self.dots(strip_top) - top, colour)
                top = self.dots(strip_top + height)
            drawn = left + self.scale.columns * self.grain.dots
            painter.fillRect(drawn, 0, right - drawn, bottom, colour)

    def _paint_margin(self, painter: QPainter, vector: bool) -> None:
        if vector:
            paint_margin(painter, self.places, self.strips, self.lanes, self.theme)
            return
        key = (self.places, self.grain)
        if self._margin is None or self._margin[0] != key:
            stored = QPixmap(self.dots(self.places.left), self.dots(self.places.height))
            stored.setDevicePixelRatio(self.grain.down)
            inner = QPainter(stored)
            paint_margin(inner, self.places, self.strips, self.lanes, self.theme)
            inner.end()
            stored.setDevicePixelRatio(1.0)
            self._margin = (key, stored)
        with self._device_pixels(painter):
            painter.drawPixmap(0, 0, self._margin[1])

    @contextmanager
    def _device_pixels(self, painter: QPainter) -> Iterator[None]:
        """Count in device pixels: an image of as many pixels is then copied, not scaled (three times as fast)."""
        transform = painter.worldTransform()
        painter.scale(1 / self.grain.down, 1 / self.grain.down)
        yield
        painter.setWorldTransform(transform)

    def _paint_axis(self, painter: QPainter, ticks: TimeTicks, page: bool) -> None:
        places, theme = self.places, self.theme
        top = places.axis[0]
        if page:
            lines = [(self.x_of(t), 3) for t in ticks.between] + [
                (self.x_of(t), 6) for t, _ in ticks.labelled
            ]
            painter.setPen(QColor(theme.rule))
            painter.drawLines([QLineF(x, top, x, top + length) for x, length in lines])
        else:
            self._paint_ticks(painter, [*ticks.between, *(t for t, _ in ticks.labelled)], 0, 3)
            self._paint_ticks(painter, [t for t, _ in ticks.labelled], 3, 3)
        painter.setFont(self._axis_font)
        painter.setPen(QColor(theme.soft_ink))
        baseline = top + 8 + self._axis_ascent
        title, title_end = self._axis_title()
        painter.drawText(QPointF(10, baseline), title)
        painter.fillRect(QRectF(places.left, top, places.right - places.left, 1), QColor(theme.rule))
        painter.setPen(QColor(theme.ink))
        for t, label in ticks.labelled:
            width = self._measure(label)
            x = self.x_of(t) - width / 2
            if x > title_end + 8 and x + width <= places.width - 2:
                painter.drawText(QPointF(x, baseline), label)

    def _paint_ticks(self, painter: QPainter, times: Sequence[float], down: int, length: int) -> None:
        """Ticks of one length as one row of pixels, stretched: a line for each takes five times as long."""
        columns = np.floor(self.scale.place(np.array(times, np.float64)) + 1e-6).astype(np.int64)
        row = np.zeros(self.scale.columns, np.uint32)
        row[columns[(columns >= 0) & (columns < len(row))]] = QColor(self.theme.rule).rgb()
        image = QImage(row.data, len(row), 1, len(row) * 4, QImage.Format.Format_ARGB32_Premultiplied)
        left = self.dots(self.places.left) / self.grain.down
        box = QRectF(left, self.places.axis[0] + down, len(row) / self.grain.across, length)
        painter.drawImage(box, image)

    def _axis_title(self) -> tuple[str, float]:
        """What stands beside the time axis, and where it ends."""
        whole, room = " · ".join(filter(None, [self.state, self.time_text.title])), self.places.left - 40
        if self._titled is None or self._titled[0] != (whole, room):
            text = QFontMetricsF(self._axis_font).elidedText(whole, Qt.TextElideMode.ElideRight, room)
            self._titled = ((whole, room), (text, 10 + self._measure(text)))
        return self._titled[1]

    def _paint_strip(
        self, painter: QPainter, strip: Strip, top: int, height: int, ticks: TimeTicks, vector: bool
    ) -> None:
        grain = self.grain
        first_row, last_row = self.dots(top), self.dots(top + height)
        left = self.dots(self.places.left)
        frame = Frame(
            left=left / grain.down,
            top=first_row / grain.down,
            width=self.scale.columns / grain.across,
            height=(last_row - first_row) / grain.down,
            scale=self.scale,
            values=ValueScale(*strip.y_range, max(2, last_row - first_row)),
            grain=grain,
            theme=self.theme,
        )
        courses = [
            course_of(trace, self.scale, grain, self.masked.get(name), self.lighter.get(name))
            for trace, name in ((trace, trace.channel.id) for trace in strip.traces)
        ]
        by_columns = [course for course in courses if course.mode != "samples"]
        hatched = patches_of(courses, frame)
        times, at_values = [t for t, _ in ticks.labelled], ticks_of(strip, height, self.theme)
        if vector:
            painter.setClipRect(frame.box)
            page.draw_ground(painter, frame, times, at_values)
            page.draw_hatch(painter, hatched, frame)
            page.draw_courses(painter, by_columns, frame)
        else:
            with self._device_pixels(painter):
                if by_columns or hatched:
                    self._copy_pixels(painter, frame, by_columns, hatched, times, at_values)
                else:
                    self._fill_ground(painter, frame, times, at_values)
            painter.setClipRect(frame.box)
        if not vector:
            for course in courses:
                draw_thread(painter, course, frame)
        for course in courses:
            if course.mode == "samples":
                draw_samples(painter, course, frame, page=vector)
            elif course.trace.pattern in ("up", "down"):
                signs.draw_far_triangles(painter, course, frame)
        signs.draw_beyond(painter, courses, frame)
        signs.draw_limits(painter, strip.limits, frame)
        signs.draw_tags(painter, courses, frame)
        signs.draw_unset(painter, strip, frame)
        if all(course.empty for course in courses):
            signs.draw_nothing_here(painter, frame)
        painter.setClipping(False)

    def _copy_pixels(
        self,
        painter: QPainter,
        frame: Frame,
        courses: Sequence[Course],
        hatched: Sequence[Patch],
        times: Sequence[float],
        at_values: Sequence[float],
    ) -> None:
        """Ground, hatch and the traces that are drawn by columns, in device pixels."""
        pixels = self._room(frame.values.rows, frame.scale.columns)
        raster.draw_strip(pixels, courses, frame, hatched, times, at_values)
        width = frame.scale.columns * frame.grain.dots
        image = QImage(pixels.data, width, frame.values.rows, width * 4, QImage.Format.Format_RGB32)
        painter.drawImage(self.dots(frame.left), self.dots(frame.top), image)

    def _fill_ground(
        self, painter: QPainter, frame: Frame, times: Sequence[float], at_values: Sequence[float]
    ) -> None:
        """Ground and grid lines alone, in device pixels: quicker than a copy where nothing else is in it."""
        left, top, rows = self.dots(frame.left), self.dots(frame.top), frame.values.rows
        dots = frame.grain.dots
        width = frame.scale.columns * dots
        grid = QColor(self.theme.grid)
        painter.fillRect(left, top, width, rows, QColor(self.theme.ground))
        for column in frame.grid_columns(times):
            painter.fillRect(left + column * dots, top, dots, rows, grid)
        for row in frame.grid_rows(at_values):
            painter.fillRect(left, top + row, width, 1, grid)

    def _room(self, rows: int, columns: int) -> Pixels:
        """Pixels for one strip, the same memory each time."""
        dots = rows * columns * self.grain.dots
        if len(self._pixels) < dots:
            self._pixels = np.empty(dots, np.uint32)
        return self.grain.room(self._pixels, rows, columns)
