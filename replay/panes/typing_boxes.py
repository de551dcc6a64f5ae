"""Lines to type in, beside a desk whose commands are single letters."""

from __future__ import annotations

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QLineEdit


class TypingBox(QLineEdit):
    """A line to type in that keeps every plain key for itself: the desk's one-letter keys rest meanwhile."""

    def event(self, event: QEvent) -> bool:
        """Claim plain keys before any shortcut does."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            held = event.modifiers() & ~(
                Qt.KeyboardModifier.ShiftModifier | Qt.KeyboardModifier.KeypadModifier
            )
            function_key = Qt.Key.Key_F1 <= event.key() <= Qt.Key.Key_F35
            if held == Qt.KeyboardModifier.NoModifier and not function_key:
                event.accept()
                return True
        return super().event(event)


class FilterBox(TypingBox):
    """The words that rows must hold: Enter goes to the first hit, Down into the list, Esc clears.

    Signals
    -------
    left()
        Down was pressed, or Esc where nothing was left to clear.
    """

    left = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Down into the list; Esc clears, and leaves once it is clear."""
        key = event.key()
        if key == Qt.Key.Key_Escape and self.text():
            self.clear()
        elif key in (Qt.Key.Key_Escape, Qt.Key.Key_Down):
            self.left.emit()
        else:
            super().keyPressEvent(event)
