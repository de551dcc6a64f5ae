"""Phases on the paper: durations, times and values that a team reports, what cannot all be, and every boundary."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from afterclamp.annotate.phase_reported import Reported, reported
from afterclamp.annotate.phases import AT_LEAST, durations
from afterclamp.annotate.said import said_times

from ..wording import NONE, length, phase_name, quantity, readable, site_words, spread
from .content import Row, Section, Table
from .moments import phase_key, when

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Finds
    from afterclamp.annotate.inconsistencies import Inconsistency
    from afterclamp.annotate.phases import Phase
    from afterclamp.annotate.view import View
    from afterclamp.io.case import Case

_OF = {
    "bypass_net_of_no_flow": "bypass", "clamp_longest": "clamp", "no_flow_longest": "no_flow_arrest",
    "brain_without_flow": "no_flow_arrest", "clamp_off_to_off_bypass": "clamp", "off_to_protamine": "protamine",
}  # fmt: skip
"""The phase that a duration made of several is looked up at."""


def phase_section(
    case: Case, found: Sequence[Phase], view: View, finds: Finds, name: Callable[[str], str]
) -> Section:
    """Everything about phases.

    Parameters
    ----------
    case : Case
    found : sequence of Phase
        In force.
    view : View
        The case at one value a second.
    finds : Finds
        For what cannot all be as it stands, and for the minutes of lost drainage.
    name : callable
        Plain name of a channel.
    """
    rows = reported(found, view, said_times(case.notes), finds)
    return Section(
        "Phases",
        lead=(
            "A boundary is taken from the trace or line named last in its row unless somebody confirmed another time.",
        )
        if found
        else (),
        tables=(
            duration_table(found),
            *((_reported_table(case, rows),) if rows else ()),
            *((_asked_table(case, finds.asked),) if finds.asked else ()),
            _phase_table(case, found, name),
        ),
    )


def duration_table(found: Sequence[Phase]) -> Table:
    """Durations: sum, from first to last, parts."""
    return Table(
        caption="Durations, min:s",
        headings=("duration", "sum", "±", "parts", "each", "first to last", "counted as"),
        rows=tuple(
            Row(
                (
                    one.name,
                    f"{one.before_number}{length(one.total_s)}",
                    spread(one.unc_s) if one.unc_s else "as placed",
                    str(len(one.each)),
                    " + ".join(length(part[2]) for part in one.each) if len(one.each) > 1 else NONE,
                    length(one.first_to_last_s) if len(one.each) > 1 else NONE,
                    one.method.removeprefix(AT_LEAST)
                    + (f"; {length(one.union_s)} counted once" if one.total_s - one.union_s >= 1 else ""),
                ),
                link=phase_key(_OF.get(token, token), 0),
            )
            for token, one in durations(found).items()
        ),
        right="<>>><><",
        widths=(34, 20, 20, 10, 32, 18, 44),
    )


def _reported_table(case: Case, rows: Sequence[Reported]) -> Table:
    return Table(
        caption="Times and values that a team reports",
        headings=("", "at", "±", "value", "how"),
        rows=tuple(
            Row(
                (
                    one.name[:1].upper() + one.name[1:],
                    when(case, one.at_s) if one.at_s is not None else NONE,
                    spread(one.unc_s) if one.unc_s else NONE,
                    _value(one),
                    site_words(readable(one.note)),
                )
            )
            for one in rows
        ),
        right="<<>><",
        widths=(52, 32, 20, 26, 58),
    )


def _value(one: Reported) -> str:
    if one.value is None:
        return NONE
    if one.unit == "s":
        return f"{length(one.value)} min:s" + (
            f" {spread(one.value_unc)}" if one.value_unc is not None else ""
        )
    digits = {"Cel": 1, "mm[Hg]": 0, "L/min": 2, "mL/kg/min": 1, "Cel/min": 2}.get(one.unit)
    return quantity(one.value, one.unit, digits)


def _asked_table(case: Case, asked: Sequence[Inconsistency]) -> Table:
    return Table(
        caption="What cannot all be as it stands: somebody has to look",
        headings=("check", "", "what to do"),
        rows=tuple(Row((str(one.number), one.sentence(partial(when, case)), one.todo)) for one in asked),
        right=">",
        widths=(12, 110, 66),
    )


def _phase_table(case: Case, found: Sequence[Phase], name: Callable[[str], str]) -> Table:
    rows = []
    for phase in found:
        alternatives = "; ".join(phase.alternatives)
        at_least = "" if phase.start.recorded and phase.end.recorded else "at least "
        rows.append(
            Row(
                (
                    f"{'· ' if phase.parent else ''}{phase_name(phase.name)}",
                    when(case, phase.start_s),
                    spread(phase.start.unc_s),
                    when(case, phase.end_s),
                    spread(phase.end.unc_s),
                    f"{at_least}{length(phase.duration_s)}",
                    phase.state,
                    ", ".join(name(one) for one in phase.source.split(", ")) or "the record",
                ),
                key=phase_key(phase.name, phase.index),
                note=phase.rule + (f". Could also be: {alternatives}" if alternatives else ""),
            )
        )
    return Table(
        caption="Phases: reference clock and min:s from the start, each boundary with its 95 % interval",
        headings=("phase", "start", "±", "end", "±", "length", "state", "by"),
        rows=tuple(rows),
        right="<<><>><<",
        widths=(32, 28, 19, 28, 19, 13, 18, 26),
        empty="No phase could be told: that needs a pump flow, or lines of text that say when bypass began and ended.",
    )
