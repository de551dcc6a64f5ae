"""What lies over a picture that stands: the line of now, the chosen stretch, the stretches of a figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.io.case import Span
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter

from .courses import masked_columns
from .margin import text_font
from .theme import Theme

if TYPE_CHECKING:
    from .painter import Picture


@dataclass(frozen=True, slots=True)
class Outside:
    """Where it is said that the playhead lies outside a window.

    Attributes
    ----------
    box : QRectF
        Logical pixels.
    before : bool
        Whether it lies before the window.
    words : str
        Its time.
    """

    box: QRectF
    before: bool
    words: str


def paint_playhead(painter: QPainter, picture: Picture, t: float) -> None:
    """The line of now through all strips, with a small handle on the axis; nothing where it lies outside."""
    if not 0 <= picture.scale.column(t) < picture.scale.columns or not picture.strips:
        return
    places, x = picture.places, picture.x_of(t)
    width = max(1, round(picture.grain.down)) / picture.grain.down
    colour = QColor(picture.theme.playhead)
    painter.fillRect(QRectF(x, 0, width, places.axis[0]), colour)
    middle, top = x + width / 2, float(places.axis[0])
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    painter.drawPolygon([QPointF(middle - 4, top + 6), QPointF(middle, top), QPointF(middle + 4, top + 6)])


def outside(picture: Picture, t: float) -> Outside | None:
    """The sign for a playhead outside the window, at the edge that it lies beyond; None for one inside."""
    column, places, growth = picture.scale.column(t), picture.places, picture.theme.growth
    if 0 <= column < picture.scale.columns or picture.case is None or not picture.strips:
        return None
    words = picture.time_text.write(t)
    width, height = picture.width_of(words) + 22 * growth, 16 * growth
    left = float(places.left) if column < 0 else places.right - width
    return Outside(QRectF(left, places.axis[0] - height, width, height), column < 0, words)


def paint_outside(painter: QPainter, sign: Outside, theme: Theme) -> None:
    """An arrow at the edge of the window, with the time of the playhead that lies beyond it."""
    box, growth = sign.box, theme.growth
    painter.fillRect(box, QColor(theme.playhead))
    ink = QColor(theme.ground)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(ink)
    reach = 4 * growth
    tip = box.left() + 4 * growth if sign.before else box.right() - 4 * growth
    back = tip + (reach if sign.before else -reach) * 1.5
    middle = box.center().y()
    painter.drawPolygon([QPointF(tip, middle), QPointF(back, middle - reach), QPointF(back, middle + reach)])
    painter.setPen(ink)
    painter.setFont(text_font(theme, 0.88))
    room = 14 * growth
    text_box = box.adjusted(room if sign.before else 0, 0, 0 if sign.before else -room, 0)
    painter.drawText(text_box, Qt.AlignmentFlag.AlignCenter, sign.words)


def paint_selection(painter: QPainter, picture: Picture, span: Span) -> None:
    """A chosen stretch, tinted, with its two edges."""
    if not picture.strips:
        return
    places = picture.places
    start = float(np.clip(picture.x_of(span.start), places.left, places.right))
    end = float(np.clip(picture.x_of(span.end), places.left, places.right))
    if end <= start:
        return
    painter.fillRect(QRectF(start, 0, end - start, places.axis[0]), _tint(picture.theme))
    for x in (start, end - 1):
        painter.fillRect(QRectF(x, 0, 1, places.axis[0]), QColor(picture.theme.soft_ink))


def paint_shaded(painter: QPainter, picture: Picture, spans: Sequence[Span]) -> None:
    """Stretches, tinted: one row of pixels stretched over the height, since hundreds of boxes take long."""
    stretches = np.array([(one.start, one.end) for one in spans], np.float64).reshape(-1, 2)
    flags = masked_columns(stretches, picture.scale)
    if flags is None or not picture.strips:
        return
    tint = _tint(picture.theme)
    parts = [round(part * tint.alphaF()) for part in (tint.red(), tint.green(), tint.blue())]
    pixel = tint.alpha() << 24 | parts[0] << 16 | parts[1] << 8 | parts[2]
    row = np.where(flags, np.uint32(pixel), np.uint32(0))
    image = QImage(row.data, len(row), 1, len(row) * 4, QImage.Format.Format_ARGB32_Premultiplied)
    left = picture.dots(picture.places.left) / picture.grain.down
    painter.drawImage(QRectF(left, 0, len(row) / picture.grain.across, picture.places.axis[0]), image)


def _tint(theme: Theme) -> QColor:
    tint = QColor(theme.selection)
    tint.setAlpha(56)
    return tint
