"""The pictures of a case paper, by the painter that draws the desk's strips."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, floor
from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import QBuffer, QIODevice, QRectF, Qt
from PySide6.QtGui import QGuiApplication, QImage, QImageWriter, QPainter
from PySide6.QtWidgets import QApplication

from ..strips.axis import TimeText
from ..strips.courses import masked_stretches
from ..strips.lanes import Bar, Lane, lanes_of, pack
from ..strips.layout import Strip, strips_of
from ..strips.painter import Picture as StripsPicture
from ..strips.painter import paint_strips
from ..strips.theme import PAPER
from ..wording import Z95, length, phase_name
from .clock_picture import paint_clock
from .clock_section import PLAIN_ROWS
from .content import Picture
from .moments import SHORT_S
from .small import paint_small

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel, Span

IMAGE_W = 1400
STRIP_H = 104
BASE_H = 110  # lanes and time axis
MOST_H = 900
OVERVIEW_H = 1150
SMALL_W, SMALL_H = 360, 120
CLOCK_H, CLOCK_LEAST_H = 720, 470
STRETCH_MMHG = (-60.0, 420.0)  # a flush reaches 300 mmHg; what lies beyond is the device's
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
        """Strips that hold a channel of the picture; all of them when it names none.

        A short thing that the picture is about fits into them: their values reach as far as the traces do
        meanwhile.
        """
        wanted = set(picture.channels)
        chosen = [strip for strip in self._strips if wanted & {trace.channel.id for trace in strip.traces}]
        if picture.marked is None or picture.marked.duration >= SHORT_S:
            return chosen or self._strips
        return [_stretched(strip, picture.marked) for strip in chosen or self._strips]

    def paint(self, painter: QPainter, rect: QRectF, picture: Picture, *, vector: bool = True) -> None:
        """Paint a picture into a rectangle."""
        if picture.look == "strips":
            self._paint_strips(painter, rect, picture, vector)
            return
        painter.save()
        painter.translate(rect.topLeft())
        growth = _growth(painter) if vector else 1.0
        painter.scale(growth, growth)
        width, height = rect.width() / growth, rect.height() / growth
        if picture.look == "small":
            paint_small(painter, width, height, self._channels(picture), picture, PAGE if vector else PAPER)
        elif picture.clock is not None:
            paint_clock(
                painter, width, height, self._case, picture.span, picture.clock, PAGE if vector else PAPER
            )
        else:
            self._paint_overview(painter, int(width), int(height), picture, vector)
        painter.restore()

    def _channels(self, picture: Picture) -> list[Channel]:
        """The channels that a picture names; those that the case does not know are left out."""
        found = (self._case.get(name) for name in picture.channels)
        return [channel for channel in found if channel is not None]

    def _paint_strips(self, painter: QPainter, rect: QRectF, picture: Picture, vector: bool) -> None:
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

    def _paint_overview(
        self, painter: QPainter, width: int, height: int, picture: Picture, vector: bool
    ) -> None:
        """All strips, with every kind of phase in a row that carries its name."""
        drawn = StripsPicture(PAGE if vector else PAPER)
        lanes = (*phase_rows(self._phases), *lanes_of(finds=self._finds, marks=self._marks))
        drawn.show(self._case, self.strips(picture), lanes)
        drawn.masked = masked_stretches(self._case, self._masked)
        drawn.time_text = self._time_text
        drawn.paint(painter, width, height, picture.span, vector=vector)

    def png(self, picture: Picture) -> bytes:
        """A picture as a PNG file."""
        width, height = IMAGE_W, min(BASE_H + STRIP_H * len(self.strips(picture)), MOST_H)
        if picture.look == "small":
            width, height = SMALL_W, SMALL_H
        elif picture.look == "overview":
            height = OVERVIEW_H
        elif picture.look == "clock":
            height = CLOCK_H if picture.rows > PLAIN_ROWS else CLOCK_LEAST_H
        image = QImage(width, height, QImage.Format.Format_RGB32)
        image.fill(Qt.GlobalColor.white)
        painter = QPainter(image)
        try:
            self.paint(painter, QRectF(0, 0, width, height), picture, vector=False)
        finally:
            painter.end()
        buffer = QBuffer()
        buffer.open(QIODevice.OpenModeFlag.WriteOnly)
        QImageWriter(buffer, b"png").write(image)
        return bytes(buffer.data().data())


@dataclass(frozen=True)
class NamedLane(Lane):
    """A lane with a name of its own in the margin."""

    name: str = ""

    @property
    def title(self) -> str:
        """What the lane shows; a question mark where the clock of its times was set by nobody."""
        return f"{self.name} ?" if self.clock_unset else self.name


def phase_rows(phases: Sequence[Any]) -> list[NamedLane]:
    """A row for each kind of phase, in order of first start; its bars say how long they are.

    What lies before and after bypass needs no row: the row of bypass shows it.
    """
    rows = []
    tokens = dict.fromkeys(phase.name for phase in phases)
    for token in [one for one in tokens if one not in ("pre", "post") or "bypass" not in tokens]:
        bars = [
            Bar(phase.start_s, phase.end_s, length(phase.duration_s), sd_s=phase.unc_s / Z95)
            for phase in phases
            if phase.name == token
        ]
        rows.append(NamedLane(**vars(pack("phase", bars, most_rows=1)), name=phase_name(token)))
    return rows


def _growth(painter: QPainter) -> float:
    """Device units in a pixel of 96 an inch: sizes of the pictures are meant so."""
    return painter.device().logicalDpiX() / 96.0 / (painter.deviceTransform().m11() or 1.0)


def _stretched(strip: Strip, marked: Span) -> Strip:
    """The strip with its values reaching as far as its traces do in a stretch."""
    low, high = strip.y_range
    for trace in strip.traces:
        envelope = trace.channel.envelope(marked.start, max(marked.end, marked.start + 1.0), 200)
        lo, hi = envelope.lo[np.isfinite(envelope.lo)], envelope.hi[np.isfinite(envelope.hi)]
        if lo.size and trace.channel.unit == "mm[Hg]":
            low = min(low, max(float(lo.min()), STRETCH_MMHG[0]))
            high = max(high, min(float(hi.max()), STRETCH_MMHG[1]))
    if (low, high) == strip.y_range:
        return strip
    step = 50.0 if high - low > 100 else 10.0
    return replace(strip, y_range=(floor(low / step) * step, ceil(high / step) * step))


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
