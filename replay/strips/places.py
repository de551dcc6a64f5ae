"""Where everything of a picture stands: margin, lanes, strips, time axis. Whole logical pixels, no painting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .lanes import Lane
from .layout import Strip
from .theme import Theme


@dataclass(frozen=True, slots=True)
class Places:
    """Places in a picture of `width` by `height` logical pixels.

    Attributes
    ----------
    left, right : int
        Edges of what is drawn against time.
    lanes : tuple of (int, int)
        Top and row height of each lane.
    strips : tuple of (int, int)
        Top and height of each strip.
    axis : (int, int)
        Top and height of the time axis.
    """

    width: int
    height: int
    left: int
    right: int
    lanes: tuple[tuple[int, int], ...]
    strips: tuple[tuple[int, int], ...]
    axis: tuple[int, int]

    def strip_at(self, y: float) -> int | None:
        """Number of the strip at a height, None between strips."""
        return next((i for i, (top, height) in enumerate(self.strips) if top <= y < top + height), None)

    def lane_at(self, y: float, lanes: Sequence[Lane]) -> tuple[int, int] | None:
        """Number of the lane and of its row at a height."""
        for index, (top, row_height) in enumerate(self.lanes):
            if top <= y < top + row_height * lanes[index].rows:
                return index, int((y - top) // row_height)
        return None


def places_of(
    width: int, height: int, strips: Sequence[Strip], lanes: Sequence[Lane], theme: Theme
) -> Places:
    """Share out a picture: the axis and the lanes take what they need, the strips the rest by weight."""
    growth = theme.growth
    margin = min(round(200 * growth), round(width * 0.3))
    right = width - round(18 * growth)
    row = round(14 * growth)
    top = round(4 * growth)
    lane_places = []
    for lane in lanes:
        lane_places.append((top, row))
        top += row * lane.rows + 2
    if lanes:
        top += 2
    axis_height = round(24 * growth)
    axis_top = max(height - axis_height, top)
    gap = 5 if height >= 360 else 3
    room = max(0, axis_top - top - gap * max(0, len(strips) - 1))
    weights = [strip.weight for strip in strips]
    total = sum(weights) or 1.0
    strip_places = []
    used = 0.0
    for number, weight in enumerate(weights):
        from_y = top + round(room * used / total) + gap * number
        used += weight
        to_y = top + round(room * used / total) + gap * number
        strip_places.append((from_y, max(2, to_y - from_y)))
    return Places(
        width,
        height,
        margin,
        max(right, margin + 1),
        tuple(lane_places),
        tuple(strip_places),
        (axis_top, axis_height),
    )
