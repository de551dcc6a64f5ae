"""Bring in: what, where to, and how tables among it are read; the work itself runs in a process of its own."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from afterclamp.io import mappings
from afterclamp.io.errors import FileUnreadable
from afterclamp.io.readers import Claim
from afterclamp.io.readers.registry import reader_of
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QMenu,
    QMessageBox,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from ..bringing import TABLE, files_of
from ..longwork import unpack
from .typing_boxes import TypingBox

if TYPE_CHECKING:
    from .errand import Errand
    from .match_columns import MatchColumnsBox

MOST_LOOKED_AT = 1000
"""Files of a bring-in that are looked at for tables before it begins."""


def beside(paths: Sequence[Path]) -> Path:
    """Case folder that is proposed for exports: beside them, and not there yet."""
    first = paths[0].resolve()
    name = first.name if first.is_dir() else first.stem
    proposed, number = first.parent / f"{name}-case", 2
    while proposed.exists():
        proposed, number = first.parent / f"{name}-case-{number}", number + 1
    return proposed


def tables(paths: Sequence[Path]) -> list[Path]:
    """The tables of text among exports, whose columns can be matched by hand."""
    found = []
    for path in islice(files_of(paths), MOST_LOOKED_AT):
        try:
            reader, claim = reader_of(path)
        except FileUnreadable:
            continue
        if claim is Claim.MINE and reader is not None and reader.name == TABLE:
            found.append(path)
    return sorted(found)


def match_columns(table: Path, parent: QWidget) -> MatchColumnsBox:
    """The box in which the columns of a table are matched; what it writes is kept among the settings."""
    from .match_columns import MatchColumnsBox

    keep_in = mappings.default_folder().parent / "column-maps"
    keep_in.mkdir(parents=True, exist_ok=True)
    box = MatchColumnsBox(table, keep_in, parent=parent)
    box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    return box


class WhereBox(QDialog):
    """What is brought in, and where the case is to lie.

    Attributes
    ----------
    columns : list of str
        Column maps that the person made for tables among the exports.
    keep : QCheckBox
        Whether what says who somebody is is kept on purpose.
    looking : Errand or None
        The look through the exports for that, while it is under way.

    Signals
    -------
    chosen(folder)
    """

    chosen = Signal(str)

    def __init__(self, paths: Sequence[Path], open_case: Path | None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Bring in")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(620, 0)
        names = [str(path) for path in paths[:6]]
        more = f"\nand {len(paths) - 6} more" if len(paths) > 6 else ""
        what = QLabel("\n".join(names) + more, self)
        what.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        what.setWordWrap(True)
        self.into = TypingBox(str(beside(paths)), self)
        self.into.setAccessibleName("Case folder")
        browse = QPushButton("Choose…", self)
        browse.clicked.connect(self._browse)
        row = QHBoxLayout()
        row.addWidget(self.into, 1)
        row.addWidget(browse)
        self.late = QCheckBox("Add to the case that is open", self)
        self.late.setVisible(open_case is not None)
        self._open_case = open_case
        self._proposed = self.into.text()
        self.late.toggled.connect(self._toggle)
        self.keep = QCheckBox("Keep names, numbers and dates that say who somebody is", self)
        self.keep.setToolTip("Otherwise they are kept out of the traces and of all that is handed on")
        self.preview = QPushButton("What would be kept out…", self)
        self.preview.setToolTip("Look through the exports and list what says who somebody is; writes nothing")
        self.preview.setAutoDefault(False)
        self.preview.clicked.connect(self._preview)
        self.looking: Errand | None = None
        self.columns: list[str] = []
        self.match = QPushButton("Match columns of a table…", self)
        self.match.setToolTip("Say by hand how a table among the exports is read")
        self.match.setAutoDefault(False)
        self._paths = paths
        self.match.setMenu(QMenu(self.match))
        self.match.menu().aboutToShow.connect(self._list_tables)
        self.matched = QLabel("", self)
        self.matched.setWordWrap(True)
        self.matched.hide()
        buttons = QDialogButtonBox(self)
        go = buttons.addButton("Bring in", QDialogButtonBox.ButtonRole.AcceptRole)
        go.setDefault(True)
        buttons.addButton(QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        for heading, item in (
            ("These exports, which stay as they are:", what),
            ("Case folder to be made:", None),
        ):
            label = QLabel(heading, self)
            label.setProperty("heading", True)
            layout.addWidget(label)
            if item is not None:
                layout.addWidget(item)
        layout.addLayout(row)
        layout.addWidget(self.late)
        identity = QHBoxLayout()
        identity.addWidget(self.keep, 1)
        identity.addWidget(self.preview)
        layout.addLayout(identity)
        layout.addWidget(self.match, 0, Qt.AlignmentFlag.AlignLeft)
        layout.addWidget(self.matched)
        layout.addWidget(buttons)
        go.setFocus()

    def _list_tables(self) -> None:
        menu = self.match.menu()
        menu.clear()
        for path in tables(self._paths):
            menu.addAction(path.name).triggered.connect(partial(self._match, path))
        if menu.isEmpty():
            menu.addAction("no table of text among these").setEnabled(False)

    def _match(self, table: Path, *_: object) -> None:
        box = match_columns(table, self)
        box.matched.connect(self._take_columns)
        box.open()

    def _take_columns(self, table: str, columns: str) -> None:
        self.columns = [path for path in self.columns if path != columns] + [columns]
        name = Path(table).name
        told = [line for line in self.matched.text().splitlines() if not line.startswith(f"{name}:")]
        self.matched.setText("\n".join([*told, f"{name}: read as matched by hand"]))
        self.matched.show()

    def _preview(self) -> None:
        from .errand import Errand
        from .kept_out_box import KeptOutBox

        if self.looking is not None:
            return
        request = {
            "task": "look_at_exports",
            "paths": [str(path) for path in self._paths],
            "into": self.into.text().strip() or self._proposed,
            "columns": list(self.columns),
            "keep_identity": self.keep.isChecked(),
            "learned_in": str(mappings.default_folder()),
        }
        errand = Errand(request, "Looking through the exports", self)

        def ended(box: QDialog | None) -> None:
            self.looking = None
            errand.deleteLater()
            if box is not None:
                box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
                box.open()

        errand.made.connect(lambda packed: ended(KeptOutBox(unpack(packed), self)))
        errand.sentence.connect(
            lambda said: ended(QMessageBox(QMessageBox.Icon.NoIcon, "Bring in", said, parent=self))
        )
        errand.stopped.connect(lambda: ended(None))
        self.looking = errand
        errand.start()

    def done(self, result: int) -> None:
        """Close the box; a look that is under way ends with it."""
        if self.looking is not None:
            self.looking.leave()
            self.looking = None
        super().done(result)

    def _toggle(self, late: bool) -> None:
        self.into.setText(str(self._open_case) if late else self._proposed)
        self.into.setReadOnly(late)

    def _browse(self) -> None:
        start = str(Path(self.into.text()).parent)
        folder = QFileDialog.getExistingDirectory(self, "Folder in which the case is made", start)
        if folder:
            self.into.setText(str(Path(folder) / Path(self.into.text()).name))

    def _take(self) -> None:
        if self.into.text().strip():
            self.chosen.emit(self.into.text().strip())
            self.accept()
