"""From a case to the content of its paper: asks `annotate`, puts it into words, computes nothing clinical."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from afterclamp.annotate.phases import durations, phases
from afterclamp.annotate.quality import masked_seconds
from afterclamp.annotate.site import believed_site

from ..cautions import CAUTIONS, CAUTIONS_TITLE
from ..footing import CaseFooting, confirmed_words, states_of
from ..wording import NONE, length, phase_name, plus_minus
from .appendix import appendix
from .content import CaseContent, Picture, Row, Section, Table
from .figure_section import figure_section, limit_section
from .moments import find_section, mark_section, said_section, when

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure
    from afterclamp.annotate.finds import Find, Finds
    from afterclamp.annotate.limits import LimitSet
    from afterclamp.annotate.marks import Mark
    from afterclamp.annotate.phases import Phase
    from afterclamp.io.case import Case


@dataclass(frozen=True)
class Gathered:
    """The content, and what its pictures show above and in the strips."""

    content: CaseContent
    phases: Sequence[Phase]
    finds: Sequence[Find]
    marks: Sequence[Mark]
    masked: Mapping[str, Any]


def gather(
    case: Case, *, believe: str | None = None, limits: LimitSet | None = None, day: date | None = None
) -> Gathered:
    """Everything that the paper says.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time: nothing after that is read.
    believe : str, optional
        Arterial site to go by instead of the believed one.
    limits : LimitSet, optional
        Limits in force instead of the case's own.
    day : date, optional
        When the paper is made, for its footer.
    """
    from afterclamp.annotate.figures import figures
    from afterclamp.annotate.finds import find
    from afterclamp.annotate.limits import default_sets, rule_limits
    from afterclamp.annotate.marks import marks, verdicts

    in_force = default_sets() if limits is None else (limits,)
    found_phases = phases(case)
    found = find(case, believe, rule_limits(*in_force))
    own_marks = marks(case)
    said = verdicts(case, tuple(found))
    computed = figures(case, believe, in_force)
    states = states_of(case)
    masked = {channel.id: masked_seconds(channel, case.grid) for channel in case.channels if channel.count}
    confirmed = confirmed_words(said, len(found))
    footing = CaseFooting.of(case, limits=in_force, states=states, confirmed_by=confirmed)
    site, reason = believed_site(case, believe)
    finds_part = find_section(case, found, said)
    marks_part = mark_section(case, own_marks)
    content = CaseContent(
        title=f"Case paper: {case.name}",
        facts=_facts(case, site.plain_name if site is not None else "none", reason, footing),
        sections=(
            _summary(case, found_phases, computed, found),
            _phase_section(case, found_phases),
            figure_section(computed),
            finds_part,
            marks_part,
            said_section(case),
            appendix(case, states),
            limit_section(computed, in_force),
        ),
        cautions=(f"{CAUTIONS_TITLE} {CAUTIONS[0]}", *CAUTIONS[1:]),
        footer=footing.text(day),
    )
    return Gathered(content, found_phases, tuple(found), own_marks, masked)


# -- head --------------------------------------------------------------------------------------------


def _facts(case: Case, site: str, reason: str, footing: CaseFooting) -> tuple[tuple[str, str], ...]:
    span = case.span
    facts = [
        (
            "Record",
            f"{length(span.duration)} (min:s), {len(case.sources)} source(s), {len(case.channels)} channel(s); "
            + (
                f"the reference clock runs from {case.clock_text(span.start)} to {case.clock_text(span.end)}"
                if case.start_clock is not None
                else "the reference has no clock of its own: times are minutes from the start"
            ),
        ),
        ("Patient", _patient(case)),
        ("Believed arterial site", f"{site}. {reason[:1].upper()}{reason[1:]}."),
        (
            "Numbers",
            f"clean: {footing.masked_s:.0f} s in which some channel is taken for artefact are masked and counted; "
            "nothing is filled in, and the samples are kept as recorded",
        ),
        ("Limits in force", footing.limits),
        ("Times", "on the reference clock; what stands after ± is a 95 % interval"),
    ]
    return tuple(facts)


def _patient(case: Case) -> str:
    from afterclamp.annotate.measures.body import body_surface_area_du_bois, body_surface_area_mosteller

    patient = case.patient
    parts = [text for text in (patient.sex, f"age {patient.age_band}" if patient.age_band else None) if text]
    if patient.height_cm is not None:
        parts.append(f"{patient.height_cm:g} cm")
    if patient.weight_kg is not None:
        parts.append(f"{patient.weight_kg:g} kg")
    if patient.height_cm is not None and patient.weight_kg is not None:
        du_bois = body_surface_area_du_bois(patient.height_cm, patient.weight_kg)
        mosteller = body_surface_area_mosteller(patient.height_cm, patient.weight_kg)
        parts.append(f"body surface {du_bois:.2f} m² (Du Bois), {mosteller:.2f} m² (Mosteller)")
    if case.sheet.inflow_site:
        side = f"{case.sheet.inflow_side} " if case.sheet.inflow_side else ""
        parts.append(f"inflow {side}{case.sheet.inflow_site}")
    return ", ".join(parts) or "nothing is known: there is no case sheet"


# -- summary -----------------------------------------------------------------------------------------


def _summary(case: Case, found_phases: Sequence[Phase], computed: Sequence[Figure], found: Finds) -> Section:
    sums = durations(found_phases)
    events = [one for one in found if one.code.startswith("E")]
    lead = [
        f"{len(found)} finds are proposed, {len(found) - len(events)} of them artefacts; {len(computed)} figures "
        "stand below, each with the minutes that it rests on."
    ]
    if not found_phases:
        lead.append("No phase could be told from what was recorded: there is no pump flow.")
    table = Table(
        caption="Durations, min:s",
        headings=("duration", "sum", "±", "parts", "each", "counted as"),
        rows=tuple(
            Row(
                (
                    one.name,
                    length(one.total_s),
                    plus_minus(one.unc_s),
                    str(len(one.each)),
                    " + ".join(length(part[2]) for part in one.each) if len(one.each) > 1 else NONE,
                    one.method,
                ),
                link=_phase_key(name, 0),
            )
            for name, one in sums.items()
        ),
        right="<>>>",
        widths=(30, 10, 12, 8, 34, 52),
        empty="none: there are no phases",
    )
    return Section(
        "Summary",
        lead=tuple(lead),
        picture=Picture(
            span=case.span,
            marked=None,
            channels=(),
            alt=_overview_words(case, found_phases),
            caption="The whole record; phases and finds stand above the strips, hatched seconds are masked.",
        ),
        tables=(table,),
    )


def _overview_words(case: Case, found_phases: Sequence[Phase]) -> str:
    names = ", ".join(channel.plain_name for channel in case.channels if channel.count)
    told = "; ".join(
        f"{phase_name(phase.name)} from {length(phase.start_s)} to {length(phase.end_s)}"
        for phase in found_phases
        if not phase.parent or phase.name in ("bypass", "lower_body_arrest", "clamp")
    )
    return f"Strips of the whole record of {length(case.span.duration)} min:s with {names}. {told}."


# -- phases ------------------------------------------------------------------------------------------


def _phase_key(name: str, index: int) -> str:
    return f"phase-{name}-{index}" if name != "bypass_net_of_no_flow" else "phase-bypass-0"


def _phase_section(case: Case, found: Sequence[Phase]) -> Section:
    rows = []
    for phase in found:
        alternatives = "; ".join(phase.alternatives)
        rows.append(
            Row(
                (
                    f"{'· ' if phase.parent else ''}{phase_name(phase.name)}",
                    when(case, phase.start_s),
                    plus_minus(phase.start.unc_s),
                    when(case, phase.end_s),
                    plus_minus(phase.end.unc_s),
                    length(phase.duration_s),
                    f"confirmed by {phase.confirmed_by}" if phase.confirmed_by else "proposed",
                    phase.source.replace("_", " ") or "the record",
                ),
                key=_phase_key(phase.name, phase.index),
                note=phase.rule + (f". Could also be: {alternatives}" if alternatives else ""),
            )
        )
    return Section(
        "Phases",
        lead=(
            "A boundary is taken from the trace named last in its row unless somebody confirmed another time.",
        ),
        tables=(
            Table(
                caption="Phases: reference clock and min:s from the start, each boundary with its 95 % interval",
                headings=("phase", "start", "±", "end", "±", "length", "state", "by"),
                rows=tuple(rows),
                right="<<><>><<",
                widths=(34, 29, 15, 29, 15, 13, 19, 26),
                empty="none could be told; they need a pump flow",
            ),
        ),
    )
