"""How many of the planted events the rules find, and what they find that is not there.

    python tests/bench/score_finds.py [--cases 60] [--first-seed 0] [--quiet 10] [--only E07,E08] [--show]

Demo, vignettes, whole operations by seed (even seeds to tune on, odd ones to report: `--half odd`), and quiet
operations in which nothing happens. Prints recall and precision by class and overall, the curve over onset
tolerances, boundary differences, false finds an hour in quiet cases, and how long looking took.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from afterclamp.annotate import score
from afterclamp.annotate.align import accept, estimate
from afterclamp.annotate.finds import find
from afterclamp.annotate.rules import RULES
from afterclamp.annotate.rules.rule import Find
from afterclamp.annotate.score import Count, Stretch
from afterclamp.io import bring_in, open_case
from afterclamp.io.case import Case
from afterclamp.sample_traces import build_demo, truth
from afterclamp.sample_traces.tables import Truth
from afterclamp.sample_traces.vignette_files import build_vignettes
from afterclamp.sample_traces.vignettes import VIGNETTES
from afterclamp.sample_traces.whole_cases import whole_case
from afterclamp.sample_traces.whole_truth import EITHER_WAY
from whole_case import whole_case_on_disk

NEAR_MISS = "none"


def class_of(find: Find, known: set[str]) -> str:
    """Class of a find as the truth names it: with its sub-type where the truth tells them apart."""
    joined = f"{find.code}{find.subtype}"
    return (
        joined if joined in known or (len(find.subtype) == 1 and find.code in ("E14", "E22")) else find.code
    )


def stretches(rows: Iterable[Truth], codes: set[str]) -> list[Stretch]:
    """True events of the classes that are looked for; the flush that ends a blood sample may be told or not."""
    rows = list(rows)
    flushes = [
        Stretch("A2", row.end_s - 5, row.end_s, 5.0, True)
        for row in rows
        if row.code == "A3" and "A2" in codes
    ]
    return flushes + [
        Stretch(row.code, row.start_s, row.end_s, row.onset_tolerance_s, row.note == EITHER_WAY)
        for row in rows
        if not row.label.startswith(NEAR_MISS) and _looked_for(row.code, codes)
    ]


def _looked_for(code: str, codes: set[str]) -> bool:
    return code in codes or code[:3] in codes


KINDS = {
    ("E13", "hyper"): "hypertension", ("E27", "a"): "a", ("E27", "b"): "b", ("E23", "on"): "clamp on",
    ("E23", "off"): "clamp off", ("E26", "weaning"): "weaning begins", ("E26", "off"): "off bypass",
}  # fmt: skip
"""How the truth's labels begin for sub-types that its codes do not tell apart."""


def kinds_right(rows: Iterable[Truth], finds: list[Find]) -> tuple[int, int]:
    """Of the matched events whose kind the truth tells, how many have the same one, and how many there are."""
    right = asked = 0
    told = [row for row in rows if row.code in ("E13", "E23", "E26", "E27") and row.note != EITHER_WAY]
    for code in ("E13", "E23", "E26", "E27"):
        own = [row for row in told if row.code == code]
        its = [one for one in finds if one.code == code]
        pairs = score.match(
            [Stretch(code, row.start_s, row.end_s, row.onset_tolerance_s) for row in own],
            [Stretch(code, one.start_s, one.end_s) for one in its],
        )
        for i, j in pairs:
            wanted = [kind for (of, kind), label in KINDS.items() if of == code and own[i].label == label]
            if code == "E13":
                wanted = ["hyper"] if own[i].label.startswith("hypertension") else ["hypo"]
            if wanted:
                asked += 1
                right += (its[j].subtype or "weaning") in wanted or its[j].name == own[i].label
    return right, asked


def looked(
    case: Case, rows: Iterable[Truth], codes: set[str]
) -> tuple[list[Stretch], list[Stretch], list[Find]]:
    true = stretches(rows, codes)
    named = {one.code for one in true}
    finds = [one for one in find(case).finds if one.code in codes]
    return true, [Stretch(class_of(one, named), one.start_s, one.end_s) for one in finds], finds


def told(name: str, cases: list[tuple[list[Stretch], list[Stretch]]]) -> None:
    counts = score.added(score.score(*pair) for pair in cases)
    print(f"\n{name}: {len(cases)} cases")
    headings = f"{'planted':>8}{'found':>7}{'false':>7}{'recall':>8}{'upper':>7}{'precision':>11}"
    print(f"{'class':7}{headings}  onset, end (median, s)")
    for code, count in counts.items():
        print(_line(code, count))
    for title, wanted in (("events", "E"), ("artefacts", "A")):
        print(
            _line(
                title, score.overall({code: one for code, one in counts.items() if code.startswith(wanted)})
            )
        )
    events = [([s for s in t if s.code[0] == "E"], [s for s in f if s.code[0] == "E"]) for t, f in cases]
    onset = score.overall(score.added(score.score(*pair, None, "onset") for pair in events))
    print(
        f"events by onset alone, at their own tolerance: recall {onset.recall:.3f}, precision {onset.precision:.3f}"
    )
    print("curve (events, by onset alone): ", end="")
    print(", ".join(f"{tau:g} s F1 {count.f1:.2f}" for tau, count in score.curve(events).items()))


def _line(name: str, count: Count) -> str:
    upper = score.recall_bounds(count)[1] if count.planted else float("nan")
    onset, end = (score.boundary_offsets(one).median_s for one in (count.onset_s, count.end_s))
    return (
        f"{name:9}{count.planted:6}{count.hits:7}{count.false:7}{count.recall:8.2f}{upper:7.2f}"
        f"{count.precision:11.2f}  {onset:+.1f}, {end:+.1f}"
    )


def show(name: str, true: list[Stretch], found: list[Stretch]) -> None:
    """Misses and false finds of a case, one a line."""
    for code in sorted({one.code for one in (*true, *found)}):
        own, its = [s for s in true if s.code == code], [s for s in found if s.code == code]
        pairs = score.match(own, its)
        missed = [s for i, s in enumerate(own) if i not in {i for i, _ in pairs} and not s.either_way]
        false = [s for j, s in enumerate(its) if j not in {j for _, j in pairs}]
        for word, some in (("missed", missed), ("false", false)):
            for one in some:
                print(f"  {name} {word} {code} {_clock(one.start_s)} to {_clock(one.end_s)}")


def _clock(t: float) -> str:
    return f"{int(t // 60)}:{t % 60:04.1f}"


def sources(chosen: argparse.Namespace, folder: Path) -> Iterator[tuple[str, str, Case, tuple[Truth, ...]]]:
    build_demo(folder / "demo")
    bring_in(folder / "demo", folder / "demo-case", answers=folder / "demo" / "answers.toml").close()
    with open_case(folder / "demo-case") as case:
        yield "demo and vignettes", "demo", case, truth()
    build_vignettes(folder / "vignettes")
    for vignette in VIGNETTES:
        with bring_in(folder / "vignettes" / vignette.name, folder / f"{vignette.name}-case") as case:
            yield "demo and vignettes", vignette.name, case, vignette.truth
    step, first = {"all": (1, 0), "even": (2, 0), "odd": (2, 1)}[chosen.half]
    for number in range(chosen.cases):
        seed = chosen.first_seed + first + number * step
        made = whole_case(seed)
        off = float(np.clip(np.random.default_rng([seed, 72]).normal(0, 0.5), -1, 1))
        with whole_case_on_disk(folder / f"whole-{seed}", made, None if chosen.by_evidence else off) as case:
            if chosen.by_evidence:
                for proposed in estimate(case):
                    if proposed.told:
                        accept(case, "maker", proposed)
                case.refresh()
            yield f"whole operations ({chosen.half} seeds)", f"seed {seed}", case, made.truth
    for number in range(chosen.quiet):
        seed = chosen.first_seed + first + number * step
        made = whole_case(seed, quiet=True)
        with whole_case_on_disk(folder / f"quiet-{seed}", made) as case:
            yield "quiet operations", f"quiet {seed}", case, made.truth


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--cases", type=int, default=60)
    parser.add_argument("--quiet", type=int, default=10)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--half", choices=("all", "even", "odd"), default="even")
    parser.add_argument(
        "--by-evidence", action="store_true", help="the pump's clock set by the program, not by hand"
    )
    parser.add_argument("--only", default="", help="codes, by commas")
    parser.add_argument("--show", action="store_true", help="misses and false finds, one a line")
    chosen = parser.parse_args()
    codes = set(chosen.only.split(",")) if chosen.only else {rule.code for rule in RULES}
    groups: dict[str, list[tuple[list[Stretch], list[Stretch]]]] = {}
    recorded_s = looked_s = 0.0
    hours: dict[str, float] = {}
    kinds: dict[str, list[int]] = {}
    with tempfile.TemporaryDirectory() as place:
        for group, name, case, rows in sources(chosen, Path(place)):
            begun = time.perf_counter()
            true, found, finds = looked(case, rows, codes)
            looked_s += time.perf_counter() - begun
            recorded_s += len(case.grid)
            right, asked = kinds_right(rows, finds)
            so_far = kinds.setdefault(group, [0, 0])
            so_far[0], so_far[1] = so_far[0] + right, so_far[1] + asked
            hours[group] = hours.get(group, 0.0) + len(case.grid) / 3600
            groups.setdefault(group, []).append((true, found))
            if chosen.show:
                show(name, true, found)
    for group, cases in groups.items():
        told(group, cases)
        false = score.overall(score.added(score.score(*pair) for pair in cases)).false
        print(f"sub-types right where the truth tells them: {kinds[group][0]} of {kinds[group][1]}")
        print(f"{hours[group]:.1f} h, {false / hours[group]:.2f} false finds an hour")
    print(f"\nlooking, quality and beats included: {looked_s:.1f} s for {recorded_s / 3600:.1f} h")


if __name__ == "__main__":
    main()
