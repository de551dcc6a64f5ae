"""Seeded variations: short, the same again, and with what their truth says in the samples.

The limits of each pattern are those of the definitions that the project prints with it.
"""

from __future__ import annotations

import itertools
from collections import Counter
from functools import cache

import numpy as np
import pytest
from afterclamp.sample_traces.planting import SHAPES
from afterclamp.sample_traces.tables import Truth
from afterclamp.sample_traces.variation_events import OFF_BYPASS, ON_BYPASS
from afterclamp.sample_traces.variations import APART_S, IN_TABLE, Variation, vary

SEEDS = range(50)


@cache
def case(seed: int) -> Variation:
    made = vary(seed)
    for wave in made.waves.values():
        wave.flags.writeable = False
    return made


def rows(code: str, label: str = "") -> list[tuple[Variation, Truth]]:
    return [
        (case(seed), row)
        for seed in SEEDS
        for row in case(seed).truth
        if row.code == code and label in row.label and not (row.label.startswith("none") and not label)
    ]


def piece(made: Variation, label: str, start: float, end: float) -> np.ndarray:
    return made.waves[label][round(start * made.rate_hz) : round(end * made.rate_hz)]


def labels(made: Variation, row: Truth) -> list[str]:
    return [label for label in made.waves if IN_TABLE.get(label, label) in row.channels]


def beatwise(wave: np.ndarray, rate_hz: int) -> float:
    whole = wave[: wave.size // (2 * rate_hz) * 2 * rate_hz].reshape(-1, 2 * rate_hz)
    return float(np.median(np.ptp(whole, axis=1)))


def test_the_same_seed_gives_the_same_case_and_another_another():
    first, again, other = vary(3), vary(3), vary(4)
    assert first.truth == again.truth
    assert first.truth != other.truth
    for label, wave in first.waves.items():
        np.testing.assert_array_equal(wave, again.waves[label])
    np.testing.assert_array_equal(first.flow, again.flow)


def test_every_case_is_ten_to_twenty_minutes_of_two_arteries_and_the_rest():
    for seed in SEEDS:
        made = case(seed)
        assert 600 <= made.seconds <= 1200
        assert made.rate_hz in (100, 125)
        assert list(made.waves) in (["LRAD", "FEM", "CVP", "PA"], ["LRAD", "RRAD", "CVP", "PA"])
        assert {wave.size for wave in made.waves.values()} == {made.seconds * made.rate_hz}
        assert made.flow.size == made.seconds
        assert (made.flow.max() > 1) == made.on_bypass


def test_every_artefact_and_event_comes_and_some_cases_have_none():
    told = Counter(row.label for seed in SEEDS for row in case(seed).truth)
    assert set(told) == {shape.label for shape in SHAPES.values()} | {
        event.label for event in (*ON_BYPASS, *OFF_BYPASS)
    }
    empty = sum(not case(seed).truth for seed in SEEDS)
    assert 2 <= empty <= 14


def test_nothing_of_the_truth_overlaps_or_lies_close():
    for seed in SEEDS:
        spans = sorted((row.start_s, row.end_s) for row in case(seed).truth)
        for (_, end), (start, _) in itertools.pairwise(spans):
            assert start - end >= APART_S - 0.02
        assert all(0 < start < end < case(seed).seconds for start, end in spans)


def test_a_case_is_recorded_wherever_no_gap_is_planted():
    for seed in SEEDS:
        made = case(seed)
        for label, wave in made.waves.items():
            missing = np.isnan(wave)
            for row in made.truth:
                if row.label == "gap" and label in labels(made, row):
                    first, last = (round(at * made.rate_hz) for at in (row.start_s, row.end_s))
                    assert missing[first:last].all()
                    missing[first:last] = False
            assert not missing.any()


def test_every_height_shift_is_the_same_on_all_lines():
    for made, row in rows("A7"):
        assert labels(made, row) == list(made.waves)
        steps = [
            piece(made, label, row.start_s + 4, row.start_s + 34).mean()
            - piece(made, label, row.start_s - 30, row.start_s).mean()
            for label in made.waves
        ]
        assert 8 < abs(np.mean(steps)) < 22
        assert np.ptp(steps) < 6  # a step of 10 to 20, and means that wander


def test_a_tilted_table_moves_each_line_by_another_amount():
    for made, row in rows("A7", "tilted"):
        steps = [
            piece(made, label, row.start_s + 15, row.end_s - 5).mean()
            - piece(made, label, row.start_s - 30, row.start_s).mean()
            for label in made.waves
        ]
        assert np.ptp(steps) > 3


def test_every_flush_lies_over_180_after_three_tenths_of_a_second():
    for made, row in rows("A2"):
        (label,) = labels(made, row)
        assert piece(made, label, row.start_s + 0.3, row.end_s).min() > 180


@pytest.mark.parametrize("code", ["A1", "A3", "A5", "A6"])
def test_every_one_of_these_has_no_pulse_in_its_middle(code):
    assert rows(code)
    for made, row in rows(code):
        (label,) = labels(made, row)
        middle = (row.start_s + row.end_s) / 2
        assert beatwise(piece(made, label, middle - 2, middle + 2), made.rate_hz) < 6


def test_a_pulse_narrows_on_every_line_or_on_one_alone():
    def narrowed(made: Variation, row: Truth, label: str) -> float:
        inside = piece(made, label, row.start_s + 25, row.end_s - 25)
        return beatwise(inside, made.rate_hz) / beatwise(
            piece(made, label, row.start_s - 40, row.start_s), made.rate_hz
        )

    assert rows("A4", "damped")
    for made, row in rows("A4", "damped"):
        (label,) = labels(made, row)
        assert narrowed(made, row, label) < 0.62
        (other,) = [name for name in list(made.waves)[:2] if name != label] if label != "CVP" else ["LRAD"]
        assert narrowed(made, row, other) > 0.8
    for made, row in rows("A4", "narrows"):
        assert all(narrowed(made, row, label) < 0.75 for label in list(made.waves)[:2])


def test_in_an_arrest_every_artery_is_under_20_after_two_minutes_and_nothing_flows():
    assert rows("E17")
    for made, row in rows("E17"):
        for label in list(made.waves)[:2]:
            assert piece(made, label, row.start_s + 120, row.end_s - 1).max() < 20
        assert made.flow[int(row.start_s) + 4 : int(row.end_s) - 1].max() < 0.1


def test_a_collapse_lies_under_45_on_every_artery():
    assert rows("E02")
    for made, row in rows("E02"):
        for label in list(made.waves)[:2]:
            before = piece(made, label, row.start_s - 30, row.start_s).mean()
            fallen = piece(made, label, row.start_s + 26, row.end_s).mean()
            assert fallen < 45
            assert before - fallen >= max(25, 0.4 * before)


def test_without_flow_the_pulse_and_with_flow_the_level_is_as_before():
    for made, row in rows("E10"):
        assert made.flow[int(row.start_s) + 4 : int(row.end_s)].size == 0 or (
            made.flow[int(row.start_s) + 4 : int(row.end_s)].max() < 0.2
        )
        before = piece(made, "LRAD", row.start_s - 30, row.start_s).mean()
        after = piece(made, "LRAD", row.end_s + 45, row.end_s + 60).mean()
        assert after == pytest.approx(before, abs=8)
