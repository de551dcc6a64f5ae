"""The ± of the minutes outside a limit: what the grid of seconds and the boundaries of phases leave open."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from .order import Z95

if TYPE_CHECKING:
    from .figure_row import Figure
    from .phases import Phase

GRID_SD_S: Final = 1 / math.sqrt(12)
"""What a time on a grid of whole seconds leaves open."""
TOUCHES_S: Final = 1.0
"""Within so much of a boundary a stretch touches it, or within its ± where that is more."""


def outside_uncertainty_s(figure: Figure, phases: Iterable[Phase]) -> float | None:
    """Half width of the 95 % interval of the seconds that a figure counts outside its limit.

    Each end of a stretch lies on a whole second, so that it is evenly spread over one; where a stretch touches a
    boundary of the phase that was looked at, or of one that was left out, it is as uncertain there as that boundary.
    The parts are taken as independent and add up as squares. What the sensor itself leaves open is not in it.

    Parameters
    ----------
    figure : Figure
    phases : iterable of Phase
        Those that its windows were made from.

    Returns
    -------
    float or None
        Seconds; infinite where a clock that a boundary rests on was set by nobody, None for a mean and for a figure
        that was not computed.
    """
    if figure.value is None or not figure.side or figure.counted is None:
        return None
    squares = 2 * len(figure.runs) * (Z95 * GRID_SD_S) ** 2
    windows = (*figure.counted.within, *figure.counted.exclude)
    ends = {end for window in windows for end in window}
    boundaries = {(one.time_s, one.unc_s) for phase in phases for one in (phase.start, phase.end)}
    for at, unc_s in boundaries:
        if not any(abs(at - end) < 1e-6 for end in ends):
            continue
        near = max(unc_s, TOUCHES_S)
        if math.isinf(unc_s) or any(abs(at - end) <= near for run in figure.runs for end in run):
            squares += unc_s**2
    return math.sqrt(squares)


def with_uncertainty(figure: Figure, phases: Iterable[Phase]) -> Figure:
    """The same figure with the ± of its minutes outside."""
    return replace(figure, outside_unc_s=outside_uncertainty_s(figure, phases))
