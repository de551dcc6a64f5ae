"""One value a second, and what became of every second: observed, masked or missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

FloatArray = NDArray[np.float64]
StateArray = NDArray[np.uint8]

OBSERVED = 0
MASKED = 1  # recorded, but taken for an artefact: counted, never used
MISSING = 2  # not recorded, off scale, or not yet connected


@dataclass(frozen=True)
class Series:
    """A measure at 1 Hz on the reference clock.

    Attributes
    ----------
    start : float
        Reference second at which the first value's second begins; value ``i`` covers
        ``[start + i, start + i + 1)``.
    values : ndarray of float64
        One value a second, NaN wherever ``state`` is not ``OBSERVED``.
    state : ndarray of uint8
        ``OBSERVED``, ``MASKED`` or ``MISSING`` for each second.
    unit : str
        UCUM code of the values.
    name : str
        Measure token such as ``"mean_arterial_pressure"``.
    site : str
        Canonical name of the channel that it comes from (``"femoral"``), empty where it has none.
    note : str
        Anything a reader of the numbers must know (``"estimate"``, ``"raw"``, age of a value ...).
    """

    start: float
    values: FloatArray
    state: StateArray
    unit: str = ""
    name: str = ""
    site: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.values.shape != self.state.shape or self.values.ndim != 1:
            raise ValueError("a series needs one state for each value")

    @property
    def t(self) -> FloatArray:
        """Reference seconds at which each value's second begins."""
        return self.start + np.arange(self.values.size, dtype=np.float64)

    def at(self, t: float) -> float:
        """The value of the second that holds reference time `t`; NaN where there is none."""
        i = int(np.floor(t - self.start))
        return float(self.values[i]) if 0 <= i < self.values.size else float("nan")

    def masked_where(self, seconds: NDArray[np.bool_]) -> Series:
        """The same series with the given observed seconds masked."""
        state = self.state.copy()
        state[seconds & (state == OBSERVED)] = MASKED
        return replace(self, values=np.where(state == OBSERVED, self.values, np.nan), state=state)


def from_values(
    start: float, values: FloatArray, *, unit: str = "", name: str = "", site: str = "", note: str = ""
) -> Series:
    """Series of plain values: every finite value is observed, every other one missing."""
    values = np.asarray(values, dtype=np.float64)
    state = np.where(np.isfinite(values), OBSERVED, MISSING).astype(np.uint8)
    return Series(start, np.where(state == OBSERVED, values, np.nan), state, unit, name, site, note)


def combined_state(*series: Series) -> StateArray:
    """State of a value computed from several: missing before masked before observed."""
    return np.asarray(np.maximum.reduce([one.state for one in series]))


def joined(parts: Sequence[Series], note: str = "") -> Series:
    """Series of one signal on one grid as one: each second from the first that recorded anything in it.

    Parameters
    ----------
    parts : sequence of Series
        At least one, of the same seconds, in order of precedence. A second that is masked in an earlier one
        stays masked.
    note : str
        What a reader must know; how many seconds several of them recorded is added.
    """
    first, *rest = parts
    if not rest:
        return first
    values, state, shared = first.values.copy(), first.state.copy(), 0
    for part in rest:
        free = state == MISSING
        shared += int(np.count_nonzero(~free & (part.state != MISSING)))
        values[free], state[free] = part.values[free], part.state[free]
    both = f"of {shared} s that were recorded twice the earlier recording is used" if shared else ""
    notes = dict.fromkeys(filter(None, [first.note, note, both]))
    return replace(first, values=values, state=state, note="; ".join(notes))


def averaged(series: Series, width: int) -> Series:
    """Centred mean over an odd number of seconds, of the observed ones among them; states stay as they are."""
    seen = series.state == OBSERVED
    if width <= 1 or not seen.any():
        return series
    kernel, half = np.ones(width), width // 2
    total = np.convolve(np.pad(np.where(seen, series.values, 0.0), half), kernel, "valid")
    count = np.convolve(np.pad(seen.astype(np.float64), half), kernel, "valid")
    values = np.where(seen, total / np.maximum(count, 1), np.nan)
    note = "; ".join(filter(None, [series.note, f"centred mean of {width} s"]))
    return replace(series, values=values, note=note)


def per_second(channel: Channel, grid: FloatArray, statistic: str = "mean") -> Series:
    """A channel's own values on the 1 Hz grid, nothing masked.

    Parameters
    ----------
    channel : Channel
        Any channel; slower ones hold their last value for at most three intervals.
    grid : ndarray
        The case's grid of whole reference seconds.
    statistic : str
        ``"mean"``, ``"min"`` or ``"max"`` of the samples of each second.
    """
    start = float(grid[0]) if grid.size else 0.0
    return from_values(
        start, channel.seconds(statistic), unit=channel.unit, name=channel.kind, site=channel.name
    )
