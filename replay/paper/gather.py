"""From a case to the content of its paper: asks `annotate`, puts it into words, computes nothing clinical."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from afterclamp.annotate.phases import phases
from afterclamp.annotate.quality import masked_seconds
from afterclamp.annotate.site import believed_site
from afterclamp.annotate.view import View

from ..cautions import CAUTIONS, CAUTIONS_TITLE
from ..footing import CaseFooting, confirmed_words, states_of
from ..mask_words import people_words
from ..wording import length, phase_name, several
from .appendix import appendix
from .clock_section import clock_section
from .content import CaseContent, Picture, Section
from .figure_section import figure_section, limit_section
from .headline import headline
from .mask_section import mask_section
from .moments import find_sections, mark_section, rule_table, said_section
from .names import Names
from .phase_section import phase_section
from .rule_section import changed_numbers
from .value_section import ledger_section, value_section

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find
    from afterclamp.annotate.limits import LimitSet
    from afterclamp.annotate.marks import Mark
    from afterclamp.annotate.phases import Phase
    from afterclamp.io.case import Case, Channel


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
    from afterclamp.annotate.ledgers import anticoagulation, cardioplegia
    from afterclamp.annotate.limits import in_force, rule_limits
    from afterclamp.annotate.marks import marks, verdicts
    from afterclamp.annotate.overview import computed_values

    sets = in_force(case, limits)
    found_phases = phases(case)
    found = find(case, believe, rule_limits(*sets) if limits is not None else None)
    own_marks = marks(case)
    said = verdicts(case, tuple(found))
    computed = figures(case, believe, sets)
    states = states_of(case)
    masked = {channel.id: masked_seconds(channel, case.grid) for channel in case.channels if channel.count}
    confirmed = confirmed_words(said, len(found))
    footing = CaseFooting.of(case, limits=sets, states=states, confirmed_by=confirmed)
    site, reason = believed_site(case, believe)
    name = Names.of(case, believe)
    content = CaseContent(
        title=f"Case paper: {case.name}",
        facts=_facts(case, site is not None, reason, footing),
        sections=(
            Section("In short", tables=(headline(case, found_phases, computed, believe),)),
            *_operation(case, found_phases, found),
            _whole(case, found_phases),
            phase_section(case, found_phases, View.of(case, believe), found, name),
            figure_section(computed, name),
            value_section(computed_values(case, believe, sets), name),
            ledger_section(case, anticoagulation(case), cardioplegia(case)),
            *find_sections(case, found, said, name),
            *mask_section(case),
            mark_section(case, own_marks, name),
            said_section(case),
            appendix(case, states),
            *clock_section(case),
            Section("Appendix: rules", tables=(rule_table(found),), closing=changed_numbers(case)),
            limit_section(computed, sets),
        ),
        cautions=(f"{CAUTIONS_TITLE} {CAUTIONS[0]}", *CAUTIONS[1:]),
        footer=footing.text(day),
    )
    return Gathered(content, found_phases, tuple(found), own_marks, masked)


# -- head --------------------------------------------------------------------------------------------


def _facts(case: Case, site: bool, reason: str, footing: CaseFooting) -> tuple[tuple[str, str], ...]:
    span, by_people = case.span, people_words(case)
    facts = [
        (
            "Record",
            f"{length(span.duration)} (min:s), {several(len(case.sources), 'source')}, "
            f"{several(len(case.channels), 'channel')}; "
            + (
                f"the reference clock runs from {case.clock_text(span.start)} to {case.clock_text(span.end)}"
                if case.start_clock is not None
                else "the reference has no clock of its own: times are minutes from the start"
            ),
        ),
        ("Patient", _patient(case)),
        ("Believed arterial site", reason if site else f"none: {reason}"),
        (
            "Reading it",
            "times are on the reference clock, and what stands after ± is a 95 % interval; "
            "figures are masked, not raw: "
            f"{footing.masked_s:.0f} s in which some channel is taken for artefact or hidden by a person are left out "
            f"and counted{f' ({by_people})' if by_people else ''}, nothing is filled in, and the samples are kept as "
            "recorded",
        ),
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


# -- overview ----------------------------------------------------------------------------------------


FIRST_PAGE = ("arterial_pressure", "pump_flow", "temperature")
"""Kinds of channels that tell the operation in one look."""


def _operation(case: Case, found_phases: Sequence[Phase], found: Sequence[Find]) -> tuple[Section, ...]:
    """Phases, finds and the few traces that tell the operation; all others follow in `_whole`."""
    shown = tuple(channel for channel in case.channels if channel.count and channel.kind in FIRST_PAGE)
    if not shown or not found_phases:
        return ()
    picture = Picture(
        span=case.span,
        marked=None,
        channels=tuple(channel.id for channel in shown),
        alt=_overview_words(case, shown, found_phases),
        caption="Each kind of phase has its row, with lengths in min:s; below them finds and marks. "
        + _codes(found),
        look="overview",
    )
    return (Section("The operation", picture=picture),)


def _codes(found: Sequence[Find]) -> str:
    """What the codes of the finds stand for."""
    named = {find.code: find.name for find in found}
    return ", ".join(f"{code}: {name}" for code, name in sorted(named.items())) + "." if named else ""


def _whole(case: Case, found_phases: Sequence[Phase]) -> Section:
    shown = tuple(channel for channel in case.channels if channel.count)
    if not shown:
        return Section("Everything recorded", lead=("Nothing was recorded.",))
    picture = Picture(
        span=case.span,
        marked=None,
        channels=(),
        alt=_overview_words(case, shown, found_phases),
        caption="The whole record on fixed scales; arrows name what lies beyond them, hatched seconds are masked.",
    )
    return Section("Everything recorded", picture=picture)


def _overview_words(case: Case, shown: Sequence[Channel], found_phases: Sequence[Phase]) -> str:
    names = ", ".join(dict.fromkeys(channel.plain_name for channel in shown))
    told = "; ".join(
        f"{phase_name(phase.name)} from {length(phase.start_s)} to {length(phase.end_s)}"
        for phase in found_phases
        if not phase.parent or phase.name in ("bypass", "lower_body_arrest", "clamp")
    )
    return f"Strips of the whole record of {length(case.span.duration)} min:s with {names}. {told}."
