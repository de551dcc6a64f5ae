"""Windows of reference time and what is read in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .recording import FloatArray


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of reference time, half open: ``[start, end)``, in seconds."""

    start: float
    end: float

    @property
    def duration(self) -> float:
        """Length in seconds."""
        return self.end - self.start

    def contains(self, t: float) -> bool:
        """Whether a time lies in it."""
        return self.start <= t < self.end

    def overlap(self, other: Span) -> float:
        """Seconds shared with another span."""
        return max(0.0, min(self.end, other.end) - max(self.start, other.start))

    def intersect(self, other: Span) -> Span | None:
        """The shared part, or None."""
        start, end = max(self.start, other.start), min(self.end, other.end)
        return Span(start, end) if end > start else None


@dataclass(frozen=True, slots=True)
class Samples:
    """Samples of a window.

    Attributes
    ----------
    t : ndarray
        Reference seconds, rising.
    values : ndarray
        In the channel's unit; NaN where a sample stands in the file but was not recorded.
    interval_s : float
        Usual distance between samples; a step of more than twice that is a gap.
    """

    t: FloatArray
    values: FloatArray
    interval_s: float


@dataclass(frozen=True, slots=True)
class Envelope:
    """Lowest and highest value of each column of a picture; NaN where a column has none."""

    lo: NDArray[np.float32]
    hi: NDArray[np.float32]
