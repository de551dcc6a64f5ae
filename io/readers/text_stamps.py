"""Times that are written as texts, a clock or a date and a clock, to seconds.

A long table has millions of them, nearly all written alike: rows that have their digits and signs where the
first row has them are read together, what is left one by one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..recording import FloatArray
from .cells import CLOCK, DATETIME
from .column_map import TimeKind
from .dates import DateOrder, UnsureDate, date_of, day_number

DAY_S: Final = 86400.0
_LONGEST = 64  # signs; longer than any time
_MOST_FORMS = 24  # ways of writing in one chunk that are read together; the rest one by one
_CLOCK_PARTS = re.compile(
    r"(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?)?(?: ?(?P<half>[AaPp])\.?[Mm]\.?)?"
)
_ZONE_PARTS = re.compile(r" ?([+-])(\d{2}):?(\d{2})")


class BadStamp(ValueError):
    """A text that is no time of the expected kind; `row` counts from the first row of the chunk."""

    def __init__(self, row: int, text: str) -> None:
        super().__init__(text)
        self.row = row
        self.text = text


class UnsureStamp(BadStamp):
    """A text whose date can be read in more than one way."""

    def __init__(self, row: int, text: str, unsure: UnsureDate) -> None:
        super().__init__(row, text)
        self.unsure = unsure


@dataclass
class TextStamps:
    """Reads chunks of clock or date-and-time texts to seconds.

    Seconds count from midnight (clock) or from 1970 by the wall clock of the first row (date and time):
    where rows carry a shift from universal time, later shifts are brought to that of the first row.

    Attributes
    ----------
    kind : str
        ``"clock"`` or ``"datetime"``.
    order : str or None
        Order of day, month and year; None where no date needs one.
    """

    kind: TimeKind
    order: DateOrder | None = None
    decimals: int = 0  # of the seconds, as written
    whole_minutes: bool = False  # some row has no seconds
    has_seconds: bool = False
    shift_s: float | None = None
    _days: dict[str, float] = field(default_factory=dict)

    def read(self, texts: Sequence[Any]) -> FloatArray:
        """Seconds of a chunk, in order.

        Raises
        ------
        BadStamp
            The first text that is no time; `UnsureStamp` where its date has more than one reading.
        """
        seconds = np.empty(len(texts))
        try:
            fixed = np.array(texts, dtype=f"S{_LONGEST}")  # what is cut has no end that fits
        except (UnicodeEncodeError, TypeError, ValueError):
            fixed = np.empty(0, "S1")
        left = np.arange(len(texts))
        if len(fixed):
            signs = fixed.view(np.uint8).reshape(len(fixed), _LONGEST)
            signs = signs[:, : int(np.flatnonzero(signs.any(axis=0)).max(initial=0)) + 1]
            for _ in range(_MOST_FORMS):
                if not len(left):
                    break
                left = self._alike(texts, signs, left, seconds)
        for row in left.tolist():
            seconds[row] = self._one(row, texts[row])
        return seconds

    def day(self, row: int, text: str) -> float:
        """Seconds from 1970 to the midnight with which a day begins. Raises `BadStamp`."""
        if text not in self._days:
            try:
                day = date_of(text, self.order)
            except UnsureDate as unsure:
                raise UnsureStamp(row, text, unsure) from unsure
            if day is None:
                raise BadStamp(row, text)
            self._days[text] = day_number(day) * DAY_S
        return self._days[text]

    def days(self, texts: Sequence[Any]) -> FloatArray:
        """The same for a column of dates that stands beside one of clocks."""
        return np.array(
            [self.day(row, text.strip() if isinstance(text, str) else "") for row, text in enumerate(texts)]
        )

    def _alike(
        self, texts: Sequence[Any], signs: NDArray[np.uint8], rows: NDArray[np.intp], seconds: FloatArray
    ) -> NDArray[np.intp]:
        """Read all `rows` that are written as the first of them is; returns the others."""
        first = int(rows[0])
        example = texts[first]
        whole = (
            (CLOCK if self.kind == "clock" else DATETIME).fullmatch(example)
            if isinstance(example, str)
            else None
        )
        if whole is None or len(example) > signs.shape[1]:
            seconds[first] = self._one(first, example)
            return rows[1:]
        starts = 0 if self.kind == "clock" else whole.start("clock")
        ends = len(example) if self.kind == "clock" else whole.end("clock")
        clock = _CLOCK_PARTS.fullmatch(example, starts, ends)
        assert clock is not None  # the same expression, in parts
        block = signs if len(rows) == len(signs) else signs[rows]
        alike = (block[:, len(example) - 1] != 0) & (block[:, len(example) :] == 0).all(axis=1)
        spans = [clock.span(part) for part in "hmsf" if clock[part] is not None]
        digits = [column for span in spans for column in range(*span)]
        half = clock.start("half")  # -1 where there is none
        fixed = [
            column
            for column in range(0 if self.kind == "clock" else whole.end("date"), ends)
            if column not in digits and column != half
        ]
        for column in fixed:
            alike &= block[:, column] == ord(example[column])
        numbers = block[:, digits] - np.uint8(48)  # what is no digit wraps round to more than 9
        alike &= (numbers <= 9).all(axis=1)
        if half >= 0:
            alike &= np.isin(block[:, half], np.frombuffer(b"AaPp", np.uint8))
        others = rows[:0]
        if not alike.all():
            others, rows = rows[~alike], rows[alike]
            block, numbers = block[alike], numbers[alike]
        parts: list[NDArray[np.int64]] = []
        at = 0
        for begin, end in spans:
            powers = 10 ** np.arange(end - begin - 1, -1, -1, dtype=np.int64)
            parts.append(numbers[:, at : at + end - begin].astype(np.int64) @ powers)
            at += end - begin
        hours, minutes = parts[0], parts[1]
        whole_s = parts[2] if len(parts) > 2 else np.zeros(len(rows), np.int64)
        wrong = (hours > 23) | (minutes > 59) | (whole_s > 59)
        if half >= 0:
            wrong |= (hours < 1) | (hours > 12)
            hours = hours % 12 + 12 * np.isin(block[:, half], np.frombuffer(b"Pp", np.uint8))
        if wrong.any():
            row = int(rows[int(np.argmax(wrong))])
            raise BadStamp(row, str(texts[row]))
        found = (hours * 3600 + minutes * 60 + whole_s).astype(np.float64)
        if len(parts) > 3:
            found += parts[3] / 10.0 ** (spans[3][1] - spans[3][0])
        self._written(len(spans) > 2, spans[3][1] - spans[3][0] if len(spans) > 3 else 0)
        if self.kind == "datetime":
            found += _each(block[:, : whole.end("date")], rows, self.day)
            if whole["zone"]:
                self._to_first_shift(first, whole["zone"])
                found += _each(block[:, ends : len(example)], rows, self._to_first_shift)
        seconds[rows] = found
        return others

    def _written(self, has_seconds: bool, decimals: int) -> None:
        self.has_seconds |= has_seconds
        self.whole_minutes |= not has_seconds
        self.decimals = max(self.decimals, decimals)

    def _to_first_shift(self, row: int, zone: str) -> float:
        """Seconds to add to a time with this shift from universal time."""
        parts = _ZONE_PARTS.fullmatch(zone)
        if parts is None and zone.strip() != "Z":
            raise BadStamp(row, zone)
        shift = (
            0.0 if parts is None else int(parts[1] + "1") * (int(parts[2]) * 3600.0 + int(parts[3]) * 60.0)
        )
        if self.shift_s is None:
            self.shift_s = shift
        return self.shift_s - shift

    def _one(self, row: int, text: Any) -> float:
        if not isinstance(text, str):
            raise BadStamp(row, "")
        text = text.strip()
        seconds = 0.0
        clock = text
        if self.kind == "datetime":
            match = DATETIME.fullmatch(text)
            if match is None:
                raise BadStamp(row, text)
            seconds = self.day(row, match["date"])
            clock = match["clock"]
            if match["zone"]:
                seconds += self._to_first_shift(row, match["zone"])
        match = _CLOCK_PARTS.fullmatch(clock)
        if match is None:
            raise BadStamp(row, text)
        hour, minute, second = int(match["h"]), int(match["m"]), int(match["s"] or 0)
        if match["half"]:
            if not 1 <= hour <= 12:
                raise BadStamp(row, text)
            hour = hour % 12 + (12 if match["half"] in "Pp" else 0)
        if hour > 23 or minute > 59 or second > 59:
            raise BadStamp(row, text)
        self._written(match["s"] is not None, len(match["f"] or ""))
        fraction = int(match["f"]) / 10.0 ** len(match["f"]) if match["f"] else 0.0
        return seconds + hour * 3600.0 + minute * 60.0 + second + fraction


def _each(
    block: NDArray[np.uint8], rows: NDArray[np.intp], read: Callable[[int, str], float]
) -> FloatArray | float:
    """What `read` makes of each row's signs; every different text is read once."""
    if (block == block[:1]).all():
        return read(int(rows[0]), block[0].tobytes().decode("ascii", "replace"))
    texts = np.ascontiguousarray(block).view(f"S{block.shape[1]}").ravel()
    different, first, which = np.unique(texts, return_index=True, return_inverse=True)
    values = [
        read(int(rows[row]), text.decode("ascii", "replace"))
        for text, row in zip(different.tolist(), first.tolist(), strict=True)
    ]
    return np.array(values)[which]
