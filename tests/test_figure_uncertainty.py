"""The ± of minutes outside a limit: the grid of seconds and the boundaries of phases, added as squares."""

from __future__ import annotations

import math

import numpy as np
import pytest
from afterclamp.annotate.dose import Counted
from afterclamp.annotate.figure_row import Figure
from afterclamp.annotate.figure_uncertainty import outside_uncertainty_s
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.series import from_values

# A time read on a grid of 1 s is evenly spread over it: sd 1/sqrt(12) (GUM, JCGM 100:2008, 4.3.7); 1.96 sd hold 95 %.
ONE_END = 1.96 / math.sqrt(12)
WINDOW = (1000.0, 2000.0)


def figure(*runs: tuple[float, float]) -> Figure:
    series = from_values(0.0, np.full(3000, 60.0), unit="mm[Hg]", name="map")
    return Figure(
        "mean_arterial_pressure",
        "post",
        value=1.0,
        side="below",
        limit=65.0,
        runs=runs,
        counted=Counted(series, 65.0, above=False, inclusive=False, within=(WINDOW,)),
    )


def post(sd_s: float) -> Phase:
    return Phase("post", Boundary(1000.0, "", clock_sd_s=sd_s), Boundary(2000.0, "", recorded=False))


def test_each_end_of_a_stretch_counts_once() -> None:
    assert outside_uncertainty_s(figure((1200.0, 1300.0)), [post(5.0)]) == pytest.approx(
        math.sqrt(2) * ONE_END
    )
    two = figure((1200.0, 1300.0), (1400.0, 1500.0))
    assert outside_uncertainty_s(two, [post(5.0)]) == pytest.approx(2 * ONE_END)


def test_a_stretch_that_touches_the_phase_s_boundary_is_as_uncertain_as_that() -> None:
    touching = outside_uncertainty_s(figure((1004.0, 1300.0)), [post(5.0)])
    assert touching == pytest.approx(math.hypot(math.sqrt(2) * ONE_END, 1.96 * 5.0))


def test_a_boundary_of_a_phase_that_was_not_looked_at_does_not_count() -> None:
    other = Phase("bypass", Boundary(1250.0, "", clock_sd_s=9.0), Boundary(1260.0, "", clock_sd_s=9.0))
    assert outside_uncertainty_s(figure((1200.0, 1300.0)), [post(5.0), other]) == pytest.approx(
        math.sqrt(2) * ONE_END
    )


def test_a_clock_that_nobody_set_leaves_it_unknown() -> None:
    assert outside_uncertainty_s(figure((1200.0, 1300.0)), [post(math.inf)]) == math.inf


def test_a_mean_has_none() -> None:
    assert outside_uncertainty_s(Figure("mean_pressure", "record", value=60.0), []) is None
