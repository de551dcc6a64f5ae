"""Which finds are shown: by class, by phase and by what people decided, and how many of how many these are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from PySide6.QtCore import QEvent, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPaintEvent
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLabel,
    QStyle,
    QStyleOptionComboBox,
    QStylePainter,
    QWidget,
)

from ..find_words import STATES, state_kind
from ..wording import phase_name

EVENTS, ARTEFACTS = "E", "A"
"""Values of the class filter that stand for all events, or all artefacts."""
NO_PHASE = "-"
WIDEST_ENTRY = 340  # pixels of an opened box: whole names of classes
BESIDE = 3  # pixels on either side of the words of a box


@dataclass(frozen=True, slots=True)
class FindFacts:
    """What the filters go by of one find.

    Attributes
    ----------
    code : str
    phases : tuple of str
        Tokens of the phases that it begins in; empty outside every one.
    state : str
        What people decided on it.
    """

    code: str
    phases: tuple[str, ...]
    state: str


class ChoiceBox(QComboBox):
    """A box to choose from that keeps plain keys for itself: the desk's one-letter keys rest meanwhile.

    Signals
    -------
    left()
        Esc was pressed.
    """

    left = Signal()

    def event(self, event: QEvent) -> bool:
        """Claim plain keys before any shortcut does."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            held = event.modifiers() & ~Qt.KeyboardModifier.ShiftModifier
            letter = event.text().isprintable() and bool(event.text())
            if held == Qt.KeyboardModifier.NoModifier and (letter or event.key() == Qt.Key.Key_Escape):
                event.accept()
                return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc leaves; Space and Enter open it."""
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.showPopup()
        else:
            super().keyPressEvent(event)

    def paintEvent(self, _: QPaintEvent) -> None:
        """What is chosen, with a sign where its end does not fit: Qt alone cuts it off in the middle of a word."""
        option = QStyleOptionComboBox()
        self.initStyleOption(option)
        part = QStyle.SubControl.SC_ComboBoxEditField
        room = self.style().subControlRect(QStyle.ComplexControl.CC_ComboBox, option, part, self).width()
        option.currentText = self.fontMetrics().elidedText(
            self.currentText(), Qt.TextElideMode.ElideRight, room - 2 * BESIDE
        )
        painter = QStylePainter(self)
        painter.drawComplexControl(QStyle.ComplexControl.CC_ComboBox, option)
        painter.drawControl(QStyle.ControlElement.CE_ComboBoxLabel, option)

    def minimumSizeHint(self) -> QSize:
        """Narrow: the whole name stands in its tip and in the opened list."""
        return QSize(64, super().minimumSizeHint().height())


class FindFilters(QWidget):
    """Three boxes and a count.

    Signals
    -------
    changed()
        Other finds are wanted: ask `wants`.
    left()
        Esc was pressed: back to the list.
    """

    changed = Signal()
    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.by_class = self._box("Finds of a class", "Ctrl+1")
        self.by_phase = self._box("Finds that begin in a phase", "Ctrl+2")
        self.by_state = self._box("Finds by what was decided", "Ctrl+3")
        self.count = QLabel("", self)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        for box in self.boxes:
            layout.addWidget(box, 2 if box is self.by_class else 1)  # names of classes are the longest words
        layout.addWidget(self.count)
        self.offer((), {}, {})

    @property
    def boxes(self) -> tuple[ChoiceBox, ChoiceBox, ChoiceBox]:
        """Class, phase, state."""
        return self.by_class, self.by_phase, self.by_state

    @property
    def wanted(self) -> tuple[str, str, str]:
        """Class, phase and state that are asked for; empty where any will do."""
        a, b, c = (str(box.currentData() or "") for box in self.boxes)
        return a, b, c

    @property
    def words(self) -> str:
        """What is asked for, in words; empty where anything is."""
        words = []
        code, phase, state = self.wanted
        if code:
            words.append({EVENTS: "an event", ARTEFACTS: "an artefact"}.get(code, code))
        if phase:
            words.append("outside every phase" if phase == NO_PHASE else f"in {phase_name(phase)}")
        if state:
            words.append(state)
        return ", ".join(words)

    def choose(self, wanted: Sequence[str]) -> None:
        """Ask for other finds; an entry that is not offered yet is added, so that it survives another case."""
        before = self.wanted
        self._set(wanted)
        if self.wanted != before:
            self._changed()

    def _set(self, wanted: Sequence[str]) -> None:
        for box, value in zip(self.boxes, wanted, strict=False):
            box.blockSignals(True)
            number = box.findData(value)
            if number < 0:
                box.addItem(phase_name(value) if box is self.by_phase else value, value)
                number = box.count() - 1
            box.setCurrentIndex(number)
            box.blockSignals(False)

    def wants(self, one: FindFacts) -> bool:
        """Whether a find passes all three."""
        code, phase, state = self.wanted
        if code and one.code != code and not (code in (EVENTS, ARTEFACTS) and one.code.startswith(code)):
            return False
        if phase and phase not in (one.phases or (NO_PHASE,)):
            return False
        return not state or state_kind(one.state) == state

    def offer(
        self, finds: Sequence[FindFacts], class_names: Mapping[str, str], phases: Mapping[str, float]
    ) -> None:
        """Offer what there is, each with how many finds it has; what was chosen stays chosen.

        Parameters
        ----------
        finds : sequence of FindFacts
        class_names : mapping of str to str
            Plain names of every class that a rule looks for, by code.
        phases : mapping of str to float
            When each phase begins, by token: the order in which they are offered.
        """
        kept = self.wanted
        codes = Counter(one.code for one in finds)
        inside = Counter(name for one in finds for name in (one.phases or (NO_PHASE,)))
        states = Counter(state_kind(one.state) for one in finds)
        events = sum(many for code, many in codes.items() if code.startswith(EVENTS))
        _fill(
            self.by_class,
            [("every class", ""), (f"events ({events})", EVENTS)]
            + [(f"artefacts ({len(finds) - events})", ARTEFACTS)]
            + [(f"{code} {class_names.get(code, '')} ({codes[code]})", code) for code in sorted(codes)]
            + [
                (f"{code} {name} (none)", code)
                for code, name in class_names.items()
                if code not in codes and code[0] in (EVENTS, ARTEFACTS)
            ],
        )
        ordered = sorted(phases, key=lambda name: phases[name])
        _fill(
            self.by_phase,
            [("every phase", "")]
            + [(f"{phase_name(name)} ({inside[name]})", name) for name in ordered]
            + [(f"outside every phase ({inside[NO_PHASE]})", NO_PHASE)],
        )
        _fill(
            self.by_state,
            [("every state", "")] + [(f"{state} ({states[state]})", state) for state in STATES],
        )
        self._set(kept)
        self._dress()

    def show_count(self, shown: int, many: int) -> None:
        """How many of how many are shown."""
        self.count.setText(
            f"{shown} of {many}" if shown != many else f"{many} {'find' if many == 1 else 'finds'}"
        )
        self.count.setAccessibleName(f"{shown} of {many} finds are shown")

    def _box(self, name: str, key: str) -> ChoiceBox:
        box = ChoiceBox(self)
        box.setAccessibleName(name)
        box.setProperty("key", key)
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        box.setMinimumContentsLength(6)
        box.view().setMinimumWidth(WIDEST_ENTRY)
        box.setMaxVisibleItems(24)
        box.currentIndexChanged.connect(self._changed)
        box.left.connect(self.left)
        return box

    def _changed(self, *_: object) -> None:
        self._dress()
        self.changed.emit()

    def _dress(self) -> None:
        for box in self.boxes:
            box.setToolTip(f"{box.accessibleName()}: {box.currentText()} ({box.property('key')})")
            font = box.font()
            font.setBold(bool(box.currentData()))  # a filter in force must not be overlooked
            box.setFont(font)


def _fill(box: QComboBox, entries: Sequence[tuple[str, str]]) -> None:
    box.blockSignals(True)
    box.clear()
    for words, value in entries:
        box.addItem(words, value)
    box.blockSignals(False)
