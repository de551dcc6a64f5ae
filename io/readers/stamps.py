"""Row times as written, to whole ticks of the finest digit that is written.

A clock of the day that falls by about a day has crossed midnight. Any other backward step stays: it is a
clock that was set back, and starts a new run.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..recording import FloatArray
from .column_map import TimeKind
from .layout import CLOCK, DATETIME

DAY_S: Final = 86400.0
UNIT_S: Final[dict[TimeKind, float]] = {
    "seconds": 1.0,
    "milliseconds": 1e-3,
    "minutes": 60.0,
    "epoch_s": 1.0,
    "epoch_ms": 1e-3,
}
_CLOCK_PARTS = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?(?: ?([AaPp])[Mm])?")
_EPOCH = datetime(1970, 1, 1)
# A fall of more than this on a clock of the day is midnight; a rise of more than the other is a clock that
# was set back across midnight.
_MIDNIGHT_FALL_S: Final = DAY_S / 2
_MIDNIGHT_RISE_S: Final = DAY_S - 3600.0


class BadStamp(ValueError):
    """A text that is no time of the expected kind; `row` counts from the first row of the chunk."""

    def __init__(self, row: int, text: str) -> None:
        super().__init__(text)
        self.row = row
        self.text = text


@dataclass
class TextStamps:
    """Reads chunks of clock or date-and-time texts to seconds.

    Seconds count from midnight (clock) or from 1970 by the wall clock of the first row (date and time):
    where rows carry a shift from universal time, later shifts are brought to that of the first row.
    """

    kind: TimeKind
    decimals: int = 0  # of the seconds, as written
    whole_minutes: bool = False  # some row has no seconds
    has_seconds: bool = False
    shift: timedelta | None = None
    _days: dict[bytes, float] = field(default_factory=dict)

    def read(self, texts: Sequence[Any]) -> FloatArray:
        """Seconds of a chunk, in order. Raises `BadStamp`."""
        try:
            fixed = np.array(texts, dtype="S")
        except (UnicodeEncodeError, TypeError, ValueError):
            return self._one_by_one(texts, range(len(texts)))
        if fixed.ndim != 1 or fixed.dtype.itemsize == 0 or not len(fixed):
            return self._one_by_one(texts, range(len(texts)))
        signs = fixed.view(np.uint8).reshape(len(fixed), fixed.dtype.itemsize)
        lengths = (signs != 0).sum(axis=1)
        seconds = np.empty(len(fixed))
        for length in np.unique(lengths).tolist():
            rows = np.flatnonzero(lengths == length)
            seconds[rows] = self._of_one_length(texts, signs[rows, :length], rows)
        return seconds

    def _of_one_length(
        self, texts: Sequence[Any], signs: NDArray[np.uint8], rows: NDArray[np.intp]
    ) -> FloatArray:
        """Rows that are written alike, all at once: digits stand where the first row has them."""
        example = str(texts[int(rows[0])]) if len(rows) else ""
        form = CLOCK if self.kind == "clock" else DATETIME
        plain = (
            form.fullmatch(example) is not None
            and re.search(r"[AaPpZ]|[+-]\d\d:?\d\d$", example[10:]) is None
        )
        if not plain or (self.kind == "clock" and re.search("[AaPp]", example)):
            return self._one_by_one(texts, rows.tolist())
        is_digit = np.array([sign.isdigit() for sign in example])
        digits = signs[:, is_digit]
        others = signs[:, ~is_digit]
        expected = np.frombuffer(example.encode(), np.uint8)[~is_digit]
        if ((digits < 48) | (digits > 57)).any() or (others != expected).any():
            return self._one_by_one(texts, rows.tolist())
        start = 0 if self.kind == "clock" else 11
        hour_ends = example.index(":", start)
        values = signs.astype(np.int64) - 48

        def number(first: int, last: int) -> NDArray[np.int64]:
            powers = 10 ** np.arange(last - first - 1, -1, -1, dtype=np.int64)
            return np.asarray(values[:, first:last] @ powers, dtype=np.int64)

        hours, minutes = number(start, hour_ends), number(hour_ends + 1, hour_ends + 3)
        whole = np.zeros(len(rows), np.int64)
        fraction = np.zeros(len(rows))
        if len(example) > hour_ends + 3:
            whole = number(hour_ends + 4, hour_ends + 6)
            self.has_seconds = True
            after = len(example) - (hour_ends + 7)
            if after > 0:
                fraction = number(hour_ends + 7, len(example)) / 10.0**after
                self.decimals = max(self.decimals, after)
        else:
            self.whole_minutes = True
        wrong = (hours > 23) | (minutes > 59) | (whole > 59)
        if wrong.any():
            row = int(rows[int(np.argmax(wrong))])
            raise BadStamp(row, str(texts[row]))
        seconds = (hours * 3600 + minutes * 60 + whole).astype(np.float64)
        if start:
            seconds += self._dates(texts, signs, rows)
        return seconds + fraction

    def _dates(self, texts: Sequence[Any], signs: NDArray[np.uint8], rows: NDArray[np.intp]) -> FloatArray:
        days = np.ascontiguousarray(signs[:, :10]).view("S10").reshape(-1)
        different, first, which = np.unique(days, return_index=True, return_inverse=True)
        for day, row in zip(different.tolist(), first.tolist(), strict=True):
            if day not in self._days:
                try:
                    since = date.fromisoformat(day.decode()) - _EPOCH.date()
                except ValueError:
                    at = int(rows[row])
                    raise BadStamp(at, str(texts[at])) from None
                self._days[day] = since.days * DAY_S
        return np.array([self._days[day] for day in different.tolist()])[which]

    def _one_by_one(self, texts: Sequence[Any], rows: Sequence[int]) -> FloatArray:
        return np.array([self._one(row, texts[row]) for row in rows], dtype=np.float64)

    def _one(self, row: int, text: Any) -> float:
        if not isinstance(text, str):
            raise BadStamp(row, "")
        text = text.strip()
        day_s = 0.0
        shift: timedelta | None = None
        if self.kind == "datetime":
            if not DATETIME.fullmatch(text):
                raise BadStamp(row, text)
            try:
                shift = datetime.fromisoformat(text.replace(",", ".")).utcoffset()
                day_s = (date.fromisoformat(text[:10]) - _EPOCH.date()).days * DAY_S
            except ValueError:
                raise BadStamp(row, text) from None
            text = re.split(r" ?(?:Z|[+-]\d{2}:?\d{2})$", text[11:])[0]
        match = _CLOCK_PARTS.fullmatch(text)
        if match is None:
            raise BadStamp(row, text)
        hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
        if match[5]:
            if not 1 <= hour <= 12:
                raise BadStamp(row, text)
            hour = hour % 12 + (12 if match[5] in "Pp" else 0)
        if hour > 23 or minute > 59 or second > 59:
            raise BadStamp(row, text)
        self.whole_minutes |= match[3] is None
        self.has_seconds |= match[3] is not None
        self.decimals = max(self.decimals, len(match[4] or ""))
        fraction = int(match[4]) / 10.0 ** len(match[4]) if match[4] else 0.0
        seconds = day_s + hour * 3600.0 + minute * 60.0 + second + fraction
        if shift is not None:
            if self.shift is None:
                self.shift = shift
            seconds += (self.shift - shift).total_seconds()
        return seconds


@dataclass(frozen=True, slots=True)
class RowTimes:
    """Times of all rows.

    Attributes
    ----------
    ticks : ndarray of int64 or None
        Since the first row, in units of `tick_s`; None where no digit is the last one (`tick_s` is 0).
    seconds : ndarray of float64
        The same in seconds.
    tick_s : float
        The finest step that can be written.
    run : ndarray of int32
        Run of each row: how often the clock went back before it.
    first_stamp : datetime or None
        What the clock said at the first row.
    dated : bool
        Whether the date was written.
    """

    ticks: NDArray[np.int64] | None
    seconds: FloatArray
    tick_s: float
    run: NDArray[np.int32]
    first_stamp: datetime | None
    dated: bool


def row_times(
    stamps: FloatArray, kind: TimeKind, decimals: int | None, whole_minutes: bool = False
) -> RowTimes:
    """Times of all rows from their stamps.

    Parameters
    ----------
    stamps : ndarray of float64, shape (rows,)
        In the unit of `kind`; clocks in seconds of the day.
    kind : str
        What the stamps are.
    decimals : int or None
        Digits after the point that were written; None: found out from the numbers.
    whole_minutes : bool
        Whether no row carries seconds.

    Returns
    -------
    RowTimes
        Seconds since the first row, midnights made good, runs counted.
    """
    unit_s = UNIT_S.get(kind, 1.0)
    if decimals is None:
        decimals = _decimals_of(stamps)
    tick = 60.0 if whole_minutes else 10.0**-decimals if decimals is not None else 0.0
    since = stamps - stamps[0]
    ticks: NDArray[np.int64] | None = None
    if decimals is not None or whole_minutes:
        scale = 1.0 / 60.0 if whole_minutes else 10.0 ** (decimals or 0)
        ticks = np.rint(since * scale).astype(np.int64)
    if kind == "clock":
        day = round(DAY_S / tick)
        assert ticks is not None  # a clock text always has a last digit
        steps = np.diff(ticks, prepend=ticks[:1])
        turns = (steps < -_MIDNIGHT_FALL_S / tick).astype(np.int64) - (steps > _MIDNIGHT_RISE_S / tick)
        ticks = ticks + np.cumsum(turns) * day
    if ticks is not None:
        # Divided, not multiplied by 0.001: a division by a power of ten rounds only once.
        seconds = ticks * (tick * unit_s) if tick >= 1 else ticks / (10.0 ** (decimals or 0) / unit_s)
        back = np.diff(ticks, prepend=ticks[:1]) < 0
    else:
        seconds = since * unit_s
        back = np.diff(seconds, prepend=seconds[:1]) < 0
    return RowTimes(
        ticks=ticks,
        seconds=np.asarray(seconds, dtype=np.float64),
        tick_s=tick * unit_s,
        run=np.cumsum(back).astype(np.int32),
        first_stamp=_stamp_of(float(stamps[0]) * unit_s, kind),
        dated=kind in ("datetime", "epoch_s", "epoch_ms"),
    )


def _stamp_of(seconds: float, kind: TimeKind) -> datetime | None:
    if kind == "clock":
        return datetime(2000, 1, 1) + timedelta(seconds=seconds)
    if kind in ("datetime", "epoch_s", "epoch_ms"):
        return _EPOCH + timedelta(seconds=seconds)
    return None


def _decimals_of(stamps: FloatArray) -> int | None:
    """Digits after the point that the numbers were written with; None if they use all a float has."""
    some = stamps[:: max(1, len(stamps) // 20000)]
    ends = np.concatenate([stamps[:5000], some])
    for decimals in range(10):
        scaled = ends * 10.0**decimals
        # Twice the spacing of floats at this size is what reading and multiplying can cost.
        slack = 2.0 * np.spacing(np.abs(scaled).max(initial=1.0)) + 1e-9
        if slack > 0.1:
            return None
        if (np.abs(scaled - np.rint(scaled)) <= slack).all():
            return decimals
    return None
