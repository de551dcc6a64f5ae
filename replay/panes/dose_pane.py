"""Dose strips under the views: the one of the chosen figure, and those that were kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from afterclamp.annotate.dose import dose
from afterclamp.io.case import Span
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QGuiApplication, QImage
from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QLabel, QSizePolicy, QToolButton, QVBoxLayout, QWidget

from ..dose_words import contrast, counted_in, key_of, limit_of, title_of
from ..strips.dose_strip import DoseStrip, DoseWords
from ..wording import unit_name
from .clock_face import ClockFace

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure
    from afterclamp.annotate.phase_model import Phase

MOST_KEPT = 4
"""More strips than this would leave the views no room (this project's choice)."""
ARRESTS = ("lower_body_arrest", "no_flow_arrest", "selective_cerebral")
EMPTY = "Dose strip: choose a figure with a limit in Minutes and areas."
NOT_HERE = "Dose strip: this figure has no limit; choose one that has."


class DosePane(QWidget):
    """One strip a limit, in step with the Long view; shown once there is something to show.

    Signals
    -------
    jumped(t)
        Go to this reference second.
    said(text)
        A short word on what was done, or why not.
    """

    jumped = Signal(float)
    said = Signal(str)

    def __init__(self, face: ClockFace, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.strips: list[DoseStrip] = []
        self.kept: list[str] = []
        self._face = face
        self._figures: Sequence[Figure] = ()
        self._chosen: Figure | None = None
        self._arrests: list[tuple[float, float]] = []
        self._span = Span(0.0, 1.0)
        self._playhead = 0.0
        self._axis: Callable[[], tuple[float, float]] | None = None
        self._wanted: bool | None = None
        self.words = QLabel(EMPTY, self)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        # Words must not push the views: the column stays as wide as somebody made it.
        self.words.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.words.setContentsMargins(6, 0, 0, 0)
        self.contrast = QLabel("", self)
        self.contrast.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.contrast.setWordWrap(True)
        self.contrast.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.contrast.setContentsMargins(6, 0, 6, 0)
        self.with_arrests = QCheckBox("Arrests counted in", self)
        self.with_arrests.setToolTip("Show what the area would be if planned arrests were not left out")
        self.with_arrests.toggled.connect(self._show)
        self.keep = self._button("Keep this strip", "Keep it below the views while other figures are chosen")
        self.keep.clicked.connect(self.keep_chosen)
        self.copy = self._button("Copy as image", "Copy the dose strips with their labels")
        self.copy.clicked.connect(self.copy_image)
        self._head = QWidget(self)
        head = QHBoxLayout(self._head)
        head.setContentsMargins(0, 0, 8, 0)
        head.setSpacing(8)
        head.addWidget(self.words, 1)
        for widget in (self.with_arrests, self.keep, self.copy):
            head.addWidget(widget)
        self._rows = QVBoxLayout()
        self._rows.setContentsMargins(0, 0, 0, 0)
        self._rows.setSpacing(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 2)
        column.setSpacing(1)
        column.addWidget(self._head)
        column.addWidget(self.contrast)
        column.addLayout(self._rows)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Dose strips")
        self._show()

    def _button(self, text: str, tip: str) -> QToolButton:
        button = QToolButton(self)
        button.setText(text)
        button.setToolTip(tip)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        return button

    # -- what is shown ------------------------------------------------------------------------------

    def set_figures(self, figures: Sequence[Figure]) -> None:
        """Other figures; what is chosen and kept stays where they still hold it."""
        self._figures = [one for one in figures if one.counted is not None and one.value is not None]
        if self._chosen is not None:
            self._chosen = self._named(key_of(self._chosen))
        self._show()

    def choose(self, figure: Figure | None) -> None:
        """Show the strip of this figure beside those that are kept."""
        self._chosen = figure
        self._show()

    def set_phases(self, phases: Sequence[Phase]) -> None:
        """Phases: arrests among them are named where they were left out."""
        self._arrests = [(one.start_s, one.end_s) for one in phases if one.name in ARRESTS]
        for strip in self.strips:
            strip.set_arrests(self._arrests)

    def set_span(self, span: Span) -> None:
        """The window of the Long view."""
        self._span = span
        for strip in self.strips:
            strip.set_span(span)

    def set_axis(self, axis: Callable[[], tuple[float, float]]) -> None:
        """Where the Long view's time axis begins and ends, in pixels."""
        self._axis = axis

    def set_playhead(self, t: float) -> None:
        """Move the line of now."""
        self._playhead = t
        for strip in self.strips:
            strip.set_playhead(t)

    @property
    def wanted(self) -> bool | None:
        """Whether somebody asked for the strips, or asked for none; None while nobody did either."""
        return self._wanted

    def set_wanted(self, wanted: bool | None) -> None:
        """Show the strips or not; None: once there is something to show."""
        self._wanted = wanted
        self._show()

    def turn(self) -> None:
        """Show the strips if they are hidden, else hide them."""
        self.set_wanted(self.isHidden())

    def set_kept(self, keys: Sequence[str]) -> None:
        """Keep the strips of these figures, wherever there are such figures."""
        self.kept = list(keys)[:MOST_KEPT]
        self._show()

    def keep_chosen(self) -> None:
        """Keep the strip of the chosen figure."""
        if self._chosen is None or self._chosen.counted is None:
            return
        if len(self.kept) >= MOST_KEPT:
            self.said.emit(f"{MOST_KEPT} strips are kept already: take one away first.")
            return
        self.kept.append(key_of(self._chosen))
        self._show()

    def let_go(self, key: str) -> None:
        """Keep a strip no longer."""
        self.kept = [one for one in self.kept if one != key]
        self._show()

    def _named(self, key: str) -> Figure | None:
        return next((one for one in self._figures if key_of(one) == key), None)

    def _show(self) -> None:
        """Make the strips anew: there are few, and each is made in milliseconds."""
        for strip in self.strips:
            self._rows.removeWidget(strip)
            strip.hide()
            strip.deleteLater()
        self.strips = []
        chosen = self._chosen if self._chosen is not None and self._chosen.counted is not None else None
        shown = [(key, self._named(key)) for key in self.kept]
        if chosen is not None and key_of(chosen) not in self.kept:
            shown.append(("", chosen))
        pairs = []
        for key, figure in shown:
            if figure is None:
                continue
            mistaken = counted_in(figure, self._figures)
            if mistaken is not None:
                pairs.append((figure, mistaken))
            drawn = mistaken if mistaken is not None and self.with_arrests.isChecked() else figure
            self._add(drawn, key)
        self.with_arrests.setVisible(bool(pairs))
        self.keep.setVisible(chosen is not None)
        self.keep.setEnabled(chosen is not None and key_of(chosen) not in self.kept)
        self.keep.setText("Keep this strip" if self.keep.isEnabled() else "Kept")
        self.copy.setVisible(bool(self.strips))
        self._say(pairs)
        self.setVisible(bool(self.strips) if self._wanted is None else self._wanted)

    def _say(self, pairs: Sequence[tuple[Figure, Figure]]) -> None:
        empty = EMPTY if self._chosen is None else NOT_HERE
        self.words.setText("Dose strips" if self.strips else empty)
        self.words.setToolTip(
            "Depth outside the limit; each pixel shows its deepest second." if self.strips else ""
        )
        self.contrast.setVisible(self.with_arrests.isChecked() and bool(pairs))
        self.contrast.setText(contrast(*pairs[-1]) if pairs else "")

    def _add(self, figure: Figure, key: str) -> None:
        if figure.counted is None:
            return
        unit = unit_name(figure.counted.series.unit)
        words = DoseWords(title_of(figure), unit, unit_name(figure.unit), limit_of(figure))
        strip = DoseStrip(dose(figure.counted), words, self._face.text, self)
        if self._axis is not None:
            strip.set_axis(self._axis)
        strip.set_span(self._span)
        strip.set_playhead(self._playhead)
        strip.set_arrests(self._arrests)
        strip.jumped.connect(self.jumped)
        if key:
            away = QToolButton(strip)
            away.setText("×")
            away.setToolTip("Keep this strip no longer")
            away.setAccessibleName(f"Take away: {words.title}")
            away.setStyleSheet("padding: 0; border: none;")
            away.setGeometry(4, 0, 18, 18)
            away.clicked.connect(lambda _=False, key=key: self.let_go(key))
        self._rows.addWidget(strip)
        self.strips.append(strip)

    # -- what leaves --------------------------------------------------------------------------------

    def image(self) -> QImage:
        """The strips with their labels as one picture, at the screen's own dots."""
        if not self.strips:
            return QImage()
        whole = self.grab().toImage()
        top = round(self.strips[0].y() * whole.devicePixelRatio())
        return whole.copy(0, top, whole.width(), whole.height() - top)

    def copy_image(self) -> None:
        """Put that picture on the clipboard."""
        QGuiApplication.clipboard().setImage(self.image())
        self.said.emit("The dose strips are on the clipboard as an image.")
