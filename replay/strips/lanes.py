"""Thin lanes above the strips: phases, finds, marks and notes as bars, packed so that they can be told apart.

Lanes are 14 pixels a row because tall translucent areas over the traces cost ten times the whole picture
(measured: 500 of them take 59 ms).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from afterclamp.io.case import Span
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QLinearGradient, QPainter, QPolygonF

from ..wording import Z95, phase_name
from .envelope import Grain, TimeScale
from .theme import Theme

if TYPE_CHECKING:
    from afterclamp.annotate.marks import Mark
    from afterclamp.annotate.phase_model import Phase
    from afterclamp.annotate.rules import Find
    from afterclamp.io.case import TimedNote

LaneKind = Literal["phase", "find", "mark", "note"]

_TITLES: Final[dict[LaneKind, str]] = {"phase": "Phases", "find": "Finds", "mark": "Marks", "note": "Notes"}
_SIGN_ROOM: Final = 4.0  # logical pixels from one sign to the next
_ROWS: Final[dict[LaneKind, int]] = {"phase": 4, "find": 3, "mark": 2, "note": 2}


@dataclass(frozen=True, slots=True)
class Bar:
    """Something with a time that a lane shows.

    Attributes
    ----------
    start, end : float
        Reference seconds; equal for a moment.
    label : str
        Short, on the lane.
    detail : str
        Whole, in the tip.
    sd_s : float
        Standard deviation of its times in seconds; edges fade over plus and minus two of them.
    origin : object
        What it was made from; the view hands it back when somebody picks the bar.
    """

    start: float
    end: float
    label: str
    detail: str = ""
    sd_s: float = 0.0
    origin: object = None


@dataclass(frozen=True)
class Lane:
    """Bars of one kind in rows.

    Attributes
    ----------
    kind : str
        What the bars are.
    bars : tuple of Bar
        In order of start.
    start, end : ndarray of float64
        Their times again, for finding the visible ones quickly.
    row : ndarray of int
        Row of each bar.
    rows : int
        How many rows there are.
    """

    kind: LaneKind
    bars: tuple[Bar, ...]
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    row: NDArray[np.int64]
    rows: int

    @property
    def title(self) -> str:
        """What the lane shows, for its margin."""
        return _TITLES[self.kind]

    def at(self, early: float, late: float, row: int) -> Bar | None:
        """The shortest bar of a row that touches the stretch from `early` to `late`."""
        touched = np.flatnonzero((self.start <= late) & (self.end >= early) & (self.row == row))
        if not len(touched):
            return None
        return self.bars[int(touched[np.argmin((self.end - self.start)[touched])])]


def lanes_of(
    *,
    phases: Sequence[Phase | Bar] = (),
    finds: Sequence[Find | Bar] = (),
    marks: Sequence[Mark | Bar] = (),
    notes: Sequence[TimedNote | Bar] = (),
) -> tuple[Lane, ...]:
    """Lanes for what there is; a kind without bars gets none."""
    kinds: tuple[tuple[LaneKind, list[Bar]], ...] = (
        ("phase", [item if isinstance(item, Bar) else _phase_bar(item) for item in phases]),
        ("find", [item if isinstance(item, Bar) else _find_bar(item) for item in finds]),
        ("mark", [item if isinstance(item, Bar) else _mark_bar(item) for item in marks]),
        ("note", [item if isinstance(item, Bar) else _note_bar(item) for item in notes]),
    )
    return tuple(pack(kind, bars) for kind, bars in kinds if bars)


def pack(kind: LaneKind, bars: Iterable[Bar]) -> Lane:
    """Put bars into rows so that those that overlap stand in different ones, the longer above.

    Where there are more than the lane's rows hold, the rest share the last row.
    """
    ordered = sorted(bars, key=lambda bar: (bar.start, -bar.end))
    free = [-np.inf] * _ROWS[kind]
    rows = []
    for bar in ordered:
        row = next((index for index, until in enumerate(free) if until <= bar.start), len(free) - 1)
        free[row] = max(free[row], bar.end)
        rows.append(row)
    return Lane(
        kind,
        tuple(ordered),
        np.array([bar.start for bar in ordered], np.float64),
        np.array([bar.end for bar in ordered], np.float64),
        np.array(rows, np.int64),
        1 + max(rows, default=0),
    )


def within(lane: Lane, span: Span) -> Lane | None:
    """The lane with the bars of one window only, packed anew; None where it has none."""
    bars = [bar for bar in lane.bars if bar.start <= span.end and bar.end >= span.start]
    return pack(lane.kind, bars) if bars else None


def _phase_bar(phase: Phase) -> Bar:
    plain = phase_name(phase.name)
    return Bar(phase.start_s, phase.end_s, plain, plain, phase.unc_s / Z95, phase)


def _find_bar(find: Find) -> Bar:
    return Bar(find.start_s, find.end_s, find.code, f"{find.code} {find.name}", 0.0, find)


def _mark_bar(mark: Mark) -> Bar:
    words = " ".join(part for part in (mark.code, mark.text) if part)
    return Bar(mark.start_s, max(mark.start_s, mark.end_s), words or "mark", words, 0.0, mark)


def _note_bar(note: TimedNote) -> Bar:
    return Bar(note.t, max(note.t, note.t_end), note.text, note.text, note.sd_s, note)


def paint_lane(
    painter: QPainter,
    lane: Lane,
    left: float,
    top: float,
    row_height: float,
    scale: TimeScale,
    grain: Grain,
    theme: Theme,
) -> None:
    """Paint the bars of a lane that the window touches.

    Parameters
    ----------
    painter : QPainter
        With the lane's font set.
    lane : Lane
        What to paint.
    left, top, row_height : float
        Place of the lane in logical pixels.
    scale : TimeScale
        The window.
    grain : Grain
        How finely it is drawn.
    theme : Theme
        Colours.
    """
    fade = max((bar.sd_s for bar in lane.bars), default=0.0) * 2
    visible = np.flatnonzero((lane.start <= scale.end + fade) & (lane.end >= scale.start - fade))
    if not len(visible):
        return
    right = left + scale.columns / grain.across
    begins = left + scale.place(lane.start[visible]) / grain.across
    ends = left + scale.place(lane.end[visible]) / grain.across
    metrics = QFontMetricsF(painter.font())
    fill = QColor(
        {"phase": theme.phase, "find": theme.find, "mark": theme.mark, "note": theme.note}[lane.kind]
    )
    ink = QColor(theme.ink)
    soft = QColor(theme.soft_ink)
    words = QColor(theme.words(theme.mark if lane.kind == "mark" else theme.note))
    per_second = 1 / (scale.second_per_column * grain.across)
    next_start = _next_starts(lane.row[visible], begins, right)
    last_sign = [-np.inf] * lane.rows
    for index, begin, end, following in zip(
        visible.tolist(), begins.tolist(), ends.tolist(), next_start, strict=True
    ):
        bar = lane.bars[index]
        row = int(lane.row[index])
        if end - begin < 1 and lane.kind == "note":
            # Signs of every beat would run together: one of those that stand this close is enough.
            if begin - last_sign[row] < _SIGN_ROOM:
                continue
            last_sign[row] = begin
        y = top + row * row_height
        box = QRectF(max(begin, left - 4), y + 1, 0, row_height - 2)
        box.setRight(min(max(end, begin + 2), right + 4))
        text_from = max(begin, left) + 4
        filled = lane.kind in ("phase", "find")
        if filled:
            _filled(painter, begin, end, 2 * bar.sd_s * per_second, box, left, right, fill, soft)
        else:
            text_from += _outlined(painter, begin, end, bar.sd_s * per_second, box, left, lane.kind, fill)
        within = filled and end - begin > 26
        room = (min(box.right() - 2, following) if within else following - 4) - text_from
        text = _fitting(bar.label, room, metrics, whole=lane.kind == "find")
        if text:
            painter.setPen(ink if filled else words)
            painter.drawText(
                QPointF(text_from, y + (row_height + metrics.ascent() - metrics.descent()) / 2), text
            )


def _fitting(label: str, room: float, metrics: QFontMetricsF, *, whole: bool) -> str:
    """A label as it fits, shortened where that still says something, else nothing."""
    if room < 12:
        return ""
    if metrics.horizontalAdvance(label) <= room:
        return label
    if whole or room < 44:
        return ""
    return metrics.elidedText(label, Qt.TextElideMode.ElideRight, room)


def _next_starts(rows: NDArray[np.int64], begins: NDArray[np.float64], right: float) -> list[float]:
    """Where the next bar of the same row begins: how far a label may run past its own bar."""
    following = [right] * len(rows)
    last: dict[int, int] = {}
    for index, row in enumerate(rows.tolist()):
        if row in last:
            following[last[row]] = float(begins[index])
        last[row] = index
    return following


def _diamond(painter: QPainter, x: float, y: float, reach: float, fill: QColor) -> None:
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(fill)
    corners = [QPointF(x, y - reach), QPointF(x + reach, y), QPointF(x, y + reach), QPointF(x - reach, y)]
    painter.drawPolygon(QPolygonF(corners))


def _clear(colour: QColor) -> QColor:
    faint = QColor(colour)
    faint.setAlpha(0)
    return faint


def _smudge(painter: QPainter, x: float, sd: float, box: QRectF, fill: QColor) -> None:
    """A moment whose time is uncertain: darkest in the middle, gone at two standard deviations."""
    if sd < 1:
        return
    gradient = QLinearGradient(x - 2 * sd, 0, x + 2 * sd, 0)
    middle = QColor(fill)
    middle.setAlpha(110)
    gradient.setColorAt(0, _clear(fill))
    gradient.setColorAt(0.5, middle)
    gradient.setColorAt(1, _clear(fill))
    painter.fillRect(QRectF(x - 2 * sd, box.top(), 4 * sd, box.height()), gradient)


def _filled(
    painter: QPainter,
    begin: float,
    end: float,
    edge: float,
    box: QRectF,
    left: float,
    right: float,
    fill: QColor,
    border: QColor,
) -> None:
    """A bar; where its times are uncertain its two ends fade over plus and minus two standard deviations."""
    if edge < 1.5:
        painter.fillRect(box, fill)
        if begin >= left:
            painter.fillRect(QRectF(begin, box.top(), 1, box.height()), border)
        return
    edge = min(edge, (end - begin) / 2)
    total = end - begin + 2 * edge
    gradient = QLinearGradient(begin - edge, 0, end + edge, 0)
    gradient.setColorAt(0, _clear(fill))
    gradient.setColorAt(2 * edge / total, fill)
    gradient.setColorAt(1 - 2 * edge / total, fill)
    gradient.setColorAt(1, _clear(fill))
    from_x, to_x = max(begin - edge, left), min(end + edge, right)
    painter.fillRect(QRectF(from_x, box.top(), to_x - from_x, box.height()), gradient)


def _outlined(
    painter: QPainter,
    begin: float,
    end: float,
    sd: float,
    box: QRectF,
    left: float,
    kind: LaneKind,
    fill: QColor,
) -> float:
    """A mark or note: a sign at its start, a line under its text while it lasts; returns the sign's width."""
    if end - begin >= 3:
        painter.fillRect(QRectF(box.left(), box.bottom() - 1, box.width(), 2), fill)
    if begin < left:
        return 0.0
    if kind == "mark":
        reach = box.height() / 2 - 1
        _diamond(painter, begin, box.center().y(), reach, fill)
        return reach - 1
    _smudge(painter, begin, sd, box, fill)
    painter.fillRect(QRectF(begin, box.top(), 1, box.height()), fill)
    return 0.0
