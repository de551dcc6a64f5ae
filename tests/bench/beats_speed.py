"""How long `find_beats` takes over 8 hours, beside `scipy.signal.find_peaks` over the same samples in the same run.

    python tests/bench/beats_speed.py [--hours 8] [--repeat 5]

Aims at 1.5 s for 8 h at 125 Hz and 4 s for 8 h at 500 Hz. The ratio is of medians of runs in turn.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from afterclamp.annotate.beats import find_beats
from beat_waves import made
from scipy.signal import find_peaks

AIMS_S = {125: 1.5, 500: 4.0}


def timed(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def run(rate_hz: int, hours: float, repeat: int) -> bool:
    wave = made(rate=75, rate_hz=rate_hz, length_s=hours * 3600, noise=0.7, irregular=0.05, swing=6).wave
    ours, theirs = [], []
    for _ in range(repeat):
        ours.append(timed(lambda: find_beats(wave, rate_hz)))
        theirs.append(timed(lambda: find_peaks(wave, distance=int(0.25 * rate_hz), prominence=5)))
    took, beside = statistics.median(ours), statistics.median(theirs)
    aim = AIMS_S[rate_hz] * hours / 8
    print(
        f"{hours:g} h at {rate_hz} Hz: {took:.2f} s (aim {aim:g} s; first run {ours[0]:.2f} s), "
        f"find_peaks {beside:.2f} s: {took / beside:.1f} times; {len(find_beats(wave, rate_hz))} beats"
    )
    return took <= aim


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--hours", type=float, default=8)
    parser.add_argument("--repeat", type=int, default=5)
    given = parser.parse_args()
    kept = [run(rate_hz, given.hours, given.repeat) for rate_hz in AIMS_S]
    sys.exit(0 if all(kept) else 1)
