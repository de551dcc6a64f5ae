"""The same quantity recorded twice: where each window of one lies on the other, to a fraction of a second.

The coarse search (`search`) goes by what changes over a quarter of a minute and more, since breaths
and beats fit almost as well one breath or one beat away. From there the raw values decide: every window is
laid on the course at lags a tenth of a second apart, the steadiest path through them is taken, and each
window's lag is then solved for by least squares on the slope of the course.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..runs import FloatArray
from .courses import Course, Rows
from .path import Path, Window
from .search import SHORTEST_SHARE, search, windows_of
from .steps import Pieces, fit_pieces

COARSE_SMOOTH_S = 15.0
COARSE_DETREND_S = 301.0
"""The coarse search goes by changes between these (this project's choice: longer than three breaths)."""

WINDOW_S = (300.0, 600.0)
"""Shortest and longest window of the coarse search; a thirtieth of the recording between (this project's choice)."""

REACH_S = 12.0
FINE_STEP_S = 0.1
"""How far around the coarse lag, and how finely, the raw values are tried (this project's choice)."""

FINE_WINDOW_S = 300.0

STRETCH_S = 4.0
"""A change of the coarse lag by more than this begins a new stretch (this project's choice)."""

DRIFT_PPM, DRIFT_STEP_PPM = 300.0, 10.0
"""Drifts that are tried; a quartz clock is within some tens of ppm (this project's choice)."""

TRIED_S = np.arange(-50, 51, dtype=np.float64) * 0.05
"""Lags around its stretch's line at which a window is tried, seconds (this project's choice)."""

FINE_WORTH = 0.2
"""Independent pairs that one second is worth on the fine scale (this project's choice)."""

LEAST_GAIN = 0.2
"""A copy whose values move by less than this share of the course's says nothing (this project's choice)."""

LEAST_TOTAL = 20.0
LEAST_LEAD = 3.0
"""Evidence of the coarse path, natural logarithms, and how many times that of any other lag (even seeds of
tests/bench/clocks.py: related pairs have 105 and 9.8 at least, unrelated ones 25 and 5.3 at most)."""

LEAST_FIT = 0.65
"""Least product of the median correlation at the final lags and the share of windows that say something (even seeds
of tests/bench/clocks.py: at least 0.79 in related pairs, at most 0.49 in unrelated ones)."""

WITHIN_SD_S = 0.475 / 1.96
"""A recorder's mean belongs anywhere within a second of its stamp: 95 % of a second is ± 0.475 s."""

LAG_SD_S = 0.01
"""How well a single window's lag can be known at best, seconds (this project's choice)."""

WIDTHS_S = (1.0, 2.0, 4.0, 8.0, 16.0)
"""Averaging times of a recorder that are tried (this project's choice)."""

WIDTH_MARGIN = 0.7
"""A longer averaging time is believed where it leaves less than this share of the residual variance."""


@dataclass(frozen=True)
class Fit:
    """How each window of a source lies on the course.

    Attributes
    ----------
    stamp : ndarray
        Stamp of the window's middle.
    lag, sd : ndarray
        Stamp less reference time of each window and its standard deviation, seconds; the sd is infinite
        where the window says nothing.
    run : ndarray of int
    r : ndarray
        Correlation of the window with the course at that lag.
    width_s : float
        Averaging time of the recorder that fits best.
    """

    windows: tuple[Window, ...]
    stamp: FloatArray
    lag: FloatArray
    sd: FloatArray
    run: NDArray[np.intp]
    r: FloatArray
    width_s: float

    @property
    def typical(self) -> float:
        """Median correlation of the windows that say something."""
        there = np.isfinite(self.sd)
        return float(np.median(self.r[there])) if there.any() else 0.0

    @property
    def worth(self) -> float:
        """The same, less where windows say nothing: how far the two are alike as a whole."""
        return self.typical * float(np.isfinite(self.sd).mean())


@dataclass(frozen=True)
class Same:
    """What the same quantity recorded twice says of the unknown source's clock.

    Attributes
    ----------
    path : Path
        The coarse agreement, with its curve for a chart.
    fit : Fit or None
        None where the coarse agreement is no more than chance.
    pieces : Pieces or None
        None where the two are not alike enough.
    """

    path: Path
    fit: Fit | None
    pieces: Pieces | None


def match_same(rows: Rows, course: Course, path: Path | None = None) -> Same | None:
    """The clock of a source that recorded what a known source recorded as well.

    Parameters
    ----------
    rows, course
        The unknown source and the known one.
    path : Path, optional
        From `coarse`, if it is at hand.

    Returns
    -------
    Same or None
        None where there is too little to compare.
    """
    path = path if path is not None else coarse(rows, course)
    if path is None:
        return None
    if not convincing(path):
        return Same(path, None, None)
    fit = fine(rows, course, path)
    if fit.worth < LEAST_FIT:
        return Same(path, fit, None)
    first = np.array([window.first for window in fit.windows], np.intp)
    sd = np.hypot(fit.sd, LAG_SD_S)
    return Same(path, fit, fit_pieces(rows, first, fit.stamp, fit.lag, sd, common_sd_s=WITHIN_SD_S))


def coarse(rows: Rows, course: Course) -> Path | None:
    """Where the rows lie on the course, to a few seconds."""
    length = float(np.ptp(rows.stamp)) if len(rows.stamp) else 0.0
    window = float(np.clip(length / 30, *WINDOW_S))
    # Rows that are further apart than the smoothing are compared as they are.
    window = max(window, 40 * rows.interval_s)
    smooth = COARSE_SMOOTH_S if rows.interval_s <= COARSE_SMOOTH_S / 3 else 1.0
    detrend = max(COARSE_DETREND_S, 20 * rows.interval_s)
    return search(rows, course, window_s=window, smooth_s=smooth, detrend_s=detrend)


def convincing(path: Path) -> bool:
    """Whether a coarse path is more than chance gives."""
    return path.total >= LEAST_TOTAL and path.total >= LEAST_LEAD * path.rival


def fine(rows: Rows, course: Course, path: Path) -> Fit:
    """Lag of each fine window, from the raw values."""
    windows = windows_of(rows, max(FINE_WINDOW_S, 20 * rows.interval_s))
    starts = _lines(rows, course, windows, path)
    plain = best = _solved(rows, course, windows, starts)
    width = WIDTHS_S[0]
    for wider in WIDTHS_S[1:]:
        # A longer mean lies further back: its end is where the stamp is.
        shift = 0.5 * (wider - WIDTHS_S[0])
        other = _solved(rows, course.averaged(wider), windows, starts - shift)
        if other.left < min(WIDTH_MARGIN * plain.left, best.left):
            best, width = other, wider
    return Fit(
        windows=windows,
        stamp=np.array([rows.stamp[w.first : w.stop].mean() for w in windows]),
        lag=best.lag,
        sd=best.sd,
        run=np.array([w.run for w in windows], np.intp),
        r=best.r,
        width_s=width,
    )


def _lines(rows: Rows, course: Course, windows: tuple[Window, ...], path: Path) -> FloatArray:
    """Lag of each window by the straight line that most windows of its stretch agree on.

    Beats and breaths make a single window fit in many places, a different set in each; only one line fits
    them all. A stretch is what the coarse path holds to be free of steps.
    """
    coarse_lag = _nearest_windows(rows, windows, path)
    reach = round(REACH_S / FINE_STEP_S)
    offsets = np.arange(-reach, reach + 1, dtype=np.float64) * FINE_STEP_S
    floor = _quantum(rows.value) ** 2 / 12 + (0.02 * float(np.std(rows.value))) ** 2
    out = np.empty(len(windows))
    first = 0
    for stop in range(1, len(windows) + 1):
        if stop < len(windows) and not _apart(windows, coarse_lag, stop):
            continue
        own = windows[first:stop]
        base = float(np.median(coarse_lag[first:stop]))
        scores = np.stack([_scores(rows, course, window, base + offsets, floor) for window in own])
        middle = np.array([rows.stamp[w.first : w.stop].mean() for w in own])
        out[first:stop] = base + _best_line(scores, middle - middle.mean(), offsets)
        first = stop
    return out


def _best_line(scores: FloatArray, when: FloatArray, offsets: FloatArray) -> FloatArray:
    """The line through (window, lag) with the largest sum of scores, as a lag a window."""
    # A window may lie one step off the line, as the line is tried in steps.
    wide = scores.copy()
    wide[:, 1:] = np.maximum(wide[:, 1:], scores[:, :-1])
    wide[:, :-1] = np.maximum(wide[:, :-1], scores[:, 1:])
    best, line = -np.inf, np.zeros(len(when))
    index = np.arange(len(offsets))
    for drift in np.arange(-DRIFT_PPM, DRIFT_PPM + 1, DRIFT_STEP_PPM) * 1e-6:
        shift = np.rint(drift * when / FINE_STEP_S).astype(np.intp)
        places = index[None, :] + shift[:, None]
        inside = (places >= 0) & (places < len(offsets))
        total = np.where(inside, np.take_along_axis(wide, np.clip(places, 0, len(offsets) - 1), 1), 0.0).sum(
            axis=0
        )
        at = int(np.argmax(total))
        if total[at] > best:
            best, line = float(total[at]), offsets[at] + drift * when
    return line


def _apart(windows: tuple[Window, ...], lag: FloatArray, k: int) -> bool:
    return windows[k].run != windows[k - 1].run or abs(lag[k] - lag[k - 1]) > STRETCH_S


def _nearest_windows(rows: Rows, windows: tuple[Window, ...], path: Path) -> FloatArray:
    """The coarse lag that most of a fine window's rows go by."""
    number = np.zeros(len(rows.stamp), np.intp)
    for k, window in enumerate(path.windows):
        number[window.first : window.stop] = k
    return np.array([path.lag[np.bincount(number[w.first : w.stop]).argmax()] for w in windows])


def _scores(rows: Rows, course: Course, window: Window, lags: FloatArray, floor: float) -> FloatArray:
    piece = slice(window.first, window.stop)
    return _scores_of(course, rows.stamp[piece], rows.value[piece], lags, floor)


def _scores_of(
    course: Course, stamp: FloatArray, value: FloatArray, lags: FloatArray, floor: float
) -> FloatArray:
    """Evidence of one window for each lag: the share of its variance that the course explains there."""
    known = course.at(stamp[:, None] - lags[None, :])
    there = np.isfinite(known)
    n = there.sum(axis=0)
    known = np.where(there, known, 0.0)
    own = np.where(there, value[:, None], 0.0)
    enough = n >= max(5, SHORTEST_SHARE * len(value))
    with np.errstate(invalid="ignore", divide="ignore"):
        mx, my = known.sum(axis=0) / n, own.sum(axis=0) / n
        vx = (known**2).sum(axis=0) / n - mx**2
        vy = (own**2).sum(axis=0) / n - my**2
        cov = (known * own).sum(axis=0) / n - mx * my
        left = np.where(cov > 0, vy - cov**2 / vx, vy)
        gain = 0.5 * FINE_WORTH * n * np.log((vy + floor + 1e-9) / (np.maximum(left, 0.0) + floor + 1e-9))
    return np.where(enough & np.isfinite(gain), gain, 0.0)


@dataclass(frozen=True)
class _Solution:
    lag: FloatArray
    sd: FloatArray
    r: FloatArray
    left: float  # median share of a window's variance that is left


def _solved(rows: Rows, course: Course, windows: tuple[Window, ...], starts: FloatArray) -> _Solution:
    """Lag of each window by least squares, and how surely."""
    slope = course.slope()
    lag, sd, r, left = (np.full(len(windows), np.nan) for _ in range(4))
    for k, (window, start) in enumerate(zip(windows, starts, strict=True)):
        stamp, value = rows.stamp[window.first : window.stop], rows.value[window.first : window.stop]
        lag[k], sd[k], r[k], left[k] = _solve(course, slope, stamp, value, float(start))
    known = left[np.isfinite(left)]
    return _Solution(
        lag,
        np.where(np.isfinite(sd), sd, np.inf),
        np.nan_to_num(r),
        float(np.median(known)) if len(known) else 1.0,
    )


def _solve(
    course: Course, slope: Course, stamp: FloatArray, value: FloatArray, start: float
) -> tuple[float, float, float, float]:
    """Lag, its standard deviation, correlation and share of variance left of one window.

    ``value = level + trend + gain * (course - lag_error * slope)``, by weighted least squares; values that
    fit badly lose their weight (Tukey's biweight), as a recorder's copy is spoilt now and then.
    """
    lags = start + TRIED_S
    weight = np.ones(len(stamp))
    lag = float(lags[np.argmax(_scores_of(course, stamp, value, lags, 0.0))])
    nothing = (start, np.inf, 0.0, np.nan)
    for _ in range(4):
        known, rise = course.at(stamp - lag), slope.at(stamp - lag)
        there = np.isfinite(known) & np.isfinite(rise)
        if there.sum() < max(5, SHORTEST_SHARE * len(stamp)):
            return nothing
        x, y, u = known[there], value[there], stamp[there] - stamp.mean()
        design = np.column_stack([np.ones(len(x)), u / (np.ptp(u) or 1.0), x - x.mean(), rise[there]])
        w = weight[there]
        weighted = design * w[:, None]
        try:
            inverse = np.linalg.inv(weighted.T @ design)
        except np.linalg.LinAlgError:
            return nothing
        level = inverse @ (weighted.T @ y)
        residual = y - design @ level
        gain = float(level[2])
        if not gain > LEAST_GAIN:
            return nothing
        error = -float(level[3]) / gain
        lag += float(np.clip(error, -0.05, 0.05))
        spread = 1.4826 * float(np.median(np.abs(residual))) + 1e-9
        weight = np.zeros(len(stamp))
        weight[there] = np.maximum(1 - (residual / (6 * spread)) ** 2, 0.0) ** 2
    variance = float(np.sum(w * residual**2) / max(np.sum(w) - 4, 1.0))
    together = _hanging_together(residual)
    sd = float(np.sqrt(variance * inverse[3, 3] * together)) / gain
    total = float(np.sum(w * (y - np.average(y, weights=w)) ** 2) / np.sum(w))
    r = float(np.corrcoef(x, y)[0, 1]) if np.std(x) > 0 and np.std(y) > 0 else 0.0
    return lag, sd, r, variance / total if total > 0 else 1.0


def _hanging_together(residual: FloatArray) -> float:
    """By how much neighbouring residuals that resemble each other widen the variance of a mean."""
    if len(residual) < 10:
        return 1.0
    middle = residual - residual.mean()
    power = float(middle @ middle)
    rho = float(middle[1:] @ middle[:-1]) / power if power > 0 else 0.0
    rho = float(np.clip(rho, 0.0, 0.95))
    return (1 + rho) / (1 - rho)


def _quantum(values: FloatArray) -> float:
    """The step in which values were written, 0 where they are too many to tell."""
    steps = np.diff(np.unique(values))
    return float(np.median(steps)) if len(steps) and len(steps) < len(values) / 4 else 0.0
