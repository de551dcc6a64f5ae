"""Phases where the pump's record begins or ends on bypass, and while the future is hidden.

Times and limits as in the tests of the phases: the invented case's table of true phases.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.view import View
from afterclamp.io import open_case
from recordings import linked_copy
from test_phases import pump_case
from trend_case import PUMP, demo_view, minutes

# -- a pump's record that begins or ends on bypass -------------------------------------------------


def pump_lost(view: View, lost: np.ndarray) -> View:
    """The same case with nothing of the pump's recorder in these seconds."""
    return replace(
        view,
        values={name: np.where(lost, np.nan, x) if name in PUMP else x for name, x in view.values.items()},
    )


def begins_at(start: float, seed: int | None = 5) -> View:
    view = demo_view(seed=seed)
    return pump_lost(view, np.arange(view.n) < start)


def ends_at(stop: float, seed: int | None = 5) -> View:
    view = demo_view(seed=seed)
    return pump_lost(view, np.arange(view.n) >= stop)


@pytest.mark.parametrize("first", [4000, 13_000, 17_900])
def test_a_pump_s_record_that_begins_on_bypass_says_that_its_start_is_not_recorded(first: int) -> None:
    # Truth: on from 60:00 to 307:00, so that the flow is 4.4 to 4.6 L/min at each of these seconds.
    found = phases.propose(begins_at(first))
    bypass = next(p for p in found if p.name == "bypass")
    assert (bypass.start_s, bypass.start.recorded, bypass.end.recorded) == (first, False, True)
    assert "record begins on bypass" in bypass.start.rule
    assert any("earlier" in text for text in bypass.start.alternatives)
    assert bypass.to_json()["start"]["recorded"] is False
    assert bypass.end_s == pytest.approx(minutes("307:00"), abs=10)
    assert [p.name for p in found if p.name in ("pre", "going_on")] == []
    length = phases.durations(found)["bypass"]
    assert length.at_least
    assert length.method.startswith("at least")
    assert length.to_json()["at_least"] is True


def test_what_was_under_way_when_the_pump_s_record_begins_is_at_least_that_long() -> None:
    # Truth: warming from 197:45; the record begins at 216:40. Weaning from 300:00 is recorded whole.
    sums = phases.durations(phases.propose(begins_at(13_000)))
    assert sums["warming"].at_least
    assert not sums["weaning"].at_least
    in_weaning = phases.durations(phases.propose(begins_at(minutes("302:00"))))
    assert in_weaning["weaning"].at_least


@pytest.mark.parametrize(("first", "name"), [(9700, "no_flow_arrest"), (10_925, "selective_cerebral")])
def test_a_pump_s_record_that_begins_in_an_arrest_begins_on_bypass(first: int, name: str) -> None:
    # Truth: no flow at all from 161:00 to 181:30, then the head alone to 195:00.
    found = phases.propose(begins_at(first))
    assert "pre" not in [p.name for p in found]
    for one in ("bypass", "lower_body_arrest", name):
        phase = next(p for p in found if p.name == one)
        assert (phase.start_s, phase.start.recorded) == (first, False)
    assert next(p for p in found if p.name == "lower_body_arrest").end_s == pytest.approx(11_700, abs=5)


def test_a_pump_that_runs_beside_a_beating_heart_as_its_record_begins_is_not_on_bypass_for_it() -> None:
    # Priming in a closed loop: full pulse beside it, and going on only later.
    flow = [(0, 2.0), (600, 2.0), (605, 0), (1500, 0), (1560, 4.4), (4000, 4.4), (4100, 0), (5000, 0)]
    pressure = [(0, 75), (1500, 75), (1530, 55), (4100, 70), (5000, 70)]
    found = phases.propose(pump_case(flow, pressure))
    bypass = next(p for p in found if p.name == "bypass")
    assert bypass.start_s == pytest.approx(1500, abs=10)
    assert bypass.start.recorded


def test_a_record_at_rest_without_pressure_and_warm_is_not_taken_for_an_arrest_on_bypass() -> None:
    # Pressure under 20 before bypass is a stopped heart, not a stopped pump.
    flow = [(0, 0), (600, 0), (660, 4.4), (4000, 4.4), (4100, 0), (5000, 0)]
    pressure = [(0, 12), (600, 12), (660, 55), (4100, 70), (5000, 70)]
    bypass = next(p for p in phases.propose(pump_case(flow, pressure)) if p.name == "bypass")
    assert bypass.start_s == pytest.approx(600, abs=10)


def test_a_pump_s_record_that_ends_on_bypass_says_that_its_end_is_not_recorded() -> None:
    found = phases.propose(ends_at(13_000))
    bypass = next(p for p in found if p.name == "bypass")
    assert (bypass.end_s, bypass.end.recorded, bypass.start.recorded) == (13_000, False, True)
    assert "record ends on bypass" in bypass.end.rule
    assert [p.name for p in found if p.name in ("post", "weaning")] == []
    sums = phases.durations(found)
    assert {name for name, one in sums.items() if one.at_least} == {
        "bypass",
        "bypass_net_of_no_flow",
        "warming",
    }


def test_a_pump_s_record_that_ends_in_an_arrest_does_not_end_it_while_the_pressures_stay_down() -> None:
    # Truth: the second arrest from 161:00; the right radial is perfused again from 181:30.
    found = phases.propose(ends_at(9700))
    arrest = next(p for p in found if p.name == "no_flow_arrest" and p.index == 1)
    assert arrest.end_s == pytest.approx(minutes("181:30"), abs=30)
    assert not arrest.end.recorded
    assert phases.durations(found)["no_flow_arrest"].at_least
    assert "post" not in [p.name for p in found]


def test_a_pump_s_record_that_ends_in_a_stop_on_full_flow_does_not_say_that_bypass_was_over() -> None:
    # Truth: the unplanned stop from 283:00 to 283:12.
    found = phases.propose(ends_at(16_985))
    bypass = next(p for p in found if p.name == "bypass")
    assert not bypass.end.recorded
    assert any("not yet known" in text for text in bypass.end.alternatives)
    assert [p.name for p in found if p.name in ("post", "weaning")] == []


def test_a_pump_switched_off_soon_after_coming_off_ended_bypass_if_the_heart_went_on() -> None:
    # Truth: off at 307:00; the recorder ends 100 s later, the monitor goes on with a pulse of 50.
    found = phases.propose(ends_at(minutes("308:40")))
    bypass = next(p for p in found if p.name == "bypass")
    assert bypass.end_s == pytest.approx(minutes("307:00"), abs=10)
    assert bypass.end.recorded
    assert [p.name for p in found if p.name in ("post", "weaning")] == ["weaning", "post"]


# -- the future hidden -----------------------------------------------------------------------------


def up_to(view: View, stop: int) -> View:
    """The view as it was at a second: nothing of what came later."""
    cut = {
        group: {name: array[:stop] for name, array in getattr(view, group).items()}
        for group in ("values", "pulse", "masked")
    }
    return replace(view, **cut)


@pytest.fixture(scope="module")
def later_known() -> View:
    return demo_view(seed=5)


# Truth: stops at 131:00, 161:00, 283:00 (12 s) and 307:00 (the end), a gap from 172:00 to 173:10.
AROUND = [
    *range(7855, 8000, 3), *range(8965, 8990, 4), *range(9655, 9800, 5), *range(10_315, 10_396, 3),
    *range(10_885, 10_960, 5), *range(16_978, 17_012, 1), *range(18_400, 18_720, 13),
]  # fmt: skip


@pytest.mark.parametrize("horizon", AROUND)
def test_nothing_that_is_not_over_is_called_over(later_known: View, horizon: int) -> None:
    found = phases.propose(up_to(later_known, horizon))
    names = [p.name for p in found]
    off = 18_420  # 307:00
    if horizon < off + 250:
        assert "post" not in names
        assert "weaning" not in names
        bypass = next(p for p in found if p.name == "bypass")
        assert (bypass.end_s, bypass.end.recorded) == (horizon, False)
    second = [p for p in found if p.name == "no_flow_arrest" and p.start_s > 9600]
    if 9660 + 125 <= horizon <= 10_890:
        (arrest,) = second
        assert arrest.start_s == pytest.approx(9660, abs=5)
        assert (arrest.end_s, arrest.end.recorded) == (horizon, False)
        assert "ends without flow" in arrest.end.rule


def test_a_stop_that_lasts_says_that_nobody_knows_yet_what_it_is(later_known: View) -> None:
    for horizon in (16_985, 18_500, 18_650):
        bypass = next(p for p in phases.propose(up_to(later_known, horizon)) if p.name == "bypass")
        assert any("not yet known whether it is the end" in text for text in bypass.end.alternatives)


def test_bypass_is_over_5_minutes_after_the_flow_and_from_then_on_it_was_over_at_once(
    later_known: View,
) -> None:
    # Truth: 307:00; the 5 min are the published rule of this project for coming off.
    found = phases.propose(up_to(later_known, 18_420 + 310))
    bypass = next(p for p in found if p.name == "bypass")
    assert bypass.end_s == pytest.approx(18_420, abs=10)
    assert [p.name for p in found if p.name in ("weaning", "post")] == ["weaning", "post"]


def test_a_person_s_phase_is_known_up_to_the_horizon_and_not_before_it_began(
    demo_folder: Path, tmp_path: Path
) -> None:
    # The clamp from 128:00 to 208:00 (truth of the case), as a person set it with the whole case before them.
    linked_copy(demo_folder, tmp_path / "case")
    with open_case(tmp_path / "case") as case:
        case.log.append("mara", "phase", {"name": "clamp", "start_s": 7680.0, "end_s": 12_480.0, "index": 0})

        def clamp(horizon: float) -> list[tuple[float, float]]:
            seen = case.until(horizon)
            # Nothing of the traces is asked for: only what the log says.
            return [
                (p.start_s, p.end_s)
                for p in phases.phases(seen, View(start=0.0, values={"pump_flow": np.full(2, np.nan)}))
                if p.name == "clamp" and p.confirmed_by
            ]

        assert clamp(7000.0) == []
        assert clamp(7680.0) == []
        assert clamp(9000.0) == [(7680.0, 9000.0)]
        assert clamp(13_000.0) == [(7680.0, 12_480.0)]
