"""Measures of single beats on an open recording, against plain loops over the same samples."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.beats import Beats, find_beats
from afterclamp.annotate.measures import (
    breath_length,
    dicrotic_notch,
    mean_by_integral,
    rhythm_is_regular,
    steepest_rise,
    systolic_area,
)
from numpy.typing import NDArray
from scipy.integrate import trapezoid

wfdb = pytest.importorskip("wfdb")


@pytest.fixture(scope="module")
def recorded(real_traces: Path) -> tuple[NDArray[np.float64], float, Beats]:
    """An arterial wave of 600 s at 125 Hz, its rate, and its beats."""
    record = wfdb.rdrecord(str(real_traces / "arterial_600s" / "03700181"), smooth_frames=False)
    i = record.sig_name.index("ABP")
    wave, rate_hz = record.e_p_signal[i], record.fs * record.samps_per_frame[i]
    return wave, rate_hz, find_beats(wave, rate_hz)


def test_means_and_areas_are_those_of_the_trapezoid_rule(recorded) -> None:
    # Oracle: scipy.integrate.trapezoid over the samples of each beat, its fractional ends put in by numpy.interp.
    wave, rate_hz, beats = recorded
    seconds = np.arange(wave.size) / rate_hz
    mean = mean_by_integral(wave, rate_hz, beats.onset, beats.end)
    area = systolic_area(wave, rate_hz, beats.onset, beats.t_systolic, beats.diastolic)
    for i in range(0, len(beats), 37):
        for end, low, found in (
            (beats.end[i], 0.0, mean[i] * (beats.end[i] - beats.onset[i])),
            (beats.t_systolic[i], beats.diastolic[i], area[i]),
        ):
            t = np.r_[beats.onset[i], seconds[(seconds > beats.onset[i]) & (seconds < end)], end]
            assert found == pytest.approx(trapezoid(np.interp(t, seconds, wave) - low, t), rel=1e-6)
    np.testing.assert_allclose(mean, beats.mean, atol=1e-6)


def test_the_notch_lies_between_the_highest_pressure_and_the_middle_of_the_beat(recorded) -> None:
    # A heart at 123 a minute: 0.3 · √interval (from memory) is 0.21 s, and the notch of a peripheral line comes after
    # its highest pressure.
    wave, rate_hz, beats = recorded
    notch = dicrotic_notch(wave, rate_hz, beats.t_systolic, beats.end)
    assert np.isfinite(notch).mean() > 0.99
    assert (notch > beats.t_systolic).mean() > 0.99
    assert np.nanmedian(notch - beats.onset) == pytest.approx(0.21, abs=0.06)


def test_the_steepest_rise_is_that_of_a_radial_line(recorded) -> None:
    # From memory: some hundreds to about 1,000 mmHg/s. Oracle for one beat in 37: the largest difference of a moving
    # average of three samples by numpy.convolve.
    wave, rate_hz, beats = recorded
    found = steepest_rise(wave, rate_hz, beats.onset, beats.t_systolic)
    assert 200 < np.nanmedian(found) < 1500
    smooth = np.convolve(wave, np.ones(3) / 3, "same")
    for i in range(1, len(beats), 37):
        low = int(np.floor(round(beats.onset[i] * rate_hz, 6)))
        high = int(np.ceil(round(beats.t_systolic[i] * rate_hz, 6)))
        assert found[i] == pytest.approx(np.diff(smooth)[low:high].max() * rate_hz, rel=1e-6)


def test_the_breath_is_that_of_the_respiration_beside_it(real_traces: Path, recorded) -> None:
    # Oracle: the strongest frequency of the recording's own respiration channel, minute by minute. The pulse alone
    # says nothing in some minutes, and nothing wrong in any.
    record = wfdb.rdrecord(str(real_traces / "arterial_600s" / "03700181"), smooth_frames=False)
    i = record.sig_name.index("RESP")
    respiration, rate_hz = record.e_p_signal[i], record.fs * record.samps_per_frame[i]
    _, _, beats = recorded
    told = 0
    for start in range(0, 600, 60):
        piece = respiration[round(start * rate_hz) : round((start + 60) * rate_hz)]
        piece = np.where(np.isfinite(piece), piece, np.nanmean(piece)) - np.nanmean(piece)
        power = np.abs(np.fft.rfft(piece * np.hanning(piece.size), 8 * piece.size))
        hertz = np.fft.rfftfreq(8 * piece.size, 1 / rate_hz)
        power[(hertz < 0.1) | (hertz > 1.0)] = 0
        within = beats.where((beats.onset >= start) & (beats.onset < start + 60))
        breath = breath_length(within.onset, within.pulse_pressure)
        if np.isfinite(breath):
            told += 1
            assert breath == pytest.approx(1 / hertz[np.argmax(power)], rel=0.02)
    assert told >= 5


def test_a_quiet_minute_is_regular_and_a_disturbed_one_is_not(recorded) -> None:
    # Read off the trace: beats of the first minute come 0.49 s apart within a hundredth; in the fifth three pulses are
    # too small to be beats and leave pauses of a second.
    _, _, beats = recorded
    for start, regular in ((0, True), (240, False)):
        within = beats.where((beats.onset >= start) & (beats.onset < start + 60))
        assert rhythm_is_regular(within.end - within.onset) is regular
