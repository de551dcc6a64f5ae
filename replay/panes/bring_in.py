"""Bring in: where to, how far, what is open; the work itself runs in a process of its own."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from ..longwork import LongWork
from .lists import TypingBox


def beside(paths: Sequence[Path]) -> Path:
    """Case folder that is proposed for exports: beside them, and not there yet."""
    first = paths[0].resolve()
    name = first.name if first.is_dir() else first.stem
    proposed, number = first.parent / f"{name}-case", 2
    while proposed.exists():
        proposed, number = first.parent / f"{name}-case-{number}", number + 1
    return proposed


class WhereBox(QDialog):
    """What is brought in, and where the case is to lie.

    Signals
    -------
    chosen(folder)
    """

    chosen = Signal(str)

    def __init__(self, paths: Sequence[Path], open_case: Path | None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Bring in")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(620, 0)
        names = [str(path) for path in paths[:6]]
        more = f"\nand {len(paths) - 6} more" if len(paths) > 6 else ""
        what = QLabel("\n".join(names) + more, self)
        what.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        what.setWordWrap(True)
        self.into = TypingBox(str(beside(paths)), self)
        self.into.setAccessibleName("Case folder")
        browse = QPushButton("Choose…", self)
        browse.clicked.connect(self._browse)
        row = QHBoxLayout()
        row.addWidget(self.into, 1)
        row.addWidget(browse)
        self.late = QCheckBox("Add to the case that is open", self)
        self.late.setVisible(open_case is not None)
        self._open_case = open_case
        self._proposed = self.into.text()
        self.late.toggled.connect(self._toggle)
        buttons = QDialogButtonBox(self)
        go = buttons.addButton("Bring in", QDialogButtonBox.ButtonRole.AcceptRole)
        go.setDefault(True)
        buttons.addButton(QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        for heading, item in (
            ("These exports, which stay as they are:", what),
            ("Case folder to be made:", None),
        ):
            label = QLabel(heading, self)
            label.setProperty("heading", True)
            layout.addWidget(label)
            if item is not None:
                layout.addWidget(item)
        layout.addLayout(row)
        layout.addWidget(self.late)
        layout.addWidget(buttons)
        go.setFocus()

    def _toggle(self, late: bool) -> None:
        self.into.setText(str(self._open_case) if late else self._proposed)
        self.into.setReadOnly(late)

    def _browse(self) -> None:
        start = str(Path(self.into.text()).parent)
        folder = QFileDialog.getExistingDirectory(self, "Folder in which the case is made", start)
        if folder:
            self.into.setText(str(Path(folder) / Path(self.into.text()).name))

    def _take(self) -> None:
        if self.into.text().strip():
            self.chosen.emit(self.into.text().strip())
            self.accept()


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


class QuestionsBox(QDialog):
    """Questions that only a person can answer: take each proposal, write a unit, or leave it all.

    Signals
    -------
    answered(answers)
        A mapping as of an answers file; what is not in it was answered with the proposal.
    """

    answered = Signal(dict)

    def __init__(self, questions: Sequence[dict[str, str]], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Questions before bringing in")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(680, 420)
        self._rows: list[tuple[dict[str, str], QCheckBox, TypingBox | None]] = []
        inner = QWidget(self)
        rows = QVBoxLayout(inner)
        for question in questions:
            rows.addWidget(self._label(question["text"]))
            take = QCheckBox(f"Take the proposal: {question['proposal']}", inner)
            take.toggled.connect(self._check)
            rows.addWidget(take)
            unit: TypingBox | None = None
            if question["id"].startswith("unit:"):
                unit = TypingBox(inner)
                unit.setPlaceholderText("or write the unit, such as mmHg")
                unit.setAccessibleName(f"Unit for {question['id'].removeprefix('unit:')}")
                unit.textChanged.connect(self._check)
                rows.addWidget(unit)
            rows.addSpacing(10)
            self._rows.append((question, take, unit))
        rows.addStretch(1)
        scroll = QScrollArea(self)
        scroll.setWidget(inner)
        scroll.setWidgetResizable(True)
        self.take_all = QPushButton("Take all proposals", self)
        self.take_all.clicked.connect(self._take_all)
        buttons = QDialogButtonBox(self)
        self.go_on = buttons.addButton("Go on", QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.addButton(self.take_all, QDialogButtonBox.ButtonRole.ActionRole)
        buttons.addButton("Leave it, bring nothing in", QDialogButtonBox.ButtonRole.RejectRole)
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(
            self._label(f"{len(questions)} thing(s) that the files do not say. Nothing is guessed.")
        )
        layout.addWidget(scroll, 1)
        layout.addWidget(buttons)
        self._check()

    def _label(self, text: str) -> QLabel:
        label = QLabel(text, self)
        label.setWordWrap(True)
        return label

    def _check(self, *_: object) -> None:
        self.go_on.setEnabled(
            all(
                take.isChecked() or (unit is not None and unit.text().strip()) for _, take, unit in self._rows
            )
        )

    def _take_all(self) -> None:
        for _, take, _ in self._rows:
            take.setChecked(True)

    def _take(self) -> None:
        units = {
            question["id"].removeprefix("unit:"): unit.text().strip()
            for question, _, unit in self._rows
            if unit is not None and unit.text().strip()
        }
        self.answered.emit({"units": units} if units else {})
        self.accept()


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
        self.sentence.emit(sentence)

    def _cancelled(self) -> None:
        self._sweep()
        self._close_box()
        self.stopped.emit()

    def _ask(self, questions: list[dict[str, str]]) -> None:
        self._close_box()
        self.questions_box = QuestionsBox(questions, self._window)
        self.questions_box.answered.connect(self._again)
        self.questions_box.rejected.connect(self.stopped)
        self.questions_box.open()

    def _again(self, answers: dict[str, Any]) -> None:
        self._request = {**self._request, "answers": answers, "accept_proposals": True}
        self.start()

    def _sweep(self) -> None:
        """Take away what a process that had to be ended left half made."""
        if self.work is None or not self.work.ended_by_force or "into" not in self._request:
            return
        into = Path(self._request["into"])
        for left in into.parent.glob(f".{into.name}.partial-{self.work.process_id}"):
            shutil.rmtree(left, ignore_errors=True)
