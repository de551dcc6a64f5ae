"""When a limit is looked at: the stretches of a case that a phase token stands for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from .derived import Absent, Derived, Measured
from .measures.intervals import Interval, seconds_where, subtract_intervals
from .phases import phases
from .series import OBSERVED

if TYPE_CHECKING:
    from afterclamp.io.case import Case

    from .phases import Phase


class Windows:
    """Phases of one case as windows for figures.

    Parameters
    ----------
    case : Case
        The case.
    derived : Derived
        Its measures.
    known : sequence of Phase, optional
        The phases in force, where they were looked for already.
    """

    def __init__(self, case: Case, derived: Derived, known: Sequence[Phase] | None = None) -> None:
        self.case = case
        self.phases: list[Phase] = phases(case) if known is None else list(known)
        on = any(
            phase.name == "bypass" for phase in self.phases
        )  # from what was said, where no flow was recorded
        self.bypass_known = on or not isinstance(derived.pump_flow, Absent)

    def spans(self, *names: str) -> list[Interval]:
        """Phases of these names."""
        return [(phase.start_s, phase.end_s) for phase in self.phases if phase.name in names]

    @property
    def established(self) -> list[Interval]:
        """Bypass from full flow to the start of weaning."""
        return subtract_intervals(self.spans("bypass"), self.spans("going_on", "weaning"))

    @property
    def bypass(self) -> list[Interval]:
        """All time on bypass, going on and weaning included."""
        return self.spans("bypass")

    @property
    def arrests(self) -> list[Interval]:
        """Everything without whole-body flow by plan."""
        return self.spans("lower_body_arrest", "no_flow_arrest", "selective_cerebral")

    def of(self, phase: str) -> list[tuple[str, list[Interval] | Absent]]:
        """Windows of a limit's phase, each with the token that its figure carries."""
        whole = [(self.case.span.start, self.case.span.end)]
        if phase == "record":
            return [("record", whole)]
        if phase == "off":
            if not self.bypass_known:
                return [("record", whole)]
            return [*self.of("pre"), *self.of("post")]
        spans = self.established if phase == "established" else self.spans(phase)
        return [(phase, spans if spans else Absent(self._no_phase(phase)))]

    def _no_phase(self, phase: str) -> str:
        words = {
            "pre": "time before bypass",
            "post": "time after bypass",
            "established": "established bypass",
            "selective_cerebral": "time in which the brain alone is perfused",
        }
        if not self.bypass_known:
            return "no pump flow is recorded, so bypass is not known"
        bypasses = [one for one in self.phases if one.name == "bypass"]
        if phase == "pre" and bypasses and not bypasses[0].start.recorded:
            return "the pump's record begins on bypass: when that began is not known"
        if phase == "post" and bypasses and not bypasses[-1].end.recorded:
            return "the pump's record ends on bypass: when that ended is not known"
        return f"no {words.get(phase, 'time on bypass')} in this record"


def within(intervals: list[Interval], others: list[Interval]) -> list[Interval]:
    """What of some intervals lies in others."""
    return subtract_intervals(intervals, subtract_intervals(intervals, others))


def seconds_at(measured: Measured, test: str, level: float) -> list[Interval]:
    """Seconds in which a measure is below or at least at a level; unknown seconds are in neither."""
    if isinstance(measured, Absent):
        return []
    values = np.where(measured.state == OBSERVED, measured.values, np.nan)
    with np.errstate(invalid="ignore"):
        held = values < level if test == "below" else values >= level
    return seconds_where(held, measured.start)
