"""Numbers of several columns: come in row by row, are wanted column by column, and fit no memory."""

from __future__ import annotations

import mmap
import tempfile
import weakref
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import IO, Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import CannotWrite
from ..recording import FloatArray

_IN_MEMORY = 16 << 20  # bytes of numbers kept in memory before a file is made for them
_PIECE = 1 << 18  # numbers that are looked at together
MOST_IN_MEMORY: Final = 1 << 22
"""Stamps: so many are kept in memory, 32 MB; more go to a file."""

_BLOCK_ROWS = 1 << 20  # rows that are handed over at a time, where that many came

Float32Array = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Tally:
    """Values of a column, NaN where there is none; how many there are, and how many were not finite."""

    values: Float32Array
    valid: int
    not_finite: int


def tally(values: Float32Array) -> Tally:
    """Count the values of a column; what is endless becomes missing."""
    valid = int(np.count_nonzero(np.isfinite(values)))
    endless = 0
    if valid < len(values):
        infinite = np.isinf(values)
        endless = int(np.count_nonzero(infinite))
        if endless:
            values = np.where(infinite, np.float32(np.nan), values)
    return Tally(values, valid, endless)


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

    def add(self, columns: Sequence[Tally]) -> None:
        """One chunk of all columns."""
        rows = len(columns[0].values)
        self._chunks.append((self._end, rows))
        try:
            for number, one in enumerate(columns):
                self.valid[number] += one.valid
                self.not_finite[number] += one.not_finite
                self._file.write(np.ascontiguousarray(one.values, np.float32).data)
        except OSError as cause:
            raise CannotWrite(
                f"the numbers could not be kept while the file is read ({cause.strerror})",
                path=tempfile.gettempdir(),
                todo="Make room there",
            ) from cause
        self._end += 4 * rows * self._columns

    def column(self, number: int) -> Iterator[Float32Array]:
        """A column in order, some chunks at a time; NaN where there is no value."""
        waiting: list[Float32Array] = []
        held = 0
        for start, rows in self._chunks:
            self._file.seek(start + 4 * rows * number)
            waiting.append(np.frombuffer(self._file.read(4 * rows), np.float32))
            held += rows
            if held >= _BLOCK_ROWS:
                yield np.concatenate(waiting)
                waiting, held = [], 0
        if waiting:
            yield np.concatenate(waiting) if len(waiting) > 1 else waiting[0]


class Stamps:
    """A long list of numbers that grows, without ever being held twice; a very long one is kept in a file.

    Nothing is ever written through a map of that file: on a full disk that would end the process.
    """

    def __init__(self) -> None:
        self._room: FloatArray = np.empty(0)
        self._file: IO[bytes] | None = None
        self.count = 0

    def add(self, values: FloatArray, share: float) -> None:
        """Append; `share` is how much of all has come with these, and says how much room to make.

        Raises
        ------
        CannotWrite
            No room for the temporary file.
        """
        after = self.count + len(values)
        if self._file is None and after > MOST_IN_MEMORY:
            self._file = tempfile.TemporaryFile()  # noqa: SIM115
            weakref.finalize(self, self._file.close)
            self._write(self._room[: self.count])
            self._room = np.empty(0)
        if self._file is not None:
            self._write(values)
            self.count = after
            return
        if after > len(self._room):
            expected = min(int(after / share * 1.02) if share > 0 else after, MOST_IN_MEMORY)
            room = np.empty(max(expected, after, min(2 * after, after + (1 << 20))))
            room[: self.count] = self._room[: self.count]
            self._room = room
        self._room[self.count : after] = values
        self.count = after

    def _write(self, values: FloatArray) -> None:
        assert self._file is not None
        try:
            self._file.write(np.ascontiguousarray(values).data.cast("B"))
        except OSError as cause:
            raise CannotWrite(
                f"the times could not be kept while the file is read ({cause.strerror})",
                path=tempfile.gettempdir(),
                todo="Make room there",
            ) from cause

    def array(self) -> FloatArray:
        """All of them; read-only where they are kept in a file."""
        if self._file is None:
            return self._room[: self.count]
        try:
            self._file.flush()
            return np.memmap(self._file, np.float64, "r", shape=(self.count,))
        except OSError as cause:
            raise CannotWrite(
                f"the times could not be kept while the file is read ({cause.strerror})",
                path=tempfile.gettempdir(),
                todo="Make room there",
            ) from cause


def in_pieces(values: NDArray[Any], more: int = 0) -> Iterator[tuple[int, NDArray[Any]]]:
    """An array from its start, piece by piece: where each begins, and its values with so many of the next.

    Of an array that is kept in a file no more than a few pieces are in memory at a time.
    """
    kept = values if isinstance(values, np.memmap) else values.base
    for number, first in enumerate(range(0, len(values), _PIECE)):
        yield first, values[first : first + _PIECE + more]
        if number % 8 == 7:
            let_go(kept)
    let_go(kept)


def let_go(kept: Any) -> None:
    """What was read of a file counts to the memory of the process until it says that it needs it no more."""
    mapped = getattr(kept, "_mmap", None)
    if mapped is not None and hasattr(mapped, "madvise"):
        mapped.madvise(mmap.MADV_DONTNEED)


def extent(values: NDArray[Any]) -> tuple[float, float]:
    """The least and the greatest of an array that holds something."""
    found = [(float(piece.min()), float(piece.max())) for _, piece in in_pieces(values)]
    return min(low for low, _ in found), max(high for _, high in found)
