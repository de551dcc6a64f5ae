"""What stands on the phase ladder: which phase on which rung, its times and what is known of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from afterclamp.annotate.phase_model import Phase
from afterclamp.annotate.phases import length_sd

from ..wording import half_width, phase_name

LANES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("bypass", ("pre", "bypass", "post")),
    ("course", ("going_on", "cooling", "reperfusion", "warming", "weaning", "protamine")),
    ("cold, cardioplegia", ("cold_steady", "cardioplegia")),
    ("clamp", ("clamp",)),
    ("arrest", ("lower_body_arrest",)),
    ("no flow, head only", ("no_flow_arrest", "selective_cerebral")),
)
"""Which phase stands on which rung, outer ones above inner ones: what lies below lies within."""

NOT_SHOWN = frozenset({"return_on"})
"""Phases that another bar shows already: being back on bypass is a bar of bypass."""


@dataclass(frozen=True, slots=True)
class Rung:
    """One bar: a phase as the ladder shows it. Times in reference seconds, ± as half-widths of 95 %.

    `start_by` and `end_by` are who set that end, empty while it is proposed; `state` says it in words.
    Its `index` is the number that edits speak of it by; `at_least` says that the record begins or ends within it.
    """

    name: str
    start: float
    end: float
    lane: int
    start_unc: float = 0.0
    end_unc: float = 0.0
    length_unc: float = 0.0
    source: str = ""
    confirmed_by: str = ""
    start_by: str = ""
    end_by: str = ""
    state: str = "proposed"
    index: int = 0
    at_least: bool = False
    alternatives: tuple[str, ...] = ()

    @property
    def is_set(self) -> bool:
        """Whether it has times; the clamp has a row before anybody has set it."""
        return math.isfinite(self.start)

    @property
    def words(self) -> str:
        """The phase in plain words."""
        return phase_name(self.name)


def rung_of(phase: Phase) -> Rung:
    """A phase of the case as a bar."""
    return Rung(
        name=phase.name,
        start=phase.start_s,
        end=phase.end_s,
        lane=lane_of(phase.name),
        start_unc=phase.start.unc_s,
        end_unc=phase.end.unc_s,
        length_unc=half_width(length_sd(phase.start, phase.end)),
        source=phase.source.replace("_", " "),
        confirmed_by=phase.confirmed_by,
        start_by=phase.ends_by[0],
        end_by=phase.ends_by[1],
        state=phase.state,
        index=phase.edited_as,
        at_least=not (phase.start.recorded and phase.end.recorded),
        alternatives=phase.alternatives,
    )


def lane_of(name: str) -> int:
    """Rung of a phase; unknown names stand with the course."""
    return next((number for number, (_, names) in enumerate(LANES) if name in names), 1)
