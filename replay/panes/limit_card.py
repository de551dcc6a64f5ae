"""One limit: where it comes from, what says otherwise, and its number, to be changed with a reason or given back."""

from __future__ import annotations

from html import escape

from afterclamp.annotate.limit_rows import LimitRow
from afterclamp.annotate.limit_set import STATUS, EditedLimit
from afterclamp.io.errors import EditRefused
from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from .. import limit_words as words
from ..clock_typing import read_number
from ..wording import readable, unit_name
from .typing_boxes import TypingBox

NOTHING_CHOSEN = "Choose a limit in the table to see where it comes from and what says otherwise."


class LimitCard(QWidget):
    """What is known of the chosen limit, and its number.

    Signals
    -------
    number_given(value, reason)
        Another number, in the limit's own unit.
    taken_back()
        The set's own number again.
    """

    number_given = Signal(float, str)
    taken_back = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._row: LimitRow | None = None
        self.text = QTextBrowser(self)
        self.text.setAccessibleName("The chosen limit and its rivals")
        self.number = TypingBox(self)
        self.number.setAccessibleName("Another number")
        self.number.setMaximumWidth(90)
        self.reason = TypingBox(self)
        self.reason.setAccessibleName("Reason for another number")
        self.reason.setPlaceholderText("why, printed with the number")
        self.unit = QLabel("", self)
        self.give = QPushButton("Change the n&umber", self)
        self.back = QPushButton("&Take the edit back", self)
        self.said = QLabel("", self)
        self.said.setWordWrap(True)
        self.said.setProperty("quiet", True)
        number_label, reason_label = QLabel("N&umber", self), QLabel("Reas&on", self)
        number_label.setBuddy(self.number)
        reason_label.setBuddy(self.reason)
        value = QHBoxLayout()
        value.addWidget(self.number)
        value.addWidget(self.unit, 1)
        fields = QGridLayout()
        fields.addWidget(number_label, 0, 0)
        fields.addLayout(value, 0, 1)
        fields.addWidget(reason_label, 1, 0)
        fields.addWidget(self.reason, 1, 1)
        buttons = QHBoxLayout()
        for button in (self.give, self.back):
            button.setAutoDefault(False)
            buttons.addWidget(button)
        buttons.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.text, 1)
        layout.addLayout(fields)
        layout.addLayout(buttons)
        layout.addWidget(self.said)
        self.give.clicked.connect(self._give)
        self.back.clicked.connect(self.taken_back)
        for box in (self.number, self.reason):
            box.returnPressed.connect(self._give)
            box.textChanged.connect(lambda _: self.said.setText(""))
        self.show_row(None)

    def show_row(self, row: LimitRow | None) -> None:
        """Show another limit, or none."""
        changed = row is None or self._row is None or row.key != self._row.key
        self._row = row
        for widget in (self.number, self.reason, self.give):
            widget.setEnabled(row is not None)
        self.back.setEnabled(row is not None and row.was is not None)
        self.text.setHtml(_told(row) if row is not None else f"<p>{NOTHING_CHOSEN}</p>")
        self.unit.setText(unit_name(row.limit.unit) if row is not None else "")
        if row is None or changed:
            self.number.setText(f"{row.limit.value:g}" if row is not None else "")
            self.reason.setText(
                row.limit.why if row is not None and isinstance(row.limit, EditedLimit) else ""
            )
        self.said.setText("")

    def say(self, text: str) -> None:
        """A sentence under the number."""
        self.said.setText(text)

    def _give(self) -> None:
        try:
            value = read_number(self.number.text())
        except EditRefused as refused:
            self.say(refused.sentence)
            return
        self.number_given.emit(value, self.reason.text())


def _told(row: LimitRow) -> str:
    limit = row.limit
    name = words.measure_words(limit.measure)
    lines = [
        f"<p><b>{escape(name[:1].upper() + name[1:])}, {escape(words.when_words(limit))}: "
        f"{escape(words.number_words(limit))}</b></p>"
    ]
    own = row.was or limit
    if isinstance(limit, EditedLimit):
        lines.append(
            f"<p>Edited by {escape(limit.by or 'nobody named')}: {escape(limit.why)}. "
            f"Its set has {escape(words.number_words(own))}.</p>"
        )
    note = f"; {readable(own.note)}" if own.note else ""
    lines.append(
        f"<p>{escape(STATUS[own.status][:1].upper() + STATUS[own.status][1:])}: {escape(readable(own.cited))}"
        f"{escape(note)}. Set {escape(row.set_name)}, version {escape(row.version)}.</p>"
    )
    finds = words.finds_words(row)
    lines.append(f"<p>{escape(finds[:1].upper() + finds[1:])}.</p>")
    if row.stands_back_for:
        lines.append(
            f"<p>It stands back for the limit of {escape(row.stands_back_for)} on the same measure and phase: a unit's "
            "own stands before a published one. It is no figure of its own, and is named beside that one.</p>"
        )
    rivals = words.rival_words(row)
    if rivals:
        lines.append("<p><b>What says otherwise</b></p>")
        lines += [f"<p>{escape(text)}</p>" for text in rivals]
    else:
        lines.append("<p>No other limit on the same measure is known to the sets.</p>")
    return "".join(lines)
