"""Questions before a bring-in, which only a person can answer."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QLabel,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from ..strips.theme import plain_unit


class QuestionsBox(QDialog):
    """Questions that only a person can answer: one of a few answers each, none of them chosen beforehand.

    Parameters
    ----------
    questions : sequence of mapping
        As `afterclamp.io.errors.Question` has them: ``id``, ``text``, ``proposal``, ``choices``.

    Signals
    -------
    answered(answers)
        A mapping as of an answers file.
    """

    answered = Signal(dict)

    def __init__(self, questions: Sequence[Mapping[str, Any]], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Questions before bringing in")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(720, 480)
        self.boxes: list[QComboBox] = []
        self._choices: list[list[dict[str, Any]]] = []
        inner = QWidget(self)
        rows = QVBoxLayout(inner)
        for question in questions:
            choices = list(question.get("choices", ())) or [
                {"words": question["proposal"], "answers": {}, "proposed": True}
            ]
            # The units that will do are the answers: no need to say them twice.
            label = self._label(with_plain_units(question["text"].split("; expected one of")[0]))
            box = QComboBox(inner)
            box.setAccessibleName(question["id"])
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            box.setPlaceholderText("Choose an answer")
            for choice in choices:
                box.addItem(
                    with_plain_units(choice["words"]) + ("   (proposed)" if choice.get("proposed") else "")
                )
            box.setCurrentIndex(-1)
            box.setToolTip(with_plain_units(question["proposal"]))
            box.currentIndexChanged.connect(self._check)
            label.setBuddy(box)
            rows.addWidget(label)
            rows.addWidget(box)
            rows.addSpacing(12)
            self.boxes.append(box)
            self._choices.append(choices)
        rows.addStretch(1)
        scroll = QScrollArea(self)
        scroll.setWidget(inner)
        scroll.setWidgetResizable(True)
        self.take_all = QPushButton("Choose all proposals", self)
        self.take_all.setToolTip("Choose what is proposed where nothing is chosen yet")
        self.take_all.clicked.connect(self._take_all)
        buttons = QDialogButtonBox(self)
        self.go_on = buttons.addButton("Go on", QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.addButton(self.take_all, QDialogButtonBox.ButtonRole.ActionRole)
        buttons.addButton("Leave it, bring nothing in", QDialogButtonBox.ButtonRole.RejectRole)
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        count = len(questions)
        things = "One thing" if count == 1 else f"{count} things"
        layout.addWidget(self._label(f"{things} that the files do not say. Nothing is guessed."))
        layout.addWidget(scroll, 1)
        layout.addWidget(buttons)
        self._check()

    def _label(self, text: str) -> QLabel:
        label = QLabel(text, self)
        label.setWordWrap(True)
        return label

    def _check(self, *_: object) -> None:
        self.go_on.setEnabled(all(box.currentIndex() >= 0 for box in self.boxes))

    def _take_all(self) -> None:
        for box, choices in zip(self.boxes, self._choices, strict=True):
            if box.currentIndex() < 0:
                box.setCurrentIndex(
                    next((number for number, choice in enumerate(choices) if choice.get("proposed")), 0)
                )

    def _take(self) -> None:
        answers: dict[str, Any] = {}
        for box, choices in zip(self.boxes, self._choices, strict=True):
            answers = merged(answers, choices[box.currentIndex()]["answers"])
        self.answered.emit(answers)
        self.accept()


def merged(one: Mapping[str, Any], other: Mapping[str, Any]) -> dict[str, Any]:
    """The tables of two answers files as one; the second wins where both answer."""
    both = dict(one)
    for key, value in other.items():
        before = both.get(key)
        if isinstance(before, Mapping) and isinstance(value, Mapping):
            value = merged(before, value)
        both[key] = value
    return both


def with_plain_units(text: str) -> str:
    """A sentence with its UCUM codes as people write them: ``mm[Hg]`` becomes ``mmHg``."""
    for code in ("mm[Hg]", "cm[H2O]", "[degF]"):
        text = text.replace(code, plain_unit(code) or code)
    return re.sub(r"\bCel\b", "°C", text)
