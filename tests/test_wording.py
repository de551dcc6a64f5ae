"""Times, numbers and names as tables and pages write them."""

from __future__ import annotations

import math

import pytest
from afterclamp.replay.wording import site_words, spread


@pytest.mark.parametrize(
    ("token", "words"),
    [
        ("cvp", "central venous"),
        ("pa", "pulmonary artery"),
        ("left_radial", "left radial"),
        ("pa and femoral", "pulmonary artery and femoral"),
        ("outlet_temperature", "outlet temperature"),
        ("arterial path", "arterial path"),
        ("monitor/art_2", "monitor/art_2"),
    ],
)
def test_channels_are_called_as_people_say_them(token: str, words: str) -> None:
    assert site_words(token) == words


def test_a_doubt_without_bounds_says_why() -> None:
    assert spread(math.inf) == "± unknown: clock not set"
    assert spread(2.04) == "± 2.0 s"
    assert spread(None) == "± ?"
