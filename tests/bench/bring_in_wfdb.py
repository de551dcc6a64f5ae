"""How long bringing a WFDB record in takes, beside reading it with wfdb and writing it plain with h5py.

    python tests/bench/bring_in_wfdb.py [--hours 4] [--channels 6] [--repeats 5] [--folder DIR] [--skip-plain]

Writes a synthetic record in format 16 (pressures in steps of 0.05 mmHg with noise of SD 0.2 mmHg, 500 Hz), then
times in turn, each in a fresh process after its imports:

- plain: `wfdb.rdrecord` of physical values, each signal written as one contiguous float64 data set;
- bring-in: `afterclamp.io.bring_in` of the same record into a new case.

Prints both times, their ratio, and the peak memory of each process, then the medians. The aim is a ratio of at
most 1.6 at 4 hours and 6 channels.
"""

from __future__ import annotations

import time
from pathlib import Path

from side_by_side import compare

RATE_HZ = 500
LABELS = ("L rad", "R rad", "fem", "CVP", "PA", "line", "ax", "Ao")


def write_record(path: Path, hours: float, channels: int) -> None:
    """Write header and data file minute by minute, so that any length takes the same memory."""
    import numpy as np

    frames = round(hours * 3600) * RATE_HZ
    rng = np.random.default_rng(20310314)
    sums = np.zeros(channels, np.int64)
    with path.with_suffix(".dat").open("wb") as file:
        for first in range(0, frames, 60 * RATE_HZ):
            t = np.arange(first, min(first + 60 * RATE_HZ, frames)) / RATE_HZ
            row = np.empty((len(t), channels), "<i2")
            for channel in range(channels):
                beat = np.sin(2 * np.pi * (1.2 + 0.01 * channel) * t)
                value = 75 - 8 * channel + 22 * beat + 6 * beat**2 + 5 * np.sin(2 * np.pi * t / 700)
                row[:, channel] = np.round((value + rng.normal(0, 0.2, len(t))) / 0.05) * 5
            sums += row.sum(axis=0, dtype=np.int64)
            row.tofile(file)
    lines = [
        f"{path.stem}.dat 16 100(0)/mmHg 16 0 0 {(int(total) + 32768) % 65536 - 32768} 0 {label}"
        for total, label in zip(sums, LABELS, strict=False)
    ]
    path.write_text(f"{path.stem} {channels} {RATE_HZ} {frames} 08:15:30\n" + "\n".join(lines) + "\n")


def plain(source: Path, target: Path) -> float:
    import h5py
    import wfdb

    begun = time.perf_counter()
    record = wfdb.rdrecord(str(source.with_suffix("")))
    with h5py.File(target / "plain.h5", "w") as file:
        for index, label in enumerate(record.sig_name):
            file.create_dataset(label, data=record.p_signal[:, index])
    return time.perf_counter() - begun


if __name__ == "__main__":
    compare(__doc__ or "", "record.hea", RATE_HZ, write_record, plain, imports=("wfdb",))
