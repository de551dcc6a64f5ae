"""Name the lines: what each channel is and in which unit, proposed from its label, settled by a person in one table.

What the source wrote stays as it is; what is settled here goes into the log and can be undone like any other edit.
A pressure without a site takes part in no rule but those for artefacts, and says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from afterclamp.io.case import Case, Channel
from afterclamp.io.terms import KINDS, STATISTICS, Identity, mdc_term, units_of, usable
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from ..strips.theme import plain_unit

_HEADINGS = (
    "Source",
    "As written",
    "Half its values lie in",
    "Kind",
    "Site",
    "Side",
    "Carries",
    "Unit",
    "So it is",
)
_SOURCE, _WRITTEN, _VALUES, _KIND, _SITE, _SIDE, _STATISTIC, _UNIT, _NAME = range(9)
_Adjust = QComboBox.SizeAdjustPolicy
_NOT_KNOWN = "not known"
_NAME_W = 190  # pixels of the last column at least: its words are wrapped
BESIDE = 14  # pixels of a cell that the desk's style keeps free around a box


@dataclass(frozen=True, slots=True)
class Naming:
    """What a person settled for one channel.

    Attributes
    ----------
    channel : str
        Its id.
    kind, site, side, statistic : str
        As in `afterclamp.io.terms.Identity`.
    unit : str
        UCUM; "" for not known.
    """

    channel: str
    kind: str
    site: str
    side: str
    statistic: str
    unit: str


class NameLinesBox(QDialog):
    """One row a channel; the choices that its kind allows, and what follows from them.

    Signals
    -------
    settled(namings)
        A list of `Naming`, one for each channel that was changed.
    """

    settled = Signal(list)

    def __init__(self, case: Case, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Name the lines")
        self.resize(1120, 620)
        self._channels: Sequence[Channel] = case.channels
        self.table = QTableWidget(len(self._channels), len(_HEADINGS))
        self.table.setAccessibleName("What each channel is")
        self.table.setHorizontalHeaderLabels(_HEADINGS)
        self.table.verticalHeader().hide()
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setStretchLastSection(True)
        for row, channel in enumerate(self._channels):
            self._fill(row, channel)
        self.said = QLabel()
        self.said.setWordWrap(True)
        buttons = QDialogButtonBox()
        self.keep = buttons.addButton("Keep", QDialogButtonBox.ButtonRole.AcceptRole)
        self.keep.setToolTip("Write what was changed to the log; it can be undone")
        buttons.addButton(QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(self.table, 1)
        layout.addWidget(self.said)
        layout.addWidget(buttons)
        self._tell()

    def _fill(self, row: int, channel: Channel) -> None:
        unit = f" [{channel.unit_as_written}]" if channel.unit_as_written else " [no unit]"
        for column, text in (
            (_SOURCE, channel.source),
            (_WRITTEN, channel.label + unit),
            (_VALUES, _usual(channel)),
            (_NAME, ""),
        ):
            item = QTableWidgetItem(text)
            item.setFlags(Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable)
            self.table.setItem(row, column, item)
        self._box(row, _KIND, [(one.plain_name, one.name) for one in KINDS.values()], channel.kind)
        self._allow(row, channel.site, channel.side, channel.identity.statistic, channel.unit)
        self._name(row)

    def _fit(self) -> None:
        """Columns as wide as the boxes in them, which Qt does not measure again when their choices change."""
        header = self.table.horizontalHeader()
        for column in range(len(_HEADINGS)):
            boxes = (self.table.cellWidget(row, column) for row in range(self.table.rowCount()))
            widths = [box.sizeHint().width() + BESIDE for box in boxes if box is not None]
            widths += [self.table.sizeHintForColumn(column), header.sectionSizeHint(column)]
            header.resizeSection(column, max(widths) if column != _NAME else _NAME_W)

    def showEvent(self, event: QShowEvent) -> None:
        """Boxes know their width once they are shown in the desk's style."""
        super().showEvent(event)
        self._fit()
        header = self.table.horizontalHeader()
        wide = sum(header.sectionSize(column) for column in range(_NAME)) + _NAME_W
        wide += self.width() - self.table.viewport().width()
        self.resize(max(self.width(), min(wide, self.screen().availableGeometry().width())), self.height())

    def _box(self, row: int, column: int, choices: Sequence[tuple[str, str]], now: str) -> QComboBox:
        """The box of a cell, made or filled anew."""
        box = self.table.cellWidget(row, column)
        if not isinstance(box, QComboBox):
            box = QComboBox()
            box.setAccessibleName(f"{_HEADINGS[column]} of {self._channels[row].label}")
            self.table.setCellWidget(row, column, box)
            settle = self._kind_changed if column == _KIND else self._name
            box.currentIndexChanged.connect(lambda _, row=row: settle(row))
        box.blockSignals(True)
        box.clear()
        for words, value in choices:
            box.addItem(words, value)
        box.setCurrentIndex(max(box.findData(now), 0))
        box.blockSignals(False)
        # Measured anew at each change of policy. Left at AdjustToContents it would leave its cell a moment later.
        for policy in (_Adjust.AdjustToContents, _Adjust.AdjustToContentsOnFirstShow):
            box.setSizeAdjustPolicy(policy)
        return box

    def _allow(self, row: int, site: str, side: str, statistic: str, unit: str) -> None:
        """The choices that the row's kind allows, those in force chosen where they are among them."""
        kind = KINDS[self._chosen(row, _KIND)]
        sites = [(_NOT_KNOWN, ""), *((one.replace("_", " "), one) for one in kind.sites)]
        sides = [(_NOT_KNOWN, ""), ("left", "left"), ("right", "right")] if kind.sided else [("–", "")]
        accepted = units_of(kind.name) or ((unit,) if unit else ())
        units = [(_NOT_KNOWN, ""), *((plain_unit(one), one) for one in accepted)]
        if unit and unit not in accepted:
            units.append((plain_unit(unit), unit))
        for column, choices, now in (
            (_SITE, sites if kind.sites else [("–", "")], site),
            (_SIDE, sides, side),
            (_STATISTIC, [(one, one) for one in STATISTICS], statistic),
            (_UNIT, units, unit),
        ):
            box = self._box(row, column, choices, now)
            box.setEnabled(box.count() > 1)

    def _kind_changed(self, row: int) -> None:
        self._allow(row, *(self._chosen(row, column) for column in (_SITE, _SIDE, _STATISTIC, _UNIT)))
        self._name(row)
        self._fit()

    def _chosen(self, row: int, column: int) -> str:
        box = self.table.cellWidget(row, column)
        return str(box.currentData()) if isinstance(box, QComboBox) else ""

    def naming(self, row: int) -> Naming:
        """What is chosen in a row."""
        parts = (self._chosen(row, column) for column in (_KIND, _SITE, _SIDE, _STATISTIC, _UNIT))
        return Naming(self._channels[row].id, *parts)

    def changes(self) -> list[Naming]:
        """The rows whose choice is another one than what is in force."""
        return [
            chosen
            for row, channel in enumerate(self._channels)
            if (chosen := self.naming(row))
            != Naming(
                channel.id, channel.kind, channel.site, channel.side, channel.identity.statistic, channel.unit
            )
        ]

    def _name(self, row: int) -> None:
        chosen = self.naming(row)
        identity = Identity(chosen.kind, chosen.site, chosen.side, chosen.statistic)
        words = identity.plain_name
        if not usable(identity, chosen.unit):
            words += "; its unit is not known: drawn only"
        elif chosen.kind == "arterial_pressure" and not chosen.site:
            words += "; without a site: artefacts only"
        term = mdc_term(identity)
        item = self.table.item(row, _NAME)
        if item is not None:
            item.setText(words)
            item.setToolTip(
                f"ISO/IEEE 11073-10101: {term[1]} ({term[0]})" if term else "No term of ISO/IEEE 11073-10101"
            )
        if hasattr(self, "said"):
            self._tell()

    def _tell(self) -> None:
        many = len(self.changes())
        self.said.setText(
            "Proposed from the labels; look at each, then keep."
            if not many
            else f"{many} of {len(self._channels)} changed; nothing that a source wrote is altered."
        )
        self.keep.setEnabled(bool(many))

    def _take(self) -> None:
        self.settled.emit(self.changes())
        self.accept()


def _usual(channel: Channel) -> str:
    """The middle half of its values by seconds, in its unit: what a wrong unit or kind shows in at once."""
    values = channel.seconds("mean")
    values = values[np.isfinite(values)]
    if not len(values):
        return "nothing recorded"
    low, high = np.percentile(values, [25, 75])
    return f"{low:.4g} to {high:.4g} {plain_unit(channel.unit, channel.unit_as_written)}".strip()
