"""MATLAB files: level 5 (and 7, which packs it) taken apart here, level 7.3 as the HDF5 that it is.

Which array is which channel is told by a path map; a file without one is answered with the list of its arrays.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import FileUnreadable
from ..recording import Recording
from . import Claim, Reader
from .hdf5_apart import ApartStore
from .matlab_level5 import Cells, Level5File, Node, Other, Structs, order_of
from .path_channels import Numbers, chosen_axis, recording_of
from .path_map import Place, path_map_of
from .quoting import shown

_LEVEL_73: Final = b"MATLAB 7.3 MAT-file"
_PIECE = 1 << 20  # samples handed over at a time, at most
_TOLD = 30  # arrays that are listed
_DEEP = 3  # levels of cells and fields that are listed


def claims(path: Path, head: bytes) -> Claim:
    """Both levels begin with a text of 124 bytes, then two for the level and two for the order of bytes."""
    if head.startswith(_LEVEL_73) or order_of(head):
        return Claim.MINE
    # Named so but cut or something else: `read` says what is wrong with it.
    return Claim.MINE if path.suffix.lower() in READER.suffixes else Claim.NOT_MINE


def read(path: Path, options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read the arrays that a path map names: one recording.

    Parameters
    ----------
    path : Path
        The file.
    options : mapping
        ``"columns"``: a `PathMap`, or the path of one. ``"cancelled"``: asked often whether to stop.

    Raises
    ------
    FileUnreadable
        Damaged, of another level, or not explained by a path map: then its arrays are listed.
    Cancelled
        When asked to stop.
    """
    store: ApartStore | Level5Store
    if _head(path).startswith(_LEVEL_73):
        store, level = ApartStore(path, turned=True, stop=options.get("cancelled")), "7.3"
    else:
        store, level = Level5Store(path), "5"
    told = path_map_of(options, path, store.listing)
    return [recording_of(store, told, READER.name, {"format": f"MATLAB {level}"})]


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(128)
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror or cause})", path=path, todo="Check that it may be read"
        ) from cause


class Level5Store:
    """The arrays of a file of level 5, reached by path."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = Level5File(path)

    def _wrong(self, what: str, place: str = "", todo: str = "Correct the path map") -> FileUnreadable:
        return FileUnreadable(what, path=self.path, place=shown(place), todo=todo)

    def listing(self) -> str:
        """All arrays with shape and type, those within cells and fields too, as one sentence."""
        told: list[str] = []
        for name in self._file.names:
            _list(name, self._file.array(name), told, 0)
        more = len(told) - _TOLD
        return ", ".join(told[:_TOLD]) + (f" and {more} more" if more > 0 else "")

    def _array(self, place: Place) -> NDArray[Any]:
        first = place.steps[0].name
        if first not in self._file.names:
            raise self._absent(place)
        node: Node = self._file.array(first)
        for number, step in enumerate(place.steps):
            if number:
                if not isinstance(node, Structs) or step.name not in node.names:
                    raise self._absent(place)
                if len(node.items) != 1:
                    raise self._wrong(
                        f"{len(node.items)} structures have such a field; one was expected", place.text
                    )
                node = node.items[0][node.names.index(step.name)]
            if step.cell is not None:
                if not isinstance(node, Cells):
                    raise self._wrong("this is no cell array, so no cell can be taken from it", place.text)
                if step.cell > len(node.items):
                    raise self._wrong(f"cell {step.cell} was asked for; it has {len(node.items)}", place.text)
                node = node.items[step.cell - 1]
        if not isinstance(node, np.ndarray):
            raise self._wrong(
                f"this is no array of numbers but {_kind(node)}; the file holds {self.listing()}", place.text
            )
        return node

    def _absent(self, place: Place) -> FileUnreadable:
        return self._wrong(f"there is no array by this name; the file holds {self.listing()}", place.text)

    def numbers(self, place: Place, column: int | None = None, row: int | None = None) -> Numbers:
        """A list of numbers, or one column or row of a table."""
        array = self._array(place)
        axis, rest = chosen_axis(self.path, place.text, array.shape, column, row)
        where: tuple[Any, ...] = (*rest[:axis], slice(None), *rest[axis + 1 :])
        line = array[where]
        return Numbers(len(line), line.dtype, partial(_pieces, line))

    def scalar(self, place: Place) -> float:
        """One number."""
        if place.attribute:
            raise self._wrong("MATLAB arrays have no attributes", place.text)
        array = self._array(place)
        if array.size != 1:
            raise self._wrong(f"one number was expected, it holds {array.size}", place.text)
        return float(array.reshape(-1)[0])


def _list(name: str, node: Node, told: list[str], deep: int) -> None:
    if len(told) > 10 * _TOLD:
        return
    if isinstance(node, Cells) and node.items and deep < _DEEP:
        for number, cell in enumerate(node.items[: 10 * _TOLD], 1):
            _list(f"{name}{{{number}}}", cell, told, deep + 1)
    elif isinstance(node, Structs) and len(node.items) == 1 and deep < _DEEP:
        for field, item in zip(node.names, node.items[0], strict=True):
            _list(f"{name}/{field}", item, told, deep + 1)
    else:
        told.append(f"{shown(name)} ({' x '.join(map(str, node.shape))}, {_kind(node)})")


def _kind(node: Node) -> str:
    if isinstance(node, np.ndarray):
        return str(node.dtype.newbyteorder("="))
    if isinstance(node, Other):
        return node.kind
    return "cell array" if isinstance(node, Cells) else f"structure of {shown(', '.join(node.names[:8]))}"


def _pieces(line: NDArray[Any]) -> Iterator[NDArray[Any]]:
    native = line.dtype.newbyteorder("=")
    for first in range(0, len(line), _PIECE):
        yield line[first : first + _PIECE].astype(native, copy=False)


READER = Reader("MATLAB", (".mat",), claims, read)
