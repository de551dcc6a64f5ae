"""Clock bench: one source's clock against what is known, before and after, by evidence or by eye.

The trace is dragged onto the known one; a place that is held stays while the rest is dragged, which sets how fast
the clock runs. Nothing is written here: `taken` carries the ``clock`` payload, and the desk keeps it like any other
edit, to be undone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

from afterclamp.annotate.align import ClockEstimate
from afterclamp.annotate.align.estimate import Z95
from afterclamp.annotate.align.hand import carried
from afterclamp.io.case import Case, Channel, Source
from afterclamp.io.clock import ClockMap
from afterclamp.io.errors import CaseError
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDoubleSpinBox,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from ..clock_setting import USUAL_DOUBT_S, edit_of
from ..clock_traces import busiest, pair_of, points_of
from ..clock_words import clock_words, evidence_lines
from ..strips.theme import PAPER, Theme
from ..wording import length
from .clock_chart import GRAIN_S, EvidenceChart, OverlayChart, ResidualChart


class ClockBench(QDialog):
    """Look at one source's clock, drag it right, take it.

    Signals
    -------
    taken(payload)
        The ``clock`` payload that the person took.
    undo_asked()
        The last edit is to be taken back.
    look_asked(source)
        The evidence for a source's clock is to be looked for, or, while that goes on, no longer.
    """

    taken = Signal(dict)
    undo_asked = Signal()
    look_asked = Signal(str)

    def __init__(
        self,
        case: Case,
        estimates: Mapping[str, ClockEstimate] | None = None,
        *,
        write: Callable[[float], str] | None = None,
        theme: Theme = PAPER,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("Clock bench")
        self.resize(1100, 760)
        self._case = case
        self._estimates = dict(estimates or {})
        self._write = write or length
        self._tried: ClockMap | None = None
        self._held: list[float] = []
        self._by_evidence = False
        self._build(theme)
        self._keys()
        names = [source.name for source in case.sources if not source.is_reference]
        self.source.addItems(names)
        unset = [one.name for one in case.sources if one.clock.method == "unset" and one.name in names]
        if unset:
            self.source.setCurrentText(unset[0])
        self.source.currentTextChanged.connect(lambda _: self._start())
        self.own.currentIndexChanged.connect(lambda _: self._lay())
        self.other.currentIndexChanged.connect(lambda _: self._lay())
        self._start()

    # -- building -----------------------------------------------------------------------------------

    def _build(self, theme: Theme) -> None:
        self.source, self.own, self.other = QComboBox(), QComboBox(), QComboBox()
        for box, name in (
            (self.source, "Source"),
            (self.own, "Its trace"),
            (self.other, "Laid on"),
        ):
            box.setAccessibleName(name)
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        top = QHBoxLayout()
        for words, box in (("&Source", self.source), ("its &trace", self.own), ("laid &on", self.other)):
            label = QLabel(words)
            label.setBuddy(box)
            top.addWidget(label)
            top.addWidget(box)
        top.addStretch()
        self.overlay = OverlayChart(self._write, theme)
        self.overlay.dragged.connect(self.drag)
        self.evidence, self.residuals = EvidenceChart(theme), ResidualChart(self._write, theme)
        low = QSplitter(Qt.Orientation.Horizontal)
        low.addWidget(self.evidence)
        low.addWidget(self.residuals)
        charts = QSplitter(Qt.Orientation.Vertical)
        charts.addWidget(self.overlay)
        charts.addWidget(low)
        charts.setStretchFactor(0, 3)
        charts.setStretchFactor(1, 2)
        self.stands, self.words = QLabel(), QLabel()
        for label in (self.stands, self.words):
            label.setWordWrap(True)
            label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        how = QLabel(
            "Drag the trace with the left button, or move it with ← and → (0.01 s; with Shift 0.1 s, with Ctrl 1 s). "
            "The wheel or + and − zoom, the middle button or Page Up and Page Down move along. "
            "H holds the middle of the window: what is dragged then sets how fast the clock runs."
        )
        how.setWordWrap(True)
        how.setEnabled(False)
        self.doubt = QDoubleSpinBox()
        self.doubt.setRange(0.01, 600.0)
        self.doubt.setDecimals(2)
        self.doubt.setSuffix(" s")
        self.doubt.setValue(USUAL_DOUBT_S)
        self.doubt.setToolTip("Within how many seconds you would say that it is right, 95 times of 100")
        self.doubt.setAccessibleName("Doubt in seconds")
        self.doubt.valueChanged.connect(lambda _: self._tell())
        self.take = QPushButton("&Set clock")
        self.take.setToolTip("Keep this clock in the log; it can be undone")
        self.take.clicked.connect(self._take)
        self.hold = QPushButton("&Hold this place")
        self.hold.setCheckable(True)
        self.hold.setToolTip(
            "Keep the middle of the window where it is; dragging elsewhere then sets the drift (H)"
        )
        self.hold.toggled.connect(self._hold)
        self.search = QPushButton("&Look for it")
        self.search.setToolTip("Look for this source's clock in what it shares with the others")
        self.search.clicked.connect(lambda: self.look_asked.emit(self.source.currentText()))
        self.again = QPushButton("&As found")
        self.again.setToolTip("Back to the clock that the evidence gives")
        self.again.clicked.connect(self.as_found)
        self.back = QPushButton("As it &stands")
        self.back.setToolTip("Back to the clock in force")
        self.back.clicked.connect(self.as_it_stands)
        self.undo = QPushButton("&Undo")
        self.undo.setToolTip("Take back the last edit of the case")
        self.undo.clicked.connect(self.undo_asked)
        close = QPushButton("&Close")
        close.clicked.connect(self.close)
        row = QHBoxLayout()
        label = QLabel("&within ±")
        label.setBuddy(self.doubt)
        for widget in (
            self.search,
            self.again,
            self.back,
            self.hold,
            label,
            self.doubt,
            self.take,
            self.undo,
        ):
            row.addWidget(widget)
        row.addStretch()
        row.addWidget(close)
        for button in (self.take, self.hold, self.search, self.again, self.back, self.undo, close):
            button.setAutoDefault(False)
        layout = QVBoxLayout(self)
        layout.addLayout(top)
        layout.addWidget(self.stands)
        layout.addWidget(charts, 1)
        layout.addWidget(self.words)
        layout.addWidget(how)
        layout.addLayout(row)

    def _keys(self) -> None:
        # On the charts alone: the arrows belong to the boxes while these have the focus.
        charts = self.overlay
        charts.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        moves = {
            "Left": -GRAIN_S,
            "Right": GRAIN_S,
            "Shift+Left": -0.1,
            "Shift+Right": 0.1,
            "Ctrl+Left": -1.0,
        }
        for keys, by in (moves | {"Ctrl+Right": 1.0}).items():
            self._key(charts, keys, partial(self._nudge, by))
        for keys, factor in (("+", 0.5), ("=", 0.5), ("-", 2.0)):
            self._key(charts, keys, partial(self.overlay.zoom, factor))
        for keys, share in (("PgUp", -0.5), ("PgDown", 0.5)):
            self._key(charts, keys, partial(self.overlay.pan, share))
        self._key(charts, "H", self.hold.toggle)

    def _key(self, where: QWidget, keys: str, act: Callable[[], object]) -> None:
        shortcut = QShortcut(QKeySequence(keys), where)
        shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        shortcut.activated.connect(act)

    # -- what is compared ---------------------------------------------------------------------------

    @property
    def tried(self) -> ClockMap | None:
        """The clock that is being tried."""
        return self._tried

    def set_estimates(self, estimates: Mapping[str, ClockEstimate]) -> None:
        """Take what was found by evidence, and show it for the source on the bench."""
        self._estimates.update(estimates)
        self._start()

    def show_search(self, words: str, *, running: bool) -> None:
        """Say how far the search for evidence is, or how it ended."""
        self.search.setText("&Stop looking" if running else "&Look for it")
        self.words.setText(words)

    def refresh(self) -> None:
        """The case's log has changed: read the clocks again."""
        self._start()

    def _source(self) -> Source | None:
        name = self.source.currentText()
        return next((one for one in self._case.sources if one.name == name), None)

    @property
    def found(self) -> ClockEstimate | None:
        """What the evidence says of the source on the bench; None while it was not looked for."""
        return self._estimates.get(self.source.currentText())

    def _start(self) -> None:
        """Put another source, or the same one anew, on the bench."""
        source, found = self._source(), self.found
        for box in (self.own, self.other):
            box.blockSignals(True)
            box.clear()
        if source is not None:
            for channel in self._case.channels:
                box = self.own if channel.source == source.name else self.other
                if channel.count:
                    box.addItem(f"{channel.plain_name} ({channel.source})", channel.id)
            self._choose(found)
        for box in (self.own, self.other):
            box.blockSignals(False)
        if found is not None and found.told:
            self.as_found()
        else:
            self.as_it_stands()
        self._lay()
        self._show_where_much_happens()

    def _choose(self, found: ClockEstimate | None) -> None:
        """The two traces that tell most: what was compared, else the kinds that answer each other."""
        if found is not None and len(found.compared) >= 2:
            for box, name in zip((self.own, self.other), found.compared, strict=False):
                box.setCurrentIndex(max(box.findData(name), 0))
            return
        source = self._source()
        if source is None:
            return
        for box, channel in zip((self.own, self.other), pair_of(self._case, source), strict=True):
            if channel is not None:
                box.setCurrentIndex(max(box.findData(channel.id), 0))

    def _channel(self, box: QComboBox) -> Channel | None:
        return self._case.get(str(box.currentData())) if box.count() else None

    def _lines(self, tried: ClockMap | None) -> list[tuple[float, str, bool]]:
        """A text source's lines where they would stand; those that fit nothing are told apart."""
        source = self._source()
        if source is None or tried is None or self.own.count():
            return []
        left = {line.text for line in self.found.outliers} if self.found is not None else set()
        return [
            (float(tried.to_reference(source.clock.to_source(note.t))), note.text, note.text not in left)
            for note in self._case.notes
            if note.source == source.name
        ]

    def _lay(self) -> None:
        own, other = self._channel(self.own), self._channel(self.other)
        names = self.other.currentText() or "known", self.own.currentText() or "source"
        self.overlay.set_traces(other, own, names, self._case.grid)
        self._try(self._tried)

    def _show_where_much_happens(self) -> None:
        """Half an hour around the largest change: flat stretches fit everywhere."""
        window = busiest(self._case, self._channel(self.own), self._channel(self.other))
        self.overlay.show_window(window.start, window.end)

    # -- moving -------------------------------------------------------------------------------------

    @property
    def _middle(self) -> float:
        start, end = self.overlay.window
        return (start + end) / 2

    def as_found(self) -> None:
        """Try the clock that the evidence gives."""
        if self.found is not None and self.found.told:
            self._by_evidence = True
            self._release()
            self._try(self.found.clock)

    def as_it_stands(self) -> None:
        """Try the clock in force."""
        source = self._source()
        self._by_evidence = False
        self._release()
        self._try(source.clock if source is not None else None)

    def drag(self, from_s: float, by_s: float) -> None:
        """Move the trace by some seconds; around the place that is held, if one is."""
        if self._tried is None:
            return
        places = [(held, held) for held in self._held] + [(from_s, from_s + by_s)]
        try:
            moved = carried(self._tried, places, self.doubt.value())
        except CaseError as said:
            self.words.setText(said.sentence)
            return
        self._by_evidence = False
        self._try(moved)

    def _nudge(self, by_s: float) -> None:
        self.drag(self._middle, by_s)

    def _hold(self, on: bool) -> None:
        self._held = [self._middle] if on else []
        self.overlay.set_pins(self._held)

    def _release(self) -> None:
        self.hold.setChecked(False)

    def _try(self, clock: ClockMap | None) -> None:
        self._tried = clock
        own = self._channel(self.own)
        if clock is not None and own is not None:
            self.overlay.set_wanted(own.on_clock(clock))
        self.overlay.set_lines(self._lines(clock))
        self._tell()

    def _tell(self) -> None:
        """Write what is being tried, what the evidence says, and draw it."""
        source, found, tried = self._source(), self.found, self._tried
        self.evidence.set_curve(
            found.curve if found is not None else None, tried.offset_s if tried else math.nan
        )
        self.residuals.set_points(points_of(found) if found is not None else None)
        self.again.setEnabled(found is not None and found.told)
        ready = source is not None and tried is not None
        changed = ready and source is not None and tried is not None and tried != source.clock
        for widget in (self.take, self.doubt):
            widget.setEnabled(bool(changed))
        if source is None or tried is None:
            self.stands.setText("Only the reference source is in this case: there is no clock to set.")
            self.words.setText("")
            return
        half = Z95 * tried.pieces[0].sd_s if self._by_evidence else self.doubt.value()
        now = "not set" if source.clock.method == "unset" else clock_words(source.clock)
        self.stands.setText(
            f"<b>{source.name}</b> stands: {now}. &nbsp; Tried: {clock_words(tried)}"
            + (f", ± {half:.2g} s" if changed else "")
        )
        self.words.setText(
            " ".join(evidence_lines(found))
            if found is not None
            else "The clocks were not looked for yet. Drag the trace, or let them be worked out."
        )

    def _take(self) -> None:
        source, tried = self._source(), self._tried
        if source is None or tried is None:
            return
        if self._by_evidence and self.found is not None:
            self.taken.emit(self.found.to_payload())
        else:
            self.taken.emit(edit_of(source.name, tried, self.doubt.value()))
        self._start()
