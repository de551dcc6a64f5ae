"""Anticoagulation and cardioplegia of a case, from the case sheet, a channel, and what was written down."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

from .derived import Derived
from .measures.anticoagulation import AnticoagulationLedger, ClottingTest, anticoagulation_ledger
from .measures.cardioplegia import (
    CardioplegiaDose,
    CardioplegiaLedger,
    cardioplegia_ledger,
    doses_from_flow,
)
from .measures.intervals import Interval
from .phases import phases

if TYPE_CHECKING:
    from afterclamp.io.case import Case
    from afterclamp.io.sources import TimedNote

_HEPARIN = re.compile(r"^\W*heparin\b", re.IGNORECASE)
_PROTAMINE = re.compile(r"^\W*protamin(?:e)?\b(?!.*\bstop)", re.IGNORECASE)
_CLOTTING = re.compile(r"^\W*ACT\b\D{0,3}(?P<seconds>\d{2,4})\b", re.IGNORECASE)


def anticoagulation(case: Case) -> tuple[AnticoagulationLedger, tuple[str, ...]]:
    """The ledger of anticoagulation, and where each part of it comes from, in words.

    The case sheet counts; what it does not hold is taken from lines that begin with "heparin", "ACT 486" or
    "protamine", at the time they were written down for.
    """
    sheet, notes, said = case.sheet, list(case.notes), []
    heparin = tuple(row.time for row in sheet.heparin)
    protamine = tuple(row.time for row in sheet.protamine)
    tests = [
        ClottingTest(row.drawn, row.seconds, math.nan if row.result is None else row.result)
        for row in sheet.clotting_time
    ]
    if not heparin and (found := _written(notes, _HEPARIN)):
        heparin = tuple(note.t for note in found)
        said.append(f"heparin from what was written down ({_by(found)})")
    if not protamine and (found := _written(notes, _PROTAMINE)):
        protamine = tuple(note.t for note in found)
        said.append(f"protamine from what was written down ({_by(found)})")
    if not tests and (found := _written(notes, _CLOTTING)):
        tests = [ClottingTest(note.t, _seconds_in(note)) for note in found]
        said.append(
            f"clotting times from what was written down ({_by(found)}): when the blood was drawn is not known"
        )
    ledger = anticoagulation_ledger(
        tests,
        _spans(case, "bypass"),
        heparin_s=heparin,
        protamine_s=protamine,
        target_s=sheet.anticoagulation.target_s,
        target_source=sheet.anticoagulation.target_source or "",
    )
    return ledger, tuple(said)


def cardioplegia(case: Case) -> tuple[CardioplegiaLedger, tuple[str, ...]]:
    """The ledger of cardioplegia, and where its doses come from: the case sheet, and a channel besides."""
    doses = [
        CardioplegiaDose(
            row.start,
            row.end,
            row.route or "",
            _or_nan(row.volume_ml),
            _or_nan(row.temperature_c),
            _or_nan(row.pressure_mmhg),
            "case sheet",
        )
        for row in case.sheet.cardioplegia
    ]
    said = []
    derived = Derived(case)
    for signal in derived.signals.values():
        if signal.first.kind == "cardioplegia_flow":
            flow = derived.recorded(signal)
            read_off = [one for one in doses_from_flow(flow) if not _told_already(one, doses)]
            doses += read_off
            said.append(f"{len(read_off)} read off the channel {signal.plain_name}")
    limit_min = case.sheet.plan.cardioplegia_interval_min
    clamps = _spans(case, "clamp")
    if not clamps:
        said.append("when the clamp was on is not known: nobody set it")
    if not doses:
        said.append("no dose is on the case sheet, and no channel recorded one")
    return (
        cardioplegia_ledger(doses, clamps, own_limit_s=None if limit_min is None else 60 * limit_min),
        tuple(said),
    )


def _told_already(one: CardioplegiaDose, doses: Iterable[CardioplegiaDose]) -> bool:
    return any(other.start < one.end and one.start < other.end for other in doses)


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _spans(case: Case, name: str) -> list[Interval]:
    return [(phase.start_s, phase.end_s) for phase in phases(case) if phase.name == name]


def _written(notes: Iterable[TimedNote], pattern: re.Pattern[str]) -> list[TimedNote]:
    return [note for note in notes if pattern.search(note.text)]


def _seconds_in(note: TimedNote) -> float:
    found = _CLOTTING.search(note.text)
    return float(found["seconds"]) if found else math.nan


def _by(notes: Iterable[TimedNote]) -> str:
    return ", ".join(dict.fromkeys(note.source for note in notes))
