"""Test support: an invented patient's lines at any sampling rate, as a case and as what families of artefacts see."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from afterclamp.annotate import quality
from afterclamp.annotate.line_seconds import LineSeconds, line_seconds
from afterclamp.io.case import Case
from afterclamp.sample_traces import planting
from afterclamp.sample_traces.courses import PULMONARY, Course, Points, Pressure, record
from afterclamp.sample_traces.variations import Variation
from numpy.typing import NDArray
from variation_case import variation_case

Wave = NDArray[np.float64]
LENGTH_S = 300

NAMES = {"LRAD": "left_radial", "RRAD": "right_radial", "FEM": "femoral", "PA": "pa"}


def course(
    *labels: str,
    rate_hz: int = 100,
    mean: Points | Mapping[str, Points] = ((0.0, 78.0),),
    pulse: Points | Mapping[str, Points] = ((0.0, 48.0),),
    heart_rate: float = 75.0,
    fibrillating: tuple[tuple[float, float], ...] = (),
    flow: Points = ((0.0, 0.0),),
    seconds: int = LENGTH_S,
) -> Course:
    """Lines of one patient; `mean` and `pulse` of all, or by label. 14.7 Hz and 0.22, as the demo's (J6.3)."""

    def of(points: Points | Mapping[str, Points], label: str) -> Points:
        return points[label] if isinstance(points, Mapping) else points

    pressures = {
        label: Pressure(of(mean, label), of(pulse, label), *([PULMONARY] if label == "PA" else []))
        for label in labels
    }
    return Course(
        seconds,
        rate_hz,
        pressures,
        heart_rate=((0.0, heart_rate),),
        flow=flow,
        fibrillating=fibrillating,
        spread=0.02,
    )


def planted(
    one: Course, waves: dict[str, Wave], label: str, name: str, start: float, length: float, depth: float
) -> None:
    """Lay one artefact over one wave, as the seeded variations do."""
    line = one.pressures[label].line(one.rate_hz)
    rng = np.random.default_rng(5)
    waves[label], _ = planting.plant(name, waves[label], line, start, length, rng, depth)


def waves_of(one: Course, seed: int = 3) -> dict[str, Wave]:
    """Clean recorded waves."""
    return dict(record(one, seed))


def case_with(folder: Path, one: Course, waves: dict[str, Wave]) -> Case:
    """As a case, opened: begins at reference second 0; its pump flow beside it."""
    flow = np.interp(np.arange(one.seconds), *zip(*one.flow, strict=True))
    made = Variation(0, one.seconds, one.rate_hz, False, waves, flow, ())
    return variation_case(folder, made)


def lines_of(case: Case) -> dict[str, LineSeconds]:
    """All channels second by second, by canonical name."""
    return {
        channel.identity.name: line_seconds(channel, channel.grid, quality.own_artefacts(channel))
        for channel in case.channels
    }


def beside(lines: dict[str, LineSeconds], name: str) -> tuple[LineSeconds, tuple[LineSeconds, ...]]:
    """A line and the others."""
    return lines[name], tuple(line for other, line in lines.items() if other != name)
