"""How many changes an hour are listed as unexplained, and how many planted ones are.

    python tests/bench/unexplained_recall.py [--seeds 0 2 4 6 8 10 12 14] [--plants 20]

Whole invented operations by seed. Printed: what is listed in each as it is, and the truth beside it; then changes that
no rule has are planted one at a time (the believed pressure, the venous pressure the other way, both saturations of the
brain and the venous saturation move together in 15 to 60 s, stay for some minutes and go back, flow and line pressure
unchanged) at seconds drawn anywhere on full bypass or off it. A planting that a rule finds is counted apart: it is no
unexplained change. The recall is of the others.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from afterclamp.annotate.finds import find_in
from afterclamp.annotate.phases import phases
from afterclamp.annotate.unexplained import Unexplained, unexplained
from afterclamp.annotate.view import View
from afterclamp.sample_traces.whole_cases import whole_case
from whole_case import whole_case_on_disk

OTHERS = ("left_cerebral_saturation", "right_cerebral_saturation", "venous_saturation")
FULL = ("going_on", "weaning", "no_flow_arrest", "lower_body_arrest", "selective_cerebral")


def listed(view: View, said: list[tuple[float, float]]) -> tuple[Unexplained, list[str], float]:
    """What is listed, the events that rules find, and the seconds that the list took."""
    found = find_in(view)
    begun = time.perf_counter()
    out = unexplained(view, [*found, *found.held_back], said)
    return (
        out,
        [one.key for one in (*found, *found.held_back) if one.code[0] == "E"],
        time.perf_counter() - begun,
    )


def planted(view: View, rng: np.random.Generator) -> tuple[View, tuple[tuple[float, float], ...]]:
    """A view with one change in it, and the two stretches in which it comes and goes."""
    bypass = view.inside("bypass")
    wanted = bypass & ~view.inside(*FULL) if rng.random() < 0.7 else ~bypass
    seconds = np.flatnonzero(wanted)
    at = int(rng.choice(seconds[(seconds > 300) & (seconds < view.n - 700)]))
    sign, ramp, lasts = rng.choice((-1, 1)), rng.uniform(15, 60), rng.uniform(120, 400)
    shape = np.interp(
        np.arange(view.n), (at, at + ramp, at + ramp + lasts, at + 2 * ramp + lasts), (0, 1, 1, 0)
    )
    by = sign * rng.uniform(16, 30)
    moves = dict.fromkeys(view.arterial, by)
    moves["cvp"] = -sign * rng.uniform(5, 8)
    moves |= {name: sign * rng.uniform(7, 12) for name in OTHERS}
    values = {
        name: array + moves[name] * shape if name in moves else array for name, array in view.values.items()
    }
    back = at + ramp + lasts
    return replace(view, values=values), ((at - 30, at + ramp + 30), (back - 30, back + ramp + 30))


def main() -> None:
    """Measure."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--seeds", type=int, nargs="+", default=[0, 2, 4, 6, 8, 10, 12, 14])
    ask.add_argument("--plants", type=int, default=20)
    given = ask.parse_args()
    cases = []
    hours = count = 0.0
    for seed in given.seeds:
        with tempfile.TemporaryDirectory() as folder:
            made = whole_case(seed)
            with whole_case_on_disk(Path(folder) / "made", made) as case:
                view = View.of(case)
                view = view.with_phases(phases(case, view))
                said = [(note.t, note.t) for note in case.notes]
        found, events, took = listed(view, said)
        hours, count = hours + view.n / 3600, count + len(found.changes)
        print(
            f"seed {seed}: {len(found.changes)} in {view.n / 3600:.2f} h, asked of {found.looked_s} of {found.of_s} s, "
            f"{1000 * took:.0f} ms"
        )
        for one in found.changes:
            near = [
                true.code
                for true in made.truth
                if true.start_s - 60 <= one.end_s and true.end_s + 60 >= one.start_s
            ]
            moves = "; ".join(f"{move.channel} {move.before:.1f} to {move.after:.1f}" for move in one.moves)
            print(
                f"    {one.start_s:.0f} to {one.end_s:.0f} s, {moves}; truth near: {', '.join(near) or '-'}"
            )
        cases.append((view, said, set(events)))
    print(f"{count / hours:.2f} an hour in {hours:.1f} h")
    rng = np.random.default_rng(given.seeds[0] + 1)
    hit = asked = by_rules = number = 0
    while asked < given.plants and number < 10 * given.plants:
        view, said, before = cases[number % len(cases)]
        number += 1
        other, spans = planted(view, rng)
        found, events, _ = listed(other, said)
        if set(events) - before:
            by_rules += 1
            continue
        asked += 1
        got = any(one.start_s <= end and one.end_s >= start for one in found.changes for start, end in spans)
        hit += got
        if not got:
            print(f"    not listed: planted at {spans[0][0] + 30:.0f} s in {view.n} s")
    print(
        f"planted {number}: {by_rules} gave a rule's find; of the other {asked}, {hit} listed "
        f"({hit / max(asked, 1):.2f})"
    )


if __name__ == "__main__":
    main()
