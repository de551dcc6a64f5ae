"""How times and numbers are written on screens: by the reference clock, from the start or a moment; the locale."""

from __future__ import annotations

import math
import re
from datetime import datetime

from afterclamp.io.case import Span
from PySide6.QtCore import QLocale, QObject, Signal

from ..strips.axis import TimeText

CLOCK = "reference clock"
MINUTES = "minutes from start"
MOMENT = "minutes from a moment"

_TIME = re.compile(r"(?P<sign>[-+]?)(?P<parts>\d+(?::\d{1,2}){0,2}(?:\.\d*)?)")


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


def _hours(seconds: float) -> str:
    """``"2:03:20"``."""
    whole = max(0, round(seconds))
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def plus_minus(seconds: float) -> str:
    """The half-width of a 95 % interval: ``"± 0.4 s"``; without limit, as from a clock that nobody set, unknown."""
    if seconds == math.inf:
        return "± unknown"
    return within(seconds) if math.isfinite(seconds) and seconds > 0 else ""


def within(seconds: float) -> str:
    """The same where nothing may be left out: a time that is known to the sample is ``"± < 0.1 s"``."""
    if seconds == math.inf:
        return "± unknown"
    if seconds < 0.1:
        return f"± < {number(0.1, 1)} s"
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
        self._moment: tuple[float, str] | None = None

    @property
    def display(self) -> str:
        """`CLOCK`, `MINUTES` or `MOMENT`; minutes where the reference has no clock, or no moment was chosen."""
        if self._wanted == MOMENT and self._moment is not None:
            return MOMENT
        return CLOCK if self._wanted != MINUTES and self._start is not None else MINUTES

    @property
    def words(self) -> str:
        """The display in words: ``"minutes from the start of no-flow arrest"``."""
        return f"minutes from {self._moment[1]}" if self.display == MOMENT and self._moment else self.display

    def count_from(self, t: float, words: str) -> None:
        """Show times as minutes before and after a moment, which is called `words`."""
        self._moment = (t, words)
        self._wanted = MOMENT
        self.changed.emit()

    def forget_moment(self) -> None:
        """Another case: its times have nothing to do with the moment that was chosen."""
        self._moment = None

    @property
    def wanted(self) -> str:
        """What the person chose, whether or not this case has a clock."""
        return self._wanted

    def set_start(self, start: datetime | None) -> None:
        """What the reference clock said at reference second 0."""
        self._start = start
        self.changed.emit()

    def set_display(self, display: str) -> None:
        """Choose `CLOCK`, `MINUTES` or, where a moment was chosen, `MOMENT`."""
        self._wanted = display if display in (MINUTES, MOMENT) else CLOCK
        self.changed.emit()

    def turn(self) -> None:
        """Change to the next display: clock, minutes from start, minutes from the moment that was chosen."""
        after = {CLOCK: MINUTES, MINUTES: MOMENT if self._moment is not None else CLOCK, MOMENT: CLOCK}
        self.set_display(after[self.display])

    @property
    def writer(self) -> TimeText:
        """The same choice for the strips' axes and tips."""
        if self.display == MOMENT and self._moment is not None:
            return TimeText(zero_s=self._moment[0], zero_name=self._moment[1])
        return TimeText() if self.display == MINUTES else self._clock_writer

    @property
    def _clock_writer(self) -> TimeText:
        if self._start is None:
            return TimeText()
        # Only the time of day: the date is identity and nobody needs it to read a trace.
        midnight = self._start.replace(hour=0, minute=0, second=0, microsecond=0)
        return TimeText((self._start - midnight).total_seconds())

    def text(self, t: float, *, tenths: bool = False) -> str:
        """``"09:44:10"`` or ``"122:10"``; with tenths of a second where asked."""
        return self._written(self.writer, t, tenths=tenths)

    @staticmethod
    def _written(writer: TimeText, t: float, *, tenths: bool = False) -> str:
        if not math.isfinite(t):
            return "–"
        return writer.write(t, 1 if tenths else 0).replace(".", QLocale().decimalPoint())

    def ways_to_write(self, within: Span) -> str:
        """The ways in which `read` takes a time, with examples of this case."""
        middle = (within.start + within.end) / 2
        minutes = f"minutes from its start ({number(middle / 60, 1)} or {_hours(middle)})"
        if self._start is None:
            return minutes
        return f"a clock time ({self._written(self._clock_writer, middle)}), or {minutes}"

    def read(self, text: str, within: Span) -> float:
        """Reference seconds of a time as people type it.

        ``14:03:20`` and ``14:03`` are what the reference clock said, ``123.5`` (or ``123,5``) and ``123:30``
        are minutes, and ``2:03:20`` hours, from the start. What can be read in more than one way is what lies
        within the case; where both do, it goes by how times are shown.

        Parameters
        ----------
        text : str
        within : Span
            The case.

        Raises
        ------
        ValueError
            Saying what was not understood, or that it lies outside the case.
        """
        typed = text.strip().replace(",", ".").replace("−", "-")
        ways = self._ways(typed)
        if not ways:
            raise ValueError(
                f"“{text.strip()}” is no time. Type {self.ways_to_write(within)}."
                if typed
                else f"Type {self.ways_to_write(within)}."
            )
        # The last sample's second is still within: what is shown is rounded to it.
        inside = [t for t in ways if within.start - 1 <= t <= within.end + 1]
        if not inside:
            raise ValueError(
                f"{text.strip()} lies outside the case, which runs from {self.text(within.start)}"
                f" to {self.text(within.end)}."
            )
        return min(max(inside[0], within.start), within.end)

    def _ways(self, typed: str) -> list[float]:
        """Reference seconds in every way that a text can be read, the likeliest first."""
        found = _TIME.fullmatch(typed)
        if found is None:
            return []
        sign = -1.0 if found["sign"] == "-" else 1.0
        numbers = [float(part) for part in found["parts"].split(":")]
        if any(part >= 60 for part in numbers[1:]):
            return []
        if found["sign"] and self.display == MOMENT and self._moment is not None:
            # As it stands on the screen: before or after the moment that times are counted from.
            minutes = numbers[0] if len(numbers) < 3 else 60 * numbers[0] + numbers[1]
            seconds_of = numbers[-1] if len(numbers) > 1 else 0.0
            return [self._moment[0] + sign * (60 * minutes + seconds_of)]
        if len(numbers) == 1:
            return [sign * 60 * numbers[0]]
        count = sign * sum(part * 60**power for power, part in enumerate(reversed(numbers)))
        # Two parts are minutes and seconds, or hours and minutes.
        seconds = [count] if len(numbers) == 3 else [count, 60 * count]
        clock = [] if found["sign"] or numbers[0] >= 24 else self._by_clock(numbers)
        return clock + seconds if self.display == CLOCK else seconds + clock

    def _by_clock(self, numbers: list[float]) -> list[float]:
        """Reference seconds at which the reference clock said this, on the day the case began and the next."""
        zero = self._clock_writer.zero_of_day
        if zero is None:
            return []
        hour, minute, second = (*numbers, 0.0)[:3]
        t = 3600 * hour + 60 * minute + second - zero
        return [t, t + 86400.0, t - 86400.0]

    @property
    def unit(self) -> str:
        """For a heading: what `text` counts."""
        return "Clock" if self.display == CLOCK else "Min:s"
