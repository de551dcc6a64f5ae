"""MATLAB files of level 5 taken apart: arrays of numbers, cells and fields, from elements of kind and length.

Decoded from "MAT-File Format" (The MathWorks), level 5. Not left to scipy, whose reader ends the whole process on
some damaged files (seen with 1.17). Every length is held against what is there before it is followed, and packed
arrays are unpacked up to a bound.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import FileUnreadable
from .quoting import quoted, shown

MOST_BYTES: Final = 512 << 20
"""Of all arrays that are asked for, unpacked: they are held in memory."""

_MATRIX, _PACKED = 14, 15  # kinds of elements
# Kinds of elements that hold numbers.
_NUMBERS: Final = {
    1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8",
}  # fmt: skip
# Classes of arrays.
_CELL, _STRUCT = 1, 2
_FIRST_NUMERIC, _LAST_NUMERIC = 6, 15
_OTHERS: Final = {3: "object", 4: "text", 5: "sparse matrix", 16: "function", 17: "object"}
_COMPLEX = 0x0800
_DEEPEST = 32  # arrays within arrays
_BEGINNING = 1 << 12  # bytes of an array that hold its name
_AGAIN = "Copy the file again, or save it anew"


@dataclass(frozen=True, slots=True)
class Cells:
    """A cell array; items in MATLAB's order, down the columns first."""

    shape: tuple[int, ...]
    items: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Structs:
    """An array of structures; for each, in order, the item of each field."""

    shape: tuple[int, ...]
    names: tuple[str, ...]
    items: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True, slots=True)
class Other:
    """What holds no numbers: text, functions, objects."""

    shape: tuple[int, ...]
    kind: str


Node = NDArray[Any] | Cells | Structs | Other


@dataclass(frozen=True, slots=True)
class _Entry:
    at: int  # where its element begins
    held: int
    packed: bool


class _Damaged(Exception):
    """What is wrong with an array."""


class Level5File:
    """The arrays of a file by name; each is held in memory from when it is first asked for.

    Raises
    ------
    FileUnreadable
        Not of level 5, cut, or an element that is no array; with its byte.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._held: dict[str, Node] = {}
        self._room = MOST_BYTES
        try:
            with path.open("rb") as file:
                self._order = order_of(file.read(128))
                self._entries = self._index(file)
        except OSError as cause:
            raise FileUnreadable(
                f"cannot be opened ({cause.strerror or cause})", path=path, todo="Check that it may be read"
            ) from cause

    @property
    def names(self) -> tuple[str, ...]:
        """Of its arrays, in order of the file."""
        return tuple(self._entries)

    def array(self, name: str) -> Node:
        """One array, with all that is in it. Raises `FileUnreadable`."""
        if name not in self._held:
            entry = self._entries[name]
            try:
                raw = self._bytes(entry, self._room + 8)
                if len(raw) > self._room + 8:
                    raise FileUnreadable(
                        f"its arrays take more than {MOST_BYTES >> 20} MB unpacked, which would have to be held in "
                        "memory",
                        path=self.path,
                        place=shown(name),
                        todo="Save it with -v7.3, which is read in pieces",
                    )
                self._held[name] = _Reader(raw, self._order).matrix_element()
                self._room -= len(raw)
            except (_Damaged, zlib.error, struct.error, ValueError, MemoryError, OSError) as cause:
                raise FileUnreadable(
                    f"this array cannot be read ({shown(cause)})",
                    path=self.path,
                    place=shown(name),
                    todo=_AGAIN,
                ) from cause
        return self._held[name]

    def _index(self, file: BinaryIO) -> dict[str, _Entry]:
        def wrong(at: int, what: str, todo: str = _AGAIN) -> FileUnreadable:
            return FileUnreadable(what, path=self.path, place=f"byte {at}", todo=todo)

        size = file.seek(0, 2)
        if not self._order:
            file.seek(0)
            head = file.read(128)
            raise wrong(
                124 if size >= 128 else size,
                f"level and order of bytes of a MATLAB file were expected, found {quoted(head[124:128])}",
                "Check what kind of file it is; one of level 4 must be saved anew, with -v7 or -v7.3",
            )
        at = 128
        entries: dict[str, _Entry] = {}
        while at < size:
            file.seek(at)
            tag = file.read(8)
            kind, held = struct.unpack(self._order + "LL", tag) if len(tag) == 8 else (0, 0)
            if kind not in (_MATRIX, _PACKED):
                raise wrong(at, f"an array was expected here, found an element of kind {kind}")
            if at + 8 + held > size:
                raise wrong(
                    size, f"the file is cut: its last array claims {held} bytes, {size - at - 8} are there"
                )
            entry = _Entry(at, held, kind == _PACKED)
            try:
                name = _Reader(self._bytes(entry, _BEGINNING), self._order).name_of_element()
            except (_Damaged, zlib.error, struct.error, ValueError) as cause:
                raise wrong(at, f"this array cannot be read ({shown(cause)})") from cause
            if name:  # what MATLAB keeps for itself has none
                entries[name] = entry  # where a name occurs twice the last one stands
            at += 8 + held
        if not entries:
            raise wrong(128, "the file holds no arrays")
        return entries

    def _bytes(self, entry: _Entry, most: int) -> bytes | bytearray:
        """An element with its tag, unpacked where it is packed; not much more than `most` bytes of it."""
        with self.path.open("rb") as file:
            if not entry.packed:
                file.seek(entry.at)
                return file.read(min(8 + entry.held, most + 1))
            file.seek(entry.at + 8)
            left = entry.held
            inflater = zlib.decompressobj()
            whole = bytearray()
            while left and len(whole) <= most and not inflater.eof:
                raw = file.read(min(left, 1 << 16))
                left -= len(raw)
                while raw and len(whole) <= most:
                    whole += inflater.decompress(raw, 1 << 20)
                    raw = inflater.unconsumed_tail
        if len(whole) <= most and not inflater.eof:
            raise _Damaged("what it is packed in ends before it does")
        return whole


def order_of(head: bytes) -> str:
    """``"<"`` or ``">"`` for the first bytes of a file of level 5, empty for anything else."""
    return {b"\x00\x01IM": "<", b"\x01\x00MI": ">"}.get(head[124:128], "")


class _Reader:
    """Elements one after the other. Whatever does not fit raises `_Damaged`."""

    def __init__(self, raw: bytes | bytearray | memoryview, order: str, deep: int = 0) -> None:
        self._raw = memoryview(raw)
        self._order = order
        self._deep = deep
        self._at = 0

    def _tag(self) -> tuple[int, int]:
        """Kind and length of the next element, whose data then follow; short ones stand in the tag itself."""
        if self._at + 8 > len(self._raw):
            raise _Damaged("it ends within an element")
        kind, held = struct.unpack_from(self._order + "LL", self._raw, self._at)
        if kind >> 16:
            self._at += 4
            return kind & 0xFFFF, kind >> 16
        self._at += 8
        return kind, held

    def _element(self) -> tuple[int, memoryview]:
        short = self._at + 4
        kind, held = self._tag()
        is_short = self._at == short
        if is_short and held > 4:
            raise _Damaged(f"a short element claims {held} bytes")
        if self._at + held > len(self._raw):
            raise _Damaged(f"an element claims {held} bytes, {len(self._raw) - self._at} are there")
        data = self._raw[self._at : self._at + held]
        # The last one of an array need not be filled up.
        self._at = min(self._at + (4 if is_short else held + -held % 8), len(self._raw))
        return kind, data

    def _numbers(self, what: str) -> NDArray[Any]:
        kind, data = self._element()
        if kind not in _NUMBERS:
            raise _Damaged(f"{what} are of kind {kind}, not numbers")
        dtype = np.dtype(self._order + _NUMBERS[kind])
        return np.frombuffer(data[: len(data) // dtype.itemsize * dtype.itemsize], dtype)

    def _head(self) -> tuple[int, int, tuple[int, ...], str]:
        flags = self._numbers("flags")
        if len(flags) < 1 or flags.dtype.kind not in "iu":
            raise _Damaged("it has no flags")
        shape = tuple(int(size) for size in self._numbers("dimensions"))
        if not 2 <= len(shape) <= 32 or min(shape) < 0:
            raise _Damaged(f"its dimensions read {shape[:8]}")
        name = bytes(self._element()[1]).rstrip(b"\0").decode("utf-8", "replace")
        return int(flags[0]) & 0xFF, int(flags[0]), shape, name

    def name_of_element(self) -> str:
        """Name of the array that the bytes begin with."""
        kind, held = self._tag()
        if kind != _MATRIX:
            raise _Damaged(f"it is of kind {kind}, not an array")
        return self._head()[3] if held else ""

    def matrix_element(self) -> Node:
        """The array that is the next element."""
        kind, data = self._element()
        if kind != _MATRIX:
            raise _Damaged(f"an element of kind {kind} stands where an array was expected")
        if self._deep >= _DEEPEST:
            raise _Damaged(f"more than {_DEEPEST} arrays lie within each other")
        return _Reader(data, self._order, self._deep + 1)._matrix() if data else np.empty((0, 0))

    def _matrix(self) -> Node:
        of_class, flags, shape, _ = self._head()
        count = 1
        for size in shape:
            count *= size
        if of_class == _CELL:
            # One after the other, so that a count that lies ends with the bytes and nothing is set up for it.
            return Cells(shape, tuple(self.matrix_element() for _ in range(count)))
        if of_class == _STRUCT:
            return self._structs(shape, count)
        if of_class in _OTHERS:
            return Other(shape, _OTHERS[of_class])
        if not _FIRST_NUMERIC <= of_class <= _LAST_NUMERIC:
            raise _Damaged(f"it is of class {of_class}, which does not exist")
        if flags & _COMPLEX:
            return Other(shape, "complex numbers")
        numbers = self._numbers("values")
        if len(numbers) != count:
            raise _Damaged(f"{' x '.join(map(str, shape))} numbers are announced, {len(numbers)} are there")
        return numbers.reshape(shape, order="F")

    def _structs(self, shape: tuple[int, ...], count: int) -> Structs:
        widths = self._numbers("lengths of field names")
        width = int(widths[0]) if len(widths) == 1 else 0
        raw = bytes(self._element()[1])
        if not (width > 0 and len(raw) % width == 0):
            raise _Damaged(f"names of fields take {len(raw)} bytes, {width} each")
        names = tuple(
            raw[first : first + width].split(b"\0")[0].decode("utf-8", "replace")
            for first in range(0, len(raw), width)
        )
        if not names:
            return Structs(shape, (), ())
        return Structs(shape, names, tuple(tuple(self.matrix_element() for _ in names) for _ in range(count)))
