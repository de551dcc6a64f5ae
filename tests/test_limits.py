"""Limit sets: each limit has a source and a side, none is a verdict, and a wrong file is told apart."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from afterclamp.annotate.derived import Derived
from afterclamp.annotate.limits import LimitSet, built_in, default_sets
from afterclamp.io.errors import CaseError, FileUnreadable
from afterclamp.io.terms import parse_unit

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
    own = {
        "mean_arterial_pressure",
        "cerebral_saturation_of_baseline",
        "warming_gradient_cold",
        "warming_gradient_warm",
    }
    for limit in one:
        assert limit.source
        assert parse_unit(limit.unit) is not None or limit.unit in ("L/min/m2", "mL/min/m2", "Cel/min"), (
            limit.unit
        )
        assert limit.measure in own or hasattr(Derived, limit.measure), limit.measure


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


def test_rivals_are_named_beside_a_limit():
    published = LimitSet.load("published")
    assert "do2i-272" in [rival.id for rival in published.rivals_of(published["do2i-280"])]


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
