"""Patterns from beat to beat on beats made one by one: early beats, alternans, change with the breath."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from afterclamp.annotate.beats import Beats
from afterclamp.annotate.finds import Finds, find_in
from afterclamp.annotate.rules import by_code
from afterclamp.annotate.rules.beat_patterns import breath_variation, early_beats
from afterclamp.annotate.view import Facts, View
from trend_case import trend_view

RATE_S = 0.8


def beats(pulse: np.ndarray, length: np.ndarray | None = None) -> Beats:
    """Beats one after another with these pulses (mmHg) and lengths (s)."""
    lasting = np.full(pulse.size, RATE_S) if length is None else length
    end = np.cumsum(lasting)
    onset = end - lasting
    low = np.full(pulse.size, 60.0)
    return Beats(onset, end, low + pulse, low, low + 0.4 * pulse, onset + 0.2, pulse * 10)


def view_of(
    its: Beats, seconds: int, level: list[tuple[float, float]] | None = None, **facts: object
) -> View:
    view = trend_view(
        seconds,
        {"femoral": level or [(0, 80), (seconds, 80)]},
        pulse={"femoral": [(0, 50), (seconds, 50)]},
        believe="femoral",
        arterial=("femoral",),
    )
    return replace(view, beats={"femoral": its}, facts=Facts(**facts))  # type: ignore[arg-type]


def looked(view: View, code: str) -> Finds:
    return find_in(view, rules=[by_code(code)])


def alternating(count: int, difference: float, first: int, last: int) -> np.ndarray:
    number = np.arange(count)
    inside = (number >= first) & (number < last)
    return 50 + np.where(inside, difference / 2 * (1 - 2 * (number % 2)), 0.0)


def test_beats_strong_and_weak_by_turns_are_found_with_their_times() -> None:
    # 14 mmHg of 50 is 28 %; the limit is 8 %.
    (find,) = looked(view_of(beats(alternating(600, 14, 200, 400)), 470), "E29")
    assert find.start_s == pytest.approx(160, abs=10)
    assert find.end_s == pytest.approx(320, abs=10)


def test_less_than_8_per_cent_is_none() -> None:
    assert not looked(view_of(beats(alternating(600, 3.5, 200, 400)), 470), "E29").finds
    assert looked(view_of(beats(alternating(600, 5.0, 200, 400)), 470), "E29").finds


def test_beats_in_pairs_are_no_alternans() -> None:
    # Bigeminy: the intervals alternate with the pulses.
    pulse = alternating(600, 14, 200, 400)
    number = np.arange(600)
    length = np.where((number >= 200) & (number < 400), RATE_S + 0.15 * (1 - 2 * (number % 2)), RATE_S)
    assert not looked(view_of(beats(pulse, length), 470), "E29").finds


def breathing(count: int, share: float, breath_s: float = 5.0) -> np.ndarray:
    t = np.arange(count) * RATE_S
    return 50 * (1 + share / 2 * np.sin(2 * np.pi * t / breath_s))


def test_variation_with_the_breath_is_the_published_formula() -> None:
    # 100 * (PPmax - PPmin) / mean of the two: Michard et al. AJRCCM 2000;162:134-8; here 20 % by construction.
    its = beats(breathing(500, 0.20))
    course = breath_variation(view_of(its, 390), its, 5.0)
    assert np.nanmedian(course) == pytest.approx(20, abs=1.5)


@pytest.mark.parametrize(("share", "count"), [(0.20, 1), (0.11, 0)])
def test_more_than_13_per_cent_is_told(share: float, count: int) -> None:
    view = view_of(beats(breathing(500, share)), 390, chest_opened_s=None, tidal_volume_ml_per_kg=8.0)
    finds = looked(view, "E30")
    assert len(finds) == count
    if count:
        assert finds[0].evidence["label"] == "interpretable"


def test_an_open_chest_is_named_and_an_irregular_rhythm_holds_it_back() -> None:
    its = beats(breathing(500, 0.20))
    open_chest = looked(view_of(its, 390, chest_opened_s=0.0, tidal_volume_ml_per_kg=8.0), "E30")
    assert "not interpretable: open chest" in open_chest[0].evidence["label"]
    unknown = looked(view_of(its, 390), "E30")
    assert "tidal volume not known" in unknown[0].evidence["label"]
    rng = np.random.default_rng(4)
    length = RATE_S * (1 + 0.25 * rng.standard_normal(500).clip(-2, 2))
    irregular = looked(view_of(beats(breathing(500, 0.25), length), 380, tidal_volume_ml_per_kg=8.0), "E30")
    assert not irregular.finds
    assert all("irregular" in one.held_back for one in irregular.held_back)


def test_alternans_is_not_told_as_variation_with_the_breath() -> None:
    finds = looked(view_of(beats(alternating(600, 14, 100, 500)), 470, tidal_volume_ml_per_kg=8.0), "E30")
    assert not finds.finds
    assert any("by turns" in one.held_back for one in finds.held_back)


def dip(depth: float, seconds: float, back: bool = True) -> list[tuple[float, float]]:
    end = 300 + seconds
    after = 80 if back else 80 - depth
    return [(0, 80), (298, 80), (303, 80 - depth), (end, 80 - depth), (end + 15, after), (900, after)]


def early(count: int = 1100, at: tuple[int, ...] = (376, 380, 384, 400)) -> np.ndarray:
    length = np.full(count, RATE_S)
    for one in at:
        length[one - 1], length[one] = 0.6 * RATE_S, 1.4 * RATE_S
    return length


def test_a_dip_with_early_beats_that_comes_back_is_found() -> None:
    its = beats(np.full(1100, 50.0), early())
    (find,) = looked(view_of(its, 880, dip(24, 60)), "E04").finds
    assert find.start_s == pytest.approx(299, abs=5)
    assert find.evidence["early_beats"] >= 3


def test_without_early_beats_or_without_coming_back_it_is_none() -> None:
    regular = beats(np.full(1100, 50.0))
    assert not looked(view_of(regular, 880, dip(24, 60)), "E04").finds
    its = beats(np.full(1100, 50.0), early())
    assert not looked(view_of(its, 880, dip(24, 60, back=False)), "E04").finds
    assert not looked(view_of(its, 880, dip(12, 60)), "E04").finds  # 15 mmHg are needed
    assert not looked(view_of(its, 880, dip(40, 60)), "E04").finds  # a collapse has a rule of its own


def test_early_beats_are_counted_against_their_neighbours() -> None:
    its = beats(np.full(1100, 50.0), early(at=(100, 200, 300)))
    assert early_beats(its, 0, 880, 80) == 3
    assert early_beats(beats(np.full(1100, 50.0)), 0, 880, 80) == 0


def test_masked_seconds_alone_give_nothing() -> None:
    view = view_of(beats(alternating(600, 14, 0, 600)), 470, tidal_volume_ml_per_kg=8.0)
    blank = replace(view, values={"femoral": np.full(470, np.nan)}, masked={"femoral": np.ones(470, bool)})
    for code in ("E04", "E29", "E30"):
        assert not looked(blank, code).finds
