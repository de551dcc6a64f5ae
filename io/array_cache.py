"""Arrays kept in a case's ``cache`` folder, which may go at any time."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray


def load_arrays(path: Path) -> dict[str, NDArray[Any]] | None:
    """Arrays by name; None where there are none or they are damaged."""
    try:
        with np.load(path, allow_pickle=False) as stored:
            return {name: stored[name] for name in stored.files}
    except (OSError, ValueError, EOFError, KeyError):
        return None  # absent or damaged: the cache may go at any time


def save_arrays(path: Path, arrays: Mapping[str, NDArray[Any]]) -> None:
    """Write them whole, or not at all."""
    # A cache that can't be written (read-only case, full disk) costs time, not the person's work.
    partial = path.with_name(f".{path.stem}-{os.getpid()}.npz")
    try:
        path.parent.mkdir(exist_ok=True)
        np.savez(partial, allow_pickle=False, **dict(arrays))
        partial.replace(path)
    except OSError:
        with suppress(OSError):
            partial.unlink(missing_ok=True)


@cache
def text_of(*folders: Path) -> str:
    """What arrays depend on besides what they were computed from: the text of the modules in these folders."""
    paths = sorted(path for folder in folders for path in folder.glob("*.py"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in paths)).hexdigest()[:16]
