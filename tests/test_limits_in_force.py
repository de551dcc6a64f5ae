"""Limits in force for a case: chosen sets and edited numbers are edits of the log, and reach figures and finds."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import small_case
from afterclamp.annotate.figures import Figure, figures
from afterclamp.annotate.finds import find
from afterclamp.annotate.limit_changes import changes
from afterclamp.annotate.limit_rows import LimitRow, limit_rows
from afterclamp.annotate.limits import (
    LimitSet,
    choosing,
    chosen_in,
    default_sets,
    editing,
    in_force,
    keep,
    oxygen_constants,
    rule_limits,
    taking_back,
)
from afterclamp.io import open_case
from afterclamp.io.case import Case
from afterclamp.io.errors import CaseError, EditRefused
from own_limits import OURS

# The made-up case has 58 mmHg throughout bypass, and full flow from 360 to 840 s (tests/small_case.py).
ON_BYPASS = 58.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_case.make(tmp_path_factory.mktemp("limits") / "small")


@pytest.fixture
def case(folder: Path, tmp_path: Path) -> Iterator[Case]:
    shutil.copytree(folder, tmp_path / "case")
    with open_case(tmp_path / "case") as opened:
        yield opened


def ours(folder: Path, text: str = OURS) -> LimitSet:
    path = folder / "ours.toml"
    path.write_text(text)
    return LimitSet.load(path)


def low_on_bypass(case: Case) -> Figure:
    [found] = [
        one
        for one in figures(case)
        if (one.measure, one.phase, one.side, one.part)
        == ("mean_arterial_pressure", "established", "below", "")
    ]
    return found


def row(case: Case, key: str) -> LimitRow:
    [found] = [one for one in limit_rows(chosen_in(case)) if one.key == key]
    return found


def test_without_an_edit_the_published_and_the_practice_set_are_in_force(case: Case) -> None:
    assert in_force(case) == in_force() == default_sets()
    assert chosen_in(case).by == ""
    assert row(case, "published:map-50-on-bypass").state == "published"
    assert row(case, "practice:line-pressure-300").state == "practice"


def test_the_published_numbers_are_those_that_rules_have_anyway() -> None:
    # The catalogue and the guideline of 2019 give the same 50 and 80 mmHg: finds stay as they were.
    assert rule_limits(*default_sets()) == {
        "E01.below": 65,
        "E13.below": 50,
        "E13.above": 80,
        "E16.from": 37,
    }


def test_an_edited_number_reaches_figures_and_finds_and_is_undone(case: Case) -> None:
    assert low_on_bypass(case).outside_s == 0
    assert not [one for one in find(case) if one.code == "E13"]
    keep(case, "mara", [editing(chosen_in(case), "published", "map-50-on-bypass", 60, "our protocol")])
    found = low_on_bypass(case)
    assert found.limit == 60
    assert found.outside_s == found.observed_s > 400
    assert found.area == pytest.approx((60 - ON_BYPASS) * found.observed_s / 60, rel=0.02)
    assert [one.evidence["limit"] for one in find(case) if one.code == "E13"] == [60]
    case.log.undo("mara")
    assert low_on_bypass(case).outside_s == 0
    assert in_force(case) == default_sets()


def test_an_edited_number_says_whose_it_is_why_and_what_the_set_has(case: Case) -> None:
    keep(case, "mara", [editing(chosen_in(case), "published", "map-50-on-bypass", 60, "our protocol")])
    found = low_on_bypass(case)
    for words in ("edited by mara", "our protocol", "below 50 mm[Hg]", "Br J Anaesth 2019;123:713-57"):
        assert words in found.limit_source
    assert found.limit_set == "published, version 1, 1 number edited"
    edited = row(case, "published:map-50-on-bypass")
    assert edited.state == "edited"
    assert edited.was is not None
    assert edited.was.value == 50


def test_an_edit_is_taken_back_and_that_is_undone_too(case: Case) -> None:
    keep(case, "mara", [editing(chosen_in(case), "published", "map-50-on-bypass", 60, "our protocol")])
    keep(case, "mara", [taking_back("published", "map-50-on-bypass")])
    assert in_force(case) == default_sets()
    assert len(case.log.standing("limits")) == 1  # each stands in place of the one before
    case.log.undo("mara")
    assert low_on_bypass(case).limit == 60


def test_two_numbers_stand_beside_each_other(case: Case) -> None:
    keep(
        case,
        "mara",
        [
            editing(chosen_in(case), "published", "map-50-on-bypass", 60, "one"),
            editing(chosen_in(case), "practice", "line-pressure-300", 280, "two"),
        ],
    )
    numbers = chosen_in(case).numbers
    assert {key: one.value for key, one in numbers.items()} == {
        ("published", "map-50-on-bypass"): 60,
        ("practice", "line-pressure-300"): 280,
    }


@pytest.mark.parametrize(
    ("name", "limit_id", "value", "reason", "said"),
    [
        ("published", "map-50-on-bypass", 60, " ", "reason"),
        ("published", "map-50-on-bypass", 50, "none", "already"),
        ("published", "map-1", 60, "none", "no limit 'map-1'"),
        ("elsewhere", "map-50-on-bypass", 60, "none", "no set called 'elsewhere'"),
    ],
)
def test_a_number_that_cannot_be_edited_says_why(
    case: Case, name: str, limit_id: str, value: float, reason: str, said: str
) -> None:
    with pytest.raises(CaseError, match=said):
        editing(chosen_in(case), name, limit_id, value, reason)


# -- a unit's own set --------------------------------------------------------------------------------


def test_a_unit_s_own_limit_stands_before_a_published_one_which_is_named_beside_it(
    case: Case, tmp_path: Path
) -> None:
    keep(case, "mara", [choosing([*default_sets(), ours(tmp_path)])])
    found = low_on_bypass(case)  # one row, not two
    assert (found.limit, found.limit_set, found.limit_source) == (60, "ours, version 3", "our unit")
    for words in ("below 50 mm[Hg]", "below 55 mm[Hg]"):  # what stands back, and what was its rival
        assert any(words in one for one in found.rivals)
    assert row(case, "ours:map-60").state == "local"
    assert row(case, "published:map-50-on-bypass").stands_back_for == "ours"
    assert row(case, "published:map-80-on-bypass").stands_back_for == ""  # the other side is untouched
    assert rule_limits(*in_force(case))["E13.below"] == 60


def test_the_case_keeps_the_set_whole(case: Case, tmp_path: Path) -> None:
    keep(case, "mara", [choosing([*default_sets(), ours(tmp_path)])])
    (tmp_path / "ours.toml").unlink()
    with open_case(case.folder) as again:
        assert low_on_bypass(again).limit == 60


def test_a_set_alone_leaves_the_others_out(case: Case, tmp_path: Path) -> None:
    keep(case, "mara", [choosing([ours(tmp_path)])])
    assert [one.limit_set for one in figures(case) if one.limit is not None and one.value is not None] == [
        "ours, version 3"
    ]
    rivals = {(one.limit.words, one.of) for one in row(case, "ours:map-60").rivals}
    assert ("below 50 mm[Hg]", "published, version 1") in rivals  # named all the same


def test_the_later_of_two_sets_of_a_unit_stands_first(case: Case, tmp_path: Path) -> None:
    theirs = ours(tmp_path, OURS.replace('"ours"', '"theirs"').replace("below = 60", "below = 59"))
    keep(case, "mara", [choosing([*default_sets(), ours(tmp_path), theirs])])
    assert low_on_bypass(case).limit == 59
    assert row(case, "ours:map-60").stands_back_for == "theirs"


def test_what_is_given_for_once_stands_above_what_the_case_has(case: Case, tmp_path: Path) -> None:
    keep(case, "mara", [choosing([ours(tmp_path)])])
    assert in_force(case, LimitSet.load("practice")) == (LimitSet.load("practice"),)


def test_a_set_s_constants_of_oxygen_content_come_with_it(case: Case, tmp_path: Path) -> None:
    # 1.36 mL/g, as in J Am Heart Assoc, PMC7792239; the program's own choice is 1.34.
    table = '[oxygen]\ncapacity = 1.36\nsolubility = 0.003\nstatus = "U"\nsource = "our unit"\n\n[[limit]]'
    assert oxygen_constants(case).capacity == 1.34
    keep(case, "mara", [choosing([*default_sets(), ours(tmp_path, OURS.replace("[[limit]]", table))])])
    assert (oxygen_constants(case).capacity, oxygen_constants(case).source) == (1.36, "our unit")
    assert oxygen_constants(case, in_force(case)).capacity == 1.36


def test_a_set_may_not_have_the_name_of_one_that_comes_with_the_program(tmp_path: Path) -> None:
    with pytest.raises(EditRefused, match="name of a set that comes with the program"):
        choosing([ours(tmp_path, OURS.replace('"ours"', '"published"'))])
    with pytest.raises(EditRefused, match="two sets are called 'ours'"):
        choosing([ours(tmp_path), ours(tmp_path)])
    with pytest.raises(EditRefused, match="no set"):
        choosing([])


def test_what_a_log_says_that_cannot_be_gone_by_is_told(case: Case) -> None:
    case.edit("mara", "limits", {"sets": [{"name": "published", "version": "0"}]})
    case.edit(
        "mara", "limits", {"set": "ours", "limit": "map-60", "value": 62, "unit": "mm[Hg]", "reason": "why"}
    )
    said = chosen_in(case).unclear
    assert "version 0 of the set published was chosen" in said[0]
    assert "map-60 of the set ours, which is not in force" in said[1]
    case.edit("mara", "limits", {"sets": [{"name": "ours", "version": "9", "table": {"odd": 1}}]})
    assert any("ours, version 9, is not understood" in one for one in chosen_in(case).unclear)
    assert "published" in {one.name for one in in_force(case)}


@pytest.mark.parametrize(
    "payload",
    [
        {},
        {"sets": []},
        {"sets": ["published"]},
        {"sets": [{"name": "published"}]},
        {"sets": [{"name": "published", "version": "1"}], "set": "published"},
        {"set": "published", "value": 60, "reason": "why"},
        {"set": "published", "limit": "map-50-on-bypass", "reason": "why"},
        {"set": "published", "limit": "map-50-on-bypass", "value": 60},
        {"set": "published", "limit": "map-50-on-bypass", "value": "60", "reason": "why"},
    ],
)
def test_an_edit_without_meaning_is_refused(case: Case, payload: dict[str, object]) -> None:
    with pytest.raises(EditRefused):
        case.edit("mara", "limits", payload)


def test_two_who_each_chose_are_told_of_as_a_conflict(case: Case, tmp_path: Path) -> None:
    first = keep(case, "mara", [choosing([ours(tmp_path)])])[0]
    case.edit("kim", "limits", choosing([default_sets()[0]]), supersedes=first.id)
    case.edit("lee", "limits", choosing([default_sets()[1]]), supersedes=first.id)
    assert len(case.log.conflicts) == 1


# -- what changes ------------------------------------------------------------------------------------


def test_what_changes_lists_figures_and_finds_before_and_after_and_keeps_nothing(case: Case) -> None:
    before = chosen_in(case)
    after = chosen_in(case, [editing(before, "published", "map-50-on-bypass", 60, "why")], "mara")
    found = changes(case, before, after)
    told = [(one.before, one.after) for one in found.figures]
    assert [(a.limit, b.limit) for a, b in told if a and b] == [(50, 60)]  # no other figure is touched
    a, b = told[0]
    assert a is not None
    assert b is not None
    assert (a.outside_s, b.outside_s) == (0, b.observed_s)
    assert [(one.before, one.after and one.after.code) for one in found.finds] == [(None, "E13")]
    assert case.log.standing("limits") == []


def test_what_changes_says_when_nothing_does(case: Case) -> None:
    before = chosen_in(case)
    after = chosen_in(case, [editing(before, "practice", "reservoir-400", 300, "why")], "mara")
    found = changes(case, before, after)  # no reservoir was recorded: there is no number, before or after
    assert found.nothing
    assert found.of_figures == len([one for one in figures(case) if one.value is not None])


def test_the_same_number_from_another_set_is_told_as_another_label(case: Case, tmp_path: Path) -> None:
    before = chosen_in(case)
    same = ours(tmp_path, OURS.replace("below = 60", "below = 50"))
    found = changes(case, before, chosen_in(case, [choosing([*default_sets(), same])]))
    assert [(one.relabelled, one.after and one.after.limit_set) for one in found.figures] == [
        (True, "ours, version 3")
    ]
    assert found.finds == ()
