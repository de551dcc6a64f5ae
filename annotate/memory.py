"""What was computed of a channel, kept while the program runs and dropped oldest first."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

T = TypeVar("T")


class Memory(Generic[T]):
    """A bounded store keyed by everything a result depends on.

    Parameters
    ----------
    size : int
        Results kept; the one unused for longest goes first.
    """

    def __init__(self, size: int) -> None:
        self._size = size
        self._kept: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable, compute: Callable[[], T]) -> T:
        """The result for `key`, computed where it is not kept."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = compute()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > self._size:
                self._kept.popitem(last=False)
        return made
