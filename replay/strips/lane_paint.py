"""How the lanes above the strips are painted.

Lanes are 14 pixels a row because tall translucent areas over the traces cost ten times the whole picture
(measured: 500 of them take 59 ms). Bars with sharp ends go down as pixels, a row of the lane at once: two
hundred of them one by one take as long as all traces.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QImage, QLinearGradient, QPainter, QPolygonF

from .clusters import Cluster, cluster_words, clusters_of
from .envelope import Grain, TimeScale
from .lanes import Lane, LaneKind
from .theme import Theme

_SIGN_ROOM: Final = 4.0  # logical pixels from one sign to the next
_HOLDS_TEXT: Final = 26  # logical pixels: a bar longer than this holds its label, else it stands beside
_FADES_FROM: Final = 1.5  # logical pixels: an edge less uncertain than this is sharp
_LABEL: Final = 26.0  # logical pixels from which the code of a class can stand between two begins
_LEAST_TEXT: Final = 12.0  # no word of a label is narrower


def paint_lane(
    painter: QPainter,
    lane: Lane,
    left: float,
    top: float,
    row_height: float,
    scale: TimeScale,
    grain: Grain,
    theme: Theme,
    *,
    page: bool = False,
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
    page : bool
        Whether it goes to a page, where nothing may be a bitmap.
    """
    visible = np.flatnonzero((lane.start <= scale.end + lane.fade) & (lane.end >= scale.start - lane.fade))
    if not len(visible):
        return
    right = left + scale.columns / grain.across
    begins = left + scale.place(lane.start[visible]) / grain.across
    ends = left + scale.place(lane.end[visible]) / grain.across
    rows = lane.row[visible]
    metrics = QFontMetricsF(painter.font())
    fill = QColor(_colour_of(lane.kind, theme))
    filled = lane.kind in ("phase", "find")
    text_from = np.maximum(begins, left) + 4
    together: list[Cluster] = []
    if lane.kind == "find":
        together = clusters_of(np.maximum(begins, left), rows, _LABEL)
    if filled:
        edges = lane.fades[visible] / (scale.second_per_column * grain.across)
        sharp = edges < _FADES_FROM
        if page:
            for k in np.flatnonzero(sharp).tolist():
                box = _box(begins[k], ends[k], left, right, top + rows[k] * row_height, row_height)
                painter.fillRect(box, fill)
                if begins[k] >= left:
                    painter.fillRect(QRectF(begins[k], box.top(), 1, box.height()), QColor(theme.soft_ink))
        else:
            at = QRectF(left, top, right - left, row_height)
            _paint_sharp(painter, begins[sharp], ends[sharp], rows[sharp], at, grain, theme, fill)
        for k in np.flatnonzero(~sharp).tolist():
            box = _box(begins[k], ends[k], left, right, top + rows[k] * row_height, row_height)
            _faded(painter, begins[k], ends[k], edges[k], box, left, right, fill)
            if lane.kind == "find" and begins[k] >= left:  # on another bar the fading alone shows no begin
                painter.fillRect(QRectF(begins[k], box.top(), 1, box.height()), QColor(theme.soft_ink))
    else:
        shown = np.ones(len(visible), bool)
        last_sign = [-np.inf] * lane.rows
        per_second = 1 / (scale.second_per_column * grain.across)
        for k, index in enumerate(visible.tolist()):
            bar, row = lane.bars[index], int(rows[k])
            if ends[k] - begins[k] < 1 and lane.kind in ("given", "note"):
                # Signs of every beat would run together: one of those that stand this close is enough.
                shown[k] = begins[k] - last_sign[row] >= _SIGN_ROOM
                if not shown[k]:
                    continue
                last_sign[row] = begins[k]
            box = _box(begins[k], ends[k], left, right, top + row * row_height, row_height)
            sd = bar.fade_s / 2 * per_second
            text_from[k] += _outlined(painter, begins[k], ends[k], sd, box, left, lane.kind, fill)
        visible, rows = visible[shown], rows[shown]
        begins, ends, text_from = begins[shown], ends[shown], text_from[shown]
    past = np.array(_next_starts(rows, begins, right)) - text_from  # to the next bar of the row
    told = {number: cluster for cluster in together for number in cluster.members}
    within = filled & (ends - begins > _HOLDS_TEXT)
    room = np.where(within, np.minimum(np.minimum(ends, right + 4) - 2 - text_from, past), past - 4)
    rise = (row_height + metrics.ascent() - metrics.descent()) / 2
    for cluster in together:
        labels = [lane.bars[int(visible[number])].label for number in cluster.members]
        ahead = begins[(rows == cluster.row) & (begins > begins[cluster.members[-1]])]
        until = min(float(ahead.min()), right) if len(ahead) else right
        _count(
            painter,
            labels,
            QRectF(cluster.at, top + cluster.row * row_height, until - cluster.at, row_height),
            theme,
        )
    painter.setPen(QColor(theme.ink if filled else theme.words(_colour_of(lane.kind, theme))))
    for k in np.flatnonzero(room >= _LEAST_TEXT).tolist():
        if k in told:
            continue
        bar = lane.bars[int(visible[k])]
        label = f"? {bar.label}" if bar.clock_unset else bar.label
        if lane.kind == "find" and metrics.horizontalAdvance(label) > max(room[k], past[k] - 4):
            label = label.removesuffix(f" {bar.label.partition(' ')[2]}")  # its subtype stands in the tip
        # A label that its bar just does not hold stands past the bar's end, as that of a shorter bar does.
        text = _fitting(label, float(room[k]), metrics, whole=lane.kind == "find") or _fitting(
            label, float(past[k]) - 4, metrics, whole=True
        )
        if text:
            painter.drawText(QPointF(float(text_from[k]), top + float(rows[k]) * row_height + rise), text)


def _colour_of(kind: LaneKind, theme: Theme) -> str:
    lines = {"given": theme.note, "note": theme.note}
    return {"phase": theme.phase, "find": theme.find, "mark": theme.mark, **lines}[kind]


def _count(painter: QPainter, labels: list[str], room: QRectF, theme: Theme) -> None:
    """Several finds that begin close together: which, or how many, framed, so that it is taken for no class."""
    metrics = QFontMetricsF(painter.font())
    full, short = cluster_words(labels)
    text = full if metrics.horizontalAdvance(full) + 7 <= room.width() else short
    frame = QRectF(room.left(), room.top() + 1, metrics.horizontalAdvance(text) + 5, room.height() - 3)
    painter.fillRect(frame, QColor(theme.ground))
    painter.setPen(QColor(theme.soft_ink))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(frame)
    painter.setPen(QColor(theme.ink))
    rise = (room.height() + metrics.ascent() - metrics.descent()) / 2
    painter.drawText(QPointF(frame.left() + 3, room.top() + rise), text)


def _box(begin: float, end: float, left: float, right: float, top: float, row_height: float) -> QRectF:
    """Where a bar is painted, in logical pixels; two wide at least."""
    box = QRectF(max(begin, left - 4), top + 1, 0, row_height - 2)
    box.setRight(min(max(end, begin + 2), right + 4))
    return box


def _paint_sharp(
    painter: QPainter,
    begins: NDArray[np.float64],
    ends: NDArray[np.float64],
    rows: NDArray[np.int64],
    place: QRectF,
    grain: Grain,
    theme: Theme,
    fill: QColor,
) -> None:
    """Bars with sharp ends: for each row of the lane one row of pixels, stretched over its height."""
    left, row_height = place.left(), place.height()
    columns = max(1, round(place.width() * grain.across))
    first = np.rint((begins - left) * grain.across)
    stop = np.maximum(np.rint((ends - left) * grain.across), first + round(2 * grain.across))
    border = max(1, round(grain.across))
    for row in np.unique(rows).tolist():
        here = rows == row
        a = np.clip(first[here], 0, columns).astype(np.int64)
        b = np.clip(stop[here], 0, columns).astype(np.int64)
        steps = np.bincount(a, minlength=columns + 1) - np.bincount(b, minlength=columns + 1)
        pixels = np.where(np.cumsum(steps)[:columns] > 0, np.uint32(fill.rgb()), np.uint32(0))
        starts = first[here]
        for number in range(border):
            at = starts[(starts >= 0) & (starts + number < columns)].astype(np.int64) + number
            pixels[at] = np.uint32(QColor(theme.soft_ink).rgb())
        image = QImage(pixels.data, columns, 1, columns * 4, QImage.Format.Format_ARGB32_Premultiplied)
        painter.drawImage(
            QRectF(left, place.top() + row * row_height + 1, place.width(), row_height - 2), image
        )


def _fitting(label: str, room: float, metrics: QFontMetricsF, *, whole: bool) -> str:
    """A label as it fits, shortened where that still says something, else nothing."""
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


def _faded(
    painter: QPainter,
    begin: float,
    end: float,
    edge: float,
    box: QRectF,
    left: float,
    right: float,
    fill: QColor,
) -> None:
    """A bar whose times are uncertain: its two ends fade over plus and minus two standard deviations."""
    edge = min(edge, (end - begin) / 2)
    total = max(end - begin + 2 * edge, 1e-9)
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
