"""Text files of unknown writing: which encoding, which line ends, which separator."""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path

from ..errors import FileUnreadable
from .quoting import shown

SEPARATORS = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", " ": "space"}
"""In the order in which they are tried: a comma may stand inside numbers, a tab may not."""

_HEAD = 1 << 16  # bytes that the layout of a table is found out from

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def encoding_of(head: bytes) -> str | None:
    """Python's name of the encoding of a text from its first bytes; None if this is no text.

    A byte order mark decides; without one it is UTF-8 if it reads as that, else Latin-1, which older
    recorders write. Anything with a zero byte or control signs is no text.
    """
    for mark, name in _MARKS:
        if head.startswith(mark):
            return name
    if re.search(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f]", head):
        return None
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)  # a sign cut at the end is no offence
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def head_text(head: bytes, whole: bool) -> str | None:
    """The first complete lines of a text; None if this is no text."""
    encoding = encoding_of(head)
    if encoding is None:
        return None
    text = codecs.getincrementaldecoder(encoding)("replace").decode(head)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text if whole else text[: text.rfind("\n") + 1]


def read_head(path: Path) -> tuple[bytes, bool]:
    """The first part of a file, and whether that is all of it. Raises `FileUnreadable`."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror})", path=path, todo="Check that it exists and may be read"
        ) from cause
    if not head.strip(b" \t\r\n\0\xef\xbb\xbf\xff\xfe"):
        raise FileUnreadable("the file is empty", path=path, todo="Export it again, or take it out")
    return head, len(head) < _HEAD


def decoded_head(path: Path, head: bytes, whole: bool, told: str | None) -> tuple[str, str]:
    """Encoding and text of the first complete lines; `told` wins over what is found.

    Raises
    ------
    FileUnreadable
        Not a text.
    """
    if told is None:
        text = head_text(head, whole)
        if text is None:
            raise FileUnreadable(
                "this is not a text file", path=path, todo="Export it as text, or take it out"
            )
        return encoding_of(head) or "utf-8", text.lstrip("\ufeff")
    text = head.decode(told, "replace").replace("\r\n", "\n").replace("\r", "\n").lstrip("\ufeff")
    return told, text if whole else text[: text.rfind("\n") + 1]


def read_text(path: Path) -> str:
    """A whole small text file, line ends made one.

    Raises
    ------
    FileUnreadable
        Not a text, or a text whose first part is UTF-8 and a later part is not.
    """
    data = read_bytes(path)
    encoding = encoding_of(data)
    if encoding is None:
        raise FileUnreadable("this is not a text file", path=path, todo="Export it as text, or take it out")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as cause:
        raise FileUnreadable(
            f"the text does not hold to its encoding {encoding}",
            path=path,
            place=f"byte {cause.start}",
            todo="Save it as UTF-8",
        ) from cause
    if "\0" in text:  # of two bytes a sign
        raise FileUnreadable("this is not a text file", path=path, todo="Export it as text, or take it out")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def read_bytes(path: Path) -> bytes:
    """All bytes of a small file; `FileUnreadable` when it is empty or cannot be opened."""
    try:
        data = path.read_bytes()
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror})", path=path, todo="Check that it exists and may be read"
        ) from cause
    if not data.strip():
        raise FileUnreadable("the file is empty", path=path, todo="Export it again, or take it out")
    return data


def rows_of(
    lines: Iterable[str], separator: str, path: Path | None = None, before: int = 0
) -> Iterator[tuple[int, list[str]]]:
    """(line number from 1, cells without spaces around them) of every line that is not blank.

    Parameters
    ----------
    lines : iterable of str
        Lines, with or without their ends.
    separator : str
        One sign; a space means any run of spaces.
    path : Path, optional
        For messages.
    before : int
        Lines of the file before these.

    Raises
    ------
    FileUnreadable
        A quote that is never closed.
    """
    if separator == " ":
        for number, line in enumerate(lines, before + 1):
            if line.strip():
                yield number, line.split()
        return
    reader = csv.reader(lines, delimiter=separator, skipinitialspace=True)
    first_line = 1  # a quoted cell may run over several lines
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if any(stripped) or len(stripped) > 1:
                yield before + first_line, stripped
            first_line = reader.line_num + 1
    except csv.Error as cause:
        raise FileUnreadable(
            f"this line cannot be taken apart ({shown(cause)})",
            path=path,
            place=f"line {before + first_line}",
            todo="Look for a quotation mark that is opened and never closed",
        ) from cause


def separator_of(lines: Sequence[str]) -> str:
    """The first separator by which nearly all of the later rows have the same number of cells."""
    for separator in SEPARATORS:
        counts = [len(cells) for _, cells in islice(rows_of(lines, separator), 400)]
        tail = counts[len(counts) // 2 :]
        if not tail:
            continue
        common, many = Counter(tail).most_common(1)[0]
        if common >= 2 and many >= 0.9 * len(tail):
            return separator
    return ","
