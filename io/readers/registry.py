"""The formats, in the order in which they are asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from ..errors import FileUnreadable
from ..recording import Recording
from . import (
    Claim,
    Reader,
    delimited,
    dicom,
    edf,
    handwritten,
    hdf5,
    matlab,
    parquet,
    sound,
    timed_text,
    wfdb,
)

READERS: Final[tuple[Reader, ...]] = (
    edf.READER,
    wfdb.READER,
    dicom.READER,
    matlab.READER,
    hdf5.READER,
    parquet.READER,
    sound.READER,
    timed_text.READER,
    handwritten.READER,
    delimited.READER,
)
"""The strict formats first: delimited text claims whatever looks like columns of numbers."""

_HEAD = 4096


def reader_of(path: Path, given: Sequence[Path] = ()) -> tuple[Reader | None, Claim]:
    """The reader whose file this is, with its claim; ``(None, NOT_MINE)`` when nobody's.

    Parameters
    ----------
    path : Path
    given : sequence of Path
        All files that a person gave, this one among them: only these are looked into to see whether it is a part of
        one of them.

    Raises
    ------
    FileUnreadable
        When the file cannot be opened or is empty.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror})", path=path, todo="Check that it exists and may be read"
        ) from cause
    if not head:
        raise FileUnreadable(
            "the file is empty", path=path, todo="Export it again, or take it out of the folder"
        )
    for reader in READERS:
        if reader.part_of is not None and reader.part_of(path, given):
            return reader, Claim.PART
    for reader in READERS:
        claim = reader.claims(path, head)
        if claim is not Claim.NOT_MINE:
            return reader, claim
    return None, Claim.NOT_MINE


def read(path: Path, options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read one file with the reader that claims it.

    Raises
    ------
    FileUnreadable
        When no reader knows it, or it is damaged.
    """
    reader, claim = reader_of(path)
    if reader is None or claim is Claim.PART:
        formats = ", ".join(known.name for known in READERS)
        raise FileUnreadable(
            "no reader knows this file"
            if reader is None
            else "is part of a record; its header file brings it along",
            path=path,
            todo=f"Formats that can be read: {formats}; a column map tells how to read an odd table",
        )
    return reader.read(path, options)
