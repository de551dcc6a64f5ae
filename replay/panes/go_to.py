"""Go to a time: one line to type in, that says what it did not understand."""

from __future__ import annotations

from afterclamp.io.case import Span
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QDialog, QDialogButtonBox, QLabel, QVBoxLayout, QWidget

from .clock_face import ClockFace
from .typing_boxes import TypingBox


class GoToBox(QDialog):
    """Ask for a time.

    Signals
    -------
    chosen(float)
        Reference seconds.
    """

    chosen = Signal(float)

    def __init__(self, face: ClockFace, within: Span, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._face, self._within = face, within
        self.setWindowTitle("Go to a time")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(520, 0)
        what = QLabel(
            f"The case runs from {face.text(within.start)} to {face.text(within.end)}."
            f" Type {face.ways_to_write(within)}.",
            self,
        )
        line = self.fontMetrics().lineSpacing()
        what.setMinimumHeight(2 * line)
        what.setWordWrap(True)
        self.line = TypingBox(self)
        self.line.setAccessibleName("Time")
        self.problem = QLabel("", self)
        self.problem.setWordWrap(True)
        self.problem.setAccessibleName("What was not understood")
        self.problem.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.problem.setMinimumHeight(3 * line)  # its room is there from the start: nothing jumps
        self.line.textEdited.connect(lambda _: self.problem.clear())
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel, parent=self
        )
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        for widget in (what, self.line, self.problem, buttons):
            layout.addWidget(widget)
        self.line.setFocus()

    def _take(self) -> None:
        try:
            t = self._face.read(self.line.text(), self._within)
        except ValueError as cause:
            self.problem.setText(str(cause))
            self.line.selectAll()
            return
        self.chosen.emit(t)
        self.accept()
