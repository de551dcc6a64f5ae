"""Pages to read: the cautions of first start, and the sheet of keys."""

from __future__ import annotations

import hashlib
from html import escape

from PySide6.QtCore import QSettings, Qt
from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QDialogButtonBox,
    QPushButton,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from ..actions import MENUS, in_menu
from ..cautions import CAUTIONS, CAUTIONS_TITLE, cautions_text

_READ = "cautions/read"


def cautions_read(settings: QSettings) -> bool:
    """Whether this very text was read and accepted; a changed text is asked for again."""
    return str(settings.value(_READ, "")) == _mark()


def _mark() -> str:
    return hashlib.sha256(cautions_text().encode()).hexdigest()[:16]


class CautionsBox(QDialog):
    """The cautions, whole. With `must_accept` it goes on only after the tick, else it is a page to read."""

    def __init__(self, settings: QSettings, *, must_accept: bool, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._settings = settings
        self.setWindowTitle("Before you begin" if must_accept else "Cautions")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(680, 560)
        page = QTextBrowser(self)
        page.setAccessibleName("Cautions")
        first, *others = (escape(paragraph) for paragraph in CAUTIONS)
        page.setHtml(
            f"<p><b>{escape(CAUTIONS_TITLE)}</b> {first}</p>"
            + "".join(f"<p>{paragraph}</p>" for paragraph in others)
        )
        layout = QVBoxLayout(self)
        layout.addWidget(page, 1)
        self.read = QCheckBox("I have read this and will use the program for looking back only", self)
        self.go_on = QPushButton("Go on", self)
        buttons = QDialogButtonBox(self)
        if must_accept:
            layout.addWidget(self.read)
            buttons.addButton(self.go_on, QDialogButtonBox.ButtonRole.AcceptRole)
            leave = buttons.addButton("Close the program", QDialogButtonBox.ButtonRole.RejectRole)
            leave.setAutoDefault(False)
            self.go_on.setEnabled(False)
            self.read.toggled.connect(self.go_on.setEnabled)
            self.read.setFocus()
        else:
            self.read.hide()
            self.go_on.hide()
            buttons.addButton(QDialogButtonBox.StandardButton.Close)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        layout.addWidget(buttons)

    def accept(self) -> None:
        """Remember that it was read."""
        if self.read.isChecked():
            self._settings.setValue(_READ, _mark())
            self._settings.sync()
        super().accept()


def keys_html() -> str:
    """Every command with its keys, menu by menu."""
    html = []
    for menu, title in MENUS:
        rows = []
        for action in in_menu(menu):
            keys = " or ".join(f"<b>{escape(_native(key))}</b>" for key in action.keys) or "–"
            rows.append(f"<tr><td width='170'>{keys}</td><td>{escape(action.tip)}</td></tr>")
        html.append(f"<p><b>{escape(title.replace('&', ''))}</b></p><table>{''.join(rows)}</table>")
    html.append(
        "<p><b>In the views</b></p><table>"
        "<tr><td width='170'><b>drag</b></td><td>Move the playhead; the narrower views follow</td></tr>"
        "<tr><td><b>Shift and drag</b></td><td>Mark a span</td></tr>"
        "<tr><td><b>wheel</b></td><td>Zoom around the pointer</td></tr>"
        "<tr><td><b>middle button</b></td><td>Drag the window; on the time axis any button does</td></tr>"
        f"<tr><td><b>{_native('Alt+Left')}, {_native('Alt+Right')}</b></td>"
        "<td>Slide the view that has the keyboard</td></tr>"
        f"<tr><td><b>{_native('Alt+Up')}, {_native('Alt+Down')}</b></td>"
        "<td>Zoom the view that has the keyboard</td></tr>"
        f"<tr><td><b>{_native('Alt+PgUp')}, {_native('Alt+PgDown')}</b></td>"
        "<td>Through the strips of the view, where not all are shown</td></tr>"
        "<tr><td><b>Tab</b></td><td>To the next pane</td></tr>"
        "<tr><td><b>Up, Down, Enter</b></td><td>In a list or on the phase ladder: choose, and go there</td></tr>"
        "<tr><td><b>Enter</b> again</td><td>On a figure: on to the next stretch outside its limit</td></tr>"
        "<tr><td><b>[</b> and <b>]</b></td><td>On a chosen phase: it starts, ends at the playhead</td></tr>"
        "<tr><td><b>Menu</b> or right button</td><td>On a phase: lines and stretches that can give its times</td></tr>"
        "<tr><td><b>Enter, Down, Esc</b></td><td>In a filter: to the first hit, into the list, clear</td></tr>"
        "</table>"
    )
    return "".join(html)


def _native(key: str) -> str:
    return QKeySequence(key).toString(QKeySequence.SequenceFormat.NativeText)


class KeySheet(QDialog):
    """The sheet of keys."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Keys")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(620, 760)
        self.page = QTextBrowser(self)
        self.page.setAccessibleName("Keys")
        self.page.setHtml(keys_html())
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close, parent=self)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(self.page, 1)
        layout.addWidget(buttons)
