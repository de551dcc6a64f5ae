"""One line of words that ends in dots where there is no room for all of it; the tip holds the rest."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget


class ElidedLabel(QLabel):
    """A label that asks for no width of its own."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__("", parent)
        self._words = ""
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)

    @property
    def words(self) -> str:
        """All of it."""
        return self._words

    def set_words(self, words: str) -> None:
        """Show other words."""
        self._words = words
        self._write()

    def minimumSizeHint(self) -> QSize:
        """As narrow as may be."""
        return QSize(0, super().minimumSizeHint().height())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Cut them anew."""
        super().resizeEvent(event)
        self._write()

    def _write(self) -> None:
        room = max(self.width() - 2, 0)
        self.setText(self.fontMetrics().elidedText(self._words, Qt.TextElideMode.ElideRight, room))
