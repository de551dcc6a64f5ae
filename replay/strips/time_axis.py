"""A painted widget whose seconds stand under those of a view: the ladder and the strips below it."""

from __future__ import annotations

from collections.abc import Callable

from afterclamp.io.case import Span
from PySide6.QtWidgets import QWidget

LEFT, RIGHT = 110.0, 8.0  # pixels left free while no view says where its plot lies


class OnTimeAxis(QWidget):
    """Shows a span of reference seconds between the edges of a view's plot.

    Parameters
    ----------
    parent : QWidget, optional
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._span = Span(0.0, 1.0)
        self._axis: Callable[[], tuple[float, float]] | None = None

    def set_axis(self, axis: Callable[[], tuple[float, float]]) -> None:
        """Where the plot of the view begins and ends, in pixels of this widget."""
        self._axis = axis
        self.update()

    def _bounds(self) -> tuple[float, float]:
        return self._axis() if self._axis is not None else (LEFT, self.width() - RIGHT)

    def _x(self, t: float) -> float:
        left, right = self._bounds()
        return left + (t - self._span.start) / max(self._span.duration, 1e-9) * (right - left)

    def _t(self, x: float) -> float:
        left, right = self._bounds()
        t = self._span.start + (x - left) / max(right - left, 1.0) * self._span.duration
        return min(max(t, self._span.start), self._span.end)
