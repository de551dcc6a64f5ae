"""Trust this site: a line, from, to, typed; for the whole case, or back to the proposal."""

from __future__ import annotations

from typing import Any

from afterclamp.annotate.trust import TrustStrip
from afterclamp.io.case import Span
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QLabel,
    QVBoxLayout,
    QWidget,
)

from .clock_face import ClockFace
from .trust_edits import back, trusted
from .typing_boxes import TypingBox

PROPOSAL = "as the program proposes"


class TrustBox(QDialog):
    """Ask which line is believed, and from when to when.

    Parameters
    ----------
    strip : TrustStrip
    face : ClockFace
    line : str
        Name of the line that is chosen at first.
    start, end : float
        Reference seconds at first.

    Signals
    -------
    taken(dict)
        Payload of a ``believe`` edit.
    """

    taken = Signal(dict)

    def __init__(
        self,
        strip: TrustStrip,
        face: ClockFace,
        line: str,
        start: float,
        end: float,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._strip, self._face, self._within = strip, face, Span(strip.start, strip.end)
        self.setWindowTitle("Trust this site")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(560, 0)
        what = QLabel(
            "The line that figures and finds go by in this time. It counts under your name, until it is undone or "
            f"another choice is made. Type {face.ways_to_write(self._within)}.",
            self,
        )
        what.setWordWrap(True)
        what.setMinimumHeight(3 * self.fontMetrics().lineSpacing())
        self.line = QComboBox(self)
        for one in strip.lines:
            self.line.addItem(one.words, one.name)
        self.line.addItem(PROPOSAL, "")
        self.line.setCurrentIndex(max(self.line.findData(line), 0))
        self.line.setAccessibleName("Line")
        self.start, self.end = TypingBox(face.text(start), self), TypingBox(face.text(end), self)
        self.start.setAccessibleName("From")
        self.end.setAccessibleName("To")
        self.whole = QCheckBox("the &whole case; takes the place of what was chosen for parts of it", self)
        for typed in (self.start, self.end):
            self.whole.toggled.connect(typed.setDisabled)
        self.problem = QLabel("", self)
        self.problem.setWordWrap(True)
        self.problem.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.problem.setAccessibleName("What was not understood")
        self.problem.setMinimumHeight(2 * self.fontMetrics().lineSpacing())
        for box in (self.start, self.end):
            box.textEdited.connect(lambda _: self.problem.clear())
        form = QFormLayout()
        form.addRow("&Line", self.line)
        form.addRow("&From", self.start)
        form.addRow("&To", self.end)
        form.addRow("", self.whole)
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel, parent=self
        )
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(what)
        layout.addLayout(form)
        layout.addWidget(self.problem)
        layout.addWidget(buttons)
        self.line.setFocus()

    def _take(self) -> None:
        line = str(self.line.currentData())
        if self.whole.isChecked():
            found = self._strip.line(line)
            self._give({"site": found.token} if found is not None else {"proposal": True})
            return
        times = []
        for box in (self.start, self.end):
            try:
                times.append(self._face.read(box.text(), self._within))
            except ValueError as cause:
                self._refuse(str(cause), box)
                return
        start, end = times
        if not round(start) < round(end):
            self._refuse("From must lie before To, by a second or more.", self.end)
            return
        self._give(trusted(self._strip, line, start, end) if line else back(self._strip, start, end))

    def _refuse(self, sentence: str, box: TypingBox) -> None:
        self.problem.setText(sentence)
        box.setFocus()
        box.selectAll()

    def _give(self, payload: dict[str, Any]) -> None:
        self.taken.emit(payload)
        self.accept()
