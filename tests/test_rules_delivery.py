"""Flow index and oxygen delivery against their definitions (catalogue E11, E12)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bypass_case import FACTS, LENGTH_S, box, bypass, found, hides_all, looked, phase, shifted
from hypothesis import given
from hypothesis import strategies as st

LOW = {"pump_flow": box(600, 1000, 3.4, 4.4)}


def test_a_low_index_is_found_with_its_limit_and_area() -> None:
    (find,) = found("E11", bypass(**LOW))
    assert find.start_s == pytest.approx(601, abs=1)
    assert find.end_s == pytest.approx(1000, abs=2)
    # 3.4/1.84 = 1.848 under 2.0 (80 % of 4.4/1.84 = 1.913): 0.152 · 400/60 = 1.01 L/m² (hand-worked).
    assert find.evidence["limit"] == 2.0
    assert find.evidence["nadir"] == pytest.approx(1.85, abs=0.005)
    assert find.evidence["area_beyond"] == pytest.approx(1.01, abs=0.02)


@pytest.mark.parametrize(("index", "hits"), [(2.0, 0), (1.99, 1)])
def test_exactly_two_is_not_under_it(index: float, hits: int) -> None:
    # "CI < 2.0"
    assert len(found("E11", bypass(pump_flow=box(600, 1000, 1.84 * index, 4.4)))) == hits


def test_a_planned_index_that_is_high_raises_the_limit() -> None:
    # Planned 3.0 L/min/m²: 80 % of it are 2.4.
    facts = replace(FACTS, planned_flow=3.0 * 1.84)
    (find,) = found("E11", bypass(facts=facts, pump_flow=box(600, 1000, 2.3 * 1.84, 5.5)))
    assert find.evidence["limit"] == pytest.approx(2.4)
    assert find.evidence["limit_words"] == "80 % of the planned index"


@pytest.mark.parametrize(("seconds", "hits"), [(60, 0), (175, 0), (190, 1)])
def test_three_minutes_are_needed(seconds: int, hits: int) -> None:
    # Lowered by hand to move a clamp: up to 60 s.
    assert len(found("E11", bypass(pump_flow=box(600, 600 + seconds, 3.4, 4.4)))) == hits


@pytest.mark.parametrize("code", ["E11", "E12"])
@pytest.mark.parametrize(
    "name", ["going_on", "weaning", "no_flow_arrest", "lower_body_arrest", "selective_cerebral"]
)
def test_ramps_and_arrests_are_none(code: str, name: str) -> None:
    assert found(code, bypass(phases=[phase(name, 590, 1010)], **LOW)) == ()


@pytest.mark.parametrize("code", ["E11", "E12"])
@pytest.mark.parametrize(("outlet", "hits"), [(31.9, 0), (32.0, 1)])
def test_only_warm_seconds_are_judged(code: str, outlet: float, hits: int) -> None:
    assert len(found(code, bypass(outlet_temperature=outlet, **LOW))) == hits


def test_delivery_follows_the_formula_and_the_haemoglobin() -> None:
    # 10 · index · (1.34 · Hb · SaO2 + 0.003 · PaO2), J3.4 no. 33: 4.4/1.84 · 10 · (1.34 · 7.5 + 0.66) = 256.1.
    (find,) = found("E12", bypass(haemoglobin=box(600, 1000, 7.5, 9.5)))
    assert find.start_s == pytest.approx(601, abs=1)
    assert find.evidence["nadir"] == pytest.approx(256.1, abs=0.2)
    assert find.evidence["area_beyond"] == pytest.approx((280 - 256.1) * 400 / 60, rel=0.02)  # mL/m²


@pytest.mark.parametrize(("seconds", "hits"), [(290, 0), (310, 1)])
def test_five_minutes_are_needed(seconds: int, hits: int) -> None:
    assert len(found("E12", bypass(haemoglobin=box(600, 600 + seconds, 7.5, 9.5)))) == hits


def test_another_published_limit_finds_something_else() -> None:
    view = bypass(haemoglobin=box(600, 1000, 8.0, 9.5))  # 272.1 mL/min/m²
    assert len(found("E12", view)) == 1
    assert found("E12", view, below=262) == ()


def test_an_old_haemoglobin_is_told() -> None:
    facts = replace(FACTS, haemoglobin_rows=((0.0, 7.5),))
    view = bypass(6000, without=("haemoglobin",), facts=facts)
    (find,) = found("E12", view)
    assert "may be: the value was up to 100 min old" in find.evidence["alternatives"][0]["why_not"]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"without": ("haemoglobin",)},
            "no haemoglobin with an arterial saturation and oxygen tension on the case sheet"),
        ({"facts": replace(FACTS, arterial_saturation=None)},
         "no haemoglobin with an arterial saturation and oxygen tension on the case sheet"),
        ({"facts": replace(FACTS, body_surface_m2=None)}, "no height and weight on the case sheet"),
        ({"without": ("pump_flow",)}, "no pump flow"),
    ],
)  # fmt: skip
def test_what_is_missing_is_said(changed: dict, words: str) -> None:
    assert looked("E12", bypass(**changed)).not_looked_for == (f"E12 not looked for: {words}",)


@pytest.mark.parametrize("code", ["E11", "E12"])
def test_without_an_outlet_nobody_knows_what_is_warm(code: str) -> None:
    # 1.4 L/min at 20 °C would be a cold low flow; without the outlet it cannot be told from a warm one.
    finds = looked(code, bypass(pump_flow=1.4, without=("outlet_temperature",)))
    assert finds.finds == ()
    assert finds.not_looked_for == (f"{code} not looked for: no outlet temperature",)


def test_masked_seconds_alone_make_no_find_and_shorter_masked_ones_are_counted() -> None:
    for code in ("E11", "E12"):
        assert found(code, hides_all(bypass(**LOW), "pump_flow")) == ()
        mask = np.zeros(LENGTH_S, dtype=np.bool_)
        mask[700:720] = True
        (find,) = found(code, bypass(masked={"pump_flow": mask}, **LOW))
        assert find.evidence["masked_s"] == 20
        assert find.evidence["used_s"] == pytest.approx(find.duration_s - 20)


@given(st.integers(1, 900))
def test_a_shift_of_the_record_shifts_every_find(by: int) -> None:
    for code in ("E11", "E12"):
        before, after = found(code, bypass(**LOW)), found(code, shifted(bypass(**LOW), by))
        assert [(one.start_s + by, one.end_s + by) for one in before] == [
            (one.start_s, one.end_s) for one in after
        ]
