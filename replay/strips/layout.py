"""Which traces share a strip, how each is drawn, and which values a strip reaches over.

A value range is settled once per case and never follows the window: the same height means the same value
wherever one looks. With the future hidden (a case with a horizon) ranges come from the kind of channel
alone, so that nothing to come shows in an axis.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, floor, log10
from types import MappingProxyType
from typing import Final

import numpy as np
from afterclamp.io.case import Case, Channel
from afterclamp.io.terms import KINDS, convert, convertible

from .theme import BLACK, BLUE, GREEN, ORANGE, PURPLE, SKY, VERMILION, Pattern, plain_unit


@dataclass(frozen=True, slots=True)
class Trace:
    """One channel in a strip.

    Attributes
    ----------
    channel : Channel
        Where the values come from.
    colour : str
        Published colour, before the theme fits it to its ground.
    pattern : str
        Line pattern; tells traces apart without colour.
    tag : str
        A letter at the end of the trace, or "".
    name : str
        In the legend; unique in the strip.
    """

    channel: Channel
    colour: str
    pattern: Pattern = "solid"
    tag: str = ""
    name: str = ""

    @property
    def clock_unset(self) -> bool:
        """Whether nobody has set the clock of its source."""
        return self.channel.placed.clock.method == "unset"

    @property
    def short_name(self) -> str:
        """The name as it is written where the legend has no room for it."""
        name = self.name
        for words, short in _SHORT_WORDS.items():
            name = name.replace(words, short)
        return name


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A limit in force, drawn as a line with its label; the label names the set it comes from."""

    value: float
    label: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One band of the picture.

    Attributes
    ----------
    title, unit : str
        As people write them.
    traces : tuple of Trace
        In the order of drawing.
    y_range : (float, float)
        Lowest and highest value shown.
    weight : float
        Share of the height, against other strips.
    limits : tuple of LimitLine
        Limits in force.
    least : int
        Logical pixels below which it cannot be read: a wave needs more than a row of values, a legend of
        many traces more than one.
    short : str
        The title where the margin has no room for it; empty where there is none shorter.
    """

    title: str
    unit: str
    traces: tuple[Trace, ...]
    y_range: tuple[float, float]
    weight: float = 1.0
    limits: tuple[LimitLine, ...] = ()
    least: int = 24
    short: str = ""

    @property
    def is_wave(self) -> bool:
        """Whether a trace of it is followed beat by beat."""
        return any(trace.channel.is_wave for trace in self.traces)


@dataclass(frozen=True, slots=True)
class _Family:
    title: str
    kinds: tuple[str, ...]
    unit: str  # the one that the range is meant in
    y_range: tuple[float, float] | None
    weight: float = 1.0
    y_ranges: dict[str, tuple[float, float]] = field(default_factory=dict)  # by kind, where kinds differ
    least: int = 30
    short: str = ""


# Ranges and weights are this project's choice; none is a limit of care.
_FAMILIES: Final = (
    _Family(
        "Arterial pressure",
        ("arterial_pressure", "cuff_pressure"),
        "mm[Hg]",
        (0, 160),
        3.0,
        least=72,
        short="Arterial",
    ),
    _Family(
        "Venous and pulmonary",
        ("pulmonary_artery_pressure", "central_venous_pressure"),
        "mm[Hg]",
        None,
        1.2,
        {"pulmonary_artery_pressure": (-5, 70), "central_venous_pressure": (-5, 25)},
        least=44,
        short="Venous, pulm.",
    ),
    _Family("Pump flow", ("pump_flow",), "L/min", (0, 6)),
    _Family("Cardioplegia flow", ("cardioplegia_flow",), "mL/min", (0, 500), 0.8),
    _Family("Line pressure", ("line_pressure",), "mm[Hg]", (0, 350)),
    _Family("Temperature", ("temperature",), "Cel", (15, 40), 1.2),
    _Family(
        "Saturation", ("cerebral_saturation", "venous_saturation", "arterial_saturation"), "%", (20, 100), 1.2
    ),
    _Family("Haemoglobin", ("haemoglobin",), "g/dL", (4, 16), 0.7),
    _Family("Reservoir volume", ("reservoir_volume",), "mL", (0, 3000), 0.8),
    _Family("Heart rate", ("heart_rate",), "/min", (0, 160), 0.8),
)

_LOOKS: Final[Mapping[str, tuple[str, Pattern, str]]] = MappingProxyType(
    {
        # Arterial sites share one hue and differ by pattern.
        "left_radial": (BLUE, "solid", ""),
        "radial": (BLUE, "solid", ""),
        "arterial": (BLUE, "solid", ""),
        "right_radial": (BLUE, "dash", "R"),
        "femoral": (SKY, "thick", ""),
        "left_femoral": (SKY, "thick", ""),
        "right_femoral": (SKY, "dash", "R"),
        "left_axillary": (SKY, "dash", "AX"),
        "right_axillary": (SKY, "dash", "AX"),
        "axillary": (SKY, "dash", "AX"),
        "left_brachial": (SKY, "solid", "B"),
        "right_brachial": (SKY, "dash", "B"),
        "brachial": (SKY, "solid", "B"),
        "aortic": (SKY, "dot", "AO"),
        "left_carotid": (BLUE, "dot", "C"),
        "right_carotid": (BLUE, "dot", "C"),
        "carotid": (BLUE, "dot", "C"),
        "cuff": (BLACK, "bar", ""),
        "cvp": (PURPLE, "solid", ""),
        "pa": (GREEN, "thick", ""),
        "pump_flow": (BLACK, "step", ""),
        "cardioplegia_flow": (BLACK, "dash", ""),
        "line_pressure": (VERMILION, "dot", ""),
        "outlet_temperature": (ORANGE, "solid", ""),
        "venous_temperature": (ORANGE, "dash", ""),
        "nasopharyngeal_temperature": (ORANGE, "core", ""),
        "bladder_temperature": (VERMILION, "core", "B"),
        "oesophageal_temperature": (VERMILION, "dot", "O"),
        "rectal_temperature": (VERMILION, "dash", "RE"),
        "left_cerebral_saturation": (GREEN, "up", ""),
        "right_cerebral_saturation": (PURPLE, "down", ""),
        "venous_saturation": (BLUE, "dash", ""),
        "arterial_saturation": (BLUE, "solid", ""),
        "haemoglobin": (VERMILION, "step", ""),
        "reservoir_volume": (BLACK, "solid", ""),
        "heart_rate": (GREEN, "dot", ""),
    }
)
_SHORT_WORDS: Final = MappingProxyType(
    {
        "central venous": "CVP",
        "pulmonary artery": "PAP",
        "left ": "L ",
        "right ": "R ",
        " mean": " M",
        " systolic": " S",
        " diastolic": " D",
        "nasopharyngeal": "nasoph.",
        "oesophageal": "oesoph.",
        "cerebral": "cer.",
        "cardioplegia": "cardiopl.",
        "saturation": "sat.",
        "temperature": "temp.",
        "pressure": "press.",
    }
)
"""Common short forms, for a legend that has no room for whole names; the tip beside a strip has these."""
_MOST_LEGEND_ROWS: Final = 5
_SHORT_TITLES: Final = MappingProxyType(
    {"central_venous_pressure": "Central venous", "pulmonary_artery_pressure": "Pulm. artery"}
)
_TITLE_ROW: Final = 18  # logical pixels
_LEGEND_ROW: Final = 12
_SEAM_S: Final = 1.0  # recordings that overlap by no more follow one another
_WIDENS: Final = 0.03  # share of a usual range that must be passed before it gives way
_PIECES: Final = 4000  # a piece is short against the recording, so that a flush touches few of them
_SPARE_PATTERNS: Final[tuple[Pattern, ...]] = ("solid", "dash", "dot", "thick", "core", "up", "down")
_SPARE_COLOURS: Final = (BLACK, VERMILION, PURPLE, GREEN, BLUE, ORANGE)


def strips_of(case: Case) -> list[Strip]:
    """The strips of a case: channels of one family and unit together, any other channel on its own.

    Parameters
    ----------
    case : Case
        A whole case, or a view that ends at a horizon.

    Returns
    -------
    list of Strip
        Pressures first, then flow, line pressure, temperatures, saturations, the rest. A channel without
        any sample has no place in it.
    """
    strips: list[Strip] = []
    channels = [channel for channel in case.channels if channel.count]
    for family in _FAMILIES:
        members = [channel for kind in family.kinds for channel in channels if channel.kind == kind]
        for unit in dict.fromkeys(channel.unit for channel in members):
            strips.append(_family_strip(case, family, [c for c in members if c.unit == unit]))
    known = {kind for family in _FAMILIES for kind in family.kinds}
    strips.extend(_single_strip(case, channel) for channel in channels if channel.kind not in known)
    return strips


def _family_strip(case: Case, family: _Family, channels: Sequence[Channel]) -> Strip:
    usual = family.y_range if channels[0].unit in (family.unit, "") else None
    if family.y_ranges and channels[0].unit in (family.unit, ""):
        ranges = [family.y_ranges[channel.kind] for channel in channels]
        usual = (min(low for low, _ in ranges), max(high for _, high in ranges))
    traces = _traces(
        sorted(channels, key=lambda c: (family.kinds.index(c.kind), _statistic_rank(c), _depth(c)))
    )
    title, short = family.title, family.short
    if family.y_ranges and len({channel.kind for channel in channels}) == 1:
        title = channels[0].plain_name.capitalize() + " pressure"
        short = _SHORT_TITLES[channels[0].kind]
    unit = plain_unit(channels[0].unit, channels[0].unit_as_written)
    least = max(family.least, _TITLE_ROW + _LEGEND_ROW * min(_MOST_LEGEND_ROWS, ceil(len(traces) / 2)))
    return Strip(
        title,
        unit,
        traces,
        value_range(case, channels, usual),
        family.weight,
        least=least,
        short=short,
    )


def _single_strip(case: Case, channel: Channel) -> Strip:
    name = channel.label if channel.kind == "other" and channel.label else channel.plain_name
    title = name[:1].upper() + name[1:]
    trace = Trace(channel, BLACK, "solid" if channel.is_wave else "step", "", name)
    unit = plain_unit(channel.unit, channel.unit_as_written)
    least = 44 if channel.is_wave else 30
    return Strip(title, unit, (trace,), value_range(case, [channel], None), 0.8, least=least)


def _statistic_rank(channel: Channel) -> int:
    return 0 if channel.is_wave else 1


def _depth(channel: Channel) -> int:
    """Broad traces are drawn before narrow ones, so that neither hides the other."""
    order: tuple[Pattern, ...] = ("thick", "solid", "step", "dash", "dot", "core", "up", "down", "bar")
    return order.index(_look(channel)[1])


def _look(channel: Channel) -> tuple[str, Pattern, str]:
    name = channel.name
    for ending in ("_mean", "_systolic", "_diastolic"):
        if name.endswith(ending):
            # A recorded statistic of a line that is there as a wave too: same hue, dotted, with its own tag.
            colour = _LOOKS[name.removesuffix(ending)][0] if name.removesuffix(ending) in _LOOKS else BLACK
            return colour, "dot", {"_mean": "M", "_systolic": "S", "_diastolic": "D"}[ending]
    return _LOOKS.get(name, (BLACK, "solid", ""))


def _traces(channels: Iterable[Channel]) -> tuple[Trace, ...]:
    """Traces with looks and names that differ within the strip."""
    traces: list[Trace] = []
    for channel in channels:
        colour, pattern, tag = _look(channel)
        # A recording that goes on where another ends is the same line.
        taken = {
            (trace.colour, trace.pattern)
            for trace in traces
            if trace.channel.span.overlap(channel.span) > _SEAM_S
        }
        if (colour, pattern) in taken:
            spare = (
                (c, p) for c in (colour, *_SPARE_COLOURS) for p in _SPARE_PATTERNS if (c, p) not in taken
            )
            colour, pattern = next(spare, (colour, pattern))
        name = _short_name(channel)
        if name in {trace.name for trace in traces}:
            name = f"{name} ({channel.source})"
        if name in {trace.name for trace in traces}:
            name = channel.id
        traces.append(Trace(channel, colour, pattern, tag, name))
    return tuple(traces)


def _short_name(channel: Channel) -> str:
    if channel.kind == "temperature":
        return channel.plain_name.removesuffix(" temperature") or channel.label
    if channel.kind.endswith("_saturation"):
        return channel.plain_name.removesuffix(" saturation") or channel.label
    return channel.plain_name


def value_range(
    case: Case, channels: Sequence[Channel], usual: tuple[float, float] | None
) -> tuple[float, float]:
    """Lowest and highest value of a strip's axis, both round.

    Parameters
    ----------
    case : Case
        With a horizon, only the usual range counts where there is one; else what was recorded before it.
    channels : sequence of Channel
        Of one strip, all in one unit.
    usual : (float, float) or None
        Range of the kind of channel. What is recorded widens it, short excursions and what the kind can't
        be left out: the 0.5th to 99.5th percentile of the extremes of 4000 equal pieces of the recording.

    Returns
    -------
    (float, float)
    """
    if usual is not None and case.horizon is not None:
        return usual
    lows, highs = [], []
    for channel in channels:
        if channel.span.duration <= 0:
            continue
        extremes = channel.envelope(channel.span.start, channel.span.end, _PIECES)
        lowest, highest = _believable(channel)
        lo = extremes.lo[(extremes.lo >= lowest) & (extremes.lo <= highest)]
        hi = extremes.hi[(extremes.hi >= lowest) & (extremes.hi <= highest)]
        if len(lo) and len(hi):
            lows.append(float(np.percentile(lo, 0.5)))
            highs.append(float(np.percentile(hi, 99.5)))
    if not lows:
        return usual or (0.0, 1.0)
    low, high = min(lows), max(highs)
    if usual is not None:
        least = _WIDENS * (usual[1] - usual[0])
        low = low if low < usual[0] - least else usual[0]
        high = high if high > usual[1] + least else usual[1]
        if (low, high) == usual:
            return usual
    elif high - low < 1e-9:
        low, high = low - max(0.5, abs(low) * 0.1), high + max(0.5, abs(high) * 0.1)
    else:
        low, high = low - 0.08 * (high - low), high + 0.08 * (high - low)
    step = 10.0 ** floor(log10(high - low)) / 2
    return floor(low / step + 1e-9) * step, ceil(high / step - 1e-9) * step


def _believable(channel: Channel) -> tuple[float, float]:
    """Values that this kind of channel can have at all, in its unit, and a quarter more to either side."""
    kind = KINDS[channel.kind]
    if kind.plausible is None or (channel.unit and not convertible(kind.units[0], channel.unit)):
        return -np.inf, np.inf
    ends = np.array(kind.plausible, np.float64)
    if channel.unit:
        ends = np.sort(np.asarray(convert(ends, kind.units[0], channel.unit)))
    beyond = 0.25 * float(ends[1] - ends[0])
    return float(ends[0]) - beyond, float(ends[1]) + beyond
