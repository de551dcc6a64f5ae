"""When the heart beats: onsets of every beat, early ones and alternating ones included.

The heart beats until it fibrillates in the cold at 88:00 and again once it has been paced from 214:30.
The rate follows the keyframes with a beat-to-beat spread of 2 %; paced beats are steadier (0.5 %,
this project's choice: the true row says "regular paced ejection").
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import tables
from .trend import line

FloatArray = NDArray[np.float64]

SPREAD = 0.02
PACED_SPREAD = 0.005
PACED_UNTIL_S = 240 * 60.0
SLOWEST = 30.0  # beats per minute; below this the keyframes are on their way from or to no beat at all

# Nine early beats while the sternum is re-entered, every fourth beat in three runs. The wave recipe
# speaks of one early beat in four, the true row of nine: this fits both. Counted from the first beat
# after the dip begins.
EARLY = (2, 6, 10, 32, 36, 40, 62, 66, 70)
EARLY_BY = 0.38  # of the beat before
EARLY_PULSE = 0.6  # a heart that had no time to fill
NEXT_PULSE = 1.15


@dataclass(frozen=True, slots=True)
class Beats:
    """Beats in order.

    Attributes
    ----------
    onset, length : ndarray of float64
        Seconds. A beat lasts until the next one; before a standstill it has its own length.
    strength : ndarray of float64
        Pulse in parts of the keyframes' pulse pressure: 1 but for early beats and the one after.
    alternation : ndarray of float64
        +1 and −1 by turns while the pulse alternates, else 0.
    early : ndarray of bool
    """

    onset: FloatArray
    length: FloatArray
    strength: FloatArray
    alternation: FloatArray
    early: NDArray[np.bool_]

    def at(self, t: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
        """Index of the beat at each of the seconds `t`, and how far into it (1 and more: no beat)."""
        index = np.maximum(np.searchsorted(self.onset, t, side="right") - 1, 0)
        return index, (t - self.onset[index]) / self.length[index]


def episode(
    t: FloatArray,
    rate: Callable[[FloatArray], FloatArray],
    spread: Callable[[FloatArray], FloatArray],
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Onsets and lengths of the beats in one stretch `t` (every 0.1 s) in which the heart beats.

    Parameters
    ----------
    t : ndarray
        Seconds.
    rate, spread : callable
        Beats a minute at given seconds, and standard deviation of an interval in parts of it.
    rng : numpy Generator
        For the spread.
    """
    per_minute = rate(t)
    number = np.concatenate(([0.0], np.cumsum((per_minute[1:] + per_minute[:-1]) / 120 * np.diff(t))))
    onset = np.interp(np.arange(int(number[-1]) + 1), number, t)
    length = 60 / rate(onset)
    # Moving each onset by itself keeps the rate on its keyframes; √½ because an interval has two ends.
    onset = onset + rng.standard_normal(onset.size) * spread(onset) * length * np.sqrt(0.5)
    return onset, length


def beating_stretches(beating: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and past-last index of each stretch in which the heart beats."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], beating.astype(np.int8), [0])))).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))


def lengths(onset: FloatArray, own_length: FloatArray) -> FloatArray:
    """A beat lasts until the next one; the last before a standstill has its own length."""
    length = np.append(np.diff(onset), own_length[-1])
    return np.where(length > 2 * own_length, own_length, length)


def _demo_episode(t: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    def spread(onset: FloatArray) -> FloatArray:
        return np.where((onset < PACED_UNTIL_S) & (t[0] > 0), PACED_SPREAD, SPREAD)

    return episode(t, lambda at: line("HR", at), spread, rng)


def beats(rng: np.random.Generator) -> Beats:
    """Every beat of the record."""
    grid = np.arange(0, tables.LENGTH_S + 1, 0.1)
    beating = line("HR", grid) >= SLOWEST
    pieces = [_demo_episode(grid[a:b], rng) for a, b in beating_stretches(beating)]
    onset = np.concatenate([piece[0] for piece in pieces])
    own_length = np.concatenate([piece[1] for piece in pieces])

    ((dip_start, _),) = tables.spans("E04")
    early = np.zeros(onset.size, bool)
    early[np.searchsorted(onset, dip_start) + np.asarray(EARLY)] = True
    onset = onset - np.where(early, EARLY_BY * own_length, 0)
    strength = np.ones(onset.size)
    strength[early] = EARLY_PULSE
    strength[np.flatnonzero(early) + 1] = NEXT_PULSE

    length = lengths(onset, own_length)

    ((start, end),) = tables.spans("E29")
    alternation = np.where((onset >= start) & (onset < end), 1.0 - 2 * (np.arange(onset.size) % 2), 0.0)
    return Beats(onset, length, strength, alternation, early)
