"""The look of strips: grounds, inks, sizes, and the colour and line pattern of each kind of channel.

Identity goes by label and line pattern first and by colour second. The colours are the eight-colour set
made for colour-deficient readers by Okabe M and Ito K, "Color Universal Design", 2008
(https://jfly.uni-koeln.de/color/); which channel gets which is this project's choice, and none of it means
good or bad. On a ground where a published colour has less than 3:1 contrast (WCAG 2.2, success criterion
1.4.11) it is moved towards black or white until it has.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal

from ..wording import unit_name

Pattern = Literal["solid", "thick", "dash", "dot", "core", "step", "up", "down", "bar"]
"""How a trace is drawn: ``core`` is one dot a sample, ``up`` and ``down`` carry triangles, ``bar`` short bars."""

BLACK: Final = "#000000"
ORANGE: Final = "#E69F00"
SKY: Final = "#56B4E9"
GREEN: Final = "#009E73"
BLUE: Final = "#0072B2"
VERMILION: Final = "#D55E00"
PURPLE: Final = "#CC79A7"

LINE_CONTRAST: Final = 3.0
TEXT_CONTRAST: Final = 4.5


def _channels(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


@lru_cache(maxsize=512)
def luminance(colour: str) -> float:
    """Relative luminance of a ``#RRGGBB`` colour, 0 to 1 (WCAG 2.2, definition of relative luminance)."""
    linear = [
        share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4
        for share in (value / 255 for value in _channels(colour))
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def blend(one: str, other: str, share: float) -> str:
    """`one` with `share` (0 to 1) of `other` mixed in."""
    mixed = (round(a + (b - a) * share) for a, b in zip(_channels(one), _channels(other), strict=True))
    return "#" + "".join(f"{value:02X}" for value in mixed)


@lru_cache(maxsize=256)
def _legible(colour: str, ground: str, ratio: float) -> str:
    towards = "#FFFFFF" if luminance(ground) < 0.18 else BLACK
    for step in range(21):
        moved = blend(colour, towards, step / 20)
        if contrast(moved, ground) >= ratio:
            return moved
    return towards


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours as ``#RRGGBB`` and sizes in pixels at 96 dots an inch.

    Attributes
    ----------
    ground, margin : str
        Behind the traces; behind titles, ticks and the time axis.
    ink, soft_ink : str
        Titles and ticks.
    rule, grid : str
        Frame lines and grid lines.
    hatch, masked : str
        Hatch behind masked seconds; the masked part of a trace itself.
    playhead, selection : str
        The line of now; the selected span.
    phase, find, mark, note : str
        Bars of the lanes.
    text : int
        Height of ordinary text; everything else grows with it.
    """

    ground: str
    margin: str
    ink: str
    soft_ink: str
    rule: str
    grid: str
    hatch: str
    masked: str
    playhead: str
    selection: str
    phase: str
    find: str
    mark: str
    note: str
    text: int = 12

    @property
    def dark(self) -> bool:
        """Whether the ground is dark."""
        return luminance(self.ground) < 0.18

    @property
    def growth(self) -> float:
        """How much larger than ordinary everything is."""
        return self.text / 12

    def trace(self, colour: str) -> str:
        """A trace's colour on this ground, black turned to white on a dark one."""
        if self.dark and colour == BLACK:
            return "#FFFFFF"
        return _legible(colour, self.ground, LINE_CONTRAST)

    def faint(self, colour: str) -> str:
        """A trace's colour where its pattern has a break that must not hide anything."""
        return blend(self.trace(colour), self.ground, 0.62)

    def words(self, colour: str) -> str:
        """A colour fit for words on this ground."""
        return _legible(colour, self.margin, TEXT_CONTRAST)

    def larger(self, factor: float) -> Theme:
        """The same look with larger type: 2 for a projector (24 px text, readable across a room)."""
        return replace(self, text=round(self.text * factor))


PAPER: Final = Theme(
    ground="#FCFCFA",
    margin="#F4F3EF",
    ink="#1F2326",
    soft_ink="#5A6166",
    rule="#C9C8C2",
    grid="#E9E8E3",
    hatch="#D2D1CB",
    masked="#8B8E90",
    playhead="#2B2F33",
    selection="#F0E442",
    phase="#DDE3E6",
    find="#E8D9C0",
    mark="#3E4A52",
    note="#8A7A5C",
)
"""Light, paper-like ground."""

DARK: Final = Theme(
    ground="#16191C",
    margin="#1F2327",
    ink="#ECEDEA",
    soft_ink="#AEB4B8",
    rule="#41474C",
    grid="#262B2F",
    hatch="#343A3F",
    masked="#80868A",
    playhead="#F2F2EE",
    selection="#F0E442",
    phase="#34414A",
    find="#4A3F2C",
    mark="#C9D3D9",
    note="#C2AE86",
)
"""For a dimmed room."""


def plain_unit(unit: str, as_written: str = "") -> str:
    """A UCUM unit as people write it; where the unit is unknown, what the file wrote."""
    return "µV" if unit == "uV" else unit_name(unit) or as_written
