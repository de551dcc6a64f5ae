"""The rows of a table, read once in chunks: stamps stay in memory, numbers wait in a temporary file.

pandas' C parser is quick but silent: a row that is too short is filled up, one that is too long is cut.
So the separators are counted beside the hash of the file, and rows are only gone through one by one where
the count is off or where the parser stumbled, to name the line.
"""

from __future__ import annotations

import hashlib
import re
import tempfile
import weakref
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from ..errors import CannotWrite, FileUnreadable
from ..recording import FloatArray
from .cells import is_number
from .layout import Column, Layout
from .plain_text import rows_of
from .stamps import BadStamp, TextStamps

_CHUNK_ROWS = 1 << 17
_IN_MEMORY = 16 << 20  # bytes of numbers kept in memory before a file is made for them
_PIECE = 1 << 20

Float32Array = NDArray[np.float32]


class Spool:
    """Numbers of several columns, written chunk by chunk, read column by column."""

    def __init__(self, columns: int) -> None:
        self._columns = columns
        self._file: IO[bytes] = tempfile.SpooledTemporaryFile(_IN_MEMORY)  # noqa: SIM115
        weakref.finalize(self, self._file.close)
        self._chunks: list[tuple[int, int]] = []  # where a chunk starts, and its rows
        self._end = 0
        self.valid = [0] * columns
        self.not_finite = [0] * columns

    def add(self, columns: list[Float32Array]) -> None:
        """One chunk: a float32 array a column, NaN where there is no value."""
        rows = len(columns[0])
        self._chunks.append((self._end, rows))
        try:
            for number, values in enumerate(columns):
                endless = np.isinf(values)
                if endless.any():
                    self.not_finite[number] += int(endless.sum())
                    values = np.where(endless, np.float32(np.nan), values)
                self.valid[number] += rows - int(np.isnan(values).sum())
                self._file.write(np.ascontiguousarray(values, np.float32).tobytes())
        except OSError as cause:
            raise CannotWrite(
                f"the numbers could not be kept while the file is read ({cause.strerror})",
                path=tempfile.gettempdir(),
                todo="Make room there",
            ) from cause
        self._end += 4 * rows * self._columns

    def column(self, number: int) -> Iterator[Float32Array]:
        """A column in order, chunk by chunk; NaN where there is no value."""
        for start, rows in self._chunks:
            self._file.seek(start + 4 * rows * number)
            yield np.frombuffer(self._file.read(4 * rows), np.float32)


@dataclass
class TableRows:
    """What was read.

    Attributes
    ----------
    stamps : ndarray of float64 or None
        One a row, in the unit of the layout's time; None where the table has no time column.
    text_stamps : TextStamps or None
        How clock texts were written.
    columns : list of Column
        The columns of the spool, in its order.
    """

    rows: int
    stamps: FloatArray | None
    text_stamps: TextStamps | None
    columns: list[Column]
    spool: Spool
    sha256: str
    set_aside: list[str] = field(default_factory=list)


def read_rows(path: Path, layout: Layout) -> TableRows:
    """Read all rows.

    Raises
    ------
    FileUnreadable
        A row of another length, a text among numbers, a row without a time; the line is named.
    CannotWrite
        No room for the temporary file.
    """
    sha, separators, quoted = _hash_and_count(path, layout)
    columns = list(layout.columns)
    set_aside: list[str] = []
    try:
        table = _parse(path, layout, columns)
    except _NotANumber:
        # Slow, but only where something is wrong: which cell, or is it a column of text after all?
        _check_lengths(path, layout)
        texts = _text_columns(path, layout, columns)
        set_aside += [
            f"{path.name}, column {column.label}: a column of text, not of numbers" for column in texts
        ]
        columns = [column for column in columns if column not in texts]
        if not columns:
            raise FileUnreadable(
                "there is no column of numbers in this table",
                path=path,
                todo="Take the file out, or say what it is in a column map",
            ) from None
        table = _parse(path, layout, columns)
    table.sha256 = sha
    table.set_aside = set_aside
    last = layout.count - 1
    full_to_the_end = last == layout.time or any(
        column.index == last and table.spool.valid[number] == table.rows
        for number, column in enumerate(table.columns)
    )
    # Without a missing value at its end no row is short, and a longer one shows in the count.
    if layout.separator == " " or quoted or not full_to_the_end or separators != table.rows * last:
        _check_lengths(path, layout, quoted)
    return table


class _NotANumber(Exception):
    """The parser met a text where a number was due; it does not say where."""


def _parse(path: Path, layout: Layout, columns: list[Column]) -> TableRows:
    import pandas as pd

    texts = TextStamps(layout.time_kind) if layout.time_kind in ("clock", "datetime") else None
    used = [column.index for column in columns]
    dtypes: dict[int, Any] = dict.fromkeys(used, np.float32)
    if layout.time is not None:
        dtypes[layout.time] = object if texts is not None else np.float64
    spool = Spool(len(columns))
    stamps: list[FloatArray] = []
    rows = 0
    with open_rows(path, layout) as handle:
        try:
            chunks = pd.read_csv(
                handle,
                sep=r"\s+" if layout.separator == " " else layout.separator,
                decimal=layout.decimal,
                header=None,
                names=list(range(layout.count)),
                usecols=sorted(dtypes),
                index_col=False,
                dtype=dtypes,
                na_values=list(layout.missing),
                keep_default_na=False,
                skipinitialspace=True,
                engine="c",
                chunksize=_CHUNK_ROWS,
            )
            with chunks:
                for chunk in chunks:
                    if layout.time is not None:
                        stamps.append(_stamps(path, layout, chunk[layout.time], texts, rows))
                    spool.add([chunk[index].to_numpy() for index in used])
                    rows += len(chunk)
        except pd.errors.ParserError as cause:
            last = _check_lengths(path, layout)
            raise FileUnreadable(
                f"the table cannot be taken apart ({str(cause).removeprefix('Error tokenizing data. C error: ')})",
                path=path,
                place=f"line {last}",
                todo="Look for a quotation mark that is opened and never closed",
            ) from cause
        except UnicodeDecodeError:
            raise
        except (ValueError, OverflowError) as cause:
            raise _NotANumber from cause
    if not rows:
        raise FileUnreadable("there is a header but no row under it", path=path, todo="Export it again")
    times = np.concatenate(stamps) if stamps else None
    return TableRows(rows, times, texts, list(columns), spool, "")


def _stamps(path: Path, layout: Layout, column: Any, texts: TextStamps | None, before: int) -> FloatArray:
    """Stamps of a chunk that starts at row `before`."""
    if texts is not None:
        try:
            return texts.read(column.tolist())
        except BadStamp as cause:
            _no_time(path, layout, before + cause.row)
    numbers = np.asarray(column.to_numpy(), dtype=np.float64)
    bad = ~np.isfinite(numbers)
    if bad.any():
        _no_time(path, layout, before + int(np.argmax(bad)))
    return numbers


def _no_time(path: Path, layout: Layout, row: int) -> NoReturn:
    line, cells = cells_of_row(path, layout, row)
    found = cells[layout.time] if layout.time is not None and layout.time < len(cells) else ""
    if len(cells) != layout.count:
        raise _wrong_length(path, layout, line, len(cells))
    expected = {
        "clock": "a time of day such as 07:42:00",
        "datetime": "a date and time such as 2031-05-04 07:42:00",
    }.get(layout.time_kind, "a number of " + layout.time_kind.replace("epoch_", "epoch "))
    raise FileUnreadable(
        f"found {found!r} as a time; expected {expected}"
        if found
        else f"this row has no time; expected {expected}",
        path=path,
        place=f"line {line}, column {layout.time_label}",
        todo="Correct this line, or take it out",
    )


# The slow way, line by line, for messages


@contextmanager
def open_rows(path: Path, layout: Layout) -> Iterator[IO[str]]:
    """The file as text, at its first row of data."""
    with path.open(encoding=layout.encoding, newline="") as handle:
        for _ in range(layout.skip_lines):
            handle.readline()
        yield handle


def _rows(handle: IO[str], path: Path, layout: Layout) -> Iterator[tuple[int, list[str]]]:
    return rows_of(handle, layout.separator, path, layout.skip_lines)


def cells_of_row(path: Path, layout: Layout, row: int) -> tuple[int, list[str]]:
    """Line number and cells of a row, counted from 0."""
    with open_rows(path, layout) as handle:
        for number, found in enumerate(_rows(handle, path, layout)):
            if number == row:
                return found
    return 0, []


def _wrong_length(path: Path, layout: Layout, line: int, found: int) -> FileUnreadable:
    return FileUnreadable(
        f"found {found} columns; expected {layout.count} as in the rows before",
        path=path,
        place=f"line {line}",
        todo="Correct this line, or export the table again if the file was cut",
    )


def _check_lengths(path: Path, layout: Layout, quoted: bool = True) -> int:
    """Every row must have its cells, or one empty cell more: a separator at the end does no harm.

    Returns the line on which the last row begins.
    """
    line = layout.skip_lines
    with open_rows(path, layout) as handle:
        rows = _rows(handle, path, layout)
        if not quoted and layout.separator != " ":
            # Where nothing is quoted, counting separators is enough for all but the odd line.
            right = layout.count - 1
            numbered = enumerate(handle, layout.skip_lines + 1)
            odd = ((number, text) for number, text in numbered if text.count(layout.separator) != right)
            rows = (
                (number, [cell.strip() for cell in text.rstrip("\r\n").split(layout.separator)])
                for number, text in odd
                if text.strip()
            )
        for line, cells in rows:
            if len(cells) != layout.count and not (len(cells) == layout.count + 1 and not cells[-1]):
                raise _wrong_length(path, layout, line, len(cells))
    return line


def _text_columns(path: Path, layout: Layout, columns: list[Column]) -> list[Column]:
    """Columns that hold texts and no number at all. Raises for a text among numbers."""
    watched = [(column.index, column.label) for column in columns]
    by_number = layout.time is not None and layout.time_kind not in ("clock", "datetime")
    if by_number and layout.time is not None:
        watched.insert(0, (layout.time, layout.time_label))
    numbers = dict.fromkeys((index for index, _ in watched), 0)
    first_text: dict[int, tuple[int, str]] = {}
    endless = re.compile(r"[-+]?(inf|infinity)", re.IGNORECASE)
    with open_rows(path, layout) as handle:
        for line, cells in _rows(handle, path, layout):
            for index, _ in watched:
                cell = cells[index]
                if cell in layout.missing:
                    continue
                if is_number(cell, layout.decimal) or endless.fullmatch(cell):
                    numbers[index] += 1
                elif index not in first_text:
                    first_text[index] = (line, cell)
    mixed = sorted(
        (*first_text[index], label)
        for index, label in watched
        if index in first_text and (numbers[index] or index == layout.time)
    )
    if mixed:
        line, text, label = mixed[0]
        sign = "a comma" if layout.decimal == "," else "a point"
        raise FileUnreadable(
            f"found {text[:40]!r}; expected a number with {sign} as decimal sign, or nothing",
            path=path,
            place=f"line {line}, column {label}",
            todo=(
                f'If it stands for a missing value, give a column map with missing = ["{text[:40]}"] under [file]; '
                "else correct the line"
            ),
        )
    if not first_text:
        raise FileUnreadable(
            "a number in this table cannot be read", path=path, todo="Export it again with plain numbers"
        )
    return [column for column in columns if column.index in first_text]


def _hash_and_count(path: Path, layout: Layout) -> tuple[str, int, bool]:
    """SHA-256 of the file; separators in the rows of data; whether a quotation mark occurs anywhere."""
    digest = hashlib.sha256()
    separator = layout.separator.encode()
    separators = 0
    quoted = False
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            digest.update(piece)
            separators += piece.count(separator)
            quoted = quoted or b'"' in piece
    with path.open(encoding=layout.encoding, newline="") as handle:
        for _ in range(layout.skip_lines):
            separators -= handle.readline().count(layout.separator)
    return digest.hexdigest(), separators, quoted
