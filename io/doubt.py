"""Doubtful units: what the values themselves say against the unit that a file writes.

A pressure written in mmHg whose values lie about 12 was most likely recorded in kPa; a temperature of 98
was not measured in degrees Celsius. Such a unit is asked about, with the values before and after, and is
never changed unasked.

What is looked at is one quantile of the values a kind, chosen so that what belongs to every recording
(a flush, a tap open to air, a lead that is off, a pump at rest) does not move it. The levels are this
project's choice: engineering guards, without a source, never a limit of care.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from . import terms
from .recording import FloatArray, RecordedChannel

_FEWEST = 3  # values below which nothing is said
_ENOUGH = 500  # plausible values after which no more are looked at
_PER_BLOCK = 4096  # values taken from each block, evenly over it
_STUCK = 0.02  # share from which zero, the lowest or the highest value counts as a lead that is off
_FLAT = 0.2  # range of the middle 90 % over their mean below which a pressure hardly moves
_INSIDE = 0.5  # share of values that must lie in the kind's plausible range


@dataclass(frozen=True, slots=True)
class Level:
    """Where the values of a kind lie while it is in use.

    Attributes
    ----------
    quantile : float
        Which quantile is looked at.
    low, high : float
        Where it lies, in the kind's first unit.
    usual : tuple of str
        UCUM codes that files write for the kind: common practice, no source.
    """

    quantile: float
    low: float
    high: float
    usual: tuple[str, ...]


_PRESSURE = ("mm[Hg]", "kPa")
_FRACTION = ("%", "1")
_FLOW = ("L/min", "mL/min")

LEVELS: Final[Mapping[str, Level]] = MappingProxyType(
    {
        # The upper quarter of a wave: above it a beating heart and a pump both stay, and an arrest of half the
        # recording, a flush or a closed tap does not reach it. 27 mmHg is 3.6 kPa, 190 mmHg is 25 kPa.
        "arterial_pressure": Level(0.75, 27, 190, _PRESSURE),
        # Low in any unit while the heart is drained, so its upper end is looked at; cmH2O is usual beside mmHg
        # and no value tells the two apart.
        "central_venous_pressure": Level(0.95, 3, 40, ("mm[Hg]", "kPa", "cm[H2O]")),
        "pulmonary_artery_pressure": Level(0.9, 10, 110, _PRESSURE),
        "line_pressure": Level(0.95, 60, 450, _PRESSURE),
        "cuff_pressure": Level(0.75, 30, 230, _PRESSURE),
        "pump_flow": Level(0.95, 0.3, 8, _FLOW),
        "cardioplegia_flow": Level(0.9, 20, 1000, ("mL/min", "L/min")),
        "temperature": Level(0.5, 12, 42, ("Cel", "[degF]", "K")),
        "cerebral_saturation": Level(0.5, 15, 100, _FRACTION),
        "venous_saturation": Level(0.5, 20, 100, _FRACTION),
        "arterial_saturation": Level(0.75, 50, 100, _FRACTION),
        "haemoglobin": Level(0.5, 4, 20, ("g/dL", "g/L")),
        "reservoir_volume": Level(0.9, 100, 6000, ("mL", "L")),
        "heart_rate": Level(0.75, 25, 250, ("/min", "Hz")),
    }
)

# Haemoglobin is also given as an amount, which is no mass and does not convert: 1 mmol/L of the single chain is
# 1.6114 g/dL (molar mass 16,114 g/mol; from memory). It makes a missing unit ambiguous.
_HAEMOGLOBIN_G_DL_PER_MMOL_L = 1.6114


@dataclass(frozen=True, slots=True)
class Doubt:
    """What the values say of a unit.

    Attributes
    ----------
    kind : str
    unit : str
        UCUM code as written; "" where none, or none that can be read, is written.
    mean : float
        Of the values between their 5th and 95th percentile, in the unit as written.
    fitting : tuple of str
        Units that would make the values plausible.
    flat : bool
        Whether a pressure hardly moves: one of an arrest then looks like one in kPa.
    """

    kind: str
    unit: str
    mean: float
    fitting: tuple[str, ...]
    flat: bool = False

    @property
    def proposal(self) -> str:
        """The one unit that fits; "" where none or several do, or where it could be otherwise."""
        if len(self.fitting) != 1 or self.flat:
            return ""
        [unit] = self.fitting
        low, high = LEVELS[self.kind].low, LEVELS[self.kind].high
        if self.kind == "haemoglobin" and not self.unit and unit == "g/dL":
            other = self.mean * _HAEMOGLOBIN_G_DL_PER_MMOL_L
            return "" if low <= other <= high else unit
        return unit

    def after(self, unit: str) -> str:
        """The mean as it would be if it were recorded in this unit, in the kind's first one: ``"90.8 mm[Hg]"``."""
        first = terms.KINDS[self.kind].units[0]
        return f"{_short(_converted(self.mean, unit, first))} {first}"

    @property
    def sentence(self) -> str:
        """The values before and after: ``"mean 12.1 mm[Hg] as written; 90.8 mm[Hg] if it is kPa"``."""
        first = terms.KINDS[self.kind].units[0]
        if self.unit:
            told = f"mean {_short(self.mean)} {self.unit} as written"
            if self.unit != first:
                told += f", that is {_short(_converted(self.mean, self.unit, first))} {first}"
        else:
            told = f"mean {_short(self.mean)}"
        after = [f"{self.after(unit)} if it is {unit}" for unit in self.fitting]
        return "; ".join([told, *after])


def doubt(channel: RecordedChannel, kind: str, unit: str) -> Doubt | None:
    """Doubt about the unit of a channel, None where its values fit what is written or fit nothing.

    Parameters
    ----------
    channel : RecordedChannel
        Its blocks are read only as far as it takes to see that the values fit.
    kind : str
        What it is taken for; kinds without a level are never doubted.
    unit : str
        UCUM code as written; "" where nothing that can be read is written. Then the answer is a `Doubt` even
        where no unit fits, since it is asked in any case.
    """
    if kind not in LEVELS or (unit and unit not in terms.units_of(kind)):
        return None
    values: list[FloatArray] = []
    held = 0
    for some in _samples(channel):
        values.append(some)
        held += len(some)
        if unit and held >= _ENOUGH and _fits(np.concatenate(values), kind, unit):
            return None
    return judge(np.concatenate(values) if values else np.empty(0), kind, unit)


def judge(values: FloatArray, kind: str, unit: str) -> Doubt | None:
    """As `doubt`, on values as written (finite or NaN)."""
    values = values[np.isfinite(values)]
    if len(values) < _FEWEST or (unit and _fits(values, kind, unit)):
        return None
    fitting = tuple(other for other in LEVELS[kind].usual if other != unit and _fits(values, kind, other))
    if unit and not fitting:
        return None
    plain = _without_stuck(values)
    low, high = np.quantile(plain, [0.05, 0.95])
    mean = float(plain[(plain >= low) & (plain <= high)].mean())
    flat = kind in ("arterial_pressure", "pulmonary_artery_pressure") and high - low < _FLAT * abs(mean)
    return Doubt(kind, unit, mean, fitting, flat)


def _fits(values: FloatArray, kind: str, unit: str) -> bool:
    """Whether the values, read in this unit, lie where those of the kind do."""
    level = LEVELS[kind]
    first = terms.KINDS[kind].units[0]
    plain = terms.convert(_without_stuck(values), unit, first)
    if not level.low <= float(np.quantile(plain, level.quantile)) <= level.high:
        return False
    low, high = terms.KINDS[kind].plausible or (-np.inf, np.inf)
    return bool(np.mean((plain >= low) & (plain <= high)) >= _INSIDE)


def _without_stuck(values: FloatArray) -> FloatArray:
    """Without zero and the two ends where a lead that is off, or a scale at its end, holds the value there."""
    keep = np.ones(len(values), bool)
    for end in (0.0, float(values.min()), float(values.max())):
        held = values == end
        if held.mean() >= _STUCK:
            keep &= ~held
    # A row of few different values, such as haemoglobin, has nothing stuck.
    return values[keep] if keep.sum() >= max(_FEWEST, 0.05 * len(values)) else values


def _samples(channel: RecordedChannel) -> Iterator[FloatArray]:
    """Values of each block, some evenly over it, in the unit as written."""
    firsts = np.array([segment.first for segment in channel.segments], np.int64)
    scales = np.array([segment.scale for segment in channel.segments])
    offsets = np.array([segment.offset for segment in channel.segments])
    at = 0
    for block in channel.blocks():
        step = max(1, len(block.codes) // _PER_BLOCK)
        values = block.codes[::step].astype(np.float64)
        if len(firsts):
            which = np.searchsorted(firsts, at + step * np.arange(len(values)), side="right") - 1
            values = values * scales[which] + offsets[which]
        if block.valid is not None:
            values = values[block.valid[::step]]
        at += len(block.codes)
        yield values[np.isfinite(values)]


def _converted(value: float, unit_from: str, unit_to: str) -> float:
    return float(terms.convert(value, unit_from, unit_to))


def _short(value: float) -> str:
    """Three figures."""
    return f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
