"""Row times as written, to whole ticks of the finest digit that is written.

A clock of the day that falls by about a day has crossed midnight. Any other backward step stays: it is a
clock that was set back, and starts a new run. An hour that summer time takes out or gives back looks like one
that somebody set or lost: only a person can say so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..recording import FloatArray
from .column_map import HalfDay, SummerTime, TimeKind
from .spool import Stamps, extent, in_pieces
from .text_stamps import DAY_S

UNIT_S: Final[dict[TimeKind, float]] = {
    "seconds": 1.0,
    "milliseconds": 1e-3,
    "minutes": 60.0,
    "epoch_s": 1.0,
    "epoch_ms": 1e-3,
}
_EPOCH = datetime(1970, 1, 1)
# A fall of more than half the dial is midnight (or noon on a dial of 12 hours); a rise to within an hour of the
# whole dial is a clock that was set back across it.
_HOUR_S: Final = 3600.0
# How much later than the hour the next row may come for a step to be that of summer time.
_HOUR_SLACK_S: Final = 1800.0


class HourNotFound(ValueError):
    """A person said that summer time begins or ends here; `count` steps of an hour are there, not one."""

    def __init__(self, count: int) -> None:
        super().__init__(str(count))
        self.count = count


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
    stamps: FloatArray,
    kind: TimeKind,
    decimals: int | None,
    whole_minutes: bool = False,
    *,
    half_day: HalfDay | None = None,
    summer_time: SummerTime | None = None,
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
    half_day : str, optional
        For a clock of 12 hours without am and pm: the half in which the first row is.
    summer_time : str, optional
        ``"begins"`` or ``"ends"``: the one step of an hour is no time that passed.

    Returns
    -------
    RowTimes
        Midnights made good, runs counted.

    Raises
    ------
    HourNotFound
        `summer_time` is given and there is not exactly one step of an hour.
    """
    unit_s = UNIT_S.get(kind, 1.0)
    dial_s = DAY_S
    if half_day is not None and not stamps.flags.writeable:
        stamps = np.array(stamps)
    if half_day is not None:
        dial_s = DAY_S / 2
        np.remainder(stamps, dial_s, out=stamps)
        stamps += dial_s if half_day == "pm" else 0.0
    if decimals is None:
        decimals = _decimals_of(stamps)
    per_unit = 1.0 / 60.0 if whole_minutes else 10.0**decimals if decimals is not None else 0.0
    first = float(stamps[0])
    ticks: NDArray[np.int64] | None = None
    exact: FloatArray | None = None
    if per_unit:
        per_second = per_unit / unit_s
        ticks = _ticks(stamps, first, per_unit)
        if kind == "clock":
            ticks = _with_dial_turned(ticks, round(dial_s * per_unit), round((dial_s - _HOUR_S) * per_unit))
        if summer_time is not None:
            row, hour = _summer_time(np.diff(ticks) / per_second, summer_time)
            ticks = ticks if ticks.flags.writeable else np.array(ticks)
            ticks[row:] += round(hour * per_second)
        back = rows_before(ticks, lambda steps: steps < 0)
    else:
        exact = (stamps - first) * unit_s
        if summer_time is not None:
            raise HourNotFound(0)
        back = rows_before(exact, lambda steps: steps < 0)
    run = np.broadcast_to(np.int32(0), len(stamps))  # takes no memory
    if len(back):
        marks = np.zeros(len(stamps), np.int32)
        marks[back + 1] = 1
        run = np.cumsum(marks, dtype=np.int32)
    return RowTimes(
        ticks=ticks,
        exact=exact,
        tick_s=unit_s / per_unit if per_unit else 0.0,
        per_second=per_unit / unit_s,
        run=run,
        first_stamp=_stamp_of(first * unit_s, kind),
        dated=kind in ("datetime", "epoch_s", "epoch_ms"),
    )


def rows_before(values: NDArray[Any], test: Callable[[NDArray[Any]], NDArray[np.bool_]]) -> NDArray[np.intp]:
    """Rows whose step to the next row passes a test; in pieces, since a list of all steps is as long as the rows."""
    found = [np.flatnonzero(test(np.diff(piece))) + first for first, piece in in_pieces(values, 1)]
    return np.concatenate(found) if found else np.empty(0, np.intp)


def _with_dial_turned(ticks: NDArray[np.int64], dial: int, rise: int) -> NDArray[np.int64]:
    """Make good where a clock of the day starts anew."""
    turns = rows_before(ticks, lambda steps: (steps < -dial / 2) | (steps > rise))
    if len(turns):
        falls = ticks[turns + 1] < ticks[turns]
        turned = np.zeros(len(ticks), np.int64)
        turned[turns + 1] = np.where(falls, dial, -dial)
        np.cumsum(turned, out=turned)
        turned += ticks
        return turned
    return ticks


def _summer_time(steps_s: FloatArray, summer_time: SummerTime) -> tuple[int, float]:
    """The first row after the step of an hour, and the seconds that make it good."""
    hour = _HOUR_S if summer_time == "ends" else -_HOUR_S
    passed = steps_s + hour  # the time that would have passed in truth
    candidates = np.flatnonzero((steps_s * hour < 0) & (passed >= 0) & (passed < _HOUR_SLACK_S))
    if len(candidates) > 1:
        # A gap of more than an hour may stand beside it: the hour of summer time is the usual step and an hour.
        usual = float(np.median(steps_s))
        candidates = candidates[passed[candidates] <= 3.0 * usual]
    if len(candidates) != 1:
        raise HourNotFound(len(candidates))
    return int(candidates[0]) + 1, hour


def hour_steps(times: RowTimes, rows: NDArray[np.intp]) -> list[tuple[int, SummerTime]]:
    """Which of `rows` come an hour back or forward after the row before, but for the usual step between rows."""
    first = times.seconds(np.arange(min(times.count, 1000), dtype=np.intp))
    if len(first) < 2 or not len(rows):
        return []
    slack = 1.0 + 3.0 * max(float(np.median(np.diff(first))), 0.0)
    if slack >= _HOUR_SLACK_S:
        return []
    steps = times.seconds(rows) - times.seconds(rows - 1)
    found: list[tuple[int, SummerTime]] = []
    for row, step in zip(rows.tolist(), steps.tolist(), strict=True):
        if 0.0 <= (step + _HOUR_S if step < 0 else step - _HOUR_S) <= slack:
            found.append((row, "ends" if step < 0 else "begins"))
    return found


def dial_falls(times: RowTimes) -> list[int]:
    """Rows before which the clock falls by nearly 12 hours, as a dial of 12 hours does after each half day."""
    back = rows_before(times.run, lambda changes: changes != 0) + 1
    falls = times.seconds(back - 1) - times.seconds(back)
    return [int(row) for row in back[(falls > DAY_S / 2 - _HOUR_S) & (falls <= DAY_S / 2)]]


def _ticks(stamps: FloatArray, first: float, per_unit: float) -> NDArray[np.int64]:
    """Whole ticks since `first`, in the memory of the stamps; in a file of their own where those are in one."""
    if not stamps.flags.writeable:
        kept = Stamps()
        for start, piece in in_pieces(stamps):
            ticked = np.rint((piece - first) * per_unit).astype(np.int64)
            kept.add(ticked.view(np.float64), (start + len(piece)) / len(stamps))
        return kept.array().view(np.int64)
    ticks = stamps.view(np.int64)
    for start, piece in in_pieces(stamps):
        ticks[start : start + len(piece)] = np.rint((piece - first) * per_unit).astype(np.int64)
    return ticks


def _stamp_of(seconds: float, kind: TimeKind) -> datetime | None:
    if kind == "clock":
        return datetime(2000, 1, 1) + timedelta(seconds=seconds)
    if kind in ("datetime", "epoch_s", "epoch_ms"):
        return _EPOCH + timedelta(seconds=seconds)
    return None


def _decimals_of(stamps: FloatArray) -> int | None:
    """Digits after the point that the numbers were written with; None if they use all a float has."""
    lowest, highest = extent(stamps)
    largest = max(1.0, -lowest, highest)
    for decimals in range(10):
        scale = 10.0**decimals
        # Twice the spacing of floats at this size is what reading and multiplying can cost.
        slack = 2.0 * float(np.spacing(largest * scale)) + 1e-9
        if slack > 0.1:
            return None
        # Most numbers of digits are ruled out by the first rows; only the right one is tried on all.
        if _are_whole(stamps[:1000], scale, slack) and all(
            _are_whole(piece, scale, slack) for _, piece in in_pieces(stamps)
        ):
            return decimals
    return None


def _are_whole(stamps: FloatArray, scale: float, slack: float) -> bool:
    scaled = stamps * scale
    return bool((np.abs(scaled - np.rint(scaled)) <= slack).all())
