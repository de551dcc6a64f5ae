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

import time
from pathlib import Path

from side_by_side import compare

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


if __name__ == "__main__":
    compare(__doc__ or "", "recording.edf", RATE_HZ, write_recording, plain)
