"""The rows of the trust strip as they are painted: lines with their quality, and the bars of what is believed."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from afterclamp.annotate.quality import CLASS_WORDS, NOTHING
from afterclamp.annotate.site_changes import SiteChange, changes_words
from afterclamp.annotate.trust import TrustStrip
from afterclamp.annotate.trust_rules import TrustSpan
from afterclamp.io.case import Span
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFocusEvent, QPainter, QPaintEvent, QPen, QPixmap, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from ..strips.theme import PAPER, Theme
from ..strips.time_axis import OnTimeAxis
from .clock_face import ClockFace
from .trust_edits import Edge, edges
from .trust_paint import QUALITY, paint_bar, paint_edge, paint_quality, paint_selection, runs_of
from .trust_sign import TrustSign

REACH = 4  # pixels from a boundary at which it is taken hold of


class TrustRows(OnTimeAxis):
    """What is shown of a trust strip, in step with the Long view; `trust_strip` adds the hands.

    Attributes
    ----------
    strip : TrustStrip or None
    row : int
        The chosen line.
    stretch : Span or None
        The selected stretch.
    changes : list of SiteChange
        Figures that another line would change.
    """

    def __init__(self, face: ClockFace, parent: QWidget | None = None, theme: Theme = PAPER) -> None:
        super().__init__(parent)
        self.strip: TrustStrip | None = None
        self.row = 0
        self.stretch: Span | None = None
        self.changes: list[SiteChange] = []
        self._begun: float | None = None
        self._face, self._theme = face, theme
        self._playhead = 0.0
        self._held: tuple[Edge, float] | None = None  # a boundary in the hand, and where it is
        self._picture: QPixmap | None = None
        self._runs: list[list[tuple[int, int, int]]] = []
        self.sign = TrustSign(self)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    # -- what is shown ------------------------------------------------------------------------------

    def set_strip(self, strip: TrustStrip | None) -> None:
        """Show another strip; None while nothing is known yet."""
        if strip is self.strip:
            return
        kept = self.line
        if strip is None or self.strip is None or strip.lines is not self.strip.lines:
            self._runs = [runs_of(one.classes) for one in strip.lines] if strip is not None else []
        self.strip, self._held = strip, None
        names = [one.name for one in strip.lines] if strip is not None else []
        wanted = kept if kept in names else strip.base if strip is not None else ""
        self.row = names.index(wanted) if wanted in names else 0
        if strip is None:
            self.stretch = self._begun = None
        self.updateGeometry()
        self._redraw()

    def set_changes(self, changes: Sequence[SiteChange]) -> None:
        """Figures that another line would change: told by the sign."""
        self.changes = list(changes)
        self.sign.tell(changes_words(self.changes), [one.sentence for one in self.changes])
        self._place_sign()
        self.update()

    def set_window(self, window: Span) -> None:
        """The window of the Long view."""
        self._span = window
        self._redraw()

    def set_axis(self, axis: Callable[[], tuple[float, float]]) -> None:
        """Where the Long view's time axis begins and ends, in pixels of this widget."""
        super().set_axis(axis)
        self._redraw()

    def set_stretch(self, stretch: Span | None) -> None:
        """The stretch that is selected in the views."""
        self.stretch = stretch
        self.update()

    def set_playhead(self, t: float) -> None:
        """Move the line of now."""
        if t == self._playhead:
            return
        for moment in (self._playhead, t):
            self.update(int(self._x(moment)) - 2, 0, 5, self.height())
        self._playhead = t
        self.update(0, int(self._foot().top()), self.width(), self.height())

    @property
    def line(self) -> str:
        """Name of the chosen line; empty where there is none."""
        lines = self.strip.lines if self.strip is not None else ()
        return lines[self.row].name if self.row < len(lines) else ""

    def span_at(self, t: float) -> TrustSpan | None:
        """What is believed at a time."""
        spans = self.strip.spans if self.strip is not None else ()
        return next((one for one in spans if one.start_s <= t < one.end_s), None)

    def _redraw(self) -> None:
        self._picture = None
        self.update()

    # -- geometry -----------------------------------------------------------------------------------

    @property
    def _row_height(self) -> int:
        return self.fontMetrics().height() + QUALITY - 3

    @property
    def _rows(self) -> int:
        return len(self.strip.lines) if self.strip is not None else 0

    def sizeHint(self) -> QSize:
        """As high as its rows, and a line of words."""
        return QSize(400, self._rows * self._row_height + self.fontMetrics().height() + 6)

    def minimumSizeHint(self) -> QSize:
        """As high as its rows."""
        return self.sizeHint()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The rows have another width."""
        super().resizeEvent(event)
        self._redraw()
        self._place_sign()

    def _place_sign(self) -> None:
        foot = self._foot()
        size = self.sign.sizeHint()
        self.sign.setGeometry(
            int(foot.right()) - size.width(), int(foot.top()), size.width(), int(foot.height())
        )

    def _foot(self) -> QRectF:
        left, right = self._bounds()
        top = self._rows * self._row_height + 3
        return QRectF(left, top, right - left, self.fontMetrics().height() + 2)

    def _row_at(self, y: float) -> int | None:
        row = int((y - 2) // self._row_height)
        return row if 0 <= row < self._rows else None

    def bar_box(self, span: TrustSpan) -> QRectF:
        """Where the bar of a span is painted, within the window; empty where it has none."""
        names = [one.name for one in self.strip.lines] if self.strip is not None else []
        left, right = self._bounds()
        a, b = max(self._x(span.start_s), left), min(self._x(span.end_s), right)
        if span.line not in names or b <= a:
            return QRectF()
        top = 2 + names.index(span.line) * self._row_height
        return QRectF(a, top, max(b - a, 2.0), self._row_height - QUALITY - 2)

    def edge_at(self, x: float) -> Edge | None:
        """The boundary near a pixel, the nearest where several are."""
        every = edges(self.strip.spans if self.strip is not None else ())
        near = [one for one in every if abs(self._x(one.t) - x) <= REACH]
        return min(near, key=lambda one: abs(self._x(one.t) - x), default=None)

    # -- painting -----------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Rows, what is selected, a boundary in the hand, the line of now."""
        painter = QPainter(self)
        painter.setClipRegion(event.region())
        if self._picture is None:
            self._picture = self._painted()
        painter.drawPixmap(0, 0, self._picture)
        left, right = self._bounds()
        theme = self._theme
        self._paint_foot(painter)
        rows = QRectF(left, 0, right - left + 1, self.height())
        painter.setClipRect(rows, Qt.ClipOperation.IntersectClip)
        if self.stretch is not None and self.line:
            a, b = self._x(self.stretch.start), self._x(self.stretch.end)
            top = 1 + self.row * self._row_height
            paint_selection(painter, QRectF(a, top, max(b - a, 2.0), self._row_height), theme)
        if self._begun is not None:
            paint_edge(painter, self._x(self._begun), 0, self._rows * self._row_height, theme)
        if self._held is not None:
            paint_edge(painter, self._x(self._held[1]), 0, self._rows * self._row_height + 2, theme)
        painter.setPen(QPen(QColor(theme.playhead), 1))
        x = int(self._x(self._playhead))
        painter.drawLine(x, 0, x, int(self._foot().top()))
        painter.setClipRegion(event.region())
        if self.hasFocus():
            painter.setPen(QPen(QColor("#0072B2"), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
            top = 2 + self.row * self._row_height
            painter.fillRect(QRectF(3, top, 3, self._row_height - 3), QColor("#0072B2"))
        painter.end()

    def _painted(self) -> QPixmap:
        ratio = self.devicePixelRatioF()
        picture = QPixmap(self.size() * ratio)
        picture.setDevicePixelRatio(ratio)
        theme = self._theme
        picture.fill(QColor(theme.margin))
        painter = QPainter(picture)
        painter.setFont(self.font())
        left, right = self._bounds()
        height = self._row_height
        painter.fillRect(QRectF(left, 0, right - left, self._rows * height + 2), QColor(theme.ground))
        for number, line in enumerate(self.strip.lines if self.strip is not None else ()):
            painter.setClipping(False)
            box = QRectF(8, 2 + number * height, left - 14, height - 2)
            painter.setPen(QColor(theme.soft_ink))
            words = self.fontMetrics().elidedText(line.words, Qt.TextElideMode.ElideRight, int(box.width()))
            painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, words)
            painter.setPen(QPen(QColor(theme.grid), 1))
            painter.drawLine(
                QPointF(left, 1 + (number + 1) * height), QPointF(right, 1 + (number + 1) * height)
            )
            painter.setClipRect(QRectF(left, 0, right - left, self.height()))
            middle = (number + 1) * height - QUALITY / 2
            assert self.strip is not None
            paint_quality(painter, self._runs[number], self._x, self.strip.start, middle, theme)
        font = painter.font()
        font.setPixelSize(max(self.fontMetrics().height() - 6, 9))
        painter.setFont(font)
        painter.setClipRect(QRectF(left, 0, right - left, self.height()))
        before = ""
        for span in self.strip.spans if self.strip is not None else ():
            box = self.bar_box(span)
            said = f"{span.line} {span.standing} {span.by}"
            if not box.isEmpty():
                paint_bar(painter, box, span, theme, words=said != before)
            before = said
        painter.end()
        return picture

    def _paint_foot(self, painter: QPainter) -> None:
        """Why, at the playhead; or why there is nothing to show."""
        foot = self._foot()
        painter.setPen(QColor(self._theme.soft_ink))
        box, words = self.foot_words()
        painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, words)
        if box.left() > foot.left():
            painter.drawText(
                QRectF(8, foot.top(), foot.left() - 14, foot.height()),
                Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter,
                "trust",
            )

    def foot_words(self) -> tuple[QRectF, str]:
        """Where the sentence is written, a long one from the left edge, and as much of it as there is room for."""
        foot, metrics = self._foot(), self.fontMetrics()
        end = foot.right() - (self.sign.width() + 8 if self.sign.isVisible() else 0)
        whole, left = self.words(), foot.left() + 2
        if metrics.horizontalAdvance(whole) > end - left - 4:
            whole, left = f"trust: {whole}", 8.0
        words = metrics.elidedText(whole, Qt.TextElideMode.ElideRight, int(end - left) - 4)
        return QRectF(left, foot.top(), end - left, foot.height()), words

    def words(self) -> str:
        """The sentence under the rows."""
        if self.strip is None:
            return "which line is believed is not looked for yet"
        if self.strip.nothing and not self.strip.spans:
            return f"no line is believed: {self.strip.nothing}"
        span = self.span_at(self._playhead)
        return f"now {span.why}" if span is not None else ""

    def tip(self, row: int, t: float) -> str:
        """Line, class, and what is believed then with its reason and times."""
        if self.strip is None:
            return self.words()
        line, span = self.strip.lines[row], self.span_at(t)
        kind = self.strip.class_at(line.name, t)
        said = [f"{line.words} at {self._face.text(t)}: {CLASS_WORDS.get(kind, CLASS_WORDS[NOTHING])}"]
        if span is not None:
            said.append(f"{self._face.text(span.start_s)} to {self._face.text(span.end_s)}: {span.why}")
        return "\n".join(said)

    # -- keyboard -----------------------------------------------------------------------------------

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Show that the keyboard is here."""
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Show that the keyboard has gone."""
        super().focusOutEvent(event)
        self.update()
