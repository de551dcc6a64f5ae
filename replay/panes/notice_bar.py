"""A line over the views that says something a person should know while going on: it stops nothing."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QSizePolicy, QWidget


class NoticeBar(QFrame):
    """Words, what can be done about them, and a button that takes the line away.

    Signals
    -------
    wanted()
        The person wants to do what is offered.
    """

    wanted = Signal()

    def __init__(self, name: str, offer: str = "", parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("notice", True)
        self.setAccessibleName(name)
        self._dismissed = ""
        self.words = QLabel("", self)
        self.words.setWordWrap(True)
        self.words.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        row = QHBoxLayout(self)
        row.setContentsMargins(10, 4, 8, 4)
        row.addWidget(self.words, 1)
        self.offer = QPushButton(offer, self)
        self.offer.clicked.connect(self.wanted)
        self.offer.setVisible(bool(offer))
        row.addWidget(self.offer)
        self.hide_it = QPushButton("Hide", self)
        self.hide_it.setAccessibleName(f"Hide: {name}")
        self.hide_it.clicked.connect(self._dismiss)
        row.addWidget(self.hide_it)
        self.say("")

    def text(self) -> str:
        """What it says."""
        return self.words.text()

    def say(self, words: str, tip: str = "") -> None:
        """Say this; nothing hides the line, and so does what was taken away already."""
        self.words.setText(words)
        self.words.setToolTip(tip)
        self.setVisible(bool(words) and words != self._dismissed)

    def forget(self) -> None:
        """Another case: what was taken away may be said again."""
        self._dismissed = ""
        self.say("")

    def _dismiss(self) -> None:
        self._dismissed = self.words.text()
        self.hide()
