"""Set clocks: what each source's clock says, and a better one, by hand or as the evidence proposes.

Nothing is written here: `taken` carries the ``clock`` payloads, and the desk keeps them like any other edit.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from afterclamp.annotate.align import ClockEstimate
from afterclamp.io.case import Case, Source
from PySide6.QtCore import QModelIndex, Qt, Signal
from PySide6.QtGui import QCloseEvent, QKeyEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QDialog,
    QDialogButtonBox,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QProgressBar,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from ..clock_setting import edit_of
from ..clock_words import METHODS, clock_words
from ..longwork import LongWork, unpack
from ..wording import half_width
from .clock_face import plus_minus
from .clock_fields import Written
from .clock_form import ClockForm

_HEADINGS = ("Source", "Its clock now", "±", "How it was set", "Is to become")
_TIPS = (
    "Which device, file or person",
    "How far it is ahead of the reference at the start of the case, how fast it runs (parts per million), its steps",
    "Half-width of a 95 % interval, seconds",
    "Reference, not set, set by hand, or by evidence",
    "What will be kept; nothing where it stays as it is",
)
_BECOMES = 4
_MOST_ROWS = 8  # more sources than this are scrolled
BY_HAND, PROPOSED = "by hand", "as proposed"


class ClockBox(QDialog):
    """Every source's clock on a row, those that nobody set first; below, the chosen one to be set.

    Parameters
    ----------
    case : Case
        Read only.

    Attributes
    ----------
    edits : list of dict
        Payloads of ``clock`` edits, once it was accepted.

    Signals
    -------
    taken(list)
        The same payloads, when it is accepted.
    bench_wanted(source)
        The person wants to look at this source's traces.
    """

    taken = Signal(list)
    bench_wanted = Signal(str)

    def __init__(self, case: Case, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Set clocks")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(920, 480)  # and as much higher as the evidence needs
        self.edits: list[dict[str, Any]] = []
        self._case = case
        self._sources = sorted(case.sources, key=_unset_first)
        self._found: dict[str, ClockEstimate] = {}
        self._as_proposed: set[str] = set()
        self._written: dict[str, Written] = {}
        self._work: LongWork | None = None
        self._build()
        self._fill()
        self.table.setCurrentCell(0, 0)

    # -- building -----------------------------------------------------------------------------------

    def _build(self) -> None:
        intro = QLabel(
            "Times of different sources can be compared once each clock is set against the reference clock. A clock"
            " that is not set is taken as its stamps say, and nobody knows by how much it is off. What is set here"
            " can be undone.",
            self,
        )
        intro.setWordWrap(True)
        self.table = QTableWidget(len(self._sources), len(_HEADINGS), self)
        self.table.setAccessibleName("Sources and their clocks")
        for column, (heading, tip) in enumerate(zip(_HEADINGS, _TIPS, strict=True)):
            item = QTableWidgetItem(heading)
            item.setToolTip(tip)
            self.table.setHorizontalHeaderItem(column, item)
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + 8)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setTabKeyNavigation(False)
        self.table.setShowGrid(False)
        self.table.setWordWrap(False)
        shown = min(max(len(self._sources), 3), _MOST_ROWS)
        self.table.setFixedHeight((shown + 1) * (self.fontMetrics().height() + 8) + 8)
        header = self.table.horizontalHeader()
        header.setHighlightSections(False)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(_BECOMES, QHeaderView.ResizeMode.Stretch)
        self.table.currentCellChanged.connect(lambda row, _c, before, _b: self._chosen(row, before))
        self.table.doubleClicked.connect(self._to_form)

        self.propose = QPushButton("&Propose from what the sources share", self)
        self.propose.setToolTip(
            "Look for clocks in what two sources recorded of the same thing, and in lines that note a known moment;"
            " nothing is set by it"
        )
        self.propose.setAutoDefault(False)
        self.propose.clicked.connect(self.look)
        self.all = QCheckBox("also for clocks that are set", self)
        self.all.setToolTip("Otherwise clocks that are set are relied on, and only the others are looked for")
        self.bar = QProgressBar(self)
        self.bar.setRange(0, 100)
        self.bar.setAccessibleName("How far the look for clocks is")
        self.stop = QPushButton("S&top", self)
        self.stop.setToolTip("Stop looking; nothing is kept of it")
        self.stop.setAutoDefault(False)
        self.stop.clicked.connect(self._stop)
        self.doing = QLabel("", self)
        row = QHBoxLayout()
        for widget in (self.propose, self.all, self.bar, self.stop):
            row.addWidget(widget)
        row.addWidget(self.doing, 1)

        self.form = ClockForm(self._case, self)
        self.form.changed.connect(self._form_changed)
        self.form.proposal_taken.connect(self._proposal)
        self.form.bench_wanted.connect(self.bench_wanted)

        self.buttons = QDialogButtonBox(self)
        self.set = self.buttons.addButton("&Set clocks", QDialogButtonBox.ButtonRole.AcceptRole)
        self.set.setToolTip("Keep what stands in the last column; each clock can be undone")
        cancel = self.buttons.addButton(QDialogButtonBox.StandardButton.Cancel)
        cancel.setAutoDefault(False)
        self.buttons.accepted.connect(self.accept)
        self.buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(intro)
        layout.addWidget(self.table)
        layout.addLayout(row)
        layout.addWidget(self.form, 1)
        layout.addWidget(self.buttons)
        self._show_work("", running=False)

    def _fill(self) -> None:
        for row, source in enumerate(self._sources):
            clock = source.clock
            unset = clock.method == "unset"
            cells = (
                source.name,
                "–" if source.is_reference else "taken as its stamps say" if unset else clock_words(clock),
                "" if source.is_reference else plus_minus(half_width(clock.pieces[0].sd_s)),
                METHODS.get(clock.method, clock.method),
                "",
            )
            for column, text in enumerate(cells):
                item = QTableWidgetItem(text)
                item.setToolTip(text or _TIPS[column])
                self.table.setItem(row, column, item)
        self._tell()

    # -- what is chosen -----------------------------------------------------------------------------

    @property
    def current(self) -> Source | None:
        """The source whose row is chosen."""
        row = self.table.currentRow()
        return self._sources[row] if 0 <= row < len(self._sources) else None

    def choose(self, name: str) -> None:
        """Choose the row of a source."""
        for row, source in enumerate(self._sources):
            if source.name == name:
                self.table.setCurrentCell(row, 0)

    def _chosen(self, row: int, before: int) -> None:
        if row == before or not 0 <= row < len(self._sources):
            return
        source = self._sources[row]
        self.form.show_source(
            source,
            self._written.get(source.name),
            self._found.get(source.name),
            taken=source.name in self._as_proposed,
        )

    def _to_form(self, _: QModelIndex) -> None:
        self.form.to_first_field()

    def _form_changed(self) -> None:
        source, written = self.current, self.form.written
        if source is None:
            return
        if written.empty:
            self._written.pop(source.name, None)
        else:
            self._written[source.name] = written
            self._as_proposed.discard(source.name)
        self._tell()

    def _proposal(self, taken: bool) -> None:
        source = self.current
        if source is None:
            return
        if taken:
            self._as_proposed.add(source.name)
            self._written.pop(source.name, None)
        else:
            self._as_proposed.discard(source.name)
        self._tell()

    def _tell(self) -> None:
        """What each clock is to become, and whether that can be kept."""
        pending, wrong = 0, 0
        for row, source in enumerate(self._sources):
            text = ""
            if source.name in self._as_proposed:
                found = self._found[source.name]
                text = f"{PROPOSED}: {clock_words(found.clock, plus_minus(half_width(found.offset_sd_s)))}"
                pending += 1
            elif source.name in self._written:
                written = self._written[source.name]
                if written.clock is None:
                    text, wrong = "not yet: see below what is missing", wrong + 1
                else:
                    within = plus_minus(half_width(written.clock.pieces[0].sd_s))
                    text, pending = f"{BY_HAND}: {clock_words(written.clock, within)}", pending + 1
            elif source.name in self._found:
                text = "proposal below" if self._found[source.name].told else "no proposal: see below why"
            item = self.table.item(row, _BECOMES)
            if item is not None:
                item.setText(text)
                item.setToolTip(text)
        self.set.setEnabled(bool(pending) and not wrong)
        self.set.setText("&Set clocks" if pending != 1 else "&Set one clock")

    # -- by evidence --------------------------------------------------------------------------------

    def look(self) -> None:
        """Look for clocks by evidence, in a process of its own."""
        if self._work is not None:
            return
        wanted = [one.name for one in self._sources if not one.is_reference]
        if not self.all.isChecked():
            wanted = [one.name for one in self._sources if one.clock.method == "unset"]
        if not wanted:
            self.doing.setText("Every clock is set. Tick the box to have them looked for all the same.")
            return
        request = {"task": "clocks", "case": str(Path(self._case.folder)), "sources": wanted}
        self._work = work = LongWork(request, self)
        work.progressed.connect(self._progressed)
        work.done.connect(self._looked)
        work.sentence.connect(self._ended)
        work.cancelled.connect(lambda: self._ended("Stopped; nothing of it was kept."))
        self._show_work("starting", running=True)
        work.start()

    @property
    def found(self) -> dict[str, ClockEstimate]:
        """What the evidence says, by source, as far as it was looked for."""
        return dict(self._found)

    def show_found(self, found: Iterable[ClockEstimate]) -> None:
        """Take what the evidence says of some sources."""
        self._found |= {one.source: one for one in found}
        self._as_proposed &= {name for name, one in self._found.items() if one.told}
        self._tell()
        row = self.table.currentRow()
        self._chosen(row, -1)

    def _looked(self, packed: str) -> None:
        self.show_found(unpack(packed))
        told = sum(1 for one in self._found.values() if one.told)
        self._ended(f"{told} of {len(self._found)} could be told; choose a row and tick what you take.")

    def _progressed(self, what: str, share: float) -> None:
        self.doing.setText(what)
        self.bar.setValue(round(100 * share))

    def _stop(self) -> None:
        if self._work is not None:
            self._work.drop()  # it only reads
            self._ended("Stopped; nothing of it was kept.")

    def _ended(self, words: str) -> None:
        if self._work is not None:
            self._work.deleteLater()
            self._work = None
        self._show_work(words, running=False)

    def _show_work(self, words: str, *, running: bool) -> None:
        self.doing.setText(words)
        for widget in (self.bar, self.stop):
            widget.setVisible(running)
        had = self.stop.hasFocus()
        self.propose.setEnabled(not running)
        if had and not running:
            self.propose.setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter on a row goes to its fields and must not keep everything at once."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.table.hasFocus():
            event.accept()
            self.form.to_first_field()
            return
        super().keyPressEvent(event)

    # -- how it ends --------------------------------------------------------------------------------

    def accept(self) -> None:
        """Hand over what is to be kept, if all of it can be."""
        if not self.set.isEnabled():
            return
        self.edits = [
            self._found[source.name].to_payload()
            if source.name in self._as_proposed
            else edit_of(source.name, self._written[source.name].the_clock)
            for source in self._sources
            if source.name in self._as_proposed or source.name in self._written
        ]
        self._leave()
        self.taken.emit(self.edits)
        super().accept()

    def reject(self) -> None:
        """Close and change nothing."""
        self._leave()
        super().reject()

    def closeEvent(self, event: QCloseEvent) -> None:
        """Let go of work that is under way."""
        self._leave()
        super().closeEvent(event)

    def _leave(self) -> None:
        if self._work is not None:
            self._work.drop()
            self._work = None


def _unset_first(source: Source) -> tuple[int, str]:
    """Those that nobody set, those that are set, the reference."""
    return (2 if source.is_reference else 0 if source.clock.method == "unset" else 1, source.name)
