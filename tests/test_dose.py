"""A figure drawn out second by second: its sum, its states, and `afterclamp dose`."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import small_case
from afterclamp.annotate.dose import (
    EXCLUDED,
    INSIDE,
    MASKED,
    MISSING,
    NOT_LOOKED_AT,
    OUTSIDE,
    STATES,
    Counted,
    dose,
)
from afterclamp.annotate.figures import figures
from afterclamp.annotate.limits import LimitSet
from afterclamp.annotate.measures.exposure import exposure
from afterclamp.annotate.series import MASKED as MASKED_SECOND
from afterclamp.annotate.series import Series, from_values
from afterclamp.io import open_case
from afterclamp.io.case import Case
from afterclamp.replay.commands import main
from afterclamp.replay.dose_words import contrast, counted_in
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st


def course() -> Series:
    """Ten seconds from 100 on: 70, 60, 60 missing, masked, 50, 65, 64, 80, 40, 70 mmHg."""
    values = np.array([70, 60, np.nan, 55, 50, 65, 64, 80, 40, 70], np.float64)
    made = from_values(100.0, values, unit="mm[Hg]", name="mean_arterial_pressure", site="femoral")
    return made.masked_where(np.arange(10) == 3)


def test_each_second_has_its_depth_and_its_state() -> None:
    # By hand: below 65 with seconds 8 and 9 (108 to 110) outside the window, and second 4 left out.
    found = dose(Counted(course(), 65.0, False, False, ((100.0, 108.0),), ((104.0, 105.0),)))
    assert found.state.tolist() == [
        INSIDE, OUTSIDE, MISSING, MASKED, EXCLUDED, INSIDE, OUTSIDE, INSIDE, NOT_LOOKED_AT, NOT_LOOKED_AT
    ]  # fmt: skip
    np.testing.assert_array_equal(found.depth, [0, 5, np.nan, np.nan, np.nan, 0, 1, 0, np.nan, np.nan])
    assert found.area == pytest.approx(6 / 60)
    assert found.deepest == 5
    assert found.stretches(OUTSIDE) == [(101.0, 102.0), (106.0, 107.0)]
    np.testing.assert_allclose(found.running * 60, [0, 5, 5, 5, 5, 5, 6, 6, 6, 6])


def test_the_limit_itself_counts_where_it_was_said_to() -> None:
    # By hand: 65 is not below 65, but it is at least 65.
    below = dose(Counted(course(), 65.0, False, False, ((100.0, 110.0),)))
    least = dose(Counted(course(), 65.0, True, True, ((100.0, 110.0),)))
    assert below.state[5] == INSIDE
    assert least.state[5] == OUTSIDE
    assert least.depth[5] == 0
    assert least.depth[7] == 15


def test_a_part_of_a_second_counts_as_that_part() -> None:
    # By hand: a window from 101.25 to 101.75 holds half a second at 60 mmHg, 5 below the limit.
    found = dose(Counted(course(), 65.0, False, False, ((101.25, 101.75),)))
    assert found.state[1] == OUTSIDE
    assert found.depth[1] == pytest.approx(2.5)
    assert [STATES[code] for code in found.state[[0, 2]]] == ["not looked at", "not looked at"]


def test_moments_outside_the_record_belong_to_no_second() -> None:
    found = dose(Counted(course(), 65.0, False, False, ((100.0, 110.0),)))
    assert [found.index(t) for t in (99.9, 100.0, 109.99, 110.0)] == [-1, 0, 9, -1]


def test_a_record_of_nothing_has_no_dose() -> None:
    empty = dose(Counted(from_values(0.0, np.empty(0)), 65.0, False, False, ((0.0, 10.0),)))
    nothing = dose(Counted(from_values(0.0, np.full(5, np.nan)), 65.0, False, False, ((0.0, 10.0),)))
    assert (empty.area, empty.deepest, len(empty.state)) == (0, 0, 0)
    assert (nothing.area, nothing.deepest) == (0, 0)
    assert set(nothing.state.tolist()) == {MISSING}


spans = st.lists(st.tuples(st.floats(-5, 70), st.floats(0, 30)), max_size=4).map(
    lambda pairs: tuple((start, start + length) for start, length in pairs)
)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.floats(0, 120), min_size=1, max_size=60), spans, spans, st.booleans(), st.data())
def test_seconds_add_up_to_what_is_printed_whatever_the_windows(values, within, exclude, above, data) -> None:
    # Oracle: the exposure that figures are printed from, which knows nothing of single seconds.
    gone = data.draw(st.lists(st.integers(0, 2), min_size=len(values), max_size=len(values)))
    kept = np.where(np.array(gone) == 2, np.nan, values)
    series = from_values(0.0, kept, unit="mm[Hg]").masked_where(np.array(gone) == 1)
    assert np.all(series.state[np.array(gone) == 1] == MASKED_SECOND)
    printed = exposure(
        series,
        below=None if above else 60.0,
        above=60.0 if above else None,
        within=within,
        exclude=exclude,
        close_gaps_s=5.0,
    )
    found = dose(Counted(series, 60.0, above, False, within, exclude))
    assert found.area == pytest.approx(printed.area, rel=1e-9, abs=1e-9)
    assert np.all((found.depth > 0) <= (found.state == OUTSIDE))


def test_every_figure_of_the_demo_with_a_limit_adds_up(demo_case: Case) -> None:
    # J10, moonshot 5: the integral of a strip is the printed area within 0.5 %, and its seconds are the table's.
    rows = [one for one in figures(demo_case) if one.limit is not None and one.value is not None]
    assert len(rows) >= 20
    for row in rows:
        assert row.counted is not None
        found = dose(row.counted)
        assert found.area == pytest.approx(row.area, rel=0.005, abs=1e-6), row.limit_id
        for code, seconds in (
            (OUTSIDE, row.outside_s),
            (EXCLUDED, row.excluded_s),
            (MASKED, row.masked_s),
        ):
            # Ends of phases lie within seconds: at most one second an end.
            ends = 2 * (len(row.counted.within) + len(row.counted.exclude))
            assert np.sum(found.state == code) == pytest.approx(seconds, abs=ends), row.limit_id
    assert all("counted" not in row.to_dict() for row in rows)


def test_counting_arrests_in_makes_twenty_times_as_much_of_the_demo(demo_case: Case) -> None:
    # J10, moonshot 5: 109 against 2,328 mmHg·min, within the 3 % that recorded figures have.
    rows = figures(demo_case)
    [right] = [
        one for one in rows if one.limit == 50 and one.phase == "established" and one.part == "" and one.area
    ]
    wrong = counted_in(right, rows)
    assert wrong is not None
    assert wrong.counted is not None
    assert right.counted is not None
    assert dose(right.counted).area == pytest.approx(109, rel=0.03)
    assert dose(wrong.counted).area == pytest.approx(2328, rel=0.03)
    said = contrast(right, wrong)
    assert "with arrests left out" in said
    assert "21 times as much" in said
    assert counted_in(wrong, rows) is None
    assert all(counted_in(one, rows) is None for one in rows if one.measure != "mean_arterial_pressure")


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_case.make(tmp_path_factory.mktemp("dose") / "small")


def run(*arguments: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    return result.exit_code, result.stdout, result.stderr


OWN = """
name = "own"
version = "1"
about = "made for this test"

[[limit]]
id = "map-90"
measure = "mean_arterial_pressure"
phase = "pre"
below = 90
unit = "mm[Hg]"
status = "D"
source = "this test"
"""


def test_the_command_writes_what_the_table_prints(small: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(OWN, "utf-8")
    with open_case(small) as opened:
        row = figures(opened, limits=LimitSet.load(str(own)))[0]
    assert row.area
    out = tmp_path / "dose.csv"
    code, said, _ = run("dose", small, 1, "--limits", own, "--csv", out)
    assert code == 0
    assert "observed" in said
    table = list(csv.DictReader(out.read_text("utf-8").splitlines()))
    assert set(table[0]) == {"time [s]", "depth [mm[Hg]]", "state"}
    total = sum(float(one["depth [mm[Hg]]"] or 0) for one in table) / 60
    assert total == pytest.approx(row.area, rel=0.005)
    states = [one["state"] for one in table]
    assert states.count("masked") == pytest.approx(row.masked_s, abs=2)
    assert all(one["depth [mm[Hg]]"] == "" for one in table if one["state"] == "masked")
    code, said, _ = run("dose", small, 1, "--limits", own, "--json")
    document = json.loads(said)
    assert document["area"] == pytest.approx(row.area)
    assert document["states"][1] == "outside"


def test_the_command_says_which_figures_there_are(small: Path) -> None:
    code, _, said = run("dose", small, 999)
    assert code == 2
    assert "there are figures 1 to" in said
    with open_case(small) as opened:
        rows = [one for one in figures(opened) if one.value is not None]
    mean = next(i for i, one in enumerate(rows, start=1) if one.limit is None)
    code, _, said = run("dose", small, mean)
    assert code == 2
    assert "it has no limit" in said
