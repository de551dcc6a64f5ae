"""Ticks: round times and round values, with labels that never touch. Numbers and text only, no painting."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, log10
from typing import Final

_DAY: Final = 86400.0
_TIME_STEPS: Final = (
    *(0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0),
    *(60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10800.0, 21600.0, 43200.0, _DAY),
)
_VALUE_STEPS: Final = (1.0, 2.0, 2.5, 5.0)
_ROOM: Final = 14.0  # pixels between two labels


@dataclass(frozen=True, slots=True)
class TimeText:
    """How a moment is written: minutes from the start or from another moment, or what the reference clock said.

    Attributes
    ----------
    zero_of_day : float or None
        Seconds after midnight that the reference clock showed at reference time 0; None writes minutes and
        seconds instead.
    zero_s : float
        Reference time from which those are counted.
    zero_name : str
        What happened then; empty: the start.
    """

    zero_of_day: float | None = None
    zero_s: float = 0.0
    zero_name: str = ""

    @property
    def title(self) -> str:
        """What stands beside the axis."""
        if self.zero_of_day is None:
            return f"min:s from {self.zero_name or 'start'}"
        return "clock h:min:s"

    @property
    def shift_s(self) -> float:
        """What is written of a reference time, less that time."""
        return -self.zero_s if self.zero_of_day is None else self.zero_of_day

    def write(self, t: float, decimals: int = 0) -> str:
        """A reference time in seconds as text: ``131:18``, ``-0:30.5``, ``+2:00`` or ``09:53:18``."""
        parts = 10**decimals
        count = round((t - self.zero_s) * parts) if self.zero_of_day is None else round(t * parts)
        if self.zero_of_day is not None:
            count = (count + round(self.zero_of_day * parts)) % round(_DAY * parts)
        # Counted from a moment in the middle, both sides carry their sign.
        sign = "-" if count < 0 else "+" if self.zero_name and count > 0 and self.zero_of_day is None else ""
        seconds, fraction = divmod(abs(count), parts)
        tail = f".{fraction:0{decimals}d}" if decimals else ""
        minutes, seconds = divmod(seconds, 60)
        if self.zero_of_day is None:
            return f"{sign}{minutes}:{seconds:02d}{tail}"
        return f"{minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}{tail}"


FROM_START: Final = TimeText()
"""Minutes and seconds from the start."""


@dataclass(frozen=True, slots=True)
class TimeTicks:
    """Ticks of a time axis.

    Attributes
    ----------
    step : float
        Seconds between labelled ticks.
    labelled : tuple of (float, str)
        Reference seconds and text.
    between : tuple of float
        Reference seconds of the ticks without text.
    """

    step: float
    labelled: tuple[tuple[float, str], ...]
    between: tuple[float, ...]


def time_ticks(
    start: float, end: float, width: float, measure: Callable[[str], float], text: TimeText
) -> TimeTicks:
    """Ticks at round times, as many as fit without labels touching.

    Parameters
    ----------
    start, end : float
        Reference seconds at the two ends of the axis.
    width : float
        Pixels between them.
    measure : callable
        Pixels that a label takes.
    text : TimeText
        How labels are written; ticks are round in what it writes.

    Returns
    -------
    TimeTicks
        Empty where the axis has no length.
    """
    if not (end > start and width > 0):
        return TimeTicks(0.0, (), ())
    per_second = width / (end - start)
    step = _TIME_STEPS[-1]
    for step in _TIME_STEPS:
        if step * per_second < 2 * _ROOM:
            continue  # no label is that short
        decimals = decimals_of(step)
        widest = max(measure(_widest(text.write(t, decimals))) for t in (start, end))
        if step * per_second >= widest + _ROOM:
            break
    else:
        widest = max(measure(_widest(text.write(t))) for t in (start, end))
        while step * per_second < widest + _ROOM:
            step *= 2
    zero = text.shift_s
    labelled = tuple((t, text.write(t, decimals_of(step))) for t in _multiples(start, end, step, zero))
    finer = [s for s in _TIME_STEPS if s < step and s * per_second >= 6 and _divides(s, step)]
    between: tuple[float, ...] = ()
    if finer:
        fine = min(finer, key=lambda s: abs(step / s - 5))
        every = round(step / fine)
        first = ceil((start + zero) / fine - 1e-9)
        fine_ticks = _multiples(start, end, fine, zero)
        between = tuple(t for number, t in enumerate(fine_ticks, first) if number % every)
    return TimeTicks(step, labelled, between)


def decimals_of(step: float) -> int:
    """Decimals that a multiple of `step` needs, at most three."""
    return 0 if step >= 1 else min(3, ceil(-log10(step) - 1e-9))


@lru_cache(maxsize=256)
def value_ticks(low: float, high: float, most: int) -> tuple[float, ...]:
    """Two to `most` round values within ``low`` to ``high``; the two ends where no round ones fit."""
    if not high > low:
        return ()
    power = 10.0 ** (floor(log10(high - low)) - 2)
    for decade in range(5):
        for base in _VALUE_STEPS:
            step = base * power * 10.0**decade
            first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
            if last - first + 1 <= max(most, 2):
                if last - first < 1:
                    return (low, high)
                return tuple(round(index * step, 12) for index in range(first, last + 1))
    return (low, high)


def write_value(value: float) -> str:
    """A tick's value in as few digits as it needs, with a true minus sign."""
    return f"{value:.6g}".replace("-", "\N{MINUS SIGN}")


def _widest(label: str) -> str:
    return "".join("8" if letter.isdigit() else letter for letter in label)


def _divides(small: float, large: float) -> bool:
    return abs(large / small - round(large / small)) < 1e-6


def _multiples(start: float, end: float, step: float, zero: float) -> list[float]:
    first, last = ceil((start + zero) / step - 1e-9), floor((end + zero) / step + 1e-9)
    return [index * step - zero for index in range(first, last + 1)]
