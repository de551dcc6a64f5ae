"""The process in which HDF5 takes foreign files apart: asked line by line on its input, answers on its output.

A question is one line of JSON: ``path``, ``turned``, what to ``do`` (``open``, ``listing``, ``numbers``, ``scalar``,
``pieces``) and what that needs. An answer is lines of JSON, the last of which holds ``answer`` or ``wrong``; one with
``bytes`` is followed by so many bytes of samples, and answered by a line with ``go``, whether to go on; one with
``alive`` says only that it is at work.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np

from ..errors import FileUnreadable
from .hdf5_store import Hdf5Store, Line
from .path_map import place_of

MEMORY: Final = 1 << 30
"""Bytes that it may take beyond those it begins with, where the system can hold it to that."""

BUSY_S: Final = 3
"""Seconds of computing that one answer, or one piece of it, may take, where the system can hold it to that."""


def limit_memory() -> None:
    """Let the system refuse more memory than `MEMORY`; nothing where it cannot say how much there is now."""
    try:
        import resource

        now = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    except (ImportError, OSError, ValueError):
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    told = [now + MEMORY, *(limit for limit in (soft, hard) if limit != resource.RLIM_INFINITY)]
    resource.setrlimit(resource.RLIMIT_AS, (min(told), hard))


def busy_allowance() -> Callable[[], None]:
    """What gives this process `BUSY_S` seconds of computing from each call on; the system ends it after them."""
    try:
        import resource
    except ImportError:
        return lambda: None
    _, hard = resource.getrlimit(resource.RLIMIT_CPU)

    def allow() -> None:
        used = resource.getrusage(resource.RUSAGE_SELF)
        soft = int(used.ru_utime + used.ru_stime) + 1 + BUSY_S
        if hard != resource.RLIM_INFINITY:
            soft = min(soft, hard)
        resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))

    return allow


class Answers:
    """Answers questions about one file after the other.

    Parameters
    ----------
    asks, out : binary files
    allow : callable
        Called before each piece of work that may not take long.
    """

    def __init__(self, asks: BinaryIO, out: BinaryIO, allow: Callable[[], None]) -> None:
        self._asks = asks
        self._out = out
        self._allow = allow
        self._last: tuple[tuple[str, bool, int, int], Hdf5Store] | None = None

    def say(self, **told: Any) -> None:
        """One line."""
        self._out.write(json.dumps(told).encode("ascii") + b"\n")
        self._out.flush()

    def answer(self, asked: dict[str, Any]) -> None:
        """One question, answered to its end."""
        self._allow()
        try:
            self.say(answer=self._done(self._store(asked), asked))
        except FileUnreadable as cause:
            self._last = None
            # A cause behind it is what HDF5 stumbled over, and after that nothing of it can be relied on.
            self.say(wrong=[cause.what, cause.place, cause.todo], stumbled=cause.__cause__ is not None)

    def _store(self, asked: dict[str, Any]) -> Hdf5Store:
        path = Path(asked["path"])
        try:
            told = path.stat()
            now = asked["path"], asked["turned"], told.st_size, told.st_mtime_ns
        except OSError:  # told when it is opened
            now = asked["path"], asked["turned"], -1, -1
        if self._last is None or self._last[0] != now:
            self._last = now, Hdf5Store(path, asked["turned"], self._alive)
        return self._last[1]

    def _alive(self) -> None:
        self._allow()
        self.say(alive=True)

    def _done(self, store: Hdf5Store, asked: dict[str, Any]) -> Any:
        match asked["do"]:
            case "listing":
                return store.listing()
            case "scalar":
                return store.scalar(place_of(asked["place"]))
            case "numbers":
                line = store.numbers(place_of(asked["place"]), asked["column"], asked["row"])
                return [line.count, line.dtype.str, line.axis, line.rest]
            case "pieces":
                count, dtype, axis, rest = asked["line"]
                line = Line(count, np.dtype(dtype), axis, tuple(rest))
                for piece in store.pieces(place_of(asked["place"]), line, asked["most"]):
                    samples = np.ascontiguousarray(piece)
                    self.say(bytes=samples.nbytes, dtype=samples.dtype.str)
                    self._out.write(samples.data.cast("B"))
                    self._out.flush()
                    self._allow()
                    if not json.loads(self._asks.readline())["go"]:
                        break
        return None


def main() -> None:
    """Answer until nobody asks any more."""
    # What a library prints must not get between the answers.
    with os.fdopen(os.dup(1), "wb") as out:
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)
        os.close(nothing)
        limit_memory()
        answers = Answers(sys.stdin.buffer, out, busy_allowance())
        answers.say(ready=True)
        while line := sys.stdin.buffer.readline():
            answers.answer(json.loads(line))


if __name__ == "__main__":
    try:
        main()
    except (BrokenPipeError, ValueError):  # who asked is gone, perhaps in the middle of a line
        os._exit(0)
