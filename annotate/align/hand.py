"""A clock set by a person's eye: what stands at one place on the time axis belongs at another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from afterclamp.io.clock import ClockMap
from afterclamp.io.errors import EditRefused

from ..runs import FloatArray
from .estimate import Z95

NEAREST_PLACES_S = 60.0
"""Two places nearer than this can't tell how fast a clock runs (this project's choice)."""

FASTEST_PPM = 20_000.0
"""No recorder's clock gains or loses more than a minute in fifty (this project's choice)."""


def carried(clock: ClockMap, places: Sequence[tuple[float, float]], within_s: float) -> ClockMap:
    """The clock that puts what stands at some places where a person says that it belongs.

    One place moves the whole source; two also set how fast its clock runs, so that both fit. Steps of the clock
    stay where they are on its own stamps, and keep their size.

    Parameters
    ----------
    clock : ClockMap
        By which the source stands where it does now.
    places : sequence of (float, float)
        One or two pairs of reference seconds: where something stands now, and where it belongs.
    within_s : float
        How surely, in seconds, as the person says: the half-width of a 95 % interval.

    Returns
    -------
    ClockMap
        Method ``"by hand"``.

    Raises
    ------
    EditRefused
        When two places are too near one another, or would need a drift that no clock has, or the doubt is not
        above zero.

    Examples
    --------
    >>> moved = carried(ClockMap(0.0), [(100.0, 90.0)], within_s=2.0)
    >>> moved.offset_s, float(moved.to_reference(100.0))
    (10.0, 90.0)
    """
    if not within_s > 0:
        raise EditRefused(
            "a clock set by hand needs a doubt above zero", todo="Say within how many seconds it is right"
        )
    (now, wanted), *more = places
    stretch = 1.0
    if more:
        other_now, other_wanted = more[-1]
        if abs(other_now - now) < NEAREST_PLACES_S or abs(other_wanted - wanted) < NEAREST_PLACES_S:
            raise EditRefused(
                f"two places {abs(other_now - now):.0f} s from one another do not tell how fast a clock runs",
                todo=f"Choose places at least {NEAREST_PLACES_S:.0f} s apart",
            )
        stretch = (other_wanted - wanted) / (other_now - now)
        if abs(stretch - 1.0) > FASTEST_PPM * 1e-6:
            raise EditRefused(
                f"these two places would need a clock that is off by {abs(stretch - 1.0) * 1e6:.0f} parts per million",
                todo="Look whether both are the same moment in both traces",
            )
    moved_by = wanted - stretch * now
    # stamp = t * rate + offset with t = (t' - moved_by) / stretch, where t' is the time after the move.
    pieces = tuple(
        replace(
            piece,
            offset_s=piece.offset_s - moved_by * piece.rate / stretch,
            drift_ppm=(piece.rate / stretch - 1.0) * 1e6,
            sd_s=within_s / Z95,
        )
        for piece in clock.pieces
    )
    return ClockMap(clock.zero_s, pieces, "by hand")


def largest_change(values: FloatArray, grid: FloatArray) -> float | None:
    """Reference second where the minute after differs most from the minute before; None where nothing is told.

    Parameters
    ----------
    values : ndarray
        One a second, NaN where not recorded.
    grid : ndarray
        Their reference seconds.
    """
    there = np.isfinite(values)
    if there.sum() < 240:
        return None
    total = np.concatenate([[0.0], np.cumsum(np.where(there, values, 0.0))])
    many = np.concatenate([[0], np.cumsum(there)])
    with np.errstate(invalid="ignore", divide="ignore"):
        minute = (total[60:] - total[:-60]) / np.where(
            many[60:] - many[:-60] >= 50, many[60:] - many[:-60], np.nan
        )
    change = np.abs(minute[60:] - minute[:-60])
    if not np.isfinite(change).any():
        return None
    return float(grid[int(np.nanargmax(change)) + 60])
