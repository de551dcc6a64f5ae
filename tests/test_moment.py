"""What a moment is called when times are counted from it."""

from __future__ import annotations

import pytest
from afterclamp.annotate.phase_model import Boundary, Phase
from afterclamp.replay.moment import moment_words
from afterclamp.replay.strips.axis import TimeText


def phase(name: str, start: float, end: float, parent: str = "") -> Phase:
    return Phase(name, Boundary(start, "a rule"), Boundary(end, "a rule"), parent)


PHASES = [
    phase("bypass", 100.0, 1000.0),
    phase("going_on", 100.0, 150.0, "bypass"),
    phase("cooling", 150.0, 300.0, "bypass"),
    phase("lower_body_arrest", 300.0, 600.0, "bypass"),
    phase("no_flow_arrest", 300.0, 450.0, "lower_body_arrest"),
    phase("selective_cerebral", 450.0, 600.0, "lower_body_arrest"),
    phase("reperfusion", 600.0, 700.0, "bypass"),
]


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (300.0, "no flow"),  # cooling ends, and two phases begin
        (450.4, "brain perfusion"),
        (600.0, "reperfusion"),  # two phases end
        (1000.0, "end of bypass"),
        (700.0, "end of reperfusion"),
        (500.0, ""),
    ],
)
def test_what_begins_is_named_before_what_ends_and_the_circulation_first(at: float, words: str) -> None:
    assert moment_words(at, PHASES, (), (), {}) == words
    assert moment_words(at, PHASES[::-1], (), (), {}) == words


def test_the_name_fits_beside_the_axis() -> None:
    title = TimeText(zero_s=300.0, zero_name=moment_words(300.0, PHASES, (), (), {})).title
    assert title == "min:s from no flow"
