"""Beats on open recordings, against what other people's detectors found and what the traces show."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.beats import Beats, find_beats
from beat_waves import general_peaks
from numpy.typing import NDArray
from scipy.io import loadmat

wfdb = pytest.importorskip("wfdb")


def _wave(path: Path, label: str) -> tuple[NDArray[np.float64], float]:
    record = wfdb.rdrecord(str(path), smooth_frames=False)
    i = record.sig_name.index(label)
    return record.e_p_signal[i], record.fs * record.samps_per_frame[i]


def _rate(times: NDArray[np.float64], start: float, length: float) -> float:
    inside = times[(times >= start) & (times < start + length)]
    return 60 / float(np.median(np.diff(inside))) if inside.size > 1 else float("nan")


def test_rate_agrees_with_three_automatic_qrs_files(real_traces: Path) -> None:
    # Automatic QRS files of MIMIC record 03700181, made on the ECG by other programs; their clocks are
    # 250, 500 and 125 ticks a second.
    path = real_traces / "arterial_600s" / "03700181"
    wave, rate_hz = _wave(path, "ABP")
    found = find_beats(wave, rate_hz).onset
    others = [
        wfdb.rdann(str(path), extension).sample / ticks
        for extension, ticks in (("sqrs", 250), ("gqrsh", 500), ("gqrsl", 125))
    ]
    close = []
    for start in np.arange(0, 600, 10.0):
        reference = np.nanmedian([_rate(times, start, 10) for times in others])
        close.append(abs(_rate(found, start, 10) - reference) <= 2)
    assert np.mean(close) >= 0.9


def test_a_low_fast_pressure_has_all_its_beats(real_traces: Path) -> None:
    # About 123 beats a minute, as the description of the recording says; 600 s of it.
    wave, rate_hz = _wave(real_traces / "arterial_600s" / "03700181", "ABP")
    found = find_beats(wave, rate_hz)
    assert np.median(found.rate_per_min) == pytest.approx(123, abs=2)
    assert len(found) == pytest.approx(1230, rel=0.03)
    weighted = np.average(found.mean, weights=found.end - found.onset)
    assert weighted == pytest.approx(np.nanmean(wave), abs=0.2)


def test_ectopic_beats_and_a_rate_that_is_no_whole_number(real_traces: Path) -> None:
    # Regular at 0.575 s with pauses after early beats, read from the trace by eye: upstrokes at 1.84, 2.42,
    # 3.00 s and after the first pause (7.6 s) at 8.73 s.
    wave, rate_hz = _wave(real_traces / "mixed_rates" / "mixedsignals", "ABP")
    found = find_beats(wave, rate_hz)
    assert rate_hz == pytest.approx(124.945)
    assert np.median(found.rate_per_min) == pytest.approx(104, abs=1)
    for seen in (1.84, 2.42, 3.00, 7.60, 8.73):
        assert np.abs(found.onset - seen).min() < 0.06
    assert not np.any((found.onset > 7.7) & (found.onset < 8.6))


@pytest.mark.parametrize(("name", "per_minute"), [("NV", 75), ("CS", 90)])
@pytest.mark.parametrize("column", [2, 3])
def test_a_bench_circulation_beats_at_its_driver(
    real_traces: Path, name: str, per_minute: int, column: int
) -> None:
    # A mock loop driven at a fixed rate: Farahmand, Comput Biol Med 2023;160:106979. Rate read from the
    # flow column: its upstrokes through half of the peak.
    table = np.loadtxt(real_traces / "mock_loop" / f"{name}_step6_COresolution.csv", delimiter=",")
    found: Beats = find_beats(table[:, column], 1000)
    flow = table[:, 1]
    half = flow.max() / 2
    crossings = np.flatnonzero((flow[:-1] < half) & (flow[1:] >= half)) / 1000
    driver = 60 / np.median(np.diff(crossings))
    assert driver == pytest.approx(per_minute, abs=1)
    assert np.median(found.rate_per_min) == pytest.approx(driver, abs=0.5)
    assert np.std(found.rate_per_min) < 1
    assert np.mean(found.mean) == pytest.approx(table[:, column].mean(), abs=0.3)
    # Each length of 58 s holds this many upstrokes, less the last that has no next one.
    assert len(found) == pytest.approx(58 * driver / 60 - 1, abs=1)


@pytest.mark.parametrize(
    "name", ["arterial_600s/03700181", "mixed_rates/mixedsignals", "arterial_segments/3975656_0013"]
)
def test_beats_and_the_peaks_of_a_general_peak_finder_are_the_same(real_traces: Path, name: str) -> None:
    # Oracle: scipy.signal.find_peaks, a peak being half as high as the wave usually moves (10th to 90th percentile).
    wave, rate_hz = _wave(real_traces / name, "ABP")
    found = find_beats(wave, rate_hz)
    peaks = general_peaks(wave, rate_hz, 0.4 * float(np.ptp(np.nanpercentile(wave, [10, 90]))))
    beat = np.searchsorted(found.onset, peaks, side="right") - 1
    inside = (beat >= 0) & (peaks < found.end[np.maximum(beat, 0)])
    assert np.mean(inside) >= 0.98
    counts = np.bincount(beat[inside], minlength=len(found))
    assert np.mean(counts == 1) >= 0.97
    assert np.median(np.abs(found.t_systolic[beat[inside]] - peaks[inside])) < 0.02


@pytest.mark.parametrize(
    ("name", "least"), [("p000138-2131-10-31-13-39", 90), ("p004685-2121-02-20-16-06", 30)]
)
def test_rate_and_systolic_are_those_that_the_monitor_wrote_down(
    real_traces: Path, name: str, least: int
) -> None:
    # Pulmonary artery waves with the monitor's own rate, systolic and diastolic pressure once a minute; 0 is missing.
    signals = loadmat(real_traces / "pulmonary" / f"{name}.mat")["signals"].ravel()
    wave, systolic, diastolic, _, rate, _, minute = (one.ravel().astype(float) for one in signals[:7])
    found = find_beats(wave, 125)
    compared = []
    for t, told in zip(minute, np.column_stack([rate, systolic, diastolic]), strict=True):
        near = (found.onset >= t - 60) & (found.onset < t)
        if near.sum() > 30 and (told > 0).all():
            ours = np.median(
                np.column_stack([found.rate_per_min, found.systolic, found.diastolic])[near], axis=0
            )
            compared.append(np.abs(ours - told))
    off = np.array(compared)
    assert len(off) >= least
    assert np.mean(off[:, 0] <= 3) >= 0.95
    assert np.median(off[:, 1]) < 1.5
    # On the second the monitor's diastolic pressure lies some 4 mmHg above the lowest of the wave, which falls below it
    # for a moment at each foot: another definition, and not compared.
    assert least < 90 or np.median(off[:, 2]) < 1.5
