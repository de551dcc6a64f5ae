"""Computed values and summaries by phase: on the invented case from its keyframes, and as recorded.

Expected numbers are those of the tables of expected figures and of phases in the case's description, computed when
it was invented, apart from this program; formulas by hand where they are not in them.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.overview import PhaseSummary, Value, computed_values, phase_summaries, values_at
from afterclamp.io.case import Case
from afterclamp.sample_traces import trend
from keyframe_case import keyframe_case


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    with keyframe_case(tmp_path_factory.mktemp("overview") / "case") as opened:
        yield opened


@pytest.fixture(scope="module")
def drawn(case: Case) -> list[Value]:
    return computed_values(case)


@pytest.fixture(scope="module")
def recorded(demo_folder: Path) -> list[Value]:
    with Case.open(demo_folder) as opened:
        return computed_values(opened)


def one(rows: list[Value], measure: str, words: str = "", phase: str = "", index: int = 0) -> Value:
    """The one row of a measure."""
    [found] = [
        row for row in rows
        if row.measure == measure and words in ("", row.words) and phase in ("", row.phase) and row.index == index
    ]  # fmt: skip
    return found


def test_body_surface_and_planned_flow(drawn):
    # 168 cm and 74 kg: 1.84 and 1.86 m²; 2.4 L/min/m² of 1.84 m² are 4.40 L/min.
    assert one(drawn, "body_surface_area", "Du Bois").value == pytest.approx(1.84, abs=0.005)
    assert one(drawn, "body_surface_area", "Mosteller").value == pytest.approx(1.86, abs=0.005)
    assert len([row for row in drawn if row.measure == "body_surface_area"]) == 5
    assert one(drawn, "planned_flow").value == pytest.approx(4.40, rel=0.01)
    assert one(drawn, "planned_flow_index").value == pytest.approx(2.40, abs=0.005)


@pytest.mark.parametrize(("minute", "expected"), [(110, 304), (210, 297), (212, 296), (250, 239)])
def test_oxygen_delivery_at_chosen_times(case, demo_folder, minute, expected):
    [found] = values_at(case, "oxygen_delivery_index", [minute * 60.0])
    assert found.value == pytest.approx(expected, abs=2)
    assert (found.unit, found.observed_s, found.site) == ("mL/min/m2", 1, "pump_flow")
    with Case.open(demo_folder) as opened:
        [as_recorded] = values_at(opened, "oxygen_delivery_index", [minute * 60.0])
    assert as_recorded.value == pytest.approx(expected, rel=0.03)


def test_a_moment_without_a_value_and_a_measure_that_is_none_say_so(case):
    [nothing] = values_at(case, "oxygen_extraction_ratio", [140 * 60.0])  # no venous saturation without flow
    assert (nothing.value, nothing.note) == (None, "not computed: not recorded then")
    [unknown] = values_at(case, "happiness", [60.0])
    assert unknown.note.startswith(
        "not computed: no measure is called 'happiness'; there are cerebral_side_difference, "
    )


def test_uptake_and_extraction_from_flow_and_saturations(case):
    # By hand at 110:00 from the keyframes: Hb 9.0, SvO2 85 %, flow 4.40 L/min on 1.837 m², 1.34 and 0.003.
    arterial = 1.34 * 9.0 * 1.0 + 0.003 * 220
    venous = 1.34 * 9.0 * 0.85
    [uptake] = values_at(case, "oxygen_consumption_index", [6600.0])
    assert uptake.value == pytest.approx(10 * 4.40 / 1.8366 * (arterial - venous), rel=0.01)
    [share] = values_at(case, "oxygen_extraction_ratio", [6600.0])
    assert share.value == pytest.approx(100 * (arterial - venous) / arterial, rel=0.01)
    assert "dissolved venous oxygen left out" in share.note


def test_resistance_of_the_body_on_bypass(case, drawn):
    # (femoral - CVP) / flow at 110:00, mmHg·min/L: 61, 4 and 4.40 in the keyframes.
    [found] = values_at(case, "systemic_vascular_resistance", [6600.0])
    assert found.value == pytest.approx((61 - 4) / 4.40, rel=0.01)
    [index] = values_at(case, "systemic_vascular_resistance_index", [6600.0])
    assert index.value == pytest.approx(1.8366 * (61 - 4) / 4.40, rel=0.01)
    [still] = values_at(case, "systemic_vascular_resistance", [140 * 60.0])
    assert still.value is None, "no flow, no resistance"
    assert one(drawn, "pulmonary_vascular_resistance").value is None
    assert "no cardiac output is recorded" in one(drawn, "systemic_vascular_resistance", phase="off").note


@pytest.mark.parametrize("which", ["drawn", "recorded"])
def test_resistance_of_the_arterial_line(which, request):
    # 7.75 ± 0.5 at baseline, three times and more while the graft was kinked from 96:33 to 99:03.
    rows = request.getfixturevalue(which)
    usual = one(rows, "line_resistance", "median")
    assert usual.value == pytest.approx(7.75, abs=0.5)
    kinked = one(rows, "line_resistance", "highest")
    assert kinked.value >= 3 * usual.value
    assert 96.5 * 60 <= kinked.at_s <= 99.1 * 60
    assert "times the running median of 10 min" in kinked.note


@pytest.mark.parametrize("which", ["drawn", "recorded"])
def test_brain_alone(which, request):
    # 0.84 L/min, 11.3 mL/kg/min over 13:30; its pressure in the right radial line goes from 53 to 61.
    rows = request.getfixturevalue(which)
    assert one(rows, "pump_flow", phase="selective_cerebral").value == pytest.approx(0.84, rel=0.03)
    by_weight = one(rows, "flow_by_weight", phase="selective_cerebral")
    assert by_weight.value == pytest.approx(11.3, rel=0.03)
    assert by_weight.observed_s == pytest.approx(13.5 * 60, abs=6)
    pressure = one(rows, "perfusion_pressure")
    assert pressure.site == "right_radial"
    assert 52 < pressure.value < 61


@pytest.mark.parametrize("which", ["drawn", "recorded"])
def test_cold_at_each_arrest(which, request):
    rows = request.getfixturevalue(which)
    for index, expected in ((0, 19.7), (1, 19.6)):
        found = one(rows, "core_at_arrest", phase="lower_body_arrest", index=index)
        assert found.value == pytest.approx(expected, abs=0.2)
        assert (found.words, found.site) == ("deep", "nasopharyngeal_temperature")


@pytest.mark.parametrize("which", ["drawn", "recorded"])
def test_outlet_over_37(which, request):
    # 4:05 min, highest 37.6 °C; the area by adding up the straight lines between the keyframes.
    found = one(request.getfixturevalue(which), "area_over_37")
    over = trend.trend("TAO", np.arange(260 * 60, 285 * 60) + 0.5) - 37
    assert found.value == pytest.approx(float(over.clip(0).sum()) / 60, rel=0.03)
    assert "4.1 min at 37 °C or more, highest 37.6 °C" in found.note


def test_the_bladder_runs_behind_the_core(recorded):
    # From the keyframes: 30.0 °C is reached by the core at 76:19 and by the bladder at 86:40.
    cooling = one(recorded, "bladder_behind_core", phase="cooling")
    assert 5 < cooling.value < 20
    assert cooling.unit == "min"


def test_variation_of_the_pulse_has_its_gate(recorded):
    # 17 % from 333 to 338 min, the chest open until 340:00; beats that alternate from 328:00 to 331:00 are no breath.
    found = one(recorded, "pulse_pressure_variation", "highest minute", "post")
    assert found.value == pytest.approx(17, abs=2)
    assert 333 * 60 <= found.at_s < 338 * 60
    assert "not interpretable: open chest" in found.note
    assert "3 min left out in which the pulse alternates" in found.note
    middle = one(recorded, "pulse_pressure_variation", "median", "pre")
    assert middle.value == pytest.approx(6, abs=1.5)


def test_three_conventions_of_variability_are_named_apart(recorded):
    names = (
        "average_real_variability",
        "average_real_variability_weighted",
        "generalised_average_real_variability",
    )
    found = [one(recorded, name, phase="post") for name in names]
    assert [row.unit for row in found] == ["mm[Hg]", "mm[Hg]", "mm[Hg]/min"]
    assert len({row.words for row in found}) == 3
    # Readings one a minute: all three are one number then, by their definitions.
    assert found[0].value == pytest.approx(found[1].value)
    assert found[0].value == pytest.approx(found[2].value)


def test_the_correlation_of_pressure_and_saturation_is_exploratory(recorded):
    rows = [row for row in recorded if row.measure == "pressure_saturation_correlation"]
    assert len(rows) == 6
    for row in rows:
        assert "exploratory" in row.note
        assert "shuffled pairs lie between" in row.note
        assert -1 <= row.value <= 1


def test_pulse_pressure_off_bypass(recorded):
    assert one(recorded, "pulse_pressure", phase="pre").value == pytest.approx(
        51, abs=2
    )  # keyframes: 52 to 50


def test_every_value_says_what_it_rests_on_and_goes_to_json(drawn, recorded):
    for row in [*drawn, *recorded]:
        if row.value is None:
            assert row.note.startswith("not computed: ")
        elif row.section != "body" and not row.measure.startswith("planned"):
            assert row.observed_s > 0
            assert row.site
            assert row.unit
    json.dumps([row.to_dict() for row in recorded], allow_nan=False)


def test_without_facts_a_value_says_what_is_missing(tmp_path):
    with keyframe_case(tmp_path / "case", sheet=False) as bare:
        rows = computed_values(bare)
    assert one(rows, "planned_flow").note == "not computed: no planned flow index on the case sheet"
    assert one(rows, "body_surface_area").note == "not computed: no height and weight on the case sheet"
    assert (
        one(rows, "oxygen_extraction_ratio").note == "not computed: no arterial saturation on the case sheet"
    )
    assert one(rows, "flow_by_weight").note == "not computed: no weight on the case sheet"
    assert one(rows, "perfusion_pressure").note == "not computed: no side of the inflow on the case sheet"


# -- by phase --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def by_phase(case: Case) -> list[PhaseSummary]:
    return phase_summaries(case)


def test_a_channel_within_a_phase(by_phase):
    # Femoral mean over the first arrest, from the keyframes: 131:00 to 149:30.
    [found] = [
        row for row in by_phase
        if (row.measure, row.site, row.phase, row.index) == ("mean_pressure", "femoral", "lower_body_arrest", 0)
    ]  # fmt: skip
    t = np.arange(131 * 60, 149 * 60 + 30) + 0.5
    truth = trend.trend("FEM", t)
    assert found.found.median == pytest.approx(float(np.median(truth)), abs=0.3)
    assert found.found.highest == pytest.approx(float(truth.max()), abs=2)
    assert found.found.observed_s == pytest.approx(18.5 * 60, abs=3)
    assert found.found.missing_percent == 0


def test_every_row_by_phase_has_its_seconds(by_phase):
    for row in by_phase:
        whole = row.found.observed_s + row.found.masked_s + row.found.missing_s + row.found.excluded_s
        assert whole > 0
        assert row.phase == "established" or whole == pytest.approx(row.end_s - row.start_s, abs=1)
    assert {"oxygen_delivery_index", "line_resistance", "pump_flow", "temperature"} <= {
        row.measure for row in by_phase
    }
    text = json.loads(json.dumps([row.to_dict() for row in by_phase], allow_nan=False))
    assert {"median", "fifth", "ninety_fifth", "lowest", "highest", "observed_s", "missing_percent"} <= text[
        0
    ].keys()


def test_oxygen_delivery_within_the_warm_phase(by_phase):
    [found] = [
        row for row in by_phase if (row.measure, row.phase) == ("oxygen_delivery_index", "warming")
    ]  # fmt: skip
    assert found.found.highest == pytest.approx(342, rel=0.01)  # keyframes: 341 to 343 from 275 to 292 min
    assert found.site == "pump_flow"
