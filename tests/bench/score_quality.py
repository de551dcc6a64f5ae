"""How much artefact `annotate.quality` marks: the demo, the vignettes and variations by seed.

    python tests/bench/score_quality.py [--variations 40] [--first-seed 0]

Prints for each of the three, by class: planted seconds and how many of them are marked, clean seconds marked, and
seconds of events taken for artefact. What it aims at: at least 90 % of planted seconds, at most 2 % of clean ones,
at most 1 % of events. Tune on even seeds, report on odd ones.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from afterclamp.io import bring_in, open_case
from afterclamp.io.case import Case
from afterclamp.sample_traces import build_demo, truth
from afterclamp.sample_traces.tables import Truth
from afterclamp.sample_traces.variations import vary
from afterclamp.sample_traces.vignette_files import build_vignettes
from afterclamp.sample_traces.vignettes import VIGNETTES
from scoring import Score, marked_now, score
from variation_case import variation_case


def score_case(case: Case, rows: tuple[Truth, ...]) -> Score:
    marked, recorded, start_s = marked_now(case)
    return score(marked, recorded, rows, start_s=start_s)


def demo(folder: Path) -> Score:
    build_demo(folder / "exports")
    bring_in(folder / "exports", folder / "case", answers=folder / "exports" / "answers.toml").close()
    with open_case(folder / "case") as case:
        return score_case(case, truth())


def vignettes(folder: Path) -> Score:
    build_vignettes(folder)
    found = Score()
    for vignette in VIGNETTES:
        with bring_in(folder / vignette.name, folder / f"{vignette.name}-case") as case:
            found.add(score_case(case, vignette.truth))
    return found


def variations(folder: Path, seeds: range) -> Score:
    found = Score()
    for seed in seeds:
        made = vary(seed)
        with variation_case(folder / str(seed), made) as case:
            found.add(score_case(case, made.truth))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--variations", type=int, default=40)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--step", type=int, default=1, help="2: every second seed")
    chosen = parser.parse_args()
    last = chosen.first_seed + chosen.variations * chosen.step
    seeds = range(chosen.first_seed, last, chosen.step)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for name, found in (
            ("demo", lambda: demo(folder / "demo")),
            ("vignettes", lambda: vignettes(folder / "vignettes")),
            (f"variations {seeds}", lambda: variations(folder / "variations", seeds)),
        ):
            begun = time.perf_counter()
            lines = list(found().lines())
            print(f"\n{name}, {time.perf_counter() - begun:.1f} s")
            print("\n".join(lines))


if __name__ == "__main__":
    main()
