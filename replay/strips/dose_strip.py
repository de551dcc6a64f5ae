"""Dose strip: how deep a measure lies outside one limit, over the axis of the Long view.

A bar stands as high and as dark as the second is deep, so that the colour is not the only sign. What was left out
by design is plain ground under a bracket, what is masked is hatched, what is missing is an empty outline.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from afterclamp.annotate.dose import (
    EXCLUDED,
    INSIDE,
    MASKED,
    MISSING,
    NOT_LOOKED_AT,
    OUTSIDE,
    Dose,
)
from afterclamp.io.case import Span
from numpy.typing import NDArray
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFocusEvent,
    QFontMetrics,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPixmap,
)
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from .dose_colours import STEPS, depth_colours, round_up, step_of
from .envelope import flagged_runs
from .margin import text_font
from .theme import PAPER, Theme
from .time_axis import OnTimeAxis

if TYPE_CHECKING:
    from collections.abc import Iterable

BAR: Final = 20  # pixels of height of the bars
LEAST_BAR: Final = 0.3  # of that height, which the shallowest second has: a second must not vanish
LEGEND: Final = 52  # pixels of the scale of depths
TITLE_FROM: Final = 26  # pixels from the left, which a button may stand in
_SAYS: Final = {EXCLUDED: "left out", MASKED: "masked as artefact", MISSING: "not recorded", INSIDE: "inside"}

_FIRST: Final = (OUTSIDE, MASKED, MISSING, EXCLUDED, INSIDE, NOT_LOOKED_AT)
"""Which state a pixel shows that holds several: what is rarest and counts most, first."""


@dataclass(frozen=True, slots=True)
class DoseWords:
    """What a strip says of itself.

    Attributes
    ----------
    title : str
        Measure, part of the case, limit, area, minutes of observed.
    unit, area_unit : str
        Of depth and of area, as people write them.
    limit : str
        ``50 mmHg``.
    """

    title: str
    unit: str
    area_unit: str
    limit: str


class DoseStrip(OnTimeAxis):
    """One figure drawn out over time, in step with the Long view.

    Signals
    -------
    jumped(t)
        The person clicked here, or pressed Enter to go to the next stretch outside.
    """

    jumped = Signal(float)

    def __init__(
        self,
        dose: Dose,
        words: DoseWords,
        time_text: Callable[[float], str],
        parent: QWidget | None = None,
        theme: Theme = PAPER,
    ) -> None:
        super().__init__(parent)
        self.dose = dose
        self.words = words
        self.full = round_up(dose.deepest)
        self.arrests: Sequence[tuple[float, float]] = ()
        self._running = dose.running
        self._time_text = time_text
        self._theme = theme
        self._playhead = 0.0
        self._picture: tuple[object, QPixmap] | None = None
        self.setAccessibleName(f"Dose strip: {words.title}")
        self.setAccessibleDescription(
            "Depth outside the limit over time. Enter goes to the next stretch outside it."
        )
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    # -- what is shown ------------------------------------------------------------------------------

    def set_span(self, span: Span) -> None:
        """The window of the Long view."""
        self._span = span
        self.update()

    def set_arrests(self, arrests: Iterable[tuple[float, float]]) -> None:
        """Planned arrests, to be named where they were left out."""
        self.arrests = tuple(arrests)
        self.update()

    def set_playhead(self, t: float) -> None:
        """Move the line of now."""
        if t != self._playhead:
            for moment in (self._playhead, t):
                self.update(int(self._x(moment)) - 2, 0, 5, self.height())
            self._playhead = t

    def tip(self, t: float) -> str:
        """Time, depth or state at a moment, and the area up to there."""
        i = self.dose.index(t)
        if i < 0 or self.dose.state[i] == NOT_LOOKED_AT:
            return f"{self._time_text(t)}\nnot in the part of the case that this limit is for"
        state = int(self.dose.state[i])
        side = "above" if self.dose.above else "below"
        what = (
            f"{_depth(float(self.dose.depth[i]))} {self.words.unit} {side} {self.words.limit}"
            if state == OUTSIDE
            else f"{_SAYS[state]}{', an arrest' if state == EXCLUDED and self._in_arrest(t) else ''}"
        )
        total = f"{_area(float(self._running[i]))} of {_area(self.dose.area)} {self.words.area_unit}"
        return f"{self._time_text(t)}\n{what}\narea up to here: {total}"

    def _in_arrest(self, t: float) -> bool:
        return any(start <= t < end for start, end in self.arrests)

    # -- geometry -----------------------------------------------------------------------------------

    def sizeHint(self) -> QSize:
        """A line of words over the bars."""
        return QSize(400, self._words_height + BAR + 5)

    def minimumSizeHint(self) -> QSize:
        """As high as it wants to be."""
        return QSize(120, self.sizeHint().height())

    @property
    def _words_height(self) -> int:
        return QFontMetrics(self.font()).height()

    def columns(self, count: int) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
        """State and depth of each of so many columns of the window.

        A column shows the deepest of its seconds: a short stretch must not vanish in a long one.
        """
        state = np.full(count, NOT_LOOKED_AT, np.uint8)
        deepest = np.zeros(count)
        at = self._span.start + np.arange(count + 1) * (self._span.duration / max(count, 1)) - self.dose.start
        first = np.floor(at[:-1] + 1e-9).astype(np.intp)
        last = np.maximum(np.ceil(at[1:] - 1e-9).astype(np.intp), first + 1)
        inside = (first >= 0) & (last <= self.dose.state.size)
        if not inside.any():
            return state, deepest
        edges = np.column_stack([first[inside], last[inside]]).ravel()
        depth = np.append(np.nan_to_num(self.dose.depth), 0.0)
        deepest[inside] = np.maximum.reduceat(depth, edges)[::2]
        for one in reversed(_FIRST):
            has = np.append(self.dose.state == one, False)
            state[np.flatnonzero(inside)[np.logical_or.reduceat(has, edges)[::2]]] = one
        return state, deepest

    # -- painting -----------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """What stands still as a picture, then the line of now."""
        left, right = self._bounds()
        painter = QPainter(self)
        painter.setClipRect(event.rect())
        painter.drawPixmap(0, 0, self._still(left, right))
        x, top = self._x(self._playhead), self._words_height + 2
        if left <= x <= right:
            painter.fillRect(QRectF(int(x), top, 1, BAR + 1), QColor(self._theme.playhead))
        if self.hasFocus():
            painter.setPen(QPen(QColor("#0072B2"), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def _still(self, left: float, right: float) -> QPixmap:
        """All but the line of now, drawn anew only where it is another picture: playing moves nothing else."""
        key = (self.size().toTuple(), self._span, left, right, self.arrests, self.devicePixelRatioF())
        if self._picture is not None and self._picture[0] == key:
            return self._picture[1]
        picture = QPixmap(self.size() * self.devicePixelRatioF())
        picture.setDevicePixelRatio(self.devicePixelRatioF())
        picture.fill(QColor(self._theme.margin))
        painter = QPainter(picture)
        painter.setFont(self.font())
        top = float(self._words_height + 2)
        self._paint_words(painter, left, right)
        state, depth = self.columns(max(int(right - left), 0))
        for a, b in flagged_runs(state != NOT_LOOKED_AT):
            painter.fillRect(QRectF(left + a, top, b - a, BAR), QColor(self._theme.ground))
        self._paint_bars(painter, state, depth, left, top)
        self._paint_masked(painter, state == MASKED, left, top)
        self._paint_missing(painter, state == MISSING, left, top)
        self._paint_left_out(painter, state == EXCLUDED, left, top)
        painter.setPen(QPen(QColor(self._theme.rule), 1))
        painter.drawLine(QPointF(left, top + BAR + 0.5), QPointF(right, top + BAR + 0.5))
        painter.end()
        self._picture = (key, picture)
        return picture

    def _paint_words(self, painter: QPainter, left: float, right: float) -> None:
        metrics = self.fontMetrics()
        side = "above" if self.dose.above else "below"
        end = f"{self.full:g} {self.words.unit} {side}"
        needed = LEGEND + metrics.horizontalAdvance(f"0{end}") + 12
        words = QRectF(TITLE_FROM, 1, right - TITLE_FROM - needed - 12, self._words_height)
        painter.setPen(QColor(self._theme.ink))
        painter.drawText(
            words,
            Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter,
            metrics.elidedText(self.words.title, Qt.TextElideMode.ElideRight, int(words.width())),
        )
        painter.setPen(QColor(self._theme.soft_ink))
        box = QRectF(6, self._words_height + 2, left - 12, BAR)
        painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, "Dose")
        x = right - needed
        painter.drawText(QPointF(x, metrics.ascent() + 1), "0")
        x += metrics.horizontalAdvance("0") + 4
        middle = 1 + self._words_height / 2
        for number, colour in enumerate(depth_colours(self._theme)):
            tall = self._tall((number + 1) / STEPS) * 10 / BAR
            painter.fillRect(
                QRectF(x + number * LEGEND / STEPS, middle + 5 - tall, LEGEND / STEPS + 0.5, tall),
                QColor(colour),
            )
        painter.drawText(QPointF(x + LEGEND + 4, metrics.ascent() + 1), end)

    @staticmethod
    def _tall(share: float) -> float:
        return BAR * (LEAST_BAR + (1 - LEAST_BAR) * min(share, 1.0))

    def _paint_bars(
        self,
        painter: QPainter,
        state: NDArray[np.uint8],
        depth: NDArray[np.float64],
        left: float,
        top: float,
    ) -> None:
        colours = [QColor(one) for one in depth_colours(self._theme)]
        step = np.where(state == OUTSIDE, step_of(depth, self.full), -1)
        edges = np.flatnonzero(np.diff(step, prepend=-2, append=-2))
        for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            if step[a] >= 0:
                tall = self._tall(step[a] / (STEPS - 1))
                painter.fillRect(QRectF(left + a, top + BAR - tall, b - a, tall), colours[step[a]])

    def _paint_masked(self, painter: QPainter, flags: NDArray[np.bool_], left: float, top: float) -> None:
        for a, b in flagged_runs(flags):
            box = QRectF(left + a, top, max(b - a, 1), BAR)
            painter.fillRect(box, QColor(self._theme.hatch))
            painter.fillRect(box, QBrush(QColor(self._theme.masked), Qt.BrushStyle.BDiagPattern))

    def _paint_missing(self, painter: QPainter, flags: NDArray[np.bool_], left: float, top: float) -> None:
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(self._theme.soft_ink), 1, Qt.PenStyle.DotLine))
        for a, b in flagged_runs(flags):
            painter.drawRect(QRectF(left + a + 0.5, top + 0.5, max(b - a - 1, 0), BAR - 2))
            self._write(painter, ("not recorded",), QRectF(left + a, top, b - a, BAR))

    def _paint_left_out(self, painter: QPainter, flags: NDArray[np.bool_], left: float, top: float) -> None:
        ink = QColor(self._theme.soft_ink)
        for a, b in flagged_runs(flags):
            painter.setPen(QPen(ink, 1))
            low, high, y = left + a + 0.5, left + b - 0.5, top + 2.5
            painter.drawLine(QPointF(low, y), QPointF(high, y))
            for x in (low, high):
                painter.drawLine(QPointF(x, y), QPointF(x, y + 4))
            box = QRectF(left + a, top + 3, b - a, BAR - 3)
            arrest = self._in_arrest(self._t(left + (a + b) / 2))
            self._write(painter, ("arrest, left out", "arrest") if arrest else ("left out",), box)

    def _write(self, painter: QPainter, choice: Sequence[str], box: QRectF) -> None:
        """The first of these words that a box has the room for, a little smaller than the rest; or none."""
        font = painter.font()
        painter.setFont(text_font(self._theme, 0.85))
        metrics = QFontMetrics(painter.font())
        for words in choice:
            if metrics.horizontalAdvance(words) + 4 <= box.width():
                painter.setPen(QColor(self._theme.soft_ink))
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
                break
        painter.setFont(font)

    # -- hands --------------------------------------------------------------------------------------

    def event(self, event: QEvent) -> bool:
        """What is under the pointer, in words."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            left, right = self._bounds()
            if left <= event.pos().x() <= right and event.pos().y() > self._words_height:
                QToolTip.showText(event.globalPos(), self.tip(self._t(event.pos().x())), self)
            else:
                QToolTip.showText(event.globalPos(), self.words.title, self)
            return True
        return super().event(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Go to the time under the pointer."""
        left, right = self._bounds()
        if event.button() == Qt.MouseButton.LeftButton and left <= event.position().x() <= right:
            self.jumped.emit(self._t(event.position().x()))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter goes to the next stretch outside the limit, round again after the last."""
        if event.key() not in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            super().keyPressEvent(event)
            return
        starts = [start for start, _ in self.dose.stretches(OUTSIDE)]
        if starts:
            self.jumped.emit(next((t for t in starts if t > self._playhead + 0.05), starts[0]))

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Show that the keyboard is here."""
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Show that the keyboard has gone."""
        super().focusOutEvent(event)
        self.update()


def _depth(value: float) -> str:
    return f"{value:.0f}" if value >= 100 else f"{value:.1f}" if value >= 1 else f"{value:.2g}"


def _area(value: float) -> str:
    return f"{value:.0f}" if value >= 100 else f"{value:.1f}" if value >= 10 else f"{value:.2f}"
