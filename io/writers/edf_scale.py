"""Which code stands for which value in an EDF signal, so that nothing is clipped and codes stay codes.

A signal has 16-bit codes and a straight line from them to values, given by the values at two codes, each in
eight characters. Where a source keeps integers on one scale that fit, its codes are written as they are
(moved by a whole number if need be), and the two codes are chosen where eight characters hold their values
best. Where it keeps decimal numbers with few places the step is their last place. Else the range of the
data is divided into as many steps as there are codes, and the step is told.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import CannotWrite

LOWEST, HIGHEST = -32768, 32767
_WIDTH = 8
_MOST_DECIMALS = 6
_APART = 0.1  # of the range of the data: how far below it "not recorded" stands, where there is room

Line = tuple[float, float]  # scale and offset: value = stored * scale + offset


@dataclass(frozen=True)
class EdfScale:
    """The two ends of a signal's line, and how stored numbers become codes.

    Attributes
    ----------
    physical : tuple of str
        Values at the lowest and the highest code, as the header has them.
    digital : tuple of int
        Those codes; the lowest stands where nothing was recorded.
    step : float
        Value of one code.
    source_step : float or None
        Of the source; None where its numbers have no common step.
    lines : mapping
        ``code = stored * a + b`` by the source's line.
    """

    physical: tuple[str, str]
    digital: tuple[int, int]
    step: float
    source_step: float | None
    lines: Mapping[Line, Line]

    @property
    def exact(self) -> bool:
        """Whether every code stands for exactly one number of the source."""
        return self.source_step is not None and all(
            abs(a) >= 1 - 1e-9 and abs(a - round(a)) < 1e-9 * abs(a) and abs(b - round(b)) < 1e-3
            for a, b in self.lines.values()
        )

    def codes(self, stored: NDArray[np.generic], line: Line) -> NDArray[np.int16]:
        """Codes of stored numbers; what is not finite becomes anything."""
        a, b = self.lines[line]
        if stored.dtype.kind in "iu" and a == 1.0 and b == int(b) and self.exact:
            if stored.dtype == np.int16:
                return (
                    stored.astype(np.int16, copy=False) + np.int16(int(b)) if b else stored.astype(np.int16)
                )
            return (stored.astype(np.int64) + int(b)).astype(np.int16)
        values = stored.astype(np.float64)
        values *= a
        values += b
        np.rint(values, out=values)
        # Only what was not recorded can lie outside, and is replaced by the caller.
        return np.clip(np.nan_to_num(values), LOWEST, HIGHEST).astype(np.int16)


class Decimals:
    """Finds out with how many decimal places floating-point numbers were written, block by block."""

    def __init__(self) -> None:
        self.places: int | None = 0

    def look(self, values: NDArray[np.floating]) -> None:
        """Take a block into account; what is not finite has no say."""
        finite = values[np.isfinite(values)].astype(np.float64)
        while self.places is not None and len(finite):
            scaled = finite * 10.0**self.places
            # Half of what a float32 leaves open, twice: the number itself and how it was printed.
            open_ = np.maximum(np.abs(scaled) * 1.2e-7, 1e-6)
            if float(open_.max()) > 0.05:
                self.places = None
            elif (np.abs(scaled - np.rint(scaled)) <= open_).all():
                return
            else:
                self.places = self.places + 1 if self.places < _MOST_DECIMALS else None


def scale_of(
    ranges: Mapping[Line, tuple[float, float]], *, whole: bool, places: int | None, channel: str
) -> EdfScale:
    """Choose the scale of a signal.

    Parameters
    ----------
    ranges : mapping
        Lowest and highest stored number by line; every number to be written lies within.
    whole : bool
        Whether the stored numbers are integers.
    places : int or None
        Decimal places of those that are not.
    channel : str
        For the message.

    Raises
    ------
    CannotWrite
        When the values are too large or too small for the eight characters of the header.
    """
    steps = {line: abs(line[0]) * (1.0 if whole else 10.0 ** -(places or 0)) for line in ranges}
    known = whole or places is not None
    finest = min(steps, key=lambda line: steps[line])
    step, zero = steps[finest], finest[1]
    source_step = step if known and step > 0 else None
    if source_step is not None:
        lines = {line: (line[0] / step, (line[1] - zero) / step) for line in ranges}
        ends = [a * x + b for line, (a, b) in lines.items() for x in ranges[line]]
        low, high = math.floor(min(ends) + 1e-3), math.ceil(max(ends) - 1e-3)
        if high - low <= HIGHEST - LOWEST:
            # A code is kept free below the data where there is one; codes stay as they are where they fit.
            floor = LOWEST + 1 if high - low < HIGHEST - LOWEST else LOWEST
            shift = floor - low if low < floor else min(HIGHEST - high, 0)
            ends_found = _ends(step, zero - shift * step, (low + shift, high + shift))
            if ends_found is not None:
                physical, digital = ends_found
                moved = {line: (_neat(a), _neat(b + shift)) for line, (a, b) in lines.items()}
                return EdfScale(physical, digital, step, source_step, moved)
    return _divided(ranges, source_step, channel)


def _neat(x: float) -> float:
    return float(round(x)) if abs(x - round(x)) < 1e-6 else x


def _ends(step: float, zero: float, data: tuple[int, int]) -> tuple[tuple[str, str], tuple[int, int]] | None:
    """The nearest two codes around the data whose values eight characters hold best."""
    chosen: list[tuple[str, int]] = []
    # Well below, so that what was not recorded is not taken for a value where nobody reads the annotations.
    below = max(data[0] - 1 - math.ceil(_APART * (data[1] - data[0])), LOWEST)
    above = min(max(data[1], below + 1), HIGHEST)
    for codes in (np.arange(below, LOWEST - 1, -1), np.arange(above, HIGHEST + 1)):
        doubt = _rounding((zero + step * codes).astype(np.float64))
        best = float(doubt.min())
        if not math.isfinite(best):
            return None
        code = int(codes[np.argmax(doubt <= best + 1e-6 * step)])
        text = shortest(zero + step * code)
        if text is None or abs(float(text) - (zero + step * code)) > 0.2 * step:
            return None
        chosen.append((text, code))
    (low, dig_low), (high, dig_high) = chosen
    return None if low == high else ((low, high), (dig_low, dig_high))


def _rounding(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far eight characters are from each value; infinite where they don't suffice."""
    digits = np.maximum(np.floor(np.log10(np.maximum(np.abs(values), 1.0))), 0) + 1
    room = _WIDTH - (values < 0) - digits
    power = 10.0 ** np.clip(room - 1, 0, None)
    doubt = np.abs(np.rint(values * power) / power - values)
    doubt[room < 0] = np.inf
    return np.asarray(doubt, np.float64)


def shortest(value: float, towards: float = 0.0) -> str | None:
    """A number in at most eight characters, as exact as they allow; None where they can't hold it.

    `towards` -1 or 1 rounds down or up instead of to the nearest.
    """
    for places in range(_WIDTH - 1, -1, -1):
        rounded = value
        if towards:
            power = 10.0**places
            rounded = (math.floor(value * power) if towards < 0 else math.ceil(value * power)) / power
        text = f"{rounded:.{places}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        if text in ("-0", ""):
            text = "0"
        if len(text) <= _WIDTH:
            return text
    return None


def _divided(ranges: Mapping[Line, tuple[float, float]], source_step: float | None, channel: str) -> EdfScale:
    values = [scale * x + offset for (scale, offset), pair in ranges.items() for x in pair]
    low, high = min(values), max(values)
    margin = max((high - low) / 65_000, abs(high) * 1e-7, 1e-7) * 2
    texts = shortest(low - margin - _APART * (high - low), -1), shortest(high + margin, 1)
    if texts[0] is None or texts[1] is None:
        raise CannotWrite(
            f"values from {low:g} to {high:g} do not fit into the eight characters that EDF has for them",
            place=f"channel {channel}",
            todo="Leave the channel out, or write it as CSV",
        )
    lowest, highest = float(texts[0]), float(texts[1])
    step = (highest - lowest) / (HIGHEST - LOWEST)
    if high > low and step > (high - low) / 100:
        raise CannotWrite(
            f"its values differ by {high - low:g} only, which the eight characters of EDF cannot tell apart",
            place=f"channel {channel}",
            todo="Leave the channel out, or write it as CSV",
        )
    zero = lowest - step * LOWEST
    lines = {line: (line[0] / step, (line[1] - zero) / step) for line in ranges}
    return EdfScale((texts[0], texts[1]), (LOWEST, HIGHEST), step, source_step, lines)
