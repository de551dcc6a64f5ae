"""How far the specified noise alone moves each figure: 200 seeded recordings of the invented case.

    python tests/bench/figures_seeds.py [--seeds 200] [--first 1]

Prints for each figure that rests on pump recorder or oximeter the number expected from the keyframes, mean and
standard deviation over the seeds, how far the expected one lies from the mean in standard deviations, and lowest and
highest. About a second a seed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from afterclamp.annotate.figures import Figure, figures
from seeded_recorders import seeded_case

EXPECTED = (
    ("do2i-280", "", "longest_run_s", 726),
    ("do2i-280", "", "largest_single_area", 481),
    ("do2i-280", "", "area", 541),
    ("do2i-280", "told", "outside_s", 21.1 * 60),
    ("cooling-gradient-10", "", "outside_s", 393),
    ("cooling-gradient-10", "", "nadir", 11.6),
    ("warming-gradient-10", "", "outside_s", 214),
    ("warming-gradient-10", "", "nadir", 10.3),
    ("warming-gradient-4", "", "outside_s", 450),
    ("warming-gradient-4", "", "nadir", 6.4),
    ("warming-rate-0-5", "", "nadir", 0.67),
    ("outlet-37", "", "outside_s", 245),
    ("outlet-37", "", "nadir", 37.6),
    ("cerebral-80-of-baseline", "left", "area", 11.3),
    ("cerebral-80-of-baseline", "left", "outside_s", np.nan),
    ("side-difference-10", "", "outside_s", 425),
    ("side-difference-10", "", "nadir", 16),
    ("line-pressure-300", "", "outside_s", 150),
    ("line-pressure-300", "", "nadir", 345),
    ("reservoir-400", "", "outside_s", 43),
    ("venous-saturation-65", "", "outside_s", 539),
    ("venous-saturation-65", "", "nadir", 60),
)
"""Limit, which of its rows, attribute, and the number expected from the keyframes (seconds, or the row's unit)."""


def one_of(rows: list[Figure], limit_id: str, which: str) -> Figure:
    """The row of a limit: judged, unless the one that is only told is asked for."""
    own = [one for one in rows if one.limit_id == limit_id]
    if which == "told":
        return next(one for one in own if "told, not judged" in one.note)
    own = [one for one in own if "told, not judged" not in one.note]
    return next(one for one in own if one.site.startswith(which))


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--seeds", type=int, default=200)
    arguments.add_argument("--first", type=int, default=1)
    asked = arguments.parse_args()
    found = np.full((asked.seeds, len(EXPECTED)), np.nan)
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(asked.seeds):
            with seeded_case(Path(folder) / "case", asked.first + number) as case:
                rows = figures(case)
            for column, (limit_id, which, name, _) in enumerate(EXPECTED):
                found[number, column] = getattr(one_of(rows, limit_id, which), name)
    print(f"{asked.seeds} seeds from {asked.first} in {time.perf_counter() - begun:.0f} s")
    print(
        f"{'figure':26} {'':8} {'':20} {'expected':>9} {'mean':>9} {'SD':>7} {'off by SD':>9}   lowest  highest"
    )
    for (limit_id, which, name, expected), column in zip(EXPECTED, found.T, strict=True):
        mean, sd = column.mean(), column.std(ddof=1) if column.size > 1 else np.nan
        off = (expected - mean) / sd if sd > 0 else np.nan
        print(
            f"{limit_id:26} {which:8} {name:20} {expected:9.2f} {mean:9.2f} {sd:7.3f} {off:9.1f} "
            f"{column.min():8.2f} {column.max():8.2f}"
        )


if __name__ == "__main__":
    main()
