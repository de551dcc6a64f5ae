"""Limit sets: each limit has a source and a side, none is a verdict, and a wrong file is told apart."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from afterclamp.annotate.beat_course import BEAT_MEASURES
from afterclamp.annotate.derived import Derived
from afterclamp.annotate.figure_pressure import BANDS
from afterclamp.annotate.limit_measures import LIMIT_MEASURES
from afterclamp.annotate.limits import LimitSet, built_in, default_sets, in_force, oxygen_constants
from afterclamp.annotate.measures import OxygenConstants, arterial_oxygen_content, oxygen_delivery_index
from afterclamp.io.errors import CaseError, FileUnreadable
from afterclamp.io.recording import Segment
from afterclamp.io.terms import Identity
from own_limits import OURS
from recordings import case_of, even, recording

GOOD = """
name = "ours"
version = "1"

[[limit]]
id = "map-60"
measure = "mean_arterial_pressure"
phase = "post"
below = 60
unit = "mm[Hg]"
status = "U"
source = "our unit"
"""


@pytest.mark.parametrize("name", built_in())
def test_every_built_in_limit_has_source_unit_and_a_known_measure(name):
    one = LimitSet.load(name)
    assert len(one)
    for limit in one:
        assert limit.source
        assert limit.unit == LIMIT_MEASURES[limit.measure].unit, limit.id
        assert limit.written is None


def test_every_measure_that_a_limit_can_stand_on_is_one_that_figures_measure():
    elsewhere = {
        "cerebral_saturation_of_baseline",
        "warming_gradient_cold",
        "warming_gradient_warm",
        "brain_perfusion_pressure",
        "flow_by_weight",
        *BANDS,
        *BEAT_MEASURES,
    }
    for name, measure in LIMIT_MEASURES.items():
        assert name in elsewhere or hasattr(Derived, name), name
        assert measure.lowest < measure.highest


# UCUM: mm[Hg] is 133.322 Pa; a difference of 9 degrees Fahrenheit is one of 5 kelvin.
@pytest.mark.parametrize(
    ("measure", "value", "unit", "own", "written"),
    [
        ("mean_arterial_pressure", "60", "mmHg", 60, ""),
        ("mean_arterial_pressure", "8", "kPa", 8000 / 133.322, "8 kPa"),
        ("pump_flow_index", "2000", "mL/min/m2", 2.0, "2000 mL/min/m2"),
        ("outlet_temperature", "98.6", "°F", 37.0, "98.6 [degF]"),
        ("cooling_gradient", "18", "[degF]", 10.0, "18 [degF]"),
        ("cooling_gradient", "10", "K", 10.0, "10 K"),
        ("warming_rate", "0.9", "[degF]/min", 0.5, "0.9 [degF]/min"),
        ("warming_rate", "0.5", "°C/min", 0.5, ""),
        ("venous_saturation", "0.65", "1", 65.0, "0.65 1"),
        ("reservoir_volume", "0.4", "L", 400.0, "0.4 L"),
        ("pulmonary_to_systemic_ratio", "70", "%", 0.7, "70 %"),
        ("flow_by_weight", "6", "mL/kg/min", 6.0, ""),
    ],
)
def test_a_limit_is_converted_to_the_measure_s_own_unit(tmp_path: Path, measure, value, unit, own, written):
    one = written_as(tmp_path, measure, value, unit)["map-60"]
    assert one.value == pytest.approx(own)
    assert one.unit == LIMIT_MEASURES[measure].unit
    assert one.as_written == written


@pytest.mark.parametrize(
    ("measure", "value", "unit", "said"),
    [
        ("mean_arterial_pressure", "60", "L/min", "found the unit 'L/min'"),
        ("mean_arterial_pressure", "60", "mmmHg", "expected mm\\[Hg\\]"),
        ("mean_arterial_presure", "60", "mm[Hg]", "no measure is called 'mean_arterial_presure'"),
        ("mean_arterial_pressure", "60", "kPa", "450.038 mm\\[Hg\\] cannot be meant"),
        ("warming_rate", "0.5", "Cel", "expected Cel/min"),
        ("haemoglobin", "7", "mmol/L", "expected g/dL"),
        ("flow_by_weight", "6", "mL/min", "expected mL/kg/min"),
    ],
)
def test_a_limit_that_figures_cannot_go_by_is_refused_with_file_limit_and_what_was_expected(
    tmp_path: Path, measure, value, unit, said
):
    with pytest.raises(FileUnreadable, match=said) as caught:
        written_as(tmp_path, measure, value, unit)
    assert "ours.toml, key limit[1]: limit 'map-60'" in caught.value.sentence


def written_as(folder: Path, measure: str, value: str, unit: str) -> LimitSet:
    path = folder / "ours.toml"
    text = OURS.replace('"mean_arterial_pressure"', f'"{measure}"')
    path.write_text(text.replace("below = 60", f"below = {value}").replace('"mm[Hg]"', f'"{unit}"'))
    return LimitSet.load(path)


def test_what_a_file_says_it_had_written_must_be_so(tmp_path: Path):
    path = tmp_path / "ours.toml"
    path.write_text(OURS + 'written = { value = 7.0, unit = "kPa" }\n')
    with pytest.raises(FileUnreadable, match="leave out 'written'"):
        LimitSet.load(path)


def test_only_the_shipped_set_is_of_the_status_published(tmp_path: Path):
    path = tmp_path / "ours.toml"
    path.write_text(OURS.replace('status = "U"', 'status = "P"'))
    with pytest.raises(FileUnreadable, match="limit 'map-60' of the set 'ours' says status"):
        LimitSet.load(path)


def test_the_published_set_holds_only_what_was_read_and_says_where():
    for limit in LimitSet.load("published"):
        assert limit.status == "P"
        assert limit.read in ("source", "secondary")
        assert re.search(r"(19|20)\d\d|n = \d", limit.source + limit.note), limit.id
    assert "quotes it" in LimitSet.load("published")["map-50-on-bypass"].cited


def test_what_nobody_published_says_so():
    for limit in LimitSet.load("practice"):
        assert limit.status in ("C", "D")
        assert re.search("no source|project's choice|abstract", limit.source), limit.id


# Values as printed: EACTS/EACTA/EBCP 2019; Engelman 2015; de Somer 2011; Ranucci 2005 and 2018; Mukaida 2019.
@pytest.mark.parametrize(
    ("limit_id", "words"),
    [
        ("map-50-on-bypass", "below 50 mm[Hg]"),
        ("map-80-on-bypass", "above 80 mm[Hg]"),
        ("outlet-37", "at least 37 Cel"),
        ("cooling-gradient-10", "above 10 Cel"),
        ("warming-gradient-4", "above 4 Cel"),
        ("do2i-262", "below 262 mL/min/m2"),
        ("do2i-272", "below 272 mL/min/m2"),
        ("do2i-280", "below 280 mL/min/m2"),
        ("do2i-300", "below 300 mL/min/m2"),
    ],
)
def test_published_values(limit_id, words):
    assert LimitSet.load("published")[limit_id].words == words


# Limits that were read and that no figure goes by are named beside those that it does: Engelman 2015 (10 °C between
# outlet and venous blood on any rewarming, class I); a review in Semin Cardiothorac Vasc Anesth 2007;11:265-8 (lactate
# rises below about 260); Monk 2015, Wesselink 2018, Sessler 2019 and Ahuja 2020 on mean pressure.
@pytest.mark.parametrize(
    ("limit_id", "rivals"),
    [
        ("warming-gradient-4", {"above 10 Cel"}),
        ("do2i-280", {f"below {value} mL/min/m2" for value in (260, 262, 270, 272, 300)}),
        ("map-65-off-bypass", {f"below {value} mm[Hg]" for value in (49, 60, 70, 80)}),
        ("map-50-on-bypass", {"below 55 mm[Hg]", "below 65 mm[Hg]"}),
    ],
)
def test_published_rivals(limit_id, rivals):
    published = LimitSet.load("published")
    assert {one.words for one in published.rivals_of(published[limit_id])} == rivals


def test_rivals_are_named_beside_a_limit():
    published = LimitSet.load("published")
    assert "do2i-272" in [rival.id for rival in published.rivals_of(published["do2i-280"])]


def test_a_limit_that_says_the_same_is_no_rival():
    published = LimitSet.load("published")
    own = published["map-65-off-bypass"]
    assert "map-65-five-minutes" in own.rivals  # also 65 mmHg, for five minutes in all
    assert all(rival.words != own.words for rival in published.rivals_of(own))
    assert len(published.rivals_of(own)) == len(own.rivals) - 1


def test_a_limit_speaks_of_numbers_and_never_of_care():
    for one in default_sets():
        for limit in one:
            text = f"{limit.source} {limit.note}".lower()
            assert not re.search(r"\b(safe|unsafe|alarm|failure|error|should)\b", text), limit.id


def test_a_units_own_file_is_read(tmp_path: Path):
    path = tmp_path / "ours.toml"
    path.write_text(GOOD)
    one = LimitSet.load(path)
    assert one.title == "ours, version 1"
    assert one["map-60"].value == 60
    assert not one["map-60"].is_above


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("below = 60", "", "exactly one"),
        ("below = 60", "below = 60\nabove = 90", "exactly one"),
        ("below = 60", 'below = "60"', "limit[1].below"),
        ("below = 60", "under = 60", "under"),
        ('source = "our unit"', "", "source"),
        ('phase = "post"', 'phase = "later"', "limit[1].phase"),
        ('version = "1"', "version = 1", "version"),
        ('source = "our unit"', 'source = "our unit"\nrivals = ["map-55"]', "map-55"),
        ("[[limit]]", "[[limit", "TOML"),
    ],
)
def test_a_wrong_file_gives_one_sentence_with_the_key(tmp_path: Path, old: str, new: str, said: str):
    path = tmp_path / "ours.toml"
    path.write_text(GOOD.replace(old, new))
    with pytest.raises(FileUnreadable) as caught:
        LimitSet.load(path)
    assert said in str(caught.value)
    assert "ours.toml" in str(caught.value)


def test_two_limits_of_one_id_are_refused(tmp_path: Path):
    path = tmp_path / "ours.toml"
    path.write_text(GOOD + GOOD[GOOD.index("[[limit]]") :])
    with pytest.raises(FileUnreadable, match="map-60"):
        LimitSet.load(path)


def test_a_set_that_is_not_there_names_those_that_are():
    with pytest.raises(FileUnreadable, match="published"):
        LimitSet.load("guideline")
    with pytest.raises(CaseError, match="has no limit"):
        LimitSet.load("published")["map-1"]


# -- constants of oxygen content --------------------------------------------------------------------

OXYGEN = """
[oxygen]
capacity = 1.36
solubility = 0.003
status = "P"
source = "J Am Heart Assoc, PMC7792239"
"""


def own_set(folder: Path, oxygen: str = OXYGEN) -> LimitSet:
    path = folder / "ours.toml"
    path.write_text(GOOD.replace("[[limit]]", f"{oxygen}\n[[limit]]"))
    return LimitSet.load(path)


def test_without_a_choice_the_published_sets_constants_hold_and_say_whose_they_are():
    for sets in ((), default_sets()):
        found = oxygen_constants(None, sets)
        assert (found.capacity, found.solubility) == (1.34, 0.003)
        assert "this project's choice" in str(found)


def test_a_sets_own_constants_come_first(tmp_path: Path):
    found = oxygen_constants(None, (*default_sets(), own_set(tmp_path), LimitSet.load("practice")))
    assert (found.capacity, found.source) == (1.36, "J Am Heart Assoc, PMC7792239")


def test_a_set_of_constants_alone_leaves_the_limits_as_they_are(tmp_path: Path):
    path = tmp_path / "ours.toml"
    path.write_text(f'name = "ours"\nversion = "1"\n{OXYGEN}')
    ours = LimitSet.load(path)
    assert in_force(chosen=ours) == (*default_sets(), ours)
    assert oxygen_constants(None, in_force(chosen=ours)).capacity == 1.36
    assert in_force(chosen=own_set(tmp_path)) == (own_set(tmp_path),)
    path.write_text('name = "ours"\nversion = "1"\n')
    with pytest.raises(FileUnreadable, match=r"\[\[limit\]\]"):
        LimitSet.load(path)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("1.36", "136"),
        ("0.003", "0.3"),
        ("1.36", '"1.36"'),
        ('source = "J Am', 'sauce = "J Am'),
        ('"P"', '"X"'),
    ],
)
def test_constants_that_cannot_be_are_refused_with_the_key(tmp_path: Path, old: str, new: str):
    with pytest.raises(FileUnreadable, match="oxygen"):
        own_set(tmp_path, OXYGEN.replace(old, new, 1))


# Flow index 2.4, haemoglobin 8, saturation 1.0, tension 200 mmHg: 271.68 with 1.34 and 275.52 with 1.36, one on
# either side of the 272 of Ranucci, Ann Thorac Surg 2005;80:2213 (recomputed from the form in PMC7792239).
BODY_M2 = 0.007184 * 170**0.725 * 70**0.425  # Du Bois, Arch Intern Med 1916;17:863
SHEET = b"""
[patient]
height_cm = 170
weight_kg = 70
[oxygen]
arterial_saturation = 1.0
arterial_oxygen_mmhg = 200
[[haemoglobin]]
time = "0:00"
g_per_dl = 8
"""


def pump_case(folder: Path, flow: list[float]):
    channel = even("flow", np.array(flow, "f4"), [Segment(0.0, 0, len(flow), 1.0)], unit="L/min")
    made = recording("pump", [channel])
    case_of(folder, made, identities={"flow": Identity("pump_flow")}).close()
    (folder / "traces" / "case-sheet.toml").write_bytes(SHEET)
    from afterclamp.io import open_case

    return open_case(folder)


def test_measures_go_by_the_constants_that_are_chosen_for_the_case(tmp_path: Path):
    with pump_case(tmp_path / "case", [2.4 * BODY_M2] * 60) as case:
        before = Derived(case).oxygen_delivery_index
        case.edit(
            "mara",
            "limit",
            {"oxygen": {"capacity": 1.36, "solubility": 0.003, "status": "U", "source": "us"}},
        )
        edited = Derived(case).oxygen_delivery_index
        chosen = oxygen_constants(case, [own_set(tmp_path, OXYGEN.replace("1.36", "1.39"))])
        case.edit("mara", "limit", {"oxygen": {"capacity": 136}})
        spoiled = oxygen_constants(case)
    assert before.values[30] == pytest.approx(271.68, abs=0.01)
    assert edited.values[30] == pytest.approx(275.52, abs=0.01)
    assert "constants 1.36 mL/g and 0.003 mL/dL/mmHg (us)" in edited.note
    assert chosen.capacity == 1.39
    assert spoiled.capacity == 1.36


@pytest.mark.parametrize("constants", [OxygenConstants(1.34, 0.003), OxygenConstants(1.36, 0.003)])
def test_a_pump_at_rest_delivers_nothing(tmp_path: Path, constants: OxygenConstants):
    # At rest is 0.1 L/min or less: what a probe reads then is noise.
    flow = [0.08, 0.1, -0.05, 0.11, *[2.4 * BODY_M2] * 10, *[float("nan")] * 10, 0.0]
    with pump_case(tmp_path / "case", flow) as case:
        derived = Derived(case, constants=constants)
        index, delivery = derived.pump_flow_index, derived.oxygen_delivery_index
    content = float(arterial_oxygen_content(8, 1.0, 200, constants))
    assert index.values[:3].tolist() == [0, 0, 0]
    assert delivery.values[:3].tolist() == [0, 0, 0]
    assert index.values[3] == pytest.approx(0.11 / BODY_M2, rel=1e-6)
    assert delivery.values[5] == pytest.approx(float(oxygen_delivery_index(2.4, content)), rel=1e-6)
    assert np.isnan(index.values[20])  # not recorded is not at rest
    assert np.isnan(delivery.values[20])
