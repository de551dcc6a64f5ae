"""Two ways to do the same thing, timed in turn, each in a fresh process; for the bring-in benchmarks.

A benchmark gives `compare` how to write its recording and the two ways; the command line is the same for all.
"""

from __future__ import annotations

import argparse
import json
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from importlib import import_module
from pathlib import Path

Writer = Callable[[Path, float, int], None]
"""``write(path, hours, channels)``"""
Way = Callable[[Path, Path], float]
"""``way(source, target folder)`` returns the seconds that it took, its imports left out."""


def bring(source: Path, target: Path, imports: tuple[str, ...] = ()) -> float:
    """Bring the file into a new case; what its reader imports when it is needed is imported before."""
    from afterclamp.io import bring_in

    for name in imports:
        import_module(name)
    begun = time.perf_counter()
    case = bring_in([source], into=target / "case", accept_proposals=True)
    taken = time.perf_counter() - begun
    case.close()
    return taken


def compare(
    doc: str, name: str, rate_hz: int, write: Writer, plain: Way, imports: tuple[str, ...] = ()
) -> None:
    """Run the benchmark as its command line says.

    Parameters
    ----------
    doc : str
        Its module's docstring, for ``--help``.
    name : str
        Of the file that `write` writes.
    rate_hz : int
        Samples a second of each channel, for the first line printed.
    write, plain : callable
        How the recording is written, and the plain way to read it and write it as HDF5.
    imports : tuple of str
        What the reader imports only when it is needed.
    """
    if sys.argv[1:2] == ["--run"]:
        _run(write, {"plain": plain, "bring": partial(bring, imports=imports)}, *sys.argv[2:])
        return
    parser = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=4)
    parser.add_argument("--channels", type=int, default=6, choices=range(1, 9))
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--folder", type=Path, help="where to work; the system's temporary folder by default")
    parser.add_argument("--skip-plain", action="store_true", help="only bring in")
    chosen = parser.parse_args()
    ways = ["bring"] if chosen.skip_plain else ["plain", "bring"]
    found: dict[str, list[dict[str, float]]] = {way: [] for way in ways}
    with tempfile.TemporaryDirectory(dir=chosen.folder) as folder:
        source = Path(folder) / name
        _in_fresh_process("write", str(source), str(chosen.hours), str(chosen.channels))
        megabytes = sum(path.stat().st_size for path in Path(folder).iterdir()) / 1e6
        print(f"{chosen.channels} channels x {rate_hz} Hz x {chosen.hours:g} h, {megabytes:.0f} MB")
        for repeat in range(chosen.repeats):
            # In turn, so that neither profits from its place.
            for way in ways if repeat % 2 == 0 else ways[::-1]:
                target = Path(folder) / way
                found[way].append(_in_fresh_process(way, str(source), str(target)))
                shutil.rmtree(target)
            print(_line({way: found[way][-1] for way in ways}), flush=True)
    for way, runs in found.items():
        seconds = statistics.median(one["seconds"] for one in runs)
        print(f"{way}: median {seconds:.2f} s, peak {max(one['peak_mb'] for one in runs):.0f} MB")
    if len(ways) == 2:
        pairs = zip(found["plain"], found["bring"], strict=True)
        ratio = statistics.median(bring["seconds"] / plain["seconds"] for plain, bring in pairs)
        print(f"median ratio {ratio:.2f}")


def _line(last: dict[str, dict[str, float]]) -> str:
    line = ", ".join(f"{way} {one['seconds']:.2f} s {one['peak_mb']:.0f} MB" for way, one in last.items())
    if len(last) == 2:
        line += f", ratio {last['bring']['seconds'] / last['plain']['seconds']:.2f}"
    return line


def _in_fresh_process(what: str, *arguments: str) -> dict[str, float]:
    command = [sys.executable, sys.argv[0], "--run", what, *arguments]
    found = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    result: dict[str, float] = json.loads(found)
    return result


def _run(write: Writer, ways: dict[str, Way], what: str, *arguments: str) -> None:
    if what == "write":
        write(Path(arguments[0]), float(arguments[1]), int(arguments[2]))
        taken = 0.0
    else:
        source, target = Path(arguments[0]), Path(arguments[1])
        target.mkdir()
        taken = ways[what](source, target)
    # Kilobytes on Linux, bytes on macOS. A child starts with its parent's peak, so the parent stays small.
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peak_mb = peak / (1 << 20) if sys.platform == "darwin" else peak / 1024
    print(json.dumps({"seconds": taken, "peak_mb": peak_mb}))
