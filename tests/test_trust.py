"""Which arterial line is believed when: rules R1 to R3 of J3.3 row 28, and what a person chose over them.

Limits of R3 are those of PubMed 26599795 (10 mmHg of mean for 5 min); the lengths of the made cases are round numbers.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate import view_reading
from afterclamp.annotate.derived import Derived
from afterclamp.annotate.figures import figures
from afterclamp.annotate.finds import find
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.annotate.quality import ARTEFACT, GOOD, NOTHING
from afterclamp.annotate.series import Series
from afterclamp.annotate.site import StandIn
from afterclamp.annotate.site_choices import Piece, chosen_pieces, laid_over, sites_in
from afterclamp.annotate.trust import trust_strip
from afterclamp.annotate.trust_rules import TrustSpan, proposed_spans
from afterclamp.annotate.view import Facts, View
from afterclamp.io.case import Case, Channel
from afterclamp.io.masks import mask
from afterclamp.io.terms import Identity
from afterclamp.replay.commands import main
from click.testing import CliRunner
from recordings import case_of, recording
from test_site import SITES, line, made_view, off_bypass

FED_LEFT = Facts(inflow_site="axillary", inflow_side="left")


def gone(length: int, *holes: tuple[int, int], level: float = 80.0) -> np.ndarray:
    """A level with holes."""
    values = np.full(length, level)
    for start, stop in holes:
        values[start:stop] = np.nan
    return values


def told(spans: list[TrustSpan]) -> list[tuple[float, float, str, str]]:
    return [(one.start_s, one.end_s, one.line, one.standing) for one in spans]


# -- R1: quality -----------------------------------------------------------------------------------


def test_a_line_without_usable_seconds_is_not_believed_and_the_next_in_order_stands_in() -> None:
    view = made_view(femoral=gone(600, (200, 300)), right_radial=gone(600), left_radial=gone(600))
    spans = proposed_spans(view)
    assert told(spans) == [
        (0.0, 200.0, "femoral", "believed"),
        (200.0, 300.0, "left_radial", "stands in"),
        (300.0, 600.0, "femoral", "believed"),
    ]
    assert "(R1)" in spans[1].why
    assert "while femoral has no usable second" in spans[1].why


def test_what_quality_says_counts_as_what_is_missing_does() -> None:
    view = made_view(femoral=gone(600), left_radial=gone(600))
    usable = {"femoral": np.arange(600) >= 100}
    assert told(proposed_spans(view, usable)) == [
        (0.0, 100.0, "left_radial", "stands in"),
        (100.0, 600.0, "femoral", "believed"),
    ]


@pytest.mark.parametrize(("seconds", "spans"), [(30, 1), (31, 3)])
def test_a_short_change_is_bridged(seconds: int, spans: int) -> None:
    view = made_view(femoral=gone(600, (300, 300 + seconds)), left_radial=gone(600))
    assert len(proposed_spans(view)) == spans


def test_a_line_that_comes_and_goes_does_not_cut_the_strip_to_pieces() -> None:
    holes = [(start, start + 20) for start in range(100, 500, 40)]
    spans = proposed_spans(made_view(femoral=gone(600, *holes), left_radial=gone(600)))
    assert told(spans) == [(0.0, 600.0, "femoral", "believed")]


def test_where_no_line_is_usable_none_is_believed() -> None:
    view = made_view(femoral=gone(600, (200, 300)), left_radial=gone(600, (150, 300)))
    assert told(proposed_spans(view))[1] == (200.0, 300.0, "", "no line")


# -- R2: the side of the inflow --------------------------------------------------------------------


def test_the_line_on_the_side_of_the_inflow_comes_last_while_the_pump_runs() -> None:
    view = made_view(femoral=gone(900, (100, 800)), left_radial=gone(900), right_radial=gone(900))
    second = np.arange(900)
    flow = np.where((second >= 300) & (second < 600), 4.0, 0.0)
    fed = replace(view, facts=FED_LEFT, values={**view.values, "pump_flow": flow})
    spans = proposed_spans(fed)
    assert [one[:3] for one in told(spans)] == [
        (0.0, 100.0, "femoral"),
        (100.0, 300.0, "left_radial"),
        (300.0, 600.0, "right_radial"),
        (600.0, 800.0, "left_radial"),
        (800.0, 900.0, "femoral"),
    ]
    assert "left radial is on the side of the inflow and comes last while the pump runs (R2)" in spans[2].why
    assert "R2" not in spans[1].why
    unknown = replace(view, facts=FED_LEFT)
    assert told(proposed_spans(unknown))[1][2] == "right_radial", "nobody knows that the pump does not run"


def test_while_no_other_line_is_usable_the_one_on_that_side_is_taken_and_that_is_said() -> None:
    view = replace(made_view(femoral=gone(600, (0, 300)), left_radial=gone(600)), facts=FED_LEFT)
    [first, _] = proposed_spans(view)
    assert first.line == "left_radial"
    assert "may over-read, no other line is usable (R2)" in first.why


# -- R3: after bypass ------------------------------------------------------------------------------


def after_bypass(above: float, minutes: float, *, ended: bool = True) -> View:
    """Bypass until 600 s, and from then on for some minutes a femoral line so far above the radial one."""
    length = 600 + 3000
    radial = np.full(length, 70.0)
    femoral = np.full(length, 70.0)
    femoral[600 : 600 + int(60 * minutes)] += above
    bypass = Phase("bypass", Boundary(100.0, "flow"), Boundary(600.0, "flow", recorded=ended))
    return made_view(femoral=femoral, left_radial=radial).with_phases([bypass])


@pytest.mark.parametrize(
    ("above", "minutes", "holds"),
    [(12.0, 10.0, True), (10.5, 5.5, True), (9.0, 10.0, False), (12.0, 4.0, False)],
)
def test_a_gradient_after_bypass_gives_the_femoral_line_its_reason_for_30_min(
    above: float, minutes: float, holds: bool
) -> None:
    spans = proposed_spans(after_bypass(above, minutes))
    reasons = [one for one in spans if "R3" in one.why]
    assert [(one.start_s, one.end_s, one.line) for one in reasons] == (
        [(600.0, 2400.0, "femoral")] if holds else []
    )
    if holds:
        assert f"up to {above:.0f} mmHg less than femoral" in reasons[0].why


def test_the_half_hour_after_bypass_is_one_span_though_no_line_is_usable_in_part_of_it() -> None:
    view = after_bypass(12.0, 20.0)
    values = {name: one.copy() for name, one in view.values.items()}
    for one in values.values():
        one[1200:1290] = np.nan
    spans = proposed_spans(replace(view, values=values))
    [told] = [one for one in spans if "R3" in one.why]
    assert (told.start_s, told.end_s, told.line) == (600.0, 2400.0, "femoral")
    assert "in it no line has a usable second for 1.5 min (R1)" in told.why


def test_beside_a_stretch_without_any_line_no_sliver_is_left() -> None:
    # The femoral line is there for 3 s between its loss and that of the radial one: less than the 30 s of a bridge.
    view = made_view(femoral=gone(600, (100, 200), (203, 600)), left_radial=gone(600, (0, 203)))
    assert told(proposed_spans(view)) == [
        (0.0, 100.0, "femoral", "believed"),
        (100.0, 203.0, "", "no line"),
        (203.0, 600.0, "left_radial", "stands in"),
    ]


def test_of_a_bypass_that_ends_with_the_record_nothing_is_said() -> None:
    assert all("R3" not in one.why for one in proposed_spans(after_bypass(12.0, 10.0, ended=False)))


def test_a_radial_line_that_stands_in_after_bypass_is_warned_about() -> None:
    view = after_bypass(12.0, 20.0)
    femoral = view.values["femoral"].copy()
    femoral[2000:2200] = np.nan
    spans = proposed_spans(replace(view, values={**view.values, "femoral": femoral}))
    [instead] = [one for one in spans if one.standing == "stands in"]
    assert (instead.start_s, instead.end_s) == (2000.0, 2200.0)
    assert "it may read too low" in instead.why
    assert "(R3)" in instead.why


# -- what a person chose ---------------------------------------------------------------------------


def test_a_later_choice_stands_over_an_earlier_one() -> None:
    first = Piece(0.0, 100.0, "a", "mara")
    assert laid_over([first], Piece(40.0, 60.0, "b", "jonas")) == (
        Piece(0.0, 40.0, "a", "mara"),
        Piece(40.0, 60.0, "b", "jonas"),
        Piece(60.0, 100.0, "a", "mara"),
    )
    assert laid_over([first], Piece(100.0, 120.0, "a", "mara")) == (Piece(0.0, 120.0, "a", "mara"),)
    assert laid_over([first], Piece(-5.0, 120.0, "b", "mara")) == (Piece(-5.0, 120.0, "b", "mara"),)


LENGTH_S, LOW_S = 1000, (500, 600)


@pytest.fixture
def two(tmp_path: Path) -> Case:
    """A femoral line at 83 mmHg throughout, and a left radial one that is low for 100 s."""
    second = np.arange(LENGTH_S)
    low = (second >= LOW_S[0]) & (second < LOW_S[1])
    lines = [line("fem", np.full(LENGTH_S, 75.0)), line("lrad", np.where(low, 40.0, 72.0))]
    return case_of(tmp_path / "case", recording("monitor", lines), identities=SITES)


def choose(case: Case, site: str, start: float, end: float, author: str = "mara") -> None:
    case.edit(author, "believe", {"site": site, "start_s": start, "end_s": end})


def strip_of(case: Case) -> list[tuple[float, float, str, str]]:
    return [(one.start_s, one.end_s, one.line, one.by) for one in trust_strip(case).spans]


def test_figures_and_finds_follow_what_a_person_chose_second_by_second(two: Case) -> None:
    with two as case:
        assert off_bypass(figures(case)).outside_s == 0
        choose(case, "left_radial", 540.0, 700.0)
        row = off_bypass(figures(case))
        found = find(case)
        asked = off_bypass(figures(case, believe="femoral"))
    # The radial mean is 40 + 7.6 under 65 until 600 s; only 540 to 600 s of it are chosen.
    assert row.outside_s == pytest.approx(60, abs=2)
    assert row.observed_s == pytest.approx(LENGTH_S, abs=4)
    assert row.site == "femoral; left_radial 9:00 to 11:40, chosen by mara"
    [low] = found.of("E01")
    assert (low.site, low.start_s, low.end_s) == ("left_radial", 540.0, pytest.approx(600, abs=3))
    assert low.evidence["believed"] == "left radial: 9:00 to 11:40, chosen by mara"
    assert (asked.site, asked.outside_s) == ("femoral", 0), "a site that is asked for holds throughout"


def test_seconds_that_are_masked_in_the_chosen_line_are_not_filled_from_the_other(tmp_path: Path) -> None:
    second = np.arange(LENGTH_S)
    lines = [line("fem", np.full(LENGTH_S, 75.0)), line("lrad", np.full(LENGTH_S, 72.0), second >= 300)]
    with case_of(tmp_path / "case", recording("monitor", lines), identities=SITES) as case:
        choose(case, "left_radial", 100.0, 500.0)
        row = off_bypass(figures(case))
        spans = strip_of(case)
    assert row.missing_s == pytest.approx(200, abs=3)
    assert spans == [
        (0.0, 100.0, "femoral", ""),
        (100.0, 500.0, "left_radial", "mara"),
        (500.0, 1000.0, "femoral", ""),
    ]


def test_the_pulse_follows_what_a_person_chose() -> None:
    view = made_view(femoral=gone(10), left_radial=gone(10))
    pulse = {"femoral": np.full(10, 40.0), "left_radial": np.full(10, 50.0)}
    chosen = (StandIn("left_radial", 2, 5, "femoral", "0:02 to 0:05, chosen by mara", "mara"),)
    assert view.believed_pulse is view.pulse["femoral"]
    followed = replace(view, pulse=pulse, chosen=chosen)
    np.testing.assert_array_equal(followed.believed_pulse, [40, 40, 50, 50, 50, 40, 40, 40, 40, 40])
    hidden = followed.as_believed()
    assert np.isnan(hidden.values["femoral"][2:5]).all()
    assert np.isfinite(followed.values["femoral"]).all(), "rules of no site see it as recorded"


def test_undo_gives_exactly_what_stood_before(two: Case) -> None:
    with two as case:
        choose(case, "left_radial", 100.0, 300.0)
        before, rows = strip_of(case), figures(case)
        choose(case, "femoral", 150.0, 200.0, "jonas")
        choose(case, "left_radial", 190.0, 400.0)
        assert strip_of(case) == [
            (0.0, 100.0, "femoral", ""),
            (100.0, 150.0, "left_radial", "mara"),
            (150.0, 190.0, "femoral", "jonas"),
            (190.0, 400.0, "left_radial", "mara"),
            (400.0, 1000.0, "femoral", ""),
        ]
        case.log.undo("mara")
        case.log.undo("jonas")
        assert strip_of(case) == before
        assert figures(case) == rows
        case.log.undo("mara")
        assert chosen_pieces(case) == ()
        case.log.redo("mara")
        assert strip_of(case) == before


def test_a_choice_for_the_whole_case_stands_over_stretches_chosen_before_it_and_under_later_ones(
    two: Case,
) -> None:
    with two as case:
        choose(case, "left_radial", 100.0, 300.0)
        case.edit("jonas", "believe", {"site": "left_radial"})
        assert strip_of(case) == [(0.0, 1000.0, "left_radial", "jonas")]
        assert off_bypass(figures(case)).site == "left_radial"
        choose(case, "femoral", 500.0, 600.0)
        assert off_bypass(figures(case)).outside_s == 0
        case.edit("mara", "believe", {"proposal": True})
        assert strip_of(case) == [(0.0, 1000.0, "femoral", "")]


def test_a_stretch_goes_back_to_the_proposal(two: Case) -> None:
    with two as case:
        choose(case, "left_radial", 100.0, 300.0)
        case.edit("mara", "believe", {"proposal": True, "start_s": 0.0, "end_s": 200.0})
        assert strip_of(case)[:2] == [(0.0, 200.0, "femoral", ""), (200.0, 300.0, "left_radial", "mara")]


def test_a_choice_of_a_line_that_is_not_there_is_no_choice(two: Case) -> None:
    with two as case:
        choose(case, "right_radial", 100.0, 300.0)
        assert chosen_pieces(case) == ()


def test_a_figure_names_only_the_stretches_of_its_own_time(two: Case) -> None:
    with two as case:
        choose(case, "left_radial", 100.0, 200.0)
        choose(case, "left_radial", 500.0, 600.0, "jonas")
        derived = Derived(case)
        pressure = derived.mean_arterial_pressure
        assert isinstance(pressure, Series)
        beside = replace(pressure, site=f"{pressure.site} and cvp")
        assert (
            derived.site_within(pressure, [(0.0, 300.0)])
            == "femoral; left_radial 1:40 to 3:20, chosen by mara"
        )
        assert derived.site_within(pressure, [(200.0, 500.0)]) == "femoral"
        assert derived.site_within(beside, [(200.0, 500.0)]) == "femoral and cvp"


def test_where_no_site_is_known_a_chosen_stretch_is_all_that_counts(tmp_path: Path) -> None:
    nowhere = {"x": Identity("arterial_pressure", "", "", "wave")}
    recorded = recording("monitor", [line("x", np.full(LENGTH_S, 45.0))])
    with case_of(tmp_path / "case", recorded, identities=nowhere) as case:
        assert off_bypass(figures(case)).value is None
        choose(case, "monitor/x", 200.0, 300.0)
        row, found = off_bypass(figures(case)), find(case)
    assert (row.observed_s, row.outside_s) == (pytest.approx(100, abs=2), pytest.approx(100, abs=2))
    assert row.site.startswith("no line; ")
    assert [(one.start_s, one.end_s) for one in found.of("E01")] == [(200.0, 300.0)]


def test_a_view_of_the_past_holds_nothing_after_its_end(two: Case) -> None:
    with two as case:
        choose(case, "left_radial", 200.0, 700.0)
        early = case.until(400.0)
        strip = trust_strip(early)
        spans = [(one.start_s, one.end_s, one.line) for one in strip.spans]
        row = off_bypass(figures(early))
    assert spans == [(0.0, 200.0, "femoral"), (200.0, 400.0, "left_radial")]
    assert all(one.classes.size == 400 for one in strip.lines)
    assert row.outside_s == 0
    assert row.site == "femoral; left_radial 3:20 to 6:40, chosen by mara"


def test_a_chosen_line_has_nothing_stand_in_for_it(two: Case) -> None:
    with two as case:
        choose(case, "left_radial", 0.0, 1000.0)
        strip = trust_strip(case)
        assert strip.with_choices(case).spans == strip.spans
        case.log.undo("mara")
        assert strip_of(case) == [
            (one.start_s, one.end_s, one.line, one.by) for one in strip.with_choices(case).spans
        ]


def test_the_rows_of_the_strip_hold_the_quality_of_every_line(tmp_path: Path) -> None:
    second = np.arange(600)
    lines = [line("fem", np.full(600, 75.0), second >= 200), line("lrad", np.full(600, 72.0))]
    with case_of(tmp_path / "case", recording("monitor", lines), identities=SITES) as case:
        strip = trust_strip(case)
    femoral, radial = strip.lines
    assert (femoral.token, radial.words) == ("femoral", "left radial")
    assert strip.class_at("femoral", 100.0) == NOTHING
    assert strip.class_at("femoral", 400.0) == strip.class_at("left_radial", 100.0) == GOOD
    assert strip.class_at("femoral", 5000.0) == NOTHING
    assert not (femoral.classes == ARTEFACT).any()


def test_a_mask_on_one_line_leaves_what_was_read_of_the_others(
    two: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[str] = []
    whole = view_reading._channel_arrays

    def seen(channel: Channel, name: str, grid: np.ndarray) -> dict[str, np.ndarray]:
        read.append(name)
        return whole(channel, name, grid)

    monkeypatch.setattr(view_reading, "_channel_arrays", seen)
    with two as case:
        before = View.of(case)
        mask(case, "mara", "hide", "femoral", 100.0, 200.0)
        after = View.of(case)
    assert sorted(read) == ["femoral", "femoral", "left_radial"]
    assert np.isnan(after.values["femoral"][100:200]).all()
    assert np.isfinite(before.values["femoral"][105:195]).all()
    np.testing.assert_array_equal(before.values["left_radial"], after.values["left_radial"])


def test_a_case_without_an_arterial_line_says_why_nothing_is_believed(tmp_path: Path) -> None:
    with case_of(tmp_path / "case", recording("monitor", [line("x", np.full(60, 75.0))])) as case:
        strip = trust_strip(case)
    assert strip.spans == ()
    assert strip.nothing == "there is no wave of arterial pressure in this case"


# -- words -----------------------------------------------------------------------------------------


def test_the_site_of_a_figure_names_its_lines() -> None:
    said = "pa and femoral (first); left_radial 286:00 to 288:30, chosen by mara"
    assert sites_in(said) == ["pa", "femoral (first)", "left_radial"]
    assert sites_in("femoral") == ["femoral"]


def test_the_command_line_lists_and_sets_what_is_believed(two: Case) -> None:
    folder = str(two.folder)
    two.close()
    run = CliRunner().invoke
    made = run(main, ["trust", folder, "left_radial", "9:00", "700", "--author", "mara", "--json"])
    assert made.exit_code == 0, made.output
    rows = json.loads(made.stdout)
    assert [(row["line"], row["from_s"], row["to_s"], row["by"]) for row in rows] == [
        ("femoral", 0.0, 540.0, None),
        ("left_radial", 540.0, 700.0, "mara"),
        ("femoral", 700.0, 1000.0, None),
    ]
    assert all(row["why"] for row in rows)
    listed = run(main, ["sites", folder])
    assert "left radial: chosen by mara" in listed.stdout
    assert json.loads(run(main, ["sites", folder, "--json"]).stdout) == rows
    assert run(main, ["trust", folder, "proposal"]).exit_code == 0
    assert {row["by"] for row in json.loads(run(main, ["sites", folder, "--json"]).stdout)} == {None}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["left_ear"], "there are: femoral, left_radial"),
        (["femoral", "100"], "both FROM and TO"),
        (["femoral", "100", "100"], "a second or more after FROM"),
        (["femoral", "soon", "100"], "is no length of time"),
        (["femoral", "100", "5000"], "lies outside the case"),
        (["femoral", "100", "200", "--author", "../x"], "will not do"),
    ],
)
def test_the_command_line_says_what_it_cannot_set(two: Case, arguments: list[str], said: str) -> None:
    folder = str(two.folder)
    two.close()
    result = CliRunner().invoke(main, ["trust", folder, *arguments])
    assert result.exit_code == 2
    assert said in result.output
    assert not list((Path(folder) / "log").glob("*.jsonl"))
