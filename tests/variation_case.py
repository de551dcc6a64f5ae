"""A seeded variation as a case on disk, for tests and measurements."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from afterclamp.io.case import Case
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.sample_traces.sources import PRESSURE_STEP_MMHG
from afterclamp.sample_traces.variations import Variation
from recordings import case_of, even, recording


def variation_case(folder: Path, made: Variation) -> Case:
    """The case, opened: pressures as one source, the pump's flow as another on the same clock."""
    channels = [_wave(label, wave, made.rate_hz) for label, wave in made.waves.items()]
    flow = np.rint(made.flow * 100).astype(np.int16)
    pump = even("pump flow", flow, [Segment(0.0, 0, flow.size, 1.0, 0.01)], unit="L/min")
    return case_of(folder, recording("monitor", channels), recording("pump", [pump]))


def _wave(label: str, wave: np.ndarray, rate_hz: int) -> RecordedChannel:
    there = np.isfinite(wave)
    codes = np.where(there, np.rint(np.nan_to_num(wave) / PRESSURE_STEP_MMHG), 0).astype(np.int16)
    return even(label, codes, [Segment(0.0, 0, codes.size, rate_hz, PRESSURE_STEP_MMHG)], valid=there)
