"""Steps that all lines of a pole make at once, by the same amount: from levels and swings of each second."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .artefact_numbers import HEIGHT
from .parameter import Numbers, numbers_of
from .runs import BoolArray, FloatArray, joined_runs, median, true_runs

Z95 = 1.96


@dataclass(frozen=True, slots=True)
class Step:
    """One step that all lines of a pole made together.

    Attributes
    ----------
    begins, settled : int
        First second in which the change is under way, and first one at the new level.
    amounts, halves : ndarray
        Change of each line in mm[Hg], and the half-width of its 95 % interval; NaN for a line not seen.
    common : float
        Median of the amounts.
    """

    begins: int
    settled: int
    amounts: FloatArray
    halves: FloatArray
    common: float


def common_steps(
    level: FloatArray,
    swing: FloatArray,
    *,
    kinds: Sequence[str],
    places: Sequence[str],
    numbers: Numbers | None = None,
) -> list[Step]:
    """Steps that all lines of a pole make by the same amount within a few seconds, their pulses unchanged.

    Parameters
    ----------
    level, swing : ndarray, shape (lines, seconds)
        Mean, and highest less lowest, of each second in mm[Hg]; NaN where nothing can be used.
    kinds, places : sequence of str
        Of each line: its kind of pressure, and where it measures.
    numbers : mapping of str to float, optional
        In place of those of `artefact_numbers.HEIGHT`.

    Returns
    -------
    list of Step
        In order of time. A line of which less than half was recorded just before or just after is not asked.
    """
    by = numbers_of(HEIGHT) if numbers is None else numbers
    width, gap = round(by["window"]), round(by["within"])
    if level.shape[1] < 2 * width + gap:
        return []
    moved = differences(level, width, gap)
    held = _agreeing(moved, kinds, places, by)
    # A pressure that falls all the while steps by another amount than a venous one that does not.
    before, after = _drifts(level, round(by["drift"]), gap)
    steady = np.isin(np.arange(moved.shape[1]), _near(held, width + gap))
    before[:, steady], after[:, steady] = 0.0, 0.0
    without = moved - (before + after) * (width + gap) / 2
    same_way = (np.sign(without) == np.sign(moved)) | ~np.isfinite(moved)
    held |= ~steady & same_way.all(axis=0) & _agreeing(without, kinds, places, by) & _one_way(moved, by)
    moved = without
    common = np.zeros(moved.shape[1])
    common[held] = np.nanmedian(moved[:, held], axis=0)
    found = []
    for sign in (1, -1):
        for start, stop in joined_runs(true_runs(sign * common > 0), gap):
            best = start + int(np.argmax(sign * common[start:stop]))
            if _pulse_changed(swing[np.isfinite(moved[:, best])], best, width, gap, by):
                continue
            drift = before[:, best], after[:, best]
            step = _step(level, moved[:, best], best, drift, width, gap, by)
            if step is not None:
                found.append(step)
    return sorted(found, key=lambda one: one.begins)


def differences(level: FloatArray, width: int, gap: int) -> FloatArray:
    """Mean of the `width` seconds that follow a gap, less that of those before it; by first second of the gap.

    Parameters
    ----------
    level : ndarray, shape (lines, seconds)
        NaN where nothing can be used.
    width, gap : int
        Seconds.

    Returns
    -------
    ndarray, shape (lines, seconds)
        NaN where either side was recorded for less than half.
    """
    lines, n = level.shape
    there = np.isfinite(level)
    total = np.zeros((lines, n + 1))
    count = np.zeros((lines, n + 1))
    np.cumsum(np.where(there, level, 0.0), axis=1, out=total[:, 1:])
    np.cumsum(there, axis=1, out=count[:, 1:])
    sums, counts = total[:, width:] - total[:, :-width], count[:, width:] - count[:, :-width]
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.where(counts >= 0.5 * width, sums / counts, np.nan)
    moved = np.full((lines, n), np.nan)
    last = n - width - gap  # first second of the last gap that has a window behind it
    moved[:, width : last + 1] = means[:, width + gap :] - means[:, : last + 1 - width]
    return moved


def _drifts(level: FloatArray, seconds: int, gap: int) -> tuple[FloatArray, FloatArray]:
    """Change of each line a second over the `seconds` before a gap, and over those after it; 0 where not known."""
    half = max(seconds // 2, 1)
    within = np.full(level.shape, np.nan)
    moved = differences(level, half, 0)
    within[:, : moved.shape[1]] = moved / half  # by the middle of so many seconds
    before, after = np.zeros(level.shape), np.zeros(level.shape)
    before[:, half:] = within[:, :-half]
    after[:, : level.shape[1] - gap - half] = within[:, gap + half :]
    return np.nan_to_num(before, nan=0.0), np.nan_to_num(after, nan=0.0)


def _near(held: BoolArray, reach: int) -> NDArray[np.intp]:
    """Seconds within so many of one that holds."""
    at = np.flatnonzero(held)
    return np.unique((at[:, None] + np.arange(-reach, reach + 1)).ravel())


def _one_way(moved: FloatArray, by: Numbers) -> BoolArray:
    """Seconds at which every line that was seen moved the same way by itself: a drift taken off makes no step."""
    least = by["step"] - by["apart"]
    with np.errstate(invalid="ignore"):
        return np.asarray((np.fmin.reduce(moved) >= least / 2) | (np.fmax.reduce(moved) <= -least / 2))


def _agreeing(moved: FloatArray, kinds: Sequence[str], places: Sequence[str], by: Numbers) -> BoolArray:
    """Seconds at which enough lines were seen, and all of them moved by about as much."""
    least = by["step"] - by["apart"]
    held = (np.fmin.reduce(moved) >= least) | (np.fmax.reduce(moved) <= -least)
    at = np.flatnonzero(held)  # few: a median of every second would cost more than all the rest
    amounts = moved[:, at]
    seen = np.isfinite(amounts)
    common = np.nanmedian(amounts, axis=0)
    with np.errstate(invalid="ignore"):
        near = (np.abs(amounts - common) <= by["apart"]) | ~seen
    held[at] = (
        near.all(axis=0)
        & (np.abs(common) >= by["step"])
        & (_different(seen, places) >= by["lines"])
        & (_different(seen, kinds) >= by["kinds"])
    )
    return np.asarray(held)


def _different(seen: BoolArray, names: Sequence[str]) -> NDArray[np.intp]:
    """How many different names are among the rows that were seen, by column."""
    own = np.array(names)
    return np.asarray(sum(seen[own == name].any(axis=0).astype(np.intp) for name in sorted(set(names))))


def _pulse_changed(swing: FloatArray, at: int, width: int, gap: int, by: Numbers) -> bool:
    """Whether the pulse of any line is another after the gap than before it."""
    for line in swing:
        before, after = median(line[at - width : at]), median(line[at + gap : at + gap + width])
        if abs(after - before) > max(by["pulse_mmhg"], by["pulse"] / 100 * before):
            return True
    return False


def _step(
    level: FloatArray,
    moved: FloatArray,
    at: int,
    drift: tuple[FloatArray, FloatArray],
    width: int,
    gap: int,
    by: Numbers,
) -> Step | None:
    """Where a step began and was over, read from all lines at once, the quiet ones counting most.

    `drift` is what each line changes by in a second before it, and after it: taken off on either side of its middle.
    """
    first, last = at - width, at + gap + width
    away = np.arange(last - first) - (width + (gap - 1) / 2)
    piece = level[:, first:last] - np.where(away < 0, drift[0][:, None], drift[1][:, None]) * away
    old = _mean(piece[:, :width])
    scatter = np.hypot(_scatter(piece[:, :width]), _scatter(piece[:, width + gap :]))
    seen = np.isfinite(moved)
    weight = np.where(seen, (moved / np.maximum(scatter, 0.1)) ** 2, 0.0)[:, None] * np.isfinite(piece)
    part = np.where(weight > 0, (piece - old[:, None]) / moved[:, None], 0.0)
    whole = weight.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        course = np.where(whole > 0, (weight * part).sum(axis=0) / whole, np.nan)
    half = np.flatnonzero(course[: width + gap + 1] >= 0.5)
    if not half.size:
        return None
    share = by["share"] / 100
    still = np.flatnonzero(course[: half[0] + 1] <= share)
    there = half[0] + np.flatnonzero(course[half[0] :] >= 1 - share)
    if not still.size or not there.size or there[0] - still[-1] - 1 > gap:
        return None
    begins, settled = int(first + still[-1] + 1), int(first + there[0])
    amounts, halves = amounts_of(level, begins, settled, seen, round(by["around"]), drift)
    return Step(begins, settled, amounts, halves, median(amounts))


def amounts_of(
    level: FloatArray,
    begins: int,
    settled: int,
    seen: BoolArray,
    around: int,
    drift: tuple[FloatArray | float, FloatArray | float] = (0.0, 0.0),
) -> tuple[FloatArray, FloatArray]:
    """Change of each line over a step, and the half-width of its 95 % interval by the scatter of the seconds."""
    old, new = level[:, max(begins - around, 0) : begins], level[:, settled : settled + around]
    half_step = (settled - begins + 1) / 2
    drifted = (
        drift[0] * (old.shape[1] - 1 + 2 * half_step) / 2 + drift[1] * (new.shape[1] - 1 + 2 * half_step) / 2
    )
    amounts = np.where(seen, _mean(new) - _mean(old) - drifted, np.nan)
    halves = Z95 * np.hypot(_scatter(old) / _root(old), _scatter(new) / _root(new))
    return amounts, np.where(seen, halves, np.nan)


def _mean(piece: FloatArray) -> FloatArray:
    there = np.isfinite(piece)
    count = there.sum(axis=1)
    total = np.where(there, piece, 0.0).sum(axis=1)
    return np.asarray(np.divide(total, count, out=np.full(len(piece), np.nan), where=count > 0))


def _scatter(piece: FloatArray) -> FloatArray:
    there = np.isfinite(piece)
    count = there.sum(axis=1)
    apart = np.where(there, piece - _mean(piece)[:, None], 0.0) ** 2
    variance = np.divide(apart.sum(axis=1), count - 1, out=np.zeros(len(piece)), where=count > 1)
    return np.asarray(np.sqrt(variance))


def _root(piece: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.maximum(np.isfinite(piece).sum(axis=1), 1)))
