"""The charts of the clock bench: traces laid on each other, where the evidence peaks, how far pieces lie off.

Only these three are pyqtgraph charts, and they are loaded when the bench is opened, not with the desk.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import Any

import numpy as np
import pyqtgraph as pg
from afterclamp.annotate.align import Curve, Points
from afterclamp.annotate.runs import FloatArray
from afterclamp.io.case import Channel
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QLabel, QVBoxLayout, QWidget

from ..strips.theme import PAPER, Theme, plain_unit

GRAIN_S = 0.01
"""A trace is dragged in steps of a hundredth of a second."""

COLUMNS = 1500
"""A window with more samples than this is drawn as its smallest and largest values."""

PEAK_S = 300.0
"""How much is shown on either side of the peak; the wheel shows the rest."""

_TITLE = {"color": PAPER.soft_ink, "size": "9pt"}

OTHER, NOW, WANTED = "#56B4E9", "#8B8E90", "#0072B2"
"""The known trace; the source's as it stands; where it would stand (Okabe and Ito's set, and a grey)."""


class _TimeAxis(pg.AxisItem):  # type: ignore[misc]  # the library has no types
    """An axis that writes times the way the desk does."""

    def __init__(self, write: Callable[[float], str]) -> None:
        super().__init__("bottom")
        self._write = write
        self.enableAutoSIPrefix(False)

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:
        del scale
        fine = spacing < 1
        hundredths = [round(value * 100) for value in values]
        return [
            self._write(n // 100) + f".{n % 100:02d}" if fine else self._write(n / 100) for n in hundredths
        ]


class _DragBox(pg.ViewBox):  # type: ignore[misc]  # the library has no types
    """A view whose left button drags the trace, whose middle button pans, and whose wheel zooms in time alone."""

    dragged = Signal(float, float)
    """From where, and how far, both in seconds, as the pointer moves."""

    released = Signal()

    def __init__(self) -> None:
        super().__init__(enableMenu=False)
        self.setMouseEnabled(x=True, y=False)

    def mouseDragEvent(self, ev: Any, axis: int | None = None) -> None:
        if ev.button() != Qt.MouseButton.LeftButton:
            super().mouseDragEvent(ev, axis)
            return
        ev.accept()
        here, before = self.mapToView(ev.pos()), self.mapToView(ev.lastPos())
        self.dragged.emit(before.x(), here.x() - before.x())
        if ev.isFinish():
            self.released.emit()


class _Trace:
    """One line of the overlay: a channel drawn from its levels, from its samples when the window is short."""

    def __init__(self, plot: pg.PlotItem, pen: Any, name: str) -> None:
        self.curve = pg.PlotDataItem([], [], pen=pen, name=name, connect="finite")
        plot.addItem(self.curve)
        self.channel: Channel | None = None
        self.scale: tuple[float, float] | None = None
        self.by_second: tuple[FloatArray, FloatArray] | None = None

    def draw(self, start: float, end: float) -> None:
        """Draw what lies in a window of reference seconds."""
        if self.channel is None:
            self.curve.setData([], [])
            return
        t, values = self._points(self.channel, start, end)
        if self.scale is not None:
            low, high = self.scale
            values = (values - low) / max(high - low, 1e-9)
        self.curve.setData(t, values)

    def _points(self, channel: Channel, start: float, end: float) -> tuple[FloatArray, FloatArray]:
        if self.by_second is not None:
            t, values = self.by_second
            first, last = np.searchsorted(t, [start - 2, end + 2])
            return t[first:last], values[first:last]
        if (end - start) / max(channel.interval_s, 1e-6) <= COLUMNS * 2:
            reach = 2 * channel.interval_s  # one more on either side, so that lines reach the edge
            samples = channel.read(start - reach, end + reach)
            return _broken(samples.t, samples.values, 3 * channel.interval_s)
        envelope = channel.envelope(start, end, COLUMNS)
        edges = np.linspace(start, end, COLUMNS + 1)
        t = np.repeat((edges[1:] + edges[:-1]) / 2, 2)
        values = np.column_stack([envelope.lo, envelope.hi]).astype(np.float64).ravel()
        there = np.isfinite(values)
        # Rows slower than a column leave columns empty between them.
        return _broken(t[there], values[there], max(3 * channel.interval_s, 2.1 * (end - start) / COLUMNS))


def _broken(t: FloatArray, values: FloatArray, longest_s: float) -> tuple[FloatArray, FloatArray]:
    """With a missing value put into every gap, so that no line is drawn across it."""
    gaps = np.flatnonzero(np.diff(t) > longest_s) + 1
    return np.insert(t, gaps, t[gaps - 1]) if len(gaps) else t, np.insert(values, gaps, np.nan)


class OverlayChart(QWidget):
    """A source's trace over a known one: as it stands, and as it would stand.

    Signals
    -------
    dragged(from_s, by_s)
        The trace was dragged, in reference seconds; emitted as it goes.
    """

    dragged = Signal(float, float)

    def __init__(
        self, write: Callable[[float], str], theme: Theme = PAPER, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._box = _DragBox()
        self.plot = pg.PlotWidget(viewBox=self._box, axisItems={"bottom": _TimeAxis(write)})
        _dress(self.plot, theme)
        self.plot.setAccessibleName("Overlay of two traces")
        item = self.plot.getPlotItem()
        self.other = _Trace(item, pg.mkPen(OTHER, width=3), "known")
        self.now = _Trace(item, pg.mkPen(NOW, width=1, style=Qt.PenStyle.DashLine), "as it stands")
        self.wanted = _Trace(item, pg.mkPen(WANTED, width=1.5), "as it would stand")
        self._pins: list[pg.InfiniteLine] = []
        self._lines: list[pg.InfiniteLine] = []
        self._box.dragged.connect(self._drag)
        self._rest = 0.0
        self._box.sigXRangeChanged.connect(lambda *_: self.redraw())
        self.legend = QLabel("", self)  # above the plot: inside it would lie on the traces
        self.legend.setAccessibleName("Which line is which")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2)
        layout.addWidget(self.legend)
        layout.addWidget(self.plot, 1)

    @property
    def window(self) -> tuple[float, float]:  # type: ignore[override]
        """Reference seconds at the left and right edge."""
        (start, end), _ = self._box.viewRange()
        return float(start), float(end)

    def show_window(self, start: float, end: float) -> None:
        """Show a window of reference seconds."""
        self._box.setXRange(start, end, padding=0)
        self.redraw()

    def set_traces(
        self, other: Channel | None, own: Channel | None, names: tuple[str, str], grid: FloatArray
    ) -> None:
        """Which two channels are laid on each other, what they are called, and the case's whole seconds."""
        self.other.channel, self.now.channel, self.wanted.channel = other, own, own
        alike = other is not None and own is not None and other.unit == own.unit and other.kind == own.kind
        for trace in (self.other, self.now, self.wanted):
            trace.scale = None if alike or trace.channel is None else _scale_of(trace.channel)
        # A recorder's row is the mean of the second before it: the wave is drawn the same way beneath it.
        slow = own is not None and other is not None and not own.is_wave and other.is_wave
        self.other.by_second = (grid + 1.0, other.seconds("mean")) if slow and other is not None else None
        label = (
            f"{own.plain_name} ({plain_unit(own.unit)})"
            if alike and own is not None
            else "share of own range"
        )
        self.plot.getPlotItem().setLabel("left", label)
        self.plot.getPlotItem().showAxis("left", other is not None or own is not None)
        self.legend.setText(
            " &nbsp; ".join(
                f"<span style='color: {ink}'>{line}</span> {escape(words)}"
                for trace, ink, line, words in (
                    (self.other, OTHER, "<b>━━</b>", names[0] + (", means of seconds" if slow else "")),
                    (self.now, NOW, "╌╌╌", f"{names[1]}, as it stands"),
                    (self.wanted, WANTED, "━━", f"{names[1]}, as it would stand"),
                )
                if trace.channel is not None
            )
        )
        self.legend.setVisible(bool(self.legend.text()))
        self._box.enableAutoRange(axis="y")

    def set_wanted(self, own: Channel) -> None:
        """The source's channel on the clock that is being tried."""
        self.wanted.channel = own
        self.wanted.draw(*self.window)

    def set_pins(self, places: list[float]) -> None:
        """Upright lines at the places that are held."""
        for line in self._pins:
            self.plot.removeItem(line)
        self._pins = [
            pg.InfiniteLine(
                place, angle=90, pen=pg.mkPen(PAPER.playhead, style=Qt.PenStyle.DotLine), label="held"
            )
            for place in places
        ]
        for line in self._pins:
            self.plot.addItem(line)

    def set_lines(self, lines: Sequence[tuple[float, str, bool]]) -> None:
        """Lines of text where they would stand: reference seconds, text, and whether they were used."""
        for mark in self._lines:
            self.plot.removeItem(mark)
        self._lines = []
        for k, (t, text, used) in enumerate(lines):
            ink = WANTED if used else NOW
            mark = pg.InfiniteLine(
                t,
                angle=90,
                pen=pg.mkPen(ink, style=Qt.PenStyle.SolidLine if used else Qt.PenStyle.DotLine),
                label=text if len(text) <= 28 else text[:27] + "…",
                labelOpts={"color": ink, "position": 0.95 - 0.09 * (k % 6), "fill": PAPER.ground},
            )
            self.plot.addItem(mark)
            self._lines.append(mark)

    def redraw(self) -> None:
        """Draw all three again for the window that is shown."""
        for trace in (self.other, self.now, self.wanted):
            trace.draw(*self.window)

    def zoom(self, factor: float) -> None:
        """Show `factor` times as much time around the middle."""
        start, end = self.window
        middle, half = (start + end) / 2, max((end - start) / 2 * factor, 0.25)
        self.show_window(middle - half, middle + half)

    def pan(self, share: float) -> None:
        """Move the window by a share of its length."""
        start, end = self.window
        self.show_window(start + share * (end - start), end + share * (end - start))

    def _drag(self, origin: float, by: float) -> None:
        # What is less than a grain is kept for the next move, or slow drags would get nowhere.
        self._rest += by
        steps = int(np.trunc(self._rest / GRAIN_S))
        if steps:
            self._rest -= steps * GRAIN_S
            self.dragged.emit(origin, steps * GRAIN_S)


def _scale_of(channel: Channel) -> tuple[float, float]:
    """Smallest and largest second, without the farthest hundredth of either side."""
    values = channel.seconds("mean")
    values = values[np.isfinite(values)]
    if not len(values):
        return 0.0, 1.0
    low, high = np.percentile(values, [1, 99])
    return float(low), float(high) if high > low else float(low) + 1.0


class EvidenceChart(QWidget):
    """How well each offset would fit."""

    def __init__(self, theme: Theme = PAPER, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.plot = pg.PlotWidget()
        _dress(self.plot, theme)
        self.plot.setAccessibleName("Evidence at each offset")
        self.plot.setMouseEnabled(x=True, y=False)
        item = self.plot.getPlotItem()
        item.setLabel("bottom", "source ahead by (s)")
        item.setLabel("left", "evidence, higher fits better")
        item.getAxis("bottom").enableAutoSIPrefix(False)
        self._curve = item.plot([], [], pen=pg.mkPen(WANTED, width=1.5))
        self._tried = pg.InfiniteLine(0.0, angle=90, pen=pg.mkPen(theme.ink, style=Qt.PenStyle.DashLine))
        item.addItem(self._tried)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.plot)

    def set_curve(self, curve: Curve | None, offset_s: float) -> None:
        """Show the evidence, with a line at an offset in seconds."""
        lag, evidence = (curve.lag_s, curve.evidence) if curve is not None else (np.empty(0), np.empty(0))
        there = np.isfinite(lag) & np.isfinite(evidence)
        self._curve.setData(lag[there], evidence[there])
        _show_axes(self.plot, bool(there.any()))
        self._tried.setVisible(bool(there.any()))
        self.plot.getPlotItem().setTitle(curve.name if curve is not None else "no evidence yet", **_TITLE)
        self.set_offset(offset_s)
        if there.any():
            peak = float(lag[there][np.argmax(evidence[there])])
            low, high = float(lag[there].min()), float(lag[there].max())
            self.plot.setXRange(max(low, peak - PEAK_S), min(high, peak + PEAK_S), padding=0.02)
            self.plot.enableAutoRange(axis="y")

    def set_offset(self, offset_s: float) -> None:
        """Where the clock that is being tried lies."""
        if np.isfinite(offset_s):
            self._tried.setValue(offset_s)


class ResidualChart(QWidget):
    """How far single pieces of evidence lie off the clock that was found."""

    def __init__(
        self, write: Callable[[float], str], theme: Theme = PAPER, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.plot = pg.PlotWidget(axisItems={"bottom": _TimeAxis(write)})
        _dress(self.plot, theme)
        self.plot.setAccessibleName("Residuals along the case")
        item = self.plot.getPlotItem()
        item.setTitle("how far single pieces of evidence lie off the clock found", **_TITLE)
        item.setLabel("left", "later (s)")
        self._zero = pg.InfiniteLine(0.0, angle=0, pen=pg.mkPen(theme.rule))
        item.addItem(self._zero)
        self._bars = pg.ErrorBarItem(pen=pg.mkPen(theme.soft_ink))
        item.addItem(self._bars)
        self._used = pg.ScatterPlotItem(size=6, pen=None, brush=pg.mkBrush(WANTED))
        self._left = pg.ScatterPlotItem(size=7, symbol="x", pen=pg.mkPen("#D55E00"), brush=None)
        item.addItem(self._used)
        item.addItem(self._left)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.plot)

    def set_points(self, points: Points | None) -> None:
        """Show them: a dot where used, a cross where left out, with ± two standard deviations."""
        if points is None:
            empty = np.empty(0)
            points = Points(empty, empty, empty, np.empty(0, dtype=bool))
        there = np.isfinite(points.t) & np.isfinite(points.residual_s)
        used, left = there & points.used, there & ~points.used
        self._used.setData(points.t[used], points.residual_s[used])
        self._left.setData(points.t[left], points.residual_s[left])
        bars = used & np.isfinite(points.sd_s)
        _show_axes(self.plot, bool(there.any()))
        self._zero.setVisible(bool(there.any()))
        if not there.any():
            self.plot.getPlotItem().setTitle("nothing to lay beside the clock yet", **_TITLE)
        else:
            self.plot.getPlotItem().setTitle(
                "how far single pieces of evidence lie off the clock found", **_TITLE
            )
        self._bars.setData(
            x=points.t[bars], y=points.residual_s[bars], height=4 * points.sd_s[bars], beam=0.0
        )
        self.plot.enableAutoRange()


def _show_axes(plot: pg.PlotWidget, there: bool) -> None:
    """Axes of a chart with something in it; the numbers of an empty one would be invented."""
    item = plot.getPlotItem()
    for side in ("left", "bottom"):
        item.showAxis(side, there)
    item.showGrid(x=there, y=there, alpha=0.15)


def _dress(plot: pg.PlotWidget, theme: Theme) -> None:
    """The desk's grounds and inks, and no menu of the library's own."""
    plot.setBackground(QColor(theme.ground))
    item = plot.getPlotItem()
    item.setMenuEnabled(False)
    item.hideButtons()
    item.showGrid(x=True, y=True, alpha=0.15)
    for side in ("left", "bottom"):
        axis = item.getAxis(side)
        axis.setPen(pg.mkPen(theme.rule))
        axis.setTextPen(pg.mkPen(theme.ink))
    item.getAxis("left").enableAutoSIPrefix(False)
