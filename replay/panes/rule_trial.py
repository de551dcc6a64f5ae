"""What another number of a rule would change: how many finds come and go, and which, while it is being typed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from afterclamp.annotate.finds import Find
from afterclamp.annotate.kept_finds import Trial
from PySide6.QtCore import QTimer, Signal
from PySide6.QtWidgets import QLabel, QVBoxLayout, QWidget

from ..longwork import StayingWork, unpack
from ..wording import length
from .lists import Column, ListPane, Row

COLUMNS = (
    Column("", "moved", "Comes, goes, or stays with other times"),
    Column("Time", "00:00:00", "When it begins"),
    Column("Length", "120:00", "Minutes and seconds", right=True),
    Column("What", "", "The find"),
)
WAIT_MS = 300
"""How long nothing must have been typed before it is tried."""

NOTHING = "Type another number to see which finds it adds and removes; nothing is kept before you say so."
READING = "Reading the case …"


class TrialPane(QWidget):
    """Preview of one number.

    Signals
    -------
    settled(known)
        The preview of what was asked last is there, or it could not be made.
    """

    settled = Signal(bool)

    def __init__(self, folder: Path, write: Callable[[float], str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._folder, self._write = folder, write
        self._asked: tuple[str, dict[str, float]] | None = None
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(WAIT_MS)
        self._timer.timeout.connect(self._ask)
        self._work: StayingWork | None = None
        self.known = False
        self.short = QLabel(NOTHING, self)
        self.short.setWordWrap(True)
        self.short.setAccessibleName("What the number changes")
        self.list = ListPane("Finds that it changes", COLUMNS, "", self)
        self.list.filter.hide()
        self.list.hide()
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.short)
        layout.addWidget(self.list, 1)
        layout.addStretch(0)

    def warm_up(self) -> None:
        """Read the case beforehand, so that the first number is tried as quickly as the others."""
        self._send({})

    def look(self, code: str, numbers: Mapping[str, float]) -> None:
        """Try these numbers of a rule once nothing more is typed."""
        self.known = False
        self._asked = (code, dict(numbers))
        self.short.setText("Working out what it changes …")
        self._timer.start()

    def empty(self, words: str = NOTHING) -> None:
        """Nothing is asked."""
        self._timer.stop()
        self._asked, self.known = None, False
        self._show([])
        self.short.setText(words)

    def leave(self) -> None:
        """Let go of the process; it only reads."""
        self._timer.stop()
        if self._work is not None:
            self._work.drop()
            self._work.deleteLater()
            self._work = None

    def _ask(self) -> None:
        if self._asked is not None:
            self._send({"rule": self._asked[0], "numbers": self._asked[1]})

    def _send(self, what: Mapping[str, Any]) -> None:
        request = {"task": "rule_trial", "case": str(self._folder), **what}
        if self._work is not None and self._work.alive:
            self._work.again(request)
            return
        self.leave()
        self._work = StayingWork(request, self)
        self._work.done.connect(self._came)
        self._work.sentence.connect(self._could_not)
        self._work.start()

    def _came(self, packed: str) -> None:
        asked, found = self._asked, unpack(packed)
        # What is still being typed, or was asked for after this one, will bring an answer of its own.
        if asked is None or found is None or self._timer.isActive():
            return
        self.take(found)

    def _could_not(self, sentence: str) -> None:
        if self._asked is not None and not self._timer.isActive():
            self._show([])
            self.short.setText(sentence)
            self.settled.emit(False)

    def take(self, found: Trial) -> None:
        """Show a preview."""
        self.known = True
        rows = [("+", one) for one in found.added] + [("−", one) for one in found.removed]
        rows += [("moved", one.after) for one in found.moved if one.after is not None]
        rows.sort(key=lambda pair: pair[1].start_s)
        self._show([self._row(at, *pair) for at, pair in enumerate(rows)])
        self.short.setText(trial_words(found))
        self.settled.emit(True)

    def _show(self, rows: list[Row]) -> None:
        self.list.set_rows(rows)
        self.list.setVisible(bool(rows))

    def _row(self, at: int, sign: str, one: Find) -> Row:
        cells = (sign, self._write(one.start_s), length(one.duration_s), f"{one.code} {one.name}")
        return Row(
            str(at), one.start_s, one.end_s, cells, (sign, one.start_s, one.duration_s, one.name), item=one
        )


def trial_words(found: Trial) -> str:
    """``+2, −1: 5 finds of this rule in place of 4``."""
    many = f"{found.after} {'find' if found.after == 1 else 'finds'} of this rule in place of {found.before}"
    moved = f", {len(found.moved)} with other times" if found.moved else ""
    why = f" {found.not_looked_for[0]}." if found.not_looked_for and not found.after else ""
    return f"+{len(found.added)}, −{len(found.removed)}: {many}{moved}.{why}"
