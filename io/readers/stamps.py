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
from .cells import CLOCK, DATETIME
from .column_map import TimeKind

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
_PIECE = 1 << 18
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
    """Times of all rows since the first.

    Attributes
    ----------
    ticks : ndarray of int64 or None
        In units of `tick_s`; None where no digit is the last one (`tick_s` is 0 then).
    exact : ndarray of float64 or None
        Seconds instead, where there are no ticks.
    tick_s : float
        The finest step that can be written, seconds.
    per_second : float
        Ticks in a second: dividing by 1000 rounds once, multiplying by 0.001 twice.
    run : ndarray of int32
        Run of each row: how often the clock went back before it.
    first_stamp : datetime or None
        What the clock said at the first row.
    dated : bool
        Whether the date was written.
    """

    ticks: NDArray[np.int64] | None
    exact: FloatArray | None
    tick_s: float
    per_second: float
    run: NDArray[np.int32]
    first_stamp: datetime | None
    dated: bool

    def seconds(self, rows: NDArray[np.intp] | None = None) -> FloatArray:
        """Seconds of all rows, or of some; made when asked for, since a long table has many."""
        if self.ticks is not None:
            return np.asarray(
                (self.ticks if rows is None else self.ticks[rows]) / self.per_second, dtype=np.float64
            )
        assert self.exact is not None  # one of the two is always there
        return self.exact if rows is None else self.exact[rows]

    @property
    def count(self) -> int:
        """Number of rows."""
        return len(self.run)


def even_times(rows: int, rate_hz: float) -> RowTimes:
    """Times of a table without stamps whose rate is told."""
    return RowTimes(
        ticks=np.arange(rows, dtype=np.int64),
        exact=None,
        tick_s=1.0 / rate_hz,
        per_second=rate_hz,
        run=np.zeros(rows, np.int32),
        first_stamp=None,
        dated=False,
    )


def row_times(
    stamps: FloatArray, kind: TimeKind, decimals: int | None, whole_minutes: bool = False
) -> RowTimes:
    """Times of all rows from their stamps.

    Parameters
    ----------
    stamps : ndarray of float64, shape (rows,)
        In the unit of `kind`; clocks in seconds of the day. Used up: a long table has many, and their
        memory is needed for the ticks.
    kind : str
        What the stamps are.
    decimals : int or None
        Digits after the point that were written; None: found out from the numbers.
    whole_minutes : bool
        Whether no row carries seconds.

    Returns
    -------
    RowTimes
        Midnights made good, runs counted.
    """
    unit_s = UNIT_S.get(kind, 1.0)
    if decimals is None:
        decimals = _decimals_of(stamps)
    per_unit = 1.0 / 60.0 if whole_minutes else 10.0**decimals if decimals is not None else 0.0
    first = float(stamps[0])
    ticks: NDArray[np.int64] | None = None
    exact: FloatArray | None = None
    steps: NDArray[Any]
    if per_unit:
        ticks = _ticks(stamps, first, per_unit)
        steps = np.diff(ticks)
        if kind == "clock":
            day = round(DAY_S * per_unit)
            turns = np.zeros(len(ticks), np.int64)
            turns[1:][steps < -_MIDNIGHT_FALL_S * per_unit] = 1
            turns[1:][steps > _MIDNIGHT_RISE_S * per_unit] = -1
            if turns.any():
                ticks += np.cumsum(turns) * day
                steps = np.diff(ticks)
    else:
        exact = (stamps - first) * unit_s
        steps = np.diff(exact)
    back = steps < 0
    run = np.broadcast_to(np.int32(0), len(stamps))  # takes no memory
    if back.any():
        run = np.concatenate([[np.int32(0)], np.cumsum(back, dtype=np.int32)])
    return RowTimes(
        ticks=ticks,
        exact=exact,
        tick_s=unit_s / per_unit if per_unit else 0.0,
        per_second=per_unit / unit_s,
        run=run,
        first_stamp=_stamp_of(first * unit_s, kind),
        dated=kind in ("datetime", "epoch_s", "epoch_ms"),
    )


def _ticks(stamps: FloatArray, first: float, per_unit: float) -> NDArray[np.int64]:
    """Whole ticks since `first`, in the memory of the stamps."""
    ticks = stamps.view(np.int64)
    for start in range(0, len(stamps), _PIECE):
        piece = stamps[start : start + _PIECE]
        ticks[start : start + _PIECE] = np.rint((piece - first) * per_unit).astype(np.int64)
    return ticks


def _stamp_of(seconds: float, kind: TimeKind) -> datetime | None:
    if kind == "clock":
        return datetime(2000, 1, 1) + timedelta(seconds=seconds)
    if kind in ("datetime", "epoch_s", "epoch_ms"):
        return _EPOCH + timedelta(seconds=seconds)
    return None


def _decimals_of(stamps: FloatArray) -> int | None:
    """Digits after the point that the numbers were written with; None if they use all a float has."""
    largest = float(np.abs(stamps).max(initial=1.0))
    for decimals in range(10):
        scale = 10.0**decimals
        # Twice the spacing of floats at this size is what reading and multiplying can cost.
        slack = 2.0 * float(np.spacing(largest * scale)) + 1e-9
        if slack > 0.1:
            return None
        # Most numbers of digits are ruled out by the first rows; only the right one is tried on all.
        if _are_whole(stamps[:1000], scale, slack) and all(
            _are_whole(stamps[first : first + _PIECE], scale, slack)
            for first in range(0, len(stamps), _PIECE)
        ):
            return decimals
    return None


def _are_whole(stamps: FloatArray, scale: float, slack: float) -> bool:
    scaled = stamps * scale
    return bool((np.abs(scaled - np.rint(scaled)) <= slack).all())
