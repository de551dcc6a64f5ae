"""Where a source could lie at all: windows of it slid along a known course, and the steadiest path through them.

Every window is compared with every place of the course (correlation by Fourier transform, missing values
left out of both). A single window may fit in many places; the clock is what fits in window after window, so
the lag is found as the path with the most evidence in all, where a change of lag has its price. That gives
offset and steps at one stroke, hours as easily as seconds.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from ..runs import FloatArray
from .courses import Course, Rows
from .path import Path, Window, path_through
from .seams import seams_of

LEAST_ROWS = 5
"""Fewest rows of a window (this project's choice)."""

SHORTEST_SHARE = 0.5
"""Share of a window's rows that must meet the course (this project's choice)."""

CORRELATED_S = 300
"""Furthest lag to which values are taken to hang together, seconds (this project's choice)."""


def windows_of(rows: Rows, window_s: float) -> tuple[Window, ...]:
    """Rows cut into windows of about equal length, none across two runs or a hole in the stamps.

    Where holes are closer together than a tenth of a window they do not cut it.
    """
    found: list[Window] = []
    edges = [0, *seams_of(rows).row, len(rows.stamp)]
    bounds = [0]
    for k, edge in enumerate(edges[1:], start=1):
        last = edge == len(rows.stamp)
        new_run = last or rows.run[edge] != rows.run[edge - 1]
        long = rows.stamp[edge - 1] - rows.stamp[bounds[-1]] >= 0.1 * window_s
        next_long = last or rows.stamp[edges[k + 1] - 1] - rows.stamp[edge] >= 0.1 * window_s
        if new_run or (long and next_long):
            bounds.append(int(edge))
    for low, high in itertools.pairwise(bounds):
        stamps = rows.stamp[low:high]
        many = max(1, round((stamps[-1] - stamps[0]) / window_s))
        inner = low + np.searchsorted(stamps, np.linspace(stamps[0], stamps[-1], many + 1)[1:-1])
        cuts = np.unique([low, *inner, high])
        found += [
            Window(int(a), int(b), int(rows.run[a]))
            for a, b in itertools.pairwise(cuts)
            if b - a >= LEAST_ROWS
        ]
    return tuple(found)


def search(
    rows: Rows, course: Course, *, window_s: float, smooth_s: float, detrend_s: float, grid_s: float = 1.0
) -> Path | None:
    """The lags at which rows fit a course.

    Parameters
    ----------
    rows : Rows
        The unknown source.
    course : Course
        The known quantity; a rise of it goes with a rise of the rows.
    window_s : float
        Length of a window: long enough for something to happen in it.
    smooth_s, detrend_s : float
        Changes quicker than the one and slower than the other are taken out of both first: breaths fit
        one breath away as well, and a trend fits anywhere.
    grid_s : float
        Resolution in seconds; lags are multiples of it.

    Returns
    -------
    Path or None
        None where the two hold too little to be compared.
    """
    windows = windows_of(rows, window_s)
    first = np.floor(course.start / grid_s)
    times = (first + np.arange(int((course.end - course.start) / grid_s) + 2)) * grid_s
    # Smoothed before it is read once a second: a mean over one second still holds much of a heart beat.
    known = course.averaged(smooth_s).averaged(smooth_s).at(times + (smooth_s - 1.0))
    if not windows or np.isfinite(known).sum() < 30:
        return None
    place = np.rint(rows.stamp / grid_s).astype(np.int64)
    widths = max(1, round(smooth_s / grid_s)), max(3, round(detrend_s / grid_s))
    course_values = _without_spikes(_band(known, 1, widths[1]))
    row_values = np.empty(len(rows.value))
    for run in rows.runs:
        inside = rows.run == run
        even = np.full(int(np.ptp(place[inside])) + 1, np.nan)
        even[place[inside] - place[inside][0]] = rows.value[inside]
        row_values[inside] = _band(even, *widths)[place[inside] - place[inside][0]]
    row_values = _without_spikes(row_values)
    shrink = _independent_share(course_values, place, row_values, rows.run, round(CORRELATED_S / grid_s))

    low = int(place.min()) - int(first) - len(times) + 1
    high = int(place.max()) - int(first)
    scores = np.zeros((len(windows), high - low + 1), np.float32)
    longest = max(int(place[w.stop - 1] - place[w.first]) for w in windows) + 1
    compare = _Comparison(course_values, longest)
    for number, window in enumerate(windows):
        piece = slice(window.first, window.stop)
        r, n = compare.with_window(place[piece] - place[window.first], row_values[piece])
        # A window that starts at stamp s and lies at place k of the course has lag s - k.
        start = int(place[window.first]) - int(first) - low
        positive = np.clip(r, 0.0, 0.9999)
        scores[number, start - len(r) + 1 : start + 1] = (-0.5 * shrink * n * np.log1p(-(positive**2)))[::-1]
    lags = (low + np.arange(high - low + 1, dtype=np.float64)) * grid_s
    return path_through(windows, scores, seams_of(rows), lags, grid_s)


class _Comparison:
    """Correlation of windows with every place of one course, missing values left out pair by pair.

    With masks the sums over the pairs that are there are themselves correlations, so that each costs one
    Fourier transform (Padfield, IEEE Trans Image Process 2012;21:2706, from memory).
    """

    def __init__(self, values: FloatArray, longest: int) -> None:
        self.count = len(values)
        self.size = 1 << int(np.ceil(np.log2(self.count + longest)))
        there = np.isfinite(values)
        self.scale = float(np.std(values[there])) or 1.0
        filled = np.where(there, values, 0.0) / self.scale
        self.course = [np.fft.rfft(part, self.size) for part in (there.astype(float), filled, filled**2)]
        self.whole = bool(there.all())

    def with_window(self, where: NDArray[np.int64], values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Correlation and number of pairs with the window's first row at each place of the course."""
        length = int(where[-1]) + 1
        window = np.zeros(length)
        mask = np.zeros(length)
        middle = values - values.mean()
        window[where], mask[where] = middle, 1.0
        m, y, yy = (np.conj(np.fft.rfft(part, self.size)) for part in (mask, window, window**2))
        cm, cx, cxx = self.course

        def pairs(a: NDArray[np.complex128], b: NDArray[np.complex128]) -> FloatArray:
            return np.asarray(np.fft.irfft(a * b, self.size)[: self.count], dtype=np.float64)

        n, sx, sxx, sy, syy, sxy = (
            pairs(cm, m), pairs(cx, m), pairs(cxx, m), pairs(cm, y), pairs(cm, yy), pairs(cx, y),
        )  # fmt: skip
        n = np.rint(n)
        with np.errstate(invalid="ignore", divide="ignore"):
            vx, vy = sxx - sx * sx / n, syy - sy * sy / n
            r = (sxy - sx * sy / n) / np.sqrt(vx * vy)
            few = (
                (n < SHORTEST_SHARE * mask.sum())
                | (vx < 1e-9 * n)
                | (vy < 1e-9 * n * (middle.std() or 1.0) ** 2)
            )
        r[few | ~np.isfinite(r)] = 0.0
        return r, np.where(few, 0.0, n)


# -- making ready ------------------------------------------------------------------------------------


def _local_mean(values: FloatArray, width: int) -> FloatArray:
    """Mean of what is there within `width` values around each."""
    there = np.isfinite(values)
    half = width // 2
    sums = np.concatenate(([0.0], np.cumsum(np.where(there, values, 0.0))))
    counts = np.concatenate(([0], np.cumsum(there)))
    low = np.maximum(np.arange(len(values)) - half, 0)
    high = np.minimum(np.arange(len(values)) + half + 1, len(values))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((sums[high] - sums[low]) / (counts[high] - counts[low]), dtype=np.float64)


def _band(values: FloatArray, quick: int, slow: int) -> FloatArray:
    """What changes slower than `quick` and quicker than `slow` values; NaN stays NaN."""
    smooth = _local_mean(_local_mean(values, quick), quick) if quick > 1 else values
    return np.where(np.isfinite(values), smooth - _local_mean(values, slow), np.nan)


def _without_spikes(values: FloatArray) -> FloatArray:
    """Values held within five robust standard deviations: one flush must not be all that is compared."""
    there = values[np.isfinite(values)]
    middle = float(np.median(there))
    spread = 1.4826 * float(np.median(np.abs(there - middle))) or float(np.std(there)) or 1.0
    return np.clip(values, middle - 5 * spread, middle + 5 * spread)


def _independent_share(
    course: FloatArray,
    place: NDArray[np.int64],
    values: FloatArray,
    run: NDArray[np.intp],
    furthest: int,
) -> float:
    """How many independent pairs one pair is worth, as both sides hang together in time.

    The variance of a correlation of two unrelated series is the sum of the products of their
    autocorrelations over all lags, divided by their length (Bartlett, J R Stat Soc Suppl 1946;8:27,
    from memory).
    """
    largest = run == np.bincount(run).argmax()
    where, own = place[largest], values[largest]
    spacing = max(1, int(np.median(np.diff(where)))) if len(where) > 1 else 1
    rows = np.full(int(where[-1] - where[0]) // spacing + 1, np.nan)
    rows[(where - where[0]) // spacing] = own
    many = max(1, furthest // spacing)
    a, b = _autocorrelation(course[::spacing], many), _autocorrelation(rows, many)
    worth = 1.0 + 2.0 * float(np.sum(np.maximum(a * b, 0.0)))
    return 1.0 / worth


def _autocorrelation(values: FloatArray, furthest: int) -> FloatArray:
    """Correlation with itself at lags 1 to `furthest`, over the pairs that are there; zero from its first low on."""
    there = np.isfinite(values)
    middle = np.where(there, values - values[there].mean(), 0.0)
    size = 1 << int(np.ceil(np.log2(2 * len(values))))
    power = np.fft.irfft(np.abs(np.fft.rfft(middle, size)) ** 2)[: furthest + 1]
    many = np.rint(np.fft.irfft(np.abs(np.fft.rfft(there.astype(float), size)) ** 2)[: furthest + 1])
    with np.errstate(invalid="ignore", divide="ignore"):
        rho = np.where(many > 10, power / many, 0.0)
    out = np.zeros(furthest)
    if rho[0] > 0:
        rho = rho[1:] / rho[0]
        low = np.flatnonzero(rho < 0.05)
        stop = int(low[0]) if len(low) else len(rho)
        out[:stop] = rho[:stop]
    return out
