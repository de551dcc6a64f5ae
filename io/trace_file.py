"""A trace file read again: what it says of its source and channels, and its arrays by slice.

The layout stands in the first lines of `afterclamp.io.casefile`, which writes it.
"""

from __future__ import annotations

import errno
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import h5py
import numpy as np
from numpy.typing import NDArray

from . import terms
from .casefile import FORMAT_VERSION, SEGMENT_DTYPE
from .errors import CaseFolderUnreadable
from .levels import FACTORS
from .older import identity_fields, runs_of_times
from .recording import Note, Segment
from .stored import StoredArray

T = TypeVar("T")

_SIGNATURE = b"\x89HDF\r\n\x1a\n"
_AGAIN = "Bring the source in again, or copy the case from where it was last whole"


@dataclass(frozen=True)
class StoredChannel:
    """What a trace file says of one channel, short of its samples."""

    key: str
    label: str
    unit: str
    unit_as_written: str
    identity: terms.Identity
    count: int
    segments: tuple[Segment, ...]
    times: NDArray[np.float64] | None
    runs: NDArray[np.int32] | None
    valid: NDArray[np.int64]  # (n, 2) half-open runs


class TraceFile:
    """A trace file opened for reading.

    Raises
    ------
    CaseFolderUnreadable
        When it is not one, is damaged, is of a newer format version, or points outside itself.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._arrays: dict[str, tuple[StoredArray, Mapping[int, tuple[StoredArray, ...]]]] = {}
        try:
            self.file = h5py.File(path, "r", rdcc_nbytes=0)
        except OSError as cause:
            what, todo = _why_not_opened(path, cause)
            raise CaseFolderUnreadable(what, path=path, todo=todo) from cause
        try:
            self._check()
            self.name = self._root("name", str)
            self.reader = self._root("reader", str)
            self.files = self._root("files", _pairs)
            self.first_stamp = self._root("first_stamp", _stamp)
            self.dated = self._root("dated", bool)
            self.set_aside = self._root("set_aside", _lines)
            self.about = self._root("about", _texts)
            keys = self._laid_out("group channels", lambda: tuple(self.file["channels"]))
            self.channels = tuple(
                self._laid_out(f"channel {key}", partial(self._channel, key)) for key in keys
            )
            self.notes = self._laid_out("group notes", self._notes)
        except BaseException:
            self.file.close()
            raise

    def _root(self, name: str, read: Callable[[Any], T]) -> T:
        return self._laid_out(f"attribute {name}", lambda: read(self.file.attrs[name]))

    def _laid_out(self, place: str, read: Callable[[], T]) -> T:
        """What stands at a place of the file; what the libraries say of its absence is no word for people."""
        try:
            return read()
        except (KeyError, ValueError, TypeError, AttributeError, OSError, RuntimeError) as cause:
            raise CaseFolderUnreadable(
                "is not laid out as a trace file: this is absent, damaged or holds something else",
                path=self.path,
                place=place,
                todo="Bring the source in again",
            ) from cause

    def arrays(self, key: str) -> tuple[StoredArray, Mapping[int, tuple[StoredArray, ...]]]:
        """A channel's samples, and minimum, maximum and count of each level, to be read by slice.

        Looked up once: every view of a case up to some time shares them.
        """
        if key not in self._arrays:
            group = self.file["channels"][key]
            self._arrays[key] = (
                StoredArray(group["samples"], self.path),
                {
                    factor: tuple(
                        StoredArray(group[f"levels/{factor}/{name}"], self.path)
                        for name in ("min", "max", "count")
                    )
                    for factor in FACTORS
                },
            )
        return self._arrays[key]

    def close(self) -> None:
        """Let go of the file."""
        self.file.close()

    def _check(self) -> None:
        version = self._root("format_version", int)
        self.version = version
        if version > FORMAT_VERSION:
            raise CaseFolderUnreadable(
                f"has format version {version}; this program reads up to {FORMAT_VERSION}",
                path=self.path,
                todo="Open it with a newer afterclamp",
            )
        self._laid_out("its groups", partial(self._refuse_pointers, self.file))

    def _refuse_pointers(self, group: h5py.Group) -> None:
        # A link or a virtual data set could make the program open a path that nobody gave it.
        for name in group:
            link = group.get(name, getlink=True)
            if not isinstance(link, h5py.HardLink):
                self._refuse(f"{group.name.rstrip('/')}/{name}", "is a link to another place")
            item = group[name]
            if isinstance(item, h5py.Group):
                self._refuse_pointers(item)
            elif item.is_virtual or item.external:
                self._refuse(item.name, "keeps its samples in another file")

    def _refuse(self, place: str, what: str) -> None:
        raise CaseFolderUnreadable(
            what,
            path=self.path,
            place=place,
            todo="Trace files hold everything themselves; bring the source in again",
        )

    def _channel(self, key: str) -> StoredChannel:
        group = self.file["channels"][key]
        attrs = group.attrs
        segments: tuple[Segment, ...] = ()
        times = runs = None
        if "times" in group:
            times = group["times"][:]
            runs = group["runs"][:] if self.version >= 1 else runs_of_times(times)
        else:
            names = SEGMENT_DTYPE.names or ()
            segments = tuple(
                Segment(**dict(zip(names, row.tolist(), strict=True))) for row in group["segments"][:]
            )
        samples = group["samples"]
        held = len(times) if times is not None else sum(segment.count for segment in segments)
        if samples.shape != (held,):
            raise ValueError(f"channel {key}: {samples.shape} samples, {held} in its segments")
        return StoredChannel(
            key=key,
            label=str(attrs["label"]),
            unit=str(attrs["unit"]),
            unit_as_written=str(attrs["unit_as_written"]),
            identity=terms.Identity(**identity_fields(attrs, segments, self.version)),
            count=int(samples.shape[0]),
            segments=segments,
            times=times,
            runs=runs,
            valid=group["valid"][:],
        )

    def _notes(self) -> tuple[Note, ...]:
        group = self.file["notes"]
        columns = [group[name][:] for name in ("start", "end", "sd", "run")]
        texts = [group[name].asstr()[:] for name in ("text", "author")]
        return tuple(
            Note(
                start_s=float(start),
                end_s=float(end),
                sd_s=float(sd),
                run=int(run),
                text=str(text),
                author=str(author),
            )
            for start, end, sd, run, text, author in zip(*columns, *texts, strict=True)
        )


def _pairs(text: Any) -> tuple[tuple[str, str], ...]:
    return tuple((str(name), str(sha)) for name, sha in json.loads(text))


def _stamp(text: Any) -> datetime | None:
    return datetime.fromisoformat(str(text)) if str(text) else None


def _lines(text: Any) -> tuple[str, ...]:
    return tuple(str(line) for line in json.loads(text))


def _texts(text: Any) -> dict[str, str]:
    return {str(key): str(value) for key, value in json.loads(text).items()}


def _why_not_opened(path: Path, cause: OSError) -> tuple[str, str]:
    """Why a file is not opened as a trace file, and what to do: h5py speaks of its own calls and buffers."""
    if path.is_dir():
        return "is a folder; expected a trace file", "Take it out of the folder 'traces'"
    if path.is_symlink() and not path.exists():
        return "is a link to a file that is not there", "Copy the file itself into the case"
    try:
        with path.open("rb") as file:
            begins = file.read(len(_SIGNATURE))
    except FileNotFoundError:
        return "is not there", _AGAIN
    except PermissionError:
        return "may not be read by you", "Get permission to read it"
    except OSError as refused:
        return f"cannot be read ({(refused.strerror or 'no reason given').lower()})", "Check the disk"
    if not begins:
        return "is empty; expected a trace file", _AGAIN
    if begins != _SIGNATURE:
        return "is no trace file: it does not begin as one", _AGAIN
    # The errno stands in the text where h5py wraps the system's message in its own.
    if cause.errno in (errno.EAGAIN, errno.EACCES) or "unable to lock file" in str(cause):
        return "is held by another program that writes to it", "Close that program, then try again"
    return "is a trace file that was cut or damaged", _AGAIN
