"""HDF5 written by others: the arrays that a path map names; MATLAB files of level 7.3 are read in the same way.

What may be opened, and what is refused, stands in `hdf5_store`; in which process, in `hdf5_apart`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..recording import Recording
from . import Claim, Reader
from .hdf5_apart import ApartStore
from .path_channels import recording_of
from .path_map import path_map_of

_SIGNATURE = b"\x89HDF\r\n\x1a\n"


def claims(path: Path, head: bytes) -> Claim:
    """HDF5 has its signature at the start, or after 512, 1024 or 2048 bytes that are another's."""
    if any(head[at : at + 8] == _SIGNATURE for at in (0, 512, 1024, 2048)):
        return Claim.MINE
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
        Damaged, led out of itself, or not explained by a path map; names the array.
    Cancelled
        When asked to stop.
    """
    store = ApartStore(path, stop=options.get("cancelled"))
    told = path_map_of(options, path, store.listing)
    return [recording_of(store, told, READER.name, {"format": "HDF5"})]


READER = Reader("HDF5", (".h5", ".hdf5", ".hdf"), claims, read)
