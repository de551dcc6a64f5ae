"""How times and numbers are written on screens: the reference clock or minutes from start, the person's locale."""

from __future__ import annotations

import math
from datetime import datetime

from PySide6.QtCore import QLocale, QObject, Signal

from ..strips.axis import TimeText

CLOCK = "reference clock"
MINUTES = "minutes from start"


def number(value: float, decimals: int) -> str:
    """A number with the locale's decimal sign, without grouping; a dash when there is none."""
    if not math.isfinite(value):
        return "–"
    locale = QLocale()
    locale.setNumberOptions(QLocale.NumberOption.OmitGroupSeparator)
    return locale.toString(
        round(float(value), decimals) + 0.0, "f", decimals
    )  # + 0.0: no minus before a zero


def length(seconds: float) -> str:
    """A duration: ``"0.4 s"``, ``"12 s"``, ``"247:05 min"``; hours are not split off: a team says 247 min."""
    if not math.isfinite(seconds):
        return "–"
    if seconds < 10:
        return f"{number(seconds, 1)} s"
    whole = round(seconds)
    return f"{whole} s" if whole < 60 else f"{whole // 60}:{whole % 60:02d} min"


def plus_minus(seconds: float) -> str:
    """The half-width of a 95 % interval: ``"± 0.4 s"``; nothing where none is known."""
    if not math.isfinite(seconds) or seconds <= 0:
        return ""
    return f"± {number(seconds, 1 if seconds < 10 else 0)} s"


class ClockFace(QObject):
    """Writes a reference time the way the person chose; everything on screen asks here.

    Signals
    -------
    changed()
        The display or the case's clock is another one: write all times again.
    """

    changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._start: datetime | None = None
        self._wanted = CLOCK

    @property
    def display(self) -> str:
        """`CLOCK` or `MINUTES`; minutes where the reference has no clock of its own."""
        return self._wanted if self._start is not None else MINUTES

    @property
    def wanted(self) -> str:
        """What the person chose, whether or not this case has a clock."""
        return self._wanted

    def set_start(self, start: datetime | None) -> None:
        """What the reference clock said at reference second 0."""
        self._start = start
        self.changed.emit()

    def set_display(self, display: str) -> None:
        """Choose `CLOCK` or `MINUTES`."""
        self._wanted = MINUTES if display == MINUTES else CLOCK
        self.changed.emit()

    def turn(self) -> None:
        """Change to the other display."""
        self.set_display(CLOCK if self._wanted == MINUTES else MINUTES)

    @property
    def writer(self) -> TimeText:
        """The same choice for the strips' axes and tips."""
        if self.display == MINUTES or self._start is None:
            return TimeText()
        # Only the time of day: the date is identity and nobody needs it to read a trace.
        midnight = self._start.replace(hour=0, minute=0, second=0, microsecond=0)
        return TimeText((self._start - midnight).total_seconds())

    def text(self, t: float, *, tenths: bool = False) -> str:
        """``"09:44:10"`` or ``"122:10"``; with tenths of a second where asked."""
        if not math.isfinite(t):
            return "–"
        return self.writer.write(t, 1 if tenths else 0).replace(".", QLocale().decimalPoint())

    @property
    def unit(self) -> str:
        """For a heading: what `text` counts."""
        return "Clock" if self.display == CLOCK else "Min:s"
