"""Figures as text for a spreadsheet: one row a figure, tab-separated, units in the headings, every denominator."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

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
    "Outside [min]",
    "Observed [min]",
    "Left out [min]",
    "Masked [min]",
    "Missing [min]",
    "Area or mean",
    "Area or mean in",
    "Farthest",
    "Longest [min]",
    "Site",
    "Artefacts",
    "Source of the limit",
    "Set",
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
        _minutes(figure.outside_s) if computed and figure.side else "",
        _minutes(figure.observed_s),
        _minutes(figure.excluded_s),
        _minutes(figure.masked_s),
        _minutes(figure.missing_s),
        _number(figure.value),
        unit_name(figure.unit) if computed else "",
        _number(figure.nadir),
        _minutes(figure.longest_run_s) if figure.longest_run_s is not None else "",
        site_words(figure.site),
        "left in" if figure.clean == "raw" else "masked",
        readable(figure.limit_source),
        figure.limit_set,
        readable(figure.note),
    )
    return tuple(" ".join(cell.split()) for cell in cells)  # a tab or a line end would begin another cell


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.2f}"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"
