"""One strip in one picture: where it stands and what a pixel of it means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QRectF

from .envelope import Floats, Grain, TimeScale, ValueScale
from .theme import Theme

Numbers = NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class Frame:
    """A strip's rectangle in logical pixels, its scales, and the look.

    Attributes
    ----------
    left, top, width, height : float
        Logical pixels.
    scale, values : TimeScale, ValueScale
        Window and value range, in columns and rows.
    grain : Grain
        Columns and rows in a logical pixel.
    theme : Theme
        Colours and sizes.
    """

    left: float
    top: float
    width: float
    height: float
    scale: TimeScale
    values: ValueScale
    grain: Grain
    theme: Theme

    @property
    def box(self) -> QRectF:
        """The rectangle."""
        return QRectF(self.left, self.top, self.width, self.height)

    @property
    def right(self) -> float:
        """Right edge."""
        return self.left + self.width

    def x(self, t: Floats) -> Floats:
        """Moments as logical pixels from the left of the picture."""
        return np.asarray(self.left + self.scale.place(t) / self.grain.across)

    def x_of_columns(self, columns: Numbers | NDArray[np.integer]) -> Floats:
        """Middles of columns as logical pixels."""
        return np.asarray(self.left + (columns + 0.5) / self.grain.across, np.float64)

    def y(self, values: Numbers) -> Floats:
        """Values as logical pixels from the top of the picture, held within the strip; NaN stays NaN."""
        return self.y_of_rows(self.values.place(values))

    def y_of_rows(self, rows: Numbers | NDArray[np.integer]) -> Floats:
        """Middles of rows as logical pixels."""
        return np.asarray(self.top + (rows + 0.5) / self.grain.down, np.float64)

    def grid_columns(self, times: Sequence[float]) -> list[int]:
        """Columns of the lines at these moments."""
        columns = (self.scale.column(t) for t in times)
        return [column for column in columns if 0 <= column < self.scale.columns]

    def grid_rows(self, values: Sequence[float]) -> list[int]:
        """Rows of the lines at these values."""
        return [round(row) for row in self.values.place(np.array(values, np.float64)).tolist()]

    def y_of(self, value: float) -> float:
        """One value."""
        return float(self.y(np.array([value]))[0])
