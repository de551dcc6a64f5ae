"""What one trace shows in a window: its samples, or the lowest and highest value of each pixel column."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from afterclamp.io.case import Case, Samples
from numpy.typing import NDArray

from .envelope import GAP_INTERVALS, Flags, Floats, Grain, TimeScale, flagged_runs
from .layout import Trace

Mode = Literal["samples", "columns", "band"]

SAMPLES_PER_PIXEL: Final = 2.0
"""Up to so many samples in a pixel the samples themselves are drawn, as a line."""

BAND_S: Final = 0.6
"""From so many seconds in a pixel on single beats can't be followed, and a wave is drawn as a light band
with a line along its lowest and its highest values (this project's choice)."""

_SPARSE_S: Final = 30.0  # values this far apart are shown one by one at any zoom


@dataclass(frozen=True, slots=True)
class Course:
    """A trace in a window.

    Attributes
    ----------
    trace : Trace
        Whose values.
    mode : str
        ``samples``; ``columns``: lowest to highest, filled; ``band``: filled lightly, its edges drawn.
    lo, hi : ndarray of float32, shape (columns,)
        NaN where a column has none; empty in mode ``samples``.
    samples : Samples or None
        In mode ``samples``, with those just outside the window so that lines reach its edges.
    masked : ndarray of bool or None
        Columns whose seconds are masked; None where none is.
    columns : int
        Columns of the window.
    lighter : ndarray of bool or None
        Columns of which something can be used, the mean or the pulse; None where none is.
    """

    trace: Trace
    mode: Mode
    lo: NDArray[np.float32]
    hi: NDArray[np.float32]
    samples: Samples | None
    masked: Flags | None
    columns: int = 0
    lighter: Flags | None = None

    @property
    def empty(self) -> bool:
        """Whether nothing was recorded in the window."""
        if self.samples is not None:
            return not len(self.samples.values) or bool(np.isnan(self.samples.values).all())
        return bool(np.isnan(self.lo).all())


_NONE: Final = np.empty(0, np.float32)


def course_of(
    trace: Trace, scale: TimeScale, grain: Grain, masked: Floats | None, lighter: Floats | None = None
) -> Course:
    """Read what a trace shows in a window, in the cheapest form that loses nothing visible.

    Parameters
    ----------
    trace : Trace
        Whose values.
    scale : TimeScale
        The window.
    grain : Grain
        How finely it is drawn.
    masked, lighter : ndarray of float64, shape (n, 2), or None
        Start and end of masked stretches in reference seconds, and of those of which something can be used.
    """
    channel = trace.channel
    interval = channel.interval_s
    per_pixel = scale.second_per_column * grain.across
    hidden, partly = masked_columns(masked, scale), masked_columns(lighter, scale)
    lone = math.isnan(interval) or interval >= _SPARSE_S
    if lone or per_pixel / interval <= SAMPLES_PER_PIXEL:
        reach = 0.0 if math.isnan(interval) else (GAP_INTERVALS + 0.5) * interval
        samples = channel.read(scale.start - reach, scale.end + reach)
        return Course(trace, "samples", _NONE, _NONE, samples, hidden, scale.columns, partly)
    envelope = channel.envelope(scale.start, scale.end, scale.columns)
    mode: Mode = "band" if channel.is_wave and per_pixel >= BAND_S else "columns"
    return Course(trace, mode, envelope.lo, envelope.hi, None, hidden, scale.columns, partly)


def masked_columns(masked: Floats | None, scale: TimeScale) -> Flags | None:
    """Columns that a masked stretch touches; None where there is none."""
    if masked is None or not len(masked):
        return None
    near = masked[(masked[:, 0] < scale.end) & (masked[:, 1] > scale.start)]
    if not len(near):
        return None
    first = np.clip(np.floor(scale.place(near[:, 0]) + 1e-6), 0, scale.columns).astype(np.int64)
    stop = np.clip(np.ceil(scale.place(near[:, 1]) - 1e-6), 0, scale.columns).astype(np.int64)
    opened = np.bincount(first, minlength=scale.columns + 1) - np.bincount(
        np.maximum(stop, first), minlength=scale.columns + 1
    )
    flags: Flags = np.cumsum(opened)[: scale.columns] > 0
    return flags if flags.any() else None


def masked_stretches(
    case: Case | None, masked: Mapping[str, Flags | Floats | Sequence[tuple[float, float]]] | None
) -> dict[str, Floats]:
    """Masks by channel as stretches of reference seconds.

    Parameters
    ----------
    case : Case or None
        Whose grid the flags stand on.
    masked : mapping or None
        By channel id: either one flag for each second of ``case.grid``, or (start, end) pairs in reference
        seconds.

    Returns
    -------
    dict
        Arrays of shape (n, 2) by channel id.
    """
    stretches: dict[str, Floats] = {}
    for key, given in (masked or {}).items():
        array = np.asarray(given)
        if array.dtype == bool:
            if case is None or not len(array):
                continue
            zero = float(case.grid[0]) if len(case.grid) else 0.0
            array = np.array([(zero + a, zero + b) for a, b in flagged_runs(array)], np.float64)
        stretches[key] = np.asarray(array, np.float64).reshape(-1, 2)
    return stretches
