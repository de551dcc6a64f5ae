"""Values that a recorder writes while nothing is connected: flat, and far outside what can be.

Some formats have no code for "not recorded", so an unplugged line stands still at the end of the scale:
-600 mmHg for minutes. Drawn or averaged, that is a pressure which nobody had. Such a run is stored like
any other and marked as not there; what was marked is listed with the source.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from . import terms

SHORTEST_S: Final = 1.0
"""A shorter flat run is left to the artefact rules (this project's choice)."""

_FEWEST = 3  # samples, where a second holds fewer
_PRESSURE: Final = (-150.0, 4000.0)  # mm[Hg]; a zeroing or a flush lies well within
_TEMPERATURE: Final = (1.0, 120.0)  # Cel
"""What a recorded value of these kinds can be: engineering guards, no source. The upper ends leave room for
values whose unit is written wrong (mm[Hg] as kPa, [degF] as Cel): those are asked about, not taken out."""


def possible_codes(
    identity: terms.Identity, unit: str, scale: float, offset: float
) -> tuple[float, float] | None:
    """Lowest and highest code of a possible value; None where the kind has no bounds or the unit none.

    Parameters
    ----------
    identity : Identity
    unit : str
        UCUM unit of ``code * scale + offset``.
    """
    if identity.kind.endswith("_pressure"):
        bounds = _PRESSURE
    elif identity.kind == "temperature":
        bounds = _TEMPERATURE
    else:
        return None
    usual = terms.KINDS[identity.kind].units[0]
    if not unit or not scale or not terms.convertible(usual, unit):
        return None
    low, high = sorted((terms.convert(np.array(bounds), usual, unit) - offset) / scale)
    return float(low), float(high)


def not_connected(
    codes: NDArray[Any], bounds: tuple[float, float], rate_hz: float, *, goes_on: bool = False
) -> NDArray[np.bool_] | None:
    """Which samples stand still outside the bounds; None where none does.

    Parameters
    ----------
    codes : ndarray
        Consecutive samples.
    bounds : (low, high)
        Lowest and highest possible code.
    rate_hz : float
    goes_on : bool
        Whether the sample before these stood still outside already: then a short run at the start belongs to it.
    """
    if not len(codes) or (codes.min() >= bounds[0] and codes.max() <= bounds[1]):
        return None
    outside = (codes < bounds[0]) | (codes > bounds[1])
    changes = np.flatnonzero(np.diff(codes) != 0) + 1
    starts = np.concatenate([[0], changes])
    ends = np.concatenate([changes, [len(codes)]])
    shortest = max(SHORTEST_S * rate_hz, _FEWEST)
    long = ends - starts >= shortest
    long[0] |= goes_on
    flat = np.repeat(long & outside[starts], ends - starts)
    return flat if flat.any() else None
