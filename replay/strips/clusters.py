"""Bars of a lane whose labels would stand on each other, taken together with their count.

Numbers only; what is painted of it stands in `lane_paint`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Cluster:
    """Bars that share one label.

    Attributes
    ----------
    at : float
        Where the first of them begins, logical pixels.
    row : int
        Of the lane.
    members : tuple of int
        Numbers of the bars, in order of their begins; two or more.
    """

    at: float
    row: int
    members: tuple[int, ...]


def clusters_of(anchors: NDArray[np.float64], rows: NDArray[np.int64], label_width: float) -> list[Cluster]:
    """Bars whose begins stand closer than a label is wide, of each row.

    From the first bar on, all that begin within one width of it are taken together; the next one behind them
    begins anew, so that a crowded lane becomes a row of counts and not one heap.

    Parameters
    ----------
    anchors : ndarray of float64
        Where the labels stand: the begins of the bars in logical pixels, or the window's edge; ordered within each
        row.
    rows : ndarray of int64
        Row of each.
    label_width : float
        Logical pixels.

    Returns
    -------
    list of Cluster
        Those of two bars or more.

    Examples
    --------
    >>> clusters_of(np.array([0.0, 10.0, 30.0, 90.0]), np.zeros(4, np.int64), 24.0)
    [Cluster(at=0.0, row=0, members=(0, 1))]
    """
    found: list[Cluster] = []
    for row in np.unique(rows).tolist():
        here = np.flatnonzero(rows == row)
        places = anchors[here]
        first = 0
        while first < len(here):
            stop = int(np.searchsorted(places, places[first] + label_width, side="left"))
            if stop - first > 1:
                found.append(Cluster(float(places[first]), row, tuple(here[first:stop].tolist())))
            first = max(stop, first + 1)
    return found


def cluster_words(labels: Sequence[str]) -> tuple[str, str]:
    """What stands for several bars: each class with how often, and, where that has no room, how many they are.

    Examples
    --------
    >>> cluster_words(["E19", "E30", "E30"])
    ('2 E30, E19', '×3')
    """
    many = Counter(labels)
    ordered = sorted(many, key=lambda label: (-many[label], label))
    full = ", ".join(f"{many[label]} {label}" if many[label] > 1 else label for label in ordered)
    return full, f"×{len(labels)}"
