"""Units: what files write, what it means in UCUM, and exact conversion within one dimension.

The table is fixed and short on purpose. A written unit that is not in it is unknown, never guessed:
``L/min7m2`` (seen in an open set of profiles where a slash was meant) stays unknown.

Source of codes and factors: The Unified Code for Units of Measure, https://ucum.org/ucum.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import UnitUnknown


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: ``value in the dimension's base = value * factor + zero``.

    Attributes
    ----------
    code : str
        UCUM, case-sensitive.
    dimension : str
        Only units of the same dimension convert.
    factor, zero : Fraction
        To the dimension's base unit, exact.
    written : tuple of str
        Variants that files write, besides the code itself.
    """

    code: str
    dimension: str
    factor: Fraction
    zero: Fraction
    written: tuple[str, ...]


def _unit(code: str, dimension: str, factor: str, written: str = "", zero: str = "0") -> Unit:
    return Unit(code, dimension, Fraction(factor), Fraction(zero), tuple(filter(None, written.split("|"))))


# The factor is to the first base of a dimension: Pa, mL/min, Cel, /min, uV, mL, g/L, %, s. UCUM's own
# definitions: mm[Hg] = 133.322 Pa, m[H2O] = 9.80665 kPa.
_UNITS: Final = (
    _unit("mm[Hg]", "pressure", "133.322", "mmHg|mm Hg|mmhg|mm hg|MMHG|mm(Hg)"),
    _unit("cm[H2O]", "pressure", "98.0665", "cmH2O|cm H2O|cmh2o|cm h2o|CMH2O|cm(H2O)"),
    _unit("kPa", "pressure", "1000", "kpa|KPA|KPa"),
    _unit("Pa", "pressure", "1"),
    _unit("mbar", "pressure", "100", "hPa"),
    _unit("L/min", "flow", "1000", "l/min|lpm|LPM|L per min|l.min-1|L.min-1"),
    _unit("mL/min", "flow", "1", "ml/min|cc/min"),
    _unit("mL/s", "flow", "60", "ml/s|mL/sec|ml/sec|cm3/s|cc/s"),
    _unit("L/s", "flow", "60000", "l/s"),
    _unit("L/h", "flow", "50/3", "l/h"),
    _unit("mL/h", "flow", "1/60", "ml/h|ml/hr|mL/hr"),
    _unit("L/min/m2", "flow index", "1000", "l/min/m2|L/(min.m2)|l/(min.m2)|L/min/m^2|l/min/m^2|l.min-1.m-2"),
    _unit("mL/min/m2", "flow index", "1", "ml/min/m2|mL/(min.m2)|ml/(min.m2)|mL/min/m^2|ml/min/m^2"),
    _unit("mL/kg/min", "flow by weight", "1", "ml/kg/min|mL/(kg.min)|ml/(kg.min)|mL/min/kg|ml/min/kg"),
    _unit("Cel", "temperature", "1", "C|°C|° C|degC|deg C|degrees C|celsius|Celsius"),
    _unit("[degF]", "temperature", "5/9", "F|°F|° F|degF|deg F|Fahrenheit", zero="-160/9"),
    _unit("K", "temperature", "1", "kelvin|Kelvin", zero="-273.15"),
    _unit("/min", "rate", "1", "1/min|bpm|BPM|beats/min|beat/min|min-1|per min|breaths/min"),
    _unit("Hz", "rate", "60", "hz|1/s|/s"),
    _unit("{rev}/min", "turns", "1", "rpm|RPM|rev/min"),
    _unit("mV", "voltage", "1000", "mv"),
    _unit("uV", "voltage", "1", "uv"),
    _unit("V", "voltage", "1000000"),
    _unit("mL", "volume", "1", "ml|cc|cm3"),
    _unit("dL", "volume", "100", "dl"),
    _unit("L", "volume", "1000", "l|litre|liter"),
    _unit("g/dL", "mass concentration", "10", "g/dl|gm/dL|gm/dl|g/100mL|g/100ml"),
    _unit("g/L", "mass concentration", "1", "g/l"),
    _unit("mg/dL", "mass concentration", "0.01", "mg/dl"),
    _unit("mmol/L", "amount concentration", "1", "mmol/l"),
    _unit("%", "fraction", "1", "percent|pct|per cent"),
    _unit("1", "fraction", "100", "fraction"),
    _unit("s", "time", "1", "sec|second|seconds"),
    _unit("ms", "time", "0.001", "msec|millisecond|milliseconds"),
    _unit("min", "time", "60", "minute|minutes"),
    _unit("h", "time", "3600", "hr|hour|hours"),
    _unit("deg", "angle", "1", "°|degree|degrees"),
    _unit("Ohm", "resistance", "1", "ohm|ohms|OHM|Ω"),
    _unit("J", "energy", "1", "joule|Joule"),
    _unit("W", "power", "1", "watt|Watt"),
    _unit("dyn.s/cm5", "vascular resistance", "1", "dyn*s/cm5|dyn.s.cm-5|dyn s cm-5|(dyn.s)/cm5"),
    # An index is multiplied by area; the divided form stands in open profiles and is kept apart as written.
    _unit("dyn.s.m2/cm5", "vascular resistance times area", "1", "dyn.s.cm-5.m2|dyn*s*m2/cm5"),
    _unit("dyn.s/cm5/m2", "vascular resistance per area", "1", "(dyn.s)/cm5/m2|dyn.s/(cm5.m2)"),
    _unit("[arb'U]", "arbitrary", "1", "NU|a.u."),
)

UNITS: Final[dict[str, Unit]] = {unit.code: unit for unit in _UNITS}


def _plain(text: str) -> str:
    """One way of writing signs that look alike: micro and mu, degree and ordinal, superscripts, spaces."""
    # The masculine ordinal and the ring above are typed for a degree; NFKC would turn them into letters.
    text = text.replace("\u00ba", "°").replace("\u02da", "°").replace("\u00b7", ".").replace("\u22c5", ".")
    text = unicodedata.normalize("NFKC", text).replace("\u03bc", "u").replace("\u2212", "-")
    return " ".join(text.split())


_WRITTEN: Final[dict[str, str]] = {
    **{_plain(variant): unit.code for unit in _UNITS for variant in unit.written},
    **{unit.code: unit.code for unit in _UNITS},
}


def parse_unit(text: str) -> str | None:
    """UCUM code of a unit as a file writes it, by a fixed table of variants.

    Parameters
    ----------
    text : str
        As written; spaces around it and doubled spaces do not matter, upper and lower case does.

    Returns
    -------
    str or None
        UCUM code; None for an empty or unknown unit, which is never guessed.

    Examples
    --------
    >>> parse_unit("mm Hg")
    'mm[Hg]'
    >>> parse_unit("L/min7m2") is None
    True
    """
    plain = _plain(text)
    return _WRITTEN.get(plain) or _WRITTEN.get(plain.replace(" ", ""))


def dimension(code: str) -> str | None:
    """Dimension of a UCUM code (``"pressure"``), None if the code is not in the table."""
    unit = UNITS.get(code)
    return unit.dimension if unit else None


def convertible(unit_from: str, unit_to: str) -> bool:
    """Whether both UCUM codes are known and of one dimension."""
    found = dimension(unit_from)
    return found is not None and found == dimension(unit_to)


def convert(values: ArrayLike, unit_from: str, unit_to: str) -> NDArray[np.float64]:
    """Values in another unit of the same dimension, by UCUM's exact factors.

    Parameters
    ----------
    values : array_like
        Numbers in `unit_from`; NaN stays NaN.
    unit_from, unit_to : str
        UCUM codes, such as ``parse_unit`` returns.

    Returns
    -------
    ndarray of float64
        A new array, same shape.

    Raises
    ------
    UnitUnknown
        A code that is not in the table, or two codes of different dimensions.

    References
    ----------
    The Unified Code for Units of Measure: mm[Hg] is 133.322 Pa, m[H2O] is 9.80665 kPa.

    Examples
    --------
    >>> float(convert(98.6, "[degF]", "Cel"))
    37.0
    """
    for code in (unit_from, unit_to):
        if code not in UNITS:
            raise UnitUnknown(
                f"the unit '{code}' is not in the table of units",
                todo="Name the unit by hand in a column map or in the bring-in window",
            )
    a, b = UNITS[unit_from], UNITS[unit_to]
    if a.dimension != b.dimension:
        raise UnitUnknown(
            f"'{unit_from}' is a unit of {a.dimension} and cannot become '{unit_to}' of {b.dimension}",
            todo="Correct the unit of the channel",
        )
    numbers = np.array(values, dtype=np.float64)
    if a.code == b.code:
        return numbers
    factor = a.factor / b.factor
    zero = (a.zero - b.zero) / b.factor
    # One multiplication and one division by whole numbers: the only rounding is float64's own.
    return (numbers * float(factor.numerator)) / float(factor.denominator) + float(zero)
