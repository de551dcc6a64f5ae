"""How long all rules and phases take on eight hours of eight channels, after beats and quality, and in how much memory.

    python tests/bench/finds_speed.py [--hours 8] [--full CASE_FOLDER] [--rules 12]

The made case of `figures_speed` with beats and quality in its cache, looked at by a new process: seconds to read the
view, to propose phases, and to ask all rules; the slowest rules, each by itself; and the largest resident memory. Aims:
at most 6 s, at least 4,000 times real time, 600 MB. In that case little happens: with --full the view of a case folder
is repeated to the wanted length, so that the rules have finds to work out.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import figures_speed
from afterclamp.annotate.finds import find_in
from afterclamp.annotate.kept_finds import KeptFinds
from afterclamp.annotate.phases import phases
from afterclamp.annotate.rules import RULES
from afterclamp.annotate.view import View
from afterclamp.io import open_case

AIM_S, AIM_TIMES, AIM_MB = 6.0, 4000, 600


def repeated(view: View, hours: float) -> View:
    """The view one time after the other, up to a length; phases and beats with it."""
    times = int(np.ceil(hours * 3600 / view.n))

    def longer(arrays: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        return {name: np.tile(array, times)[: int(hours * 3600)] for name, array in arrays.items()}

    ahead = [
        replace(
            phase,
            start=replace(phase.start, time_s=phase.start.time_s + n * view.n),
            end=replace(phase.end, time_s=phase.end.time_s + n * view.n),
        )
        for n in range(times)
        for phase in view.phases
        if phase.end_s + n * view.n < hours * 3600
    ]
    groups = {
        name: longer(dict(getattr(view, name))) for name in ("values", "pulse", "masked", "quiver", "low")
    }
    return replace(view, **groups, phases=tuple(ahead))


def ask(view: View, rules: int) -> float:
    """Print how long all rules take and the slowest of them; seconds of all."""
    begun = time.perf_counter()
    found = find_in(view)
    took = time.perf_counter() - begun
    each = []
    for rule in RULES:
        begun = time.perf_counter()
        find_in(view, rules=[rule])
        each.append((time.perf_counter() - begun, f"{rule.code} {rule.name}"))
    print(f"  all {len(RULES)} rules: {took:.2f} s, {len(found)} finds")
    for seconds, name in sorted(each, reverse=True)[:rules]:
        print(f"    {1000 * seconds:6.0f} ms  {name}")
    begun = time.perf_counter()
    listed = KeptFinds(view).unexplained({})
    print(
        f"  unexplained changes, with the rules: {time.perf_counter() - begun:.2f} s, {len(listed.changes)}"
    )
    return took


def run(folder: str, rules: int, hours: float, full: bool) -> None:
    """In a process of its own, so that the memory is that of the look alone."""
    with open_case(Path(folder)) as case:
        begun = time.perf_counter()
        View.of(case)
        print(
            f"  view read at first, with beats and quality where they are not kept: {time.perf_counter() - begun:.2f} s"
        )
        begun = time.perf_counter()
        view = View.of(case)
        read = time.perf_counter() - begun
        begun = time.perf_counter()
        proposed = phases(case, view)
        phased = time.perf_counter() - begun
        view = view.with_phases(proposed)
        print(f"  view read: {read:.2f} s; phases: {phased:.2f} s; {view.n / 3600:.2f} h")
        if full:
            view = repeated(view, hours)
            print(f"  repeated to {view.n / 3600:.2f} h")
        asked = ask(view, rules)
        whole = read + phased + asked
        # Of this program alone: what getrusage tells begins with the memory of the process that started it.
        status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
        used_mb = int(status["VmHWM"].split()[0]) / 1024
        print(
            f"  whole: {whole:.2f} s (aim {AIM_S:g}), {view.n / whole:.0f} times real time (aim {AIM_TIMES}), resident "
            f"{used_mb:.0f} MB (aim {AIM_MB})"
        )


def main() -> None:
    """Measure."""
    wanted = argparse.ArgumentParser()
    wanted.add_argument("--hours", type=float, default=8.0)
    wanted.add_argument("--full", metavar="CASE_FOLDER")
    wanted.add_argument("--rules", type=int, default=12)
    wanted.add_argument("--run", help=argparse.SUPPRESS)
    given = wanted.parse_args()
    if given.run:
        run(given.run, given.rules, given.hours, bool(given.full))
        return
    more = ["--hours", str(given.hours), "--rules", str(given.rules)]
    if given.full:
        subprocess.run(
            [sys.executable, __file__, "--run", given.full, "--full", given.full, *more], check=True
        )
        return
    with tempfile.TemporaryDirectory() as folder:
        case = Path(folder) / "case"
        figures_speed.make(case, given.hours)
        for what in ("first look, beats and quality worked out", "second look, these in the cache"):
            print(what, flush=True)
            subprocess.run([sys.executable, __file__, "--run", str(case), *more], check=True)


if __name__ == "__main__":
    main()
