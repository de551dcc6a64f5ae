"""Readers: a format is a small object that knows whether a file is its own, and reads it.

Adding a format is adding one module here with a `Reader`, and naming it in `READERS`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from ..recording import Recording


class Claim(Enum):
    """A reader's answer to 'is this file yours?'."""

    MINE = "mine"
    NOT_MINE = "not mine"
    PART = "part of another"  # a data file that its header file brings along


@dataclass(frozen=True, slots=True)
class Reader:
    """One format.

    Attributes
    ----------
    name : str
        Shown to people: ``"EDF+"``.
    suffixes : tuple of str
        What its files are usually called, lower case with the dot; for the file dialog.
    claims : callable
        ``claims(path, head)`` with the first 4096 bytes: looks, never reads the whole file. A file
        that is its own but damaged is MINE: `read` then says what is wrong with it.
    read : callable
        ``read(path, options)`` returns the recordings of the file. Raises `FileUnreadable`.
    part_of : callable, optional
        ``part_of(path, given)``: whether one of the given files, and no other is opened, names this one as a part
        of it.
    """

    name: str
    suffixes: tuple[str, ...]
    claims: Callable[[Path, bytes], Claim]
    read: Callable[[Path, Mapping[str, Any]], Sequence[Recording]]
    part_of: Callable[[Path, Sequence[Path]], bool] | None = None


def sha256(path: Path) -> str:
    """SHA-256 of a file, read in pieces."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def sha256_meanwhile(path: Path) -> Iterator[Callable[[], str]]:
    """SHA-256 of a file, worked out in a thread of its own while the file is looked through; call for the result."""
    with ThreadPoolExecutor(1) as thread:
        yield thread.submit(sha256, path).result
