"""A4 pages of millimetres with a title above and a footer below, and text set on them by hand."""

from __future__ import annotations

from PySide6.QtCore import QBuffer, QIODevice, QMarginsF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPageLayout, QPageSize, QPainter, QPdfWriter, QPen

PAGE_W, PAGE_H = 210.0, 297.0
LEFT, RIGHT, TOP = 16.0, 16.0, 14.0
WIDTH = PAGE_W - LEFT - RIGHT
FOOT_TOP = PAGE_H - 27.0  # the footer's rule
BOTTOM = FOOT_TOP - 3.0  # where content ends
RESOLUTION = 300
INK, SOFT, LINE = QColor("#1a1a18"), QColor("#55554f"), QColor("#c8c8c0")

_WRAP = int(Qt.TextFlag.TextWordWrap)
FLUSH_LEFT = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop) | _WRAP
FLUSH_RIGHT = int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop) | _WRAP


class Sheet:
    """A PDF file in the making, and where on its page the next thing goes."""

    def __init__(self, title: str, footer: str, total: int) -> None:
        self._title, self._footer, self._total = title, footer, total
        self._p = QPainter()  # begun by whoever lays something out
        self._buffer = QBuffer()
        self._buffer.open(QIODevice.OpenModeFlag.WriteOnly)
        self._writer = QPdfWriter(self._buffer)
        self._writer.setResolution(RESOLUTION)
        self._writer.setPageLayout(
            QPageLayout(
                QPageSize(QPageSize.PageSizeId.A4), QPageLayout.Orientation.Portrait, QMarginsF(0, 0, 0, 0)
            )
        )
        self._writer.setTitle(title)
        self._writer.setCreator("afterclamp")
        self._mm = RESOLUTION / 25.4
        self._page = 0
        self._y = TOP

    def _data(self) -> bytes:
        """The finished file."""
        self._buffer.close()
        return bytes(self._buffer.data().data())

    # -- page ---------------------------------------------------------------------------------------

    def _new_page(self) -> None:
        if self._page:
            self._writer.newPage()
        self._page += 1
        self._y = TOP
        self._text(self._title, 7.5, TOP - 6, colour=SOFT, advance=False)
        self._text(
            f"page {self._page} of {self._total or self._page}",
            7.5,
            TOP - 6,
            colour=SOFT,
            flags=FLUSH_RIGHT,
            advance=False,
        )
        self._rule(FOOT_TOP)
        self._text(self._footer, 6.3, FOOT_TOP + 1.5, colour=SOFT, advance=False)

    def _room(self, height: float) -> None:
        """A new page unless this much is left on this one."""
        if self._y + height > BOTTOM and self._y > TOP:
            self._new_page()

    # -- text ---------------------------------------------------------------------------------------

    def _font(self, size: float, bold: bool) -> QFont:
        font = QFont("DejaVu Sans")
        font.setPointSizeF(size)
        font.setBold(bold)
        return font

    def _height(self, text: str, size: float, width: float = WIDTH, *, bold: bool = False) -> float:
        metrics = QFontMetricsF(self._font(size, bold), self._writer)
        text = breakable(text, metrics, width * self._mm)
        box = metrics.boundingRect(QRectF(0, 0, width * self._mm, 1e6), FLUSH_LEFT, text)
        return box.height() / self._mm

    def _text(
        self,
        text: str,
        size: float,
        top: float,
        *,
        bold: bool = False,
        colour: QColor = INK,
        flags: int = FLUSH_LEFT,
        left: float = LEFT,
        width: float = WIDTH,
        advance: bool = True,
    ) -> None:
        height = self._height(text, size, width, bold=bold)
        font = self._font(size, bold)
        text = breakable(text, QFontMetricsF(font, self._writer), width * self._mm)
        self._p.setFont(font)
        self._p.setPen(colour)
        # A hair more than measured: the last line must not be lost to rounding.
        box = QRectF(left * self._mm, top * self._mm, width * self._mm, (height + 0.5) * self._mm)
        self._p.drawText(box, flags | int(Qt.TextFlag.TextDontClip), text)
        if advance:
            self._y = top + height + 0.4

    def _rule(self, y: float, colour: QColor = LINE) -> None:
        pen = QPen(colour)
        pen.setWidthF(0.2 * self._mm)
        self._p.setPen(pen)
        self._p.drawLine(
            round(LEFT * self._mm),
            round(y * self._mm),
            round((PAGE_W - RIGHT) * self._mm),
            round(y * self._mm),
        )


def roomy(widths: list[float], least: list[float]) -> list[float]:
    """Widths of columns, with room given to those that are narrower than they must be by those that can spare it."""
    missing = sum(max(0.0, need - width) for width, need in zip(widths, least, strict=True))
    spare = sum(max(0.0, width - need) for width, need in zip(widths, least, strict=True))
    if not missing or not spare:
        return widths
    given = min(1.0, spare / missing)
    taken = missing * given / spare
    return [
        width + given * (need - width) if need > width else width - taken * (width - need)
        for width, need in zip(widths, least, strict=True)
    ]


def breakable(text: str, metrics: QFontMetricsF, width: float) -> str:
    """The text with a place to break in every word that alone is wider than its line."""
    if all(metrics.horizontalAdvance(word) <= width for word in text.split()):
        return text
    words = []
    for word in text.split(" "):
        pieces = [""]
        for letter in word:
            if pieces[-1] and metrics.horizontalAdvance(pieces[-1] + letter) > width:
                pieces.append("")
            pieces[-1] += letter
        words.append("\u200b".join(pieces))
    return " ".join(words)
