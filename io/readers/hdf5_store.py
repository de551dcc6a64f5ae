"""An HDF5 file that others wrote, opened: what is in it, and the numbers of an array.

Nothing of the file leads out of it: one with external links, virtual data sets, samples in other files or filters
that HDF5 would load from elsewhere is refused. Sizes are held against what is really stored before anything is
set up for them, and samples are read piece by piece.

A damaged file can end the process that HDF5 works in, so this is used in one of its own only: see `hdf5_apart`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import h5py
import numpy as np
from numpy.typing import NDArray

from ..errors import FileUnreadable
from .path_channels import chosen_axis
from .path_map import Place
from .quoting import quoted, shown

_LARGEST_CHUNK = 128 << 20  # bytes; a chunk is unpacked whole
# Deflate packs at most a thousandfold; twice that leaves room for what stands beside the samples.
_DENSEST = 2064
_MOST_ENTRIES = 200_000
_MOST_CELLS = 1_000_000
_SOFT_LINKS = 8  # so many may follow each other
_UNPACKED = 32 << 20  # bytes that are unpacked for one piece, unless a chunk is larger
_TOLD = 30  # arrays that are listed
_ALIVE_EVERY = 2000  # entries
_REASON = 120  # signs of what HDF5 says
# Filters that are part of HDF5 or of h5py: deflate, shuffle, Fletcher32, szip, n-bit, scale-offset, LZF.
_OWN_FILTERS: Final = (1, 2, 3, 4, 5, 6, 32000)
_OURS: Final = frozenset({"format_version", "name", "reader", "files", "first_stamp"})
# What h5py raises on a damaged file; SystemError where it loses an error of its own on a walk.
_STUMBLES: Final = (
    OSError, RuntimeError, ValueError, TypeError, LookupError, AttributeError, MemoryError, SystemError,
)  # fmt: skip
_AGAIN = "Copy the file again, or export it anew"
_SELF_CONTAINED = "Export it as one file that holds all of its data (h5repack does that)"


@dataclass(frozen=True, slots=True)
class Line:
    """A list of numbers in an array: how many, of which type, along which axis and where in the others."""

    count: int
    dtype: np.dtype[Any]
    axis: int
    rest: tuple[int, ...]


@dataclass(frozen=True)
class _Found:
    """A data set, a field of it or none, and how MATLAB turns its axes round."""

    dataset: h5py.Dataset
    field: str | None
    turned: bool

    @property
    def dtype(self) -> np.dtype[Any]:
        dtype: np.dtype[Any] = self.dataset.dtype
        return dtype[self.field] if self.field is not None else dtype

    @property
    def shape(self) -> tuple[int, ...]:
        """As the person who wrote it sees it."""
        shape: tuple[int, ...] = self.dataset.shape or ()
        return shape[::-1] if self.turned else shape


class Hdf5Store:
    """The arrays of a file, checked once when it is opened; nothing is held open in between.

    Parameters
    ----------
    path : Path
        The file.
    turned : bool
        MATLAB's: axes are stored in reverse order.
    alive : callable
        Told every now and then while a large file is looked through.

    Raises
    ------
    FileUnreadable
        Not HDF5, damaged, one of this program's own trace files, or not self-contained.
    """

    def __init__(self, path: Path, turned: bool = False, alive: Callable[[], None] = lambda: None) -> None:
        self.path = path
        self._turned = turned
        self._alive = alive
        self._size = _size_of(path)
        self._guarded(self._check)

    def _guarded(self, work: Callable[[h5py.File], Any], place: str = "") -> Any:
        """Do something with the opened file; what HDF5 stumbles over is told."""
        try:
            with h5py.File(self.path, "r") as file:
                return work(file)
        except _STUMBLES as cause:
            raise self._damaged(cause, place) from cause

    def _damaged(self, cause: BaseException, place: str) -> FileUnreadable:
        # In place of an error that h5py lost there is only the name of what lost it.
        told = "" if isinstance(cause, SystemError) else str(cause)
        reason = shown(told.splitlines()[0], _REASON) if told else "its structure is damaged"
        return self._wrong(f"it cannot be read as HDF5 ({reason})", place, _AGAIN)

    def _wrong(self, what: str, place: str = "", todo: str = "Correct the path map") -> FileUnreadable:
        return FileUnreadable(what, path=self.path, place=shown(place), todo=todo)

    # What must not be there

    def _check(self, file: h5py.File) -> None:
        if set(file.attrs) >= _OURS and "channels" in file:
            raise self._wrong(
                "this is a trace file of a case, not an export",
                todo="Open the case folder that it belongs to, the one above 'traces'",
            )
        entries = 0

        # What is found is handed back, which ends the walk: h5py loses an error that is raised on the way.
        def link(name: bytes | str, found: Any) -> FileUnreadable | None:
            nonlocal entries
            entries += 1
            if entries % _ALIVE_EVERY == 0:
                self._alive()
            if isinstance(found, h5py.ExternalLink):
                return self._wrong("this entry leads to another file", f"/{_text(name)}", _SELF_CONTAINED)
            if entries > _MOST_ENTRIES:
                return self._wrong(f"it holds more than {_MOST_ENTRIES} entries", todo="Export fewer of them")
            return None

        def entry(name: bytes | str, found: Any) -> FileUnreadable | None:
            nonlocal entries
            entries += 1
            if entries % _ALIVE_EVERY == 0:
                self._alive()
            if isinstance(found, h5py.Dataset) and (found.is_virtual or found.external):
                return self._wrong("it keeps its samples in another file", f"/{_text(name)}", _SELF_CONTAINED)
            return None

        problem = file.visititems_links(link) or file.visititems(entry)
        if problem is not None:
            raise problem

    # What is there

    def listing(self) -> str:
        """All arrays with shape, type and what is written beside them, as one sentence."""
        found: list[str] = []
        more = 0

        def entry(name: bytes | str, item: Any) -> None:
            nonlocal more
            text = _text(name)
            if not isinstance(item, h5py.Dataset) or text.startswith(("#refs#", "#subsystem#")):
                return
            if len(found) == _TOLD:
                more += 1
                return
            found.append(f"/{shown(text, 40)} ({_described(_Found(item, None, self._turned))})")

        self._guarded(lambda file: file.visititems(entry))
        return ", ".join(found) + (f" and {more} more" if more else "") if found else "no arrays"

    def _find(self, file: h5py.File, place: Place) -> Any:
        """The object or, within a table of named fields, the `_Found` that a path leads to."""
        item: Any = file
        for step in place.steps:
            if isinstance(item, h5py.Dataset):
                if item.dtype.names and step.name in item.dtype.names and step is place.steps[-1]:
                    return _Found(item, step.name, self._turned)
                raise self._absent(file, place)
            item = self._child(file, item, step.name, place, _SOFT_LINKS)
            if step.cell is not None:
                item = self._cell(file, item, step.cell, place)
        return item

    def _child(self, file: h5py.File, group: Any, name: str, place: Place, links: int) -> Any:
        link = group.get(name, getlink=True) if isinstance(group, h5py.Group) else None
        if isinstance(link, h5py.HardLink):
            return group[name]
        if isinstance(link, h5py.SoftLink) and links:
            item: Any = file if link.path.startswith("/") else group
            for part in filter(None, link.path.split("/")):
                item = self._child(file, item, part, place, links - 1)
            return item
        raise self._absent(file, place)

    def _absent(self, _file: h5py.File, place: Place) -> FileUnreadable:
        return self._wrong(f"there is nothing by this name; it holds {self.listing()}", place.text)

    def _cell(self, file: h5py.File, item: Any, number: int, place: Place) -> Any:
        is_cells = isinstance(item, h5py.Dataset) and h5py.check_dtype(ref=item.dtype) is h5py.Reference
        if not is_cells or item.size > _MOST_CELLS:
            raise self._wrong("this is no cell array, so no cell can be taken from it", place.text)
        self._refuse_filters(item, place.text)
        if number > item.size:
            raise self._wrong(f"cell {number} was asked for; it has {item.size}", place.text)
        reference = item[()].reshape(-1)[number - 1]  # stored turned round: the order is MATLAB's own
        if not reference:
            raise self._wrong(f"cell {number} is empty", place.text)
        return file[reference]

    def _array(self, file: h5py.File, place: Place) -> _Found:
        item = self._find(file, place)
        found = item if isinstance(item, _Found) else _Found(item, None, self._turned)
        if not isinstance(found.dataset, h5py.Dataset):
            raise self._wrong(f"this is a group, not an array; the file holds {self.listing()}", place.text)
        if found.dtype.kind not in "iufb" or found.dtype.subdtype is not None:
            raise self._wrong(f"these are no numbers but {shown(found.dtype)}", place.text)
        if found.dataset.attrs.get("MATLAB_empty", 0):
            raise self._wrong("it is empty", place.text)
        if found.dataset.shape is None:
            raise self._wrong("it is empty", place.text)
        if found.dataset.is_virtual or found.dataset.external:
            raise self._wrong("it keeps its samples in another file", place.text, _SELF_CONTAINED)
        self._refuse_filters(found.dataset, place.text)
        self._refuse_claims(found.dataset, place.text)
        return found

    def _refuse_filters(self, dataset: h5py.Dataset, place: str) -> None:
        properties = dataset.id.get_create_plist()
        for number in range(properties.get_nfilters()):
            code, _, _, name = properties.get_filter(number)
            if code not in _OWN_FILTERS or not h5py.h5z.filter_avail(code):
                called = shown(name.strip()) if isinstance(name, bytes) else ""
                raise self._wrong(
                    f"it is packed with filter {code}{f' ({called})' if called else ''}, which would have to be "
                    "loaded from elsewhere",
                    place,
                    "Repack it with gzip (h5repack does that)",
                )

    def _refuse_claims(self, dataset: h5py.Dataset, place: str) -> None:
        """What is claimed must be stored, give or take what packing saves."""
        wanted = dataset.size * dataset.dtype.itemsize
        stored = dataset.id.get_storage_size()
        if dataset.chunks is None:
            enough = stored >= wanted
        else:
            chunk = int(np.prod(dataset.chunks, dtype=np.float64)) * dataset.dtype.itemsize
            if chunk > _LARGEST_CHUNK:
                raise self._wrong(
                    f"its chunks are {chunk} bytes each; up to {_LARGEST_CHUNK} can be read",
                    place,
                    "Repack it in smaller chunks (h5repack does that)",
                )
            steps = [-(-size // step) for size, step in zip(dataset.shape, dataset.chunks, strict=True)]
            enough = dataset.id.get_num_chunks() >= np.prod(steps, dtype=np.float64)
            enough = enough and stored * _DENSEST >= wanted
        if not enough or stored > self._size:
            raise self._wrong(
                f"it claims {dataset.size} numbers ({wanted} bytes), but {min(stored, self._size)} bytes of it are "
                "in the file",
                place,
                _AGAIN,
            )

    # What a path map asks for

    def numbers(self, place: Place, column: int | None = None, row: int | None = None) -> Line:
        """Where a list of numbers lies, or one column or row of a table."""

        def look(file: h5py.File) -> Line:
            found = self._array(file, place)
            axis, rest = chosen_axis(self.path, place.text, found.shape, column, row)
            ndim = len(found.shape)
            if found.turned:
                axis, rest = ndim - 1 - axis, rest[::-1]
            return Line(found.dataset.shape[axis] if ndim else 1, found.dtype, axis, rest)

        result: Line = self._guarded(look, place.text)
        return result

    def pieces(self, place: Place, line: Line, most: int) -> Iterator[NDArray[Any]]:
        """The numbers of a line, so many at a time at most, or one chunk where that is more."""
        axis, rest, count = line.axis, line.rest, line.count
        try:
            with h5py.File(self.path, "r") as file:
                found = self._array(file, place)
                dataset = found.dataset
                at_a_time = most
                if dataset.chunks is not None:
                    # Whole chunks at a time, so that none is unpacked twice; of wide ones not many at once.
                    chunk = int(np.prod(dataset.chunks)) * dataset.dtype.itemsize
                    at_a_time = max(1, min(most // dataset.chunks[axis], _UNPACKED // chunk))
                    at_a_time *= dataset.chunks[axis]
                for first in range(0, count, at_a_time):
                    where = (*rest[:axis], slice(first, min(first + at_a_time, count)), *rest[axis + 1 :])
                    if not dataset.shape:
                        where = ()
                    source = dataset if found.field is None else dataset.fields(found.field)
                    piece = np.atleast_1d(np.asarray(source[where]))
                    yield piece.astype(found.dtype.newbyteorder("="), copy=False)
        except _STUMBLES as cause:
            raise self._damaged(cause, place.text) from cause

    def scalar(self, place: Place) -> float:
        """One number, of an array or an attribute."""

        def look(file: h5py.File) -> float:
            if place.attribute:
                item = self._find(file, place)
                item = item.dataset if isinstance(item, _Found) else item
                if place.attribute not in item.attrs:
                    raise self._wrong(
                        f"there is no such attribute; there are: {shown(', '.join(item.attrs), 200) or 'none'}",
                        place.text,
                    )
                value = np.asarray(item.attrs[place.attribute])
            else:
                found = self._array(file, place)
                if found.dataset.size != 1:
                    raise self._wrong(f"one number was expected, it holds {found.dataset.size}", place.text)
                source = found.dataset if found.field is None else found.dataset.fields(found.field)
                value = np.asarray(source[()])
            if value.size != 1 or value.dtype.kind not in "iufb":
                raise self._wrong(f"one number was expected, it reads {quoted(str(value))}", place.text)
            return float(value.reshape(-1)[0])

        result: float = self._guarded(look, place.text)
        return result


def _described(found: _Found) -> str:
    """Shape, type and the attributes that say something of an array."""
    dataset = found.dataset
    if h5py.check_dtype(ref=dataset.dtype) is not None:
        kind = "cell array"
    elif dataset.dtype.names:
        kind = f"fields {shown(', '.join(dataset.dtype.names[:8]), 80)}"
    elif dataset.dtype.kind in "iufb":
        kind = str(dataset.dtype.newbyteorder("="))
    else:
        kind = "text" if h5py.check_string_dtype(dataset.dtype) else "no numbers"
    size = " x ".join(map(str, found.shape)) or "one"
    beside = [
        f"{shown(name, 20)} {shown(dataset.attrs[name], 20)}"
        for name in list(dataset.attrs)[:6]
        if any(word in name.lower() for word in ("unit", "rate", "freq", "fs", "label", "scale"))
        and np.size(dataset.attrs[name]) == 1
    ]
    return ", ".join([size, kind, *beside])


def _text(name: bytes | str) -> str:
    return name.decode("utf-8", "replace") if isinstance(name, bytes) else name


def _size_of(path: Path) -> int:
    try:
        size = path.stat().st_size
        with path.open("rb"):
            return size
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror or cause})", path=path, todo="Check that it may be read"
        ) from cause
