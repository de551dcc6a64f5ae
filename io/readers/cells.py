"""Cells of a table: what is a number, a time, a missing value, a header with its unit."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..units import parse_unit

MISSING = ("", "---", "--", "NaN", "nan", "NAN", "NA", "N/A")
"""Texts that mean "no value" in any table."""

CLOCK = re.compile(r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?(?: ?[AaPp][Mm])?")
DATETIME = re.compile(
    r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?(?: ?(?:Z|[+-]\d{2}:?\d{2}))?"
)
DATE = re.compile(r"\d{4}-\d{2}-\d{2}|\d{1,2}[./]\d{1,2}[./]\d{2,4}")
_NUMBER = {
    ".": re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"),
    ",": re.compile(r"[-+]?(?:\d+,?\d*|,\d+)(?:[eE][-+]?\d+)?"),
}
_BRACKETS = re.compile(r"(?P<label>.*?)\s*(?:\[(?P<square>.+)\]|\((?P<round>.+)\))")
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
    inner = (match["square"] or match["round"]) if match else ""
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
        return match["label"], inner
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
