"""From lags along a source to its clock: offset, drift, and where somebody set it.

A step of a clock shows in the stamps themselves, as a repetition (set back: a new run) or as a hole (set
forward, or set back while nothing was recorded). Where stamps run on evenly there was none. So steps are
looked for at holes and at new runs alone, and a hole whose two sides have the same lag is only a gap. All
pieces share one drift: setting a clock does not change how fast it runs.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..runs import FloatArray
from .courses import Rows
from .seams import Seams, seams_of

IntArray = NDArray[np.intp]

LEAST_STEP_S = 1.0
"""A smaller change of lag is not called a step (this project's choice)."""

HOLE_PRICE = 12.0
"""What a step at a hole must bring, natural logarithms (this project's choice: most holes are only gaps)."""

EXPECTED_PRICE = 4.0
"""The same for a step of just the hole's size: the clock was set and no row was lost (this project's choice)."""

EXPECTED_S = 2.5
"""How near to that size a step must be (this project's choice)."""

WORST = 8.0
"""What one misfitting lag may cost at most, natural logarithms: four standard deviations (this project's choice)."""

DRIFT_SD_PPM = 50.0
"""What is thought of a drift before anything is seen: quartz is within some tens of ppm (from memory)."""


@dataclass(frozen=True)
class Piece:
    """One stretch of a source with one offset.

    Attributes
    ----------
    run : int
    from_stamp : float
        Stamp from which it holds; minus infinity at the start of its run.
    offset_s : float
        Stamp less reference time at reference time 0.
    sd_s : float
        Standard deviation of a time within the piece, seconds, the worse of its two ends.
    step_s, step_sd_s : float
        Change of offset against the piece before and its standard deviation; NaN for the first.
    seen : bool
        Whether any lag spoke for it; without one it goes on from the piece before.
    """

    run: int
    from_stamp: float
    offset_s: float
    sd_s: float
    step_s: float = np.nan
    step_sd_s: float = np.nan
    seen: bool = True


@dataclass(frozen=True)
class Pieces:
    """A source's clock in pieces.

    Attributes
    ----------
    pieces : tuple of Piece
    drift_ppm, drift_sd_ppm : float
    offset_sd_s : float
        Standard deviation of the first piece's offset at reference time 0.
    residual : ndarray
        Of each lag, seconds.
    used : ndarray of bool
        Lags that kept their weight.
    """

    pieces: tuple[Piece, ...]
    drift_ppm: float
    drift_sd_ppm: float
    offset_sd_s: float
    residual: FloatArray
    used: NDArray[np.bool_]


def fit_pieces(
    rows: Rows, first_row: IntArray, stamp: FloatArray, lag: FloatArray, sd: FloatArray, *, common_sd_s: float
) -> Pieces | None:
    """Offsets, steps and drift from lags.

    Parameters
    ----------
    rows : Rows
        The source; its holes and runs say where a step can be.
    first_row : ndarray of int
        Index of the first row that each lag rests on.
    stamp, lag, sd : ndarray
        Where each lag is, stamp less reference time there, and its standard deviation; an infinite sd says
        nothing. In order of rows.
    common_sd_s : float
        What all lags of the source share and their scatter does not show.

    Returns
    -------
    Pieces or None
        None when no lag says anything.
    """
    known = np.isfinite(sd)
    if not known.any():
        return None
    seams = seams_of(rows)
    starts = np.concatenate(([0], seams.row)).astype(np.intp)
    block = np.searchsorted(starts, first_row, side="right") - 1
    run = rows.run[first_row]
    t = stamp - lag
    middle = float(np.average(t[known]))
    drift = _first_drift(t, lag, sd, block)
    scale = _scale(lag - drift * t, sd, block)
    spread = np.where(known, scale * sd, np.inf)
    level = _levels(lag - drift * (t - middle), spread, first_row, run, seams)
    expected = _expected(first_row, level, np.isfinite(spread), seams)
    solved = _solve(t - middle, lag, spread, level, expected, 0.5 * rows.interval_s)
    while (doubtful := _doubtful(solved, level, spread, run)) is not None:
        level = np.where(level >= doubtful, level - 1, level)
        expected = _expected(first_row, level, np.isfinite(spread), seams)
        solved = _solve(t - middle, lag, spread, level, expected, 0.5 * rows.interval_s)
    return _assemble(rows, starts, block, level, solved, middle, common_sd_s)


def _first_drift(t: FloatArray, lag: FloatArray, sd: FloatArray, block: IntArray) -> float:
    """Median slope between neighbours without a hole between, drawn towards none where it is not seen."""
    slopes, weights = [], []
    known = np.flatnonzero(np.isfinite(sd))
    for i in known:
        for j in known[(known > i) & (block[known] == block[i])]:
            slopes.append((lag[j] - lag[i]) / (t[j] - t[i]))
            weights.append((t[j] - t[i]) / float(np.hypot(sd[i], sd[j])))
    if len(slopes) < 3:
        return 0.0
    order = np.argsort(slopes)
    share = np.cumsum(np.array(weights)[order])
    slope = float(np.array(slopes)[order][np.searchsorted(share, 0.5 * share[-1])])
    limit = 6 * DRIFT_SD_PPM * 1e-6
    return float(np.clip(slope, -limit, limit))


def _scale(flat: FloatArray, sd: FloatArray, block: IntArray) -> float:
    """By how much lags scatter more than their own standard deviations say; at least 1."""
    known = np.isfinite(sd)
    value, own, where = flat[known], sd[known], block[known]
    same = np.diff(where) == 0
    if same.sum() < 4:
        return 1.0
    z = np.diff(value)[same] / np.hypot(own[1:], own[:-1])[same]
    return max(1.0, 1.4826 * float(np.median(np.abs(z))))


def _levels(flat: FloatArray, sd: FloatArray, first_row: IntArray, run: IntArray, seams: Seams) -> IntArray:
    """Which piece each lag belongs to: the cheapest course of levels, changing only at seams."""
    known = np.flatnonzero(np.isfinite(sd))
    candidates = flat[known]
    cost = np.minimum(0.5 * ((flat[known, None] - candidates[None, :]) / sd[known, None]) ** 2, WORST)
    n = len(known)
    value = cost[0].copy()
    came = np.zeros((n, n), np.intp)
    index = np.arange(n)
    for i in range(1, n):
        back, expected = seams.between(int(first_row[known[i - 1]]), int(first_row[known[i]]))
        best = int(np.argmin(value))
        stay = value if not back else np.full(n, np.inf)
        jump = np.full(n, np.inf)
        if back or expected:
            near = np.abs(candidates - candidates[best] - expected) <= EXPECTED_S + 2 * sd[known[i]]
            jump = value[best] + np.where(near, 0.0 if back else EXPECTED_PRICE, HOLE_PRICE)
        far = stay > jump
        came[i] = np.where(far, best, index)
        value = np.where(far, jump, stay) + cost[i]
    at = int(np.argmin(value))
    chosen = np.empty(n, np.intp)
    for i in range(n - 1, -1, -1):
        chosen[i] = at
        at = int(came[i, at])
    level = np.zeros(len(flat), np.intp)
    number = 0
    for i in range(1, n):
        a, b = known[i - 1], known[i]
        # A change too small to be called one is none; a new run begins its own piece in any case.
        stepped = abs(candidates[chosen[i]] - candidates[chosen[i - 1]]) >= LEAST_STEP_S
        number += int(stepped or run[a] != run[b])
        level[b:] = number
    return level


def _expected(
    first_row: IntArray, level: IntArray, known: NDArray[np.bool_], seams: Seams
) -> dict[int, float]:
    """For each piece but the first that was seen, the step before it that loses no row."""
    out = {}
    seen = np.flatnonzero(known)
    for a, b in itertools.pairwise(seen):
        if level[a] != level[b]:
            out[int(level[b])] = seams.between(int(first_row[a]), int(first_row[b]))[1]
    return out


@dataclass(frozen=True)
class _Solved:
    offset: FloatArray
    drift: float
    covariance: FloatArray  # of the offsets, then the drift
    residual: FloatArray
    used: NDArray[np.bool_]


def _solve(
    t: FloatArray,
    lag: FloatArray,
    sd: FloatArray,
    level: IntArray,
    expected: Mapping[int, float],
    near_s: float,
) -> _Solved:
    """Offsets of the pieces (at the middle time) and one drift, by weighted least squares without outliers.

    A step that comes out about as large as one that loses no row is taken to be that: the next row came
    after the usual interval, give or take `near_s`. Where lags are sharp this changes nothing.
    """
    known = np.isfinite(sd)
    seen = np.unique(level[known])
    column = np.searchsorted(seen, level)
    design = np.zeros((int(known.sum()), len(seen) + 1))
    design[np.arange(len(design)), column[known]] = 1.0
    design[:, -1] = t[known]
    y, own = lag[known], sd[known]
    prior = np.zeros((len(seen) + 1, len(seen) + 1))
    prior[-1, -1] = 1.0 / (DRIFT_SD_PPM * 1e-6) ** 2
    pull = np.zeros(len(seen) + 1)
    # The first pass goes by medians, so that an outlier does not draw the line to itself.
    found = np.array([*(np.median(y[column[known] == k]) for k in range(len(seen))), 0.0])
    inverse = np.empty((0, 0))
    for joined in (False, True):
        if joined:
            for k in range(1, len(seen)):
                wanted = expected.get(int(seen[k]), 0.0)
                step_sd = np.sqrt(inverse[k, k] + inverse[k - 1, k - 1] - 2 * inverse[k, k - 1] + near_s**2)
                if wanted and abs(found[k] - found[k - 1] - wanted) <= 3 * step_sd:
                    tie = np.zeros(len(seen) + 1)
                    tie[k], tie[k - 1] = 1.0, -1.0
                    prior += np.outer(tie, tie) / near_s**2
                    pull += tie * wanted / near_s**2
        for _ in range(6):
            z = (y - design @ found) / own
            spread = max(1.0, 1.4826 * float(np.median(np.abs(z))))
            weight = np.maximum(1 - (z / (5 * spread)) ** 2, 0.0) ** 2
            for k in range(len(seen)):  # a piece keeps at least its best lag
                mine = np.flatnonzero(column[known] == k)
                if not weight[mine].any():
                    weight[mine[np.argmin(np.abs(z[mine]))]] = 1.0
            w = weight / own**2
            inverse = np.linalg.inv(design.T @ (design * w[:, None]) + prior)
            found = inverse @ (design.T @ (w * y) + pull)
    residual = y - design @ found
    used = weight > 0.2
    # The scatter about the line says what the lags' own standard deviations leave out.
    free = max(float(np.sum(weight)) - len(seen) - 1, 1.0)
    chi = float(np.sum(weight * (residual / own) ** 2)) / free
    # Where it says more than they do it is an estimate from few values itself.
    w = weight / own**2 / (chi * _few(int(free)) if chi > 1.0 else 1.0)
    inverse = np.linalg.inv(design.T @ (design * w[:, None]) + prior)
    every = np.full(len(lag), np.nan)
    every[known] = residual
    kept = np.zeros(len(lag), np.bool_)
    kept[known] = used
    return _Solved(found[:-1], float(found[-1]), inverse, every, kept)


def _doubtful(solved: _Solved, level: IntArray, sd: FloatArray, run: IntArray) -> int | None:
    """The smallest step within a run that is no larger than its own doubt; None when all are."""
    known = np.isfinite(sd)
    seen = np.unique(level[known])
    cov = solved.covariance
    worst: tuple[float, int] | None = None
    for k in range(1, len(seen)):
        before, after = (int(np.flatnonzero(known & (level == seen[j]))[0]) for j in (k - 1, k))
        step = abs(float(solved.offset[k] - solved.offset[k - 1]))
        step_sd = float(np.sqrt(max(cov[k, k] + cov[k - 1, k - 1] - 2 * cov[k, k - 1], 0.0)))
        if run[before] == run[after] and step < max(LEAST_STEP_S, 3 * step_sd):
            worst = min(worst or (np.inf, 0), (step, int(seen[k])))
    return worst[1] if worst is not None else None


def _few(free: int) -> float:
    """By how much a variance is widened where few values speak, so that 1.96 sd still holds 95 %."""
    from scipy.special import stdtrit

    return float((stdtrit(max(free, 2), 0.975) / 1.96) ** 2)


def _assemble(
    rows: Rows,
    starts: IntArray,
    block: IntArray,
    level: IntArray,
    solved: _Solved,
    middle: float,
    common: float,
) -> Pieces:
    known = np.isfinite(solved.residual)
    seen = np.unique(level[known])
    stops = np.concatenate((starts[1:], [len(rows.stamp)]))
    pieces: list[Piece] = []
    cov = solved.covariance
    last_block = -1
    for k, number in enumerate(seen):
        mine = np.flatnonzero(known & (level == number))
        run = int(rows.run[starts[block[mine[0]]]])
        if not pieces or run != pieces[-1].run:
            from_stamp = -np.inf
            begin = int(np.flatnonzero(rows.run == run)[0])
        else:
            begin = int(starts[_step_block(rows, starts, last_block, int(block[mine[0]]), solved, k)])
            from_stamp = float(rows.stamp[begin])
        end = int(stops[block[mine[-1]]]) - 1
        ends = np.array([rows.stamp[begin], rows.stamp[end]]) - solved.offset[k] - middle
        variance = cov[k, k] + 2 * ends * cov[k, -1] + ends**2 * cov[-1, -1]
        step, step_sd = np.nan, np.nan
        if k:
            step = float(solved.offset[k] - solved.offset[k - 1])
            step_sd = float(np.sqrt(cov[k, k] + cov[k - 1, k - 1] - 2 * cov[k, k - 1]))
        pieces.append(
            Piece(
                run=run,
                from_stamp=from_stamp,
                offset_s=float(solved.offset[k] - solved.drift * middle),
                sd_s=float(np.hypot(np.sqrt(variance.max()), common)),
                step_s=step,
                step_sd_s=step_sd,
            )
        )
        last_block = int(block[mine[-1]])
    return Pieces(
        pieces=tuple(_with_silent_runs(rows, pieces)),
        drift_ppm=solved.drift * 1e6,
        drift_sd_ppm=float(np.sqrt(cov[-1, -1])) * 1e6,
        offset_sd_s=float(
            np.hypot(np.sqrt(cov[0, 0] - 2 * middle * cov[0, -1] + middle**2 * cov[-1, -1]), common)
        ),
        residual=solved.residual,
        used=solved.used,
    )


def _step_block(rows: Rows, starts: IntArray, before: int, after: int, solved: _Solved, k: int) -> int:
    """The hole, of those between two pieces, that the step fits: a step forward leaves a hole of its size."""
    step = float(solved.offset[k] - solved.offset[k - 1])
    between = np.arange(before + 1, after + 1)
    hole = rows.stamp[starts[between]] - rows.stamp[starts[between] - 1] - rows.interval_s
    wanted = step if step > 0 else 0.0
    fits = np.where(hole >= wanted - 0.5 * rows.interval_s - 1.0, np.abs(hole - wanted), np.inf)
    return int(between[np.argmin(fits)] if np.isfinite(fits).any() else between[np.argmax(hole)])


UNSEEN_GAP_SD_S = 30.0
"""How long nothing may have been recorded when a clock was set back, where no lag says (this project's choice)."""


def _with_silent_runs(rows: Rows, pieces: list[Piece]) -> list[Piece]:
    """Pieces for runs that no lag speaks for: taken to follow on the last row before without a pause."""
    out = list(pieces)
    have = {piece.run for piece in pieces}
    for run in rows.runs:
        if run in have:
            continue
        before = [piece for piece in out if piece.run < run]
        after = [piece for piece in out if piece.run > run]
        inside = np.flatnonzero(rows.run == run)
        if before:
            step = float(rows.stamp[inside[0]] - rows.stamp[inside[0] - 1]) - rows.interval_s
            offset = before[-1].offset_s + step
            sd = before[-1].sd_s
        else:
            step = np.nan
            offset = after[0].offset_s - (
                float(rows.stamp[inside[-1] + 1] - rows.stamp[inside[-1]]) - rows.interval_s
            )
            sd = after[0].sd_s
        out.append(
            Piece(
                run, -np.inf, offset, float(np.hypot(sd, UNSEEN_GAP_SD_S)), step, UNSEEN_GAP_SD_S, seen=False
            )
        )
        out.sort(key=lambda piece: (piece.run, piece.from_stamp))
    return out
