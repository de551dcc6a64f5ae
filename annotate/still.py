"""Stretches of a channel that say nothing because they do not move, or are not there.

Pure functions on rows and on evenly sampled pieces of wave, by the numbers of `artefact_numbers.UNUSABLE`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from .artefact_numbers import UNUSABLE
from .parameter import Numbers, numbers_of
from .runs import BoolArray, FloatArray, true_runs

Piece = tuple[float, float, FloatArray]  # start in reference seconds, rate in Hz, values


def still_runs(values: FloatArray, least: int) -> NDArray[np.intp]:
    """Start and past-end of runs of at least `least` identical samples; NaN equals nothing."""
    same = np.concatenate([values[1:] == values[:-1], [False]])
    runs = true_runs(same)
    runs[:, 1] += 1
    return runs[runs[:, 1] - runs[:, 0] >= max(least, 2)]


def off_scale(
    values: FloatArray,
    rate_hz: float,
    low: float,
    high: float,
    *,
    pressure: bool = True,
    numbers: Numbers | None = None,
) -> BoolArray:
    """Samples in long runs at exactly the lowest or highest value of the whole channel.

    Parameters
    ----------
    values : ndarray
        One piece, NaN where not recorded.
    rate_hz : float
        Samples per second.
    low, high : float
        Lowest and highest value of the whole channel.
    pressure : bool
        Whether it is a wave of pressure: any other may rest at its lowest value for longer.
    numbers : mapping of str to float, optional
        In place of those of `artefact_numbers.UNUSABLE`.

    Returns
    -------
    ndarray of bool
        True in long runs at the lowest value, and in longer ones at the highest: what a device writes
        while nothing is connected, or cannot write any more.
    """
    by = numbers_of(UNUSABLE) if numbers is None else numbers
    shortest_s = by["low" if pressure else "low_other"]
    out = np.zeros(values.shape, bool)
    if not low < high:
        return out
    for start, stop in still_runs(values, int(min(shortest_s, by["high"]) * rate_hz)):
        least = shortest_s if values[start] == low else by["high"]
        if values[start] in (low, high) and stop - start >= int(least * rate_hz):
            out[start:stop] = True
    return out


def frozen_wave(
    values: FloatArray,
    rate_hz: float,
    t0: float = 0.0,
    *,
    pressure: bool = True,
    numbers: Numbers | None = None,
) -> list[tuple[float, float]]:
    """Stretches in which a wave repeats one value exactly, for longer where its steps are coarse.

    A breath or a pleth may rest, or be cut at the top, for seconds: `pressure` says that it is neither. A
    wave that repeats itself for most of the time anyway is not judged. Numbers in place of those of
    `artefact_numbers.UNUSABLE` may be given.
    """
    by = numbers_of(UNUSABLE) if numbers is None else numbers
    shortest_s = by["frozen" if pressure else "frozen_other"]
    steps = np.abs(np.diff(values))
    steps = steps[np.isfinite(steps)]
    if not steps.size or np.count_nonzero(steps == 0) > by["restless"] / 100 * steps.size:
        return []
    quantum = float(np.min(steps, where=steps > 0, initial=np.inf))
    least = max(by["frozen_coarse"], shortest_s) if quantum >= by["coarse"] else shortest_s
    runs = still_runs(values, int(np.ceil(least * rate_hz)))
    return [(t0 + start / rate_hz, t0 + stop / rate_hz) for start, stop in runs]


def frozen_rows(
    t: FloatArray, values: FloatArray, interval_s: float, *, numbers: Numbers | None = None
) -> list[tuple[float, float]]:
    """Many identical values in a row on a channel that is noisy enough for that to be odd.

    Parameters
    ----------
    t, values : ndarray
        Rows with a value, in order of time.
    interval_s : float
        Usual distance between rows.
    numbers : mapping of str to float, optional
        In place of those of `artefact_numbers.UNUSABLE`.

    Returns
    -------
    list of (start, end)
        Ten equal rows or more, where of the rows on either side at most 30 % repeat the row before and at most
        30 % have this very value. Where more do, as many more rows as make the run just as rare by chance;
        a side of fewer than ten rows says nothing, and none is told where half of them repeat anyway: a
        whole-numbered saturation at rest stands for minutes. A channel that moves one way for long (a rounded
        temperature) is not noisy, nor is one whose changes hardly ever exceed one step of its reading, and the
        level 0 is never called frozen: a pump that stands has no flow.
        All but the ten is this project's choice.
    """
    by = numbers_of(UNUSABLE) if numbers is None else numbers
    least, around = int(by["rows"]), int(by["neighbours"])
    moves = np.sign(np.diff(values))
    moves = moves[moves != 0]
    turns = np.count_nonzero(moves[1:] != moves[:-1])
    if values.size < 2 * least or turns < by["reversals"] / 100 * moves.size:
        return []
    steps = np.abs(np.diff(values))
    step = float(steps[steps > 0].min(initial=np.inf))
    found = []
    for start, stop in still_runs(values, least):
        both = (values[max(start - around, 0) : start], values[stop : stop + around])
        sides = [side for side in both if side.size >= least]
        if not sides:
            continue
        repeats = max(np.count_nonzero(side[1:] == side[:-1]) / (side.size - 1) for side in sides)
        # One more of each, so that a short side without the value does not rule it out.
        usual = max((np.count_nonzero(side == values[start]) + 1) / (side.size + 1) for side in sides)
        wide = max(_share_of_wide_changes(side, step) for side in sides)
        if wide < by["wide"] / 100:
            continue  # noise of less than one step of the reading: between two steps it moves nothing
        rare = max(usual, repeats) ** (stop - start - 1) <= (by["noisy"] / 100) ** (least - 1)
        if values[start] != 0 and repeats < by["repeats"] / 100 and rare:
            found.append((float(t[start]), float(t[stop - 1]) + interval_s))
    return found


def _share_of_wide_changes(values: FloatArray, step: float) -> float:
    """Part of the changes that are of more than one step of the reading."""
    changes = np.abs(np.diff(values))
    changes = changes[changes > 0]
    return float(np.count_nonzero(changes > 1.5 * step) / changes.size) if changes.size else 0.0


def gaps_between(spans: Iterable[tuple[float, float]], longest_s: float) -> list[tuple[float, float]]:
    """Stretches of more than `longest_s` seconds between the spans in which samples are there."""
    found = []
    reached: float | None = None
    for start, end in sorted(spans):
        if reached is not None and start - reached > longest_s:
            found.append((reached, start))
        reached = end if reached is None else max(reached, end)
    return found


def waves_on_scale(
    pieces: Sequence[Piece], *, pressure: bool = True, numbers: Numbers | None = None
) -> list[tuple[float, float, FloatArray, BoolArray]]:
    """Each piece with its off-scale samples blanked, and where they were."""
    finite = [piece[2][np.isfinite(piece[2])] for piece in pieces]
    low = min((float(v.min()) for v in finite if v.size), default=np.nan)
    high = max((float(v.max()) for v in finite if v.size), default=np.nan)
    out = []
    for t0, rate, values in pieces:
        off = off_scale(values, rate, low, high, pressure=pressure, numbers=numbers)
        out.append((t0, rate, np.where(off, np.nan, values) if off.any() else values, off))
    return out
