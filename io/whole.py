"""Written whole or not at all: what is made beside its place and takes its name only when it is complete.

The place beside it begins with a dot and ends in ``.partial-<process>``, so that nobody takes it for the thing
itself and whoever ended a process knows what it left.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from .errors import Cancelled, CannotWrite

TODO = "Make room or get permission to write there, then write it again"


def partial_of(path: Path) -> Path:
    """Where this process makes a file or folder that is to be called `path`."""
    return path.with_name(f".{path.name}.partial-{os.getpid()}")


@contextmanager
def written_whole(
    path: Path,
    *,
    replacing: bool = False,
    parents: bool = False,
    what: str = "cannot be written",
    todo: str = TODO,
) -> Iterator[Path]:
    """A place beside `path` to make a file or a folder at; it gets its name when the block ends well.

    Parameters
    ----------
    path : Path
        What is to be there. While the block runs it is as it was.
    replacing : bool
        Whether a file of this name gives way. An empty folder always does.
    parents : bool
        Whether folders above it are made; those are gone again if the block does not end well.
    what, todo : str
        What is said when the system refuses, and what to do then; the system's reason is put behind `what`.

    Yields
    ------
    Path
        Nothing is there yet: write a file, or make a folder and write into it.

    Raises
    ------
    CannotWrite
        When `path` is there already, or the system refuses. It names `path`, never the place beside it. After
        this and after anything else that ends the block early, nothing is left.
    """
    if _taken(path) and not (replacing and path.is_file()):
        holds = " and holds something" if path.is_dir() else ""
        raise CannotWrite(f"is there already{holds}", path=path, todo="Give a new name")
    if not parents and not path.parent.is_dir():
        what_of_it = "is no folder" if path.parent.exists() else "is not there"
        raise CannotWrite(
            f"the folder {path.parent} {what_of_it}",
            path=path,
            todo="Make the folder first, or choose another place",
        )
    partial = partial_of(path)
    made: list[Path] = []
    whole = False
    try:
        if parents:
            made = [folder for folder in (path.parent, *path.parent.parents) if not folder.exists()]
            path.parent.mkdir(parents=True, exist_ok=True)
        _remove(partial)  # of a process of the same number that was ended
        yield partial
        _sync(partial)
        if path.is_dir():
            path.rmdir()
        partial.replace(path)
        whole = True
    except OSError as cause:
        raise CannotWrite(f"{what} ({reason(cause)})", path=path, todo=todo) from cause
    except (CannotWrite, Cancelled) as cause:
        # People read the name that they gave, not that of the place beside it.
        if cause.path is None or (partial != cause.path and partial not in cause.path.parents):
            raise
        raise type(cause)(cause.what, path=path, place=cause.place, todo=cause.todo) from cause
    finally:
        if not whole:
            _remove(partial)
            for folder in made:
                with suppress(OSError):
                    folder.rmdir()


def reason(cause: OSError) -> str:
    """Why the system refused, in its own words and without a path."""
    # h5py wraps the system's message in its own; the errno is in the text then.
    for code in (errno.ENOSPC, errno.EFBIG, errno.EACCES, errno.EROFS, errno.EDQUOT):
        if cause.errno == code or f"errno = {code}" in str(cause):
            return os.strerror(code)
    return cause.strerror or str(cause)


def _taken(path: Path) -> bool:
    try:
        return any(path.iterdir()) if path.is_dir() else path.exists()
    except OSError:
        return True


def _sync(partial: Path) -> None:
    """See to it that everything is on the disk."""
    for file in [partial] if partial.is_file() else (f for f in partial.rglob("*") if f.is_file()):
        with file.open("rb+") as opened:
            os.fsync(opened.fileno())


def _remove(partial: Path) -> None:
    if partial.is_dir():
        shutil.rmtree(partial, ignore_errors=True)
    else:
        with suppress(OSError):
            partial.unlink(missing_ok=True)
