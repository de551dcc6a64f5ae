"""Phase ladder: the phases of the case as nested bars over the axis of the Long view."""

from __future__ import annotations

import math
from collections.abc import Sequence

from afterclamp.annotate.marks import Mark
from afterclamp.annotate.phase_model import Phase
from afterclamp.io.case import Span, TimedNote
from PySide6.QtCore import QEvent, QPoint, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QContextMenuEvent,
    QFocusEvent,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from ..strips.theme import PAPER, Theme
from ..strips.time_axis import OnTimeAxis
from .clamp_row import CLAMP, Moment
from .clock_face import ClockFace, length, plus_minus
from .phase_times import PhaseTimes
from .rung_drag import EdgeDrag, edge_at
from .rung_paint import paint_rung
from .rungs import LANES, NOT_SHOWN, Rung, lane_of, rung_of

HOW = (
    "Phases as nested bars. Up and Down choose a phase, Enter goes to its start, [ and ] set its start and its end "
    "at the playhead, the menu key shows what else there is. An end can be dragged; Esc leaves it where it was."
)
ALTERNATIVES_SHOWN = 4
_KEYS = {"[": "start", "i": "start", "]": "end", "o": "end"}
"""The keys of spans: on a chosen phase they set its own times."""


class PhaseLadder(OnTimeAxis):
    """Nested bars, one lane a level, in step with the Long view.

    Signals
    -------
    jumped(t)
        The person clicked here, or double-clicked a bar to go to its start.
    phase_set(payload)
        The person sets the times of a phase, or takes the clamp away: payload of a ``phase`` edit.
    said(text)
        A short word on what was done, or why not.
    """

    jumped = Signal(float)
    phase_set = Signal(dict)
    said = Signal(str)

    def __init__(self, face: ClockFace, parent: QWidget | None = None, theme: Theme = PAPER) -> None:
        super().__init__(parent)
        self.rungs: list[Rung] = []
        self.chosen: int | None = None
        self._drag: EdgeDrag | None = None
        self._face = face
        self._theme = theme
        self._playhead = 0.0
        self._left, self._right = 0, 0
        self.times = PhaseTimes(face, self)
        self.times.changed.connect(self.update)
        self.times.jumped.connect(self.jumped)
        self.times.phase_set.connect(self.phase_set)
        self.times.said.connect(self.said)
        self.times.another_wanted.connect(self.add_clamp)
        self.setAccessibleName("Phase ladder")
        self.setAccessibleDescription(HOW)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    # -- what is shown ------------------------------------------------------------------------------

    def set_phases(self, phases: Sequence[Phase]) -> None:
        """Show other phases."""
        kept = self.rung
        shown = (rung_of(phase) for phase in phases if phase.name not in NOT_SHOWN)
        self.rungs = sorted(shown, key=lambda rung: (rung.start, rung.lane))
        if all(rung.name != CLAMP for rung in self.rungs):
            self.rungs.append(Rung(CLAMP, math.nan, math.nan, lane_of(CLAMP)))
        named = [(rung.name, rung.index) for rung in self.rungs]
        self.chosen = (
            named.index((kept.name, kept.index)) if kept and (kept.name, kept.index) in named else None
        )
        self.times.forget()
        self.update()

    def add_clamp(self) -> None:
        """A row for one more clamp, chosen, without times yet: [ and ] set them, Esc forgets it."""
        if all(rung.is_set for rung in self.rungs):
            taken = [rung.index for rung in self.rungs if rung.name == CLAMP]
            self.rungs.append(
                Rung(CLAMP, math.nan, math.nan, lane_of(CLAMP), index=max(taken, default=-1) + 1)
            )
        self.choose(next(rung for rung in self.rungs if not rung.is_set))
        self.said.emit("One more clamp: [ and ] set its start and its end at the playhead, Esc forgets it.")

    def _forget_added(self) -> None:
        """Take the row of one more clamp away again, so long as it has no times."""
        if any(rung.is_set and rung.name == CLAMP for rung in self.rungs):
            self.rungs = [rung for rung in self.rungs if rung.is_set]
            self.chosen = None
            self.update()

    @property
    def rung(self) -> Rung | None:
        """The chosen phase."""
        return self.rungs[self.chosen] if self.chosen is not None else None

    def set_notes(self, notes: Sequence[TimedNote]) -> None:
        """Lines of text: those that mention the clamp are counted in its row and can be gone to."""
        self.times.set_notes(notes)

    def set_marks(self, marks: Sequence[Mark]) -> None:
        """Marks: those of the clamp's class can give it its times."""
        self.times.set_marks(marks)

    def set_selected(self, span: Span | None) -> None:
        """The stretch that is selected in the views: it can be made the times of a phase."""
        self.times.set_selected(span)

    def set_span(self, span: Span) -> None:
        """The window of the Long view."""
        self._span = span
        self.update()

    def set_playhead(self, t: float) -> None:
        """Move the line of now."""
        if t != self._playhead:
            for moment in (self._playhead, t):
                self.update(int(self._x(moment)) - 2, 0, 5, self.height())
            self._playhead = t

    # -- geometry -----------------------------------------------------------------------------------

    @property
    def _lane_height(self) -> int:
        return self.fontMetrics().height() + 4

    def sizeHint(self) -> QSize:
        """As high as its lanes."""
        return QSize(400, len(LANES) * self._lane_height + 4)

    def minimumSizeHint(self) -> QSize:
        """As high as its lanes."""
        return self.sizeHint()

    def _box(self, rung: Rung) -> QRectF:
        left, right = self._bounds()
        if not rung.is_set:
            return QRectF(left, 2 + rung.lane * self._lane_height, right - left, self._lane_height - 2)
        a, b = max(self._x(rung.start), left), min(self._x(rung.end), right)
        return QRectF(a, 2 + rung.lane * self._lane_height, max(b - a, 2.0), self._lane_height - 2)

    def rung_at(self, position: QPointF) -> Rung | None:
        """The bar under a point, the shortest where several lie there."""
        under = [
            rung
            for rung in self.rungs
            if rung.is_set and self._box(rung).adjusted(-1, 0, 1, 0).contains(position)
        ]
        if not under:
            return next(
                (rung for rung in self.rungs if not rung.is_set and self._in_lane(rung, position)), None
            )
        return min(under, key=lambda rung: rung.end - rung.start)

    def _in_lane(self, rung: Rung, position: QPointF) -> bool:
        return rung.lane == int((position.y() - 2) // self._lane_height)

    def tip(self, rung: Rung) -> str:
        """Name, start, end, length, each with what is known of its ±."""
        if not rung.is_set:
            return self.times.unset_tip(rung)
        lines = [
            rung.words,
            f"from {self._face.text(rung.start)} {plus_minus(rung.start_unc)}".rstrip(),
            f"to {self._face.text(rung.end)} {plus_minus(rung.end_unc)}".rstrip(),
            f"length {'at least ' if rung.at_least else ''}{length(rung.end - rung.start)} "
            f"{plus_minus(rung.length_unc)}".rstrip(),
            f"times from: {rung.source}" if rung.source else "",
            rung.state,
            *(f"could also be: {text}" for text in rung.alternatives[:ALTERNATIVES_SHOWN]),
        ]
        return "\n".join(line for line in lines if line)

    # -- painting -----------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Lanes, bars, the line of now."""
        theme = self._theme
        painter = QPainter(self)
        painter.fillRect(event.rect(), QColor(theme.margin))
        left, right = self._bounds()
        lane = self._lane_height
        painter.fillRect(QRectF(left, 0, right - left, self.height()), QColor(theme.ground))
        painter.setPen(QColor(theme.soft_ink))
        for number, (words, _) in enumerate(LANES):
            box = QRectF(6, 2 + number * lane, left - 12, lane - 2)
            text = self.fontMetrics().elidedText(words, Qt.TextElideMode.ElideRight, int(box.width()))
            painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text)
        painter.setClipRect(QRectF(left, 0, right - left + 1, self.height()))
        if not any(rung.is_set for rung in self.rungs):
            painter.setPen(QColor(theme.soft_ink))
            painter.drawText(
                QRectF(left, 0, right - left, 2 * lane), Qt.AlignmentFlag.AlignCenter, "no phases known"
            )
        for number, rung in enumerate(self.rungs):
            if rung.is_set:
                per_second = self._x(1.0) - self._x(0.0)
                drawn = self._drag.shown if self._drag is not None and rung is self._drag.rung else rung
                paint_rung(
                    painter, self._box(drawn), drawn, per_second, self._theme, chosen=number == self.chosen
                )
            else:
                self._paint_unset(painter, rung, number == self.chosen)
        painter.setPen(QPen(QColor(theme.playhead), 1))
        x = int(self._x(self._playhead))
        painter.drawLine(x, 0, x, self.height())
        painter.setClipping(False)
        if self.hasFocus():
            painter.setPen(QPen(QColor("#0072B2"), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def _paint_unset(self, painter: QPainter, rung: Rung, chosen: bool) -> None:
        """Never guessed into the figures: an empty row would look like "there was no clamp"."""
        box = self._box(rung)
        ink = QColor(self._theme.ink if chosen else self._theme.soft_ink)
        painter.setPen(QPen(ink, 1))
        for moment in self.times.moments:
            x = int(self._x(moment.t))
            painter.drawLine(x, int(box.bottom()) - 3, x, int(box.bottom()))
        for moment in self.times.begun.values():
            painter.setPen(QPen(ink, 2, Qt.PenStyle.DashLine))
            x = int(self._x(moment.t))
            painter.drawLine(x, int(box.top()), x, int(box.bottom()))
        painter.setPen(ink)
        if not self._other_clamps:  # else its words would stand over the bars of the others
            painter.drawText(
                box.adjusted(6, 0, -6, 0), Qt.AlignmentFlag.AlignVCenter, self.times.unset_text(chosen)
            )
        if chosen:
            painter.setPen(QPen(ink, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(box.adjusted(1, 0.5, -1, -0.5))

    # -- hands --------------------------------------------------------------------------------------

    def event(self, event: QEvent) -> bool:
        """What is under the pointer, in words; keys that mean the chosen phase before they mean a span."""
        if (
            event.type() == QEvent.Type.ShortcutOverride
            and isinstance(event, QKeyEvent)
            and self._takes(event)
        ):
            event.accept()
            return True
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            rung = self.rung_at(QPointF(event.pos()))
            if rung is None:
                QToolTip.hideText()
            else:
                QToolTip.showText(event.globalPos(), self.tip(rung), self)
            return True
        return super().event(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Go to the time under the pointer; in the row of an unset clamp choose it."""
        left, right = self._bounds()
        if event.button() != Qt.MouseButton.LeftButton:
            return
        rung = self.rung_at(event.position())
        self._drag = self._edge_at(event.position())
        rung = self._drag.rung if self._drag is not None else rung
        if rung is not None:
            self.choose(rung)
        if self._drag is None and left <= event.position().x() <= right and (rung is None or rung.is_set):
            self.jumped.emit(self._t(event.position().x()))
        elif rung is not None and not rung.is_set:
            self.show_menu(event.globalPosition().toPoint())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Move the end that is dragged, or show that one can be."""
        if self._drag is None:
            over = self._edge_at(event.position()) is not None
            self.setCursor(Qt.CursorShape.SplitHCursor if over else Qt.CursorShape.ArrowCursor)
            return
        x = event.position().x()
        self._drag = self._drag.to(self._t(x), abs(self._t(x + 1) - self._t(x - 1)) / 2)
        QToolTip.showText(event.globalPosition().toPoint(), self.tip(self._drag.shown), self)
        self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Set the end where it was left; one that was not moved is gone to."""
        drag, self._drag = self._drag, None
        if drag is None or event.button() != Qt.MouseButton.LeftButton:
            return
        self.update()
        if drag.moved:
            self.times.set_edge(drag.rung, drag.edge, drag.moment)
        else:
            self.jumped.emit(drag.t)

    def _edge_at(self, position: QPointF) -> EdgeDrag | None:
        row = [rung for rung in self.rungs if rung.is_set and self._in_lane(rung, position)]
        return edge_at(row, position.x(), self.rung_at(position), self._x)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Go to the start of the phase under the pointer."""
        rung = self.rung_at(event.position())
        if event.button() == Qt.MouseButton.LeftButton and rung is not None and rung.is_set:
            self.jumped.emit(rung.start)

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """What can be done with the phase under the pointer, or with the chosen one."""
        if event.reason() == QContextMenuEvent.Reason.Mouse:
            rung = self.rung_at(QPointF(event.pos()))
            if rung is not None:
                self.choose(rung)
        if self.rung is not None:
            self.show_menu(event.globalPos())

    def choose(self, rung: Rung) -> None:
        """Choose a phase."""
        self.chosen = self.rungs.index(rung)
        self.setAccessibleDescription(self.tip(rung).replace("\n", ", "))
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Choose a phase, go to its start, set its times."""
        key, rung = event.key(), self.rung
        if key in (Qt.Key.Key_Up, Qt.Key.Key_Down) and self.rungs:
            step = 1 if key == Qt.Key.Key_Down else -1
            at = (-1 if step > 0 else len(self.rungs)) if self.chosen is None else self.chosen
            rung = self.rungs[min(max(at + step, 0), len(self.rungs) - 1)]
            self.choose(rung)
            QToolTip.showText(self._below(rung), self.tip(rung), self)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and rung is not None:
            if rung.is_set:
                self.jumped.emit(rung.start)
            else:
                self.show_menu(self._below(rung))
        elif rung is not None and event.text().lower() in _KEYS and event.text():
            self.times.set_edge(rung, _KEYS[event.text().lower()], Moment(self._playhead))
        elif key == Qt.Key.Key_Escape and self._drag is not None:
            self._drag = None
            self.update()
        elif key == Qt.Key.Key_Escape and self._can_forget:
            self.times.forget()
            self._forget_added()
        else:
            super().keyPressEvent(event)

    def _takes(self, event: QKeyEvent) -> bool:
        """Keys that mean the chosen phase while one is chosen, and a span elsewhere."""
        return (self.rung is not None and bool(event.text()) and event.text().lower() in _KEYS) or (
            event.key() == Qt.Key.Key_Escape and self._can_forget
        )

    @property
    def _can_forget(self) -> bool:
        """Whether an end or a row is waiting that Esc takes away."""
        added = self.rung is not None and not self.rung.is_set and self._other_clamps
        return bool(self.times.begun) or bool(added) or self._drag is not None

    @property
    def _other_clamps(self) -> bool:
        return any(rung.is_set and rung.name == CLAMP for rung in self.rungs)

    def show_menu(self, at: QPoint) -> None:
        """Open the menu of the chosen phase, without waiting for it."""
        if self.rung is not None:
            menu = self.times.menu(self.rung, self._playhead, self)
            menu.aboutToHide.connect(menu.deleteLater)
            menu.popup(at)

    def _below(self, rung: Rung) -> QPoint:
        return self.mapToGlobal(self._box(rung).bottomLeft().toPoint())

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Show that the keyboard is here."""
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Show that the keyboard has gone."""
        super().focusOutEvent(event)
        self.update()
