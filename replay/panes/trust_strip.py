"""Trust strip: which arterial line is believed at each time, and how good every line is, over the Long view's axis."""

from __future__ import annotations

from afterclamp.io.case import Span
from PySide6.QtCore import QEvent, QPoint, Qt, Signal
from PySide6.QtGui import QContextMenuEvent, QHelpEvent, QKeyEvent, QMouseEvent
from PySide6.QtWidgets import QToolTip, QWidget

from ..strips.theme import PAPER, Theme
from .clock_face import ClockFace
from .trust_edits import Payload, back, moved, trusted
from .trust_menu import trust_menu
from .trust_rows import REACH, TrustRows

HOW = (
    "One row a line: above, where it is believed; below, how good it is. Up and Down choose a line, [ and ] begin and "
    "end a stretch at the playhead, Enter trusts the line in it, Delete goes back to the proposal, the menu key shows "
    "what else there is."
)
_EDGES = {"[": "start", "i": "start", "]": "end", "o": "end"}


class TrustStripPane(TrustRows):
    """The rows of the lines with what is believed, in step with the Long view.

    Signals
    -------
    jumped(t)
        The person clicked here.
    believed(payload)
        A person trusts a line: payload of a ``believe`` edit.
    box_wanted()
        The person wants to type line and times.
    changes_wanted()
        The person wants to see which figures another line would change.
    said(text)
        A short word.
    """

    jumped = Signal(float)
    believed = Signal(dict)
    box_wanted = Signal()
    changes_wanted = Signal()
    said = Signal(str)

    def __init__(self, face: ClockFace, parent: QWidget | None = None, theme: Theme = PAPER) -> None:
        super().__init__(face, parent, theme)
        self._pressed: tuple[int, float, float] | None = None  # row, time and pixel of a press
        self.sign.clicked.connect(self.changes_wanted)
        self.setAccessibleName("Trust strip")
        self.setAccessibleDescription(HOW)

    @property
    def chosen_stretch(self) -> Span:
        """What a box is filled in with: the selected stretch, else the span at the playhead."""
        if self.stretch is not None and self.stretch.duration > 0:
            return self.stretch
        span = self.span_at(self._playhead)
        return Span(span.start_s, span.end_s) if span is not None else self._span

    # -- hands --------------------------------------------------------------------------------------

    def event(self, event: QEvent) -> bool:
        """What is under the pointer, in words; keys that mean a stretch here."""
        if (
            event.type() == QEvent.Type.ShortcutOverride
            and isinstance(event, QKeyEvent)
            and self._takes(event)
        ):
            event.accept()
            return True
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            row = self._row_at(event.pos().y())
            text = self.tip(row, self._t(event.pos().x())) if row is not None else self.words()
            QToolTip.showText(event.globalPos(), text, self)
            return True
        return super().event(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of a boundary, or begin a stretch of a row."""
        row, x = self._row_at(event.position().y()), event.position().x()
        if event.button() != Qt.MouseButton.LeftButton or row is None:
            return
        edge = self.edge_at(x)
        if edge is not None:
            self._held = (edge, edge.t)
        else:
            self.choose(row)
            self._pressed = (row, self._t(x), x)
        self.update()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Drag what is held; else show where something can be taken hold of."""
        x = event.position().x()
        if self._held is not None:
            edge = self._held[0]
            t = min(max(self._t(x), edge.left.start_s), edge.right.end_s)
            self._held = (edge, t)
            self.said.emit(f"{self._face.text(edge.t)} moved to {self._face.text(t)}")
        elif self._pressed is not None and abs(x - self._pressed[2]) > REACH:
            a, b = sorted((self._pressed[1], self._t(x)))
            self.stretch = Span(float(round(a)), float(round(b)))
        else:
            over = self._row_at(event.position().y()) is not None and self.edge_at(x) is not None
            self.setCursor(Qt.CursorShape.SplitHCursor if over else Qt.CursorShape.ArrowCursor)
            return
        self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let a boundary go, or end a stretch; a plain click goes there."""
        held, pressed, self._held, self._pressed = self._held, self._pressed, None, None
        if held is not None and self.strip is not None:
            self._give(moved(self.strip, *held))
        elif pressed is not None and abs(event.position().x() - pressed[2]) <= REACH:
            self.jumped.emit(pressed[1])
        elif pressed is not None and self.stretch is not None and self.strip is not None:
            self.said.emit(
                f"{self._times(self.stretch)} of {self.strip.words(self.line)} selected: Enter trusts it there."
            )
        self.update()

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """What can be done with the selected stretch, or with the span under the pointer."""
        at, t = event.globalPos(), self._playhead
        if event.reason() == QContextMenuEvent.Reason.Mouse:
            row = self._row_at(event.pos().y())
            t = self._t(event.pos().x())
            if row is not None:
                self.choose(row)
        else:
            at = self.mapToGlobal(QPoint(int(self._x(t)), (self.row + 1) * self._row_height))
        self.show_menu(at, t)

    def show_menu(self, at: QPoint, t: float) -> None:
        """Open the menu, without waiting for it."""
        span = self.span_at(t)
        if self.strip is None or not self.line:
            return
        stretch = self.stretch if self.stretch is not None and self.stretch.duration > 0 else None
        if stretch is None and span is not None:
            stretch = Span(span.start_s, span.end_s)
        menu = trust_menu(self.strip, self.line, stretch, self._times, self._give, self.box_wanted.emit, self)
        menu.aboutToHide.connect(menu.deleteLater)
        menu.popup(at)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Choose a line, begin and end a stretch, trust the line in it or go back."""
        key = event.key()
        if key in (Qt.Key.Key_Up, Qt.Key.Key_Down) and self._rows:
            self.choose(min(max(self.row + (1 if key == Qt.Key.Key_Down else -1), 0), self._rows - 1))
        elif event.text() and event.text().lower() in _EDGES and self._rows:
            self._set_end(_EDGES[event.text().lower()])
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.strip is not None and self.line:
            if self.stretch is None or self.stretch.duration <= 0:
                self.box_wanted.emit()
            else:
                self._give(trusted(self.strip, self.line, self.stretch.start, self.stretch.end))
        elif key == Qt.Key.Key_Delete and self.strip is not None:
            stretch = self.chosen_stretch
            self._give(back(self.strip, stretch.start, stretch.end))
        elif key == Qt.Key.Key_Escape and (self.stretch is not None or self._begun is not None):
            self.stretch = self._begun = None
            self.update()
        else:
            super().keyPressEvent(event)

    def _takes(self, event: QKeyEvent) -> bool:
        """Keys that mean something else at the desk."""
        if not self._rows:
            return False
        if event.key() == Qt.Key.Key_Escape:
            return self.stretch is not None or self._begun is not None
        return event.key() == Qt.Key.Key_Delete or (bool(event.text()) and event.text().lower() in _EDGES)

    def _set_end(self, end: str) -> None:
        now = float(round(self._playhead))
        if end == "start":
            self._begun, self.stretch = now, None
            self.said.emit(f"A stretch begins at {self._face.text(now)}; ] ends it at the playhead.")
        elif self._begun is None or self._begun == now:
            self.said.emit("Begin a stretch with [ first, then move the playhead.")
        else:
            a, b = sorted((self._begun, now))
            self._begun, self.stretch = None, Span(a, b)
            self.said.emit(f"{self._times(self.stretch)} selected: Enter trusts {self.strip_words} there.")
        self.update()

    @property
    def strip_words(self) -> str:
        """The chosen line as people say it."""
        return self.strip.words(self.line) if self.strip is not None else ""

    def choose(self, row: int) -> None:
        """Choose a line."""
        self.row = row
        self.setAccessibleDescription(self.tip(row, self._playhead).replace("\n", ", "))
        self.update()

    def _give(self, payload: Payload | None) -> None:
        if payload is None or (payload.get("start_s", 0.0) == payload.get("end_s", 1.0)):
            self.said.emit("Nothing changes.")
            return
        self.stretch = None
        self.believed.emit(payload)
        self.said.emit(self._done(payload))

    def _done(self, payload: Payload) -> str:
        """What was just done: it takes the place of what the status bar said before."""
        when = " for the whole case"
        if "start_s" in payload:
            when = f" from {self._times(Span(payload['start_s'], payload['end_s']))}"
        if payload.get("proposal"):
            return f"Back to the proposal{when}."
        token = payload["site"]
        lines = self.strip.lines if self.strip is not None else ()
        words = next((one.words for one in lines if one.token == token), token.replace("_", " "))
        return f"{words[:1].upper()}{words[1:]} is trusted{when}."

    def _times(self, stretch: Span) -> str:
        return f"{self._face.text(stretch.start)} to {self._face.text(stretch.end)}"
