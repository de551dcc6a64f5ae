"""Small dialogs for marking: the class of a mark, the words of a note, the name that marks are kept under."""

from __future__ import annotations

from collections.abc import Sequence

from afterclamp.io.errors import EditRefused
from afterclamp.io.log import check_author
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QLabel,
    QListWidget,
    QListWidgetItem,
    QVBoxLayout,
    QWidget,
)

from .typing_boxes import TypingBox

ClassChoice = tuple[str, str]
"""Code and plain name."""

ROLES = ("surgeon", "anaesthetist", "perfusionist", "teacher", "researcher", "coordinator", "facilitator")


class ClassBox(QDialog):
    """Choose a class by typing part of its code or name.

    Signals
    -------
    chosen(code)
    """

    chosen = Signal(str)

    def __init__(
        self, choices: Sequence[ClassChoice], current: str, title: str, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(420, 460)
        self.search = TypingBox(self)
        self.search.setPlaceholderText("Type part of the code or name, then Enter")
        self.search.setAccessibleName("Class")
        self.list = QListWidget(self)
        self.list.setAccessibleName("Classes")
        for code, name in choices:
            item = QListWidgetItem(f"{code}   {name}")
            item.setData(Qt.ItemDataRole.UserRole, code)
            self.list.addItem(item)
            if code == current:
                self.list.setCurrentItem(item)
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel, parent=self
        )
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        self.search.textChanged.connect(self._filter)
        self.search.returnPressed.connect(self._take)
        self.list.itemActivated.connect(lambda _: self._take())
        layout = QVBoxLayout(self)
        layout.addWidget(self.search)
        layout.addWidget(self.list, 1)
        layout.addWidget(buttons)
        self.search.setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """From the words to the list with the arrows."""
        if event.key() in (Qt.Key.Key_Down, Qt.Key.Key_Up) and self.search.hasFocus():
            self.list.setFocus()
            if self.list.currentRow() < 0 or self.list.item(self.list.currentRow()).isHidden():
                self._to_first()
        else:
            super().keyPressEvent(event)

    def _filter(self, text: str) -> None:
        for row in range(self.list.count()):
            item = self.list.item(row)
            item.setHidden(text.lower() not in item.text().lower())
        self._to_first()

    def _to_first(self) -> None:
        for row in range(self.list.count()):
            if not self.list.item(row).isHidden():
                self.list.setCurrentRow(row)
                return

    def _take(self) -> None:
        item = self.list.currentItem()
        if item is not None and not item.isHidden():
            self.chosen.emit(str(item.data(Qt.ItemDataRole.UserRole)))
            self.accept()


class WordsBox(QDialog):
    """One line of words.

    Signals
    -------
    written(text)
    """

    written = Signal(str)

    def __init__(self, title: str, label: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(460, 0)
        self.line = TypingBox(self)
        self.line.setAccessibleName(label)
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel, parent=self
        )
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(QLabel(label, self))
        layout.addWidget(self.line)
        layout.addWidget(buttons)
        self.line.setFocus()

    def _take(self) -> None:
        text = self.line.text().strip()
        if text:
            self.written.emit(text)
        self.accept()


class AuthorBox(QDialog):
    """The author id that marks are kept under: a role or code, never a person's name.

    Signals
    -------
    chosen(author)
    """

    chosen = Signal(str)

    def __init__(self, author: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Who is marking")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        words = QLabel(
            "Marks, notes and verdicts are kept under this name, each name in a file of its own. Use a role or a"
            " code, not a person's name: ASCII letters, digits and hyphens.",
            self,
        )
        words.setWordWrap(True)
        self.name = QComboBox(self)
        self.name.setEditable(True)
        self.name.setLineEdit(TypingBox(self.name))
        self.name.addItems(ROLES)
        self.name.setAccessibleName("Author")
        self.name.setCurrentText(author)
        self.problem = QLabel("", self)
        self.problem.setWordWrap(True)
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel, parent=self
        )
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        for widget in (words, self.name, self.problem, buttons):
            layout.addWidget(widget)

    def _take(self) -> None:
        author = self.name.currentText().strip()
        try:
            check_author(author)
        except EditRefused:
            self.problem.setText("Only ASCII letters, digits and hyphens, beginning with a letter or digit.")
            return
        self.chosen.emit(author)
        self.accept()
