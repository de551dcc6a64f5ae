"""Cells of a table: what is a number, a time, a missing value, a header with its unit."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..units import parse_unit

MISSING = ("", "-", "--", "---", "NaN", "nan", "NAN", "NA", "N/A", "n/a", "null", "NULL")
"""Texts that mean "no value" in any table."""

_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?(?: ?[AaPp]\.?[Mm]\.?)?"
_DATE = (
    r"(?:\d{4}-\d{1,2}-\d{1,2}|\d{4}/\d{1,2}/\d{1,2}|\d{4}\.\d{1,2}\.\d{1,2}"
    r"|\d{1,2}(?P<sign>[-/.])\d{1,2}(?P=sign)(?:\d{4}|\d{2})"
    r"|\d{1,2}[-/ .]{1,2}[A-Za-z]{3,9}[-/ .,]{1,2}\d{4})"
)
_ZONE = r"(?: ?(?:Z|[+-]\d{2}:?\d{2}))?"
CLOCK = re.compile(_CLOCK, re.ASCII)
DATE = re.compile(_DATE, re.ASCII)
DATETIME = re.compile(rf"(?P<date>{_DATE})(?:T|,? {{1,2}})(?P<clock>{_CLOCK})(?P<zone>{_ZONE})", re.ASCII)
_NUMBER = {
    ".": re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII),
    ",": re.compile(r"[-+]?(?:\d+,?\d*|,\d+)(?:[eE][-+]?\d+)?", re.ASCII),
}
_BRACKETS = re.compile(r"(?P<label>.*?)\s*(?:\[(?P<square>.*)\]|\((?P<round>.*)\))")
_CLOCK_FORM = re.compile(r"(?:[yYMdDjJT/. -]*)?[hH]{1,2}:[mM]{2}(?::[sS]{2}(?:[.,][fsS]+)?)?|s|sec|ms")


def is_number(text: str, decimal: str) -> bool:
    """Whether a cell is a plain number with this decimal sign."""
    return _NUMBER[decimal].fullmatch(text) is not None


def split_unit(header: str, headers: Sequence[str] = ()) -> tuple[str, str]:
    """Label and unit as written of a header such as ``flow [L/min]``, ``flow (L/min)`` or ``SvO2 %``.

    ``NIRS (L)`` beside ``NIRS (R)`` is a side, not litres.

    Examples
    --------
    >>> split_unit("FEM mean (mmHg)"), split_unit("FEM mm[Hg]")
    (('FEM mean', 'mmHg'), ('FEM', 'mm[Hg]'))
    """
    text = " ".join(header.split())
    match = _BRACKETS.fullmatch(text)
    inner = (match["square"] or match["round"] or "") if match else ""
    if match and inner in ("L", "R", "l", "r"):
        other = {"L": "R", "R": "L", "l": "r", "r": "l"}[inner]
        if f"{text[:-2]}{other}{text[-1]}" in {" ".join(h.split()) for h in headers}:
            return text, ""
    if match and match["label"] and parse_unit(inner):
        return match["label"], inner
    label, _, last = text.rpartition(" ")
    # Without brackets only what can be nothing but a unit: "min" may be a minimum, "L" a side.
    code = parse_unit(last)
    if label and code and last.lower() != "min" and (len(last) > 1 or not last.isalpha()):
        return label, last
    if match and match["label"]:
        return match["label"], inner.strip()
    return text, ""


def is_clock_form(text: str) -> bool:
    """Whether a cell in a row of units is what stands under "time": ``hh:mm:ss``."""
    return _CLOCK_FORM.fullmatch(text) is not None


def bare(cell: str) -> str:
    """A unit cell without the brackets around it."""
    inner = cell.strip()
    return (
        inner[1:-1].strip() if len(inner) > 1 and (inner[0], inner[-1]) in (("[", "]"), ("(", ")")) else inner
    )
