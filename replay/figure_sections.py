"""What `afterclamp figures` prints, section by section: limits, computed values, each phase, and ledgers."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any

from afterclamp.io.errors import several

from . import figure_table, tables
from .wording import NONE, in_minutes, length, minutes, number, phase_name, quantity, readable, unit_name

if TYPE_CHECKING:
    from afterclamp.annotate.computed_value import Value
    from afterclamp.annotate.limits import LimitSet
    from afterclamp.annotate.measures import AnticoagulationLedger, CardioplegiaLedger
    from afterclamp.annotate.overview import PhaseSummary
    from afterclamp.io.case import Case

TITLES = {
    "limits": "Minutes and areas",
    "values": "Computed values",
    "phases": "By phase",
    "ledgers": "Ledgers",
}


@dataclass(frozen=True)
class Asked:
    """What was asked of the command.

    Attributes
    ----------
    believe : str or None
        Arterial site.
    limits : LimitSet or sequence of LimitSet or None
        The sets in force.
    masked : bool
        Whether artefacts are left out.
    at_s : tuple of float
        Moments at which a measure is wanted, reference seconds.
    measure : str
        Which.
    """

    believe: str | None = None
    limits: LimitSet | Sequence[LimitSet] | None = None
    masked: bool = True
    at_s: tuple[float, ...] = ()
    measure: str = "oxygen_delivery_index"


def rows_of(case: Case, sections: Sequence[str], asked: Asked) -> Any:
    """Sections as JSON has them: each a list of rows, the ledgers an object; several of them by their names."""
    made = {section: _MADE[section](case, asked)[0] for section in sections}
    return made[sections[0]] if len(sections) == 1 else made


def text_of(case: Case, sections: Sequence[str], asked: Asked) -> str:
    """Sections as people read them, each under its title where there are several."""
    texts = []
    for section in sections:
        text = _MADE[section](case, asked)[1]()
        texts.append(f"{TITLES[section]}\n\n{text}" if len(sections) > 1 else text)
    return "\n\n\n".join(texts)


Made = tuple[Any, Callable[[], str]]


def _limits(case: Case, asked: Asked) -> Made:
    from afterclamp.annotate.figures import figures

    found = figures(case, asked.believe, asked.limits, masked=asked.masked)
    return tables.figure_rows(found), lambda: figure_table.figures(found)


def _values(case: Case, asked: Asked) -> Made:
    from afterclamp.annotate.overview import computed_values, values_at

    found = computed_values(case, asked.believe, asked.limits, masked=asked.masked)
    if asked.at_s:
        found = values_at(case, asked.measure, asked.at_s, asked.believe, masked=asked.masked) + found
    return [one.to_dict() for one in found], lambda: values_text(found)


def _phases(case: Case, asked: Asked) -> Made:
    from afterclamp.annotate.overview import phase_summaries

    found = phase_summaries(case, asked.believe, masked=asked.masked)
    return [one.to_dict() for one in found], lambda: phases_text(case, found)


def _ledgers(case: Case, _: Asked) -> Made:
    from afterclamp.annotate.ledgers import anticoagulation, cardioplegia

    clotting, clotting_said = anticoagulation(case)
    doses, doses_said = cardioplegia(case)
    rows = {
        "anticoagulation": {**tables.plain(clotting), "from": list(clotting_said)},
        "cardioplegia": {**tables.plain(doses), "from": list(doses_said)},
    }
    return rows, lambda: "\n\n".join(
        (anticoagulation_text(case, clotting, clotting_said), cardioplegia_text(case, doses, doses_said))
    )


_MADE: dict[str, Callable[[Case, Asked], Made]] = {
    "limits": _limits,
    "values": _values,
    "phases": _phases,
    "ledgers": _ledgers,
}


def values_text(found: Sequence[Value]) -> str:
    """Computed values as a table, none without its seconds where it rests on any; below it what must be known."""
    counted = [one for one in found if one.value is not None]
    cells = [
        (
            str(row),
            ", ".join(filter(None, [one.measure.replace("_", " "), one.words])),
            _phase(one.phase, one.index),
            quantity(one.value, one.unit),
            length(one.at_s) if one.at_s is not None else NONE,
            *_seconds(one),
            one.site.replace("_", " ") or "case sheet",
        )
        for row, one in enumerate(counted, start=1)
    ]  # fmt: skip
    headings = ("", "value", "phase", "", "at", "of observed", "left out", "masked", "missing", "site")
    text = tables.table(headings, cells, "><<>>>>>><")
    clean = {"masked": "Artefacts masked and counted.", "raw": "Raw, artefacts left in."}
    text += "\n" + " ".join(clean[one] for one in dict.fromkeys(one.clean for one in found))
    notes = tables.numbered(readable("; ".join(filter(None, [one.note, one.reference]))) for one in counted)
    absent = dict.fromkeys(
        f"  {one.measure.replace('_', ' ')}{', ' + _phase(one.phase, one.index) if one.phase else ''}: "
        f"{one.note.removeprefix('not computed: ')}"
        for one in found
        if one.value is None
    )
    for title, lines in (("Notes", notes), ("Not computed", list(absent))):
        if lines:
            text += f"\n\n{title}:\n" + "\n".join(lines)
    return text


def _seconds(one: Value) -> list[str]:
    if not one.observed_s:
        return [NONE] * 4
    return [minutes(s) for s in (one.observed_s, one.excluded_s, one.masked_s, one.missing_s)]


def _phase(token: str, index: int) -> str:
    if not token:
        return NONE
    return "off bypass" if token == "off" else f"{phase_name(token)}{f' {index + 1}' if index else ''}"


def phases_text(case: Case, found: Sequence[PhaseSummary]) -> str:
    """Each phase with what was observed in it; what nothing was observed of is told in one line."""
    parts = []
    for (token, index, start, end), group in groupby(
        found, lambda one: (one.phase, one.index, one.start_s, one.end_s)
    ):
        rows = list(group)
        seen = [one for one in rows if one.found.observed_s > 0]
        cells = [
            (
                one.measure.replace("_", " "),
                one.site.replace("_", " ") or "case sheet",
                *(
                    _short(value)
                    for value in (
                        one.found.median,
                        one.found.fifth,
                        one.found.ninety_fifth,
                        one.found.lowest,
                        one.found.highest,
                    )
                ),
                unit_name(one.found.unit),
                f"{one.found.observed_s:.0f} s",
                f"{one.found.masked_s:.0f} s",
                f"{one.found.missing_percent:.1f} %",
            )
            for one in seen
        ]
        title = (
            f"{_phase(token, index)}, {case.clock_text(start)}–{case.clock_text(end)}, {length(end - start)}"
        )
        headings = ("measure", "site", "median", "5 %", "95 %", "lowest", "highest", "unit", "observed", "masked",
                    "missing")  # fmt: skip
        text = f"{title}\n" + tables.table(headings, cells, "<<>>>>><>>>")
        if len(seen) < len(rows):
            text += f"\n{several(len(rows) - len(seen), 'course')} of which nothing was observed not shown."
        parts.append(text)
    return "\n\n".join(parts) or "No phase could be told from what was recorded."


def _short(value: float) -> str:
    return number(value, 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2)


def anticoagulation_text(case: Case, ledger: AnticoagulationLedger, said: Sequence[str]) -> str:
    """The ledger of anticoagulation as a table with what is missing in it."""
    rows = [(at, "heparin", NONE, NONE, NONE) for at in ledger.heparin_s]
    rows += [(at, "protamine", NONE, NONE, NONE) for at in ledger.protamine_s]
    for row in ledger.rows:
        against = NONE if row.below_target is None else "below" if row.below_target else "at or above"
        result = f"{in_minutes(row.result_after_s)} min" if math.isfinite(row.result_after_s) else NONE
        words = f"clotting time {row.test.seconds:.0f} s ({row.part} bypass)"
        since = f"{in_minutes(row.since_last_s)} min" if math.isfinite(row.since_last_s) else NONE
        rows.append((row.test.drawn_s, words, result, since, against))
    cells = [(case.clock_text(row[0]), *row[1:]) for row in sorted(rows)]
    text = "Anticoagulation\n"
    if cells:
        text += tables.table(("clock", "what", "result after", "since last", "target"), cells, "<<>><")
    target = "none set" if ledger.target_s is None else f"{ledger.target_s:.0f} s ({ledger.target_source})"
    lines = [f"Target in force: {target}."]
    if ledger.longest_on_bypass is not None:
        start, end = ledger.longest_on_bypass
        lines.append(
            f"Longest stretch on bypass without a clotting time: {length(end - start)} min, "
            f"{case.clock_text(start)}–{case.clock_text(end)}."
        )
    if ledger.first_before is not None:
        first = ledger.first_before
        lines.append(
            f"First after heparin and before going on: {first.seconds:.0f} s at {case.clock_text(first.drawn_s)}."
        )
    return "\n".join([*filter(None, [text]), *lines, *map(_sentence, (*ledger.missing, *said))])


def cardioplegia_text(case: Case, ledger: CardioplegiaLedger, said: Sequence[str]) -> str:
    """The ledger of cardioplegia as a table, each interval beside the unit's own limit where it set one."""
    cells = [
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
            row.dose.source.replace("_", " "),
        )
        for row in ledger.rows
    ]
    headings = (
        "start", "end", "route", "volume", "at", "pressure", "since clamp", "since last", "own limit", "from",
    )  # fmt: skip
    text = "Cardioplegia"
    if cells:
        text += "\n" + tables.table(headings, cells, "<<<>>>>><<")
    lines = []
    if ledger.clamps:
        lines.append(
            f"Clamped for {length(ledger.clamp_s)} min; longest stretch under it without a dose: "
            f"{length(ledger.longest_interval_s)} min; after the last dose: "
            f"{', '.join(map(length, ledger.last_intervals_s))} min."
        )
    if ledger.own_limit_s is not None:
        lines.append(f"The unit's own limit for an interval: {length(ledger.own_limit_s)} min.")
    return "\n".join([text, *lines, *map(_sentence, said)])


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."
