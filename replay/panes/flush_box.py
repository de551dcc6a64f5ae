"""Flush response: the ring of each fast flush, and natural frequency against damping of all of them.

The charts are pyqtgraph's and are loaded with this box, not with the desk. Only limits that have a source are
drawn; the areas of the chart of 1981 are not among them, since their borders were not read.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pyqtgraph as pg
from afterclamp.annotate.flush_adequacy import FINE, OPTIMUM, SLOW
from afterclamp.annotate.flushes import Flush
from afterclamp.io.case import Case
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor, QGuiApplication, QImage, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QDialogButtonBox,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from ..flush_words import HEADINGS, NO_FLUSH, cells, flushes_text, limit_lines, line_name, told
from ..strips.theme import BLUE, ORANGE, PAPER, VERMILION, Theme
from ..wording import number

SYMBOLS: Final = ("o", "s", "t", "d", "star", "p", "h", "x")
"""One shape a line: colour tells nothing here that the shape does not."""
WIDEST_HZ: Final = 40.0  # of the frequency axis, unless a flush is faster
BEFORE_S, AFTER_S = 0.12, 0.75  # of the ring that is shown around the release


class FlushBox(QDialog):
    """Every flush of a case: its ring, where it lies, and what it means.

    Parameters
    ----------
    case : Case
    found : sequence of Flush
        As of `afterclamp.annotate.flushes.flushes`.
    theme : Theme
    parent : QWidget, optional

    Signals
    -------
    gone_to(float)
        A flush was chosen with Enter or a double click: its reference second.
    """

    gone_to = Signal(float)

    def __init__(
        self, case: Case, found: Sequence[Flush], theme: Theme = PAPER, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("Flush response")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(1040, 720)
        self._case, self.found, self._theme = case, list(found), theme
        self.told = QLabel(NO_FLUSH, self)
        self.told.setWordWrap(True)
        self.told.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.told.setAccessibleName("What the selected flush tells")
        self.told.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.told.setMinimumHeight(2 * self.fontMetrics().lineSpacing())
        self.ring = RingChart(theme, self)
        self.chart = ResponseChart(self.found, theme, self)
        self.table = _table(case, self.found, self)
        self.legend = QLabel(self.chart.legend, self)
        self.legend.setAccessibleName("Which shape is which line")
        self.limits = QLabel(
            " ".join(limit_lines())
            + " The areas of the 1981 chart are not drawn: their borders were not read.",
            self,
        )
        self.limits.setWordWrap(True)
        self.limits.setAccessibleName("Limits that are drawn, and what they rest on")
        self.as_text_button = QPushButton("Copy as &text", self)
        self.as_image_button = QPushButton("Copy as &image", self)
        self._lay_out()
        self.table.itemSelectionChanged.connect(self._select)
        self.table.itemActivated.connect(lambda item: self.gone_to.emit(self.found[item.row()].release_s))
        self.as_text_button.clicked.connect(self.copy_text)
        self.as_image_button.clicked.connect(self.copy_image)
        copy = QShortcut(QKeySequence(QKeySequence.StandardKey.Copy), self.table)
        copy.setContext(Qt.ShortcutContext.WidgetShortcut)
        copy.activated.connect(self.copy_text)
        if self.found:
            self.table.selectRow(0)
            self.table.setFocus()

    def _lay_out(self) -> None:
        charts = QHBoxLayout()
        charts.addWidget(self.ring, 1)
        charts.addWidget(self.chart, 1)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close, self)
        buttons.rejected.connect(self.reject)
        foot = QHBoxLayout()
        foot.addWidget(self.as_text_button)
        foot.addWidget(self.as_image_button)
        foot.addWidget(buttons, 1)
        layout = QVBoxLayout(self)
        layout.addWidget(self.told)
        layout.addLayout(charts, 3)
        layout.addWidget(self.legend, 0, Qt.AlignmentFlag.AlignRight)
        layout.addWidget(self.table, 2)
        layout.addWidget(self.limits)
        layout.addLayout(foot)
        there = bool(self.found)
        for widget in (self.ring, self.chart, self.legend, self.table, self.limits):
            widget.setVisible(there)
        self.as_text_button.setEnabled(there)
        self.as_image_button.setEnabled(there)
        if not there:
            self.resize(520, 0)

    @property
    def current(self) -> Flush | None:
        """The selected flush."""
        at = self.table.currentRow()
        return self.found[at] if 0 <= at < len(self.found) else None

    def _select(self) -> None:
        one = self.current
        if one is None:
            return
        self.told.setText(f"{line_name(one)}, {self._case.clock_text(one.release_s)}: {told(one)}")
        self.ring.show_flush(one)
        self.chart.select(self.table.currentRow())

    def as_text(self) -> str:
        """All flushes with what they mean and the limits, as the command line prints them."""
        return flushes_text(self._case, self.found)

    def copy_text(self) -> None:
        """Put all flushes on the clipboard as text."""
        QGuiApplication.clipboard().setText(self.as_text())

    def image(self) -> QImage:
        """Sentence, charts, list and limits as they are shown."""
        return self.grab().toImage()

    def copy_image(self) -> None:
        """Put the box on the clipboard as an image."""
        QGuiApplication.clipboard().setImage(self.image())


class RingChart(pg.PlotWidget):  # type: ignore[misc]  # the library has no types
    """The pressure about the release, with the turning points that were used and the ratio of the swings."""

    def __init__(self, theme: Theme = PAPER, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        _dress(self, theme)
        self.setAccessibleName("Ring after the release")
        item = self.getPlotItem()
        item.setLabel("bottom", "after the release (s)")
        item.setLabel("left", "pressure (mmHg)")
        self._theme = theme
        self.trace = item.plot([], [], pen=pg.mkPen(theme.trace(BLUE), width=1.5), connect="finite")
        self.marks = pg.ScatterPlotItem(
            symbol="d", size=11, pen=pg.mkPen(theme.ink, width=1.2), brush=pg.mkBrush(theme.trace(ORANGE))
        )
        item.addItem(self.marks)
        self._words: list[pg.TextItem] = []

    def show_flush(self, one: Flush) -> None:
        """Show one flush."""
        item = self.getPlotItem()
        for text in self._words:
            item.removeItem(text)
        self._words = []
        shown = (one.t >= -BEFORE_S) & (one.t <= AFTER_S)
        self.trace.setData(one.t[shown], one.values[shown])
        first = float(one.t[0]) if one.t.size else 0.0
        peaks = [(first + seconds, level) for seconds, level in one.response.peaks]
        self.marks.setData([t for t, _ in peaks], [level for _, level in peaks])
        for number_of, (t, level) in enumerate(peaks):
            self._say(number(level, 0), t, level, above=number_of % 2 == 1)
        item.setXRange(-BEFORE_S, AFTER_S, padding=0.01)
        item.enableAutoRange(axis="y")
        ratio = number(one.response.amplitude_ratio, 2)
        words = (
            f"half-cycle ratio {ratio}" if one.response.told else "no ring to measure: see the sentence above"
        )
        item.setTitle(f"{line_name(one)}: {words}", color=self._theme.soft_ink, size="9pt")

    def _say(self, text: str, t: float, level: float, *, above: bool) -> None:
        words = pg.TextItem(text, color=self._theme.ink, anchor=(0.5, 1.3 if above else -0.3))
        words.setPos(t, level)
        self.getPlotItem().addItem(words)
        self._words.append(words)


class ResponseChart(pg.PlotWidget):  # type: ignore[misc]  # the library has no types
    """Natural frequency against damping, each flush with its ±, and the limits that have a source."""

    def __init__(self, found: Sequence[Flush], theme: Theme = PAPER, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        _dress(self, theme)
        self.setAccessibleName("Natural frequency against damping")
        self._theme = theme
        item = self.getPlotItem()
        item.setLabel("bottom", "natural frequency (Hz)")
        item.setLabel("left", "damping (ζ, no unit)")
        self.spots = [(k, one) for k, one in enumerate(found) if one.response.told]
        fastest = max((one.response.natural_frequency_hz for _, one in self.spots), default=0.0)
        self.widest_hz = max(WIDEST_HZ, 1.1 * fastest)
        item.setXRange(0, self.widest_hz, padding=0)
        item.setYRange(0, 1, padding=0)
        self._draw_limits()
        names = list(dict.fromkeys(line_name(one) for one in found))
        self.symbols = {name: SYMBOLS[k % len(SYMBOLS)] for k, name in enumerate(names)}
        self.legend = "   ".join(f"{_GLYPHS[shape]} {name}" for name, shape in self.symbols.items())
        x = np.array([one.response.natural_frequency_hz for _, one in self.spots])
        y = np.array([one.response.damping_ratio for _, one in self.spots])
        if self.spots:
            half_x = np.array([one.response.natural_frequency_pm for _, one in self.spots])
            half_y = np.array([one.response.damping_pm for _, one in self.spots])
            item.addItem(
                pg.ErrorBarItem(
                    x=x, y=y, width=2 * half_x, height=2 * half_y, beam=0.0, pen=pg.mkPen(theme.soft_ink)
                )
            )
        self.points = pg.ScatterPlotItem()
        item.addItem(self.points)
        self.select(-1)
        untold = len(found) - len(self.spots)
        words = (
            f"{untold} of {len(found)} flushes cannot be told"
            if untold
            else f"{len(found)} flushes, with their ±"
        )
        item.setTitle(words, color=theme.soft_ink, size="9pt")

    def _draw_limits(self) -> None:
        item, theme = self.getPlotItem(), self._theme
        pen = pg.mkPen(theme.soft_ink, style=Qt.PenStyle.DashLine)
        for limit, words in (
            (SLOW, f"← under {SLOW.low:g} Hz\nunacceptable\n(published)"),
            (FINE, f"over {FINE.low:g} Hz →\nfine features\n(published)"),
        ):
            item.addItem(pg.InfiniteLine(limit.low, angle=90, pen=pen))
            said = pg.TextItem(words, color=theme.ink, anchor=(0, 0))
            said.setPos(limit.low, 0.99)
            item.addItem(said)
        band = pg.LinearRegionItem(
            (OPTIMUM.low, OPTIMUM.high),
            orientation="horizontal",
            movable=False,
            brush=pg.mkBrush(QColor(theme.grid)),
            pen=pg.mkPen(theme.soft_ink, style=Qt.PenStyle.DotLine),
        )
        item.addItem(band)
        words = pg.TextItem("about the optimum (published)", color=theme.ink, anchor=(1, 0.5))
        words.setPos(self.widest_hz, (OPTIMUM.low + OPTIMUM.high) / 2)
        item.addItem(words)

    def select(self, row: int) -> None:
        """Draw the flush of one row of the list larger, with a ring around it."""
        theme = self._theme
        self.points.setData(
            [
                {
                    "pos": (one.response.natural_frequency_hz, one.response.damping_ratio),
                    "symbol": self.symbols[line_name(one)],
                    "size": 17 if k == row else 10,
                    "pen": pg.mkPen(theme.ink, width=2.5 if k == row else 1),
                    "brush": pg.mkBrush(theme.trace(VERMILION) if k == row else theme.trace(BLUE)),
                }
                for k, one in sorted(self.spots, key=lambda spot: spot[0] == row)
            ]
        )


_GLYPHS: Final = {"o": "●", "s": "■", "t": "▼", "d": "◆", "star": "★", "p": "⬟", "h": "⬢", "x": "✕"}


def _dress(plot: pg.PlotWidget, theme: Theme) -> None:
    """The desk's grounds and inks, and no menu of the library's own."""
    plot.setBackground(QColor(theme.ground))
    item = plot.getPlotItem()
    item.setMenuEnabled(False)
    item.hideButtons()
    item.showGrid(x=True, y=True, alpha=0.15)
    plot.setMouseEnabled(x=False, y=False)
    for side in ("left", "bottom"):
        axis = item.getAxis(side)
        axis.setPen(pg.mkPen(theme.rule))
        axis.setTextPen(pg.mkPen(theme.ink))
        axis.enableAutoSIPrefix(False)


def _table(case: Case, found: Sequence[Flush], parent: QWidget) -> QTableWidget:
    table = QTableWidget(len(found), len(HEADINGS), parent)
    table.setAccessibleName("Flushes of the case")
    table.setHorizontalHeaderLabels([heading[:1].upper() + heading[1:] for heading in HEADINGS])
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    table.setTabKeyNavigation(False)
    table.setShowGrid(False)
    table.verticalHeader().hide()
    for row, one in enumerate(found):
        for column, text in enumerate(cells(case, one)):
            item = QTableWidgetItem(text)
            item.setToolTip(told(one) if column < len(HEADINGS) - 1 else text)
            table.setItem(row, column, item)
    header = table.horizontalHeader()
    header.setHighlightSections(False)
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
    header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
    table.resizeColumnsToContents()
    table.setColumnWidth(len(HEADINGS) - 1, 200)  # the rest of the row; its tooltip has it whole
    header.setStretchLastSection(True)
    return table
