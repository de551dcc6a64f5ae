"""How long bringing an EDF+ file in takes, beside reading it with edfio and writing it plain with h5py.

    python tests/bench/bring_in_edf.py [--hours 4] [--channels 6] [--repeats 5] [--folder DIR] [--skip-plain]

Writes a synthetic recording (pressures in steps of 0.05 mmHg with noise of SD 0.2 mmHg, 500 Hz), then times in
turn, each in a fresh process after its imports:

- plain: `edfio.read_edf`, physical values of every signal, each written as one contiguous float64 data set;
- bring-in: `afterclamp.io.bring_in` of the same file into a new case.

Prints both times, their ratio, and the peak memory of each process, then the medians. The aim is a ratio of at
most 1.2 at 4 hours and 6 channels, and at most 500 MB whatever the length (try ``--hours 24 --channels 8
--skip-plain``: the plain way holds the whole file in memory).
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
from pathlib import Path

RATE_HZ = 500
LABELS = ("L rad", "R rad", "fem", "CVP", "PA", "line", "ax", "Ao")


def write_recording(path: Path, hours: float, channels: int) -> None:
    """Write an EDF+C file record by record, so that any length takes the same memory."""
    import numpy as np

    records = round(hours * 3600)
    signals = [*LABELS[:channels], "EDF Annotations"]
    annotation_bytes = 40

    def column(width: int, ordinary: list[str], annotations: str) -> str:
        return "".join(f"{text:<{width}}" for text in [*ordinary, annotations])

    each = channels * [""]
    header = (
        f"{'0':<8}{'X X X X':<80}{'Startdate 14-MAR-2031 X X X':<80}14.03.3108.15.30"
        f"{256 * (len(signals) + 1):<8}{'EDF+C':<44}{records:<8}{1:<8}{len(signals):<4}"
        + column(16, signals[:-1], signals[-1])
        + column(80, each, "")
        + column(8, channels * ["mmHg"], "")
        + column(8, channels * ["-300"], "-1")
        + column(8, channels * ["355.35"], "1")
        + column(8, channels * ["-32768"], "-32768")
        + column(8, channels * ["32767"], "32767")
        + column(80, each, "")
        + column(8, channels * [str(RATE_HZ)], str(annotation_bytes // 2))
        + column(32, each, "")
    )
    rng = np.random.default_rng(20310314)
    at_a_time = 600
    with path.open("wb") as file:
        file.write(header.encode("ascii"))
        for first in range(0, records, at_a_time):
            many = min(at_a_time, records - first)
            t = np.arange(first * RATE_HZ, (first + many) * RATE_HZ) / RATE_HZ
            row = np.zeros((many, channels * RATE_HZ * 2 + annotation_bytes), np.uint8)
            for channel in range(channels):
                beat = np.sin(2 * np.pi * (1.2 + 0.01 * channel) * t)
                value = 75 - 8 * channel + 22 * beat + 6 * beat**2 + 5 * np.sin(2 * np.pi * t / 700)
                value = np.round((value + rng.normal(0, 0.2, len(t))) / 0.05) * 0.05
                codes = np.round((value + 300) / 0.01 - 32768).astype("<i2").reshape(many, RATE_HZ)
                place = channel * RATE_HZ * 2
                row[:, place : place + RATE_HZ * 2] = codes.view(np.uint8)
            for record in range(many):
                told = f"+{first + record}\x14\x14\x00".encode()
                row[record, -annotation_bytes : len(told) - annotation_bytes] = np.frombuffer(told, np.uint8)
            row.tofile(file)


def plain(source: Path, target: Path) -> float:
    import edfio
    import h5py

    begun = time.perf_counter()
    edf = edfio.read_edf(source)
    with h5py.File(target / "plain.h5", "w") as file:
        for signal in edf.signals:
            file.create_dataset(signal.label, data=signal.data)
    return time.perf_counter() - begun


def bring(source: Path, target: Path) -> float:
    from afterclamp.io import bring_in

    begun = time.perf_counter()
    case = bring_in([source], into=target / "case", accept_proposals=True)
    taken = time.perf_counter() - begun
    case.close()
    return taken


def _peak_mb() -> float:
    # Kilobytes on Linux, bytes on macOS. A child starts with its parent's peak, so the parent stays small.
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1 << 20) if sys.platform == "darwin" else peak / 1024


def _in_fresh_process(what: str, *arguments: str) -> dict[str, float]:
    command = [sys.executable, __file__, "--run", what, *arguments]
    found = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    result: dict[str, float] = json.loads(found)
    return result


def _run(what: str, arguments: list[str]) -> None:
    if what == "write":
        write_recording(Path(arguments[0]), float(arguments[1]), int(arguments[2]))
        taken = 0.0
    else:
        source, target = Path(arguments[0]), Path(arguments[1])
        target.mkdir()
        taken = {"plain": plain, "bring": bring}[what](source, target)
    print(json.dumps({"seconds": taken, "peak_mb": _peak_mb()}))


def main() -> None:
    if sys.argv[1:2] == ["--run"]:
        _run(sys.argv[2], sys.argv[3:])
        return
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--hours", type=float, default=4)
    parser.add_argument("--channels", type=int, default=6, choices=range(1, len(LABELS) + 1))
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--folder", type=Path, help="where to work; the system's temporary folder by default")
    parser.add_argument("--skip-plain", action="store_true", help="only bring in")
    chosen = parser.parse_args()
    ways = ["bring"] if chosen.skip_plain else ["plain", "bring"]
    found: dict[str, list[dict[str, float]]] = {way: [] for way in ways}
    with tempfile.TemporaryDirectory(dir=chosen.folder) as folder:
        source = Path(folder) / "recording.edf"
        _in_fresh_process("write", str(source), str(chosen.hours), str(chosen.channels))
        megabytes = source.stat().st_size / 1e6
        print(f"{chosen.channels} channels x {RATE_HZ} Hz x {chosen.hours:g} h, {megabytes:.0f} MB")
        for repeat in range(chosen.repeats):
            for way in (
                ways if repeat % 2 == 0 else ways[::-1]
            ):  # in turn, so that neither profits from its place
                target = Path(folder) / way
                found[way].append(_in_fresh_process(way, str(source), str(target)))
                shutil.rmtree(target)
            last = {way: found[way][-1] for way in ways}
            line = ", ".join(
                f"{way} {one['seconds']:.2f} s {one['peak_mb']:.0f} MB" for way, one in last.items()
            )
            if len(ways) == 2:
                line += f", ratio {last['bring']['seconds'] / last['plain']['seconds']:.2f}"
            print(line, flush=True)
    for way, runs in found.items():
        seconds = statistics.median(one["seconds"] for one in runs)
        print(f"{way}: median {seconds:.2f} s, peak {max(one['peak_mb'] for one in runs):.0f} MB")
    if len(ways) == 2:
        pairs = zip(found["plain"], found["bring"], strict=True)
        ratio = statistics.median(bring["seconds"] / plain["seconds"] for plain, bring in pairs)
        print(f"median ratio {ratio:.2f}")


if __name__ == "__main__":
    main()
