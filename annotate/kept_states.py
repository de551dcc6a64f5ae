"""What became of each second of a channel, kept in the case's cache: a case opened again need not read its waves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.io.array_cache import text_of

from .quality import NO_LEVEL, channel_key, seconds_state
from .series import StateArray

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel


def kept_state(case: Case, channel: Channel, codes: tuple[str, ...] = NO_LEVEL) -> StateArray:
    """`quality.seconds_state` on the grid of a case; of a view of it up to some time nothing is kept.

    Parameters
    ----------
    case : Case
    channel : Channel
        One of the channels of that case.
    codes : tuple of str
        Artefacts that are masked.

    Returns
    -------
    ndarray of uint8
        A copy that may be changed.
    """
    grid = np.asarray(case.grid, dtype=np.float64)
    if case.horizon is not None or not grid.size:
        return seconds_state(channel, grid, codes)
    parts = (text_of(Path(__file__).parent), channel_key(channel), float(grid[0]), grid.size, codes)
    return case.cached("state", parts, lambda: {"state": seconds_state(channel, grid, codes)})["state"].copy()
