"""Lengths and readings of clocks as people type them, and how they are written back. No Qt."""

from __future__ import annotations

import math
import re
from datetime import timedelta

from afterclamp.io.errors import EditRefused
from afterclamp.io.sources import Source

_NUMBER = r"\d+(?:[.,]\d*)?|[.,]\d+"
_COLONS = re.compile(rf"(?:(\d+):)?(\d+):({_NUMBER})")
_WORDS = re.compile(
    rf"(?:(\d+)\s*h)?\s*(?:(\d+)\s*min)?\s*(?:({_NUMBER})\s*s?)?", re.IGNORECASE
)  # 1 h 39 s, 2 min, 94 s, 94


def read_number(text: str) -> float:
    """A number as people type it, with a point or a comma.

    Raises
    ------
    EditRefused
        When it is none.
    """
    plain = text.strip().replace("−", "-").replace(",", ".")
    if not plain:
        raise EditRefused("a number is missing", todo="Write it as 60 or 0.5")
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise EditRefused(f"“{text.strip()}” is no number", todo="Write it as 60 or 0.5")
    return value


def read_length(text: str) -> float:
    """Seconds of a length as people type it: ``94``, ``94.5 s``, ``1:34``, ``1:00:39``, ``1 h 39 s``; a sign before it.

    Raises
    ------
    EditRefused
        When it is none.

    Examples
    --------
    >>> read_length("1:00:37"), read_length("-94,5"), read_length("1 h 37 s")
    (3637.0, -94.5, 3637.0)
    """
    plain = text.strip().replace("−", "-")
    if not plain:
        raise EditRefused("a length of time is missing", todo="Write seconds, 1:34 or 1:00:37")
    sign = -1.0 if plain.startswith("-") else 1.0
    plain = plain.lstrip("+-").strip()
    found = _COLONS.fullmatch(plain) or (_WORDS.fullmatch(plain) if plain else None)
    if found is None or not any(found.groups()):
        raise EditRefused(f"“{text.strip()}” is no length of time", todo="Write seconds, 1:34 or 1:00:37")
    hours, minutes, seconds = (float((part or "0").replace(",", ".")) for part in found.groups())
    if ":" in plain and (seconds >= 60 or (found.group(1) is not None and minutes >= 60)):
        raise EditRefused(
            f"“{text.strip()}” has more than 59 minutes or seconds", todo="Write it as 1:34 or 1:00:37"
        )
    return sign * (3600 * hours + 60 * minutes + seconds)


def read_clock(text: str, *, of_day: bool) -> float:
    """Seconds of a reading: since midnight, ``9:41`` or ``09:41:05``; else since a start, ``20:12`` or ``1:20:12``.

    Raises
    ------
    EditRefused
        When it is none.
    """
    if not of_day:
        return read_length(text)
    found = re.fullmatch(rf"(\d{{1,2}}):(\d\d)(?::({_NUMBER}))?", text.strip())
    hours, minutes = (int(found.group(1)), int(found.group(2))) if found else (24, 0)
    seconds = float((found.group(3) or "0").replace(",", ".")) if found else 0.0
    if hours > 23 or minutes > 59 or seconds >= 60:
        raise EditRefused(f"“{text.strip()}” is no time of day", todo="Write it as 09:41:05")
    return 3600.0 * hours + 60 * minutes + seconds


def length_text(seconds: float) -> str:
    """A length that `read_length` reads back: ``94.0``, from two minutes on ``1:00:37.0``, with the person's decimal
    sign left to the reader.

    Examples
    --------
    >>> length_text(94.04), length_text(3637.0), length_text(184.5)
    ('94.0', '1:00:37.0', '3:04.5')
    """
    tenths = round(abs(seconds) * 10)
    sign = "-" if seconds < 0 and tenths else ""
    if tenths < 1200:
        return f"{sign}{tenths / 10:.1f}"
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    clock = f"{hours}:{minutes:02d}" if hours else f"{minutes}"
    return f"{sign}{clock}:{rest / 10:04.1f}"


def stamp_text(source: Source, source_s: float) -> str:
    """What a source's own clock said: the time of day, or minutes from its own start."""
    if source.first_stamp is not None:
        return f"{source.first_stamp + timedelta(seconds=round(source_s)):%H:%M:%S}"
    whole = round(abs(source_s))
    return f"{'-' if source_s < 0 and whole else ''}{whole // 60}:{whole % 60:02d}"
