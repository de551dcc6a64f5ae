"""Foreign HDF5 read in a process of its own, since a damaged file can end the process that HDF5 works in.

What is asked and answered stands in `hdf5_child`. Such a process is kept for the next question, and for the next
file; one in which HDF5 stumbled over something is not used again. It is ended when it takes too long, and when the
reading is stopped.
"""

from __future__ import annotations

import atexit
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import IO, Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import Cancelled, FileUnreadable
from .path_channels import Numbers
from .path_map import Place
from .quoting import shown

LONGEST_S: Final = 60.0
"""Seconds without a word after which the process is ended: a slow medium may take its time, a loop never ends."""

# -P: the working directory is no place to import from, it may hold folders of the rooms' names.
CHILD = ["-P", "-m", "afterclamp.io.readers.hdf5_child"]
"""What Python is started with."""

_PIECE = (
    1 << 18
)  # samples handed over at a time, at most: few, since whoever waits for them cannot be stopped
_ASK_S: Final = 0.1  # how often is looked whether to stop
_IDLE: Final = 2  # processes that are kept
_TOO_BUSY: Final = -24  # ended by SIGXCPU: what `hdf5_child` allowed itself is used up
_AGAIN: Final = "Copy the file again, or export it anew"

Stop = Callable[[], bool]


class _Helper:
    """The process, and what is said to and by it."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, *CHILD],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
        self.belongs_to = os.getpid()
        self.began = False
        self.killed = ""
        self.free = False  # its answer came to its end, and nothing speaks against asking it again
        self._waits = False
        self._since = 0.0

    def ask(
        self, question: dict[str, Any], stop: Stop | None
    ) -> Generator[dict[str, Any] | bytes, None, None]:
        """Lines of the answer, and the bytes that follow some; ends early when the process does."""
        ended = threading.Event()
        watcher = threading.Thread(target=self._watch, args=(ended, stop), daemon=True)
        watcher.start()
        self.free = False
        try:
            self._say(question)
            while (told := self._next()) is not None:
                if "bytes" not in told:
                    self.free = not told.get("stumbled")
                    yield told
                    return
                held = self._heard(partial(self._out.read, told["bytes"]))
                if len(held) < told["bytes"]:
                    return
                self._say({"go": True})  # the next piece is made while this one is used
                try:
                    yield told
                    yield held
                except GeneratorExit:
                    self._enough()
                    raise
        finally:
            ended.set()
            watcher.join()

    def _say(self, told: dict[str, Any]) -> None:
        with suppress(OSError):  # a process that is gone gives no answer either
            self._in.write(json.dumps(told).encode("ascii") + b"\n")
            self._in.flush()

    def _next(self) -> dict[str, Any] | None:
        """The next line of an answer; None when the process has ended."""
        while True:
            line = self._heard(self._out.readline)
            if not line.endswith(b"\n"):
                return None
            told: dict[str, Any] = json.loads(line)
            self.began = self.began or "ready" in told
            if "ready" not in told and "alive" not in told:
                return told

    def _enough(self) -> None:
        """Nobody wants the pieces after the one that is under way: so it can be asked something else."""
        told = self._next()
        if told is not None and "bytes" in told:
            self._heard(partial(self._out.read, told["bytes"]))
            self._say({"go": False})
            told = self._next()
        self.free = told is not None and "answer" in told

    def _heard(self, listen: Callable[[], bytes]) -> bytes:
        self._since, self._waits = time.monotonic(), True
        try:
            return listen()
        finally:
            self._waits = False

    def _watch(self, ended: threading.Event, stop: Stop | None) -> None:
        while not ended.wait(_ASK_S):
            if stop is not None and stop():
                self.killed = "stopped"
            elif self._waits and time.monotonic() - self._since > LONGEST_S:
                self.killed = "late"
            else:
                continue
            self._process.kill()
            return

    @property
    def _in(self) -> IO[bytes]:
        assert self._process.stdin is not None
        return self._process.stdin

    @property
    def _out(self) -> IO[bytes]:
        assert self._process.stdout is not None
        return self._process.stdout

    def end(self) -> int:
        """End it, if it has not ended; what it ended with."""
        if self.belongs_to != os.getpid():
            return 0
        with suppress(OSError):  # what nobody reads any more
            self._in.close()
        if self._process.poll() is None and not self._ending():
            self._process.kill()
        code = self._process.wait()
        self._out.close()
        return code

    def _ending(self) -> bool:
        """Whether it is ending by itself: then how it ends says something."""
        try:
            self._process.wait(0.2)
        except subprocess.TimeoutExpired:
            return False
        return True

    def kill(self) -> None:
        """End it at once."""
        if self.belongs_to == os.getpid():
            self._process.kill()
            self.end()


_idle: list[_Helper] = []


def _helper() -> _Helper:
    while _idle:
        helper = _idle.pop()
        if helper.belongs_to == os.getpid():
            return helper
    return _Helper()


@atexit.register
def _end_all() -> None:
    while _idle:
        _idle.pop().kill()


class ApartStore:
    """The arrays of a file, reached by path; the same questions as `hdf5_store.Hdf5Store` answers.

    Parameters
    ----------
    path : Path
        The file.
    turned : bool
        MATLAB's: axes are stored in reverse order.
    stop : callable, optional
        Asked several times a second whether to stop.

    Raises
    ------
    FileUnreadable
        Not HDF5, damaged, one of this program's own trace files, or not self-contained.
    Cancelled
        When asked to stop.
    """

    def __init__(self, path: Path, turned: bool = False, stop: Stop | None = None) -> None:
        self.path = path
        self._turned = turned
        self._stop = stop
        self._one("open")

    def listing(self) -> str:
        """All arrays with shape, type and what is written beside them, as one sentence."""
        return str(self._one("listing"))

    def numbers(self, place: Place, column: int | None = None, row: int | None = None) -> Numbers:
        """A list of numbers, or one column or row of a table."""
        line = self._one("numbers", place=place.text, column=column, row=row)
        return Numbers(line[0], np.dtype(line[1]), partial(self._pieces, place, line))

    def scalar(self, place: Place) -> float:
        """One number, of an array or an attribute."""
        return float(self._one("scalar", place=place.text))

    def _pieces(self, place: Place, line: list[Any]) -> Iterator[NDArray[Any]]:
        dtype = np.dtype(np.uint8)
        for told in self._asked("pieces", place=place.text, line=line, most=_PIECE):
            if isinstance(told, bytes):
                yield np.frombuffer(told, dtype)
            elif "bytes" in told:
                dtype = np.dtype(told["dtype"])

    def _one(self, do: str, **needs: Any) -> Any:
        *_, last = self._asked(do, **needs)
        return last["answer"] if isinstance(last, dict) else None

    def _asked(self, do: str, **needs: Any) -> Iterator[dict[str, Any] | bytes]:
        question = {"path": str(self.path.absolute()), "turned": self._turned, "do": do, **needs}
        try:
            helper = _helper()
        except OSError as cause:
            raise self._wrong(
                f"no process could be started to read it in ({cause.strerror or cause})",
                todo="Close other programs and bring it in again",
            ) from cause
        heard = helper.ask(question, self._stop)
        try:
            for told in heard:
                if isinstance(told, dict) and "wrong" in told:
                    what, where, todo = told["wrong"]
                    raise self._wrong(what, where, todo)
                yield told
            if not helper.free:
                raise self._ended(helper, str(needs.get("place", "")))
        finally:
            heard.close()
            if helper.free and len(_idle) < _IDLE:
                _idle.append(helper)
            else:
                helper.kill()

    def _ended(self, helper: _Helper, place: str) -> FileUnreadable | Cancelled:
        """What became of the process that gave no answer."""
        code = helper.end()
        if helper.killed == "stopped":
            return Cancelled("reading stopped as asked; nothing was kept", path=self.path)
        if helper.killed == "late" or code == _TOO_BUSY:
            return self._wrong("it takes too long to take apart, as a damaged file does", place, _AGAIN)
        if not helper.began:
            return self._wrong(
                f"the process to read it in ended before it began ({code})",
                todo="Install the program again, then bring it in again",
            )
        return self._wrong("its structure is damaged, so that HDF5 cannot go on with it", place, _AGAIN)

    def _wrong(self, what: str, place: str = "", todo: str = _AGAIN) -> FileUnreadable:
        return FileUnreadable(what, path=self.path, place=shown(place), todo=todo)
