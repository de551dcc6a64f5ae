"""A flow's sudden changes, and the ways in which a pressure or a saturation may answer them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..runs import FloatArray, smooth
from .courses import Course, Rows


@dataclass(frozen=True)
class Coupling:
    """How one quantity answers another.

    Attributes
    ----------
    step_s : float
        Seconds between values that are compared.
    before_s, after_s : float
        How much around a change is looked at, seconds.
    coarse_after_s : float
        The same after it, for the first search.
    times_s : tuple of float
        Time constants of the answer that are tried, seconds.
    ramps_s : tuple of float
        Lengths of an answer that runs straight to its new level, tried as well, seconds.
    delay_s, delay_sd_s : float
        How long after the flow the answer begins, and how well that is known, seconds.
    scatter_s : float
        By how much single changes stray beside what their own fit says, seconds.
    reach_s : float
        How far around the coarse lag a single change is looked for, seconds.
    agree_s : float
        How near to each other the lags of the changes must be, seconds.
    full : float
        Share of the usual flow from which more flow makes no difference.
    """

    step_s: float
    before_s: float
    after_s: float
    coarse_after_s: float
    times_s: tuple[float, ...]
    ramps_s: tuple[float, ...]
    delay_s: float
    delay_sd_s: float
    scatter_s: float
    reach_s: float
    agree_s: float
    full: float = np.inf


FLOW_AND_PRESSURE = Coupling(
    step_s=2.0,
    before_s=60.0,
    after_s=120.0,
    coarse_after_s=120.0,
    times_s=(1.0, 3.0, 6.0, 12.0, 24.0),
    ramps_s=(10.0, 20.0, 40.0),
    delay_s=2.0,
    delay_sd_s=2.0,
    scatter_s=1.0,
    reach_s=40.0,
    agree_s=6.0,
)
"""A pressure runs off within some ten seconds of the flow's end, and a flow meter shows means of some seconds
(time constants and delay: this project's choice)."""

SATURATION_AND_ARREST = Coupling(
    step_s=5.0,
    before_s=180.0,
    after_s=360.0,
    coarse_after_s=240.0,
    times_s=(30.0, 90.0, 300.0, 900.0),
    ramps_s=(60.0, 150.0, 400.0, 1000.0),
    delay_s=3.0,
    delay_sd_s=3.0,
    scatter_s=3.0,
    reach_s=120.0,
    agree_s=30.0,
    full=0.05,
)
"""A cerebral saturation falls over minutes without flow (time constants and delay: this project's choice)."""

LEAST_CHANGE = 0.3
"""Share of the usual flow that must come or go within 20 s (this project's choice)."""

TOGETHER_S = 60.0
"""Changes closer together than this are looked at as one (this project's choice)."""


class Change(NamedTuple):
    """A moment at which the flow changed at once; seconds of the flow's own clock."""

    start: float
    stop: float
    run: int
    first_row: int


@dataclass(frozen=True)
class Even:
    """Values evenly along one clock."""

    start: float
    step: float
    values: FloatArray

    @property
    def times(self) -> FloatArray:
        """Seconds of each value."""
        return self.start + self.step * np.arange(len(self.values), dtype=np.float64)

    def at(self, t: FloatArray) -> FloatArray:
        """Values by straight lines, NaN outside."""
        return Course(self.start, self.step, self.values).at(t)


def even_rows(rows: Rows, step_s: float) -> dict[int, Even]:
    """Rows on an even grid of their own stamps, one for each run; NaN where rows are missing."""
    out = {}
    for run in rows.runs:
        inside = rows.run == run
        out[run] = _even(rows.stamp[inside], rows.value[inside], rows.interval_s, step_s)
    return out


def _even(t: FloatArray, values: FloatArray, interval_s: float, step_s: float) -> Even:
    start = float(np.floor(t[0] / step_s) * step_s)
    grid = start + step_s * np.arange(int((t[-1] - start) / step_s) + 1)
    joined = np.interp(grid, t, values, left=np.nan)
    behind = np.clip(np.searchsorted(t, grid, side="right"), 1, max(len(t) - 1, 1))
    if len(t) > 1:
        joined[t[behind] - t[behind - 1] > 3.0 * interval_s] = np.nan
    return Even(start, step_s, joined)


def even_course(course: Course, step_s: float) -> Even:
    """A course on a coarser even grid."""
    start = float(np.ceil(course.start / step_s) * step_s)
    count = max(int((course.end - start) / step_s) + 1, 0)
    grid = start + step_s * np.arange(count, dtype=np.float64)
    return Even(start, step_s, course.at(grid))


def usual_flow(values: FloatArray) -> float:
    """Median of what is clearly flow; NaN without any."""
    there = values[np.isfinite(values)]
    moving = there[there > 0.3 * np.percentile(there, 95)] if len(there) else there
    return float(np.median(moving)) if len(moving) else float("nan")


def changes_of(flow: Even, run: int, rows: Rows | None, usual: float) -> list[Change]:
    """Moments of sudden change between the first and the last flow, neighbours joined.

    Going on and coming off are left out: what a pressure does then is not the pump's doing alone.
    """
    near = max(1, round(10.0 / flow.step))
    level = smooth(flow.values / usual, 3) if np.isfinite(usual) and usual > 0 else np.empty(0)
    if len(level) < 6 * near:
        return []
    high = np.flatnonzero(level > 0.5)
    if not len(high):
        return []
    filled = np.where(np.isfinite(level), level, 0.0)
    sums = np.concatenate(([0.0], np.cumsum(filled)))
    counts = np.concatenate(([0], np.cumsum(np.isfinite(level))))
    place = np.arange(near, len(level) - 2 * near)
    with np.errstate(invalid="ignore", divide="ignore"):
        before = (sums[place] - sums[place - near]) / (counts[place] - counts[place - near])
        after = (sums[place + 2 * near] - sums[place + near]) / (
            counts[place + 2 * near] - counts[place + near]
        )
    sudden = place[np.abs(after - before) >= LEAST_CHANGE]
    margin = round(30.0 / flow.step)
    sudden = sudden[(sudden > high[0] + margin) & (sudden < high[-1] - margin)]
    found: list[Change] = []
    for k in sudden:
        at = float(flow.start + flow.step * k)
        if found and at - found[-1].stop <= TOGETHER_S:
            found[-1] = found[-1]._replace(stop=at)
        else:
            found.append(Change(at, at, run, 0))
    if rows is None:
        return found
    first = int(np.flatnonzero(rows.run == run)[0])
    own = rows.stamp[rows.run == run]
    return [
        one._replace(first_row=first + min(int(np.searchsorted(own, one.start)), len(own) - 1))
        for one in found
    ]


def arrests_only(changes: list[Change], flow: Even) -> list[Change]:
    """Changes to or from a stop that lasts: nothing shorter moves a saturation."""
    still = flow.values < 0.5
    out = []
    for one in changes:
        begin = round((one.start - flow.start) / flow.step)
        end = round((one.stop - flow.start) / flow.step)
        reach = round(90.0 / flow.step)
        before, after = still[max(0, begin - reach) : begin], still[end + reach // 3 : end + reach]
        if len(before) and len(after) and (before.mean() > 0.8) != (after.mean() > 0.8):
            out.append(one)
    return out


def answered(values: FloatArray, step_s: float, time_s: float) -> FloatArray:
    """First-order answer to a course of values; what is missing is held."""
    from scipy.signal import lfilter

    there = np.isfinite(values)
    if not there.any():
        return values
    last = np.maximum.accumulate(np.where(there, np.arange(len(values)), -1))
    held = values[np.where(last >= 0, last, int(np.flatnonzero(there)[0]))]
    keep = float(np.exp(-step_s / time_s))
    # The drive between two values is their mean: else the answer would begin half a step early.
    half = 0.5 * (1 - keep)
    out, _ = lfilter([half, half], [1, -keep], held, zi=[(1 - half) * held[0]])
    return np.asarray(out, dtype=np.float64)


def answers_of(flow: Even, coupling: Coupling) -> list[FloatArray]:
    """The flow's course as each of the answers that are tried."""
    held = answered(flow.values, flow.step, 0.01 * flow.step)
    ramps = []
    for length in coupling.ramps_s:
        width = max(1, round(length / flow.step))
        sums = np.cumsum(np.concatenate((np.full(width, held[0]), held)))
        ramps.append(np.asarray((sums[width:] - sums[:-width]) / width))
    return [answered(flow.values, flow.step, time) for time in coupling.times_s] + ramps
