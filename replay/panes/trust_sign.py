"""The sign that another arterial line would change what figures say."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton, QWidget

from ..wording import readable


class TrustSign(QPushButton):
    """A small button with words; gone while nothing would change."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__("", parent)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setAccessibleName("Figures that another line would change")
        self.setStyleSheet("QPushButton { padding: 0 6px; border-radius: 2px; }")
        self.hide()

    def tell(self, words: str, sentences: Sequence[str]) -> None:
        """Say how many figures change, and which sentences they have."""
        self.setText(f"◆ {words}" if words else "")
        self.setToolTip("\n".join(readable(one) for one in sentences[:12]))
        self.setVisible(bool(words))
