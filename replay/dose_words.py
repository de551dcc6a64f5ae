"""What a dose strip says of its figure: measure, limit, area, minutes; and what counting arrests in makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .figure_words import limit_text, measure_words
from .wording import minutes, phase_name, quantity, unit_name

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure

_SHORT = {"mean_arterial_pressure": "MAP", "oxygen_delivery_index": "DO₂ index"}

COUNTED_IN = "arrests counted in"
"""Part of the rows that leave no arrest out: the usual mistake, for comparison."""


def key_of(figure: Figure) -> str:
    """A name for a figure that holds from one look to the next, and from case to case."""
    site = figure.site if figure.measure.startswith("cerebral_saturation") else ""  # two sides, one limit
    return "|".join((figure.limit_id, figure.phase, figure.part, site))


def title_of(figure: Figure) -> str:
    """Everything that a strip must say beside its colours, in one line; what may be cut off stands last."""
    name = _SHORT.get(figure.measure, measure_words(figure).capitalize())
    outside = f"{minutes(figure.outside_s).removesuffix(' min')} of {minutes(figure.observed_s)} observed"
    raw = "raw, artefacts left in" if figure.clean == "raw" else ""
    side = f" {figure.site.split('_')[0]}" if figure.measure.startswith("cerebral_saturation") else ""
    mistaken, part = (figure.part, "") if figure.part == COUNTED_IN else ("", figure.part)
    where = ", ".join(filter(None, [raw, mistaken, phase_name(figure.phase), part]))
    return f"{name}{side} {limit_text(figure)}: {quantity(figure.area, figure.unit)}, {outside}; {where}"


def limit_of(figure: Figure) -> str:
    """The limit without its side."""
    return f"{figure.limit:g} {unit_name(figure.limit_unit)}".rstrip() if figure.limit is not None else ""


def counted_in(figure: Figure, figures: Sequence[Figure]) -> Figure | None:
    """The row that counts the arrests in which this one leaves out; None where there is no such row."""
    return next(
        (
            other
            for other in figures
            if other.part == COUNTED_IN
            and not figure.part
            and (other.limit_id, other.phase, other.site) == (figure.limit_id, figure.phase, figure.site)
            and other.counted is not None
        ),
        None,
    )


def contrast(figure: Figure, mistaken: Figure) -> str:
    """What counting the arrests in makes of an area, in words."""
    area, other = figure.area or 0.0, mistaken.area or 0.0
    times = f": {other / area:.0f} times as much" if area > 0 and other / area >= 2 else ""
    return (
        f"{quantity(area, figure.unit)} with arrests left out, {quantity(other, mistaken.unit)} with them "
        f"counted in{times}."
    )
