"""Hand over: what of the case is written, of which window, and into which new folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from afterclamp.io.case import Span
from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QButtonGroup,
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QRadioButton,
    QVBoxLayout,
    QWidget,
)

from ..hand_over import FORMS
from .typing_boxes import TypingBox

WHOLE = "the whole case"


class HandOverBox(QDialog):
    """Ask what to hand over.

    Signals
    -------
    chosen(form, window, folder)
        A form of `FORMS`, the name of a window, and the new folder.
    """

    chosen = Signal(str, str, str)

    def __init__(self, out: Path, windows: Mapping[str, Span], parent: QWidget | None = None) -> None:
        """`windows` are offered beside the whole case, by the names they are given there."""
        super().__init__(parent)
        self.setWindowTitle("Hand over")
        self.resize(620, 0)
        layout = QVBoxLayout(self)
        self._forms = QButtonGroup(self)
        for number, (form, words) in enumerate(FORMS.items()):
            choice = QRadioButton(f"&{number + 1}  {words[:1].upper()}{words[1:]}", self)
            choice.setProperty("form", form)
            choice.setChecked(number == 0)
            choice.toggled.connect(lambda _: self._check())
            self._forms.addButton(choice)
            layout.addWidget(choice)
        self.window_name = QComboBox(self)
        self.window_name.setAccessibleName("Window")
        self.window_name.addItems([WHOLE, *windows])
        label = QLabel("&Of", self)
        label.setBuddy(self.window_name)
        row = QHBoxLayout()
        row.addWidget(label)
        row.addWidget(self.window_name, 1)
        layout.addLayout(row)
        self.into = TypingBox(str(out), self)
        self.into.setAccessibleName("New folder")
        self.into.textChanged.connect(lambda _: self._check())
        browse = QPushButton("Choose…", self)
        browse.clicked.connect(self._browse)
        row = QHBoxLayout()
        row.addWidget(QLabel("Into a new folder", self))
        row.addWidget(self.into, 1)
        row.addWidget(browse)
        layout.addLayout(row)
        caution = QLabel(
            "What is written can still say who somebody is: marks and lines of text go along as they are. "
            "Read them before the folder leaves this machine.",
            self,
        )
        caution.setWordWrap(True)
        # A dialog asks a wrapped label for its height before it knows its width: keep room, as for a larger font.
        caution.setMinimumHeight(3 * self.fontMetrics().lineSpacing())
        layout.addWidget(caution)
        buttons = QDialogButtonBox(self)
        self.go = buttons.addButton("Hand over", QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.addButton(QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout.addWidget(buttons)
        self._check()

    @property
    def form(self) -> str:
        """The form that is chosen."""
        checked = self._forms.checkedButton()
        return str(checked.property("form")) if checked is not None else "tables"

    def _check(self) -> None:
        # Figures and phases are told of a whole case, never of a piece cut out of it.
        self.window_name.setEnabled(self.form != "tables")
        self.go.setEnabled(bool(self.into.text().strip()))

    def _browse(self) -> None:
        start = Path(self.into.text())
        folder = QFileDialog.getExistingDirectory(
            self, "Folder in which the new one is made", str(start.parent)
        )
        if folder:
            self.into.setText(str(Path(folder) / start.name))

    def _take(self) -> None:
        window = self.window_name.currentText() if self.window_name.isEnabled() else WHOLE
        self.chosen.emit(self.form, window, self.into.text().strip())
        self.accept()
