"""Minutes and areas on the paper: every number beside what it was measured over, and whose limit it is."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from ..figure_words import largest_words, limit_text, set_title, within_words
from ..limit_words import number_words
from ..wording import NONE, in_minutes, number, phase_name, quantity, readable, site_words
from .content import Row, Section, Table

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure
    from afterclamp.annotate.limits import Limit, LimitSet

LEAD = (
    "Outside is the time on the far side of a limit, of the time observed, with the 95 % interval that the grid of "
    "seconds and the boundaries of the phase leave it; area is depth times time, of all stretches and, where there "
    "are several, of the largest single one; farthest is the "
    "value that lay farthest outside (the lowest for a limit from below, the highest for one from above), and longest "
    "the longest stretch outside. Left out is time that a measure excludes by design, masked is time taken for "
    "artefact, missing was not recorded: with the time observed they add up to the phase. A limit is a number that "
    "somebody published or chose. A minute outside it is not evidence of poor care, and a minute inside it is not "
    "evidence of good care."
)
DELIVERY = "oxygen_delivery_index"
Name = Callable[[str], str]


def figure_section(computed: Sequence[Figure], name: Name = site_words) -> Section:
    """Time and area outside limits, and means, each with its denominator."""
    measured = [figure for figure in computed if figure.side and figure.value is not None]
    delivery = [figure for figure in measured if figure.measure == DELIVERY]
    others = [figure for figure in measured if figure.measure != DELIVERY]
    cited = _numbered([*others, *delivery])
    means = [figure for figure in computed if not figure.side and figure.value is not None]
    tables = [_outside(others, name, cited), *([_delivery(delivery, cited)] if delivery else [])]
    tables += [*([_sources(cited)] if cited else []), _means(means, name)]
    return Section("Minutes and areas", lead=(LEAD,), tables=tuple(tables))


Cited = Mapping[tuple[str, str], int]
"""The number under which the list of sources gives a limit's source and set."""


def _numbered(measured: Sequence[Figure]) -> Cited:
    cited: dict[tuple[str, str], int] = {}
    for figure in measured:
        if figure.limit_source:
            cited.setdefault((figure.limit_source, set_title(figure)), len(cited) + 1)
    return cited


def _limit(figure: Figure, cited: Cited) -> str:
    """A limit with the number of its source."""
    number_of = cited.get((figure.limit_source, set_title(figure)))
    return f"{limit_text(figure)} [{number_of}]" if number_of else limit_text(figure)


def _sources(cited: Cited) -> Table:
    return Table(
        caption="Where the limits above come from, by the number behind each",
        headings=("number", "source", "set of limits"),
        rows=tuple(
            Row((f"[{number_of}]", readable(source), title or NONE))
            for (source, title), number_of in cited.items()
        ),
        widths=(12, 130, 36),
    )


def limit_section(computed: Sequence[Figure], sets: Sequence[LimitSet]) -> Section:
    """What could not be computed and why, and the limits in force with their sources."""
    absent = [figure for figure in computed if figure.value is None]
    return Section("Appendix: limits in force", tables=(_absent(absent), *(_limits(one) for one in sets)))


def _denominator(figure: Figure) -> tuple[str, ...]:
    return in_minutes(figure.excluded_s), in_minutes(figure.masked_s), in_minutes(figure.missing_s)


def _numbers(figure: Figure) -> tuple[str, ...]:
    digits = 0 if figure.nadir is not None and abs(figure.nadir) >= 100 else 1
    return (
        _outside_min(figure),
        in_minutes(figure.observed_s),
        _area(figure),
        number(figure.nadir, digits) if figure.outside_s > 0 else NONE,
        in_minutes(figure.longest_run_s),
        *_denominator(figure),
    )


def _outside_min(figure: Figure) -> str:
    """Minutes outside with their ±."""
    return f"{in_minutes(figure.outside_s)} {within_words(figure)}".rstrip()


def _area(figure: Figure) -> str:
    """The area, and that of the largest single stretch where that is not all of it."""
    whole, largest = quantity(figure.area, figure.unit), largest_words(figure)
    return whole if largest in (whole, NONE) else f"{whole}; {largest}"


_NUMBERS = (
    "outside min",
    "of observed min",
    "area; largest single",
    "farthest",
    "longest min",
    "left out min",
    "masked min",
    "missing min",
)


def _outside(measured: Sequence[Figure], name: Name, cited: Cited) -> Table:
    rows, told = [], set[str]()
    methods = "; ".join(dict.fromkeys(figure.method for figure in measured if figure.method))
    for key, figure in enumerate(measured, start=1):
        rows.append(
            Row(
                (
                    figure.measure.replace("_", " "),
                    ", ".join(part for part in (phase_name(figure.phase), figure.part) if part),
                    _limit(figure, cited),
                    *_numbers(figure),
                    _place(name(figure.site)) or NONE,
                ),
                key=f"figure-{key}",
                note=_note(figure, told),
            )
        )
    return Table(
        caption="Time and area outside limits, artefacts masked" + (f": {methods}" if methods else ""),
        headings=("measure", "phase", "limit", *_NUMBERS, "site"),
        rows=tuple(rows),
        right="<<<>>>>>>>><",
        widths=(26, 21, 20, 15, 18, 22, 16, 15, 12, 15, 15, 26),
        empty="No time outside a limit could be computed.",
    )


def _place(site: str) -> str:
    """Where something was measured, without what: the row's first cell says that."""
    return re.sub(r" (temperature|saturation)\b", "", site)


def _delivery(measured: Sequence[Figure], cited: Cited) -> Table:
    """Oxygen delivery under each of several published limits, one beneath the other."""
    rows, told = [], set[str]()
    parts = list(dict.fromkeys((figure.phase, figure.part) for figure in measured))
    for phase, part in parts:
        own = sorted(
            (one for one in measured if (one.phase, one.part) == (phase, part)),
            key=lambda one: one.limit or 0.0,
        )
        for figure in own:
            new = [sentence for sentence in figure.note.split("; ") if sentence and sentence not in told]
            told |= set(new)
            text = "; ".join(new)
            rows.append(
                Row(
                    (
                        ", ".join(words for words in (phase_name(phase), part) if words),
                        _limit(figure, cited),
                        *_numbers(figure),
                        figure.limit_source or NONE,
                    ),
                    note=readable(f"{text[:1].upper()}{text[1:]}.") if text else "",
                )
            )
    return Table(
        caption="Oxygen delivery index: published limits disagree, so each has its row",
        headings=("phase", "limit", *_NUMBERS, "limit from"),
        rows=tuple(rows),
        right="<<>>>>>>>><",
        widths=(31, 24, 15, 18, 20, 17, 15, 13, 15, 15, 38),
    )


_ALWAYS = ("excluded by design", "arrests not excluded", "with ", "while ", "in planned", "the site of")


def _note(figure: Figure, told: set[str]) -> str:
    """The note of a figure; what concerns the measure itself and the limit's rivals only where it stands first."""
    sentences = [part for part in figure.note.split("; ") if part]
    if figure.rivals:
        sentences.append("other published limits: " + ", ".join(figure.rivals))
    new = [part for part in sentences if part.startswith(_ALWAYS) or (figure.measure + part) not in told]
    told |= {figure.measure + part for part in new}
    text = "; ".join(new)
    return readable(f"{text[:1].upper()}{text[1:]}.") if text else ""


def _means(means: Sequence[Figure], name: Name) -> Table:
    told: set[str] = set()
    methods = "; ".join(dict.fromkeys(figure.method for figure in means if figure.method))
    return Table(
        caption="Means of the pressures, artefacts masked" + (f": {methods}" if methods else ""),
        headings=(
            "line",
            "phase",
            "mean",
            "lowest second",
            "of observed min",
            "left out min",
            "masked min",
            "missing min",
        ),
        rows=tuple(
            Row(
                (
                    name(figure.site) if figure.site else NONE,
                    phase_name(figure.phase),
                    quantity(figure.value, figure.unit, 1),
                    quantity(figure.nadir, figure.unit, 1),
                    in_minutes(figure.observed_s),
                    *_denominator(figure),
                ),
                note=_note(figure, told),
            )
            for figure in means
        ),
        right="<<>>>>>>",
        widths=(34, 26, 22, 22, 20, 18, 18, 18),
    )


def _absent(absent: Sequence[Figure]) -> Table:
    return Table(
        caption="Not computed, and why",
        headings=("measure", "phase", "limit", "why"),
        rows=tuple(
            Row(
                (
                    figure.measure.replace("_", " "),
                    phase_name(figure.phase),
                    limit_text(figure),
                    figure.note.removeprefix("not computed: "),
                )
            )
            for figure in absent
        ),
        widths=(40, 30, 34, 80),
    )


def _source(cited: str, status: str) -> str:
    """Where a limit comes from, without the status that stands beside it."""
    return readable(cited.removeprefix(status).lstrip(": ,;")) or NONE


def _rivals(one: LimitSet, limit: Limit) -> str:
    """Limits that say otherwise, each with its source."""
    return "; ".join(readable(f"{rival.words} ({rival.cited})") for rival in one.rivals_of(limit)) or NONE


def _limits(one: LimitSet) -> Table:
    from afterclamp.annotate.limits import STATUS

    return Table(
        caption=f"Limits in force: {one.title}. {one.about}",
        headings=("measure", "phase", "outside is", "rests on", "source", "note", "other limits"),
        rows=tuple(
            Row(
                (
                    limit.measure.replace("_", " "),
                    "off bypass" if limit.phase == "off" else phase_name(limit.phase),
                    number_words(limit),
                    STATUS[limit.status],
                    _source(limit.cited, STATUS[limit.status]),
                    readable(limit.note),
                    _rivals(one, limit),
                )
            )
            for limit in one
            if limit.figure
        ),
        widths=(26, 20, 24, 18, 38, 38, 44),
    )
