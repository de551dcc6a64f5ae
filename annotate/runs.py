"""Runs of seconds: where something holds, for how long, and where a change really began.

Pure functions on arrays of one value a second. A second can hold, not hold, or be unknown (masked
or not recorded); an unknown second is never evidence, neither for nor against.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

CLOSE_S = 5  # longest known interruption of a run that does not end it (this project's choice)
BRIDGE_S = 30  # longest unknown one (this project's choice)


class Run(NamedTuple):
    """Half-open run of indices ``[start, stop)``.

    Attributes
    ----------
    start, stop : int
        First second, and first second after.
    used : int
        Seconds that were known (those of closed gaps included).
    unknown : int
        Seconds inside the run that were masked or missing.
    """

    start: int
    stop: int
    used: int
    unknown: int


def true_runs(mask: ArrayLike) -> NDArray[np.intp]:
    """Start and past-end index of each stretch of True in `mask`, in order, one row a stretch."""
    m = np.concatenate(([False], np.asarray(mask, dtype=bool), [False]))
    return np.flatnonzero(m[1:] != m[:-1]).reshape(-1, 2)


def spans(mask: ArrayLike) -> list[tuple[int, int]]:
    """The same as pairs of plain integers."""
    return [(int(start), int(stop)) for start, stop in true_runs(mask)]


def joined_runs(runs: NDArray[np.intp], longest: int) -> NDArray[np.intp]:
    """Rows of start and past-end, in order, those with at most `longest` between them made one."""
    if len(runs) < 2:
        return runs
    first = np.flatnonzero(np.concatenate(([True], runs[1:, 0] - runs[:-1, 1] > longest)))
    last = np.concatenate((first[1:], [len(runs)])) - 1
    return np.column_stack((runs[first, 0], runs[last, 1]))


def close_gaps(mask: ArrayLike, longest: int) -> BoolArray:
    """Fill stretches of False of at most `longest` seconds that lie between two Trues."""
    out = np.array(mask, dtype=bool)
    for start, stop in joined_runs(true_runs(out), longest):
        out[start:stop] = True
    return out


def drop_short(mask: ArrayLike, shortest: int) -> BoolArray:
    """Clear stretches of True of less than `shortest` seconds."""
    out = np.array(mask, dtype=bool)
    for start, stop in spans(out):
        if stop - start < shortest:
            out[start:stop] = False
    return out


def evidence_runs(
    holds: ArrayLike, known: ArrayLike, *, minimum: int, close: int = CLOSE_S, bridge: int = BRIDGE_S
) -> list[Run]:
    """Runs in which a condition holds long enough, on known seconds alone.

    Two stretches are one run where at most `close` seconds between them are known not to hold and
    at most `bridge` are unknown. A run counts if its known seconds reach `minimum`.

    Parameters
    ----------
    holds : array_like of bool
        Where the condition was seen to hold.
    known : array_like of bool
        Where anything could be seen; a second that holds but is not known does not count.
    minimum : int
        Shortest run in known seconds.
    close : int
        Longest interruption in known seconds that is closed.
    bridge : int
        Longest interruption in unknown seconds that is bridged.
    """
    known_a = np.asarray(known, dtype=bool)
    holds_a = np.asarray(holds, dtype=bool) & known_a
    seen = np.concatenate(([0], np.cumsum(known_a)))
    merged: list[list[int]] = []
    for start, stop in spans(holds_a):
        if merged:
            gap_known = int(seen[start] - seen[merged[-1][1]])
            gap_unknown = start - merged[-1][1] - gap_known
            if gap_known <= close and gap_unknown <= bridge:
                merged[-1][1] = stop
                continue
        merged.append([start, stop])
    found = []
    for start, stop in merged:
        used = int(seen[stop] - seen[start])
        if used >= minimum:
            found.append(Run(start, stop, used, stop - start - used))
    return found


def hysteresis(x: ArrayLike, *, on: float, off: float) -> BoolArray:
    """Two-level switch: True from the first value above `on` until the first at or under `off`.

    A missing value keeps the state; before the first decisive value the state is False.
    """
    values = np.asarray(x, dtype=np.float64)
    decisive = np.where(values > on, 1, np.where(values <= off, -1, 0))
    last = np.where(decisive != 0, np.arange(len(values)), -1)
    last = np.maximum.accumulate(last) if len(last) else last
    return np.asarray((last >= 0) & (decisive[np.maximum(last, 0)] > 0), dtype=np.bool_)


def mean(x: ArrayLike) -> float:
    """Mean of the finite values, NaN where there are none."""
    values = np.asarray(x, dtype=np.float64)
    values = values[np.isfinite(values)]
    return float(values.mean()) if values.size else float("nan")


def median(x: ArrayLike) -> float:
    """Median of the finite values, NaN where there are none."""
    values = np.asarray(x, dtype=np.float64)
    values = values[np.isfinite(values)]
    if not values.size:
        return float("nan")
    # What np.median does, without its looking around, which takes longer than the work on some hundred values.
    low, high = (values.size - 1) // 2, values.size // 2
    values.partition((low, high))
    return float((values[low] + values[high]) / 2)


def smooth(x: ArrayLike, width: int) -> FloatArray:
    """Centred running median over an odd `width` of seconds, from the finite values of each window.

    NaN stays NaN: a missing second is not filled from its neighbours.
    """
    values = np.asarray(x, dtype=np.float64)
    if width <= 1 or not len(values):
        return values.copy()
    half = width // 2
    padded = np.pad(values, half, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    out = np.full(len(values), np.nan)
    whole = np.isfinite(windows).all(axis=1)
    out[whole] = np.median(windows[whole], axis=1)
    partial = np.isfinite(values) & ~whole
    if partial.any():
        out[partial] = np.nanmedian(windows[partial], axis=1)
    return out


def median_before(x: ArrayLike, seconds: int, *, step: int, skip: int = 0) -> FloatArray:
    """Median of the `seconds` before each second, the last `skip` of them left out, known to `step` seconds.

    Of the finite values of each window; NaN where there is none. All seconds of a step have the value of its first.
    """
    values = np.asarray(x, dtype=np.float64)
    padded = np.concatenate((np.full(seconds, np.nan), values))
    windows = np.lib.stride_tricks.sliding_window_view(padded, seconds - skip)[: len(values) : step]
    seen = np.isfinite(windows)
    whole, partial = seen.all(axis=1), seen.any(axis=1)
    out = np.full(len(windows), np.nan)
    out[whole] = np.median(windows[whole], axis=1)
    partial &= ~whole
    if partial.any():
        out[partial] = np.nanmedian(windows[partial], axis=1)
    return np.repeat(out, step)[: len(values)]


def running_mean(x: ArrayLike, width: int) -> FloatArray:
    """Centred running mean over an odd `width` of seconds, of the finite values of each window.

    NaN stays NaN. Over about two breaths it takes the ventilatory swing out of a pressure without
    moving a crossing to one side.
    """
    values = np.asarray(x, dtype=np.float64)
    finite = np.isfinite(values)
    half = width // 2
    low = np.clip(np.arange(len(values)) - half, 0, len(values))
    high = np.clip(np.arange(len(values)) + half + 1, 0, len(values))
    total = np.concatenate(([0.0], np.cumsum(np.where(finite, values, 0.0))))
    count = np.concatenate(([0], np.cumsum(finite)))
    return np.where(finite, (total[high] - total[low]) / np.maximum(count[high] - count[low], 1), np.nan)


def highest_before(x: ArrayLike, seconds: int) -> FloatArray:
    """Highest finite value of each second and the `seconds` before it; NaN where there is none."""
    values = np.asarray(x, dtype=np.float64)
    filled = np.where(np.isfinite(values), values, -np.inf)
    padded = np.concatenate((np.full(seconds, -np.inf), filled))
    out = np.lib.stride_tricks.sliding_window_view(padded, seconds + 1).max(axis=1)
    return np.where(np.isfinite(out), out, np.nan)


def lowest_before(x: ArrayLike, seconds: int) -> FloatArray:
    """Lowest finite value of each second and the `seconds` before it; NaN where there is none."""
    return -highest_before(-np.asarray(x, dtype=np.float64), seconds)


def noise_sd(x: ArrayLike) -> float:
    """Standard deviation of the second-to-second noise, by the median absolute difference.

    A trend or a few steps hardly move it. Rounded readings that mostly repeat give the rounding's
    own standard deviation (quantum / sqrt 12).
    """
    values = np.asarray(x, dtype=np.float64)
    steps = np.abs(np.diff(values))
    steps = steps[np.isfinite(steps)]
    if not steps.size:
        return 0.0
    spread = 1.4826 * float(np.median(steps)) / np.sqrt(2)
    moved = steps[steps > 1e-9]
    quantum = float(moved.min()) if moved.size else 0.0
    return float(max(spread, quantum / np.sqrt(12) if spread == 0.0 else 0.0))


def back_date(x: ArrayLike, at: int, *, base: float, after: float, fraction: float = 0.1) -> int:
    """Where a change that is plain at index `at` began.

    The last second before `at` that is still within `fraction` of the total change from `base` to
    `after`; `at` itself if there is none. Missing seconds are passed over.
    """
    values = np.asarray(x, dtype=np.float64)
    # Signed, so that a value on the far side of the base still counts as "not begun".
    done = (values[: at + 1] - base) / (after - base) if after != base else np.zeros(at + 1)
    still = np.flatnonzero(np.isfinite(done) & (done <= fraction))
    return int(still[-1]) if still.size else at


def settled(x: ArrayLike, at: int, *, base: float, after: float, fraction: float = 0.1) -> int:
    """Where a change that is under way at index `at` was over: the mirror of `back_date`.

    The first second from `at` on within `fraction` of the total change from `after`; the last
    index of `x` if there is none.
    """
    values = np.asarray(x, dtype=np.float64)
    rest = (after - values[at:]) / (after - base) if after != base else np.zeros(len(values) - at)
    there = np.flatnonzero(np.isfinite(rest) & (rest <= fraction))
    return at + int(there[0]) if there.size else len(values) - 1


def line_fit(x: ArrayLike, half_width: int, share: float = 0.5) -> tuple[FloatArray, FloatArray]:
    """Least-squares line over a centred window at each second.

    Parameters
    ----------
    x : array_like
        One value a second, NaN where missing.
    half_width : int
        Seconds on either side of the centre.
    share : float
        Part of the ``2 half_width`` seconds that must be there; at the ends of `x` a window is cut.

    Returns
    -------
    value, slope : ndarray
        Value of the line at the centre, and its slope per second; NaN where there is no line.
    """
    values = np.asarray(x, dtype=np.float64)
    n = len(values)
    finite = np.isfinite(values)
    # From the middle of the record and from the mean: keeps the sums small enough for 24 h.
    t = np.arange(n, dtype=np.float64) - n / 2
    level = float(values[finite].mean()) if finite.any() else 0.0
    y = np.where(finite, values - level, 0.0)

    def total(a: FloatArray) -> FloatArray:
        running = np.concatenate(([0.0], np.cumsum(a)))
        low = np.clip(np.arange(n) - half_width, 0, n)
        high = np.clip(np.arange(n) + half_width + 1, 0, n)
        return np.asarray(running[high] - running[low])

    w = finite.astype(np.float64)
    count, st, sy = total(w), total(w * t), total(y)
    stt, sty = total(w * t * t), total(t * y)
    enough = count >= 2 * half_width * share
    count = np.where(enough, count, np.nan)
    mean_t, mean_y = st / count, sy / count
    spread = stt / count - mean_t**2
    slope = np.divide(
        sty / count - mean_t * mean_y, spread, out=np.full(n, np.nan), where=enough & (spread > 0)
    )
    return level + mean_y + slope * (t - mean_t), slope
