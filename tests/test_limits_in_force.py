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
from afterclamp.annotate.limit_measures import LIMIT_MEASURES
from afterclamp.annotate.limit_rows import LimitRow, limit_rows
from afterclamp.annotate.limit_rules import RULE_PARAMETERS, own_number
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
from afterclamp.annotate.rules import RULES
from afterclamp.io import open_case
from afterclamp.io.case import Case
from afterclamp.io.errors import CaseError, EditRefused, FileUnreadable
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
    # The catalogue (R7) and the published numbers are the same: finds stay as they were without any choice.
    given = rule_limits(*default_sets())
    assert given == {key: own_number(key) for key in RULE_PARAMETERS.values()}
    assert given["E13.below"] == 50  # the guideline of 2019, as quoted in R6.6
    assert given["E12.below"] == 280  # Ranucci 2018, R3.2


def test_a_limit_and_the_rule_s_number_have_one_unit() -> None:
    for (measure, _, _), key in RULE_PARAMETERS.items():
        code, _, name = key.partition(".")
        [parameter] = [r.parameters[name] for r in RULES if r.code == code and name in r.parameters]
        assert parameter.unit == LIMIT_MEASURES[measure].unit, key
        assert not parameter.fixed, key


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
        ("published", "map-50-on-bypass", -5000, "why", "cannot be meant of mean_arterial_pressure"),
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


# 60 mmHg are 7.99932 kPa: UCUM has 133.322 Pa to the mm[Hg].
IN_KPA = OURS.replace("below = 60", "below = 7.99932").replace('"mm[Hg]"', '"kPa"')


def test_a_limit_in_another_unit_reaches_figures_and_finds_as_the_same_number(
    case: Case, tmp_path: Path
) -> None:
    before = chosen_in(case)
    after = chosen_in(case, [choosing([*default_sets(), ours(tmp_path, IN_KPA)])])
    assert rule_limits(*after.in_force)["E13.below"] == pytest.approx(60)
    found = changes(case, before, after)
    [figure] = [
        one.after
        for one in found.figures
        if one.after
        and one.after.limit_id == "map-60"
        and not one.after.part
        and one.after.phase == "established"
    ]
    assert (figure.limit, figure.limit_unit) == (pytest.approx(60), "mm[Hg]")
    assert "written there as below 7.99932 kPa" in figure.limit_source
    assert figure.outside_s == figure.observed_s > 400  # 58 mmHg throughout
    assert [one.after.evidence["limit"] for one in found.finds if one.after] == [pytest.approx(60)]


def test_the_case_keeps_both_the_number_and_how_its_file_writes_it(case: Case, tmp_path: Path) -> None:
    keep(case, "mara", [choosing([*default_sets(), ours(tmp_path, IN_KPA)])])
    with open_case(case.folder) as again:
        limit = row(again, "ours:map-60").limit
    assert (limit.value, limit.unit, limit.as_written) == (pytest.approx(60), "mm[Hg]", "7.99932 kPa")
    assert chosen_in(case).unclear == ()


def test_the_rivals_of_a_unit_s_own_limit_are_of_its_own_time(case: Case, tmp_path: Path) -> None:
    off = OURS[OURS.index("[[limit]]") :].replace("map-60", "map-off").replace("established", "off")
    keep(case, "mara", [choosing([*default_sets(), ours(tmp_path, OURS + off)])])
    [found] = [one for one in figures(case) if (one.limit_id, one.phase) == ("map-off", "post")]
    said = "; ".join(found.rivals)
    for words in (
        "below 65 mm[Hg] (Anesthesiology 2022",
        "below 80 mm[Hg]",
        "below 70 mm[Hg]",
        "below 49 mm[Hg]",
    ):
        assert words in said  # of the time off bypass, and those of the whole record
    for words in ("below 50 mm[Hg]", "below 55 mm[Hg]"):  # of established bypass alone
        assert words not in said
        assert words in "; ".join(low_on_bypass(case).rivals)
    shown = {one.limit.words for one in row(case, "ours:map-off").rivals}
    assert {"below 65 mm[Hg]", "below 80 mm[Hg]", "below 70 mm[Hg]", "below 49 mm[Hg]"} <= shown
    assert not {"below 50 mm[Hg]", "below 55 mm[Hg]"} & shown


def test_of_several_limits_of_one_set_finds_go_by_the_rule_s_own_whatever_it_was_edited_to(
    case: Case,
) -> None:
    assert row(case, "published:do2i-280").gives == "E12.below"
    assert row(case, "published:do2i-262").gives == ""
    assert row(case, "published:do2i-262").instead == {"E12.below": 280}
    keep(case, "mara", [editing(chosen_in(case), "published", "do2i-280", 300, "our protocol")])
    assert rule_limits(*in_force(case))["E12.below"] == 300
    assert row(case, "published:do2i-300").gives == ""
    assert (
        row(case, "practice:reservoir-400").instead == {}
    )  # E08 has a mark of its own, which is another thing


def test_a_unit_s_own_limit_gives_its_rule_the_number(case: Case, tmp_path: Path) -> None:
    text = OURS.replace("mean_arterial_pressure", "pump_flow_index").replace("below = 60", "below = 1800")
    keep(case, "mara", [choosing([*default_sets(), ours(tmp_path, text.replace("mm[Hg]", "mL/min/m2"))])])
    assert rule_limits(*in_force(case))["E11.below"] == pytest.approx(1.8)
    assert row(case, "ours:map-60").gives == "E11.below"
    assert row(case, "practice:flow-index-2").gives == ""


def test_a_limit_for_another_time_is_no_rule_s_number(case: Case, tmp_path: Path) -> None:
    keep(case, "mara", [choosing([*default_sets(), ours(tmp_path, OURS.replace("established", "record"))])])
    assert rule_limits(*in_force(case))["E13.below"] == 50
    own = row(case, "ours:map-60")
    assert own.gives == ""
    assert own.instead == {"E01.below": 65, "E13.below": 50, "E13.above": 80}


def test_constants_alone_are_a_choice_and_leave_the_limits(case: Case, tmp_path: Path) -> None:
    # 1.36 mL/g, as in J Am Heart Assoc, PMC7792239.
    text = 'name = "ours"\nversion = "1"\n[oxygen]\ncapacity = 1.36\nsolubility = 0.003\nstatus = "U"\nsource = "us"\n'
    keep(case, "mara", [choosing([ours(tmp_path, text)])])
    assert {one.name for one in in_force(case)} == {"ours", "published", "practice"}
    assert oxygen_constants(case, in_force(case)).capacity == 1.36
    assert low_on_bypass(case).limit == 50


def test_a_number_in_a_log_that_cannot_be_meant_changes_nothing_and_is_told(case: Case) -> None:
    payload = {
        "set": "published",
        "limit": "map-50-on-bypass",
        "value": -5000,
        "unit": "mm[Hg]",
        "reason": "why",
    }
    case.edit("mara", "limits", payload)
    assert low_on_bypass(case).limit == 50
    assert any("cannot be meant" in one for one in chosen_in(case).unclear)


def test_a_set_in_a_log_with_a_unit_that_does_not_fit_is_left_out_with_the_reason(case: Case) -> None:
    limit = {
        "id": "map-60",
        "measure": "mean_arterial_pressure",
        "phase": "established",
        "below": 60,
        "unit": "L/min",
        "status": "U",
        "source": "our unit",
    }
    table = {"name": "ours", "version": "3", "limit": [limit]}
    case.edit("mara", "limits", {"sets": [{"name": "ours", "version": "3", "table": table}]})
    assert low_on_bypass(case).limit == 50
    assert any("the unit 'L/min' for mean_arterial_pressure" in one for one in chosen_in(case).unclear)


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
    with pytest.raises(FileUnreadable, match="name of a set that comes with the program"):
        ours(tmp_path, OURS.replace('"ours"', '"published"'))
    named = default_sets()[0].model_copy(update={"version": "2"})
    with pytest.raises(EditRefused, match="name of a set that comes with the program"):
        choosing([named])
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


def test_a_limit_of_the_brain_can_be_looked_at_before_and_after_bypass(case: Case, tmp_path: Path) -> None:
    text = OURS.replace("mean_arterial_pressure", "cerebral_saturation").replace("mm[Hg]", "%")
    found = figures(case, limits=ours(tmp_path, text.replace("established", "off")))
    assert [(one.phase, one.site) for one in found if one.limit_id] == [
        (phase, f"{side}_cerebral_saturation") for phase in ("pre", "post") for side in ("left", "right")
    ]
