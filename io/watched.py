"""Long work that tells how far it is and can be stopped, whatever it is doing at the moment.

A reader may take its time before it hands over a first block, so the work runs in a thread of its own while this
one asks and tells. Nothing of it is called from the other thread: progress and the wish to stop always come from
where the work was started.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final, TypeVar

from .errors import Cancelled

Progress = Callable[[float, str], None]
T = TypeVar("T")

_ASK_S: Final = 0.03
_TELL_S: Final = 0.1


class Watch:
    """Who asked to hear how far it is, and to be able to stop it.

    Parameters
    ----------
    tell : callable, optional
        ``tell(share, text)``, called at least every 0.2 s while something is under way.
    stop : callable, optional
        Says whether to stop.
    place : Path
        For the message when it is stopped.
    """

    def __init__(self, tell: Progress | None, stop: Callable[[], bool] | None, place: Path) -> None:
        self._tell = tell
        self._stop = stop
        self._place = place
        self._told = 0.0
        self.share = 0.0
        self.text = ""
        self._ended = threading.Event()

    def at(self, share: float, text: str = "") -> None:
        """Say how far it is, now."""
        self.share, self.text = max(self.share, share), text or self.text
        self._say()
        self.ask()

    def ask(self) -> None:
        """Go on, or end with `Cancelled`; says how far it is when that was not said for a while.

        Raises
        ------
        Cancelled
            When asked to stop.
        """
        if self._stop is not None and self._stop():
            self._ended.set()
            raise Cancelled("bring-in stopped as asked; nothing was kept", path=self._place)
        if time.monotonic() - self._told >= _TELL_S:
            self._say()

    @property
    def stopped(self) -> Callable[[], bool]:
        """Whether it was stopped, for whoever works in the other thread."""
        return self._ended.is_set

    def note(self, share: float) -> None:
        """How far it is, from the other thread: told by this one."""
        self.share = max(self.share, share)

    def run(self, work: Callable[[], T], *, leave: bool = False) -> T:
        """Do `work`, asking and telling meanwhile.

        Parameters
        ----------
        work : callable
            Run in a thread of its own, or here where nobody listens.
        leave : bool
            When stopped, do not wait for its end: only for work that leaves nothing behind, such as reading.

        Raises
        ------
        Cancelled
            When asked to stop.
        """
        if self._tell is None and self._stop is None:
            return work()
        result: list[T] = []
        trouble: list[BaseException] = []
        done = threading.Event()

        def whole() -> None:
            try:
                result.append(work())
            except BaseException as cause:  # handed over to the thread that waits
                trouble.append(cause)
            finally:
                done.set()

        thread = threading.Thread(target=whole, daemon=True)
        try:
            thread.start()
            # Not Thread.join: where Ctrl-C breaks that off, Python 3.11 takes a running thread for one that has ended,
            # and the program would leave while it writes.
            while not done.wait(_ASK_S):
                self.ask()
        except BaseException:
            self._ended.set()
            if not leave and thread.ident is not None:
                done.wait()
            raise
        if trouble:
            raise trouble[0]
        return result[0]

    def _say(self) -> None:
        self._told = time.monotonic()
        if self._tell is not None:
            self._tell(self.share, self.text)
