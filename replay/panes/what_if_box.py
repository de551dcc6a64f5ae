"""Arithmetic "what if": two numbers, and what they alone would make of the oxygen delivery of the same record.

The banner stands above and below the table and in every copy: a patient's response is not modelled.
"""

from __future__ import annotations

import math
from typing import Final

from afterclamp.annotate.derived import Absent
from afterclamp.annotate.limit_measures import LIMIT_MEASURES
from afterclamp.annotate.what_if_case import Basis, Replaced, replaced
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication, QImage, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QDialogButtonBox,
    QDoubleSpinBox,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from ..what_if_words import BANNER, HEADINGS, NO_LIMIT, NOTHING_ELSE, RIGHT, cells, what_if_text, where_words

AS_RECORDED: Final = "as recorded"
PADDING: Final = 10  # between two columns of numbers, pixels
SOURCE_WIDTH: Final = 120
TYPE_A_NUMBER: Final = "Type a flow or a haemoglobin to see what it alone would make of the oxygen delivery."


class WhatIfBox(QDialog):
    """Oxygen delivery with another flow or haemoglobin.

    Parameters
    ----------
    basis : Basis or Absent
        As of `afterclamp.annotate.what_if_case.basis_of`.
    parent : QWidget, optional
    """

    def __init__(self, basis: Basis | Absent, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Arithmetic what if")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._basis = basis
        self.found: Replaced | None = None
        self.banner, self.banner_below = _banner(self), _banner(self)
        self.told = QLabel(self)
        self.told.setWordWrap(True)
        self.told.setAccessibleName("Where a value is replaced, and what is left as it was")
        self.flow = _number("pump_flow", "Pump flow, L/min", 0.1, self)
        self.haemoglobin = _number("haemoglobin", "Haemoglobin, g/dL", 0.5, self)
        self.table = QTableWidget(0, len(HEADINGS), self)
        self.as_text_button = QPushButton("Copy as &text", self)
        self.as_image_button = QPushButton("Copy as &image", self)
        self._lay_out()
        for box in (self.flow, self.haemoglobin):
            box.valueChanged.connect(self._compute)
        self.as_text_button.clicked.connect(self.copy_text)
        self.as_image_button.clicked.connect(self.copy_image)
        copy = QShortcut(QKeySequence(QKeySequence.StandardKey.Copy), self.table)
        copy.setContext(Qt.ShortcutContext.WidgetShortcut)
        copy.activated.connect(self.copy_text)
        self._compute()

    def _lay_out(self) -> None:
        self.table.setAccessibleName("Limits of the oxygen delivery index, as recorded and with the number")
        self.table.setHorizontalHeaderLabels([heading[:1].upper() + heading[1:] for heading in HEADINGS])
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setTabKeyNavigation(False)
        self.table.setShowGrid(False)
        self.table.verticalHeader().hide()
        header = self.table.horizontalHeader()
        header.setHighlightSections(False)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setStretchLastSection(True)
        form = QFormLayout()
        form.addRow("&Pump flow", self.flow)
        form.addRow("&Haemoglobin", self.haemoglobin)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.FieldsStayAtSizeHint)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close, self)
        buttons.rejected.connect(self.reject)
        close = buttons.button(QDialogButtonBox.StandardButton.Close)
        for button in (self.as_text_button, self.as_image_button, close):
            button.setAutoDefault(False)  # Enter settles the number that is typed, and nothing else
        foot = QHBoxLayout()
        foot.addWidget(self.as_text_button)
        foot.addWidget(self.as_image_button)
        foot.addWidget(buttons, 1)
        layout = QVBoxLayout(self)
        layout.addWidget(self.banner)
        layout.addLayout(form)
        layout.addWidget(self.told)
        layout.addWidget(self.table, 1)
        layout.addWidget(self.banner_below)
        layout.addLayout(foot)
        there = isinstance(self._basis, Basis)
        for widget in (self.table, self.banner_below, self.flow, self.haemoglobin):
            widget.setVisible(there)
        for row in range(form.rowCount()):
            form.setRowVisible(row, there)
        self.resize(1180 if there else 520, 460 if there else 0)

    def _compute(self) -> None:
        basis = self._basis
        if isinstance(basis, Absent):
            self.found = None
            self.told.setText(f"Oxygen delivery cannot be computed: {basis.reason}.")
        else:
            flow, grams = _typed(self.flow), _typed(self.haemoglobin)
            nothing = flow is None and grams is None
            self.found = None if nothing else replaced(basis, flow_l_min=flow, haemoglobin_g_dl=grams)
            self._show(basis)
        for button in (self.as_text_button, self.as_image_button):
            button.setEnabled(self.found is not None)

    def _show(self, basis: Basis) -> None:
        found = self.found
        first = TYPE_A_NUMBER if found is None else f"With {found.words}."
        nothing = "" if basis.limits else f" {NO_LIMIT}"
        self.told.setText(f"{first} {where_words(basis)} {NOTHING_ELSE}{nothing}")
        rows = () if found is None else found.rows
        self.table.setRowCount(len(rows))
        for row, one in enumerate(rows):
            for column, text in enumerate(cells(one)):
                item = QTableWidgetItem(text)
                item.setToolTip(f"{text}\n{BANNER}")
                if RIGHT[column] == ">":
                    item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self.table.setItem(row, column, item)
        self.table.resizeColumnsToContents()
        for column in range(len(HEADINGS) - 1):
            self.table.setColumnWidth(column, self.table.columnWidth(column) + PADDING)
        self.table.setColumnWidth(
            len(HEADINGS) - 1, SOURCE_WIDTH
        )  # the rest of the row; its tooltip has it whole

    def as_text(self) -> str:
        """The table with the banner, as the command line prints it; empty where nothing is replaced."""
        if self.found is None or isinstance(self._basis, Absent):
            return ""
        return what_if_text(self._basis, self.found)

    def copy_text(self) -> None:
        """Put it on the clipboard as text, the banner first and last."""
        if self.found is not None:
            QGuiApplication.clipboard().setText(self.as_text())

    def image(self) -> QImage:
        """The box as it is shown, both banners included."""
        return self.grab().toImage()

    def copy_image(self) -> None:
        """Put the box on the clipboard as an image."""
        QGuiApplication.clipboard().setImage(self.image())


def _banner(parent: QWidget) -> QLabel:
    label = QLabel(BANNER, parent)
    label.setAlignment(Qt.AlignmentFlag.AlignCenter)
    label.setFrameShape(QFrame.Shape.Box)
    label.setWordWrap(True)
    label.setMargin(6)
    font = label.font()
    font.setBold(True)
    font.setPointSizeF(font.pointSizeF() * 1.15)
    label.setFont(font)
    label.setAccessibleName("Banner")
    return label


def _number(measure: str, name: str, step: float, parent: QWidget) -> QDoubleSpinBox:
    """A box for a number; its lowest place stands for what was recorded."""
    known = LIMIT_MEASURES[measure]
    box = QDoubleSpinBox(parent)
    box.setDecimals(2)
    box.setRange(math.floor(known.lowest * 100) / 100 - 0.01, known.highest)
    box.setSingleStep(step)
    box.setSuffix(f" {known.unit}")
    box.setSpecialValueText(AS_RECORDED)
    box.setValue(box.minimum())
    box.setAccessibleName(name)
    box.setKeyboardTracking(False)
    return box


def _typed(box: QDoubleSpinBox) -> float | None:
    """The number in a box, None while it stands for what was recorded."""
    return None if box.value() <= box.minimum() else round(box.value(), 2)
