"""Artefacts on open recordings, against what is seen on the traces."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.measures import mean_arterial_pressure
from afterclamp.annotate.quality import artefacts
from afterclamp.annotate.series import OBSERVED
from afterclamp.io import Case, bring_in

# Seconds of record 3975656_0013 (125 Hz), read from the trace by eye:
# the line falls from pulse to the level of an open tap, 8 mmHg before and 0 after the zero key ...
OPEN_TO_AIR = (7.2, 20.2)
OPEN_AT_THE_END = (134.0, 144.6)
# ... and the flushes, of which the third is clipped flat at 270 mmHg.
FLUSHES = [(0.0, 1.0), (2.4, 4.4), (20.4, 21.7), (23.1, 23.5)]
CLIPPED = (20.4, 21.7)
# The record of 35.4 s before it holds a square pattern from its start to 35.2 s.
PATTERN = (0.0, 35.2)


@pytest.fixture(scope="module")
def segments(real_traces: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    folder = tmp_path_factory.mktemp("segments") / "case"
    # The record names below are the published ones; a number of seven digits is otherwise kept out.
    with bring_in(
        [real_traces / "arterial_segments"], folder, accept_proposals=True, keep_identity=True
    ) as case:
        yield case


def _seen(case: Case, source: str, code: str) -> list[tuple[float, float]]:
    channel = case[f"{source}/ABP"]
    start = channel.span.start
    return [(one.start - start, one.end - start) for one in artefacts(channel) if one.code == code]


def test_the_open_tap_is_a1_within_a_second_of_what_is_seen(segments: Case) -> None:
    assert _seen(segments, "3975656_0013", "A1") == [
        pytest.approx(OPEN_TO_AIR, abs=1.0),
        pytest.approx(OPEN_AT_THE_END, abs=1.0),
    ]


def test_the_clipped_flush_is_a2_within_a_second_of_what_is_seen(segments: Case) -> None:
    found = _seen(segments, "3975656_0013", "A2")
    assert found == [pytest.approx(flush, abs=1.0) for flush in FLUSHES]
    clipped = [one for one in artefacts(segments["3975656_0013/ABP"]) if one.evidence.get("clipped")]
    start = segments["3975656_0013/ABP"].span.start
    assert any(
        abs(one.start - start - CLIPPED[0]) < 1 and abs(one.end - start - CLIPPED[1]) < 1 for one in clipped
    )


def test_a_pattern_of_the_monitor_is_a9(segments: Case) -> None:
    [found] = _seen(segments, "3975656_0012", "A9")
    assert found == pytest.approx(PATTERN, abs=1.0)


def test_no_mean_counts_open_tap_flush_or_pattern(segments: Case) -> None:
    channel = segments["3975656_0013/ABP"]
    mean = mean_arterial_pressure(channel, segments.grid)
    seen = mean.values[mean.state == OBSERVED]
    # Between 77 and 110 mmHg in every undisturbed second, read from the trace by eye.
    assert seen.size >= 108
    assert seen.min() > 70
    assert seen.max() < 140
    assert 80 < np.median(seen) < 95
    # The tap is closed from 6.35 s on: the pressure runs from 119 up to 170 mmHg without a beat until it is opened.
    assert np.isnan([mean.at(channel.span.start + 6.35), mean.at(channel.span.start + 7.1)]).all()
    for low, high in (OPEN_TO_AIR, OPEN_AT_THE_END, *FLUSHES):
        middle = channel.span.start + (low + high) / 2
        assert np.isnan(mean.at(middle))
    pattern = mean_arterial_pressure(segments["3975656_0012/ABP"], segments.grid)
    assert not np.isfinite(pattern.values).any()


@pytest.mark.parametrize(("folder", "mean"), [("arterial_600s", 33.4), ("mixed_rates", 109.7)])
def test_an_undisturbed_pressure_has_no_artefact(
    real_traces: Path, tmp_path: Path, folder: str, mean: float
) -> None:
    # Means of all samples as wfdb gives them: 33.44 and 109.75 mmHg.
    with bring_in([real_traces / folder], tmp_path / "case", accept_proposals=True) as case:
        [channel] = case.of_kind("arterial_pressure")
        assert artefacts(channel) == []
        series = mean_arterial_pressure(channel, case.grid)
        assert np.nanmean(series.values) == pytest.approx(mean, abs=0.2)
        for other in case.channels:
            assert not [one for one in artefacts(other) if one.code in ("A1", "A2")]


def test_a_bench_circulation_has_no_artefact(real_traces: Path) -> None:
    from afterclamp.annotate.quality import frozen_wave
    from afterclamp.annotate.wave_artefacts import device_patterns, fast_flushes, open_to_air

    for name in ("NV", "CS"):
        table = np.loadtxt(real_traces / "mock_loop" / f"{name}_step6_COresolution.csv", delimiter=",")
        for column in (2, 3):
            wave = table[:, column]
            found = open_to_air(wave, 1000) + fast_flushes(wave, 1000) + device_patterns(wave, 1000)
            assert found == []
            assert frozen_wave(wave, 1000) == []
