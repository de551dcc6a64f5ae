"""One transducer that moves alone: an arterial level steps and stays, its pulse and every other artery as they were.

A height shift of a whole pole (`height_shift`) is told by lines that cannot move alike in a patient. One line alone
may be a transducer that was moved or lost its zero, or an artery that was opened or narrowed above it: which of the
two cannot be told from the trace, so that this is a doubt and nothing is masked for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .artefact_numbers import HEIGHT, LONE_STEP
from .parameter import Numbers, numbers_of
from .pole_steps import differences
from .runs import FloatArray, median, true_runs


@dataclass(frozen=True, slots=True)
class LoneStep:
    """A step of one line.

    Attributes
    ----------
    line : int
        Which line.
    begins, ends : int
        First second of the step; first second in which it is undone, or in which the time looked at is over.
    amount : float
        Change against the other lines, mm[Hg].
    undone : bool
        Whether it went back to where it was.
    """

    line: int
    begins: int
    ends: int
    amount: float
    undone: bool


def lone_steps(
    levels: Sequence[FloatArray], pulses: Sequence[FloatArray], numbers: Numbers | None = None
) -> list[LoneStep]:
    """Steps that one arterial line makes alone, and does not make good for a time.

    Parameters
    ----------
    levels, pulses : sequence of ndarray
        Mean and pulse pressure of each arterial line by second, mm[Hg]; NaN where missing or not believed.
    numbers : mapping of str to float, optional
        In place of those of `artefact_numbers.LONE_STEP`.

    Returns
    -------
    list of LoneStep
        In order of time. Nothing with fewer than two lines: nothing can be held against one.
    """
    by = numbers_of(LONE_STEP) if numbers is None else numbers
    width, gap = round(HEIGHT["window"].value), round(HEIGHT["within"].value)
    if len(levels) < 2 or levels[0].size < 2 * width + gap:
        return []
    moved = differences(np.array(levels), width, gap)
    found: list[LoneStep] = []
    for line in range(len(levels)):
        others = np.delete(moved, line, axis=0)
        with np.errstate(invalid="ignore"):
            stayed = np.isfinite(others).any(axis=0) & ~(np.abs(others) > by["others"]).any(axis=0)
            stepped = stayed & (np.abs(moved[line]) >= by["step"])
        apart = levels[line] - _middle(np.delete(np.array(levels), line, axis=0))
        done = -width
        for start, stop in true_runs(stepped):
            at = int(start + np.argmax(np.abs(moved[line, start:stop])))
            if at < done + width:  # of a step that was undone its way back is no second one
                continue
            one = _lasting(line, apart, pulses[line], at, width + gap, by)
            if one is not None:
                found.append(one)
                done = one.ends
    return sorted(found, key=lambda one: (one.begins, one.line))


def _middle(levels: FloatArray) -> FloatArray:
    """Median of the lines in each second, NaN without any."""
    there = np.isfinite(levels).any(axis=0)
    out = np.full(levels.shape[1], np.nan)
    out[there] = np.nanmedian(levels[:, there], axis=0)
    return out


def _lasting(
    line: int, apart: FloatArray, pulse: FloatArray, at: int, reach: int, by: Numbers
) -> LoneStep | None:
    """The step about a second, if it lasts and the pulse is the same on both sides of it."""
    long = round(by["lasts"])
    before, after = slice(max(at - long, 0), at), slice(at + reach, at + reach + long)
    seen = [np.count_nonzero(np.isfinite(apart[side])) for side in (before, after)]
    if min(seen) < long / 2:
        return None
    old, new = median(apart[before]), median(apart[after])
    amount = new - old
    first, last = median(pulse[before]), median(pulse[after])
    kept = abs(last - first) <= HEIGHT["pulse"].value / 100 * first
    if abs(amount) < by["step"] or not kept or first < by["pulse"]:
        return None
    with np.errstate(invalid="ignore"):
        share = (apart - old) / amount
        begun = np.flatnonzero(share[at : at + reach] > HEIGHT["share"].value / 100)
        back = true_runs(np.abs(share[at + reach :]) < 0.5)
    lengths = back[:, 1] - back[:, 0]
    held = back[lengths >= reach]
    if held.size:
        return LoneStep(
            line, at + int(begun[0]) if begun.size else at, at + reach + int(held[0][0]), amount, True
        )
    known = np.flatnonzero(np.isfinite(apart))
    return LoneStep(line, at + int(begun[0]) if begun.size else at, int(known[-1]) + 1, amount, False)
