"""The five questions (job.md 4.5) on made views whose answers are known by how they were made."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate.five_questions import (
    HUMAN_MARK,
    QUESTIONS,
    answers,
    downstream_follows,
    human_mark_near,
    shape_possible,
    sites_agree,
    time_base_right,
)
from afterclamp.annotate.limit_trace import limit_trace
from afterclamp.annotate.marks import Mark
from afterclamp.annotate.rules import Find
from afterclamp.annotate.rules.plainness import Plainness
from afterclamp.annotate.rules.rule import confidence
from afterclamp.annotate.view import View
from afterclamp.io.case import TimedNote

N = 1200
START, END = 600, 700
FIND = Find("E13", "hypotension on bypass", float(START), float(END), ("femoral",), "femoral")


def level(before: float, during: float, *, delay: int = 0, last: int = N) -> np.ndarray:
    """A line that goes from one level to another `delay` seconds after the find begins."""
    values = np.full(N, float(before))
    values[START + delay : last] = during
    return values


def view(**values: np.ndarray) -> View:
    arterial = tuple(name for name in values if name in ("femoral", "left_radial", "right_radial"))
    return View(
        0.0,
        values,
        arterial=arterial,
        believed="femoral",
        source=dict.fromkeys(values, "monitor"),
        clock_sd={"monitor": 0.0},
    )


# -- 1: do independent sites agree? -----------------------------------------------------------------


def test_sites_that_fall_together_agree() -> None:
    said = sites_agree(view(femoral=level(65, 45), left_radial=level(66, 47)), FIND)
    assert said.said == "yes"
    assert "left radial -19 mmHg" in said.words  # 47 less 66


def test_a_line_that_falls_alone_is_not_agreed_with() -> None:
    said = sites_agree(view(femoral=level(65, 45), left_radial=level(66, 66)), FIND)
    assert (said.said, "left radial stayed" in said.words) == ("no", True)


def test_a_site_that_moves_the_other_way_does_not_agree() -> None:
    assert sites_agree(view(femoral=level(65, 45), left_radial=level(66, 86)), FIND).said == "no"


def test_without_a_second_site_nobody_can_tell() -> None:
    assert sites_agree(view(femoral=level(65, 45)), FIND).said == "cannot tell"


def test_another_site_that_was_not_recorded_then_cannot_tell() -> None:
    said = sites_agree(view(femoral=level(65, 45), left_radial=level(66, math.nan)), FIND)
    assert said.said == "cannot tell"


def test_a_masked_line_beside_sites_that_stayed_is_alone() -> None:
    flush = replace(FIND, code="A2", site="")
    said = sites_agree(view(femoral=level(65, math.nan), left_radial=level(66, 66)), flush)
    assert (said.said, "masked" in said.words) == ("no", True)


# -- 2: does a downstream channel follow? -----------------------------------------------------------


def test_a_saturation_that_falls_afterwards_follows_with_its_delay() -> None:
    seen = view(femoral=level(65, 45), left_cerebral_saturation=level(65, 55, delay=45))
    said = downstream_follows(seen, FIND)
    assert said.said == "yes"
    assert (
        "fell by 10 points, beginning within 50 s" in said.words
    )  # the answer is read in steps of ten seconds


def test_a_saturation_that_fell_hours_later_does_not_follow() -> None:
    seen = view(femoral=level(65, 45), left_cerebral_saturation=level(65, 55, delay=420))
    assert downstream_follows(seen, FIND).said == "no"


def test_a_change_within_the_noise_of_before_is_none() -> None:
    noisy = level(65, 61) + np.tile([-4.0, 4.0], N // 2)
    assert downstream_follows(view(femoral=level(65, 45), left_cerebral_saturation=noisy), FIND).said == "no"


def test_nothing_downstream_recorded_cannot_tell() -> None:
    assert downstream_follows(view(femoral=level(65, 45)), FIND).said == "cannot tell"


def test_a_delay_over_two_clocks_carries_their_uncertainty() -> None:
    seen = view(femoral=level(65, 45), left_cerebral_saturation=level(65, 55, delay=45))
    apart = replace(
        seen,
        source={"femoral": "monitor", "left_cerebral_saturation": "oximeter"},
        clock_sd={"monitor": 0.0, "oximeter": 5.0},
    )
    assert "± 10 s" in downstream_follows(apart, FIND).words  # 1.96 times 5 s
    unset = replace(apart, clock_sd={"monitor": 0.0, "oximeter": math.inf})
    assert downstream_follows(unset, FIND).said == "cannot tell"


# -- 3: is the shape possible? ----------------------------------------------------------------------


def test_a_fall_over_many_seconds_is_possible() -> None:
    slow = np.interp(np.arange(N), [0, START, START + 20, N], [65, 65, 45, 45])
    assert shape_possible(view(femoral=slow), FIND).said == "yes"


def test_a_mean_that_jumps_by_two_hundred_in_a_second_is_not() -> None:
    said = shape_possible(view(femoral=level(65, 300)), FIND)
    assert (said.said, "235.0 mmHg" in said.words) == ("no", True)


def test_a_flush_is_told_by_what_its_rule_saw() -> None:
    flush = replace(FIND, code="A2", evidence={"seen": {"reason": "plateau at 300 mmHg for 2.0 s"}})
    said = shape_possible(view(femoral=level(65, math.nan)), flush)
    assert (said.said, "plateau at 300 mmHg" in said.words) == ("no", True)


def test_a_pump_can_stop_at_once() -> None:
    stop = Find("E10", "pump stop", float(START), float(START + 12), ("pump_flow",))
    assert shape_possible(view(pump_flow=level(4.5, 0.0), femoral=level(65, 45)), stop).said == "cannot tell"


# -- 4: is there a human mark? ----------------------------------------------------------------------


def note(t: float, sd: float = 0.0) -> TimedNote:
    return TimedNote(t, t, "sample drawn", sd, "log")


@pytest.mark.parametrize(
    ("at", "sd", "said"),
    [
        (590.0, 0.0, "yes"),  # ten seconds before it
        (650.0, 0.0, "yes"),  # within it
        (819.0, 0.0, "yes"),  # 119 s after its end
        (821.0, 0.0, "no"),  # two minutes and a second after its end
        (840.0, 20.0, "yes"),  # 140 s after it, but known to ± 39 s only
        (590.0, math.inf, "no"),  # nobody knows when that was written
    ],
)
def test_a_line_within_two_minutes_counts(at: float, sd: float, said: str) -> None:
    assert human_mark_near(FIND, [note(at, sd)]).said == said


def test_the_words_are_given_with_their_distance() -> None:
    assert "“sample drawn” (log, 10 s before its onset)" in human_mark_near(FIND, [note(590.0)]).words


def test_a_mark_that_came_of_the_find_itself_does_not_count() -> None:
    made = Mark("m", "span", "E13", "", 600.0, 700.0, (), None, "reviewer", "", "e", False)
    assert human_mark_near(FIND, (), [made]).said == "yes"
    of_it = replace(made, origin={"from": "rule", "finds": [{"key": FIND.key}]})
    assert human_mark_near(FIND, (), [of_it]).said == "no"


# -- 5: is the time base right? ---------------------------------------------------------------------


@pytest.mark.parametrize(("sd", "said"), [(1.0, "yes"), (40.0, "no"), (math.inf, "cannot tell")])
def test_two_clocks_are_right_within_a_minute(sd: float, said: str) -> None:
    seen = view(femoral=level(65, 45), pump_flow=level(4.5, 2.0))
    apart = replace(
        seen,
        source={"femoral": "monitor", "pump_flow": "pump"},
        clock_sd={"monitor": 0.0, "pump": sd},
    )
    both = replace(FIND, channels=("femoral", "pump_flow"))
    assert time_base_right(apart, both).said == said  # 1.96 times 40 s is over a minute


def test_one_clock_has_nothing_to_be_apart_from() -> None:
    assert time_base_right(view(femoral=level(65, 45)), FIND).said == "yes"


def test_all_five_in_the_order_of_the_questions() -> None:
    said = answers(view(femoral=level(65, 45)), FIND, [note(590.0)])
    assert len(said) == len(QUESTIONS) == 5
    assert said[HUMAN_MARK] == human_mark_near(FIND, [note(590.0)])


# -- beside them ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "evidence", "on"),
    [
        ({"femoral": level(65, 45)}, {"limit": 50.0, "during": 45.2}, "femoral"),
        ({"femoral": level(65, 45)}, {"limit": 50.0, "during": 12.0}, "femoral"),  # it crosses 50
        ({"femoral": level(65, 64)}, {"limit": 10.0, "during": 17.0}, ""),  # a difference, not the line
        ({"femoral": level(65, 45)}, {"during": 45.2}, ""),
    ],
)
def test_a_limit_is_drawn_only_on_a_line_that_it_is_a_limit_of(
    values: dict[str, np.ndarray], evidence: dict[str, float], on: str
) -> None:
    assert limit_trace(replace(FIND, evidence=evidence), view(**values)) == on


def test_a_plainness_knows_what_it_was_made_of() -> None:
    made = confidence(margin=0.5, duration=2.0, seen=0.5, agreement=1.0)
    assert made == 0.35  # (0.4 + 0.3 * 0.5 + 0.3 * 0.5) * 0.5, by hand
    assert isinstance(made, Plainness)
    assert (made.parts.margin, made.parts.duration, made.parts.seen) == (0.5, 2.0, 0.5)
