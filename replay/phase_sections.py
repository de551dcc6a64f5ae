"""What `afterclamp phases` prints: phases with what dates their boundaries, durations, times, and checks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any

from .tables import Row, spread, table
from .wording import NONE, length, phase_name, quantity, readable, site_words

if TYPE_CHECKING:
    from afterclamp.annotate.inconsistencies import Inconsistency
    from afterclamp.annotate.phase_model import Boundary, Phase
    from afterclamp.annotate.phase_reported import Reported
    from afterclamp.annotate.view import View
    from afterclamp.io.case import Case

SECTIONS = ("phases", "durations", "times", "checks")
TITLES = {
    "durations": "Durations",
    "times": "Times and values that a team reports",
    "checks": "What cannot all be as it stands",
}
DIGITS = {"Cel": 1, "mm[Hg]": 0, "L/min": 2, "mL/kg/min": 1, "Cel/min": 2, "mL/min": 0, "mL": 0}


class PhaseTable:
    """Phases of a case and what is made of them, each worked out when it is asked for.

    Parameters
    ----------
    case : Case
    details : bool
        Whether the text gives rule, value and alternatives of each boundary.
    """

    def __init__(self, case: Case, *, details: bool = False) -> None:
        self.case = case
        self.details = details

    @cached_property
    def view(self) -> View:
        """The case at one value a second, with its phases."""
        from afterclamp.annotate.phases import phases
        from afterclamp.annotate.view import View

        seen = View.of(self.case)
        return seen.with_phases(phases(self.case, seen))

    @property
    def phases(self) -> list[Phase]:
        """In force."""
        return list(self.view.phases)

    @cached_property
    def reported(self) -> list[Reported]:
        """Times and values of J5.3."""
        from afterclamp.annotate.finds import find_in
        from afterclamp.annotate.phase_reported import reported
        from afterclamp.annotate.rules import by_code
        from afterclamp.annotate.said import said_times

        lost_drainage = find_in(self.view, None, (by_code("E08"),)).finds
        return reported(self.phases, self.view, said_times(self.case.notes), lost_drainage)

    @cached_property
    def asked(self) -> list[Inconsistency]:
        """What cannot all be as it stands."""
        from afterclamp.annotate.inconsistencies import inconsistencies_of

        return inconsistencies_of(self.case, self.phases, self.view)

    def rows(self, sections: Sequence[str]) -> Any:
        """Sections as JSON has them: each a list of rows; several of them by their names."""
        made: dict[str, Callable[[], list[Row]]] = {
            "phases": lambda: [
                {**one.to_json(), "rule": one.rule, "state": one.state} for one in self.phases
            ],
            "durations": self._duration_rows,
            "times": lambda: [one.to_json() for one in self.reported],
            "checks": self._check_rows,
        }
        found = {section: made[section]() for section in sections}
        return found[sections[0]] if len(sections) == 1 else found

    def text(self, sections: Sequence[str]) -> str:
        """Sections as people read them, each under its title but the phases."""
        made = {
            "phases": self._phase_text,
            "durations": self._duration_text,
            "times": self._times_text,
            "checks": self._checks_text,
        }
        texts = [(section, made[section]()) for section in sections]
        return "\n\n".join(
            f"{TITLES[section]}\n{text}" if section in TITLES and len(sections) > 1 else text
            for section, text in texts
            if text
        )

    # -- rows -----------------------------------------------------------------------------------

    def _duration_rows(self) -> list[Row]:
        from afterclamp.annotate.phases import durations

        return [{"duration": token, **one.to_json()} for token, one in durations(self.phases).items()]

    def _check_rows(self) -> list[Row]:
        from afterclamp.annotate.inconsistencies import CHECKS

        return [
            {
                "number": number,
                "name": name,
                "asks": [
                    {"text": one.sentence(self.case.clock_text), "todo": one.todo, "at_s": list(one.at_s)}
                    for one in self.asked
                    if one.number == number
                ],
            }
            for number, name in CHECKS.items()
        ]

    # -- text -----------------------------------------------------------------------------------

    def _phase_text(self) -> str:
        found, when = self.phases, self.case.clock_text
        if not found:
            lacking = (
                "" if self.view.flow is not None else " There is no pump flow, and no line of text tells."
            )
            return f"No phase could be told from what was recorded.{lacking}"
        cells = [
            (
                ("  " if phase.parent else "") + phase_name(phase.name),
                when(phase.start_s),
                when(phase.end_s),
                spread(phase.unc_s),
                length(phase.end_s - phase.start_s),
                phase.state,
                phase.source,
            )
            for phase in found
        ]
        text = table(("phase", "start", "end", "each", "min:s", "state", "by"), cells, "<<<>><<")
        lines = [text, *self._clamp_words()]
        if self.details:
            lines += [
                "",
                *(line for phase in found for line in self._boundary_lines(phase)),
            ]
        return "\n".join(lines)

    def _clamp_words(self) -> list[str]:
        """That nobody gave a time of the clamp, with what the trace offers for it."""
        from afterclamp.annotate.phase_clamp_open import candidates, lone_clamp_ons

        if any(phase.name == "clamp" for phase in self.phases) or self.view.flow is None:
            return []
        if lone_clamp_ons(self.view):
            return ["Cross-clamp: nobody set, wrote or said when it came off."]
        offered = candidates(self.view)
        words = f" Candidates of the trace, never taken: {', '.join(offered)}." if offered else ""
        return [f"Cross-clamp: nobody set, wrote or said a time.{words}"]

    def _boundary_lines(self, phase: Phase) -> list[str]:
        lines = []
        for which, edge in (("start", phase.start), ("end", phase.end)):
            open_words = "" if edge.recorded else ", not recorded"
            at = f"{self.case.clock_text(edge.time_s)} {spread(edge.unc_s)}{open_words}"
            lines.append(f"{phase_name(phase.name)}, {which} {at}: {readable(edge.rule)}{_value_words(edge)}")
            lines += [f"    could also be: {readable(text)}" for text in edge.alternatives]
        return lines

    def _duration_text(self) -> str:
        from afterclamp.annotate.phases import AT_LEAST, durations

        sums = [
            (
                one.name,
                f"{one.before_number}{length(one.total_s)}",
                spread(one.unc_s),
                str(len(one.each)),
                length(one.first_to_last_s) if len(one.each) > 1 else "",
                one.method.removeprefix(AT_LEAST),
            )
            for one in durations(self.phases).values()
        ]
        headings = ("duration", "min:s", "", "parts", "first to last", "counted as")
        return table(headings, sums, "<>>>><") if sums else ""

    def _times_text(self) -> str:
        cells = [
            (
                one.name,
                self.case.clock_text(one.at_s) if one.at_s is not None else NONE,
                spread(one.unc_s) if one.unc_s else NONE,
                _reported_value(one),
                site_words(readable(one.note)),
            )
            for one in self.reported
        ]
        return table(("", "at", "", "value", "how"), cells, "<<>><") if cells else ""

    def _checks_text(self) -> str:
        from afterclamp.annotate.inconsistencies import CHECKS

        lines = [f"{one.number:>2}  {one.in_words(self.case.clock_text)}" for one in self.asked]
        asking = len({one.number for one in self.asked})
        return "\n".join([*lines, f"{asking} of {len(CHECKS)} checks ask something."])


def _value_words(edge: Boundary) -> str:
    if edge.value is None or not edge.channel:
        return ""
    unit = _unit(edge.channel)
    return f" ({edge.channel.replace('_', ' ')} {quantity(edge.value, unit, DIGITS[unit])})"


def _unit(channel: str) -> str:
    """Unit of a channel of a view, UCUM."""
    if channel.endswith("_temperature"):
        return "Cel"
    return {"pump_flow": "L/min", "cardioplegia_flow": "mL/min", "reservoir_volume": "mL"}.get(
        channel, "mm[Hg]"
    )


def _reported_value(one: Reported) -> str:
    if one.value is None:
        return NONE
    if one.unit == "s":
        return f"{length(one.value)} min:s" + (
            f" {spread(one.value_unc)}" if one.value_unc is not None else ""
        )
    return quantity(one.value, one.unit, DIGITS.get(one.unit))
