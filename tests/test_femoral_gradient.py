"""Femoral less radial pressure of a case whose femoral lines say their side."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.derived import Derived
from afterclamp.annotate.series import Series
from afterclamp.io.case import Case
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from recordings import case_of, even, recording

RATE = 50.0
SITES = {
    "rad": Identity("arterial_pressure", "radial", "left", "wave"),
    "low": Identity("arterial_pressure", "femoral", "left", "wave"),
    "high": Identity("arterial_pressure", "femoral", "right", "wave"),
}


def wave(label: str, floor: float) -> RecordedChannel:
    """Two minutes of one and the same beat on a floor: means of two lines differ as their floors do."""
    t = np.arange(int(120 * RATE)) / RATE
    beat = np.where((t * 1.25) % 1 < 0.3, np.sin(np.pi * ((t * 1.25) % 1) / 0.3), 0.0)
    codes = np.round((floor + 40 * beat) * 10).astype("i2")
    return even(label, codes, [Segment(0.0, 0, codes.size, RATE, 0.1)])


@pytest.fixture
def case(tmp_path: Path) -> Case:
    lines = [wave("rad", 60), wave("low", 63), wave("high", 74)]
    return case_of(tmp_path / "case", recording("monitor", lines), identities=SITES)


@pytest.mark.parametrize(("believed", "apart"), [("left_femoral", 3), ("right_femoral", 14)])
def test_the_gradient_goes_by_a_femoral_line_with_a_side_the_believed_one_first(
    case: Case, believed: str, apart: float
) -> None:
    gradient = Derived(case, believed).femoral_radial_gradient
    assert isinstance(gradient, Series)
    assert np.nanmedian(gradient.values) == pytest.approx(apart, abs=0.3)


def test_another_line_for_comparison_brings_its_own_gradient(case: Case) -> None:
    derived = Derived(case, "left_femoral")
    own = derived.femoral_radial_gradient
    other = derived.believing(derived.signals["right_femoral"]).femoral_radial_gradient
    assert isinstance(own, Series)
    assert isinstance(other, Series)
    assert np.nanmedian(other.values) - np.nanmedian(own.values) == pytest.approx(11, abs=0.3)
