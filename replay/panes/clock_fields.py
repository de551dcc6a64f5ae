"""Parts of the form in which a clock is set: fields, lines of fields, and the words around them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from afterclamp.annotate.align import ClockEstimate
from afterclamp.io.case import Source
from afterclamp.io.clock import ClockMap
from afterclamp.io.errors import EditRefused
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QWidget

from ..clock_typing import length_text, read_clock
from ..clock_words import clock_words
from ..wording import half_width
from .clock_face import number, plus_minus
from .typing_boxes import TypingBox

SIDES = ("ahead", "behind")


@dataclass(frozen=True)
class Written:
    """What stands in the fields, and the clock that it makes: None while it makes none."""

    side: str = "ahead"
    offset: str = ""
    source_says: str = ""
    reference_says: str = ""
    within: str = ""
    drift: str = ""
    steps: tuple[str, ...] = ()
    clock: ClockMap | None = None
    empty: bool = True

    @property
    def the_clock(self) -> ClockMap:
        """The clock; it must make one."""
        if self.clock is None:
            raise EditRefused("the fields make no clock yet")
        return self.clock


def reader_of(of_day: bool) -> Callable[[str], float]:
    """Reads what a clock says: the time of day, or minutes from its own start."""
    return lambda text: read_clock(text, of_day=of_day)


def new_sides(name: str, parent: QWidget) -> QComboBox:
    """Ahead or behind."""
    box = QComboBox(parent)
    box.addItems(list(SIDES))
    box.setAccessibleName(name)
    box.setToolTip("Ahead: it shows a later time than the reference at the same moment")
    return box


def new_field(name: str, width: int, placeholder: str, parent: QWidget) -> TypingBox:
    """A line to type in, this many pixels wide."""
    box = TypingBox(parent)
    box.setAccessibleName(name)
    box.setPlaceholderText(placeholder)
    box.setFixedWidth(width)
    return box


def new_problem(parent: QWidget) -> QLabel:
    """Where it is said what is wrong with the field beside it."""
    label = QLabel("", parent)
    label.setStyleSheet("color: #8A3B00;")  # 7.4:1 on the ground; the words say what is wrong
    label.setAccessibleName("What is missing or not understood")
    return label


def label_for(text: str, buddy: QWidget) -> QLabel:
    """A label whose access letter goes to a field."""
    label = QLabel(text)
    label.setBuddy(buddy)
    return label


def new_line(*parts: str | QWidget) -> QHBoxLayout:
    """Words and fields beside each other, as one reads them."""
    line = QHBoxLayout()
    line.setSpacing(6)
    for part in parts:
        line.addWidget(QLabel(part) if isinstance(part, str) else part)
    line.addStretch(1)
    return line


def clear_line(layout: object) -> None:
    """Take the widgets of a line away."""
    if isinstance(layout, QHBoxLayout):
        while (item := layout.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        layout.deleteLater()


def proposal_words(found: ClockEstimate) -> str:
    """An estimate in a line: offset and drift, each with its ±, and the kind of evidence."""
    words = clock_words(found.clock, plus_minus(half_width(found.offset_sd_s)))
    if math.isfinite(found.drift_sd_ppm) and found.drift_ppm:
        words += f"; drift ± {number(half_width(found.drift_sd_ppm), 0)} ppm"
    return f"{words} ({found.evidence})"


def heading_of(source: Source) -> str:
    """Which source it is and how its clock stands."""
    if source.is_reference:
        return f"{source.name}: its clock is the reference, which all others are set against"
    return f"{source.name}: {'not set' if source.clock.method == 'unset' else clock_words(source.clock)}"


def signed_length(seconds: float) -> str:
    """The size of a step as it is kept between fields: a minus for back, also before a zero."""
    text = length_text(abs(seconds))
    return f"-{text}" if seconds <= 0 else text
