"""The arithmetic what-if: closed forms, and that nothing else moves."""

import numpy as np
import pytest
from afterclamp.annotate.measures import (
    WHAT_IF_BANNER,
    OxygenConstants,
    exposure,
    oxygen_delivery_what_if,
)
from afterclamp.annotate.series import MASKED, MISSING, OBSERVED, Series, from_values
from afterclamp.sample_traces import tables, trend
from hypothesis import given
from hypothesis import strategies as st


def flat(value: float, seconds: int = 60) -> Series:
    return from_values(0.0, np.full(seconds, value), unit="L/min/m2")


def test_worked_deliveries_before_and_after():
    # Hb 8, SaO2 1.0, PaO2 200 at 1.36 and 0.003 (recomputed): flow index 2.4 carries 275.52, 2.439 carries 280.
    tried = oxygen_delivery_what_if(
        flat(2.4),
        flat(8.0),
        1.0,
        200.0,
        within=[(0, 60)],
        replaced_flow_index=280 / 114.8,
        constants=OxygenConstants(1.36, 0.003),
    )
    assert tried.recorded.values == pytest.approx(275.52)
    assert tried.changed.values == pytest.approx(280.0)


@given(st.floats(0.1, 5), st.floats(0, 5), st.floats(4, 18), st.floats(4, 18))
def test_delivery_changes_in_proportion_to_flow_and_by_capacity_to_haemoglobin(flow, other, grams, instead):
    # Closed form: DO2i is proportional to the flow; per g/dL it changes by 10 · flow · capacity · saturation.
    kinds = {"within": [(0, 60)], "constants": OxygenConstants(1.34, 0.003)}
    by_flow = oxygen_delivery_what_if(flat(flow), flat(grams), 0.98, 150, replaced_flow_index=other, **kinds)
    assert by_flow.changed.values == pytest.approx(by_flow.recorded.values * other / flow)
    by_grams = oxygen_delivery_what_if(
        flat(flow), flat(grams), 0.98, 150, replaced_haemoglobin=instead, **kinds
    )
    step = 10 * flow * 1.34 * 0.98 * (instead - grams)
    assert by_grams.changed.values - by_grams.recorded.values == pytest.approx(step, abs=1e-6)


def test_only_the_stretch_that_was_asked_for_changes_and_nothing_is_made_up():
    state = np.full(60, OBSERVED, np.uint8)
    state[40:45], state[50:55] = MASKED, MISSING
    flow = Series(0.0, np.where(state == OBSERVED, 2.0, np.nan), state, "L/min/m2")
    kept = flow.values.copy()
    tried = oxygen_delivery_what_if(flow, flat(8.0), 1.0, 200, within=[(30, 60)], replaced_flow_index=2.4)
    np.testing.assert_array_equal(tried.changed.state, state)
    np.testing.assert_array_equal(np.isnan(tried.changed.values), state != OBSERVED)
    np.testing.assert_array_equal(tried.changed.values[:30], tried.recorded.values[:30])
    assert (tried.changed.values > tried.recorded.values)[state == OBSERVED][30:].all()
    np.testing.assert_array_equal(flow.values, kept)


def test_the_banner_goes_along_with_whatever_is_made_of_it():
    tried = oxygen_delivery_what_if(
        flat(2.0), flat(8.0), 1.0, 200, within=[(0, 60)], replaced_flow_index=2.4, replaced_haemoglobin=9.0
    )
    assert tried.banner == WHAT_IF_BANNER == "arithmetic only: the patient's response is not modelled"
    assert str(tried) == f"flow index 2.4 L/min/m2 and haemoglobin 9 g/dL ({WHAT_IF_BANNER})"
    assert tried.changed.note.startswith(WHAT_IF_BANNER)
    assert "what_if" in exposure(tried.changed, below=280).name


def test_the_low_flow_of_the_demonstration_at_its_planned_flow():
    # By the case's own specification: 239 mL/min/m² at 250:00 with 3.60 L/min. In proportion 4.40 L/min carry
    # 292, and the deficit below 280 of the twelve minutes (481 mL/m²) is gone but for what haemoglobin leaves.
    t = np.arange(tables.LENGTH_S, dtype=float)
    surface = trend.body_surface_area()
    flow = from_values(0.0, trend.trend("FLOW", t) / surface, unit="L/min/m2")
    grams = from_values(0.0, trend.trend("HB", t), unit="g/dL")
    ((start, end),) = tables.spans("E12")
    tried = oxygen_delivery_what_if(
        flow, grams, 1.0, 220.0, within=[(start, end)], replaced_flow_index=4.4 / surface
    )
    assert tried.recorded.at(250 * 60) == pytest.approx(239, abs=1)
    assert tried.changed.at(250 * 60) == pytest.approx(239 * 4.4 / 3.6, rel=0.005)
    deficit = [
        exposure(one, below=280, within=[(start, end)]).area for one in (tried.recorded, tried.changed)
    ]
    assert deficit[0] == pytest.approx(481, rel=0.02)
    assert deficit[1] == 0


def test_a_question_without_an_answer_is_refused():
    with pytest.raises(ValueError, match="replace"):
        oxygen_delivery_what_if(flat(2.0), flat(8.0), 1.0, 200, within=[(0, 60)])
    with pytest.raises(ValueError, match="negative"):
        oxygen_delivery_what_if(flat(2.0), flat(8.0), 1.0, 200, within=[(0, 9)], replaced_flow_index=-1.0)
    with pytest.raises(ValueError, match="same seconds"):
        oxygen_delivery_what_if(flat(2.0), flat(8.0, 30), 1.0, 200, within=[], replaced_flow_index=2.0)
