"""Limits in force: the sets that a case is read by, every limit with its source and rivals, and other ones chosen.

Nothing is written here: `taken` carries the ``limits`` payloads once what they change has been listed, and the desk
keeps them like any other edit.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from afterclamp.annotate.limit_rows import LimitRow, limit_rows
from afterclamp.annotate.limit_set import LimitSet, default_sets
from afterclamp.annotate.limits import Choice, choosing, chosen_in, editing, taking_back
from afterclamp.io.case import Case
from afterclamp.io.errors import CaseError
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QDragEnterEvent, QDropEvent, QKeyEvent
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from .. import limit_words as words
from ..limit_files import keep_copy, kept_sets
from ..wording import readable, several
from .limit_card import LimitCard
from .limit_changes_list import ChangesPane
from .lists import Column, ListPane, Row

COLUMNS = (
    Column("Measure", "warming gradient, warm", "What is measured"),
    Column("Phase", "established bypass", "When it is looked at"),
    Column("Outside is", "below 280 mL/min/m²", "Which values lie outside; no value is a target"),
    Column("State", "published", "Published, common practice, local (a unit's own), or edited on the desk; a limit can "
           "stand back for a unit's own"),
    Column("Set", "published, version 1", "The set that it stands in, and its version"),
    Column("Source", "", "Who says so"),
)  # fmt: skip
ABOUT = (
    "None of these is a target, and none says how somebody was cared for. A unit's own limit stands before a published "
    "one on the same measure and phase, and that one is named beside it."
)


class LimitsBox(QDialog):
    """The limits that a case is read by.

    Parameters
    ----------
    case : Case
        Read only.
    author : str
        Who would keep an edit.
    folder : Path
        Where the person's own sets are kept for other cases.

    Attributes
    ----------
    edits : list of dict
        Payloads of ``limits`` edits that are not kept yet, the sets first.

    Signals
    -------
    taken(list)
        These payloads, when the person keeps them.
    refused(sentence)
        A unit's own file could not be kept for other cases; this case has it all the same.
    """

    taken = Signal(list)
    refused = Signal(str)

    def __init__(self, case: Case, author: str, folder: Path, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Limits in force")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setAcceptDrops(True)
        self.resize(1240, 740)
        self._case, self._author, self._folder = case, author, folder
        self._now = chosen_in(case)
        self._kept = kept_sets(folder)
        self._files: list[tuple[LimitSet, Path]] = []  # what was opened here
        self._offered: list[LimitSet] = []
        self._wanted: dict[tuple[str, str], dict[str, Any]] = {}
        self._filling = False
        self.edits: list[dict[str, Any]] = []

        self.sets = QListWidget(self)
        self.sets.setAccessibleName("Sets")
        self.sets.setToolTip("Tick the sets that the case is to be read by")
        self.sets.itemChanged.connect(self._ticked)
        self.open_button = QPushButton("&Open a unit's file…", self)
        self.open_button.setAutoDefault(False)
        self.open_button.setToolTip("A TOML file with a limit set; it can be dropped here as well")
        self.open_button.clicked.connect(self._ask_file)
        self.card = LimitCard(self)
        self.list = ListPane("Limits in force", COLUMNS, "No limit is in force.", self)
        self.list.selected.connect(self._show_card)
        self.list.jumped.connect(lambda _: self.card.number.setFocus(Qt.FocusReason.ShortcutFocusReason))
        self.card.number_given.connect(self._give_number)
        self.card.taken_back.connect(self._take_back)
        self.changes = ChangesPane(case.folder, author, self)
        self.changes.settled.connect(lambda _: self._allow())
        self.said = QLabel("", self)
        self.said.setWordWrap(True)
        self.said.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._arrange()
        self._offer([*default_sets(), *self._now.sets, *(one for one, _ in self._kept)])
        self._show()
        for row in self.list.model.rows[:1]:
            self.list.select(row.key)

    def _arrange(self) -> None:
        label = QLabel("S&ets", self)
        label.setBuddy(self.sets)
        about = QLabel(ABOUT, self)
        about.setWordWrap(True)
        about.setProperty("quiet", True)
        side = QVBoxLayout()
        side.addWidget(self.open_button)
        side.addWidget(about, 1)
        top = QHBoxLayout()
        top.addWidget(label, 0, Qt.AlignmentFlag.AlignTop)
        top.addWidget(self.sets, 1)
        top.addLayout(side, 1)
        self.sets.setFixedHeight(4 * (self.fontMetrics().height() + 7))
        across = QSplitter(Qt.Orientation.Horizontal, self)
        across.setChildrenCollapsible(False)
        across.addWidget(self.list)
        across.addWidget(self.card)
        across.setSizes([820, 400])
        down = QSplitter(Qt.Orientation.Vertical, self)
        down.setChildrenCollapsible(False)
        down.addWidget(across)
        down.addWidget(self.changes)
        down.setSizes([560, 40])  # there is nothing to list yet
        self._down = down
        buttons = QDialogButtonBox(self)
        self.keep = QPushButton("&Keep", self)
        self.keep.setToolTip("An edit of the log; undo takes it back")
        buttons.addButton(self.keep, QDialogButtonBox.ButtonRole.AcceptRole)
        self.close_button = buttons.addButton(QDialogButtonBox.StandardButton.Close)
        self.close_button.setAutoDefault(False)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addLayout(top)
        layout.addWidget(self.said)
        layout.addWidget(down, 1)
        layout.addWidget(buttons)

    # -- what is shown ------------------------------------------------------------------------------

    @property
    def choice(self) -> Choice:
        """What the case is read by once the edits are kept."""
        return chosen_in(self._case, self.edits, self._author)

    @property
    def row(self) -> LimitRow | None:
        """The chosen limit."""
        chosen = self.list.current
        return chosen.item if chosen is not None else None

    def _show(self) -> None:
        choice = self.choice
        self.said.setText(" ".join(f"{text[:1].upper()}{text[1:]}." for text in choice.unclear))
        self.said.setVisible(bool(choice.unclear))
        self.list.set_rows([_row(at, one) for at, one in enumerate(limit_rows(choice))])
        self._show_card()
        self._allow()

    def _show_card(self) -> None:
        self.card.show_row(self.row)

    def _allow(self) -> None:
        """Nothing is kept before what it changes has been listed."""
        self.keep.setEnabled(bool(self.edits) and self.changes.known)

    # -- sets ---------------------------------------------------------------------------------------

    def _offer(self, sets: list[LimitSet]) -> None:
        for one in sets:
            if one not in self._offered:
                self._offered.append(one)
        in_force = [*self._wanted_sets()]
        self._filling = True
        self.sets.clear()
        for one in self._offered:
            item = QListWidgetItem(self._set_words(one))
            item.setToolTip("\n".join(filter(None, [self._set_words(one), one.about])))
            item.setFlags(
                Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsUserCheckable
            )
            item.setCheckState(Qt.CheckState.Checked if one in in_force else Qt.CheckState.Unchecked)
            self.sets.addItem(item)
        self._filling = False

    def _set_words(self, one: LimitSet) -> str:
        """Name, version, how many limits, and where it is from: two files can have one name and version."""
        if one.is_shipped:
            where = "comes with the program"
        else:
            files = [path.name for other, path in (*self._files, *self._kept) if other == one]
            where = f"a unit's own, file {files[0]}" if files else "a unit's own, kept in this case"
        return f"{one.title} ({several(len(one), 'limit')}), {where}"

    def _wanted_sets(self) -> tuple[LimitSet, ...]:
        return self.choice.sets

    def _ticked(self, item: QListWidgetItem) -> None:
        if self._filling:
            return
        ticked = self._offered[self.sets.row(item)]
        on = item.checkState() == Qt.CheckState.Checked
        sets = [one for one in self._wanted_sets() if one != ticked and (not on or one.name != ticked.name)]
        self._want_sets([*sets, ticked] if on else sets)

    def _want_sets(self, sets: list[LimitSet]) -> None:
        usual = [one for one in self._offered if one in sets and one.is_shipped]
        ordered = [*usual, *(one for one in sets if not one.is_shipped)]
        try:
            payload = choosing(ordered)
        except CaseError as refused:
            self._offer([])
            self.say(refused.sentence)
            return
        if tuple(ordered) == self._now.sets:
            self._wanted.pop(("", ""), None)
        else:
            self._wanted[("", "")] = payload
        self._changed()
        self._offer([])

    def _ask_file(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, "A unit's limit set", "", "Limit sets (*.toml)")
        if name:
            self.open_file(Path(name))

    def open_file(self, path: Path) -> None:
        """Put the set of a file in force beside the others, in place of an earlier version of it."""
        try:
            one = LimitSet.load(path)
            choosing([one, *(other for other in default_sets() if other.name != one.name)])
        except CaseError as refused:
            self.say(refused.sentence)
            return
        self._files.append((one, path))
        self._offer([one])
        self._want_sets([*(other for other in self._wanted_sets() if other.name != one.name), one])

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take a file."""
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open the files that were dropped."""
        event.acceptProposedAction()
        for url in event.mimeData().urls():
            if url.isLocalFile():
                self.open_file(Path(url.toLocalFile()))

    # -- numbers ------------------------------------------------------------------------------------

    def _give_number(self, value: float, reason: str) -> None:
        row = self.row
        if row is None:
            return
        key = (row.set_name, row.limit.id)
        standing = self._now.numbers.get(key)
        if standing is not None and (value, reason.strip()) == (standing.value, standing.reason):
            self._wanted.pop(key, None)
            self._changed()
            return
        try:
            self._wanted[key] = editing(self.choice, *key, value, reason)
        except CaseError as refused:
            self.card.say(refused.sentence)
            return
        self._changed()

    def _take_back(self) -> None:
        row = self.row
        if row is None:
            return
        key = (row.set_name, row.limit.id)
        if key in self._now.numbers:
            self._wanted[key] = taking_back(*key)
        else:
            self._wanted.pop(key, None)
        self._changed()
        self.card.show_row(None)
        self._show_card()

    def _changed(self) -> None:
        self.edits = [self._wanted[key] for key in sorted(self._wanted)]  # the sets first: their key is empty
        self._show()
        if self.edits and not self.changes.looked_for:
            self._down.setSizes([380, 240])
        self.changes.look(self.edits)
        self._allow()

    # -- the end ------------------------------------------------------------------------------------

    def say(self, text: str) -> None:
        """A sentence over the table."""
        self.said.setText(text)
        self.said.setVisible(bool(text))

    def accept(self) -> None:
        """Hand the edits on; a unit's own file is kept for other cases as well."""
        if not self.keep.isEnabled():
            return
        told = []
        for one in self.choice.sets:
            path = next((path for other, path in self._files if other == one), None)
            if path is not None:
                try:
                    keep_copy(path, self._folder)
                except CaseError as refused:
                    told.append(refused.sentence)
        self.taken.emit(self.edits)
        super().accept()
        for sentence in told:
            self.refused.emit(sentence)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter presses the button it stands on and no other: in the line of a number it gives the number."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            focus = self.focusWidget()
            if isinstance(focus, QPushButton) and focus.isEnabled():
                focus.click()
            return
        super().keyPressEvent(event)

    def done(self, result: int) -> None:
        """Let go of the work."""
        self.changes.leave()
        super().done(result)


def _row(at: int, one: LimitRow) -> Row:
    limit = one.limit
    cells = (
        words.short_measure(limit.measure),
        words.when_words(limit),
        words.number_words(limit),
        words.state_words(one),
        f"{one.set_name}, version {one.version}",
        readable(limit.cited),
    )
    return Row(
        key=one.key,
        start=0.0,
        end=0.0,
        cells=(*cells[:-1], _short(cells[-1])),
        order=(at, cells[1], f"{limit.unit} {limit.value + 1e6:015.4f}", cells[3], cells[4], cells[5]),
        tip="\n".join((*cells[:-1], words.finds_words(one), words.source_words(one))),
        dim=bool(one.stands_back_for),
        item=one,
    )


LONGEST = 30  # letters of a source in the table; whole in the tip and beside it


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1].rstrip()}…"
