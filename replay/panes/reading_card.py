"""Reading card: what each channel says at the playhead, in its unit, and how old that is."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from afterclamp.annotate.masking import MaskedSpan
from afterclamp.io.case import Case
from afterclamp.io.seconds import HOLD_INTERVALS
from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt, QTimer
from PySide6.QtGui import QColor, QFont, QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView, QVBoxLayout, QWidget

from ..strips.theme import PAPER, plain_unit
from .clock_face import length, number

STALE_INTERVALS = HOLD_INTERVALS
"""A value older than this many of its channel's intervals is none any more: the measures hold it no longer."""

NOT_RECORDED = "not recorded"

WAVE_WINDOW_S = 2.0
"""A wave is read as the mean of the last seconds with its lowest and highest value, since one sample of a
pulse says little (this project's choice)."""

EVERY_MS = 100  # while the playhead runs; faster than anyone reads, slow enough to cost nothing

_WIDEST_VALUE = "118  (157–161)"  # mmHg; a shorter one only leaves room
_BESIDE = 18  # pixels beside the words of a cell: 4 of the style sheet and 3 of the style on each side, and a little
_HEADINGS = ("Channel", "Value", "Unit", "Age", "Source")
_KIND_ORDER = (
    "arterial_pressure", "central_venous_pressure", "pulmonary_artery_pressure", "line_pressure", "pump_flow",
    "cardioplegia_flow", "reservoir_volume", "temperature", "cerebral_saturation", "venous_saturation",
    "arterial_saturation", "haemoglobin", "heart_rate", "cuff_pressure",
)  # fmt: skip
_DECIMALS = {
    "mm[Hg]": 0, "L/min": 2, "mL/min": 0, "Cel": 1, "%": 0, "g/dL": 1, "mL": 0, "/min": 0, "kPa": 1, "mV": 2,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reading:
    """One channel at one time.

    Attributes
    ----------
    value : float
        The last one; NaN where nothing was recorded before this time within reach.
    low, high : float
        Of the wave's last seconds; NaN for a row of values.
    age_s : float
        Since the sample the value comes from; NaN without one.
    stale : bool
        Older than `STALE_INTERVALS` intervals.
    artefact : str
        Class of the artefact that a rule sees there, or ``"hidden"``; empty where neither is.
    reason : str
        That in words, with what becomes of it.
    masked : bool
        Whether it is left out of the figures: not while they are raw.
    absent : str
        What is written instead of a value that is none at this time: ``"not recorded"``, ``"frozen"``,
        ``"off scale"``; empty where the value stands.
    """

    value: float
    low: float = math.nan
    high: float = math.nan
    age_s: float = math.nan
    stale: bool = True
    artefact: str = ""
    absent: str = ""
    reason: str = ""
    masked: bool = True

    @property
    def grey(self) -> bool:
        """Whether it is written in grey: too old, not believed, or not there."""
        return self.stale or bool(self.artefact and self.masked) or bool(self.absent)


def read_at(channel: Any, t: float) -> Reading:
    """What a channel said last at or before `t`; never looks past `t`."""
    interval = channel.interval_s if math.isfinite(channel.interval_s) else 1.0
    reach = WAVE_WINDOW_S if channel.is_wave else max(STALE_INTERVALS * 4 * interval, 60.0)
    samples = channel.read(t - reach, math.nextafter(t, math.inf))
    there = np.flatnonzero(np.isfinite(samples.values))
    if not len(there):
        return Reading(math.nan, absent=NOT_RECORDED)
    age = max(0.0, t - float(samples.t[there[-1]]))
    stale = age > STALE_INTERVALS * interval
    if channel.is_wave:
        seen = samples.values[there]
        return Reading(float(seen.mean()), float(seen.min()), float(seen.max()), age, stale)
    absent = NOT_RECORDED if stale else ""
    return Reading(float(samples.values[there[-1]]), age_s=age, stale=stale, absent=absent)


def covered(reading: Reading, spans: Sequence[MaskedSpan], t: float, *, raw: bool = False) -> Reading:
    """A reading under what is masked on its channel: its class, and no value where none was recorded."""
    own = [one for one in spans if one.seconds[0] <= t < one.seconds[1]]
    if not own:
        return reading
    gap = next((one for one in own if one.code == "A9"), None)
    one = gap or min(own, key=lambda one: one.light)  # what takes more away is told
    reason = f"{one.state(raw)}{one.reason}"
    if gap is None:
        return replace(reading, artefact=one.code, reason=reason, masked=not raw)
    words = {"nothing": NOT_RECORDED, "off scale": "off scale"}.get(one.there, "frozen")
    return replace(reading, artefact=one.code, absent=words, reason=reason)


def in_order(channels: Any) -> list[Any]:
    """Channels as the card lists them: pressures, flow, temperatures, saturations, the rest."""
    rank = {kind: number for number, kind in enumerate(_KIND_ORDER)}
    return sorted(channels, key=lambda channel: rank.get(channel.kind, len(rank)))


class _ReadingModel(QAbstractTableModel):
    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.channels: list[Any] = []
        self.readings: list[Reading] = []
        self._grey = QColor("#73736E")
        self._digits = QFont(parent.font())
        self._digits.setFeature(QFont.Tag("tnum"), 1)
        self._digits.setBold(True)

    @property
    def digits(self) -> QFont:
        """What values are written in."""
        return self._digits

    def set_channels(self, channels: list[Any]) -> None:
        self.beginResetModel()
        self.channels = channels
        self.readings = [Reading(math.nan)] * len(channels)
        self.endResetModel()

    def set_readings(self, readings: list[Reading]) -> None:
        self.readings = readings
        if readings:
            self.dataChanged.emit(self.index(0, 1), self.index(len(readings) - 1, 3))

    def rowCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(self.channels)

    def columnCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(_HEADINGS)

    def cell(self, row: int, column: int) -> str:
        channel, reading = self.channels[row], self.readings[row]
        if column == 0:
            masked = reading.artefact and not reading.absent
            return f"{channel.plain_name}, {reading.artefact}" if masked else str(channel.plain_name)
        if column == 1:
            if reading.absent:
                return reading.absent
            decimals = _DECIMALS.get(channel.unit, 2)
            text = number(reading.value, decimals)
            if channel.kind.endswith("_pressure") and math.isfinite(reading.low):
                text += f"  ({number(reading.low, decimals)}–{number(reading.high, decimals)})"
            return text
        if column == 2:
            return plain_unit(channel.unit, channel.unit_as_written) or "unit?"
        if column == 3:
            if not math.isfinite(reading.age_s):
                return "none"
            whole = math.floor(reading.age_s)  # a whole second more is not told before it has passed
            return "now" if whole < 1 else f"{whole} s" if whole < 60 else length(whole)
        return str(channel.source)

    def data(
        self, index: QModelIndex | QPersistentModelIndex, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        row, column = index.row(), index.column()
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return self.cell(row, column)
        if role == Qt.ItemDataRole.TextAlignmentRole and column in (1, 3):
            return Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        if role == Qt.ItemDataRole.FontRole and column == 1 and not self.readings[row].grey:
            return self._digits
        if role == Qt.ItemDataRole.ForegroundRole and (self.readings[row].grey or column >= 2):
            return self._grey
        if role == Qt.ItemDataRole.ToolTipRole:
            channel, reading = self.channels[row], self.readings[row]
            what = (
                f"mean of the last {number(WAVE_WINDOW_S, 0)} s, lowest to highest"
                if channel.is_wave
                else f"last value, one every {length(channel.interval_s)}"
            )
            old = f"; {reading.reason}" if reading.reason else ""
            if reading.absent:
                old += f"; {reading.absent} at this time"
                if math.isfinite(reading.value):
                    last = number(reading.value, _DECIMALS.get(channel.unit, 2))
                    old += f", the last value, {length(reading.age_s)} before, was {last}"
            unit = plain_unit(channel.unit, channel.unit_as_written) or "unit not known"
            return f"{channel.plain_name}, {unit}, from {channel.source} ({channel.label}): {what}{old}"
        return None

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        if orientation == Qt.Orientation.Horizontal and role == Qt.ItemDataRole.DisplayRole:
            return _HEADINGS[section]
        if orientation == Qt.Orientation.Horizontal and role == Qt.ItemDataRole.TextAlignmentRole:
            side = Qt.AlignmentFlag.AlignRight if section in (1, 3) else Qt.AlignmentFlag.AlignLeft
            return side | Qt.AlignmentFlag.AlignVCenter
        return None


class ReadingCard(QWidget):
    """The table of readings; follows the playhead at a pace for eyes."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Reading card")
        self._t = 0.0
        self._spans: Mapping[str, Sequence[MaskedSpan]] = {}
        self._raw = False
        self._model = _ReadingModel(self)
        self.table = QTableView(self)
        self.table.setAccessibleName("Values at the playhead")
        self.table.setModel(self._model)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setTabKeyNavigation(False)
        self.table.setShowGrid(False)
        self.table.setWordWrap(False)
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + 4)
        self.table.setStyleSheet(f"QTableView {{ background: {PAPER.ground}; }}")
        header = self.table.horizontalHeader()
        header.setHighlightSections(False)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        for section, sample in enumerate((_WIDEST_VALUE, "mL/min", "1:00 min", "oximeter 0"), start=1):
            header.setSectionResizeMode(section, QHeaderView.ResizeMode.Interactive)
            header.resizeSection(section, self._width_of(sample, bold=section == 1))
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.table)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(EVERY_MS)
        self._timer.timeout.connect(self._paced)
        self._waiting = False

    def set_case(self, case: Case | None) -> None:
        """Show the channels of a case; None empties the card."""
        self._model.set_channels([] if case is None else in_order(case.channels))
        self.table.horizontalHeader().resizeSection(1, self._width_of(_WIDEST_VALUE, bold=True))
        self._make_room()
        self.show_at(self._t)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Names before the column of sources: a source stands in the tip of its row too."""
        super().resizeEvent(event)
        self._make_room()

    def _width_of(self, words: str, *, bold: bool = False) -> int:
        """Pixels of a cell that these words fit into."""
        metrics = QFontMetrics(self._model.digits) if bold else self.fontMetrics()
        return metrics.horizontalAdvance(words) + _BESIDE

    def _never_cut(self) -> None:
        """A number that is cut looks like another one: its column grows, and names are cut instead."""
        header = self.table.horizontalHeader()
        for section in (1, 2, 3):
            cells = {self._model.cell(row, section) for row in range(self._model.rowCount())}
            wide = max((self._width_of(words, bold=section == 1) for words in cells), default=0)
            if wide > header.sectionSize(section):
                header.resizeSection(section, wide)
                self._make_room()

    def _make_room(self) -> None:
        metrics = self.fontMetrics()
        names = [metrics.horizontalAdvance(str(one.plain_name)) for one in self._model.channels]
        header = self.table.horizontalHeader()
        wanted = max(names, default=0) + 16 + sum(header.sectionSize(section) for section in (1, 2, 3))
        source = self._width_of("oximeter 0")
        bar = self.table.verticalScrollBar().sizeHint().width() + 4
        self.table.setColumnHidden(4, wanted + source + bar > self.table.width())

    def set_masked(self, spans: Mapping[str, Sequence[MaskedSpan]], *, raw: bool = False) -> None:
        """What is masked, by channel id: written in grey with its class; `raw` with its class alone."""
        self._spans, self._raw = spans, raw
        self.show_at(self._t)

    def show_at(self, t: float) -> None:
        """Read at `t`: at once when nothing was read lately, else at the end of the pace."""
        self._t = t
        if self._timer.isActive():
            self._waiting = True
        else:
            self._read()

    def text(self, name: str) -> str:
        """The row of the channel of this plain name, for copying and for tests."""
        for row, channel in enumerate(self._model.channels):
            if channel.plain_name == name:
                return "  ".join(self._model.cell(row, column) for column in range(len(_HEADINGS)))
        return ""

    def _paced(self) -> None:
        if self._waiting:
            self._read()

    def _read(self) -> None:
        self._waiting = False
        t = self._t
        readings = [
            covered(read_at(channel, t), self._spans.get(channel.id, ()), t, raw=self._raw)
            for channel in self._model.channels
        ]
        self._model.set_readings(readings)
        self._never_cut()
        self._timer.start()
