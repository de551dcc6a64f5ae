"""The evidence of finds in words: every key has some, with its unit, and none is printed as a field's name."""

from __future__ import annotations

import ast
import re
from dataclasses import replace
from pathlib import Path

import afterclamp.annotate.rules
import afterclamp.annotate.wave_artefacts
import pytest
from afterclamp.annotate.finds import find as find_all
from afterclamp.annotate.rules import RULES, Find, Link
from afterclamp.io import Case
from afterclamp.replay.evidence_words import (
    KNOWN,
    ON_THE_RAMP,
    Fact,
    facts_of,
    keys_of,
    lag_words,
    link_words,
    other_explanations,
    rests_on,
    subtitle,
)

OF_THE_CALL = {
    *("code", "name", "minimum", "low"),
    *(
        "params",
        "channels",
        "limit",
        "unit",
        "above",
        "plain",
        "site",
        "subtype",
        "held_back",
        "agreement",
        "crossed",
        "area",
    ),
}  # what a rule says of a find besides its evidence
FIELD_NAME = re.compile(r"[a-z]_[a-z]|\b[a-z]+ (mmhg|ml|c|s) -?\d", re.IGNORECASE)


def made(code: str, evidence: dict[str, object], **more: object) -> Find:
    find = Find(code, "made up", 100.0, 160.0, ("femoral",), "femoral", 0.9, evidence)
    return replace(find, **more)


def words(find: Find) -> dict[str, str]:
    return {fact.label: fact.text for fact in facts_of(find)}


def dict_keys(folder: Path, *files: str) -> set[str]:
    """Keys of the evidence that the sources of the rules write down."""
    found: set[str] = set()
    for path in (*folder.glob("*.py"), *(folder.parent / name for name in files)):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Dict):
                keys = {
                    key.value
                    for key in node.keys
                    if isinstance(key, ast.Constant) and isinstance(key.value, str)
                }
                if {"rule", "reason"} & keys:
                    found |= keys
            elif isinstance(node, ast.Call) and getattr(node.func, "id", "") in (
                "_limit_find",
                "course_find",
            ):
                found |= {word.arg for word in node.keywords if word.arg and word.arg not in OF_THE_CALL}
    return found


def test_every_key_that_the_rules_write_has_words(demo_case: Case) -> None:
    found = find_all(demo_case)
    written = {key for one in (*found, *found.held_back) for key in keys_of(one.evidence)}
    folder = Path(afterclamp.annotate.rules.__file__).parent
    written |= dict_keys(folder, "wave_artefacts.py", "quality.py", "finds.py")
    assert written >= {
        "below_55_s",
        "reservoir_rise_ml",
        "still_before_s",
        "cvp_before",
        "with_flow",
    }  # it does look
    assert written - KNOWN == set(), "say in evidence_words.py what these are"


def test_no_fact_of_the_demo_shows_a_name_of_a_field(demo_case: Case) -> None:
    found = find_all(demo_case)
    for one in (*found, *found.held_back):
        for fact in facts_of(one):
            said = f"{fact.label}: {fact.text}"
            assert not FIELD_NAME.search(said), said
            assert fact.text or fact.times
            assert fact.label[0].isupper()
        assert len({fact.label for fact in facts_of(one)}) == len(facts_of(one)), one.key


def test_pressures_and_flows_of_a_low_pressure_carry_their_units() -> None:
    said = words(
        made(
            "E13",
            {
                "before": 64.9, "during": 48.5, "nadir": 48.0, "after": 56.9, "unit": "mm[Hg]", "limit": 50.0,
                "attribution": "flow-led", "attribution_words": "flow fell from 4.4 to 2.7 L/min",
                "flow_before": 4.39, "flow_during": 2.66, "used_s": 149, "masked_s": 0, "unknown_s": 3,
            },
        )
    )  # fmt: skip
    assert said["Mean pressure"] == "before 64.9, during 48.5, lowest 48.0, after 56.9 mmHg"
    assert said["Limit"] == "50 mmHg"
    assert said["Flow or tone"] == "flow-led (flow fell from 4.4 to 2.7 L/min)"
    assert said["Pump flow"] == "before 4.39, during 2.66 L/min"
    assert said["Seconds of it"] == "149 s used, 3 s not recorded"


def test_an_arrest_says_core_sites_and_reservoir_with_units() -> None:
    said = words(
        made(
            "E17",
            {
                "arterial_low": {"femoral": 7.9, "left_radial": 8.9}, "core_c": 19.7, "class": "deep",
                "core_site": "nasopharyngeal", "reservoir_rise_ml": 1800.0, "phase_confirmed_by": "anna",
            },
        )
    )  # fmt: skip
    assert said["Arterial pressures went down to"] == "femoral 7.9, left radial 8.9 mmHg"
    assert said["Core temperature as it began"].startswith("19.7 °C, nasopharyngeal; deep")
    assert said["Reservoir"] == "rose by 1800 mL"
    assert said["Times confirmed by"] == "anna"


def test_perfusion_says_each_level_of_flow_with_what_it_is_a_kilogram() -> None:
    said = words(
        made(
            "E18",
            {"flow_levels": [0.74, 0.95], "flow_ml_per_kg_min": [10.0, 12.8], "outside_band": [], "mean_flow": 0.84},
        )
    )  # fmt: skip
    assert said["Levels of flow"] == "0.74 L/min (10.0 mL/kg/min), then 0.95 L/min (12.8 mL/kg/min)"
    assert said["Mean flow"] == "0.84 L/min"
    assert said["Outside the rule's bands"] == "no second"


@pytest.mark.parametrize(
    ("unit", "area", "text"),
    [
        ("mL/min/m2", 480.2, "480 mL/m²"),  # of a rate a minute what it amounts to
        ("L/min/m2", 1.01, "1.01 L/m²"),
        ("%", 12.1, "12.1 %·min"),
        ("Cel", 8.1, "8.1 °C·min"),
        ("mm[Hg]", 22.4, "22.4 mmHg·min"),
    ],
)
def test_what_lies_beyond_a_limit_is_told_in_minutes_times_its_unit(
    unit: str, area: float, text: str
) -> None:
    assert words(made("E12", {"unit": unit, "area_beyond": area}))["Beyond the limit in all"] == text


def test_a_course_is_called_by_what_it_is_and_its_limit_says_why() -> None:
    said = words(
        made(
            "E19",
            {
                "of": "saturation", "unit": "%", "before": 61.0, "nadir": 44.4, "limit": 48.8,
                "limit_words": "80 % of a baseline of 61 %", "other_side": "47 %",
            },
        )
    )  # fmt: skip
    assert said["Saturation"] == "before 61.0, lowest 44.4 %"
    assert said["Limit"] == "48.8 % (80 % of a baseline of 61 %)"
    assert said["The other side meanwhile"] == "47 %"


def test_lost_drainage_tells_its_reservoir_and_what_came_first() -> None:
    evidence = {
        "reservoir_before_ml": 1200.0, "reservoir_lowest_ml": 250.0, "low_reservoir_s": 67,
        "order": "the reservoir fell 10 s before the flow fell",
    }  # fmt: skip
    said = words(made("E08", evidence))
    assert said["Reservoir"] == "before 1200, lowest 250 mL; 67 s under the low-level mark"
    assert said["Which came first"] == "The reservoir fell 10 s before the flow fell"


def test_ejection_is_told_by_its_time() -> None:
    evidence = {"ejection_from_s": 18006.0, "ejection_pulse_mmhg": 10.0}
    assert facts_of(made("E26", evidence)) == [Fact("A pulse of 10 mmHg or more since", "", (18006.0,))]


def test_what_an_artefact_is_stands_in_plain_words_and_once() -> None:
    seen = {"reason": "plateau at 300 mmHg for 3.0 s", "plateau_mmhg": 300.0, "plateau_s": 3.0, "rise_mmhg": 230.4,
            "clipped": False, "still_before_s": 37, "release_s": 160.0}  # fmt: skip
    find = made(
        "A2",
        {"before": 66.5, "after": 60.1, "masked_s": 3, "used_s": 0, "seen": seen, "other_sites": "steady"},
    )
    assert facts_of(find) == [
        Fact("What was seen", "Plateau at 300 mmHg for 3.0 s"),
        Fact("Level around it", "before 66.5, after 60.1 mmHg"),
        Fact("Rise", "230 mmHg"),
        Fact("Without a pulse before it", "37 s"),
        Fact("Other arterial sites meanwhile", "stayed where they were"),
        Fact("Seconds of it", "3 s masked as artefact"),
    ]


@pytest.mark.parametrize(
    ("key", "value", "label", "text"),
    [
        ("delay_s", 12, "Delay", "12 s"),
        ("bubble_ml", 3.5, "Bubble", "3.5 mL"),
        ("pulse_lost", True, "Pulse lost", "yes"),
        ("by_site", {"left_radial": 8.25}, "By site", "left radial 8.2"),
    ],
)
def test_a_key_that_nobody_described_is_legible(key: str, value: object, label: str, text: str) -> None:
    assert facts_of(made("E13", {key: value})) == [Fact(label, text)]


def test_a_gap_of_a_haemoglobin_is_told_in_its_own_unit() -> None:
    find = made("A9", {"before": 8.9, "after": 8.8}, channels=("haemoglobin",))
    assert words(find) == {"Level around it": "before 8.9, after 8.8 g/dL"}


def test_other_arterial_sites_are_told_of_an_arterial_line_only() -> None:
    evidence = {"other_sites": "none recorded"}
    assert words(made("A1", evidence)) == {"Other arterial sites meanwhile": "none was recorded"}
    for channel in ("pa", "cvp", "outlet_temperature", "haemoglobin"):
        assert facts_of(made("A9", evidence, channels=(channel,))) == []


def test_crossings_are_told_only_where_start_and_end_are_not_the_same() -> None:
    assert facts_of(made("E13", {"crossings": [100.0, 160.0]})) == []
    assert facts_of(made("E05", {"crossings": [130.0]})) == [Fact("Crossed at", "", (130.0,))]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_what_a_rule_rests_on_is_said_once(rule: object) -> None:
    said = rests_on(rule).lower()  # type: ignore[arg-type]
    for status in ("this project's choice:", "common practice, no source:", "published: published"):
        assert status not in said or said.count(status.rstrip(":")) == 1, said


def test_a_low_pressure_after_an_arrest_is_called_the_ramp() -> None:
    end = Link("preceded by", "circulatory arrest, its end", "E17", "k", 19.0, at_s=81.0, at_end=True)
    flow_led = {"attribution": "flow-led"}
    assert subtitle(made("E13", flow_led, linked=(end,))) == ON_THE_RAMP
    assert subtitle(made("E13", flow_led)) == ""
    assert subtitle(made("E13", {"attribution": "tone-led"}, linked=(end,))) == ""
    assert subtitle(made("E13", flow_led, linked=(replace(end, at_end=False),))) == ""


def test_a_link_gives_its_lag_and_says_where_the_clocks_cannot_order() -> None:
    link = Link("preceded by", "unplanned pump stop", "E10", "k", 19.0)
    assert link_words(link) == "preceded by E10 unplanned pump stop"
    assert lag_words(link) == "19 s before this"
    assert lag_words(replace(link, lag_s=-300.0)) == "5.0 min after this"
    assert lag_words(replace(link, lag_s=0.2)) == "at the same second"
    assert "cannot order" in lag_words(replace(link, lag_s=None, ordered=False))


def test_each_link_of_the_demo_knows_when_the_other_was(demo_case: Case) -> None:
    found = find_all(demo_case)
    by_key = {one.key: one for one in found}
    links = [(one, link) for one in found for link in one.linked]
    assert any(link.at_end for _, link in links)
    for one, link in links:
        assert link.at_s is not None
        assert link.lag_s is not None
        assert one.start_s - link.at_s == pytest.approx(link.lag_s, abs=1.0)
        if link.key:
            other = by_key[link.key]
            assert link.at_s == (other.end_s if link.at_end else other.start_s)


def test_other_explanations_are_told_with_what_speaks_against_them() -> None:
    assert other_explanations({"alternatives": [{"what": "an arrest", "why_not": "it came back"}]}) == [
        "an arrest: it came back"
    ]
