"""Unexplained changes: several lines that move together and that nothing accounts for; what accounts for them."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.rules import Find
from afterclamp.annotate.unexplained import Change, Unexplained, explained_by, unexplained
from afterclamp.annotate.view import View
from afterclamp.replay.panes.loose_ends import UNEXPLAINED, sections
from afterclamp.replay.unexplained_words import change_line, denominator, unexplained_text
from trend_case import trend_view

# What is expected comes from how each case is made, not from a run of it.

LENGTH_S = 3600
AT_S = 1500
STEADY = {
    "femoral": 62.0, "cvp": 6.0, "pump_flow": 4.4, "line_pressure": 190.0, "reservoir_volume": 1200.0,
    "outlet_temperature": 36.0, "left_cerebral_saturation": 66.0, "right_cerebral_saturation": 65.0,
    "venous_saturation": 76.0,
}  # fmt: skip


def made(moves: dict[str, float], at_s: float = AT_S, ramp_s: float = 30, length_s: int = LENGTH_S) -> View:
    """Steady lines, some of which move by so much within `ramp_s` and stay there; noise as the demonstration's."""
    channels = {
        name: [(0.0, level), (at_s, level), (at_s + ramp_s, level + moves.get(name, 0.0)),
               (length_s, level + moves.get(name, 0.0))]
        for name, level in STEADY.items()
    }  # fmt: skip
    view = trend_view(length_s, channels, believe="femoral", arterial=("femoral",))
    rng = np.random.default_rng(3)
    sd = {"femoral": 0.7, "cvp": 0.7, "pump_flow": 0.02, "line_pressure": 2.0, "reservoir_volume": 15.0}
    return replace(
        view,
        values={
            name: array + rng.normal(0, sd.get(name, 0.3), length_s) for name, array in view.values.items()
        },
    )


ALL = {
    "femoral": 22.0, "cvp": -6.0, "left_cerebral_saturation": 10.0, "right_cerebral_saturation": 9.0,
    "venous_saturation": 8.0,
}  # fmt: skip


def find(code: str, start: float, end: float, *channels: str) -> Find:
    return Find(code, "a find", start, end, channels)


def test_lines_of_several_kinds_that_move_together_are_listed_with_how_much() -> None:
    [change] = unexplained(made(ALL), ()).changes
    assert change.start_s <= AT_S + 15 <= change.end_s
    assert set(change.channels) == set(ALL)
    by = {one.channel: one.by for one in change.moves}
    for name, moved in ALL.items():
        assert by[name] == pytest.approx(moved, abs=1.0), name


def test_flow_and_line_pressure_that_stay_are_not_named() -> None:
    [change] = unexplained(made(ALL), ()).changes
    assert not {"pump_flow", "line_pressure", "reservoir_volume"} & set(change.channels)


def test_one_line_alone_is_no_change_of_several() -> None:
    assert unexplained(made({"femoral": 30.0}), ()).changes == ()


def test_two_lines_of_one_kind_are_not_two_kinds() -> None:
    both = {"left_cerebral_saturation": 12.0, "right_cerebral_saturation": 12.0}
    assert unexplained(made(both), ()).changes == ()


def test_two_kinds_far_apart_in_time_are_not_one_change() -> None:
    view = made({"femoral": 25.0})
    other = made({"venous_saturation": 12.0}, at_s=AT_S + 600)
    values = {**view.values, "venous_saturation": other.values["venous_saturation"]}
    assert unexplained(replace(view, values=values), ()).changes == ()


def test_a_slow_drift_is_no_change() -> None:
    assert unexplained(made(ALL, at_s=300, ramp_s=3000), ()).changes == ()


def test_masked_and_missing_seconds_never_count() -> None:
    view = made(ALL)
    gone = {name: array.copy() for name, array in view.values.items()}
    for name in ALL:
        gone[name][AT_S - 10 :] = np.nan  # as a masked stretch comes into a view
    assert unexplained(replace(view, values=gone), ()).changes == ()


def test_a_find_on_it_accounts_for_it() -> None:
    assert unexplained(made(ALL), [find("E03", AT_S - 10, AT_S + 60, "femoral", "cvp")]).changes == ()


def test_a_long_find_accounts_for_other_lines_at_its_ends_alone() -> None:
    long = find("E22", 300, 3300, "femoral")
    assert unexplained(made({"femoral": 22.0, "cvp": -6.0}), [long]).changes == ()
    [change] = unexplained(made(ALL), [long]).changes
    assert set(change.channels) == set(ALL)  # what its own line does meanwhile is told with the others


def test_an_artefact_accounts_for_its_own_line_alone() -> None:
    [change] = unexplained(made(ALL), [find("A4", AT_S - 200, AT_S + 200, "femoral")]).changes
    assert "femoral" not in change.channels


def test_a_find_elsewhere_accounts_for_nothing() -> None:
    assert len(unexplained(made(ALL), [find("E03", 200, 260, "femoral")]).changes) == 1


def test_a_phase_boundary_accounts_for_what_moves_there() -> None:
    def cooling(start_s: float) -> Phase:
        return Phase("cooling", Boundary(start_s, "by hand"), Boundary(3500.0, "by hand"))

    assert unexplained(made(ALL).with_phases([cooling(AT_S)]), ()).changes == ()
    assert len(unexplained(made(ALL).with_phases([cooling(AT_S - 600)]), ()).changes) == 1


@pytest.mark.parametrize(("ended_s", "listed"), [(AT_S - 150, False), (AT_S - 400, True)])
def test_after_an_arrest_everything_moves_for_some_minutes(ended_s: float, listed: bool) -> None:
    arrest = Phase("no_flow_arrest", Boundary(600.0, "by hand"), Boundary(ended_s, "by hand"))
    assert bool(unexplained(made(ALL).with_phases([arrest]), ()).changes) is listed


@pytest.mark.parametrize(
    ("said_s", "listed"),
    [(AT_S - 120, False), (AT_S + 20, False), (AT_S - 900, True), (AT_S + 600, True)],
)
def test_words_shortly_before_or_at_it_account_for_it(said_s: float, listed: bool) -> None:
    assert bool(unexplained(made(ALL), (), [(said_s, said_s)]).changes) is listed


def test_no_hour_holds_more_than_five_and_the_largest_stay() -> None:
    length = 2 * 3600
    t = np.arange(length)
    view = made({}, length_s=length)
    values = dict(view.values)
    tops = [20.0 + 2 * n for n in range(11)]  # every 300 s, each larger than the one before
    for n, top in enumerate(tops):
        at = 400 + 300 * n
        shape = np.interp(t, (at, at + 20, at + 120, at + 140), (0, 1, 1, 0))
        values["femoral"] = values["femoral"] + top * shape
        values["venous_saturation"] = values["venous_saturation"] - top / 2 * shape
    found = unexplained(replace(view, values=values), ())
    middles = np.array([one.at_s for one in found.changes])
    # By hand: any 3,600 s that begin at one of them.
    assert max(int(((middles >= at) & (middles < at + 3600)).sum()) for at in middles) == 5
    assert found.left_out > 0
    every = unexplained(replace(view, values=values), (), numbers={"an_hour": 1000})
    assert len(every.changes) == len(found.changes) + found.left_out


def test_a_line_that_swings_all_the_time_needs_more() -> None:
    t = np.arange(LENGTH_S)
    view = made({})
    swing = 20.0 * np.sign(
        np.sin(2 * np.pi * t / 180)
    )  # 40 mmHg up and down every 90 s, as a matter of course
    values = {**view.values, "femoral": 62 + swing, "reservoir_volume": 1200 + 20 * swing}
    assert unexplained(replace(view, values=values), ()).changes == ()
    assert unexplained(replace(view, values=values), (), numbers={"usual": 0.0}).changes


def test_where_nothing_is_recorded_nothing_is_listed() -> None:
    assert unexplained(View(0.0, {}), ()) == Unexplained()
    empty = View(0.0, {"femoral": np.full(600, np.nan)}, believed="femoral", arterial=("femoral",))
    assert unexplained(empty, ()).looked_s == 0


def test_it_is_told_of_how_much_of_the_case_the_list_is() -> None:
    view = made(ALL)
    whole = unexplained(view, ())
    # A comparison needs 60 s on either side, of which a mean does with half: 45 s of either end at most are not asked.
    assert LENGTH_S - 2 * 60 <= whole.looked_s <= LENGTH_S - 2 * 30
    less = unexplained(view, [find("E03", 500, 700, "femoral")])
    # 200 s of the find and a minute beside either end, to the second that the end falls into.
    assert whole.looked_s - less.looked_s == pytest.approx(200 + 120, abs=1)
    assert "of 60.0 min" in denominator(whole)


def test_a_clock_that_nobody_set_leaves_its_time_open() -> None:
    view = replace(made(ALL), source=dict.fromkeys(STEADY, "monitor"), clock_sd={"monitor": np.inf})
    [change] = unexplained(view, ()).changes
    assert np.isinf(change.unc_s)
    assert change.to_json()["unc_s"] is None
    assert "± unknown" in change_line(change, {}, str)


def test_a_line_tells_when_what_by_how_much_and_that_no_rule_has_it() -> None:
    [change] = unexplained(made({"femoral": 22.0, "cvp": -6.0}), ()).changes
    line = change_line(change, {}, lambda t: f"{t:.0f} s")
    assert re.search(r"central venous 6\.\d to −?0\.\d mmHg, by −[56]\.\d", line)
    assert re.search(r"femoral 6[12]\.\d to 8[34]\.\d mmHg, by \+2[12]\.\d", line)
    assert line.endswith("no rule covers it")


def test_the_pane_has_a_section_for_them_and_none_where_there_is_none() -> None:
    assert (UNEXPLAINED, ["a line"]) in sections(unexplained=["a line"])
    assert sections(unexplained=[]) == []


def test_a_mark_made_since_explains_it() -> None:
    change = Change(100.0, 160.0, (), 2.0)
    assert explained_by(change, [(150.0, 150.0)])
    assert not explained_by(change, [(200.0, 260.0)])


def test_in_print_the_list_says_that_a_person_decides() -> None:
    text = unexplained_text(unexplained(made({}), ()), {}, str)
    assert text.startswith("0 unexplained changes")
    assert text.endswith("what it was is for a person to say.")
