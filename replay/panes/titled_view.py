"""One of the three views: strips with brackets, under a line of words, beside a scroll bar where it is low."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from afterclamp.io.case import Span
from PySide6.QtCore import QLineF, QRectF, QSignalBlocker, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFocusEvent,
    QGuiApplication,
    QImage,
    QPainter,
    QPaintEvent,
    QPen,
    QResizeEvent,
)
from PySide6.QtWidgets import QHBoxLayout, QMenu, QScrollBar, QToolButton, QVBoxLayout, QWidget

from ..strips.layout import Strip
from ..strips.theme import PAPER, Theme
from ..strips.view import StripsView
from .clock_face import length

FOCUS = "#0072B2"
SCROLL_WIDTH = 12  # pixels
FEW_ROWS, MORE_ROWS = 280, 420  # pixels: lanes of a view lower than these have one row, or two
HOW = (
    "The wheel zooms around the pointer, with Shift it slides; over the names it goes through the strips. "
    "The time axis, or the middle button anywhere, drags the window. Alt with Left or Right slides, "
    "Alt with Up or Down zooms the view that has the keyboard, Alt with Page Up or Page Down goes through its "
    "strips. Shift and dragging draws a span."
)


class BracketedView(StripsView):
    """Strips with the windows of narrower views drawn as brackets.

    Signals
    -------
    focus_changed()
        The keyboard has come or gone.
    """

    focus_changed = Signal()

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

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Say that the keyboard is here."""
        super().focusInEvent(event)
        self.focus_changed.emit()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Say that the keyboard has gone."""
        super().focusOutEvent(event)
        self.focus_changed.emit()


class HeadLine(QWidget):
    """A line of words over a view, with a bar beside it while the view has the keyboard.

    Painted by itself: a label would lay out the whole window anew at each word.
    """

    def __init__(self, view: QWidget, parent: QWidget | None = None, theme: Theme = PAPER) -> None:
        super().__init__(parent)
        self._view = view
        self._theme = theme
        self._text = ""
        font = self.font()
        font.setBold(True)
        self.setFont(font)

    @property
    def text(self) -> str:
        """What stands there."""
        return self._text

    def set_text(self, text: str) -> None:
        """Write something else."""
        if text != self._text:
            self._text = text
            self.update()

    def sizeHint(self) -> QSize:
        """One line high."""
        return QSize(80, self.fontMetrics().height() + 4)

    def minimumSizeHint(self) -> QSize:
        """One line high."""
        return self.sizeHint()

    def paintEvent(self, event: QPaintEvent) -> None:
        """The words, and the bar."""
        painter = QPainter(self)
        painter.fillRect(event.rect(), QColor(self._theme.margin))
        if self._view.hasFocus():
            painter.fillRect(QRectF(0, 2, 4, self.height() - 4), QColor(FOCUS))
        painter.setPen(QColor(self._theme.ink))
        room = self.width() - 14
        text = self.fontMetrics().elidedText(self._text, Qt.TextElideMode.ElideRight, room)
        painter.drawText(QRectF(10, 0, room, self.height()), Qt.AlignmentFlag.AlignVCenter, text)
        painter.end()


class TitledView(QWidget):
    """A view under a line that says which it is, how wide it is, and which strips it shows.

    Parameters
    ----------
    title : str
        What the view is called.
    wave_growth : float
        How much higher than usual a strip with a wave must be to be read in this view.

    Signals
    -------
    hidden_changed(titles)
        Titles of the strips that the person took out of this view.
    room_changed()
        Other strips may have room now.
    copied()
        The view went to the clipboard as an image.
    """

    hidden_changed = Signal(list)
    room_changed = Signal()
    copied = Signal()

    def __init__(self, title: str, wave_growth: float = 1.0, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.title = title
        self.view = BracketedView(self)
        self.view.setAccessibleName(title)
        self.view.setAccessibleDescription(HOW)
        self.hidden: set[str] = set()
        self.left_out = 0
        self._wave_growth = wave_growth
        self._width = 0.0
        self.head = HeadLine(self.view, self)
        self.head.setToolTip(HOW)
        self.view.focus_changed.connect(self.head.update)
        self.chooser = QToolButton(self)
        self.chooser.setText("Strips")
        self.chooser.setToolTip(f"Choose which strips the {title} shows, or copy it as an image")
        self.chooser.setAccessibleName(f"Strips of the {title}")
        self.chooser.setProperty("small", True)
        self.chooser.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.chooser.setMenu(QMenu(self.chooser))
        self.scroll_bar = QScrollBar(Qt.Orientation.Vertical, self)
        self.scroll_bar.setAccessibleName(f"Strips of the {title} further down")
        self.scroll_bar.setPageStep(1)
        self.scroll_bar.setFixedWidth(SCROLL_WIDTH)
        policy = self.scroll_bar.sizePolicy()
        policy.setRetainSizeWhenHidden(True)  # the time axes of all views end at the same place
        self.scroll_bar.setSizePolicy(policy)
        self.scroll_bar.hide()
        self.scroll_bar.valueChanged.connect(lambda _: self.room_changed.emit())
        self.view.scrolled.connect(lambda strips: self.scroll_bar.setValue(self.scroll_bar.value() + strips))
        row = QHBoxLayout()
        row.setContentsMargins(0, 0, 16, 0)
        row.addWidget(self.head, 1)
        row.addWidget(self.chooser)
        beside = QHBoxLayout()
        beside.setSpacing(0)
        beside.addWidget(self.view, 1)
        beside.addWidget(self.scroll_bar)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addLayout(row)
        layout.addLayout(beside, 1)

    def show_width(self, span: Span) -> None:
        """Say how wide the window is, and whether strips had no room."""
        self._width = span.duration
        more = "strip" if self.left_out == 1 else "strips"
        left_out = f"   ({self.left_out} more {more}: scroll, or make room)" if self.left_out else ""
        self.head.set_text(f"{self.title}, {length(span.duration)}{left_out}")

    def choose(self, strips: Sequence[Strip]) -> list[Strip]:
        """Strips that the person wants, from where was scrolled to, as many as are high enough to be read."""
        self.view.set_lane_rows(
            1 if self.view.height() < FEW_ROWS else 2 if self.view.height() < MORE_ROWS else 4
        )
        wanted = [strip for strip in strips if strip.title not in self.hidden] or list(strips)
        wanted = [
            replace(strip, least=round(strip.least * self._wave_growth)) if strip.is_wave else strip
            for strip in wanted
        ]
        last = max(0, len(wanted) - 1)
        # The last place to scroll to is the first from which on everything has room.
        last = next(
            (n for n in range(last + 1) if self.view.how_many_fit(wanted[n:]) == len(wanted) - n), last
        )
        with QSignalBlocker(self.scroll_bar):
            self.scroll_bar.setRange(0, last)
        self.scroll_bar.setVisible(last > 0)
        first = self.scroll_bar.value()
        chosen = wanted[first : first + self.view.how_many_fit(wanted[first:])]
        self.left_out = len(wanted) - len(chosen)
        self.show_width(Span(0.0, self._width))
        return chosen

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Say that there is more or less room."""
        super().resizeEvent(event)
        self.room_changed.emit()

    def offer(self, titles: Sequence[str]) -> None:
        """Offer these strips to be shown or hidden."""
        menu = self.chooser.menu()
        menu.clear()
        for title in titles:
            action = menu.addAction(title)
            action.setCheckable(True)
            action.setChecked(title not in self.hidden)
            action.toggled.connect(lambda shown, title=title: self._toggle(title, shown))
        menu.addSeparator()
        menu.addAction("Copy this view as an image", self.copy_image)

    def image(self) -> QImage:
        """The view with its legend and its axes, at the screen's own dots."""
        return self.view.grab().toImage()

    def copy_image(self) -> None:
        """Put the view on the clipboard."""
        QGuiApplication.clipboard().setImage(self.image())
        self.copied.emit()

    def _toggle(self, title: str, shown: bool) -> None:
        (self.hidden.discard if shown else self.hidden.add)(title)
        self.hidden_changed.emit(sorted(self.hidden))
