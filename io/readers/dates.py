"""Dates as tables write them, and in which order day, month and year stand.

``03/04/2026`` is the 3rd of April or the 4th of March. Which one is decided by a date of the same table that fits
one order only, else by a person; it is never guessed. A year of two digits is one of 1969 to 2068, as POSIX
``strptime`` reads ``%y``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from typing import Final, Literal

DateOrder = Literal["year-first", "day-first", "month-first"]
DATE_ORDERS: Final[tuple[DateOrder, ...]] = ("year-first", "day-first", "month-first")

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_PLAIN = re.compile(r"(\d{1,4})([-/.])(\d{1,2})\2(\d{1,4})")
_NAMED = re.compile(r"(\d{1,2})[-/ .]{1,2}([A-Za-z]{3,9})[-/ .,]{1,2}(\d{4})")
_EPOCH_DAY = date(1970, 1, 1).toordinal()


class UnsureDate(ValueError):
    """A date that can be read in more than one way; carries the text and its readings."""

    def __init__(self, text: str, readings: tuple[date, ...]) -> None:
        super().__init__(text)
        self.text = text
        self.readings = readings


def date_of(text: str, order: DateOrder | None) -> date | None:
    """The date that a text stands for; None if it stands for none.

    Parameters
    ----------
    text : str
        ``2026-04-03``, ``3.4.2026``, ``03/04/26``, ``3 Apr 2026``.
    order : str or None
        One of `DATE_ORDERS`; a year of four digits in front, or a month by name, needs none. None: only what
        can be read in one way.

    Raises
    ------
    UnsureDate
        Without `order`, a date with more than one reading.

    Examples
    --------
    >>> date_of("03/04/2026", "day-first"), date_of("13/04/2026", None)
    (datetime.date(2026, 4, 3), datetime.date(2026, 4, 13))
    """
    readings = readings_of(text)
    if order is not None and set(readings) != {"year-first"}:
        return readings.get(order)
    different = tuple(dict.fromkeys(readings.values()))
    if len(different) > 1:
        raise UnsureDate(text, different)
    return different[0] if different else None


def readings_of(text: str) -> dict[DateOrder, date]:
    """Every order in which a text is a date of the calendar, with that date."""
    named = _NAMED.fullmatch(text)
    if named is not None:
        month = named[2].lower()
        number = next((n for n, short in enumerate(_MONTHS, 1) if month[:3] == short), 0)
        found = _date(named[3], str(number), named[1])
        return {} if found is None else {"day-first": found, "month-first": found}
    match = _PLAIN.fullmatch(text)
    if match is None:
        return {}
    first, middle, last = match[1], match[3], match[4]
    parts: dict[DateOrder, tuple[str, str, str]] = {"year-first": (first, middle, last)}
    if len(first) < 3:
        parts |= {"day-first": (last, middle, first), "month-first": (last, first, middle)}
    readings = {order: _date(*numbers) for order, numbers in parts.items()}
    return {order: reading for order, reading in readings.items() if reading is not None}


def _date(year: str, month: str, day: str) -> date | None:
    if len(year) not in (2, 4) or len(day) > 2:
        return None
    number = int(year)
    if len(year) == 2:
        number += 1900 if number >= 69 else 2000
    try:
        return date(number, int(month), int(day))
    except ValueError:
        return None


def order_of(texts: Iterable[str]) -> DateOrder | None:
    """The one order in which all dates of a table can be read; None where none of them needs one.

    Raises
    ------
    UnsureDate
        The first date that more than one order would read differently, where no other date decides.
    """
    different = list(dict.fromkeys(texts))
    readings = [readings_of(text) for text in different]
    fitting = list(DATE_ORDERS)
    for number, found in enumerate(readings):
        left = [order for order in fitting if order in found]
        if not left:  # the row reader names it: it is no date, or one against the order of those before it
            different, readings = different[:number], readings[:number]
            break
        fitting = left
    if len(fitting) == 1:
        return fitting[0]
    for text, found in zip(different, readings, strict=True):
        ways = tuple(dict.fromkeys(found[order] for order in fitting))
        if len(ways) > 1:
            raise UnsureDate(text, ways)
    return None


def day_number(day: date) -> int:
    """Days since 1970-01-01."""
    return day.toordinal() - _EPOCH_DAY


def in_words(day: date) -> str:
    """``3 April 2026``, the same in every language of the system."""
    names = ("January", "February", "March", "April", "May", "June", "July", "August")
    name = (*names, "September", "October", "November", "December")[day.month - 1]
    return f"{day.day} {name} {day.year}"
