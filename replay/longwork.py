"""The desk's end of a piece of long work: starts the process, passes on what it says, ends it if need be."""

from __future__ import annotations

import base64
import json
import pickle
import sys
from typing import Any

from PySide6.QtCore import QByteArray, QObject, QProcess, QProcessEnvironment, QTimer, Signal

COMMAND = ["-m", "afterclamp.replay.bringing"]

PATIENCE_MS = 5000
"""How long work that was asked to stop may tidy up before its process is ended."""


def unpack(packed: str) -> Any:
    """What `bringing.pack` packed. Only ever given what our own process wrote on its pipe."""
    return pickle.loads(base64.b64decode(packed))


class LongWork(QObject):
    """One request in a process of its own.

    Signals
    -------
    progressed(what, share)
        What is being done, and how far from 0 to 1.
    part(name, packed)
        A partial result, packed by `bringing.pack`.
    done(result), questions(list), sentence(str), cancelled()
        How it ended: exactly one of them, once.

    Attributes
    ----------
    leave_out : list of str
        With a sentence about one file: what to leave out so that the others can be brought in.
    table : str
        With a sentence about a table: its path, so that its columns can be matched by hand.
    """

    progressed = Signal(str, float)
    part = Signal(str, str)
    done = Signal(object)
    questions = Signal(list)
    sentence = Signal(str)
    cancelled = Signal()

    def __init__(self, request: dict[str, Any], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.request = request
        self._ended = False
        self._asked_to_stop = False
        self._rest = b""
        self._outcome: dict[str, Any] | None = None
        self.process_id = 0
        self.ended_by_force = False
        self.leave_out: list[str] = []
        self.table = ""
        self._process = QProcess(self)
        self._process.readyReadStandardOutput.connect(self._read)
        self._process.started.connect(self._started)
        self._process.finished.connect(self._finished)
        self._process.errorOccurred.connect(self._not_started)

    @property
    def running(self) -> bool:
        """Whether it has not ended yet."""
        return not self._ended

    def start(self) -> None:
        """Start the process and hand it the request."""
        # Threads of the linear algebra wait for one another on our small matrices: one is twice as quick.
        surroundings = QProcessEnvironment.systemEnvironment()
        surroundings.insert("OPENBLAS_NUM_THREADS", "1")
        self._process.setProcessEnvironment(surroundings)
        # -P: the working directory is no place to import from, it may hold folders of the rooms' names.
        self._process.start(sys.executable, ["-P", *COMMAND])
        self._process.write(QByteArray(json.dumps(self.request).encode() + b"\n"))

    def cancel(self) -> None:
        """Ask it to stop and tidy up; end it when it does not within `PATIENCE_MS`."""
        if self._ended or self._asked_to_stop:
            return
        self._asked_to_stop = True
        self._process.write(QByteArray(b"cancel\n"))
        QTimer.singleShot(PATIENCE_MS, self._process, self._force)

    def drop(self) -> None:
        """End it at once and say nothing more: for work that only reads, and when the desk closes."""
        self._ended = True
        if self._process.state() != QProcess.ProcessState.NotRunning:
            self._process.kill()
            self._process.waitForFinished(1000)

    def leave(self) -> None:
        """Say nothing more and let it tidy up, for a moment: for work that writes, when the desk closes."""
        self._ended = True
        if self._process.state() != QProcess.ProcessState.NotRunning:
            self._process.closeWriteChannel()  # the end of its standard input tells it to stop
            self._process.waitForFinished(PATIENCE_MS // 2)
        if self._process.state() != QProcess.ProcessState.NotRunning:
            self.ended_by_force = True
            self.drop()

    def _started(self) -> None:
        self.process_id = self._process.processId()

    def _force(self) -> None:
        if not self._ended:
            self._process.kill()

    def _read(self) -> None:
        *lines, self._rest = (self._rest + bytes(self._process.readAllStandardOutput().data())).split(b"\n")
        for line in lines:
            if line:
                self._heard(json.loads(line))

    def _heard(self, message: dict[str, Any]) -> None:
        if self._ended:
            return
        if "progress" in message:
            what, share = message["progress"]
            self.progressed.emit(str(what), float(share))
        elif "part" in message:
            self.part.emit(*message["part"])
        else:
            self._outcome = message

    def _finished(self) -> None:
        """Pass the outcome on, now that the process has let go of every file."""
        self._read()
        if self._ended:
            return
        self._ended = True
        self._pass_on(self._outcome)

    def _pass_on(self, outcome: dict[str, Any] | None) -> None:
        if outcome is None:
            self.ended_by_force = True
            outcome = {"cancelled": True} if self._asked_to_stop else {"sentence": self._last_words()}
        if "result" in outcome:
            self.done.emit(outcome["result"])
        elif "questions" in outcome:
            self.questions.emit(outcome["questions"])
        elif "sentence" in outcome:
            self.leave_out = list(outcome.get("leave_out", ()))
            self.table = str(outcome.get("table", ""))
            self.sentence.emit(outcome["sentence"])
        else:
            self.cancelled.emit()

    def _last_words(self) -> str:
        said = bytes(self._process.readAllStandardError().data()).decode("utf-8", "replace").strip()
        last = said.splitlines()[-1] if said else "it said nothing"
        return (
            f"The work ended before it was done ({last}). Nothing of the case was changed by the desk;"
            " try again, and keep this sentence if it happens twice."
        )

    def _not_started(self, problem: QProcess.ProcessError) -> None:
        if problem == QProcess.ProcessError.FailedToStart and not self._ended:
            self._ended = True
            self.sentence.emit(
                f"The work could not be started: {sys.executable} did not run. Reinstall the program."
            )


class StayingWork(LongWork):
    """Work that only reads, in a process that stays for more of it: what it has computed is kept in its memory.

    Of what is asked for while it works only the last is done, after what it is at; how that ended is said then.
    """

    def __init__(self, request: dict[str, Any], parent: QObject | None = None) -> None:
        super().__init__({**request, "stay": True}, parent)
        self._next: dict[str, Any] | None = None

    @property
    def alive(self) -> bool:
        """Whether the process can be asked again."""
        return self._process.state() == QProcess.ProcessState.Running

    def again(self, request: dict[str, Any]) -> None:
        """Ask for more."""
        self._next = request
        if self._ended:
            self._send_next()

    def _send_next(self) -> None:
        self._ended = False
        request, self._next = self._next, None
        self._process.write(QByteArray(json.dumps(request).encode() + b"\n"))

    def _heard(self, message: dict[str, Any]) -> None:
        super()._heard(message)
        outcome, self._outcome = self._outcome, None
        if outcome is None:
            return
        self._ended = True
        if self._next is not None:
            self._send_next()
        else:
            self._pass_on(outcome)
