"""Computed values and ledgers on the paper: what no limit stands behind, each with the seconds it rests on."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from ..wording import NONE, in_minutes, length, phase_name, quantity, readable, site_words
from .content import Row, Section, Table

if TYPE_CHECKING:
    from afterclamp.annotate.computed_value import Value
    from afterclamp.annotate.measures import AnticoagulationLedger, CardioplegiaLedger
    from afterclamp.io.case import Case

LEAD = (
    "Numbers that no limit stands behind: body size and plan, flow and oxygen, resistance, pulse, temperature and "
    "brain. Each stands beside the time that it rests on. Artefacts are masked and counted. A value is not evidence of "
    "good or poor care."
)


def value_section(found: Sequence[Value], name: Callable[[str], str] = site_words) -> Section:
    """Computed values, and what could not be computed."""
    rows: list[Row] = []
    told: set[str] = set()
    for one in found:
        if one.value is None:
            continue
        note = readable("; ".join(filter(None, [one.note, one.reference])))
        seconds = (one.observed_s, one.excluded_s, one.masked_s, one.missing_s)
        rows.append(
            Row(
                (
                    ", ".join(filter(None, [one.measure.replace("_", " "), one.words])),
                    _phase(one),
                    quantity(one.value, one.unit),
                    length(one.at_s) if one.at_s is not None else NONE,
                    *(in_minutes(s) if one.observed_s else NONE for s in seconds),
                    name(one.site) if one.site else "case sheet",
                ),
                note=f"{note[:1].upper()}{note[1:]}." if note and note not in told else "",
            )
        )
        told.add(note)
    values = Table(
        caption="Computed values",
        headings=(
            "value",
            "phase",
            "",
            "at min:s",
            "of observed min",
            "left out min",
            "masked min",
            "missing min",
            "site",
        ),
        rows=tuple(rows),
        right="<<>>>>>><",
        widths=(40, 26, 22, 14, 16, 13, 13, 13, 34),
        empty="No value could be computed.",
    )
    absent = dict.fromkeys(
        (one.measure.replace("_", " "), _phase(one), one.note.removeprefix("not computed: "))
        for one in found
        if one.value is None
    )
    tables = [values]
    if absent:
        tables.append(
            Table(
                caption="Not computed, and why",
                headings=("value", "phase", "why"),
                rows=tuple(Row(cells) for cells in absent),
                widths=(40, 30, 110),
            )
        )
    return Section("Computed values", lead=(LEAD,), tables=tuple(tables))


def _phase(one: Value) -> str:
    if not one.phase:
        return NONE
    if one.phase == "off":
        return "off bypass"
    return f"{phase_name(one.phase)}{f' {one.index + 1}' if one.index else ''}"


def ledger_section(
    case: Case,
    clotting: tuple[AnticoagulationLedger, Sequence[str]],
    doses: tuple[CardioplegiaLedger, Sequence[str]],
) -> Section:
    """Anticoagulation and cardioplegia, each with what is missing in it."""
    return Section("Ledgers", tables=(_clotting(case, *clotting), _doses(case, *doses)))


def _clotting(case: Case, ledger: AnticoagulationLedger, said: Sequence[str]) -> Table:
    lines = [(at, "heparin", NONE, NONE, NONE) for at in ledger.heparin_s]
    lines += [(at, "protamine", NONE, NONE, NONE) for at in ledger.protamine_s]
    for row in ledger.rows:
        known = math.isfinite(row.result_after_s), math.isfinite(row.since_last_s)
        lines.append(
            (
                row.test.drawn_s,
                f"clotting time {row.test.seconds:.0f} s, {row.part} bypass",
                in_minutes(row.result_after_s) if known[0] else NONE,
                in_minutes(row.since_last_s) if known[1] else NONE,
                NONE if row.below_target is None else "below" if row.below_target else "at or above",
            )
        )
    target = (
        "no target set"
        if ledger.target_s is None
        else f"target {ledger.target_s:.0f} s ({ledger.target_source})"
    )
    longest = (
        f"; longest stretch on bypass without a clotting time {length(ledger.longest_on_bypass_s)} min:s"
        if ledger.longest_on_bypass is not None
        else ""
    )
    return Table(
        caption=". ".join([f"Anticoagulation: {target}{longest}", *map(_capital, (*ledger.missing, *said))]),
        headings=("clock", "what", "result after min", "since last min", "against the target"),
        rows=tuple(Row((case.clock_text(at), *rest)) for at, *rest in sorted(lines)),
        right="<<>><",
        widths=(24, 60, 30, 30, 36),
        empty="Nothing of it is written down.",
    )


def _doses(case: Case, ledger: CardioplegiaLedger, said: Sequence[str]) -> Table:
    own = f"; the unit's own limit {length(ledger.own_limit_s)}" if ledger.own_limit_s is not None else ""
    longest = (
        f": longest stretch under the clamp without a dose {length(ledger.longest_interval_s)} min:s"
        if ledger.clamps
        else ""
    )
    return Table(
        caption=". ".join([f"Cardioplegia{longest}{own}", *map(_capital, said)]),
        headings=(
            "start",
            "end",
            "route",
            "volume",
            "temperature",
            "pressure",
            "since clamp",
            "since last",
            "own limit",
        ),
        rows=tuple(
            Row(
                (
                    case.clock_text(row.dose.start),
                    case.clock_text(row.dose.end),
                    row.dose.route or NONE,
                    quantity(row.dose.volume_ml, "mL", 0),
                    quantity(row.dose.temperature_c, "Cel", 1),
                    quantity(row.dose.delivery_pressure, "mm[Hg]", 0),
                    length(row.since_clamp_s),
                    length(row.interval_s),
                    NONE if row.over_own_limit is None else "over" if row.over_own_limit else "within",
                )
            )
            for row in ledger.rows
        ),
        right="<<<>>>>><",
        widths=(22, 22, 20, 18, 20, 18, 20, 20, 20),
        empty="No dose is known.",
    )


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"
