"""A file that HDF5 writes to and that never tells it of a full disk: it remembers, and says so when asked.

HDF5 whose last flush goes wrong leaves objects behind whose release ends the whole process (seen with h5py
3.16 under a limit on file size). So nothing goes wrong from its point of view; what it writes after the
first refusal is kept in memory until it has closed, which is one block and some bookkeeping.
"""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import Any


class SteadyFile(io.RawIOBase):
    """A new file for reading and writing.

    Parameters
    ----------
    path : Path
        Made, or emptied when it is there.

    Attributes
    ----------
    refused : OSError or None
        The first refusal to write.
    """

    def __init__(self, path: Path) -> None:
        super().__init__()
        self._file = path.open("w+b", buffering=0)
        self._kept: list[tuple[int, bytes]] = []
        self.refused: OSError | None = None

    def check(self) -> None:
        """Raise the first refusal, if there was one."""
        if self.refused is not None:
            raise self.refused

    def sync(self) -> None:
        """See to it that everything is on the disk."""
        self.check()
        os.fsync(self._file.fileno())

    def write(self, data: Any) -> int:
        """Write all of it; what the system refuses is kept in memory."""
        rest = memoryview(data).cast("B")
        size = len(rest)
        while self.refused is None and len(rest):
            try:
                rest = rest[self._file.write(rest) :]
            except OSError as cause:
                self.refused = cause
        if len(rest):
            at = self._file.tell()
            self._kept.append((at, bytes(rest)))
            self._file.seek(at + len(rest))
        return size

    def readinto(self, buffer: Any) -> int:
        """Read what was written, whether it reached the disk or not."""
        at = self._file.tell()
        wanted = memoryview(buffer).cast("B")
        if not self._kept:
            return self._file.readinto(wanted)
        wanted[:] = bytes(len(wanted))
        self._file.readinto(wanted)
        for start, data in self._kept:
            first, last = max(start, at), min(start + len(data), at + len(wanted))
            if first < last:
                wanted[first - at : last - at] = data[first - start : last - start]
        self._file.seek(at + len(wanted))
        return len(wanted)

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """As of any file."""
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        """As of any file."""
        return self._file.tell()

    def truncate(self, size: int | None = None) -> int:
        """As of any file; a refusal to grow is remembered."""
        try:
            return self._file.truncate(size)
        except OSError as cause:
            self.refused = self.refused or cause
            return self.tell() if size is None else size

    def readable(self) -> bool:
        """It can be read."""
        return True

    def writable(self) -> bool:
        """It can be written."""
        return True

    def seekable(self) -> bool:
        """It can be read and written anywhere."""
        return True

    def close(self) -> None:
        """Close it; a refusal is still to be asked for."""
        self._file.close()
        super().close()
