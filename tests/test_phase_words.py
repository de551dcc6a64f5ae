"""Phases and rules where no pump flow is recorded: what words and pressures say, and what then stays unknown.

Times: the invented case's table of true phases (J6.4); limits where no flow dates an arrest: ± 30 s (J5.1).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate import phases
from afterclamp.annotate.finds import Finds, find_in
from afterclamp.annotate.inconsistencies import inconsistencies
from afterclamp.annotate.phase_around import ends_of_record
from afterclamp.annotate.phase_model import Phase
from afterclamp.annotate.phase_words import NO_FLOW
from afterclamp.annotate.said import Said
from afterclamp.annotate.view import Facts, View
from trend_case import PUMP, demo_view, minutes

ON, OFF = 3600.0, 18_420.0
ARRESTS = [(minutes("131:00"), minutes("149:30")), (minutes("161:00"), minutes("195:00"))]
WORDS = (
    ("bypass_on", ON), ("circulation_off", ARRESTS[0][0]), ("circulation_on", ARRESTS[0][1]),
    ("circulation_off", ARRESTS[1][0]), ("head_on", minutes("181:30")), ("full_flow", ARRESTS[1][1]),
    ("bypass_off", OFF),
)  # fmt: skip
GATED = {"E01", "E03", "E04", "E28", "E29", "E30", "E31"}


def said(kind: str, t: float, sd: float = 2.0, source: str = "captions") -> Said:
    return Said(kind, t, sd, kind.replace("_", " "), source, written_sd_s=0.0)


def lines(*kinds: str) -> list[Said]:
    return [said(kind, t) for kind, t in WORDS if not kinds or kind in kinds]


def without(view: View, *names: str) -> View:
    def kept(group: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        return {name: values for name, values in group.items() if name not in names}

    return replace(
        view, values=kept(dict(view.values)), pulse=kept(dict(view.pulse)), masked=kept(dict(view.masked)),
        arterial=tuple(name for name in view.arterial if name not in names),
    )  # fmt: skip


@pytest.fixture(scope="module")
def pumpless() -> View:
    return without(demo_view(seed=4), "pump_flow")


def of(found: list[Phase], name: str) -> list[Phase]:
    return [one for one in found if one.name == name]


def looked(view: View, words: list[Said]) -> Finds:
    return find_in(view.with_phases(phases.propose(view, words)))


# -- bypass ----------------------------------------------------------------------------------------


def test_bypass_is_what_was_said_with_the_doubt_of_the_words(pumpless: View) -> None:
    found = phases.propose(pumpless, lines())
    (bypass,) = of(found, "bypass")
    assert (bypass.start_s, bypass.end_s) == (ON, OFF)
    for edge in (bypass.start, bypass.end):
        assert NO_FLOW in edge.rule
        assert 1.96 * 2.0 <= edge.unc_s <= 10.0
    assert [one.end_s for one in of(found, "pre")] == [ON]
    assert [one.start_s for one in of(found, "post")] == [OFF]


def test_other_sources_stand_beside_the_surest(pumpless: View) -> None:
    found = phases.propose(pumpless, [*lines(), said("bypass_on", ON - 40, 20.0, "log")])
    (bypass,) = of(found, "bypass")
    assert bypass.start_s == ON
    assert any("(log)" in text for text in bypass.start.alternatives)


def test_low_pressures_on_bypass_are_not_hypotension_off_it(pumpless: View) -> None:
    found = looked(pumpless, lines())
    # J6.5: 52:50 to 55:20 before bypass and 319:00 after it.
    assert [round(one.start_s / 60) for one in found.of("E01")] == [53, 319]
    assert not found.of("E02")
    assert not [one for one in found.of("E29", "E30") if ON < one.start_s < OFF]
    assert not any(text.startswith(("E01", "E29", "E30")) for text in found.not_looked_for)


def test_of_one_end_nothing_is_known_beyond_what_was_said(pumpless: View) -> None:
    (begun,) = of(phases.propose(pumpless, lines("bypass_on")), "bypass")
    assert begun.start_s == ON
    assert not begun.end.recorded
    assert begun.end_s == pytest.approx(ARRESTS[1][1], abs=30), (
        "the last moment that is known to be on bypass"
    )
    view = pumpless.with_phases(phases.propose(pumpless, lines("bypass_on")))
    unknown = view.flow_unknown
    assert [stop for _, stop in unknown] == [view.n]
    assert not view.off_bypass[unknown[0][0] :].any()
    (ended,) = of(phases.propose(pumpless, lines("bypass_off")), "bypass")
    assert ended.end_s == OFF
    assert not ended.start.recorded


def test_a_view_up_to_a_time_is_still_on_bypass(pumpless: View) -> None:
    (bypass,) = of(phases.propose(pumpless, lines("bypass_on"), open_until=5000.0), "bypass")
    assert (bypass.start_s, bypass.end_s, bypass.end.recorded) == (ON, 5000.0, False)


def test_twenty_times_on_bypass_are_twenty() -> None:
    n = 20 * 2000
    view = View(0.0, {"femoral": np.full(n, 70.0)}, arterial=("femoral",), believed="femoral")
    words = [
        said(kind, 2000.0 * k + at)
        for k in range(20)
        for kind, at in (("bypass_on", 200), ("bypass_off", 1300))
    ]
    found = phases.propose(view, words)
    assert len(of(found, "bypass")) == 20
    assert len(of(found, "return_on")) == 19


def test_what_was_said_of_bypass_counts_before_a_pump_record_that_begins_on_it() -> None:
    view = demo_view(seed=4)
    flow = np.where(np.arange(view.n) < 4200, np.nan, view.values["pump_flow"])
    late = replace(view, values={**view.values, "pump_flow": flow})
    (bypass,) = of(phases.propose(late, lines()), "bypass")
    assert bypass.start_s == ON
    assert bypass.start.recorded
    assert any("begins on bypass at 70:00" in text for text in bypass.start.alternatives)
    assert not of(phases.propose(late), "bypass")[0].start.recorded


def test_what_was_said_counts_behind_a_pump_record_that_ends_on_bypass() -> None:
    view = demo_view(seed=4)
    flow = np.where(np.arange(view.n) > 9000, np.nan, view.values["pump_flow"])
    found = phases.propose(replace(view, values={**view.values, "pump_flow": flow}), lines())
    (bypass,) = of(found, "bypass")
    assert bypass.end_s == OFF
    assert [one.start_s for one in of(found, "lower_body_arrest")] == pytest.approx(
        [start for start, _ in ARRESTS], abs=5
    )


# -- arrests ---------------------------------------------------------------------------------------


def test_arrests_are_what_was_said_with_their_parts(pumpless: View) -> None:
    found = phases.propose(pumpless, lines())
    assert [(one.start_s, one.end_s) for one in of(found, "lower_body_arrest")] == ARRESTS
    (head,) = of(found, "selective_cerebral")
    assert (head.start_s, head.end_s) == (minutes("181:30"), ARRESTS[1][1])
    parts = of(found, "no_flow_arrest") + of(found, "selective_cerebral")
    assert sum(one.duration_s for one in parts) == sum(end - start for start, end in ARRESTS)
    assert all(NO_FLOW in one.start.rule and NO_FLOW in one.end.rule for one in parts)


def test_pressures_alone_date_a_cold_arrest_within_30_s(pumpless: View) -> None:
    found = of(phases.propose(pumpless), "lower_body_arrest")
    assert len(found) == 2
    for one, (start, end) in zip(found, ARRESTS, strict=True):
        assert one.start_s == pytest.approx(start, abs=30)
        assert one.end_s == pytest.approx(end, abs=30)
        assert one.start.unc_s == pytest.approx(30, abs=1)
        assert "no pump flow" in one.start.rule


def test_a_line_known_to_the_minute_only_stands_beside_what_the_pressures_say(pumpless: View) -> None:
    words = [replace(one, t=one.t - 60, sd_s=40.0) for one in lines("circulation_off", "circulation_on")]
    found = of(phases.propose(pumpless, words), "lower_body_arrest")
    assert found[0].start_s == pytest.approx(ARRESTS[0][0], abs=30)
    assert found[0].start.unc_s == pytest.approx(30, abs=1)
    assert any("circulation off" in text for text in found[0].start.alternatives)


def test_the_record_ends_where_its_surest_channel_does() -> None:
    # Temperatures hold their last value for 10 s; an oximeter's clock is known to ± 8 s.
    def ending(at: int) -> np.ndarray:
        return np.where(np.arange(2010) < at, 60.0, np.nan)

    view = View(
        0.0,
        {"femoral": ending(2000), "bladder_temperature": ending(2010), "left_cerebral_saturation": ending(2006)},
        arterial=("femoral",), believed="femoral",
        source={"femoral": "monitor", "bladder_temperature": "monitor", "left_cerebral_saturation": "oximeter"},
        clock_sd={"oximeter": 4.0}, interval={"bladder_temperature": 10.0, "left_cerebral_saturation": 5.0},
    )  # fmt: skip
    ends = ends_of_record(view)
    assert ends is not None
    assert ends[1].time_s == 2000
    longer = replace(
        view, values={**view.values, "left_cerebral_saturation": np.full(2010, 60.0), "femoral": ending(900)}
    )
    ends = ends_of_record(longer)
    assert ends is not None
    assert ends[1].time_s == 2010, "what was recorded much longer is the record"


def test_without_a_femoral_line_the_arrest_lasts_until_the_circulation_was_said_to_be_back(
    pumpless: View,
) -> None:
    # J6.4: the head is perfused from 181:30 on, the whole body from 195:00; the arm's pressure comes up with the head.
    view = without(replace(pumpless, believed="right_radial"), "femoral")
    found = phases.propose(view, lines("circulation_off", "full_flow"))
    arrest = of(found, "lower_body_arrest")[-1]
    assert (arrest.start_s, arrest.end_s) == ARRESTS[1]
    (head,) = of(found, "selective_cerebral")
    assert head.start_s == pytest.approx(minutes("181:30"), abs=60)
    assert "no femoral line, assumed" in head.start.rule
    asked = inconsistencies(found, lines("circulation_off", "full_flow"), view)
    assert 10 not in {one.number for one in asked}, (
        "the line that gives the arrest's end is not held against a part"
    )


def test_no_clock_is_judged_by_what_pressures_alone_date(pumpless: View) -> None:
    class Lineless:
        horizon = None
        notes = ()

    assert phases.proposals(Lineless(), pumpless, words=False) == []  # type: ignore[arg-type]
    assert phases.proposals(Lineless(), pumpless)  # type: ignore[arg-type]


def test_pressures_of_a_warm_body_alone_are_no_arrest(pumpless: View) -> None:
    cores = ("nasopharyngeal_temperature", "bladder_temperature")
    warm = replace(
        pumpless, values={**pumpless.values, **{name: np.full(pumpless.n, 36.0) for name in cores}}
    )
    assert not of(phases.propose(warm), "lower_body_arrest")
    words = lines("circulation_off", "circulation_on")
    assert of(phases.propose(warm, words), "lower_body_arrest"), "with words it is one"


def test_one_line_that_is_still_up_is_no_arrest(pumpless: View) -> None:
    up = replace(pumpless, values={**pumpless.values, "left_radial": np.full(pumpless.n, 55.0)})
    assert not of(phases.propose(up), "no_flow_arrest")


def test_said_arrests_count_without_any_pressure() -> None:
    view = View(0.0, {"nasopharyngeal_temperature": np.full(15_000, 18.0)})
    found = of(phases.propose(view, lines()), "lower_body_arrest")
    assert [(one.start_s, one.end_s) for one in found] == ARRESTS


# -- neither flow nor words ------------------------------------------------------------------------


def test_where_nothing_tells_rules_of_either_say_that_they_were_not_asked(pumpless: View) -> None:
    found = looked(pumpless, [])
    for code in (*sorted(GATED), "E14", "E15"):
        assert f"{code} not looked for: whether on or off bypass is not known" in found.not_looked_for
        assert not found.of(code)
    assert not found.of("E02"), "a planned arrest is not told apart"


@pytest.mark.parametrize(
    ("facts", "channel"),
    [
        (Facts(inflow_site="axillary"), ""), (Facts(planned_flow=4.4), ""), (Facts(bypass_spoken_of=True), ""),
        (Facts(), "reservoir_volume"), (Facts(), "outlet_temperature"),
    ],
)  # fmt: skip
def test_whatever_speaks_of_a_pump_leaves_it_unknown(facts: Facts, channel: str) -> None:
    view = replace(without(demo_view(seed=4, until_s=3500), *(n for n in PUMP if n != channel)), facts=facts)
    found = find_in(view)
    assert not found.of("E01")
    assert "E01 not looked for: whether on or off bypass is not known" in found.not_looked_for


def test_a_record_that_speaks_of_no_pump_is_off_bypass() -> None:
    view = replace(without(demo_view(seed=4, until_s=3500), *PUMP), facts=Facts())
    found = find_in(view)
    assert found.of("E01")  # J6.5: 52:50
    assert not any("on or off bypass" in text for text in found.not_looked_for)


def test_a_person_s_bypass_is_enough(pumpless: View) -> None:
    edits = [("anna", {"name": "bypass", "start_s": ON, "end_s": OFF, "index": 0})]
    view = pumpless.with_phases(phases.overlay(phases.propose(pumpless), edits))
    assert view.off_bypass[:3600].all()
    assert not view.off_bypass[3600:18_420].any()


# -- arrests by the flow with a line missing -------------------------------------------------------


@pytest.mark.parametrize("lines_gone", [("right_radial",), ("femoral",), ("femoral", "right_radial")])
def test_the_lower_body_is_arrested_as_long_as_the_flow_stays_in_the_band(
    lines_gone: tuple[str, ...],
) -> None:
    view = replace(demo_view(seed=4, believe="left_radial"))
    found = phases.propose(without(view, *lines_gone))
    arrest = of(found, "lower_body_arrest")[-1]
    assert (arrest.start_s, arrest.end_s) == pytest.approx(ARRESTS[1], abs=5)  # J6.4: ± 5 s
    (head,) = of(found, "selective_cerebral")
    assert head.start_s == pytest.approx(minutes("181:30"), abs=5)
    assert "above the selective band" in arrest.end.rule
    mark = "assumed whole body" if "femoral" in lines_gone else "selective perfusion not seen, assumed"
    assert mark in head.start.rule
    assert any(mark in text for text in arrest.alternatives)
    assert any("181:30" in text or "181:29" in text for text in arrest.end.alternatives), (
        arrest.end.alternatives
    )
    if "femoral" in lines_gone:
        assert mark in arrest.start.rule
        assert mark in arrest.end.rule


def test_without_a_femoral_line_a_low_flow_that_touches_no_arrest_is_none() -> None:
    # Coming off by 1 L/min for three minutes is weaning.
    t = np.arange(4000)
    flow = np.where((t >= 300) & (t < 3000), 4.4, np.where((t >= 3000) & (t < 3180), 1.0, 0.0))
    pressure = np.where(t < 300, 80.0, 60.0)
    view = View(
        0.0,
        {"pump_flow": flow, "right_radial": pressure},
        arterial=("right_radial",),
        believed="right_radial",
    )
    found = phases.propose(view)
    assert of(found, "bypass")
    assert not of(found, "lower_body_arrest")


def test_a_flow_that_comes_back_slowly_to_the_whole_body_does_not_claim_to_be_above_the_band() -> None:
    # 0.8 L/min for two minutes behind the stop, with the femoral pressure up: over at the stop's end.
    t = np.arange(6000)
    flow = np.where((t < 300) | ((t >= 2000) & (t < 3000)), 0.0, np.where((t >= 3000) & (t < 3120), 0.8, 4.4))
    pressure = np.where((t >= 2010) & (t < 3005), 8.0, np.where(t < 300, 80.0, 60.0))
    view = View(
        0.0,
        {"pump_flow": flow, "femoral": pressure, "right_radial": pressure, "bladder_temperature": np.full(6000, 20.0)},
        arterial=("femoral", "right_radial"), believed="femoral",
    )  # fmt: skip
    (arrest,) = of(phases.propose(view), "lower_body_arrest")
    assert arrest.end_s == pytest.approx(3000, abs=5)
    assert "not above the selective band" in arrest.end.rule
