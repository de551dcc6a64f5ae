"""Phases of the invented case against its table of true phases, their sums, gaps, noise and what people set.

Limits: going on and off ± 10 s, arrests and selective perfusion ± 5 s, cooling and warming ± 60 s, end of
warming ± 150 s (this project's choice).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.phases import Boundary, Phase
from afterclamp.annotate.view import Facts, View
from afterclamp.io import Case
from afterclamp.sample_traces import tables
from trend_case import PHASE_LIMITS, demo_view, minutes, trend_view


@pytest.fixture(scope="module", params=[None, 3, 4], ids=["no noise", "noise 3", "noise 4"])
def found(request: pytest.FixtureRequest) -> list[Phase]:
    return phases.propose(demo_view(seed=request.param))


@pytest.mark.parametrize("row", list(PHASE_LIMITS))
def test_each_true_phase_is_proposed_within_its_limits(found: list[Phase], row: str) -> None:
    truth = next(phase for phase in tables.phases() if phase.name == row)
    name, index, start_limit, end_limit = PHASE_LIMITS[row]
    phase = next(p for p in found if p.name == name and p.index == index)
    assert abs(phase.start_s - truth.start_s) <= start_limit
    assert abs(phase.end_s - truth.end_s) <= end_limit


def test_nothing_else_is_proposed(found: list[Phase]) -> None:
    # The table of true phases has no row for a steady cold core (test_phase_boundaries.py).
    names = [phase.name for phase in found if phase.name != "cold_steady"]
    # The first arrest of the lower body is the first arrest without flow.
    wanted = [name for name, *_ in PHASE_LIMITS.values()] + ["lower_body_arrest"]
    assert sorted(names) == sorted(wanted)


def test_the_clamp_is_never_guessed(found: list[Phase]) -> None:
    assert not [phase for phase in found if phase.name == "clamp"]


def test_sums_are_those_of_the_true_phases(found: list[Phase]) -> None:
    # From the table of true phases: bypass 247:00, no flow 39:00, lower body 52:30, selective 13:30,
    # bypass net of no flow 208:00, cooling to the first arrest 68:00.
    sums = phases.durations(found)
    for name, expected, limit in (
        ("bypass", 247 * 60, 20),
        ("no_flow_arrest", 39 * 60, 20),
        ("lower_body_arrest", 52 * 60 + 30, 20),
        ("selective_cerebral", 13 * 60 + 30, 10),
        ("bypass_net_of_no_flow", 208 * 60, 40),
        ("cooling", 68 * 60, 65),
        ("warming", 90 * 60, 210),
        ("weaning", 7 * 60, 25),
    ):
        assert sums[name].total_s == pytest.approx(expected, abs=limit), name
    assert len(sums["no_flow_arrest"].each) == 2
    assert [part[2] for part in sums["no_flow_arrest"].each] == pytest.approx([1110, 1230], abs=10)
    assert sums["reperfusion"].each[0][2] == pytest.approx(690, abs=10)


def test_parts_of_an_arrest_add_up(found: list[Phase]) -> None:
    whole = [phase for phase in found if phase.name == "lower_body_arrest"]
    parts = [phase for phase in found if phase.name in ("no_flow_arrest", "selective_cerebral")]
    assert sum(p.duration_s for p in parts) == pytest.approx(sum(p.duration_s for p in whole), abs=1e-6)
    for part in parts:
        assert part.parent == "lower_body_arrest"
        assert any(p.start_s <= part.start_s and part.end_s <= p.end_s for p in whole)


def test_each_boundary_says_its_rule_value_channel_and_uncertainty(found: list[Phase]) -> None:
    for phase in found:
        for boundary in (phase.start, phase.end):
            assert boundary.rule
            if boundary.channel:
                assert boundary.value is not None
                assert boundary.unc_s > 0
        record = phase.to_json()
        assert {"name", "start_s", "end_s", "unc_s", "source", "parent"} <= set(record)


def test_the_true_time_lies_within_the_stated_uncertainty_of_each_arrest(found: list[Phase]) -> None:
    truth = {"arrest 1: no flow": 0, "arrest 2: no flow at all": 1}
    for row, index in truth.items():
        true = next(phase for phase in tables.phases() if phase.name == row)
        phase = next(p for p in found if p.name == "no_flow_arrest" and p.index == index)
        assert abs(phase.start_s - true.start_s) <= phase.start.unc_s + 1
        assert abs(phase.end_s - true.end_s) <= phase.end.unc_s + 1


# -- gaps ------------------------------------------------------------------------------------------


def with_gap(
    view: View, start: str, end: str, names: tuple[str, ...] = ("pump_flow", "reservoir_volume")
) -> View:
    t = np.arange(view.n)
    inside = (t >= minutes(start)) & (t < minutes(end))
    return replace(
        view, values={k: np.where(inside, np.nan, v) if k in names else v for k, v in view.values.items()}
    )


def names_of(view: View) -> list[str]:
    return [phase.name for phase in phases.propose(view)]


def test_a_gap_of_the_pump_does_not_end_an_arrest() -> None:
    # The case's own gap, 172:00 to 173:10, lies in the second arrest.
    view = demo_view(seed=5)
    flow = view.flow
    assert flow is not None
    assert np.isnan(flow[10_330])
    assert names_of(view).count("no_flow_arrest") == 2


def test_a_gap_over_which_the_pressure_came_up_does_end_an_arrest() -> None:
    view = demo_view()
    t = np.arange(view.n)
    lit = (t >= minutes("172:00")) & (t < minutes("173:10"))
    values = {k: np.where(lit, 55.0, v) if k in view.arterial else v for k, v in view.values.items()}
    assert names_of(replace(view, values=values)).count("no_flow_arrest") == 3


def test_a_gap_without_any_other_channel_is_not_bridged() -> None:
    view = demo_view()
    values = {k: v for k, v in view.values.items() if k not in (*view.arterial, "reservoir_volume")}
    alone = replace(view, values=values, arterial=(), believed="", pulse={}, masked={})
    assert names_of(alone).count("no_flow_arrest") == 3


def test_a_gap_on_full_flow_does_not_end_bypass() -> None:
    view = with_gap(demo_view(), "110:00", "118:00")
    assert names_of(view).count("bypass") == 1


def test_an_arrest_that_begins_in_a_gap_says_how_far_it_is_open() -> None:
    view = with_gap(demo_view(), "130:30", "131:40")
    first = next(p for p in phases.propose(view) if p.name == "no_flow_arrest")
    assert first.start_s - first.start.unc_s <= minutes("131:00") <= first.start_s + first.start.unc_s
    assert first.start.unc_s > 20


# -- what is missing -------------------------------------------------------------------------------


def test_without_a_flow_and_without_words_no_bypass_is_guessed() -> None:
    # Arrests at a cold core are the pressures' own (J5.1: "pressure only"): test_phase_words.py.
    view = demo_view()
    values = {k: v for k, v in view.values.items() if k != "pump_flow"}
    found = names_of(replace(view, values=values))
    assert set(found) == {"lower_body_arrest", "no_flow_arrest", "selective_cerebral"}
    warm = {k: v for k, v in values.items() if not k.endswith("_temperature")}
    assert phases.propose(replace(view, values=warm)) == []


def test_without_any_bypass_the_whole_record_is_before_it() -> None:
    view = demo_view(seed=6, until_s=3000)
    found = phases.propose(view)
    assert [(p.name, p.start_s, p.end_s) for p in found] == [("pre", 0.0, 3000.0)]


def test_without_temperatures_flow_phases_stand_and_say_so() -> None:
    view = demo_view()
    values = {k: v for k, v in view.values.items() if not k.endswith("temperature")}
    found = phases.propose(replace(view, values=values))
    names = [p.name for p in found]
    assert "cooling" not in names
    assert "warming" not in names
    arrest = next(p for p in found if p.name == "no_flow_arrest")
    assert "no core temperature recorded" in arrest.alternatives


def test_without_a_planned_flow_full_flow_is_judged_by_the_flow_itself() -> None:
    view = replace(demo_view(), facts=Facts(weight_kg=74.0))
    going_on = next(p for p in phases.propose(view) if p.name == "going_on")
    assert going_on.end_s == pytest.approx(minutes("61:55"), abs=10)
    assert "no planned flow known" in going_on.end.rule


def test_without_a_target_warming_lasts_to_weaning_and_says_so() -> None:
    view = replace(demo_view(), facts=Facts(74.0, 4.4))
    warming = next(p for p in phases.propose(view) if p.name == "warming")
    assert warming.end_s == pytest.approx(minutes("300:00"), abs=15)
    assert any("no rewarming target" in text for text in warming.alternatives)


# -- other courses of an operation -----------------------------------------------------------------


def pump_case(
    flow: list[tuple[float, float]], pressure: list[tuple[float, float]], core: float = 36.0
) -> View:
    length = int(flow[-1][0])
    return trend_view(
        length,
        {"pump_flow": flow, "femoral": pressure, "nasopharyngeal_temperature": [(0, core), (length, core)]},
        pulse={"femoral": [(0, 40), (length, 40)]},
        believe="femoral",
        arterial=("femoral",),
        source={"pump_flow": "pump", "femoral": "monitor"},
        facts=Facts(70.0, 4.4),
    )


def test_back_on_bypass_is_a_second_bypass() -> None:
    flow = [
        (0, 0),
        (300, 0),
        (360, 4.4),
        (3000, 4.4),
        (3100, 0),
        (4000, 0),
        (4030, 4),
        (6000, 4),
        (6100, 0),
        (7000, 0),
    ]
    pressure = [(0, 75), (300, 75), (330, 60), (3100, 70), (4000, 55), (4030, 62), (6100, 70), (7000, 70)]
    found = phases.propose(pump_case(flow, pressure))
    assert [round(p.start_s) for p in found if p.name == "bypass"] == pytest.approx([300, 4000], abs=10)
    assert [p.name for p in found if p.name in ("pre", "post", "bypass")] == [
        "pre",
        "bypass",
        "post",
        "bypass",
        "post",
    ]


def test_volume_through_the_arterial_line_is_not_going_back_on() -> None:
    flow = [
        (0, 0),
        (300, 0),
        (360, 4.4),
        (3000, 4.4),
        (3100, 0),
        (4000, 0),
        (4002, 0.6),
        (4025, 0.6),
        (4027, 0),
        (5000, 0),
    ]
    pressure = [(0, 75), (300, 75), (330, 60), (3100, 70), (4000, 60), (4030, 68), (5000, 68)]
    assert names_of(pump_case(flow, pressure)).count("bypass") == 1


def test_a_pump_that_runs_round_in_a_loop_before_bypass_is_not_going_on() -> None:
    flow = [
        (0, 0),
        (300, 0),
        (305, 2.0),
        (600, 2.0),
        (605, 0),
        (1500, 0),
        (1560, 4.4),
        (4000, 4.4),
        (4100, 0),
        (5000, 0),
    ]
    pressure = [(0, 75), (1500, 75), (1530, 55), (4100, 70), (5000, 70)]
    found = phases.propose(pump_case(flow, pressure))
    assert next(p for p in found if p.name == "bypass").start_s == pytest.approx(1500, abs=10)


def test_a_short_stop_is_no_arrest_and_no_end() -> None:
    flow = [
        (0, 0),
        (300, 0),
        (360, 4.4),
        (2000, 4.4),
        (2001, 0),
        (2060, 0),
        (2061, 4.4),
        (4000, 4.4),
        (4100, 0),
        (5000, 0),
    ]
    pressure = [
        (0, 75),
        (300, 75),
        (330, 60),
        (2001, 60),
        (2030, 15),
        (2060, 12),
        (2070, 60),
        (4100, 70),
        (5000, 70),
    ]
    names = names_of(pump_case(flow, pressure))
    assert names.count("bypass") == 1
    assert "no_flow_arrest" not in names


def test_twenty_arrests_are_twenty_phases() -> None:
    flow: list[tuple[float, float]] = [(0, 0), (300, 0), (360, 4.4)]
    pressure: list[tuple[float, float]] = [(0, 75), (300, 75), (330, 55)]
    for k in range(20):
        at = 1000.0 + 400 * k
        flow += [(at, 4.4), (at + 2, 0), (at + 200, 0), (at + 210, 4.4)]
        pressure += [(at, 55), (at + 30, 12), (at + 200, 9), (at + 230, 50)]
    flow += [(9500, 4.4), (9600, 0), (10500, 0)]
    pressure += [(9500, 60), (10500, 70)]
    found = phases.propose(pump_case(flow, pressure, core=18.0))
    arrests = [p for p in found if p.name == "no_flow_arrest"]
    assert len(arrests) == 20
    assert [p.index for p in arrests] == list(range(20))
    assert [p.start_s for p in arrests] == pytest.approx([1002 + 400 * k for k in range(20)], abs=3)


def test_coming_off_cold_is_off_and_is_asked_about() -> None:
    flow = [(0, 0), (300, 0), (360, 4.4), (4000, 4.4), (4100, 0), (5000, 0)]
    pressure = [(0, 75), (300, 75), (330, 60), (4100, 70), (5000, 70)]
    bypass = next(p for p in phases.propose(pump_case(flow, pressure, core=31.0)) if p.name == "bypass")
    assert bypass.end_s == pytest.approx(4100, abs=10)
    assert any("cold for coming off" in text for text in bypass.alternatives)


def test_an_arrest_that_is_not_cold_asks_what_it_was() -> None:
    flow = [
        (0, 0),
        (300, 0),
        (360, 4.4),
        (2000, 4.4),
        (2002, 0),
        (2300, 0),
        (2310, 4.4),
        (4000, 4.4),
        (4100, 0),
        (5000, 0),
    ]
    pressure = [
        (0, 75),
        (300, 75),
        (330, 60),
        (2001, 60),
        (2030, 12),
        (2300, 10),
        (2330, 60),
        (4100, 70),
        (5000, 70),
    ]
    arrest = next(p for p in phases.propose(pump_case(flow, pressure)) if p.name == "no_flow_arrest")
    assert any("warmer than 28" in text for text in arrest.alternatives)


# -- what people set, and sums ---------------------------------------------------------------------


def edit(name: str, start: float, end: float, index: int = 0) -> tuple[str, dict[str, object]]:
    return "mara", {"name": name, "start_s": start, "end_s": end, "index": index}


def test_a_person_s_time_replaces_the_proposal_and_keeps_it_in_sight() -> None:
    proposals = phases.propose(demo_view())
    found = phases.overlay(
        proposals, [edit("no_flow_arrest", 7862.0, 8975.0, 1), edit("no_flow_arrest", 7858.0, 8970.0)]
    )
    first = next(p for p in found if p.name == "no_flow_arrest" and p.index == 0)
    assert (first.start_s, first.end_s, first.confirmed_by, first.source) == (
        7858.0,
        8970.0,
        "mara",
        "person",
    )
    assert any("proposed: 131:00 (" in text for text in first.start.alternatives)


def test_the_clamp_comes_from_a_person_and_holds_the_arrests_in_it() -> None:
    found = phases.overlay(phases.propose(demo_view()), [edit("clamp", minutes("128:00"), minutes("208:00"))])
    clamp = next(p for p in found if p.name == "clamp")
    assert (clamp.parent, clamp.confirmed_by) == ("bypass", "mara")
    assert {p.parent for p in found if p.name == "lower_body_arrest"} == {"clamp"}
    assert phases.durations(found)["clamp"].total_s == 80 * 60


def test_a_phase_that_a_person_took_away_is_gone() -> None:
    proposals = phases.propose(demo_view())
    found = phases.overlay(proposals, [("mara", {"name": "cooling", "index": 0, "removed": True})])
    assert "cooling" not in [p.name for p in found]


def test_confirmed_times_give_exact_sums() -> None:
    truth = {"bypass": (3600.0, 18420.0), "no_flow_arrest": (7860.0, 8970.0)}
    found = phases.overlay([], [edit(name, *times) for name, times in truth.items()])
    sums = phases.durations(found)
    assert sums["bypass"].total_s == 14820
    assert sums["bypass_net_of_no_flow"].total_s == 14820 - 1110
    assert sums["bypass"].unc_s == 0


def test_one_clock_s_offset_does_not_add_to_a_length_and_two_clocks_do() -> None:
    start = Boundary(100.0, "", channel="pump_flow", source="pump", sampling_sd_s=0.5, clock_sd_s=10.0)
    end = Boundary(400.0, "", channel="pump_flow", source="pump", sampling_sd_s=0.5, clock_sd_s=10.0)
    elsewhere = replace(end, source="monitor", clock_sd_s=2.0)
    same = phases.durations([Phase("bypass", start, end)])["bypass"].unc_s
    apart = phases.durations([Phase("bypass", start, elsewhere)])["bypass"].unc_s
    # Root of the sum of squares, times 1.96 for a 95 % interval.
    assert same == pytest.approx(1.96 * np.sqrt(0.5))
    assert apart == pytest.approx(1.96 * np.sqrt(0.5 + 100 + 4))


def test_a_step_of_the_clock_between_them_adds_its_error_to_the_length_of_one_source_too() -> None:
    start = Boundary(100.0, "", channel="pump_flow", source="pump", sampling_sd_s=0.5, clock_sd_s=10.0)
    end = replace(start, time_s=400.0, clock_sd_s=2.0, clock_piece=(1, 0))
    length = phases.durations([Phase("bypass", start, end)])["bypass"].unc_s
    assert length == pytest.approx(1.96 * np.sqrt(0.5 + 100 + 4))
    assert phases.length_sd(start, replace(end, clock_piece=(0, 0))) == pytest.approx(np.sqrt(0.5))


def test_a_phase_across_a_step_of_the_recorded_clock_takes_each_end_s_own_piece(demo_case: Case) -> None:
    # true_clock_maps: the pump was set back by 30 s at 150:00, half a second of doubt on either side.
    found = phases.phases(demo_case)
    bypass = next(phase for phase in found if phase.name == "bypass")
    first = next(phase for phase in found if phase.name == "no_flow_arrest")
    assert (bypass.start.clock_piece, bypass.end.clock_piece) == ((0, 0), (1, 0))
    assert first.start.clock_piece == first.end.clock_piece == (0, 0)
    for phase in (bypass, first):
        sampling = phase.start.sampling_sd_s**2 + phase.end.sampling_sd_s**2
        clocks = phase.start.clock_sd_s**2 + phase.end.clock_sd_s**2
        apart = sampling + (clocks if phase is bypass else 0.0)
        assert phases.length_sd(phase.start, phase.end) == pytest.approx(np.sqrt(apart))
    assert bypass.start.clock_sd_s > 0
