"""What other limits would change: figures and finds before and after, worked out in a process of its own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QProgressBar, QPushButton, QVBoxLayout, QWidget

from ..limit_words import change_cells, changes_in_short
from ..longwork import LongWork, unpack
from .lists import Column, ListPane, Row

if TYPE_CHECKING:
    from afterclamp.annotate.limit_changes import Changes

COLUMNS = (
    Column("What", "mean arterial pressure, after bypass", "Measure, phase and site of a figure; code of a find"),
    Column("Before", "below 65 mmHg: 4.7 min of 41.5 min observed", "As the case stands"),
    Column("After", "", "As it would be"),
)  # fmt: skip
NO_EDIT = "Nothing is to be kept yet: choose sets or change a number, and what that changes is listed here."
STOPPED = "Stopped: what it changes is not known."


class ChangesPane(QWidget):
    """What the edits that are not kept yet would change.

    Signals
    -------
    settled(known)
        The list has come in, or it was given up.
    """

    settled = Signal(bool)

    def __init__(self, folder: Path, author: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._folder, self._author = folder, author
        self._work: LongWork | None = None
        self._edits: list[dict[str, Any]] = []
        self.known = False
        self.heading = QLabel("What changes", self)
        self.heading.setProperty("heading", True)
        self.short = QLabel(NO_EDIT, self)
        self.short.setWordWrap(True)
        self.bar = QProgressBar(self)
        self.bar.setRange(0, 100)
        self.bar.setFixedWidth(160)
        self.bar.setAccessibleName("How far it is worked out")
        self.turn = QPushButton("&Stop", self)
        self.turn.setAutoDefault(False)
        self.turn.clicked.connect(self._turned)
        self.list = ListPane("What changes", COLUMNS, "", self)
        top = QHBoxLayout()
        for widget, share in ((self.heading, 0), (self.short, 1), (self.bar, 0), (self.turn, 0)):
            top.addWidget(widget, share)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(top)
        layout.addWidget(self.list, 1)
        layout.addStretch(0)
        self._idle(NO_EDIT)

    @property
    def looked_for(self) -> bool:
        """Whether there is something to be listed."""
        return bool(self._edits)

    def look(self, edits: Sequence[dict[str, Any]]) -> None:
        """Work out what these edits would change; none empties the list."""
        self.leave()
        self._edits = list(edits)
        self.known = False
        self.list.set_rows([])
        if not edits:
            self._idle(NO_EDIT)
            return
        self.short.setText("Working out what it changes …")
        self.bar.setValue(0)
        self.bar.show()
        self.turn.setText("&Stop")
        self.turn.show()
        request = {"task": "limits", "case": str(self._folder), "edits": list(edits), "author": self._author}
        self._work = LongWork(request, self)
        self._work.progressed.connect(self._progress)
        self._work.done.connect(lambda packed: self.take(unpack(packed)))
        self._work.sentence.connect(self._given_up)
        self._work.start()

    def take(self, found: Changes) -> None:
        """Show what was worked out."""
        self.leave()
        self.known = True
        rows = [
            Row(
                str(at),
                0.0,
                0.0,
                cells,
                (at, *cells[1:]),
                tip="\n".join(("{}", "before: {}", "after: {}")).format(*cells),
            )
            for at, cells in enumerate(change_cells(found))
        ]
        self.list.set_rows(rows)
        self._idle(changes_in_short(found))
        self.settled.emit(True)

    def leave(self) -> None:
        """End the work; it only reads."""
        if self._work is not None:
            self._work.drop()
            self._work.deleteLater()
            self._work = None

    def _progress(self, what: str, share: float) -> None:
        self.short.setText(f"Working out {what} …" if share < 1 else "Comparing …")
        self.bar.setValue(round(100 * share))

    def _turned(self) -> None:
        if self._work is not None:
            self._given_up(STOPPED)
        else:
            self.look(self._edits)

    def _given_up(self, sentence: str) -> None:
        self.leave()
        self._idle(sentence)
        self.turn.setText("&Work it out")
        self.turn.setVisible(bool(self._edits))
        self.settled.emit(False)

    def _idle(self, words: str) -> None:
        self.bar.hide()
        self.turn.hide()
        self.short.setText(words)
        self.list.setVisible(bool(self.list.model.rows))
