"""Arrays in a trace file: written in order, read by slice without going through HDF5.

They are plain contiguous data sets, not compressed. Deflated 16-bit pressures take a little over half the
room, but then packing them is most of the time of a bring-in and every jump on the screen waits for
unpacking; and a contiguous data set can be read straight from the file, without the lock under which
HDF5 does everything (it would make a drawing desk wait for whoever reads a whole channel).
A file that was packed by hand (``h5repack``) is read all the same, through h5py.
"""

from __future__ import annotations

import os
import weakref
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from .errors import CaseFolderUnreadable

if TYPE_CHECKING:
    import h5py

_KEPT = 1 << 16
"""Arrays of at most this many values, the coarse levels above all, stay in memory once read."""
_WORTH_WRITING = 1 << 16
"""Values: fewer are not written by themselves, since each writing takes HDF5 as long as some thousand values."""


_AT_A_PLACE: Final = hasattr(os, "preadv")
"""Whether the system reads at a place of an open file: half as long as opening it anew for every slice."""


class _OpenFile:
    """A trace file kept open for reading, closed with the last array that reads from it."""

    def __init__(self, path: Path) -> None:
        self.handle = os.open(path, os.O_RDONLY | getattr(os, "O_CLOEXEC", 0))
        weakref.finalize(self, os.close, self.handle)


_OPEN: weakref.WeakValueDictionary[tuple[str, int, int], _OpenFile] = weakref.WeakValueDictionary()
"""By path and what lies there: another file put in the place of an earlier one is opened by itself."""


def _opened(path: Path) -> _OpenFile:
    told = path.stat()
    key = str(path), told.st_ino, told.st_mtime_ns
    file = _OPEN.get(key)
    if file is None:
        file = _OPEN[key] = _OpenFile(path)
    return file


class Filling:
    """A new data set, filled from its start; few values wait until there are many, or until it is full."""

    def __init__(self, group: h5py.Group, name: str, count: int, dtype: np.dtype[Any]) -> None:
        self._dataset = group.create_dataset(name, (count,), dtype, fill_time="never")
        self._count = count
        self._at = 0
        self._waiting: list[NDArray[Any]] = []
        self._held = 0

    def add(self, values: NDArray[Any]) -> None:
        """Append values."""
        if not len(values):
            return
        self._waiting.append(values)
        self._held += len(values)
        if self._held >= _WORTH_WRITING or self._at + self._held >= self._count:
            together = np.concatenate(self._waiting) if len(self._waiting) > 1 else self._waiting[0]
            self._dataset[self._at : self._at + self._held] = together
            self._at += self._held
            self._waiting, self._held = [], 0


class StoredArray:
    """A one-dimensional data set to be read by slice.

    Parameters
    ----------
    dataset : h5py.Dataset
    path : Path
        The file it is in.
    """

    def __init__(self, dataset: h5py.Dataset, path: Path) -> None:
        self.count: int = dataset.shape[0]
        self.dtype: np.dtype[Any] = dataset.dtype
        self._path = path
        self._offset: int | None = dataset.id.get_offset() if self.count else 0
        self._dataset = dataset if self._offset is None else None
        self._kept: NDArray[Any] | None = None
        self._file: _OpenFile | None = None

    def read(self, start: int, stop: int) -> NDArray[Any]:
        """Values ``start:stop``, clipped to what there is.

        Raises
        ------
        CaseFolderUnreadable
            When the file has become shorter or cannot be read any more.
        """
        start, stop = max(start, 0), min(stop, self.count)
        if stop <= start:
            return np.empty(0, self.dtype)
        if self.count > _KEPT:
            return self._from_file(start, stop)
        if self._kept is None:
            self._kept = self._from_file(0, self.count)
        return self._kept[start:stop]

    def _from_file(self, start: int, stop: int) -> NDArray[Any]:
        try:
            if self._dataset is not None:
                return np.asarray(self._dataset[start:stop])
            place = (self._offset or 0) + start * self.dtype.itemsize
            values = self._at_place(place, stop - start)
        except OSError as cause:
            raise CaseFolderUnreadable(
                f"samples cannot be read ({(cause.strerror or 'the file is damaged there').lower()})",
                path=self._path,
                todo="Check that the case folder is still there and may be read, then run: afterclamp check CASE",
            ) from cause
        if len(values) < stop - start:
            raise CaseFolderUnreadable(
                "the file is shorter than it says", path=self._path, todo="Bring the source in again"
            )
        return values

    def _at_place(self, place: int, count: int) -> NDArray[Any]:
        """`count` values from a byte of the file on; fewer where it ends before."""
        if not _AT_A_PLACE:
            return np.fromfile(self._path, self.dtype, count, offset=place)
        if self._file is None:
            self._file = _opened(self._path)
        values = np.empty(count, self.dtype)
        left = memoryview(values.data).cast("B")
        got = 0
        while got < len(left):  # the system gives at most 2 GB at once
            more = os.preadv(self._file.handle, [left[got:]], place + got)
            if not more:
                return values[: got // self.dtype.itemsize]
            got += more
        return values
