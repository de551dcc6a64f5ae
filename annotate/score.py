"""How well finds or marks agree with what is known to be there: matched one to one, per class, told with its doubt.

Within a class every find is matched to at most one true event and back, by the assignment that matches the most
(and among those the one with the smallest onset differences): greedy matching would depend on the order. A pair may
match where the onsets lie within a tolerance, or where the two overlap by at least half of what they cover together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

TOLERANCES_S = (2.0, 5.0, 10.0, 15.0, 30.0, 60.0)
"""Onset tolerances of the curve: one number alone would hide how the answer depends on it."""
OVERLAP = 0.5  # of what two cover together, from which they match whatever their onsets

_NO_MATCH = 1e6


@dataclass(frozen=True, slots=True)
class Stretch:
    """One event, as known or as found.

    Attributes
    ----------
    code : str
        Class.
    start_s, end_s : float
        Reference seconds; equal for a point.
    tolerance_s : float
        Onset tolerance of a true event; not used of a found one.
    either_way : bool
        A true event that may be found or not: it makes no miss, and a find of it is no false one.
    """

    code: str
    start_s: float
    end_s: float
    tolerance_s: float = 15.0
    either_way: bool = False


@dataclass(frozen=True, slots=True)
class Count:
    """What came of one class, or of several together.

    Attributes
    ----------
    hits, misses, false : int
        True events that were found and that were not, and finds that match nothing true. What may be found or not
        is in none of them.
    onset_s, end_s : ndarray
        Found less true, of each hit, in seconds.
    """

    hits: int = 0
    misses: int = 0
    false: int = 0
    onset_s: tuple[float, ...] = ()
    end_s: tuple[float, ...] = ()

    @property
    def planted(self) -> int:
        """True events."""
        return self.hits + self.misses

    @property
    def recall(self) -> float:
        """Share of the true events that were found; NaN without any."""
        return self.hits / self.planted if self.planted else float("nan")

    @property
    def precision(self) -> float:
        """Share of the finds that are true; NaN without any find."""
        found = self.hits + self.false
        return self.hits / found if found else float("nan")

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall; NaN where nothing is true and nothing was found."""
        whole = 2 * self.hits + self.false + self.misses
        return 2 * self.hits / whole if whole else float("nan")

    def __add__(self, other: Count) -> Count:
        return Count(
            self.hits + other.hits,
            self.misses + other.misses,
            self.false + other.false,
            self.onset_s + other.onset_s,
            self.end_s + other.end_s,
        )


By = Literal["either", "onset", "overlap"]
"""What makes a pair: the onsets, half of what both cover together, or either of the two."""


def match(
    true: Sequence[Stretch],
    found: Sequence[Stretch],
    tolerance_s: float | None = None,
    by: By = "either",
) -> list[tuple[int, int]]:
    """Pairs of one class, one to one: the most that can be matched, with the smallest onset differences.

    Parameters
    ----------
    true, found : sequence of Stretch
        Of one class and one case.
    tolerance_s : float, optional
        Onset tolerance for all; that of each true event if not given.
    by : {"either", "onset", "overlap"}
        What makes a pair.

    Returns
    -------
    list of (int, int)
        Index into `true` and into `found`.
    """
    if not true or not found:
        return []
    from scipy.optimize import linear_sum_assignment

    cost = np.full((len(true), len(found)), _NO_MATCH)
    for i, one in enumerate(true):
        within = one.tolerance_s if tolerance_s is None else tolerance_s
        for j, other in enumerate(found):
            apart = abs(other.start_s - one.start_s)
            near = by != "overlap" and apart <= within
            if near or (by != "onset" and overlap(one, other) >= OVERLAP):
                # What may be found or not gives way to what must be.
                cost[i, j] = min(apart, 0.1 * _NO_MATCH) + (0.2 * _NO_MATCH if one.either_way else 0)
    rows, columns = linear_sum_assignment(cost)
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if cost[i, j] < _NO_MATCH]


def overlap(one: Stretch, other: Stretch) -> float:
    """Seconds that both cover, over those that either covers; 0 for points."""
    both = min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
    either = max(one.end_s, other.end_s) - min(one.start_s, other.start_s)
    return both / either if both > 0 and either > 0 else 0.0


def score(
    true: Iterable[Stretch],
    found: Iterable[Stretch],
    tolerance_s: float | None = None,
    by: By = "either",
) -> dict[str, Count]:
    """Counts of one case by class.

    Parameters
    ----------
    true, found : iterable of Stretch
        What is known to be there, and what was found. A class that the truth never names is counted too: all of
        its finds are false.
    tolerance_s, by
        See `match`.

    Returns
    -------
    dict of str to Count
        In order of class.
    """
    known, seen = list(true), list(found)
    counts = {}
    for code in sorted({one.code for one in (*known, *seen)}):
        own = [one for one in known if one.code == code]
        its = [one for one in seen if one.code == code]
        pairs = match(own, its, tolerance_s, by)
        hits = [(own[i], its[j]) for i, j in pairs if not own[i].either_way]
        counts[code] = Count(
            hits=len(hits),
            misses=sum(not one.either_way for one in own) - len(hits),
            false=len(its) - len(pairs) - _spare(own, its, pairs),
            onset_s=tuple(other.start_s - one.start_s for one, other in hits),
            end_s=tuple(other.end_s - one.end_s for one, other in hits),
        )
    return counts


def _spare(own: Sequence[Stretch], its: Sequence[Stretch], pairs: Sequence[tuple[int, int]]) -> int:
    """Unmatched finds that lie within what may be found or not: two finds of one such stretch are no mistake either."""
    matched = {j for _, j in pairs}
    return sum(
        any(one.either_way and one.start_s < other.end_s and one.end_s > other.start_s for one in own)
        for j, other in enumerate(its)
        if j not in matched
    )


def added(counts: Iterable[Mapping[str, Count]]) -> dict[str, Count]:
    """Counts of several cases together, by class."""
    total: dict[str, Count] = {}
    for one in counts:
        for code, count in one.items():
            total[code] = total.get(code, Count()) + count
    return dict(sorted(total.items()))


def overall(counts: Mapping[str, Count]) -> Count:
    """All classes together."""
    return sum(counts.values(), Count())


def curve(
    cases: Sequence[tuple[Sequence[Stretch], Sequence[Stretch]]], tolerances_s: Sequence[float] = TOLERANCES_S
) -> dict[float, Count]:
    """All classes of several cases together at each onset tolerance, by onset alone: ``(true, found)`` of each case."""
    return {
        tolerance: overall(added(score(true, found, tolerance, "onset") for true, found in cases))
        for tolerance in tolerances_s
    }


def recall_bounds(count: Count, level: float = 0.95) -> tuple[float, float]:
    """Exact interval of a recall, two-sided.

    References
    ----------
    Clopper CJ, Pearson ES. Biometrika 1934;26:404-13.
    """
    from scipy.stats import beta

    tail = (1 - level) / 2
    low = float(beta.ppf(tail, count.hits, count.misses + 1)) if count.hits else 0.0
    high = float(beta.ppf(1 - tail, count.hits + 1, count.misses)) if count.misses else 1.0
    return low, high


@dataclass(frozen=True, slots=True)
class BoundaryOffsets:
    """Found less true, in seconds: median, quartiles and mean, and how many there are."""

    count: int
    median_s: float
    low_s: float
    high_s: float
    bias_s: float


def boundary_offsets(differences_s: Sequence[float]) -> BoundaryOffsets:
    """Summary of boundary differences; NaN without any."""
    values: NDArray[np.float64] = np.asarray(differences_s, dtype=np.float64)
    if not values.size:
        nan = float("nan")
        return BoundaryOffsets(0, nan, nan, nan, nan)
    low, middle, high = np.percentile(values, [25, 50, 75])
    return BoundaryOffsets(values.size, float(middle), float(low), float(high), float(values.mean()))


def brier(confidences: Sequence[float], true: Sequence[bool]) -> float:
    """Mean squared difference of confidence (0 to 1) and truth.

    References
    ----------
    Brier GW. Mon Weather Rev 1950;78:1-3 (binary form).

    Examples
    --------
    >>> round(brier([0.9, 0.6, 0.2], [True, True, False]), 3)
    0.07
    """
    sure = np.asarray(confidences, dtype=np.float64)
    return float(np.mean((sure - np.asarray(true, dtype=np.float64)) ** 2))
