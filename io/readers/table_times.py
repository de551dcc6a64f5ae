"""The times of a table's rows from its stamps and what a person says of them, and when they cannot be.

A backward step of the clock starts a new run. Times are refused as disordered when they go back more than once
and either more than one row in fifty goes back or a run between two steps has fewer than ten rows: no clock is set
back that often.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np

from ..errors import FileUnreadable
from .column_map import SummerTime, TimeKind, TimeTable, start_stamp
from .even_rows import Piece, RateDoesNotFit, pieces_of
from .layout import Layout
from .quoting import quoted, shown
from .row_checks import cells_of_row
from .spool import extent, in_pieces
from .stamps import UNIT_S, HourNotFound, RowTimes, dial_falls, even_times, hour_steps, row_times, rows_before
from .table_rows import TableRows
from .text_stamps import DAY_S

_LARGEST_SHARE_BACK: Final = 1 / 50
_SHORTEST_RUN: Final = 10
_PLACES: Final = 3  # so many steps are named, the others counted
_LONGEST_S: Final = (
    100 * 86400.0
)  # no recording of an operation; a case holds a value for each of its seconds
_YEAR_1900_S: Final = -2_208_988_800.0
_YEAR_2200_S: Final = 7_258_118_400.0


def start_of(times: RowTimes, told: TimeTable) -> tuple[datetime | None, bool]:
    """What the clock said at the first row: by the rows, else by the map."""
    if times.first_stamp is None and told.start is not None:
        stamp = start_stamp(told.start)
        if stamp is not None:
            return stamp
    return times.first_stamp, times.dated


def times_of(path: Path, layout: Layout, table: TableRows, told: TimeTable) -> RowTimes:
    """Times of all rows. Raises `FileUnreadable` where what a person says does not fit them."""
    stamps, kind = table.stamps, layout.time_kind
    if stamps is None:
        # No time column: the map gave the rate, or it would have been refused.
        return even_times(table.rows, told.rate_hz or 1.0)
    texts = table.text_stamps
    day_s: float | None = None
    if len(table.days) > 1:
        kind = "datetime"
        stamps = stamps if stamps.flags.writeable else np.array(stamps)
        for (row, day), (after, _) in pairwise([*table.days, (table.rows, 0.0)]):
            stamps[row:after] += day
    elif table.days:
        # One date for all rows: where the clock passes midnight it is that of the first.
        day_s = table.days[0][1]
    if told.half_day is not None and (kind != "clock" or extent(stamps)[1] >= 13 * 3600):
        raise FileUnreadable(
            "the column map says that this is a clock of 12 hours without a date (half_day); "
            + ("it shows more than 12" if kind == "clock" else f"found {kind}"),
            path=path,
            place=f"column {shown(layout.time_label)}",
            todo="Take half_day out of the column map",
        )
    unit_s = UNIT_S.get(kind, 1.0)
    lowest, highest = extent(stamps)
    _refuse_far(path, layout, lowest * unit_s, highest * unit_s, kind)
    try:
        times = row_times(
            stamps,
            kind,
            None if texts is None else texts.decimals,
            texts is not None and texts.whole_minutes and not texts.has_seconds,
            half_day=told.half_day,
            summer_time=told.summer_time,
        )
    except HourNotFound as cause:
        which = "back" if told.summer_time == "ends" else "forward"
        raise FileUnreadable(
            f"the column map says that summer time {told.summer_time} in this table; expected one step {which} by an "
            f"hour, found {cause.count}",
            path=path,
            todo="Take summer_time out of the column map, or give it only to the files that it is true of",
        ) from None
    longest = float(times.seconds(np.array([0, times.count - 1], np.intp)).max())
    if kind == "clock" and longest > _LONGEST_S:
        # No single stamp is far away, but the clock passes midnight again and again.
        _refuse_far(path, layout, 0.0, longest, kind)
    if day_s is not None and times.first_stamp is not None:
        clock = times.first_stamp - datetime(2000, 1, 1)
        return replace(times, first_stamp=datetime(1970, 1, 1) + timedelta(seconds=day_s) + clock, dated=True)
    return times


def _refuse_far(path: Path, layout: Layout, lowest: float, highest: float, kind: TimeKind) -> None:
    dated = kind in ("datetime", "epoch_s", "epoch_ms")
    if highest - lowest > _LONGEST_S or (dated and not (lowest >= _YEAR_1900_S and highest < _YEAR_2200_S)):
        raise FileUnreadable(
            f"the times run over {(highest - lowest) / 86400:.3g} days"
            if highest - lowest > _LONGEST_S
            else "the times are before 1900 or after 2199",
            path=path,
            place=f"column {shown(layout.time_label)}",
            todo="Correct the times, or say in a column map, under [time], what kind of time they are",
        )


def refuse_disorder(path: Path, layout: Layout, times: RowTimes, row_of_file: Callable[[int], int]) -> None:
    """Raise `FileUnreadable` with the first row that goes back, where no clock can have done that."""
    back = rows_before(times.run, lambda changes: changes != 0) + 1
    if len(back) < 2:
        return
    runs = np.diff(np.concatenate([back, [len(times.run)]]))[:-1]
    if len(back) <= _LARGEST_SHARE_BACK * len(times.run) and runs.min() >= _SHORTEST_RUN:
        return
    line, cells = cells_of_row(path, layout, row_of_file(int(back[0])))
    _, before = cells_of_row(path, layout, row_of_file(int(back[0]) - 1))
    column = layout.time or 0
    raise FileUnreadable(
        f"the times are in disorder: {quoted(cells[column])} follows {quoted(before[column])}, and they go back "
        f"{len(back)} times in all; expected rows in order of time, or a clock that was set back now and then",
        path=path,
        place=f"line {line}, column {shown(layout.time_label)}",
        todo="Sort the rows by time, or say in a column map which column holds the times",
    )


def even_pieces(path: Path, times: RowTimes, told: TimeTable) -> tuple[Piece, ...]:
    """Evenly spaced pieces of all rows; none where the rows are uneven, or are said to be."""
    try:
        return () if told.uneven else pieces_of(times, rate_hz=told.rate_hz)
    except RateDoesNotFit as cause:
        raise FileUnreadable(
            f"the column map says {told.rate_hz:g} rows a second; the stamps say {cause.found_hz:.6g}",
            path=path,
            todo="Correct rate_hz in the column map, or the kind of its times",
        ) from None


def rows_at_one_time(times: RowTimes) -> list[str]:
    """What to say of uneven rows of which most carry the time of the row before: nothing parts them."""
    same = int((np.diff(times.seconds()) == 0).sum())
    if same and same == times.count - 1:
        return [f"all {times.count} rows carry the same time; nothing says how they follow each other"]
    if same > times.count / 2:
        return [f"{same} of {times.count} rows carry the time of the row before them; nothing parts them"]
    return []


@dataclass(frozen=True, slots=True)
class StepDoubt:
    """Steps of a clock on the wall that may be no time that passed.

    Attributes
    ----------
    words : str
        Where they stand, and what a column map can say of them.
    ways : tuple of str
        Which of ``summer time ends``, ``summer time begins``, ``am`` and ``pm`` the table can be read with.
    """

    words: str
    ways: tuple[str, ...]


def steps_in_doubt(
    layout: Layout, times: RowTimes, pieces: tuple[Piece, ...], told: TimeTable
) -> list[StepDoubt]:
    """What steps of an hour or of half a day leave open, where the times are those of a clock on the wall."""
    if layout.time_kind not in ("clock", "datetime"):
        return []
    doubts = []
    if told.summer_time is None:
        # Steps stand where pieces begin; a table of uneven rows is short enough to be looked through whole.
        begins = np.array([piece.first for piece in pieces[1:]]) if pieces else np.arange(1, times.count)
        hours = hour_steps(times, begins.astype(np.intp))
        for which in sorted({which for _, which in hours}):
            doubts.append(_hour_in_doubt(times, [row for row, one in hours if one == which], which))
    falls = dial_falls(times) if told.half_day is None else []
    latest_s = _latest_on_dial(times) if falls else math.inf
    if latest_s < 13 * 3600.0:
        words = f"the clock falls by nearly 12 hours {_places(times, falls)}; if its dial has 12 hours and it says "
        # Rows of several days have a date each, and a half day told for the first says nothing of the others.
        several_days = (
            times.dated and float(times.seconds(np.array([times.count - 1], np.intp))[0]) >= DAY_S / 2
        )
        if layout.time_kind == "clock" and not several_days:
            words += 'neither am nor pm, say half_day = "am" or "pm" for the first row in a column map, under [time]'
            doubts.append(StepDoubt(words, ("am", "pm")))
        else:
            doubts.append(StepDoubt(words + "neither am nor pm, export it again with 24 hours", ()))
    return doubts


def _hour_in_doubt(times: RowTimes, rows: list[int], which: SummerTime) -> StepDoubt:
    """What steps of an hour before some rows (from 0), all of them back or all forward, leave open."""
    words = f"the clock goes {'back' if which == 'ends' else 'forward'} by an hour {_places(times, rows)}"
    if len(rows) > 1:  # summer time begins or ends once
        return StepDoubt(words, ())
    words += f'; if that is summer time, say summer_time = "{which}" in a column map, under [time]'
    return StepDoubt(words, (f"summer time {which}",))


def _places(times: RowTimes, rows: list[int]) -> str:
    """The rows after steps (given from 0), with what the clock said on both sides."""
    said = []
    first = times.first_stamp or datetime(2000, 1, 1)
    for row in rows[:_PLACES]:
        sides = times.seconds(np.array([row - 1, row], np.intp)).tolist()
        before, after = (f"{first + timedelta(seconds=side):%H:%M:%S}" for side in sides)
        said.append(f"before row {row + 1} (from {before} to {after})")
    more = len(rows) - len(said)
    return ", ".join(said) + (f" and {more} times more" if more else "")


def _latest_on_dial(times: RowTimes) -> float:
    """The latest time of day that a clock shows, seconds."""
    if times.ticks is None or times.first_stamp is None:
        return math.inf
    start = (times.first_stamp - datetime.combine(times.first_stamp, time())).total_seconds()
    return max(
        float(((start + piece / times.per_second) % DAY_S).max()) for _, piece in in_pieces(times.ticks)
    )
