"""One source's clock, set by hand: fields with what is wrong beside each, and where its stamps would come to stand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from afterclamp.annotate.align import ClockEstimate
from afterclamp.io.case import Case, Source
from afterclamp.io.clock import ClockMap
from afterclamp.io.errors import EditRefused
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from ..clock_setting import (
    USUAL_DOUBT_S,
    by_hand,
    compared,
    ends_of,
    every_run,
    step_places,
    step_sizes,
)
from ..clock_typing import length_text, read_length, read_number, stamp_text
from ..clock_words import evidence_lines
from ..wording import half_width
from .clock_face import number
from .clock_fields import (
    SIDES,
    Written,
    clear_line,
    heading_of,
    label_for,
    new_field,
    new_line,
    new_problem,
    new_sides,
    proposal_words,
    reader_of,
    signed_length,
)
from .typing_boxes import TypingBox

MOST_LINES = 12
"""More evidence than this is scrolled."""


class ClockForm(QFrame):
    """The fields for one source.

    Signals
    -------
    changed()
        Something else stands in the fields: ask `written`.
    proposal_taken(bool)
        The person takes what the evidence says, or no longer does.
    bench_wanted(source)
        The person wants to look at the traces.
    """

    changed = Signal()
    proposal_taken = Signal(bool)
    bench_wanted = Signal(str)

    def __init__(self, case: Case, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._case = case
        self._source: Source | None = None
        self._clock = ClockMap(0.0)
        self._found: ClockEstimate | None = None
        self._usual = Written()
        self._filling = False
        self.written = Written()
        self.steps: list[tuple[QComboBox, TypingBox]] = []
        self._build()

    # -- building -----------------------------------------------------------------------------------

    def _build(self) -> None:
        self.heading = QLabel("", self)
        self.heading.setProperty("heading", True)
        self.side = new_sides("Ahead or behind", self)
        self.offset = new_field("Offset, seconds or h:mm:ss", 110, "94.0 or 1:34 or 1:00:37", self)
        self.source_says = new_field("What this source says", 90, "hh:mm:ss", self)
        self.reference_says = new_field("What the reference says at that moment", 90, "hh:mm:ss", self)
        self.within = new_field("Doubt, plus or minus seconds", 60, "", self)
        self.drift = new_field("Drift in parts per million", 60, "", self)
        self.offset.setToolTip("How far it is off at the start of the case: seconds, m:ss or h:mm:ss")
        self.within.setToolTip("Within how many seconds you would say that it is right, 95 times of 100")
        self.drift.setToolTip(
            "Parts per million that it runs fast, less than nothing when slow: 60 is a quarter of a second an hour"
        )
        both = "Two readings of one moment, as on a photograph of both screens; they give the offset"
        self.source_says.setToolTip(both)
        self.reference_says.setToolTip(both)
        self.problems = {name: new_problem(self) for name in ("offset", "says", "within", "drift", "steps")}
        rows = QVBoxLayout()
        rows.setSpacing(4)
        rows.setContentsMargins(0, 0, 0, 0)
        problems = self.problems
        for line in (
            new_line(
                label_for("&This source is", self.side),
                self.side,
                "of the reference by",
                self.offset,
                problems["offset"],
            ),
            new_line(
                label_for("or compare: this source &says", self.source_says),
                self.source_says,
                "when the reference says",
                self.reference_says,
                problems["says"],
            ),
            new_line(label_for("&within ±", self.within), self.within, "s, 95 %", problems["within"]),
            new_line(label_for("runs &fast by", self.drift), self.drift, "ppm", problems["drift"]),
        ):
            rows.addLayout(line)
        self._step_rows = QVBoxLayout()
        rows.addLayout(self._step_rows)
        rows.addWidget(problems["steps"])
        self.preview = QLabel("", self)
        self.preview.setAccessibleName("Where its first and last stamp stand on the reference clock")
        self.preview.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.take = QCheckBox("", self)
        self.take.toggled.connect(self._taken)
        self.words = QLabel("", self)
        self.words.setWordWrap(True)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.words.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.words.setAccessibleName("What the proposal rests on")
        self.evidence = QScrollArea(self)
        self.evidence.setWidgetResizable(True)
        self.evidence.setFrameShape(QFrame.Shape.NoFrame)
        self.evidence.setWidget(self.words)
        self.bench = QPushButton("&Look at its traces…", self)
        self.bench.setToolTip("Lay this source's trace on a known one and drag it right")
        self.bench.setAutoDefault(False)
        self.bench.clicked.connect(self._to_bench)
        top = QHBoxLayout()
        top.addWidget(self.heading, 1)
        top.addWidget(self.bench)
        self.fields = QWidget(self)
        self.fields.setLayout(rows)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 0)
        layout.addLayout(top)
        layout.addWidget(self.fields)
        layout.addWidget(self.preview)
        layout.addWidget(self.take)
        layout.addWidget(self.evidence, 1)
        layout.addStretch()
        self.side.currentIndexChanged.connect(lambda _: self._typed(offset=True))
        self.offset.textEdited.connect(lambda _: self._typed(offset=True))
        for box in (self.source_says, self.reference_says, self.within, self.drift):
            box.textEdited.connect(lambda _: self._typed())

    def to_first_field(self) -> None:
        """Put the keyboard where one writes first."""
        self.offset.setFocus(Qt.FocusReason.OtherFocusReason)

    def _to_bench(self) -> None:
        if self._source is not None:
            self.bench_wanted.emit(self._source.name)

    # -- which source -------------------------------------------------------------------------------

    def show_source(
        self, source: Source, written: Written | None, found: ClockEstimate | None, *, taken: bool
    ) -> None:
        """Show a source with what was written for it, and what the evidence says of it."""
        self._filling = True
        self._source, self._found = source, found
        self._clock = every_run(self._case, source)
        first = self._clock.pieces[0]
        unset = source.clock.method == "unset"
        within = half_width(first.sd_s) if not unset and first.sd_s > 0 else USUAL_DOUBT_S
        sizes = step_sizes(self._clock)
        self._usual = Written(
            within=number(within, 1),
            drift=number(first.drift_ppm, 0 if abs(first.drift_ppm) >= 10 or not first.drift_ppm else 1),
            steps=tuple(signed_length(size) for size in sizes),
            side="behind" if first.offset_s < 0 else "ahead",
        )
        self._make_steps(source, len(sizes))
        self._show(written or self._usual)
        self.offset.setPlaceholderText("not set" if unset else f"now {length_text(abs(first.offset_s))}")
        for box, of_day in (
            (self.source_says, source.first_stamp is not None),
            (self.reference_says, self._case.start_clock is not None),
        ):
            box.setPlaceholderText("hh:mm:ss" if of_day else "min:s")
        self.heading.setText(heading_of(source))
        self.fields.setVisible(not source.is_reference)
        self.bench.setVisible(not source.is_reference)
        self.take.setVisible(found is not None and found.told)
        self.evidence.setVisible(found is not None)
        if found is not None:
            self.take.setText(f"Take &what the evidence says: {proposal_words(found)}")
            self.words.setText("\n".join(evidence_lines(found)))
            needed = self.words.heightForWidth(max(self.width(), 600)) + self.fontMetrics().height()
            self.evidence.setMinimumHeight(min(needed, MOST_LINES * self.fontMetrics().height()))
        self.take.setChecked(taken)
        self._filling = False
        self._read()

    def _make_steps(self, source: Source, count: int) -> None:
        while (item := self._step_rows.takeAt(0)) is not None:
            clear_line(item.layout())
        self.steps = []
        places = step_places(self._case, source, self._clock)
        for place in range(count):
            side = QComboBox(self.fields)
            side.addItems(["back", "on"])
            side.setAccessibleName(f"Step {place + 1}: set back or on")
            size = new_field(f"Size of step {place + 1} in seconds", 70, "0.0", self.fields)
            size.setToolTip("How far somebody set this clock during the case, seconds or m:ss")
            at = places[place]
            where = f"s, at {self._case.clock_text(at)} as it stands" if math.isfinite(at) else "s"
            line = new_line("then set", side, "by", size, where)
            self._step_rows.addLayout(line)
            side.currentIndexChanged.connect(lambda _: self._typed())
            size.textEdited.connect(lambda _: self._typed())
            self.steps.append((side, size))
        QWidget.setTabOrder(self.within, self.drift)
        for (_, before), (side, _size) in zip(self.steps, self.steps[1:], strict=False):
            QWidget.setTabOrder(before, side)

    def _show(self, written: Written) -> None:
        self.side.setCurrentIndex(SIDES.index(written.side))
        for box, text in (
            (self.offset, written.offset),
            (self.source_says, written.source_says),
            (self.reference_says, written.reference_says),
            (self.within, written.within),
            (self.drift, written.drift),
        ):
            box.setText(text)
        for (side, size), text in zip(self.steps, written.steps, strict=True):
            side.setCurrentIndex(0 if text.startswith("-") else 1)
            size.setText(text.lstrip("-"))

    # -- what is written ----------------------------------------------------------------------------

    def _typed(self, *, offset: bool = False) -> None:
        if self._filling:
            return
        self._filling = True
        if offset:
            # An offset that was typed goes before readings, which would contradict it unseen.
            self.source_says.clear()
            self.reference_says.clear()
        self.take.setChecked(False)
        self._filling = False
        self._read()
        self.changed.emit()

    def _read(self) -> None:
        """Read the fields, say what is wrong beside each, and show what they make of the clock."""
        source = self._source
        if source is None or source.is_reference:
            self.written = Written()
            self._preview(None)
            return
        steps = tuple(
            ("-" if side.currentIndex() == 0 and size.text().strip() else "") + size.text().strip()
            for side, size in self.steps
        )
        now = Written(
            side=SIDES[self.side.currentIndex()],
            offset=self.offset.text().strip(),
            source_says=self.source_says.text().strip(),
            reference_says=self.reference_says.text().strip(),
            within=self.within.text().strip(),
            drift=self.drift.text().strip(),
            steps=steps,
        )
        empty = replace(now, side=self._usual.side) == self._usual
        for label in self.problems.values():
            label.setText("")
        clock = None if empty else self._clock_of(source, now)
        self.written = replace(now, offset=self.offset.text().strip(), clock=clock, empty=empty)
        self._preview(clock)

    def _clock_of(self, source: Source, now: Written) -> ClockMap | None:
        within = self._value("within", read_number, now.within)
        drift = self._value("drift", read_number, now.drift)
        sizes = [self._value("steps", read_length, text) for text in now.steps]
        if within is not None and within <= 0:
            self.problems["within"].setText("A doubt above zero is needed.")
            within = None
        known = tuple(size for size in sizes if size is not None)
        steps = known if len(known) == len(sizes) else step_sizes(self._clock)
        # A drift that was rounded to be shown stays as it was.
        stays = drift is None or now.drift == self._usual.drift
        rate = self._clock.pieces[0].drift_ppm if stays else drift
        try:
            start = self._clock.pieces[0].offset_s
            trial = by_hand(self._clock, start, within or USUAL_DOUBT_S, drift_ppm=rate, steps=steps)
        except EditRefused as said:
            self._say("drift", said)
            return None
        offset = self._offset(source, now, trial)  # also where the rest is wrong: its own wrongs are told
        if offset is None or within is None or drift is None or len(known) < len(sizes):
            return None
        return by_hand(self._clock, offset, within, drift_ppm=rate, steps=steps)

    def _offset(self, source: Source, now: Written, trial: ClockMap) -> float | None:
        """The offset that was typed, or that two readings give, or that stands."""
        if now.source_says or now.reference_says:
            if not (now.source_says and now.reference_says):
                self.problems["says"].setText("Both readings are needed.")
                return None
            own = self._value("says", reader_of(source.first_stamp is not None), now.source_says)
            other = self._value("says", reader_of(self._case.start_clock is not None), now.reference_says)
            if own is None or other is None:
                return None
            offset = compared(self._case, source, trial, own, other)
            self._filling = True
            self.side.setCurrentIndex(0 if offset >= 0 else 1)
            self.offset.setText(length_text(abs(offset)))
            self._filling = False
            return offset
        if now.offset:
            length = self._value("offset", read_length, now.offset)
            return None if length is None else length * (1 if now.side == "ahead" else -1)
        if source.clock.method != "unset":
            return trial.offset_s
        self.problems["offset"].setText("Write how far it is ahead or behind, or compare two readings.")
        return None

    def _value(self, name: str, reader: Callable[[str], float], text: str) -> float | None:
        try:
            return reader(text)
        except EditRefused as said:
            self._say(name, said)
            return None

    def _say(self, name: str, said: EditRefused) -> None:
        self.problems[name].setText(f"{said.sentence[:1].upper()}{said.sentence[1:]}")

    def _preview(self, clock: ClockMap | None) -> None:
        source = self._source
        ends = ends_of(self._case, source) if source is not None else None
        if source is None or ends is None:
            self.preview.setText("" if source is None else "It holds nothing that has a time.")
            return
        if clock is None and self.take.isChecked() and self._found is not None:
            clock = self._found.clock
        # With the steps that every run has of itself, or the last stamp would jump by a step that is already there.
        now = ends.on(source.clock)
        after = ends.on(clock) if clock is not None else None
        lines = []
        for which, (source_s, _), before, then in zip(
            ("first", "last"), (ends.first, ends.last), now, after or now, strict=True
        ):
            moved = f", would stand at <b>{self._case.clock_text(then)}</b>" if after is not None else ""
            lines.append(
                f"Its {which} stamp, {stamp_text(source, source_s)}, stands at "
                f"{self._case.clock_text(before)} of the reference{moved}."
            )
        self.preview.setText("<br>".join(lines))

    def _taken(self, taken: bool) -> None:
        if self._filling:
            return
        if taken:
            self._filling = True
            self._show(self._usual)
            self._filling = False
        self._read()
        self.proposal_taken.emit(taken)
