"""The picture of a clock: two traces laid on each other before and after it was set, the peak, the residuals.

Told apart by weight and by hollow and full, not by colour: a page may be printed in grey.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.annotate.runs import FloatArray
from afterclamp.io.clock import ClockMap
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPen, QPolygonF

from ..strips.axis import value_ticks, write_value
from ..strips.margin import text_font
from ..strips.theme import Theme
from ..wording import Z95, length, unit_name
from .content import ClockEvidence

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel, Source, Span

PALE = "#B4B4AC"
PALE_W, DARK_W = 3.0, 1.1
LOW_SHARE = 0.34
"""Of the height, for peak and residuals."""

LEAST_RESIDUAL_S = 0.05
LABEL_ROWS = 4
LABEL_LETTERS = 26


def paint_clock(
    painter: QPainter,
    width: float,
    height: float,
    case: Case,
    span: Span,
    shown: ClockEvidence,
    theme: Theme,
) -> None:
    """Paint the traces by the stamps alone and by the clock in force, and below them what speaks for it.

    Parameters
    ----------
    painter : QPainter
        Its origin is the picture's upper left corner; one unit is a pixel of 96 an inch.
    width, height : float
        Of the picture.
    case : Case
    span : Span
        What is shown of the traces.
    shown : ClockEvidence
    theme : Theme
    """
    pen = _Pen(painter, theme)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.fillRect(QRectF(0, 0, width, height), QColor(theme.margin))
    known = case.get(shown.known)
    source = next((one for one in case.sources if one.name == shown.source), None)
    if known is None or source is None:
        return
    own = case.get(shown.own) if shown.own else None
    low = height * LOW_SHARE if shown.curve or shown.points else 0.0
    each = (height - low) / 2
    left, right = pen.line * 4.2, width - (pen.line * 4.2 if own is not None else 8.0)
    as_written = ClockMap(source.clock.zero_s)
    for top, clock, words in (
        (0.0, as_written, "before: as its stamps say"),
        (each, source.clock, "after: as its clock was set"),
    ):
        box = QRectF(left, top + pen.line * 1.25, right - left, each - pen.line * 2.5)
        moved = own.on_clock(clock) if own is not None else None
        lines = () if own is not None else _lines(case, source, clock, shown.not_used)
        _overlay(pen, box, case, span, known, moved, source.name, lines)
        pen.write(box.left(), top + pen.line * 0.95, words, theme.ink)
    half = (width - 3 * pen.line) / 2
    if shown.curve:
        _peak(pen, QRectF(pen.line, height - low, half, low), shown, source.clock)
    if shown.points:
        _residuals(pen, QRectF(2 * pen.line + half, height - low, half, low), shown)


class _Pen:
    """The painter with the picture's font."""

    def __init__(self, painter: QPainter, theme: Theme) -> None:
        self.p, self.theme = painter, theme
        font = text_font(theme, 0.9)
        painter.setFont(font)
        self.metrics = QFontMetricsF(font)
        self.line = self.metrics.height()

    def write(
        self, x: float, baseline: float, text: str, colour: str = "", *, from_right: bool = False
    ) -> None:
        self.p.setPen(QColor(colour or self.theme.soft_ink))
        self.p.drawText(
            QPointF(x - (self.metrics.horizontalAdvance(text) if from_right else 0), baseline), text
        )

    def frame(self, box: QRectF) -> None:
        self.p.fillRect(box, QColor(self.theme.ground))
        self.p.setPen(QPen(QColor(self.theme.rule), 0.6))
        self.p.drawRect(box)

    def values(
        self, box: QRectF, low: float, high: float, *, right: bool = False
    ) -> Callable[[float], float]:
        """Ticks at the side of a box; gives where a value stands."""

        def y(value: float) -> float:
            return box.bottom() - (value - low) / (high - low) * box.height()

        for value in value_ticks(low, high, 4):
            if not right:
                self.p.setPen(QPen(QColor(self.theme.rule), 0.4))
                self.p.drawLine(QLineF(box.left(), y(value), box.right(), y(value)))
            baseline = y(value) + (self.metrics.ascent() - self.metrics.descent()) / 2
            x = box.right() + 4 if right else box.left() - 4
            self.write(x, baseline, write_value(value), from_right=not right)
        return y

    def across(
        self, box: QRectF, low: float, high: float, write: Callable[[float], str]
    ) -> Callable[[float], float]:
        """Ticks below a box; gives where a value stands."""

        def x(value: float) -> float:
            return box.left() + (value - low) / (high - low) * box.width()

        for value in value_ticks(low, high, 7):
            text = write(value)
            at = x(value) - self.metrics.horizontalAdvance(text) / 2
            at = min(max(at, box.left()), box.right() - self.metrics.horizontalAdvance(text))
            self.write(at, box.bottom() + self.metrics.ascent() + 2, text)
        return x


def _overlay(
    pen: _Pen,
    box: QRectF,
    case: Case,
    span: Span,
    known: Channel,
    own: Channel | None,
    source: str,
    lines: Sequence[_Line],
) -> None:
    """The known trace, pale and thick, and on it the source's, dark and thin, or its lines of text."""
    pen.frame(box)
    where = (case.grid >= span.start) & (case.grid < span.end)
    t = case.grid[where] + 0.5
    below = known.seconds("mean")[where]
    above = own.seconds("mean")[where] if own is not None else None
    alike = own is not None and above is not None and (own.kind, own.unit) == (known.kind, known.unit)
    low, high = _reach(below, above if alike else None)
    y = pen.values(box, low, high)
    x = _times(pen, box, span)
    names = [(PALE, PALE_W, f"{known.plain_name} of {known.source}, {_unit(known)}")]
    pen.p.save()
    pen.p.setClipRect(box)
    _trace(pen, x(t), np.array([y(value) for value in below]), QColor(PALE), PALE_W)
    pen.p.restore()
    if own is not None and above is not None:
        to = y if alike else pen.values(box, *_reach(above), right=True)
        pen.p.save()
        pen.p.setClipRect(box)
        _trace(pen, x(t), np.array([to(value) for value in above]), QColor(pen.theme.ink), DARK_W)
        pen.p.restore()
        names.append((pen.theme.ink, DARK_W, f"{own.plain_name} of {own.source}, {_unit(own)}"))
        if not np.isfinite(above).any():
            pen.write(box.center().x(), box.center().y(), f"nothing of {own.source} would lie here")
    if own is None:
        names.append((pen.theme.ink, DARK_W, f"lines of {source}, upright"))
    _write_lines(pen, box, x, [one for one in lines if span.start <= one.t < span.end])
    _legend(pen, box, names)


def _times(pen: _Pen, box: QRectF, span: Span) -> Callable[[FloatArray], FloatArray]:
    """Times below a box as minutes and seconds from the start."""
    start, end = length(span.start), length(span.end)
    foot = box.bottom() + pen.metrics.ascent() + 2
    per_second = box.width() / span.duration
    steps = [step for step in (60, 120, 300, 600, 1800, 3600) if step * per_second > 8 * pen.line] or [3600]
    for at in np.arange(np.ceil(span.start / steps[0]) * steps[0], span.end, steps[0]):
        x = box.left() + (at - span.start) * per_second
        text = length(float(at))
        wide = pen.metrics.horizontalAdvance(text)
        edge = (pen.metrics.horizontalAdvance(start), pen.metrics.horizontalAdvance(end))
        if x - wide / 2 > box.left() + edge[0] + 6 and x + wide / 2 < box.right() - edge[1] - 6:
            pen.write(x - wide / 2, foot, text)
            pen.p.setPen(QPen(QColor(pen.theme.rule), 0.4))
            pen.p.drawLine(QLineF(x, box.top(), x, box.bottom()))
    pen.write(box.left(), foot, start)
    pen.write(box.right(), foot, end, from_right=True)
    return lambda t: box.left() + (t - span.start) * per_second


def _reach(values: FloatArray, more: FloatArray | None = None) -> tuple[float, float]:
    """From the lowest to the highest value, without the farthest half a hundredth, and a little beyond."""
    both = values if more is None else np.concatenate([values, more])
    both = both[np.isfinite(both)]
    if not len(both):
        return 0.0, 1.0
    low, high = (float(one) for one in np.percentile(both, [0.5, 99.5]))
    pad = max(0.12 * (high - low), 0.5)
    return low - pad, high + pad


def _trace(pen: _Pen, x: FloatArray, y: FloatArray, colour: QColor, width: float) -> None:
    """A line that is broken where nothing was recorded."""
    drawn = QPen(colour, width)
    drawn.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    pen.p.setPen(drawn)
    there = np.isfinite(y)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(np.int8)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        points = [QPointF(a, b) for a, b in zip(x[first:last], y[first:last], strict=True)]
        pen.p.drawPolyline(QPolygonF(points))


def _unit(channel: Channel) -> str:
    return unit_name(channel.unit) or channel.unit_as_written or "no unit"


def _legend(pen: _Pen, box: QRectF, names: Sequence[tuple[str, float, str]]) -> None:
    """At the right end above a box: a piece of each line and what it is."""
    x = box.right()
    for colour, width, name in reversed(names):
        x -= pen.metrics.horizontalAdvance(name)
        pen.write(x, box.top() - pen.line * 0.3, name)
        pen.p.setPen(QPen(QColor(colour), width))
        middle = box.top() - pen.line * 0.3 - pen.metrics.ascent() * 0.35
        pen.p.drawLine(QLineF(x - pen.line * 1.8, middle, x - 4, middle))
        x -= pen.line * 2.6


# -- lines of text -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Line:
    """A line of text where a clock puts it."""

    t: float
    text: str
    used: bool


def _lines(case: Case, source: Source, clock: ClockMap, not_used: Sequence[str]) -> tuple[_Line, ...]:
    return tuple(
        _Line(float(clock.to_reference(source.clock.to_source(note.t))), note.text, note.text not in not_used)
        for note in case.notes
        if note.source == source.name
    )


def _write_lines(
    pen: _Pen, box: QRectF, x: Callable[[FloatArray], FloatArray], lines: Sequence[_Line]
) -> None:
    """An upright line each, dotted where it fits nothing, with its words in the first row that has room."""
    taken = [box.left()] * LABEL_ROWS
    for one in sorted(lines, key=lambda line: line.t):
        at = float(x(np.array(one.t)))
        style = Qt.PenStyle.SolidLine if one.used else Qt.PenStyle.DotLine
        pen.p.setPen(QPen(QColor(pen.theme.ink), DARK_W, style))
        pen.p.drawLine(QLineF(at, box.top(), at, box.bottom()))
        text = one.text if len(one.text) <= LABEL_LETTERS else one.text[: LABEL_LETTERS - 1] + "…"
        text += "" if one.used else " (left out)"
        wide = pen.metrics.horizontalAdvance(text)
        left = min(at + 3, box.right() - wide)
        row = next((row for row, end in enumerate(taken) if left > end), None)
        if row is not None:
            taken[row] = left + wide + 6
            pen.write(left, box.top() + pen.line * (row + 0.9), text, pen.theme.ink)


# -- peak and residuals ------------------------------------------------------------------------------


def _peak(pen: _Pen, area: QRectF, shown: ClockEvidence, clock: ClockMap) -> None:
    """How well each offset fits, and where the clock in force lies: with a line for each side of a step."""
    box = QRectF(
        area.left() + 4, area.top() + pen.line * 1.3, area.width() - 8, area.height() - pen.line * 3.9
    )
    pen.frame(box)
    pen.write(box.left(), box.top() - pen.line * 0.3, shown.curve_name or "evidence", pen.theme.ink)
    lag = np.array([one for one, _ in shown.curve])
    fit = np.array([one for _, one in shown.curve])
    first, last = float(lag.min()), float(lag.max())
    if not last > first:
        first, last = first - 1.0, last + 1.0
    x = pen.across(box, first, last, write_value)
    low, high = float(fit.min()), float(fit.max())
    reach = (high - low) or 1.0
    y = box.bottom() - (fit - low + 0.05 * reach) / (1.15 * reach) * box.height()
    _trace(pen, np.array([x(value) for value in lag]), y, QColor(pen.theme.ink), DARK_W)
    pen.p.setPen(QPen(QColor(pen.theme.soft_ink), DARK_W, Qt.PenStyle.DashLine))
    for offset_s in dict.fromkeys(piece.offset_s for piece in clock.pieces):
        if first <= offset_s <= last:
            pen.p.drawLine(QLineF(x(offset_s), box.top(), x(offset_s), box.bottom()))
    pen.write(box.left(), box.bottom() + pen.line * 2.0, "source ahead by, s")


def _residuals(pen: _Pen, area: QRectF, shown: ClockEvidence) -> None:
    """How far each piece of evidence lies off, full where it was used."""
    side = pen.line * 3.4
    box = QRectF(
        area.left() + side,
        area.top() + pen.line * 1.3,
        area.width() - side - 4,
        area.height() - pen.line * 3.9,
    )
    pen.frame(box)
    t, off, sd = (np.array([point[part] for point in shown.points]) for part in range(3))
    used = np.array([point[3] for point in shown.points], dtype=bool)
    half = np.where(np.isfinite(sd), Z95 * sd, 0.0)
    counted = used if used.any() else np.ones_like(used)
    most = max(float(np.max(np.abs(off[counted]) + half[counted])) * 1.15, LEAST_RESIDUAL_S)
    pen.write(box.left(), box.top() - pen.line * 0.3, "later than the clock says, s", pen.theme.ink)
    y = pen.values(box, -most, most)
    first, last = float(t.min()), float(t.max())
    pad = max(0.03 * (last - first), 30.0)
    x = pen.across(box, (first - pad) / 60, (last + pad) / 60, write_value)
    pen.write(box.left(), box.bottom() + pen.line * 2.0, "min from the start")
    ink = QColor(pen.theme.ink)
    for at, value, bar, counts in zip(t / 60, off, half, used, strict=True):
        place = QPointF(x(at), y(min(max(value, -most), most)))
        pen.p.setPen(QPen(QColor(pen.theme.soft_ink), 0.7))
        if bar > 0 and counts:
            pen.p.drawLine(QLineF(place.x(), y(value - bar), place.x(), y(value + bar)))
        pen.p.setPen(QPen(ink, 1.0))
        pen.p.setBrush(ink if counts else QColor(pen.theme.ground))
        pen.p.drawEllipse(place, 2.6, 2.6)
    pen.p.setBrush(Qt.BrushStyle.NoBrush)
