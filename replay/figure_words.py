"""What is said of a figure: its measure, limit, set and ±, and what a reader must know, in order of weight."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from .wording import NONE, minutes, phase_name, plus_minus, quantity, readable, site_words, unit_name

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure

_SHORT = {"mean_arterial_pressure": "MAP", "oxygen_delivery_index": "DO₂ index"}
"""The trade's short names, where the whole one would push the phase out of a narrow column."""
_EDITED = re.compile(r", \d+ numbers? edited$")
_OTHER_SITE = re.compile(r" believed (throughout )?instead of ")


def measure_words(figure: Figure) -> str:
    """What was measured; the part of it that was counted stands with the phase."""
    return _token(figure).replace("_", " ")


def _token(figure: Figure) -> str:
    """The measure without the part of it, where that stands with the phase."""
    return re.sub(r"_(cold|warm|from_\d+)$", "", figure.measure) if figure.part else figure.measure


def limit_text(figure: Figure) -> str:
    """A figure's limit with its side and unit; a dash where it has none."""
    if figure.limit is None or not math.isfinite(figure.limit):
        return NONE
    return figure.limit_words or f"{figure.side} {figure.limit:g} {unit_name(figure.limit_unit)}".rstrip()


def limit_order(figure: Figure) -> str:
    """What limits are sorted by: within one unit by their number, units apart."""
    return f"{figure.limit_unit} {(figure.limit or 0.0) + 1e6:015.4f}" if figure.limit is not None else ""


def set_title(figure: Figure) -> str:
    """The set that a limit stands in; how many numbers of it are edited is said of an edited one alone."""
    edited = figure.limit_source.startswith("edited by ")
    return figure.limit_set if edited else _EDITED.sub("", figure.limit_set)


def figure_name(figure: Figure) -> str:
    """Measure, phase and part."""
    short = _SHORT.get(_token(figure), measure_words(figure))
    return ", ".join(filter(None, [short, phase_name(figure.phase), figure.part]))


def figure_names(figures: Sequence[Figure]) -> list[str]:
    """The names of figures that stand in one table; the site is in those that have one name and limit with another."""
    alike = Counter((figure_name(one), one.limit_id) for one in figures)
    names = []
    for one in figures:
        name = figure_name(one)
        site = site_words(one.site) if alike[name, one.limit_id] > 1 else ""
        names.append(f"{name}, {_place(site)}" if site else name)
    return names


def _place(site: str) -> str:
    """Where, without what: the name says that."""
    return re.sub(r" (cerebral saturation|temperature|pressure)\b", "", site)


def within_words(figure: Figure) -> str:
    """The ± of the minutes outside; empty where nothing was counted."""
    if figure.value is None or not figure.side or figure.outside_unc_s is None:
        return ""
    return plus_minus(figure.outside_unc_s)


def outside_words(figure: Figure) -> str:
    """``4.7 of 41.5 min ± 3 s``; of a mean the minutes that it was measured over."""
    if not figure.side:
        return f"of {minutes(figure.observed_s)}"
    counted = f"{minutes(figure.outside_s).removesuffix(' min')} of {minutes(figure.observed_s)}"
    return f"{counted} {within_words(figure)}".rstrip()


def largest_words(figure: Figure) -> str:
    """The largest area of a single stretch outside the limit."""
    return quantity(figure.largest_single_area, figure.unit) if figure.side else NONE


def bridged_words(figure: Figure) -> str:
    """Minutes and area with masked seconds bridged by a straight line, an estimate; a dash where none are."""
    if figure.bridged_outside_s is None or figure.bridged_area is None:
        return NONE
    if figure.bridged_outside_s - figure.outside_s < 1 and figure.bridged_area <= 1.001 * (
        figure.area or 0.0
    ):
        return "the same"
    whole_s = figure.observed_s + figure.bridged_s
    return (
        f"{minutes(figure.bridged_outside_s).removesuffix(' min')} of {minutes(whole_s)}, "
        f"{quantity(figure.bridged_area, figure.unit)}"
    )


def is_of_another_line(sentence: str) -> bool:
    """Whether a sentence says what another arterial line would have made of a figure."""
    return _OTHER_SITE.search(sentence) is not None


def note_sentences(figure: Figure) -> list[str]:
    """What a reader must know, first of all what another arterial line would have said."""
    sentences = [one for one in figure.note.split("; ") if one]
    return sorted(sentences, key=lambda one: not is_of_another_line(one))


def rivals_words(figure: Figure) -> str:
    """Limits that say otherwise, each with its source."""
    return readable("; ".join(figure.rivals))


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    shown = readable(text)
    return f"{shown[:1].upper()}{shown[1:]}." if shown else ""
