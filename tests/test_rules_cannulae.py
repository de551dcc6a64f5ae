"""Line pressure, drainage and a head that cannot drain, against their definitions (catalogue, section 4.3)."""

from __future__ import annotations

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.finds import find_in
from afterclamp.sample_traces import tables
from bypass_case import LENGTH_S, box, bypass, found, hides_all, looked, phase, shifted
from hypothesis import given
from hypothesis import strategies as st
from trend_case import demo_view

KINK = {"line_pressure": box(600, 750, 345, 205), "pump_flow": box(600, 750, 2.7, 4.4)}
AIR_LOCK = {
    "pump_flow": box(600, 700, 1.6, 4.4, ramp=8),
    "reservoir_volume": [(0, 1200), (590, 1200), (640, 350), (700, 350), (760, 1100)],
    "line_pressure": box(600, 700, 60, 205, ramp=8),
}
EARLY = {
    **AIR_LOCK,
    "reservoir_volume": box(588, 700, 350, 1200, ramp=20),
}  # a tenth of the fall lost at 590 s
SVC = {
    "cvp": [(0, 5), (600, 5), (620, 23), (780, 23), (800, 5)],
    "left_cerebral_saturation": [(0, 61), (620, 61), (700, 46), (780, 46), (840, 61)],
    "right_cerebral_saturation": [(0, 61), (620, 61), (700, 46), (780, 46), (840, 61)],
}


@pytest.mark.parametrize("seed", [None, 31])
@pytest.mark.parametrize("code", ["E07", "E08", "E09"])
def test_each_is_found_once_in_the_invented_case_at_its_time(code: str, seed: int | None) -> None:
    view = demo_view(seed=seed)
    (find,) = find_in(view.with_phases(phases.propose(view))).of(code)
    row = next(row for row in tables.truth() if row.code == code)
    assert abs(find.start_s - row.start_s) <= row.onset_tolerance_s
    assert abs(find.end_s - row.end_s) <= max(row.onset_tolerance_s, 10)


# -- E07 -------------------------------------------------------------------------------------------


def test_a_line_pressure_over_the_limit_is_dated_by_its_crossings() -> None:
    (find,) = found("E07", bypass(**KINK))
    # 205 to 345 mmHg in the one second from 600 s, back from 750 s.
    assert find.start_s == pytest.approx(601, abs=1)
    assert find.end_s == pytest.approx(751, abs=1)
    assert find.evidence["peak"] == 345
    assert find.evidence["flow_before"] == 4.4
    assert find.evidence["flow_during"] == 2.7
    # Resistance: (205 - 62)/4.4² = 7.39; (345 - 62)/2.7² = 38.8; 38.8/7.39 = 5.3 (hand-worked).
    assert find.evidence["resistance_times"] == pytest.approx(5.3, abs=0.1)
    assert len(find.evidence["alternatives"]) >= 1


@pytest.mark.parametrize(("level", "hits"), [(300.0, 0), (301.0, 1)])
def test_exactly_the_limit_is_not_over_it(level: float, hits: int) -> None:
    # "> 300 mmHg"; a flow and a pressure that keep the resistance where it was.
    high = np.full(1800, 205.0)
    high[600:700] = level
    pressure = np.full(1800, 62.0)
    pressure[600:700] = level - 143.0
    assert len(found("E07", bypass(line_pressure=high, femoral=pressure))) == hits


@pytest.mark.parametrize(("seconds", "hits"), [(8, 0), (12, 1)])
def test_ten_seconds_are_needed(seconds: int, hits: int) -> None:
    assert len(found("E07", bypass(line_pressure=box(600, 600 + seconds, 345, 205, ramp=0.01)))) == hits


def test_a_resistance_that_rises_under_the_limit_is_found_and_told_as_such() -> None:
    # Line 250 at half the flow: (250 - 62)/2.2² = 38.8 mmHg/(L/min)², over five times of before.
    (find,) = found("E07", bypass(line_pressure=box(600, 700, 250, 205), pump_flow=box(600, 700, 2.2, 4.4)))
    assert find.start_s == pytest.approx(601, abs=3)
    assert find.evidence["unit"] == "1"
    assert find.evidence["limit"] == 1.5
    assert find.evidence["line_peak_mmhg"] == 250


def test_a_line_pressure_that_falls_with_the_flow_is_none() -> None:
    # Turbulent flow: the fall along the line goes with the square of the flow.
    low = 62 + (205 - 62) * (2.2 / 4.4) ** 2
    assert (
        found("E07", bypass(line_pressure=box(600, 700, low, 205), pump_flow=box(600, 700, 2.2, 4.4))) == ()
    )


def test_without_an_arterial_pressure_only_the_limit_is_asked_and_that_is_said() -> None:
    finds = looked("E07", bypass(without=("femoral", "left_radial"), pulse=None, **KINK))
    assert len(finds.of("E07")) == 1
    assert finds.not_looked_for == ("E07 not looked for by the resistance: no believed arterial site",)


def test_without_a_line_pressure_it_is_not_looked_for() -> None:
    finds = looked("E07", bypass(without=("line_pressure",)))
    assert finds.not_looked_for == ("E07 not looked for: no line pressure",)


def test_order_of_line_and_flow_is_told_only_where_it_can_be() -> None:
    apart = {**KINK, "line_pressure": box(580, 750, 345, 205)}
    (find,) = found("E07", bypass(**apart))
    assert "rose 20 s before the flow fell" in find.evidence["order"]
    (find,) = found("E07", bypass(**KINK))
    assert find.evidence["order"].startswith("cannot tell whether line pressure or flow came first")


def test_a_slow_rise_is_dated_by_where_it_began_and_ends_likewise() -> None:
    # J4: the last second within 10 % of the whole change; 200 to 340 mmHg from 600 to 660 s passes 214 at 606 s.
    slow = [(0, 200), (600, 200), (660, 340), (800, 340), (860, 200), (1800, 200)]
    (find,) = found("E07", bypass(line_pressure=slow))
    assert find.start_s == pytest.approx(606, abs=3)
    assert find.end_s == pytest.approx(854, abs=3)
    # 300 mmHg is passed 43 s after the start of the rise, and 17 s after that of the fall.
    assert find.evidence["crossings"] == pytest.approx([643, 818], abs=3)


def test_a_rise_that_goes_with_the_flow_is_no_part_of_it() -> None:
    # The flow is turned up from 580 s to 620 s, and takes the line pressure with it; then the line is shut.
    rising = [(0, 110), (580, 110), (620, 205), (622, 345), (700, 345), (701, 205), (1800, 205)]
    flow = [(0, 2.0), (580, 2.0), (620, 4.4), (1800, 4.4)]
    (find,) = found("E07", bypass(line_pressure=rising, pump_flow=flow))
    assert find.start_s == pytest.approx(621, abs=3)


def test_one_obstruction_is_one_find_from_its_first_sign_to_its_last() -> None:
    # Two minutes at 250 mmHg and half the flow (five times the usual resistance), of which 4 s are over the limit.
    pressure = np.full(LENGTH_S, 205.0)
    pressure[600:720] = 250.0
    pressure[601:607] = 330.0
    view = bypass(line_pressure=pressure, pump_flow=box(600, 720, 2.2, 4.4))
    (find,) = found("E07", view)
    assert (find.start_s, find.end_s) == pytest.approx((601, 720), abs=4)
    assert find.evidence["used_s"] >= 110
    assert find.confidence > 0.9
    # The same with 20 s over the limit, which come a minute after the first sign.
    pressure[601:607] = 250.0
    pressure[660:680] = 330.0
    (find,) = found("E07", bypass(line_pressure=pressure, pump_flow=box(600, 720, 2.2, 4.4)))
    assert (find.start_s, find.end_s) == pytest.approx((601, 720), abs=4)
    assert find.evidence["unit"] == "mm[Hg]"


# -- E08 -------------------------------------------------------------------------------------------


def test_a_flow_that_falls_with_the_reservoir_is_lost_drainage() -> None:
    (find,) = found("E08", bypass(**AIR_LOCK))
    # The flow falls from 600 s and is back at 708 s.
    assert find.start_s == pytest.approx(600, abs=3)
    assert find.end_s == pytest.approx(708, abs=3)
    assert find.evidence["reservoir_before_ml"] == 1200
    assert find.evidence["reservoir_lowest_ml"] == 350
    assert find.evidence["low_reservoir_s"] == 0
    assert (
        "the reservoir fell 10 s before the flow fell" in found("E08", bypass(**EARLY))[0].evidence["order"]
    )


def test_a_reservoir_under_the_mark_is_counted() -> None:
    low = {**AIR_LOCK, "reservoir_volume": [(0, 1200), (590, 1200), (640, 250), (700, 250), (760, 1100)]}
    (find,) = found("E08", bypass(**low))
    # Under 300 mL from 637 s to 704 s: straight lines of 19 and 14 mL/s.
    assert find.evidence["low_reservoir_s"] == pytest.approx(67, abs=4)


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        (
            {"reservoir_volume": [(0, 1200), (600, 1200), (700, 1600)]},
            "lowered on purpose: the reservoir rises",
        ),
        ({"line_pressure": box(600, 700, 340, 205, ramp=8)}, "an obstruction of the inflow"),
        ({"pump_flow": box(600, 700, 3.2, 4.4, ramp=8)}, "by 27 %"),
        (
            {"pump_flow": [(0, 4.4), (600, 4.4), (900, 2.2), (1000, 4.4)]},
            "by 0.22 L/min in 30 s: 10 % at most",
        ),
    ],
)
def test_near_misses_of_lost_drainage_stay_silent(changed: dict, why: str) -> None:
    assert found("E08", bypass(**{**AIR_LOCK, **changed})) == (), why


def test_an_arrest_and_coming_off_are_no_lost_drainage() -> None:
    for name in ("no_flow_arrest", "weaning"):
        assert found("E08", bypass(phases=[phase(name, 590, 760)], **AIR_LOCK)) == ()


def test_without_a_reservoir_it_is_not_looked_for() -> None:
    finds = looked("E08", bypass(without=("reservoir_volume",)))
    assert finds.not_looked_for == ("E08 not looked for: no reservoir level",)


# -- E09 -------------------------------------------------------------------------------------------


def test_a_venous_pressure_that_rises_alone_is_found_with_the_brain_s_answer() -> None:
    (find,) = found("E09", bypass(**SVC))
    # It begins at 600 s (a tenth of the rise: 602 s), and is under 15 mmHg again at 789 s.
    assert find.start_s == pytest.approx(602, abs=2)
    assert find.end_s == pytest.approx(789, abs=2)
    assert find.evidence["peak"] == 23
    # 61 to 46: by 25 %.
    assert find.evidence["saturation_falls"] == {"left": 25, "right": 25}


def test_without_the_brain_s_answer_it_is_less_certain() -> None:
    (with_it,) = found("E09", bypass(**SVC))
    (alone,) = found("E09", bypass(cvp=SVC["cvp"]))
    assert alone.confidence < with_it.confidence


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"cvp": box(600, 780, 14, 3)}, "to 14 mmHg only"),
        ({"cvp": box(600, 780, 17, 9)}, "by 8 mmHg only"),
        ({"cvp": box(600, 625, 23, 5)}, "for 25 s only"),
        (
            {"femoral": box(600, 780, 80, 62)},
            "the arterial pressure moved with it, as with the transducers' height",
        ),
        ({"pump_flow": box(590, 790, 2.9, 4.4)}, "at 66 % of the planned flow"),
    ],
)
def test_near_misses_of_an_undrained_head_stay_silent(changed: dict, why: str) -> None:
    assert found("E09", bypass(**{**SVC, **changed})) == (), why


def test_exactly_ten_more_and_fifteen_reached_counts() -> None:
    # "up >= 10 to >= 15"
    assert len(found("E09", bypass(cvp=box(600, 700, 15, 5)))) == 1


def test_without_a_venous_pressure_it_is_not_looked_for() -> None:
    finds = looked("E09", bypass(without=("cvp",)))
    assert finds.not_looked_for == ("E09 not looked for: no central venous pressure",)


# -- what holds for all ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "lines", "channel"),
    [("E07", KINK, "line_pressure"), ("E08", AIR_LOCK, "pump_flow"), ("E09", SVC, "cvp")],
)
def test_masked_seconds_alone_make_no_find(code: str, lines: dict, channel: str) -> None:
    assert found(code, hides_all(bypass(**lines), channel)) == ()


@given(st.integers(1, 900))
def test_a_shift_of_the_record_shifts_every_find(by: int) -> None:
    for code, lines in (("E07", KINK), ("E08", AIR_LOCK), ("E09", SVC)):
        before, after = found(code, bypass(**lines)), found(code, shifted(bypass(**lines), by))
        assert [(one.start_s + by, one.end_s + by) for one in before] == [
            (one.start_s, one.end_s) for one in after
        ]
