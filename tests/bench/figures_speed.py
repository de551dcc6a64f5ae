"""How long all figures of eight hours take, and in how much memory.

    python tests/bench/figures_speed.py [--hours 8] [--values]

Eight channels: femoral pressure at 500 Hz, left and right radial, central venous and pulmonary artery pressure at
125 Hz, pump flow and outlet temperature at 1 Hz, left cerebral saturation every 5 s. Prints seconds of the first run,
of a second one in a new process (the case's cache is then filled), and the largest resident memory of each. Aims: at
most 10 s and 1 s, 600 MB. With --values the computed values and the summaries by phase are made too.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from recordings import case_of, even, recording

RATES = {"FEM": 500, "LRAD": 125, "RRAD": 125, "CVP": 125, "PAM": 125}
MEANS = {"FEM": 70.0, "LRAD": 66.0, "RRAD": 68.0, "CVP": 9.0, "PAM": 22.0}
IDENTITIES = {
    "fem": Identity("arterial_pressure", "femoral", "", "wave"),
    "lrad": Identity("arterial_pressure", "radial", "left", "wave"),
    "rrad": Identity("arterial_pressure", "radial", "right", "wave"),
    "cvp": Identity("central_venous_pressure", statistic="wave"),
    "pam": Identity("pulmonary_artery_pressure", statistic="wave"),
    "flow": Identity("pump_flow"),
    "tao": Identity("temperature", "arterial_outlet"),
    "nirl": Identity("cerebral_saturation", "", "left"),
}
SHEET = (
    '[patient]\nheight_cm = 168\nweight_kg = 74\n[oximetry]\nbaseline_start = "2:00"\nbaseline_end = "4:00"\n'
)


def flow(hours: float) -> np.ndarray:
    """L/min, one value a second: on after an hour, off an hour before the end, with ramps of a minute."""
    t = np.arange(int(hours * 3600))
    return 4.4 * np.clip(np.minimum(t - 3600, hours * 3600 - 3600 - t) / 60, 0, 1)


def wave(name: str, hours: float, pump: np.ndarray) -> RecordedChannel:
    """Beats off bypass, ripple of the pump on it, in tenths of mmHg."""
    rate, rng = RATES[name], np.random.default_rng(len(name) + RATES[name])
    t = np.arange(int(hours * 3600 * rate)) / rate
    on = np.repeat(pump, rate) > 0.2
    phase = (t * 1.2) % 1.0
    pulse = np.where(phase < 0.35, np.sin(np.pi * phase / 0.35), 0.0) + np.exp(-phase * 1.5) * 0.4
    height = {"CVP": 4.0, "PAM": 16.0}.get(name, 48.0)
    values = MEANS[name] + np.where(on, 0.75 * np.sin(2 * np.pi * 2.2 * t), height * (pulse - 0.4))
    values += rng.normal(0, 0.7, t.size)
    codes = np.round(values * 10).astype(np.int16)
    return even(name, codes, [Segment(0.0, 0, codes.size, rate, scale=0.1)])


def make(folder: Path, hours: float) -> None:
    """Write the case."""
    pump, rng = flow(hours), np.random.default_rng(1)
    outlet = np.round(36.0 - 14 * np.clip(pump / 4.4, 0, 1) + rng.normal(0, 0.02, pump.size), 1)
    saturation = np.round(62 + rng.normal(0, 0.8, pump.size // 5))
    slow = [("flow", pump, 1.0, "L/min"), ("TAO", outlet, 1.0, "Cel"), ("NIRL", saturation, 0.2, "%")]
    others = [
        even(name, values.astype(np.float32), [Segment(0.0, 0, values.size, rate)], unit=unit)
        for name, values, rate, unit in slow
    ]
    waves = [wave(name, hours, pump) for name in RATES]
    case_of(folder, recording("monitor", waves), recording("pump", others), identities=IDENTITIES).close()
    (folder / "traces" / "case-sheet.toml").write_text(SHEET)


def run(folder: str, values: bool) -> None:
    """One process: all figures once, and what they took."""
    import resource

    from afterclamp.annotate.figures import figures
    from afterclamp.annotate.overview import computed_values, phase_summaries
    from afterclamp.io.case import Case

    begun = time.perf_counter()
    with Case.open(folder) as case:
        count = len(figures(case))
        if values:
            count += len(computed_values(case)) + len(phase_summaries(case))
    took = time.perf_counter() - begun
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{count} rows in {took:.2f} s ({time.process_time():.2f} s of processor), at most {most:.0f} MB resident"
    )


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--hours", type=float, default=8.0)
    arguments.add_argument("--values", action="store_true")
    arguments.add_argument("--run", help=argparse.SUPPRESS)
    asked = arguments.parse_args()
    if asked.run:
        run(asked.run, asked.values)
        return
    with tempfile.TemporaryDirectory() as folder:
        case = str(Path(folder) / "case")
        made = [sys.executable, __file__, "--run", case, *(["--values"] if asked.values else [])]
        maker = (
            f"import sys; sys.path[:0] = {[str(Path(__file__).parent)]!r}; import figures_speed, pathlib; "
        )
        maker += f"figures_speed.make(pathlib.Path({case!r}), {asked.hours})"
        subprocess.run([sys.executable, "-c", maker], check=True)
        for words in ("first run:  ", "second run: "):
            print(words, end="", flush=True)
            subprocess.run(made, check=True)


if __name__ == "__main__":
    main()
