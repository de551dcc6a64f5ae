"""Rules: the whole catalogue with its words, numbers and sources, and another number tried before it is kept.

Nothing is written here: `taken` carries ``limit`` payloads, and the desk keeps them like any other edit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from afterclamp.annotate.finds import Find, Finds
from afterclamp.annotate.rule_numbers import checked, editing, numbers_in_force, rule_numbers, taking_back
from afterclamp.annotate.rules import RULES, STATUS, Rule
from afterclamp.io.case import Case
from afterclamp.io.errors import CaseError
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QDialog, QDialogButtonBox, QLabel, QPushButton, QSplitter, QVBoxLayout, QWidget

from ..wording import readable, unit_name
from .lists import Column, ListPane, Row
from .rule_card import RuleCard
from .rule_trial import NOTHING, TrialPane

COLUMNS = (
    Column("Code", "E00", "Class of the pattern"),
    Column("Rule", "", "Plain name"),
    Column("Found", "00", "How often in this case; – where it was not looked for", right=True),
    Column("Rests on", "published", "What its numbers rest on as a whole; each number says its own"),
    Column("Changed", "changed", "Whether a number of it is another one in this case"),
)
ABOUT = (
    "Every find is a proposal. A number changed here holds for this case alone, stands on its case paper with its "
    "reason, and undo takes it back."
)


class RulesBox(QDialog):
    """The rules.

    Parameters
    ----------
    case : Case
        Read only.
    finds : sequence of Find
        Of the look through the case.
    write : callable
        Writes a reference time.
    code : str
        The rule that is shown first.

    Signals
    -------
    taken(list)
        Payloads of ``limit`` edits to keep.
    """

    taken = Signal(list)

    def __init__(
        self,
        case: Case,
        finds: Sequence[Find],
        write: Callable[[float], str],
        code: str = "",
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._case, self._finds = case, finds
        self.setWindowTitle("Rules")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.about = QLabel(ABOUT, self)
        self.about.setWordWrap(True)
        self.list = ListPane("Rules", COLUMNS, "", self)
        self.card = RuleCard(self)
        self.trial = TrialPane(case.folder, write, self)
        right = QSplitter(Qt.Orientation.Vertical, self)
        right.addWidget(self.card)
        right.addWidget(self.trial)
        right.setSizes([480, 160])
        across = QSplitter(Qt.Orientation.Horizontal, self)
        across.addWidget(self.list)
        across.addWidget(right)
        across.setSizes([520, 680])
        for splitter in (right, across):
            splitter.setChildrenCollapsible(False)
        buttons = QDialogButtonBox(self)
        close = buttons.addButton(QDialogButtonBox.StandardButton.Close)
        close.setAutoDefault(False)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(self.about)
        layout.addWidget(across, 1)
        layout.addWidget(buttons)
        self.resize(1240, 740)
        self.list.selected.connect(self._show_rule)
        self.card.typed.connect(self._try)
        self.card.untyped.connect(lambda words: self.trial.empty(words or NOTHING))
        self.card.kept.connect(self._keep)
        self.card.taken_back.connect(self._take_back)
        self.trial.settled.connect(self.card.allow)
        self._list()
        self.list.select(_key(next((rule for rule in RULES if rule.code == code), RULES[0])))
        self._show_rule()
        self.list.to_list()
        self.trial.warm_up()

    # -- what is shown ------------------------------------------------------------------------------

    @property
    def rule(self) -> Rule | None:
        """The chosen rule."""
        row = self.list.current
        return row.item if row is not None else None

    def show_finds(self, finds: Sequence[Find]) -> None:
        """Count by another look through the case."""
        self._finds = finds
        self._list()
        self._show_rule()

    def _list(self) -> None:
        self.list.set_rows([self._row(at, rule) for at, rule in enumerate(RULES)])

    def _row(self, at: int, rule: Rule) -> Row:
        count, absent = self._count(rule), self._not_looked(rule)
        changed = sum(one.edited for one in rule_numbers(self._case, rule))
        found = "–" if self._absent(rule) else str(count)
        cells = (
            rule.code,
            rule.name,
            found,
            STATUS[rule.status].partition(",")[0],
            "changed" if changed else "",
        )
        tip = "\n".join([f"{rule.code} {rule.name}: {rule.rests_on()}", *absent])
        return Row(_key(rule), 0.0, 0.0, cells, (at, rule.name, count, *cells[3:]), tip=tip, item=rule)

    def _count(self, rule: Rule) -> int:
        return sum(one.code == rule.code for one in self._finds)

    def _not_looked(self, rule: Rule) -> list[str]:
        told = self._finds.not_looked_for if isinstance(self._finds, Finds) else ()
        return [line for line in told if line.startswith(f"{rule.code} ")]

    def _absent(self, rule: Rule) -> bool:
        """Whether it was not looked for at all."""
        return any(line.startswith(f"{rule.code} not looked for:") for line in self._not_looked(rule))

    def _found_words(self, rule: Rule) -> str:
        if not isinstance(self._finds, Finds):
            return "the case has not been looked through yet"
        held = sum(one.code == rule.code for one in self._finds.held_back)
        back = f", {held} more seen and not put forward" if held else ""
        return "not looked for" if self._absent(rule) else f"found {self._count(rule)} ×{back}"

    def _show_rule(self) -> None:
        rule = self.rule
        if rule is None:
            self.card.show_rule(None, (), "", ())
        else:
            self.card.show_rule(
                rule, rule_numbers(self._case, rule), self._found_words(rule), self._not_looked(rule)
            )

    # -- numbers ------------------------------------------------------------------------------------

    def _try(self, name: str, value: float) -> None:
        rule, one = self.rule, self.card.chosen
        if rule is None or one is None or value == one.value:
            self.trial.empty()
            return
        try:
            checked(rule.code, name, value, numbers_in_force(self._case))
        except CaseError as refused:
            self.trial.empty(readable(refused.sentence))
            return
        self.trial.look(rule.code, {f"{rule.code}.{name}": value})

    def _keep(self, name: str, value: float, reason: str) -> None:
        rule = self.rule
        if rule is None:
            return
        try:
            payload = editing(rule.code, name, value, reason, numbers_in_force(self._case))
        except CaseError as refused:
            self.trial.short.setText(readable(refused.sentence))
            self.card.reason.setFocus()
            return
        self._hand_on([payload], f"Kept: {self._change(rule, name, value)}. Undo takes it back.")

    def _take_back(self, name: str) -> None:
        rule = self.rule
        if rule is not None:
            own = rule.parameters[name].value
            self._hand_on([taking_back(rule.code, name)], f"Taken back: {self._change(rule, name, own)}.")

    def _change(self, rule: Rule, name: str, value: float) -> str:
        """What a number of a rule does, with what it is now and was until now."""
        parameter = rule.parameters[name]
        was = numbers_in_force(self._case).get(f"{rule.code}.{name}", parameter.value)
        now, before = (f"{one:g} {unit_name(parameter.unit)}".rstrip() for one in (value, was))
        return f"{rule.code}, {readable(parameter.meaning)}: {now} in place of {before}"

    def _hand_on(self, payloads: list[dict[str, object]], words: str) -> None:
        self.taken.emit(payloads)
        self._list()
        self._show_rule()
        self.trial.empty(words)

    # -- the end ------------------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter presses the button it stands on and no other: in the line of a reason it keeps the number."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            focus = self.focusWidget()
            if isinstance(focus, QPushButton) and focus.isEnabled():
                focus.click()
            return
        super().keyPressEvent(event)

    def done(self, result: int) -> None:
        """Let go of the work."""
        self.trial.leave()
        super().done(result)


def _key(rule: Rule) -> str:
    return f"{rule.code} {rule.name}"
