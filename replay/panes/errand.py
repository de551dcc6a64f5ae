"""Long work that a person waits for, with its boxes: how far it is, what is open, what was refused."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtWidgets import (
    QDialog,
    QLabel,
    QMessageBox,
    QProgressBar,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from ..longwork import LongWork
from .bring_in import match_columns
from .questions import QuestionsBox, merged


class HowFarBox(QDialog):
    """What is being done and how far; Cancel asks it to stop and tidy up."""

    def __init__(self, title: str, work: LongWork, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._work = work
        self.setWindowTitle(title)
        self.resize(480, 0)
        self.what = QLabel("starting", self)
        self.what.setWordWrap(True)
        self.bar = QProgressBar(self)
        self.bar.setRange(0, 100)
        self.bar.setAccessibleName("How far")
        self.stop = QPushButton("Cancel", self)
        self.stop.clicked.connect(self.reject)
        layout = QVBoxLayout(self)
        for widget in (self.what, self.bar, self.stop):
            layout.addWidget(widget)
        work.progressed.connect(self.show_progress)

    def show_progress(self, what: str, share: float) -> None:
        """Show how far the work is."""
        if self.stop.isEnabled():
            self.what.setText(what)
        self.bar.setValue(round(100 * share))

    def reject(self) -> None:
        """Ask the work to stop; the box goes when it has."""
        if self._work.running:
            self.what.setText("stopping; nothing of it is kept")
            self.stop.setEnabled(False)
            self._work.cancel()
        else:
            super().reject()


class RefusedBox(QMessageBox):
    """One file stops a bring-in: say how its columns are to be read, leave it out, or bring nothing in.

    Parameters
    ----------
    sentence : str
        Why it was refused.
    leave_out : sequence of str
        What to leave out so that the others can be brought in; empty where there are no others.
    table : str
        The file, where it is a table whose columns can be matched; else empty.

    Signals
    -------
    others_wanted()
    match_wanted()
    left()
        The person brings nothing in.
    """

    others_wanted = Signal()
    match_wanted = Signal()
    left = Signal()

    def __init__(
        self, sentence: str, leave_out: Sequence[str], table: str = "", parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("Bring in")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.setText(sentence)
        names = ", ".join(Path(path).name for path in leave_out)
        ways = [f"{Path(table).name} is a table: its columns can be matched by hand."] if table else []
        ways += [f"{names} can be left out: the case will say that it was refused."] if leave_out else []
        self.setInformativeText(" ".join(["Nothing was written.", *ways]))
        self.match = self.addButton("Match its columns…", QMessageBox.ButtonRole.AcceptRole)
        self.match.setVisible(bool(table))
        self.others = self.addButton("Bring in the others", QMessageBox.ButtonRole.AcceptRole)
        self.others.setVisible(bool(leave_out))
        nothing = self.addButton("Bring nothing in", QMessageBox.ButtonRole.RejectRole)
        self.setEscapeButton(nothing)
        self.finished.connect(self._finished)

    def _finished(self) -> None:
        pressed = self.clickedButton()
        if pressed is self.match:
            self.match_wanted.emit()
        elif pressed is self.others:
            self.others_wanted.emit()
        else:
            self.left.emit()


class Errand(QObject):
    """One piece of long work that a person waits for, with its boxes: a bring-in, the demo, the case paper.

    Signals
    -------
    made(place)
        What was asked for is there.
    sentence(text)
        It cannot be made; to be shown whole.
    stopped()
        The person stopped it or left the questions; nothing was kept.

    Attributes
    ----------
    left_out : list of str
        Why each file that a person left out was refused, a sentence each.
    """

    made = Signal(str)
    sentence = Signal(str)
    stopped = Signal()

    def __init__(self, request: dict[str, Any], title: str, parent: QWidget) -> None:
        super().__init__(parent)
        self._window = parent
        self._title = title
        self._request = request
        self.work: LongWork | None = None
        self.how_far: HowFarBox | None = None
        self.questions_box: QuestionsBox | None = None
        self.refused_box: RefusedBox | None = None
        self.left_out: list[str] = []
        self._answers: dict[str, Any] = {}

    def start(self) -> None:
        """Start the process and show how far it is."""
        work = LongWork(self._request, self)
        self.work = work
        self.how_far = HowFarBox(self._title, work, self._window)
        self.how_far.setModal(True)
        work.done.connect(self._done)
        work.questions.connect(self._ask)
        work.sentence.connect(self._said)
        work.cancelled.connect(self._cancelled)
        work.start()
        self.how_far.show()

    def leave(self) -> None:
        """The desk closes: stop, and leave nothing half made."""
        if self.work is not None:
            self.work.leave()
            self._sweep()

    def _close_box(self) -> None:
        if self.how_far is not None:
            self.how_far.done(0)
            self.how_far.deleteLater()
            self.how_far = None

    def _done(self, folder: object) -> None:
        self._close_box()
        self.made.emit(str(folder))

    def _said(self, sentence: str) -> None:
        self._sweep()
        self._close_box()
        leave_out, table = (self.work.leave_out, self.work.table) if self.work is not None else ([], "")
        if leave_out or table:
            self._ask_refused(sentence, leave_out, table)
        else:
            self.sentence.emit(sentence)

    def _ask_refused(self, sentence: str, leave_out: Sequence[str], table: str) -> None:
        self.refused_box = RefusedBox(sentence, leave_out, table, self._window)
        self.refused_box.others_wanted.connect(lambda: self._without(sentence, leave_out))
        self.refused_box.match_wanted.connect(lambda: self._match(sentence, leave_out, table))
        self.refused_box.left.connect(self.stopped)
        self.refused_box.open()

    def _match(self, sentence: str, leave_out: Sequence[str], table: str) -> None:
        box = match_columns(Path(table), self._window)
        box.matched.connect(lambda _, columns: self._with_columns(columns))
        box.rejected.connect(lambda: self._ask_refused(sentence, leave_out, table))
        box.open()

    def _with_columns(self, columns: str) -> None:
        self._request = {**self._request, "columns": [*self._request.get("columns", ()), columns]}
        self.start()

    def _without(self, sentence: str, leave_out: Sequence[str]) -> None:
        self.left_out.append(sentence)
        self._request = {**self._request, "left_out": [*self._request.get("left_out", ()), *leave_out]}
        self.start()

    def _cancelled(self) -> None:
        self._sweep()
        self._close_box()
        self.stopped.emit()

    def _ask(self, questions: list[dict[str, Any]]) -> None:
        self._close_box()
        self.questions_box = QuestionsBox(questions, self._window)
        self.questions_box.answered.connect(self._again)
        self.questions_box.rejected.connect(self.stopped)
        self.questions_box.open()

    def _again(self, answers: dict[str, Any]) -> None:
        self._answers = merged(self._answers, answers)
        self._request = {**self._request, "answers": self._answers}
        self.start()

    def _sweep(self) -> None:
        """Take away what a process that had to be ended left half made."""
        if self.work is None or not self.work.ended_by_force or "into" not in self._request:
            return
        into = Path(self._request["into"])
        for left in into.parent.glob(f".{into.name}.partial-{self.work.process_id}"):
            shutil.rmtree(left, ignore_errors=True)
