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
    lines: Iterable[str],
    separator: str,
    path: Path | None = None,
    before: int = 0,
    *,
    checked: bool = False,
    whole: bool = True,
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
    checked : bool
        Whether a quotation mark that swallows rows is refused. Not where separators are only tried.
    whole : bool
        Whether no line comes after these: only then is a quotation mark that is still open at their end told.

    Raises
    ------
    FileUnreadable
        A quotation mark that is never closed, or closed after lines that look like rows.
    """
    if separator == " ":
        for number, line in enumerate(lines, before + 1):
            if line.strip():
                yield number, line.split()
        return
    source = _Lines(lines)
    reader = csv.reader(source, delimiter=separator, skipinitialspace=True)
    first_line = 1  # a quoted cell may run over several lines
    above: Sequence[str] = ()
    try:
        for cells in reader:
            taken = source.taken()
            place = before + first_line
            if checked and whole and source.ran_out:
                raise quote_never_closed(path, place)
            swallowed = swallowed_row(taken, cells, above, separator) if checked else 0
            if swallowed:
                raise quote_over_rows(path, place, place + swallowed)
            stripped = [cell.strip() for cell in cells]
            if any(stripped) or len(stripped) > 1:
                yield place, stripped
                above = stripped
            first_line = reader.line_num + 1
    except csv.Error as cause:  # a cell longer than any cell is
        raise quote_never_closed(path, before + first_line) from cause


class _Lines:
    """Lines on their way to be taken apart, which remember what the row at hand was made of."""

    def __init__(self, lines: Iterable[str]) -> None:
        self._lines = iter(lines)
        self._taken: list[str] = []
        self.ran_out = False
        """Whether more was asked for than there is: a row that comes after that is one that did not end."""

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        try:
            line = next(self._lines)
        except StopIteration:
            self.ran_out = True
            raise
        self._taken.append(line)
        return line

    def taken(self) -> list[str]:
        """The lines since this was last asked."""
        lines, self._taken = self._taken, []
        return lines


def swallowed_row(lines: Sequence[str], cells: Sequence[str], above: Sequence[str], separator: str) -> int:
    """Which of the lines of one row looks like a row itself, counted from 0; 0 where none does.

    A text in quotation marks may run over several lines. A line of it is taken for a row when it has as many cells
    as this row or the one above, and begins with a cell written like the first cell of one of them, or holds
    numbers in more than half of its cells.
    """
    if len(lines) < 2:
        return 0
    counts = {len(cells), len(above)} - {0, 1}
    # Where the mark stands before the first cell, that holds all the lines.
    shapes = {_shape(row[0].split(separator)[0]) for row in (cells, above) if row} - {""}
    for number, line in enumerate(lines[1:], 1):
        if line.count(separator) + 1 not in counts:
            continue
        parts = [part.strip(' "\r\n') for part in line.split(separator)]
        numbers = sum(re.fullmatch(r"[-+]?\d+(?:[.,]\d+)?", part) is not None for part in parts)
        if _shape(parts[0]) in shapes or numbers > len(parts) / 2:
            return number
    return 0


def _shape(cell: str) -> str:
    """How a cell that begins with a digit is written, every number the same; "" for any other."""
    cell = cell.strip(' "\r\n')
    return re.sub(r"\d+", "0", cell[:40]) if cell[:1].isdigit() else ""


def quote_never_closed(path: Path | None, line: int) -> FileUnreadable:
    """What to say where a quotation mark swallows the rest of a file."""
    return FileUnreadable(
        "a quotation mark is opened here and never closed: all that follows would be one cell",
        path=path,
        place=f"line {line}",
        todo="Close the quotation mark, or take it out",
    )


def quote_over_rows(path: Path | None, line: int, swallowed: int) -> FileUnreadable:
    """What to say where a quotation mark swallows rows up to the next one."""
    return FileUnreadable(
        f"a quotation mark is opened here and not closed before line {swallowed}, which looks like a row of its own",
        path=path,
        place=f"line {line}",
        todo="Close the quotation mark or take it out; if its text does run over these lines, put it on one line",
    )


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
