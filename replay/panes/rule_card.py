"""One rule: what it looks for, in words, what it rests on, and its numbers, each to be changed with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from afterclamp.annotate.rule_numbers import RuleNumber
from afterclamp.annotate.rules import NEEDS, Rule
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

from ..clock_typing import read_number
from ..wording import phase_name, readable, unit_name
from .lists import Column, ListPane, Row
from .typing_boxes import TypingBox

NUMBERS = (
    Column("Number", "", "What is looked for by it"),
    Column("In force", "000.0 L/min/m²", "The number that this case is looked through by", right=True),
    Column("Catalogue", "000.0 L/min/m²", "The rule's own number", right=True, firm=True),
    Column(
        "Rests on",
        "project's choice",
        "Published, common practice or this project's choice, in part where the source says so; or who changed it",
    ),
)
NOTHING_CHOSEN = "Choose a rule in the table to read it and to see its numbers."


class RuleCard(QWidget):
    """What is known of the chosen rule.

    Signals
    -------
    typed(name, value)
        Another value of a number, not kept; the value in force again when it is that one.
    untyped(words)
        What stands in the line is no number, with the sentence why; empty words where nothing is typed.
    kept(name, value, reason)
        The person wants to keep it.
    taken_back(name)
        The person wants the rule's own number again.
    """

    typed = Signal(str, float)
    untyped = Signal(str)
    kept = Signal(str, float, str)
    taken_back = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._key = ""
        self.text = QTextBrowser(self)
        self.text.setAccessibleName("The chosen rule")
        self.numbers = ListPane("Numbers of the rule", NUMBERS, "It has no number that can be another.", self)
        self.numbers.filter.hide()
        self.number, self.reason = TypingBox(self), TypingBox(self)
        self.number.setAccessibleName("Another number")
        self.number.setMaximumWidth(90)
        self.reason.setAccessibleName("Reason for another number")
        self.reason.setPlaceholderText("why, kept with the number and printed")
        self.unit = QLabel("", self)
        self.keep = QPushButton("&Keep the number", self)
        self.keep.setToolTip("An edit of the log; undo takes it back")
        self.back = QPushButton("&Take the edit back", self)
        number_label, reason_label = QLabel("N&umber", self), QLabel("Reas&on", self)
        number_label.setBuddy(self.number)
        reason_label.setBuddy(self.reason)
        value = QHBoxLayout()
        value.addWidget(self.number)
        value.addWidget(self.unit, 1)
        for button in (self.keep, self.back):
            button.setAutoDefault(False)
            value.addWidget(button)
        fields = QGridLayout()
        fields.addWidget(number_label, 0, 0)
        fields.addLayout(value, 0, 1)
        fields.addWidget(reason_label, 1, 0)
        fields.addWidget(self.reason, 1, 1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.text, 5)
        layout.addWidget(self.numbers, 4)
        layout.addLayout(fields)
        self.numbers.selected.connect(self._choose)
        self.number.textChanged.connect(self._typed)
        self.number.returnPressed.connect(self.reason.setFocus)
        self.reason.returnPressed.connect(self._keep)
        self.keep.clicked.connect(self._keep)
        self.back.clicked.connect(self._back)
        self.show_rule(None, (), "", ())

    @property
    def chosen(self) -> RuleNumber | None:
        """The chosen number."""
        row = self.numbers.current
        return row.item if row is not None else None

    def show_rule(
        self, rule: Rule | None, numbers: Sequence[RuleNumber], found: str, not_looked: Sequence[str]
    ) -> None:
        """Show a rule, or none.

        Parameters
        ----------
        rule : Rule or None
        numbers : sequence of RuleNumber
        found : str
            How often it was found, in words.
        not_looked : sequence of str
            What of it could not be looked for, and why.
        """
        self.text.setHtml(
            _told(rule, numbers, found, not_looked) if rule is not None else f"<p>{NOTHING_CHOSEN}</p>"
        )
        chosen = self.numbers.current
        self.numbers.set_rows([_row(at, one) for at, one in enumerate(numbers)])
        keys = [one.key for one in numbers]
        if keys:
            self.numbers.select(chosen.key if chosen is not None and chosen.key in keys else keys[0])
        self._choose()

    def allow(self, known: bool) -> None:
        """Keeping is offered once it is known what it changes."""
        self.keep.setEnabled(known)

    def _choose(self) -> None:
        one = self.chosen
        for widget in (self.number, self.reason):
            widget.setEnabled(one is not None)
        self.back.setEnabled(one is not None and one.edited)
        self.unit.setText(unit_name(one.unit) if one is not None else "")
        key = f"{one.key} = {one.value:g}" if one is not None else ""
        if not key or key != self._key:  # the same number again leaves what is being typed
            self._key = key
            self.number.setText(f"{one.value:g}" if one is not None else "")
            self.reason.setText(one.reason if one is not None else "")
            self._typed()

    def _typed(self) -> None:
        one = self.chosen
        self.allow(False)
        if one is None:
            self.untyped.emit("")
            return
        try:
            self.typed.emit(one.name, read_number(self.number.text()))
        except EditRefused as refused:
            self.untyped.emit(refused.sentence)

    def _keep(self) -> None:
        one = self.chosen
        if one is not None and self.keep.isEnabled():
            self.kept.emit(one.name, read_number(self.number.text()), self.reason.text())

    def _back(self) -> None:
        if self.chosen is not None:
            self.taken_back.emit(self.chosen.name)


def _row(at: int, one: RuleNumber) -> Row:
    value, own = (f"{number:g} {unit_name(one.unit)}".rstrip() for number in (one.value, one.own))
    rests = f"changed by {one.given_by} from {one.own:g}" if one.edited else one.given_by or one.rests_on
    meaning = readable(one.meaning)
    tip = f"{one.name}: {meaning}\nin force {value}, the catalogue's {own}; {one.rests_on}"
    if one.reason:
        tip += f"\nchanged by {one.given_by}: {one.reason}"
    cells = (meaning, value, own, rests)
    return Row(one.key, 0.0, 0.0, cells, (at, one.value, one.own, rests), tip=tip, item=one)


def _told(rule: Rule, numbers: Sequence[RuleNumber], found: str, not_looked: Sequence[str]) -> str:
    changed = {one.name: one.value for one in numbers}
    needs = ", ".join(NEEDS[need][0].removeprefix("no ") for need in rule.needs)
    phases = ", ".join(phase_name(name) for name in rule.phase)
    lines = [
        f"<p><b>{escape(rule.code)} {escape(rule.name)}</b> ({escape(found)})</p>",
        f"<p>{escape(readable(rule.sentence(changed)))}</p>",
        *(f"<p><b>Not looked for</b>: {escape(line)}</p>" for line in not_looked),
        f"<p><b>Rests on</b>: {escape(readable(rule.rests_on()))}.</p>",
        f"<p><b>Needs</b>: {escape(needs or 'nothing beyond the channel itself')}. "
        f"<b>Looked for</b>: {escape(phases or 'in any phase')}. Version {rule.version}.</p>",
    ]
    if rule.details:
        lines.append(f"<p><b>Measured</b>: {escape(readable(rule.fine_print(changed)))}</p>")
    fixed = [(name, one) for name, one in rule.parameters.items() if one.fixed]
    if fixed:
        told = "; ".join(
            f"{readable(one.meaning)} {one.value:g} {unit_name(one.unit)}".rstrip() for _, one in fixed
        )
        lines.append(
            f"<p><b>The same in every case</b>, since masks and figures go by them: {escape(told)}.</p>"
        )
    return "".join(lines)
