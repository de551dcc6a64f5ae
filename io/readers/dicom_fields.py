"""Fields of a DICOM data set: each checked when it is taken, and told by its name where it is not as it should be."""

from __future__ import annotations

import math
import re
import struct
import unicodedata
from datetime import datetime
from pathlib import Path
from typing import Any

from ..errors import FileUnreadable
from .quoting import quoted, shown

_STAMP = re.compile(r"(\d{4})(\d\d)(\d\d)(\d\d)(?:(\d\d)(?:(\d\d)(?:\.(\d{1,6}))?)?)?(?:[+-]\d{4})?")


def stumbles() -> tuple[type[Exception], ...]:
    """What pydicom raises on a data set that is not as it should be."""
    from pydicom.errors import BytesLengthException, InvalidDicomError

    return (
        OSError,
        EOFError,
        ValueError,
        ArithmeticError,
        LookupError,
        TypeError,
        AttributeError,
        RuntimeError,
        AssertionError,
        MemoryError,
        struct.error,
        BytesLengthException,
        InvalidDicomError,
    )


class Fields:
    """Fields of a multiplex group, or of the whole file (group 0).

    Parameters
    ----------
    path : Path
        For messages.
    group : int
        Number of the group from 1; 0 for the file.
    item : pydicom.Dataset
        What `number` takes its fields from unless told otherwise.
    """

    def __init__(self, path: Path, group: int, item: Any) -> None:
        self.path = path
        self.group = group
        self.item = item

    def wrong(self, what: str) -> FileUnreadable:
        """What is not as it should be, with its place."""
        place = f"multiplex group {self.group}" if self.group else ""
        return FileUnreadable(what, path=self.path, place=place, todo="Export or copy the file again")

    def value(self, item: Any, keyword: str) -> Any:
        """As pydicom gives it, None where it is absent or empty; a field that cannot be read is told."""
        try:
            found = item.get(keyword)
        except stumbles() as cause:
            raise self.wrong(f"the field {keyword} cannot be read ({shown(cause)})") from cause
        return None if found is None or found == "" else found

    def text(self, item: Any, keyword: str) -> str:
        """One line of text; empty where it is absent. Control signs are no text: then a length is wrong."""
        found = self.value(item, keyword)
        text = "" if found is None else " ".join(str(found).rstrip("\0").split())
        if any(unicodedata.category(sign) == "Cc" for sign in text):
            raise self.wrong(f"the field {keyword} reads {quoted(text)} where a text was expected")
        return text

    def number(self, keyword: str, otherwise: float | None = None, item: Any = None) -> float:
        """A finite number; `otherwise`, if given, where it is absent."""
        found = self.value(self.item if item is None else item, keyword)
        if found is None and otherwise is not None:
            return otherwise
        try:
            number = float(found)
        except (TypeError, ValueError):
            number = math.nan
        if not math.isfinite(number):
            shown = "is missing" if found is None else f"reads {quoted(found)} where a number was expected"
            raise self.wrong(f"the field {keyword} {shown}")
        return number

    def items(self, item: Any, keyword: str) -> list[Any]:
        """Items of a sequence; none where it is absent."""
        found = self.value(item, keyword)
        if found is None:
            return []
        if not hasattr(found, "__iter__") or isinstance(found, (str, bytes)):
            raise self.wrong(f"the field {keyword} is no sequence")
        return list(found)

    def coded(self, item: Any, keyword: str, what: str) -> str:
        """A field of the one item of a coded entry: its ``CodeValue`` or ``CodeMeaning``."""
        items = self.items(item, keyword)
        return self.text(items[0], what) if items else ""

    def numbers(self, item: Any, keyword: str) -> list[float]:
        """All numbers of a field; none where it is absent."""
        found = self.value(item, keyword)
        several = hasattr(found, "__iter__") and not isinstance(found, (str, bytes))
        try:
            numbers = [float(one) for one in (found if several else [] if found is None else [found])]
        except (TypeError, ValueError, OverflowError):
            numbers = [math.nan]
        if not all(map(math.isfinite, numbers)):
            raise self.wrong(f"the field {keyword} reads {quoted(found)} where numbers were expected")
        return numbers


def stamp_of(text: str) -> datetime | None:
    """A date and time as DICOM writes it, down to the hour at least; a shift from universal time is left off."""
    match = _STAMP.fullmatch(text.strip())
    if match is None:
        return None
    year, month, day, hour, minute, second = (int(part or 0) for part in match.groups()[:6])
    try:
        return datetime(year, month, day, hour, minute, min(second, 59), int((match[7] or "0").ljust(6, "0")))
    except ValueError:
        return None
