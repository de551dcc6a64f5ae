"""Depth as a colour whose lightness only ever falls as depth grows, and that colour-deficient readers see alike.

The map is cividis: Nuñez JR, Anderton CR, Renslow RS. Optimizing colormaps with consideration for color vision
deficiency to enable accurate interpretation of scientific data. PLoS ONE 2018;13:e0199239,
doi 10.1371/journal.pone.0199239. `ANCHORS` are 33 of its colours at even steps, dark to light; between them it is
straight. On a light ground depth goes from light to dark, on a dark ground the other way: more depth is more ink.
"""

from __future__ import annotations

from functools import lru_cache
from math import floor, log10
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .theme import Theme

ANCHORS: Final = (
    "00204D", "002559", "002B68", "00306F", "05366E", "1E3B6D", "2C416C", "37476B", "404D6B", "49526B", "51586C",
    "595E6D", "60646F", "676970", "6E6F73", "757575", "7C7B78", "848179", "8B8779", "938E78", "9B9477", "A39A76",
    "ACA174", "B4A871", "BCAF6F", "C5B56B", "CEBC67", "D7C463", "E0CB5D", "E9D357", "F2DA4F", "FBE247", "FFEA46",
)  # fmt: skip

STEPS: Final = 64
"""Colours that are told apart: a screen shows no more of a strip of this height."""

ROUND: Final = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


@lru_cache(maxsize=4)
def depth_colours(theme: Theme) -> tuple[str, ...]:
    """`STEPS` colours as ``#RRGGBB``, the shallowest first."""
    table = np.array([[int(one[i : i + 2], 16) for i in (0, 2, 4)] for one in ANCHORS], np.float64)
    at = np.linspace(0, len(ANCHORS) - 1, STEPS)
    mixed = np.rint(
        np.column_stack([np.interp(at, np.arange(len(ANCHORS)), table[:, band]) for band in range(3)])
    )
    rows = mixed if theme.dark else mixed[::-1]
    return tuple("#" + "".join(f"{int(value):02X}" for value in row) for row in rows)


def step_of(depth: NDArray[np.float64], full: float) -> NDArray[np.intp]:
    """Number of the colour of each depth, `full` and beyond being the last."""
    share = np.clip(np.nan_to_num(depth) / max(full, 1e-12), 0.0, 1.0)
    return np.asarray(np.rint(share * (STEPS - 1)), np.intp)


def round_up(deepest: float) -> float:
    """The next round number at or above a depth, the end of its scale; 1 for none."""
    if not deepest > 0:
        return 1.0
    ten = 10.0 ** floor(log10(deepest))
    return next(step * ten for step in ROUND if step * ten >= deepest * (1 - 1e-9))
