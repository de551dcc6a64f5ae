"""What a measure would be if masked stretches were bridged: an estimate that stands beside the observed number.

An artefact takes away the seconds in which a true value went on. Where they are left out, minutes outside a limit
are a least value; a straight line between what was seen on either side says how much they may be short.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .runs import spans
from .series import MASKED, OBSERVED, Series

LONGEST_S = 300  # of a masked stretch that a straight line may bridge (this project's choice)
BESIDE_S = 15  # seconds on either side whose median the line begins and ends at (this project's choice)


def across_masked(series: Series, longest_s: int = LONGEST_S) -> Series:
    """The same series with short masked stretches bridged by straight lines.

    Parameters
    ----------
    series : Series
        One value a second.
    longest_s : int
        A longer stretch stays masked, and so does one that no observed second touches on both sides: what was
        not recorded is never filled.

    Returns
    -------
    Series
        The bridged seconds are observed in it, so it must never be taken for the record itself.

    Examples
    --------
    >>> one = Series(0.0, np.array([60.0, np.nan, np.nan, 66.0]), np.array([0, 1, 1, 0], np.uint8))
    >>> across_masked(one).values
    array([60., 62., 64., 66.])
    """
    masked = series.state == MASKED
    if not masked.any():
        return series
    values, state = series.values.copy(), series.state.copy()
    for start, stop in spans(masked):
        between = start > 0 and stop < values.size and stop - start <= longest_s
        if not between or series.state[start - 1] != OBSERVED or series.state[stop] != OBSERVED:
            continue
        before = _seen_beside(series, max(start - BESIDE_S, 0), start)
        after = _seen_beside(series, stop, min(stop + BESIDE_S, values.size))
        share = (np.arange(start, stop) - start + 1) / (stop - start + 1)
        values[start:stop] = before + share * (after - before)
        state[start:stop] = OBSERVED
    return replace(series, values=values, state=state)


def _seen_beside(series: Series, start: int, stop: int) -> float:
    seen = series.state[start:stop] == OBSERVED
    return float(np.median(series.values[start:stop][seen]))
