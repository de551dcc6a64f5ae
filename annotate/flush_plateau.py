"""The plateau of a fast flush on a badly damped line: it dips and swings before it lies still."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .parameter import Numbers
from .runs import FloatArray


def plateaus(values: FloatArray, runs: NDArray[np.intp], rate: float, by: Numbers) -> list[tuple[int, int]]:
    """Runs joined over short dips; one that falls far is the release, and what follows is its ring."""
    found: list[tuple[int, int]] = []
    for start, stop in runs.tolist():
        if found and start - found[-1][1] <= int(by["joined"] * rate):
            dip = values[found[-1][1] : start]
            if not (dip < by["level"] - by["dip"]).any():
                found[-1] = found[-1][0], stop
                continue
        found.append((start, stop))
    return found


def rings_away(values: FloatArray, rate: float, start: int, stop: int, by: Numbers) -> bool:
    """Whether a plateau swings as a badly damped line does at its rise: faster than a pulse, and dying away.

    Swings are counted between turning points, each of them large; a pulse does not become smaller beat by beat,
    and none of its half cycles is as short.
    """
    plateau = values[max(start - 1, 0) : max(stop - int(by["tail"] * rate), 0)]
    if plateau.size < 3 or not np.isfinite(plateau).all():
        return False
    turns = _turns(plateau, by["ringing_swing"])
    level = plateau[turns]
    swings, halves = np.abs(np.diff(level)), np.diff(turns) / rate
    if swings.size < by["ringing_swings"]:
        return False
    at_top = (
        level[:-1] >= np.max(plateau) - 0.5
    )  # a swing cut off at the top of the scale is smaller than it was
    dying = (swings[1:] < swings[:-1]) | at_top[:-1] | at_top[1:]
    less = swings[-1] <= by["ringing_left"] / 100 * swings[0]
    return bool((halves <= by["ringing_half"]).all() and dying.all() and less)


def _turns(values: FloatArray, least: float) -> NDArray[np.intp]:
    """Turning points from which the values come back by at least `least`, highest and lowest in turn."""
    found: list[int] = []
    at, sign = 0, 1.0
    for here in range(1, values.size):
        if sign * (values[here] - values[at]) > 0:
            at = here
        elif sign * (values[at] - values[here]) > least:
            found.append(at)
            at, sign = here, -sign
    return np.array(found, np.intp)
