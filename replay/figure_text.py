"""Figures as text for a spreadsheet: one row a figure, tab-separated, units in the headings, every denominator."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from .figure_words import limit_text, note_sentences, rivals_words, set_title
from .wording import phase_name, readable, site_words, unit_name

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure

HEADINGS = (
    "Measure",
    "Phase",
    "Part",
    "Outside is",
    "Limit",
    "Limit in",
    "Limit in words",
    "Outside [min]",
    "± of it [s]",
    "Observed [min]",
    "Left out [min]",
    "Masked [min]",
    "Missing [min]",
    "Area or mean",
    "Area or mean in",
    "Largest single area",
    "Farthest",
    "Longest [min]",
    "Outside with masked bridged [min]",
    "Area with masked bridged",
    "Site",
    "Artefacts",
    "Source of the limit",
    "Set",
    "Other limits",
    "Counted",
    "Note",
)


def as_text(figures: Iterable[Figure]) -> str:
    """The figures under their headings; a number that there is none of is an empty cell."""
    return "\n".join("\t".join(cells) for cells in [HEADINGS, *map(_cells, figures)])


def _cells(figure: Figure) -> tuple[str, ...]:
    computed = figure.value is not None
    cells = (
        figure.measure.replace("_", " "),
        phase_name(figure.phase),
        figure.part,
        figure.side,
        _number(figure.limit),
        unit_name(figure.limit_unit),
        limit_text(figure) if figure.side else "",
        _minutes(figure.outside_s) if computed and figure.side else "",
        _within(figure.outside_unc_s),
        _minutes(figure.observed_s),
        _minutes(figure.excluded_s),
        _minutes(figure.masked_s),
        _minutes(figure.missing_s),
        _number(figure.value),
        unit_name(figure.unit) if computed else "",
        _number(figure.largest_single_area),
        _number(figure.nadir),
        _minutes(figure.longest_run_s) if figure.longest_run_s is not None else "",
        _minutes(figure.bridged_outside_s) if figure.bridged_outside_s is not None else "",
        _number(figure.bridged_area),
        site_words(figure.site),
        "left in" if figure.clean == "raw" else "masked",
        readable(figure.limit_source),
        set_title(figure),
        rivals_words(figure),
        readable(figure.method),
        readable("; ".join(note_sentences(figure))),
    )
    return tuple(" ".join(cell.split()) for cell in cells)  # a tab or a line end would begin another cell


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.2f}"


def _within(half_width_s: float | None) -> str:
    """Half width of a 95 % interval; in a word where it is without limit."""
    if half_width_s is None:
        return ""
    return "unknown" if math.isinf(half_width_s) else f"{half_width_s:.1f}"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"
