"""A line that nothing is connected to is not a pressure; a flush, a zero and a stopped pump are values."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.io.recording import Segment
from recordings import case_of, even, recording

RATE = 100.0


def wave(values: np.ndarray) -> np.ndarray:
    return np.round(values / 0.02).astype(np.int16)


def test_a_flat_run_far_outside_is_not_recorded_and_is_told(tmp_path: Path) -> None:
    values = 70 + 20 * np.sin(np.arange(200_000) / 12)
    values[:50_000] = -600.0
    values[120_000:120_040] = -600.0  # 0.4 s: left to the artefact rules
    source = recording(
        "m", [even("FEM", wave(values), [Segment(0, 0, len(values), RATE, 0.02)], block=30_011)]
    )
    with case_of(tmp_path / "c", source) as case:
        read = case["femoral"].read(0, 2000).values
        assert np.isnan(read[:50_000]).all()
        assert np.isfinite(read[50_000:]).all()
        assert np.nanmin(case["femoral"].envelope(0, 1000, 100).lo) > 0
        assert any("500 s" in line and "not connected" in line for line in case.sources[0].set_aside)


@pytest.mark.parametrize(
    ("label", "unit", "level"), [("FEM", "mmHg", 300), ("FEM", "mmHg", 0), ("Flow", "L/min", 0)]
)
def test_a_flush_a_zero_and_a_stopped_pump_stay(tmp_path: Path, label: str, unit: str, level: float) -> None:
    codes = np.full(5000, round(level / 0.02), np.int16)
    source = recording("m", [even(label, codes, [Segment(0, 0, 5000, RATE, 0.02)], unit=unit)])
    with case_of(tmp_path / "c", source) as case:
        assert np.isfinite(case.channels[0].read(0, 60).values).all()


def test_the_guard_follows_the_unit(tmp_path: Path) -> None:
    # 0 degrees Fahrenheit is -18 degrees C; 98 is 36.7.
    codes = np.r_[np.zeros(60), np.full(60, 98)].astype(np.float32)
    source = recording("m", [even("NP", codes, [Segment(0, 0, 120, 0.1)], unit="degF")])
    with case_of(tmp_path / "c", source) as case:
        values = case["nasopharyngeal_temperature"].read(0, 1200).values
        assert np.isnan(values[:60]).all()
        assert values[60:] == pytest.approx(36.667, abs=1e-2)
