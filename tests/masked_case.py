"""The small case to put masks on, opened as a copy; and a femoral line with a central venous one beside it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import small_case
from afterclamp.io import open_case
from afterclamp.io.case import Case
from afterclamp.io.recording import Segment
from afterclamp.io.terms import Identity
from recordings import case_of, even, recording


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_case.make(tmp_path_factory.mktemp("masks") / "small")


@pytest.fixture
def case(made: Path, tmp_path: Path) -> Iterator[Case]:
    folder = tmp_path / "small"
    shutil.copytree(made, folder)
    with open_case(folder) as opened:
        yield opened


def wave_case(folder: Path, wave: np.ndarray, valid: np.ndarray | None = None) -> Case:
    """A femoral line at 100 Hz in tenths of mmHg, and a second line beside it that runs through."""
    seconds = wave.size // 100
    channel = even("FEM", wave, [Segment(0.0, 0, wave.size, 100.0, scale=0.1)], valid=valid)
    beside = even("CVP", small_case.pressure()[: wave.size], [Segment(0.0, 0, wave.size, 100.0, scale=0.1)])
    assert seconds <= small_case.LENGTH_S
    return case_of(
        folder,
        recording("monitor", [channel, beside]),
        identities={
            "fem": Identity("arterial_pressure", "femoral", "", "wave"),
            "cvp": Identity("central_venous_pressure", statistic="wave"),
        },
    )
