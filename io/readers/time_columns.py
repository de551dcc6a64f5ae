"""Which columns of a table hold its times, and what kind of time they are."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from ..units import dimension, parse_unit
from .cells import CLOCK, DATE, DATETIME, is_number
from .column_map import TimeKind, TimeTable
from .dates import DateOrder, UnsureDate, in_words, order_of
from .quoting import quoted

_TIME_NAMES: Final = frozenset(
    {
        *("time", "t", "clock", "clock time", "time of day", "timestamp", "time stamp", "datetime"),
        *("date time", "date/time", "date and time", "zeit", "uhrzeit", "zeitstempel", "elapsed"),
        *("elapsed time", "relative time", "seconds", "secs", "sec", "milliseconds", "epoch"),
        *("unix time", "recorded at"),
    }
)
# A date under another name may be one of birth.
_DATE_NAMES: Final = frozenset(
    {"date", "day", "datum", "tag", "calendar date", "recording date", "date of recording", "record date"}
)
# What a header's own words say about the numbers of its time.
_NAMED_KINDS: Final[dict[str, TimeKind]] = {
    "seconds": "seconds",
    "secs": "seconds",
    "sec": "seconds",
    "s": "seconds",
    "milliseconds": "milliseconds",
    "ms": "milliseconds",
    "min": "minutes",
}
_UNIT_KINDS: Final[dict[str, TimeKind]] = {"s": "seconds", "ms": "milliseconds", "min": "minutes"}
# Numbers between these are seconds since 1970 of a day from 1990 to 2099; a thousand times that, milliseconds.
_EPOCH_FROM: Final = 631_152_000.0
_EPOCH_TO: Final = 4_102_444_800.0


class TimeUnclear(ValueError):
    """Something about the times that a person has to say: what was found, what to do, and where."""

    def __init__(self, what: str, todo: str, place: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.todo = todo
        self.place = place


@dataclass(frozen=True, slots=True)
class Headed:
    """A column that is looked at: header, its label and unit, and cells of the first rows that hold something."""

    index: int
    header: str
    label: str
    unit: str
    cells: Callable[[], list[str]]

    @property
    def name(self) -> str:
        """For messages."""
        return self.header or str(self.index + 1)


def time_column(columns: Sequence[Headed]) -> Headed:
    """The column of times: by its header, else the only one whose cells are all times.

    Raises
    ------
    TimeUnclear
        None, or more than one without a header that says so.
    """
    for column in columns:
        code = parse_unit(column.unit)
        if _names_time(column) and (not code or dimension(code) == "time"):
            return column
    found = [c for c in columns if (cells := c.cells()) and all(map(_is_time, cells))]
    if len(found) > 1:
        raise TimeUnclear(
            f"the columns {', '.join(column.name for column in found)} all hold times",
            "Say in a column map, under [time], which of them is the time of the rows",
        )
    if not found:
        headers = ", ".join(filter(None, (column.header for column in columns)))
        raise TimeUnclear(
            f"no column holds times (headers: {headers or 'none'})",
            "Call it 'time' or say which it is in a column map, under [time]",
        )
    return found[0]


def _is_time(cell: str) -> bool:
    return bool(CLOCK.fullmatch(cell) or DATETIME.fullmatch(cell))


def _names_time(column: Headed) -> bool:
    words = re.sub(r"[_\s]+", " ", column.label.lower()).strip()
    stem, _, last = words.rpartition(" ")
    return (
        words in _TIME_NAMES
        or (stem in _TIME_NAMES and last in _NAMED_KINDS)
        or column.header.lower() in _TIME_NAMES
    )


def date_column(columns: Sequence[Headed], time: int) -> Headed | None:
    """The column of dates beside clocks: one called so whose cells are all dates."""
    for column in columns:
        words = re.sub(r"[_\s]+", " ", column.label.lower()).strip()
        if column.index != time and words in _DATE_NAMES:
            cells = column.cells()
            if cells and all(DATE.fullmatch(cell) for cell in cells):
                return column
    return None


def time_kind(column: Headed, decimal: str) -> TimeKind:
    """What the cells of a column of times are.

    Raises
    ------
    TimeUnclear
        They are no times, or numbers of an unknown unit.
    """
    cells = column.cells()
    # The first cell decides; the row reader names the line of one that is written otherwise.
    first = cells[0] if cells else ""
    place = f"column {column.name}"
    if CLOCK.fullmatch(first):
        return "clock"
    if DATETIME.fullmatch(first):
        return "datetime"
    if not is_number(first, decimal):
        raise TimeUnclear(
            f"found {quoted(first)} as a time; expected seconds, a clock such as 07:42:00, or 2031-05-04T07:42:00",
            "Say in a column map, under [time], what kind of time it is",
            place,
        )
    number = abs(float(first.replace(",", ".")))
    words = re.split(r"[_\s]+", column.label.lower())
    kind = _UNIT_KINDS.get(parse_unit(column.unit) or "") or _NAMED_KINDS.get(words[-1])
    if kind in (None, "seconds") and _EPOCH_FROM <= number < _EPOCH_TO:
        return "epoch_s"
    if kind in (None, "milliseconds") and 1000 * _EPOCH_FROM <= number < 1000 * _EPOCH_TO:
        return "epoch_ms"
    if kind is None:
        raise TimeUnclear(
            "the times are plain numbers and nothing says whether they are seconds",
            "Write the unit into the header, as in 'time [s]', or say it in a column map, under [time]",
            place,
        )
    if number >= _EPOCH_TO * (1000 if kind == "milliseconds" else 1):
        raise TimeUnclear(
            f"the times are called {kind}, but {first[:40]} {kind} are more than a hundred years",
            "Say in a column map, under [time], what kind of time it is",
            place,
        )
    return kind


def date_order(told: TimeTable | None, kind: TimeKind, time: Headed, date: Headed | None) -> DateOrder | None:
    """In which order day, month and year stand; None where no date needs one.

    Raises
    ------
    TimeUnclear
        Day and month can be either way round.
    """
    if told is not None and told.date_order is not None:
        return told.date_order
    if date is not None:
        texts = date.cells()
    elif kind == "datetime":
        texts = [match["date"] for match in map(DATETIME.fullmatch, time.cells()) if match is not None]
    else:
        return None
    try:
        return order_of(texts)
    except UnsureDate as unsure:
        what, todo = in_doubt(unsure)
        raise TimeUnclear(what, todo, f"column {(date or time).name}") from unsure


def in_doubt(unsure: UnsureDate) -> tuple[str, str]:
    """The sentence for a date with two readings, and what to do."""
    return (
        f"the date {unsure.text} can be {' or '.join(in_words(day) for day in unsure.readings)}",
        'Say which in a column map: date_order = "day-first", "month-first" or "year-first" under [time]',
    )
