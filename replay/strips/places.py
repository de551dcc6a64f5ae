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
    top : int
        Where the strips begin, under the lanes.
    gap : int
        Between two strips.
    """

    width: int
    height: int
    left: int
    right: int
    lanes: tuple[tuple[int, int], ...]
    strips: tuple[tuple[int, int], ...]
    axis: tuple[int, int]
    top: int = 0
    gap: int = 3

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
    """Share out a picture: the axis and the lanes take what they need, the strips the rest."""
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
    heights = heights_of(strips, room, growth)
    strip_places = []
    from_y = float(top)
    for height_of_one in heights:
        to_y = from_y + height_of_one
        strip_places.append((round(from_y), max(2, round(to_y) - round(from_y))))
        from_y = to_y + gap
    return Places(
        width,
        height,
        margin,
        max(right, margin + 1),
        tuple(lane_places),
        tuple(strip_places),
        (axis_top, axis_height),
        top,
        gap,
    )


def heights_of(strips: Sequence[Strip], room: float, growth: float = 1.0) -> list[float]:
    """Heights of strips in logical pixels: each has what it needs, what is left goes by weight.

    Where there is less than they need, each has the same share of its need.
    """
    least = [strip.least * growth for strip in strips]
    weights = sum(strip.weight for strip in strips)
    over = room - sum(least)
    if over < 0 or not weights:
        share = room / (sum(least) or 1.0)
        return [one * share for one in least]
    return [one + over * strip.weight / weights for one, strip in zip(least, strips, strict=True)]
