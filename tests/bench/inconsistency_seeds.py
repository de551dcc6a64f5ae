"""Whether the fourteen checks speak where an inconsistency was planted, and only there.

    python tests/bench/inconsistency_seeds.py [--seeds 100] [--first 0] [--show]

Planned operations by seed. Of each seed: the case as it is, in which no check must speak; and the case with each of
the fourteen planted in turn, in which that check must speak, and no other but those that the plant brings with it
(an arrest that is stretched over flow does not add up any more either).
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from afterclamp.annotate.inconsistencies import CHECKS, inconsistencies
from afterclamp.annotate.order import Stretch
from afterclamp.annotate.phase_model import Phase
from afterclamp.annotate.phases import durations, overlay, propose
from afterclamp.annotate.said import CopiedLength, Said
from afterclamp.annotate.view import View
from afterclamp.sample_traces.whole_plan import Plan
from plan_view import planned


@dataclass(frozen=True)
class Asked:
    """What a check is asked of."""

    drawn: Plan
    view: View
    said: tuple[Said, ...]
    edits: tuple[tuple[str, dict[str, Any]], ...] = ()
    copied: tuple[CopiedLength, ...] = ()

    def phases(self) -> list[Phase]:
        return overlay(propose(self.view, self.said), self.edits)

    def with_edit(self, name: str, start: float, end: float, index: int = 0) -> Asked:
        payload = {"name": name, "start_s": start, "end_s": end, "index": index}
        return replace(self, edits=(*self.edits, ("maker", payload)))

    def numbers(self) -> list[int]:
        found = self.phases()
        return [one.number for one in inconsistencies(found, self.said, self.view, copied=self.copied)]


def clamp_too_early(case: Asked) -> Asked:
    return case.with_edit("clamp", case.drawn.going_on - 300, case.drawn.clamp[1])


def second_clamp_over_the_first(case: Asked) -> Asked:
    return case.with_edit("clamp", case.drawn.clamp[1] - 300, case.drawn.clamp[1] + 300, 1)


def arrest_after_bypass(case: Asked) -> Asked:
    return case.with_edit("lower_body_arrest", case.drawn.off + 300, case.drawn.off + 500, 9)


def head_outside_an_arrest(case: Asked) -> Asked:
    start = case.drawn.full_flow + 60
    return case.with_edit("selective_cerebral", start, start + 300, 9)


def arrest_over_flow(case: Asked) -> Asked:
    arrests = [one for one in case.phases() if one.name == "no_flow_arrest"]
    if not arrests:
        start = case.drawn.clamp[0] + 600
        return case.with_edit("no_flow_arrest", start, start + 300)
    return case.with_edit("no_flow_arrest", arrests[0].start_s, arrests[0].end_s + 300)


def warm_arrest(case: Asked) -> Asked:
    """The pump stands for four minutes at a core of more than 28 °C, and the pressures run down."""
    core = case.view.values["nasopharyngeal_temperature"]
    warm = np.flatnonzero((core > 29) & (np.arange(core.size) > case.drawn.warming))
    start = int(max(warm[0], case.drawn.warming + 900)) if warm.size else int(case.drawn.warming + 900)
    inside = np.zeros(core.size, bool)
    inside[start : start + 240] = True
    values = dict(case.view.values)
    values["pump_flow"] = np.where(inside, 0.0, values["pump_flow"])
    for name in case.view.arterial:
        values[name] = np.where(inside, 8.0, values[name])
    return replace(case, view=replace(case.view, values=values))


def parts_that_do_not_add(case: Asked) -> Asked:
    arrests = [one for one in case.phases() if one.name == "no_flow_arrest"]
    if arrests:
        one = arrests[0]
        return case.with_edit("no_flow_arrest", one.start_s, one.end_s - 60)
    start = case.drawn.clamp[0] + 600
    return case.with_edit("lower_body_arrest", start, start + 300).with_edit(
        "no_flow_arrest", start, start + 200
    )


def protamine_too_early(case: Asked) -> Asked:
    early = [replace(one, t=case.drawn.off - 600.0) if one.kind == "protamine" else one for one in case.said]
    return replace(case, said=tuple(sorted(early, key=lambda one: one.t)))


def heparin_missing(case: Asked) -> Asked:
    return replace(case, said=tuple(one for one in case.said if one.kind != "heparin"))


def log_wrong_by_ten_minutes(case: Asked) -> Asked:
    wrong = [
        replace(one, t=one.t - 600.0) if (one.kind, one.source) == ("clamp_off", "log") else one
        for one in case.said
    ]
    return replace(case, said=tuple(sorted(wrong, key=lambda one: one.t)))


def warming_before_the_cold_is_over(case: Asked) -> Asked:
    warm = next(one for one in case.phases() if one.name == "warming")
    cold = [
        one
        for one in case.phases()
        if one.name in ("lower_body_arrest", "cooling") and one.start_s < warm.start_s
    ]
    return case.with_edit("warming", max(one.end_s for one in cold) - 240, warm.end_s)


def cooling_called_warming(case: Asked) -> Asked:
    return case.with_edit("warming", case.drawn.cooling + 120, case.drawn.weaning)


def copied_wrongly(case: Asked) -> Asked:
    length = durations(case.phases())["clamp"].total_s + 600
    minutes = round(length / 60)
    wrong = CopiedLength("clamp", 60.0 * minutes, True, case.drawn.off, f"clamp time {minutes}", "log")
    return replace(case, copied=(wrong,))


def clock_set_back(case: Asked) -> Asked:
    middle = (case.drawn.full_flow + case.drawn.weaning) / 2
    pieces = (Stretch(-np.inf, (0, 0), 0.5), Stretch(middle, (1, 0), 0.5))
    return replace(case, view=replace(case.view, clocks={"pump": pieces}))


PLANTS: dict[int, Callable[[Asked], Asked]] = {
    1: clamp_too_early, 2: second_clamp_over_the_first, 3: arrest_after_bypass, 4: head_outside_an_arrest,
    5: arrest_over_flow, 6: warm_arrest, 7: parts_that_do_not_add, 8: protamine_too_early, 9: heparin_missing,
    10: log_wrong_by_ten_minutes, 11: warming_before_the_cold_is_over, 12: cooling_called_warming,
    13: copied_wrongly, 14: clock_set_back,
}  # fmt: skip
COMPANIONS: dict[int, set[int]] = {
    3: {5, 6}, 5: {6, 7, 11}, 6: {11}, 7: {5, 6}, 12: {11},
}  # fmt: skip
"""What each plant brings with it: an arrest after bypass lies at a warm core, and so on."""


def asked_of(seed: int) -> Asked:
    """A planned operation of a seed, as it is."""
    return Asked(*planned(seed))


def wrong_of(case: Asked, number: int) -> str:
    """What is wrong with the answer to a plant; empty if nothing is."""
    answered = set(PLANTS[number](case).numbers())
    if number not in answered:
        return f"check {number} did not speak"
    more = answered - {number} - COMPANIONS.get(number, set())
    return f"check {number} brought {sorted(more)}" if more else ""


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--show", action="store_true")
    chosen = parser.parse_args()
    right: Counter[int] = Counter()
    silent = 0
    for seed in range(chosen.first, chosen.first + chosen.seeds):
        case = asked_of(seed)
        said = case.numbers()
        silent += not said
        if said and chosen.show:
            print(f"seed {seed}: nothing planted, spoke {said}")
        for number in PLANTS:
            wrong = wrong_of(case, number)
            right[number] += not wrong
            if wrong and chosen.show:
                print(f"seed {seed}: {wrong}")
    print(f"nothing planted: silent in {silent} of {chosen.seeds}")
    for number, name in CHECKS.items():
        print(f"{number:3} {name:60} {right[number]} of {chosen.seeds}")


if __name__ == "__main__":
    main()
