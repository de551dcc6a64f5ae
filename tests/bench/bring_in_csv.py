"""How long bringing a long table in takes, beside reading it with pandas and writing it plain with h5py.

    python tests/bench/bring_in_csv.py [--hours 4] [--channels 6] [--repeats 5] [--folder DIR] [--skip-plain]

Writes a synthetic table (time in seconds with three decimals, pressures in steps of 0.05 mmHg with noise of SD
0.2 mmHg, 500 rows a second), then times in turn, each in a fresh process after its imports:

- plain: `pandas.read_csv` with its C engine into float64, each column written as one contiguous data set;
- bring-in: `afterclamp.io.bring_in` of the same file into a new case.

Prints both times, their ratio, and the peak memory of each process, then the medians. The aim is a ratio of at
most 1.8 and a peak of at most 300 MB at 4 hours and 6 channels. Each further row takes eight bytes, for its time.
"""

from __future__ import annotations

import time
from pathlib import Path

from side_by_side import compare

RATE_HZ = 500
LABELS = ("L rad", "R rad", "fem", "CVP", "PA", "line", "ax", "Ao")


def write_table(path: Path, hours: float, channels: int) -> None:
    """Write the table minute by minute, so that any length takes the same memory."""
    import numpy as np

    rows = round(hours * 3600) * RATE_HZ
    rng = np.random.default_rng(20310314)
    with path.open("w", encoding="ascii", newline="\n") as file:
        file.write(",".join(["time [s]", *(f"{label} [mmHg]" for label in LABELS[:channels])]) + "\n")
        form = ",".join(["%.3f", *["%.2f"] * channels])
        for first in range(0, rows, 60 * RATE_HZ):
            t = np.arange(first, min(first + 60 * RATE_HZ, rows)) / RATE_HZ
            columns = [t]
            for channel in range(channels):
                beat = np.sin(2 * np.pi * (1.2 + 0.01 * channel) * t)
                value = 75 - 8 * channel + 22 * beat + 6 * beat**2 + 5 * np.sin(2 * np.pi * t / 700)
                columns.append(np.round((value + rng.normal(0, 0.2, len(t))) / 0.05) * 0.05)
            file.writelines(form % row + "\n" for row in zip(*columns, strict=True))


def plain(source: Path, target: Path) -> float:
    import h5py
    import pandas as pd

    begun = time.perf_counter()
    table = pd.read_csv(source, engine="c", dtype="float64")
    with h5py.File(target / "plain.h5", "w") as file:
        for name in table.columns:
            file.create_dataset(name, data=table[name].to_numpy())
    return time.perf_counter() - begun


if __name__ == "__main__":
    compare(__doc__ or "", "recording.csv", RATE_HZ, write_table, plain, ("pandas",))
