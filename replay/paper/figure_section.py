"""Minutes and areas on the paper: every number beside what it was measured over, and whose limit it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..tables import limit_text
from ..wording import NONE, in_minutes, number, phase_name, quantity, readable, unit_name
from .content import Row, Section, Table

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure
    from afterclamp.annotate.limits import LimitSet

LEAD = (
    "Outside is the time on the far side of a limit, of the time observed; area is depth times time. Left out is "
    "time that a measure excludes by design, masked is time taken for artefact, missing was not recorded: the four "
    "add up to the phase. A limit is a number that somebody published or chose. A minute outside it is not evidence "
    "of poor care, and a minute inside it is not evidence of good care."
)


def figure_section(computed: Sequence[Figure]) -> Section:
    """Time and area outside limits, and means, each with its denominator."""
    measured = [figure for figure in computed if figure.side and figure.value is not None]
    means = [figure for figure in computed if not figure.side and figure.value is not None]
    return Section("Minutes and areas", lead=(LEAD,), tables=(_outside(measured), _means(means)))


def limit_section(computed: Sequence[Figure], sets: Sequence[LimitSet]) -> Section:
    """What could not be computed and why, and the limits in force with their sources."""
    absent = [figure for figure in computed if figure.value is None]
    return Section("Appendix: limits in force", tables=(_absent(absent), *(_limits(one) for one in sets)))


def _denominator(figure: Figure) -> tuple[str, ...]:
    return in_minutes(figure.excluded_s), in_minutes(figure.masked_s), in_minutes(figure.missing_s)


def _outside(measured: Sequence[Figure]) -> Table:
    rows, told = [], set[str]()
    for key, figure in enumerate(measured, start=1):
        digits = 0 if figure.nadir is not None and abs(figure.nadir) >= 100 else 1
        farthest = number(figure.nadir, digits) if figure.outside_s > 0 else NONE
        rows.append(
            Row(
                (
                    figure.measure.replace("_", " "),
                    phase_name(figure.phase),
                    limit_text(figure),
                    in_minutes(figure.outside_s),
                    in_minutes(figure.observed_s),
                    quantity(figure.area, figure.unit),
                    farthest,
                    in_minutes(figure.longest_run_s),
                    *_denominator(figure),
                    figure.site.replace("_", " ") or NONE,
                ),
                key=f"figure-{key}",
                note=_note(figure, told),
            )
        )
    return Table(
        caption="Time and area outside limits, artefacts masked",
        headings=(
            "measure",
            "phase",
            "limit",
            "outside min",
            "of observed min",
            "area",
            "farthest",
            "longest min",
            "left out min",
            "masked min",
            "missing min",
            "site",
        ),
        rows=tuple(rows),
        right="<<<>>>>>>>><",
        widths=(26, 22, 22, 15, 18, 22, 17, 15, 12, 15, 15, 22),
        empty="none could be computed",
    )


_ALWAYS = ("excluded by design", "arrests not excluded", "with ", "while ", "in planned", "the site of")


def _note(figure: Figure, told: set[str]) -> str:
    """The note of a figure; what concerns the measure itself and the limit's rivals only where it stands first."""
    sentences = [part for part in figure.note.split("; ") if part]
    if figure.rivals:
        sentences.append("others say: " + ", ".join(figure.rivals))
    new = [part for part in sentences if part.startswith(_ALWAYS) or (figure.measure + part) not in told]
    told |= {figure.measure + part for part in new}
    text = "; ".join(new)
    return readable(f"{text[:1].upper()}{text[1:]}.") if text else ""


def _means(means: Sequence[Figure]) -> Table:
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
                    figure.site.replace("_", " ") or NONE,
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


def _limits(one: LimitSet) -> Table:
    from afterclamp.annotate.limits import STATUS

    return Table(
        caption=f"Limits in force: {one.title}. {one.about}",
        headings=("measure", "phase", "outside is", "rests on", "source", "note"),
        rows=tuple(
            Row(
                (
                    limit.measure.replace("_", " "),
                    "off bypass" if limit.phase == "off" else phase_name(limit.phase),
                    limit.words.replace(limit.unit, unit_name(limit.unit)).rstrip(),
                    STATUS[limit.status],
                    limit.cited,
                    limit.note,
                )
            )
            for limit in one
            if limit.figure
        ),
        widths=(30, 24, 28, 22, 44, 50),
    )
