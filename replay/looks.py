"""Looks through the open case: phases, finds, masks and figures, worked out in a process of their own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Signal

from .longwork import LongWork, StayingWork, unpack


class Looks(QObject):
    """The look through the whole case, and one at its figures alone beside it.

    Signals
    -------
    came(name, value)
        A part of it: ``"originals"``, ``"masks"``, ``"phases"``, ``"finds"``, ``"figures"`` or ``"raw figures"``.
    progressed(what, share)
        How far the one that was started last is; share 1 when it is over.
    refused(sentence)
        Why one could not be ended.

    Attributes
    ----------
    running : dict of str to LongWork
        ``"case"`` and ``"figures"``, as far as they were started.
    """

    came = Signal(str, object)
    progressed = Signal(str, float)
    refused = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.running: dict[str, LongWork] = {}
        self._folder = Path()

    def start(self, folder: Path, *, raw: bool) -> None:
        """Look through the whole case; any look before is dropped.

        The process that looked through it before is asked again where it has nothing to do: of what it keeps only
        what an edit changed has to be worked out.
        """
        request = {"task": "look", "case": str(folder), "raw": raw}
        whole = self.running.get("case")
        idle = isinstance(whole, StayingWork) and whole.alive and not whole.running
        if isinstance(whole, StayingWork) and idle and folder == self._folder:
            self._end("figures")
            whole.again(request)
            return
        self.drop()
        self._folder = folder
        self._start("case", request)

    def start_believed(self, folder: Path, *, raw: bool) -> bool:
        """Work out again what the believed line decides, in the process that looked through the case.

        False where there is none to ask: then the whole case has to be looked through.
        """
        whole = self.running.get("case")
        if not isinstance(whole, StayingWork) or not whole.alive:
            return False
        self._end("figures")
        only = ["trust strip", "finds", "answers", "unexplained", "raw figures" if raw else "figures"]
        whole.again({"task": "look", "case": str(folder), "raw": raw, "only": only})
        return True

    def start_finds(self, folder: Path, *, raw: bool) -> bool:
        """Look for finds again by other numbers of a rule, in the process that looked through the case.

        The figures are worked out beside it, since seconds of a line that fell alone count by what rules hold back.
        False where it is gone or still at something else: then the whole case has to be looked through.
        """
        whole = self.running.get("case")
        if not isinstance(whole, StayingWork) or not whole.alive or whole.running:
            return False
        whole.again({"task": "look", "case": str(folder), "only": ["finds", "answers", "unexplained"]})
        self.start_figures(folder, raw=raw)
        return True

    def start_figures(self, folder: Path, *, raw: bool) -> None:
        """Work out the figures alone, raw ones after masked ones or the other way round."""
        only = ["raw figures" if raw else "figures"]
        self._start("figures", {"task": "look", "case": str(folder), "raw": raw, "only": only})

    def drop(self) -> None:
        """End every look at once."""
        for name in list(self.running):
            self._end(name)

    def _end(self, name: str) -> None:
        look = self.running.pop(name, None)
        if look is not None:
            look.drop()
            look.deleteLater()

    def _start(self, name: str, request: dict[str, Any]) -> None:
        self._end(name)
        self.progressed.emit("", 1.0)  # what was dropped says nothing more
        look = StayingWork(request, self) if name == "case" else LongWork(request, self)
        look.progressed.connect(self.progressed)
        look.part.connect(lambda part, packed: self.came.emit(part, unpack(packed)))
        look.done.connect(lambda _: self.progressed.emit("", 1.0))
        look.sentence.connect(self._could_not)
        look.cancelled.connect(lambda: self.progressed.emit("", 1.0))
        self.running[name] = look
        look.start()

    def _could_not(self, sentence: str) -> None:
        self.progressed.emit("", 1.0)
        self.refused.emit(sentence)
