"""The pictures of a case paper, by the painter that draws the desk's strips."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QBuffer, QIODevice, QRectF, Qt
from PySide6.QtGui import QGuiApplication, QImage, QImageWriter, QPainter
from PySide6.QtWidgets import QApplication

from ..strips.axis import TimeText
from ..strips.layout import Strip, strips_of
from ..strips.painter import paint_strips
from ..strips.theme import PAPER
from .content import Picture

if TYPE_CHECKING:
    from afterclamp.io.case import Case

IMAGE_W = 1400
STRIP_H = 104
BASE_H = 110  # lanes and time axis
MOST_H = 900
PAGE = PAPER.larger(0.8)  # a page is read from nearer than a screen


_OWN: list[QGuiApplication] = []  # one for the process: a second one after the first has gone is not safe


def application() -> None:
    """See to it that an application runs: pictures and PDF need one, but no window and no display."""
    if QGuiApplication.instance() is None:
        _OWN.append(QApplication(["afterclamp", "-platform", "offscreen"]))


class Painter:
    """Paints any picture of one case.

    Parameters
    ----------
    case : Case
        What is shown.
    phases, finds, marks : sequences
        For the lanes above the strips.
    masked : mapping of str to array of bool
        By channel id, a flag for each second of the case's grid.
    """

    def __init__(
        self,
        case: Case,
        *,
        phases: Sequence[Any] = (),
        finds: Sequence[Any] = (),
        marks: Sequence[Any] = (),
        masked: Mapping[str, Any] | None = None,
    ) -> None:
        self._case = case
        self._strips = strips_of(case)
        self._phases, self._finds, self._marks = phases, finds, marks
        self._masked = masked
        start = case.start_clock
        # Only the time of day: the date is identity, and nobody needs it to read a trace.
        self._time_text = TimeText(
            None
            if start is None
            else start.hour * 3600.0 + start.minute * 60.0 + start.second + start.microsecond / 1e6
        )

    def strips(self, picture: Picture) -> list[Strip]:
        """Strips that hold a channel of the picture; all of them when it names none."""
        wanted = set(picture.channels)
        chosen = [strip for strip in self._strips if wanted & {trace.channel.id for trace in strip.traces}]
        return chosen or self._strips

    def paint(self, painter: QPainter, rect: QRectF, picture: Picture, *, vector: bool = True) -> None:
        """Paint a picture into a rectangle."""
        paint_strips(
            painter,
            rect,
            self._case,
            picture.span,
            self.strips(picture),
            masked=self._masked,
            selected=picture.marked if picture.marked is not None and picture.marked.duration > 0 else None,
            playhead=picture.marked.start
            if picture.marked is not None and picture.marked.duration <= 0
            else None,
            time_text=self._time_text,
            vector=vector,
            theme=PAGE if vector else PAPER,
            phases=self._phases,
            finds=self._finds,
            marks=self._marks,
        )

    def png(self, picture: Picture) -> bytes:
        """A picture as a PNG file."""
        height = min(BASE_H + STRIP_H * len(self.strips(picture)), MOST_H)
        image = QImage(IMAGE_W, height, QImage.Format.Format_RGB32)
        image.fill(Qt.GlobalColor.white)
        painter = QPainter(image)
        try:
            self.paint(painter, QRectF(0, 0, IMAGE_W, height), picture, vector=False)
        finally:
            painter.end()
        buffer = QBuffer()
        buffer.open(QIODevice.OpenModeFlag.WriteOnly)
        QImageWriter(buffer, b"png").write(image)
        return bytes(buffer.data().data())


def png_of_all(
    painter: Painter, pictures: Sequence[Picture], tell: Callable[[float], None] | None = None
) -> dict[Picture, bytes]:
    """Every picture as a PNG file."""
    made: dict[Picture, bytes] = {}
    for number, picture in enumerate(pictures):
        made[picture] = painter.png(picture)
        if tell is not None:
            tell((number + 1) / len(pictures))
    return made
