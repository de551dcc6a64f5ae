"""The steadiest path through the lags of many windows: one clock, with the steps that its stamps allow."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..runs import BoolArray, FloatArray
from .seams import Seams

HOLE_PRICE = 18.0
"""Evidence, in natural logarithms, that a step at a hole in the stamps must bring (this project's choice: the
choice among some 20,000 lags is worth 10, and few holes are steps)."""

EXPECTED_PRICE = 4.0
"""The same for a step of just the hole's size, which loses no row (this project's choice)."""

RUN_PRICE = 8.0
"""The same for a new run whose step is not how far the stamps went back (this project's choice)."""

DRIFT_PRICE = 2.0
"""For moving by one second from window to window, as a clock that drifts does now and then."""

CHANCE = 0.5
"""What a window brings on average where nothing fits: half of one degree of freedom."""


@dataclass(frozen=True)
class Window:
    """Rows ``[first, stop)``, all of one run."""

    first: int
    stop: int
    run: int


@dataclass(frozen=True)
class Path:
    """The lag (stamp less reference time) that each window goes by.

    Attributes
    ----------
    windows : tuple of Window
    lag : ndarray
        Seconds, one a window.
    gain : ndarray
        Evidence for it, natural logarithms.
    total : float
        Evidence of the whole path, less what chance gives and the prices of its steps.
    rival : float
        The same for the best single lag that is elsewhere.
    lags, evidence : ndarray
        For a chart: evidence of all windows together at each lag, seconds and natural logarithms.
    """

    windows: tuple[Window, ...]
    lag: FloatArray
    gain: FloatArray
    total: float
    rival: float
    lags: FloatArray
    evidence: FloatArray


class _Seam(NamedTuple):
    """What may happen to the lag between two windows."""

    stay: bool
    step: float  # the step that loses no row, in lags; 0: none
    expected_price: float
    other_price: float


def _between(seams: Seams | None, windows: tuple[Window, ...], grid_s: float) -> list[_Seam]:
    """For each window but the first; only at holes and new runs can there be a step."""
    out = []
    for one, other in itertools.pairwise(windows):
        back, jump = seams.between(one.first, other.first) if seams is not None else (False, 0.0)
        if back:
            out.append(_Seam(False, jump / grid_s, 0.0, RUN_PRICE))
        elif jump:
            out.append(_Seam(True, jump / grid_s, EXPECTED_PRICE, HOLE_PRICE))
        else:
            out.append(_Seam(True, 0.0, np.inf, np.inf))
    return out


def path_through(
    windows: tuple[Window, ...],
    scores: NDArray[np.float32],
    seams: Seams | None,
    lags: FloatArray,
    grid_s: float,
    *,
    chance: float = CHANCE,
    apart_s: float = 30.0,
) -> Path:
    """The path of most evidence, and what speaks for any other lag.

    Parameters
    ----------
    windows : tuple of Window
    scores : ndarray, shape (windows, lags)
        Evidence of each window for each lag.
    seams : Seams or None
        Holes and new runs of the source; None where no step is looked for.
    lags : ndarray
        Seconds.
    grid_s : float
        Seconds between lags.
    chance : float
        What a window gives on average where nothing fits.
    apart_s : float
        From how far away on a lag counts as another.
    """
    between = _between(seams, windows, grid_s)
    chosen, price = _steadiest(scores, between, reach=max(1, round(1.0 / grid_s)))
    gain = scores[np.arange(len(windows)), chosen].astype(np.float64)
    together = scores.sum(axis=0, dtype=np.float64) - chance * len(windows)
    near = _near(lags, lags[chosen], apart_s)
    return Path(
        windows=windows,
        lag=lags[chosen],
        gain=gain,
        total=float(np.sum(gain - chance) - price),
        rival=float(together[~near].max()) if (~near).any() else 0.0,
        lags=lags,
        evidence=together,
    )


def _steadiest(
    scores: NDArray[np.float32], between: list[_Seam], *, reach: int
) -> tuple[NDArray[np.intp], float]:
    """The lag of each window on the path of most evidence (dynamic programming over windows and lags).

    Parameters
    ----------
    scores : ndarray, shape (windows, lags)
        Evidence of each window for each lag.
    between : list
        What may happen before each window but the first.
    reach : int
        How many lags a drifting clock may move by from window to window.

    Returns
    -------
    chosen : ndarray of int
    price : float
        What the path's steps and moves cost together.
    """
    count, width = scores.shape
    value = scores[0].astype(np.float64)
    came = np.zeros(scores.shape, np.int32)
    index = np.arange(width)
    for number in range(1, count):
        seam = between[number - 1]
        arrive = value.copy() if seam.stay else np.full(width, -np.inf)
        origin = index.copy()

        def moved_by(move: int, price: float, arrive: FloatArray = arrive, value: FloatArray = value,
                     origin: NDArray[np.intp] = origin) -> None:  # fmt: skip
            if abs(move) >= width:
                return
            moved = np.full(width, -np.inf)
            moved[max(move, 0) : width + min(move, 0)] = value[max(-move, 0) : width - max(move, 0)] - price
            better = moved > arrive
            arrive[better], origin[better] = moved[better], index[better] - move

        if seam.stay:
            moved_by(-reach, DRIFT_PRICE)
            moved_by(reach, DRIFT_PRICE)
        if seam.step or not seam.stay:
            around = round(seam.step)
            for move in range(around - 2 * reach, around + 2 * reach + 1):
                moved_by(move, seam.expected_price)
        if np.isfinite(seam.other_price):
            best = int(np.argmax(value))
            far = arrive < value[best] - seam.other_price
            arrive[far], origin[far] = value[best] - seam.other_price, best
        came[number] = origin
        value = arrive + scores[number]
    at = int(np.argmax(value))
    total = float(value[at])
    chosen = np.empty(count, np.intp)
    for number in range(count - 1, -1, -1):
        chosen[number] = at
        at = int(came[number, at])
    return chosen, float(scores[np.arange(count), chosen].sum(dtype=np.float64)) - total


def _near(lags: FloatArray, chosen: FloatArray, reach_s: float) -> BoolArray:
    near = np.zeros(len(lags), np.bool_)
    for lag in np.unique(chosen):
        near |= np.abs(lags - lag) <= reach_s
    return near
