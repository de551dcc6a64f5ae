"""Rules and phases on whatever may come: nothing raises, every time lies in the record, a shift shifts all."""

from __future__ import annotations

import math
import tempfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
from afterclamp.annotate import finds, phases
from afterclamp.annotate.beats import find_beats
from afterclamp.annotate.finds import Finds, find_in
from afterclamp.annotate.order import Stretch
from afterclamp.annotate.phases import Phase
from afterclamp.annotate.quality import artefacts
from afterclamp.annotate.still import frozen_rows, frozen_wave, off_scale
from afterclamp.annotate.view import Facts, View
from afterclamp.annotate.wave_artefacts import device_patterns, fast_flushes, open_to_air
from afterclamp.io.case import Case
from afterclamp.io.recording import RecordedChannel, Segment
from afterclamp.io.terms import Identity
from hypothesis import Phase as Part
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import START, case_of, even, recording
from trend_case import demo_view

ARTERIAL = ("femoral", "left_radial", "right_radial")
OTHERS = {
    "cvp": (0.0, 30.0),
    "pa": (5.0, 60.0),
    "pump_flow": (0.0, 6.0),
    "reservoir_volume": (0.0, 3000.0),
    "outlet_temperature": (12.0, 39.0),
    "venous_temperature": (12.0, 38.0),
    "nasopharyngeal_temperature": (12.0, 38.0),
    "venous_saturation": (30.0, 95.0),
}
LEVELS = {**dict.fromkeys(ARTERIAL, (-20.0, 320.0)), **OTHERS}


SEEDS = st.integers(0, 1_000_000)
"""Everything is made from a seed: a number is easier to read in a report than an hour of samples."""


def line(rng: np.random.Generator, n: int, low: float, high: float) -> np.ndarray:
    """Pieces of nothing, of one value, of a ramp, of noise and of spikes, one after another."""
    out = np.empty(n)
    at = 0
    while at < n:
        stop = min(n, at + int(rng.choice((1, 2, 12, 60, 150, 400, 2000))))
        kind = rng.choice(("nothing", "flat", "zero", "ramp", "noise", "spikes", "holes"))
        a, b = low + (high - low) * rng.random(2)
        piece = np.full(stop - at, a)
        if kind == "nothing":
            piece[:] = np.nan
        elif kind == "zero":
            piece[:] = 0.0
        elif kind == "ramp":
            piece = np.linspace(a, b, stop - at)
        elif kind == "noise":
            piece = a + (high - low) / 20 * rng.standard_normal(stop - at)
        elif kind == "spikes":
            piece[rng.random(stop - at) < 0.1] = b
        elif kind == "holes":
            piece[rng.random(stop - at) < 0.5] = np.nan
        out[at:stop] = piece
        at = stop
    return out


def some(rng: np.random.Generator, names: list[str], most: int) -> list[str]:
    return [str(name) for name in rng.permutation(names)[: rng.integers(1, most + 1)]]


def any_view(seed: int) -> View:
    """A view of any channels, sources and clocks, of one second or of an hour."""
    rng = np.random.default_rng(seed)
    n = int(rng.choice((1, 2, 7, 59, 200, 700, 3600)))
    values = {name: line(rng, n, *LEVELS[name]) for name in some(rng, sorted(LEVELS), len(LEVELS))}
    arterial = tuple(name for name in ARTERIAL if name in values)
    sds = rng.choice((0.0, 0.5, 30.0, math.inf), 3)
    steps = (Stretch(-math.inf, (0, 0), float(sds[1])), Stretch(100.0, (1, 0), float(sds[2])))
    return View(
        start=float(rng.integers(-4000, 4000)),
        values=values,
        pulse={name: np.abs(line(rng, n, 0.0, 80.0)) for name in arterial if rng.random() < 0.6},
        masked={name: line(rng, n, 0.0, 1.0) > 0.5 for name in arterial},
        arterial=arterial,
        believed=str(rng.choice(("", *arterial, *arterial))),
        source={name: str(rng.choice(("monitor", "pump"))) for name in values},
        clock_sd={"monitor": 0.0, "pump": float(sds[0])},
        clocks={"pump": steps} if rng.random() < 0.5 else {},
        interval={name: float(rng.choice((1.0, 10.0))) for name in values},
        facts=Facts() if rng.random() < 0.5 else Facts(70.0, 4.4, 36.0, "axillary", "right"),
    )


def looked_at(view: View) -> tuple[Finds, list[Phase]]:
    found = phases.propose(view)
    return find_in(view.with_phases(found)), found


def assert_within(start: float, end: float, found: Finds, proposed: list[Phase]) -> None:
    for one in (*found, *found.held_back, *proposed):
        assert start <= one.start_s <= one.end_s <= end, one
    for find in (*found, *found.held_back):
        assert 0.0 <= find.confidence <= 1.0
        assert not math.isnan(find.unc_s)
        for t in find.evidence["crossings"]:
            assert start <= t <= end
    for phase in proposed:
        assert phase.start.unc_s >= 0
        assert phase.end.unc_s >= 0
    for length in phases.durations(proposed).values():
        assert length.unc_s >= 0
        assert length.total_s >= 0
    keys = [find.key for find in (*found, *found.held_back)]
    assert len(set(keys)) == len(keys)


@given(SEEDS)
@settings(max_examples=200)
def test_nothing_raises_and_all_times_lie_in_the_record(seed: int) -> None:
    view = any_view(seed)
    found, proposed = looked_at(view)
    assert_within(view.start, view.start + view.n, found, proposed)


def moved(found: Finds, proposed: list[Phase], by: float) -> list[tuple[Any, ...]]:
    return [
        *((one.code, one.subtype, one.start_s + by, one.end_s + by, one.held_back != "", one.confidence)
          for one in (*found, *found.held_back)),
        *((one.name, one.start_s + by, one.end_s + by, one.parent) for one in proposed),
    ]  # fmt: skip


@given(SEEDS, st.integers(-100_000, 100_000))
@settings(max_examples=60)
def test_a_record_that_lies_later_has_the_same_finds_as_much_later(seed: int, by: int) -> None:
    view = any_view(seed)
    clocks = {
        name: tuple(one._replace(from_s=one.from_s + by) for one in found)
        for name, found in view.clocks.items()
    }
    later = replace(view, start=view.start + by, clocks=clocks)
    assert moved(*looked_at(later), 0.0) == moved(*looked_at(view), float(by))


def test_the_invented_case_an_hour_later_has_the_same_finds_an_hour_later() -> None:
    view = demo_view(seed=4)
    assert moved(*looked_at(replace(view, start=3600.0)), 0.0) == moved(*looked_at(view), 3600.0)


# -- waves -----------------------------------------------------------------------------------------


@given(SEEDS, st.sampled_from((50.0, 100.0, 124.945, 500.0)), st.integers(0, 3000))
@settings(max_examples=200)
def test_shapes_and_beats_on_a_wave_lie_within_it(seed: int, rate: float, n: int) -> None:
    wave = line(np.random.default_rng(seed), n, -30.0, 320.0)
    finite = wave[np.isfinite(wave)]
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (math.nan, math.nan)
    assert off_scale(wave, rate, low, high).shape == wave.shape
    seen = [(one.start, one.end) for one in (*open_to_air(wave, rate, 7.0), *fast_flushes(wave, rate, 7.0))]
    seen += [(one.start, one.end) for one in device_patterns(wave, rate, 7.0)]
    seen += frozen_wave(wave, rate, 7.0)
    seen += frozen_rows(7.0 + np.arange(finite.size) / rate, finite, 1 / rate)
    found = find_beats(wave, rate, 7.0)
    seen += list(zip(found.onset, found.end, strict=True))
    for start, end in seen:
        assert 7.0 <= start <= end <= 7.0 + n / rate + 1e-9


# -- cases on disk ---------------------------------------------------------------------------------

IDENTITIES = {
    "art": Identity("arterial_pressure", "radial", "left", "wave"),
    "fem": Identity("arterial_pressure", "femoral", "", "wave"),
    "cvp": Identity("central_venous_pressure", "", "", "wave"),
    "flow": Identity("pump_flow"),
    "np": Identity("temperature", "nasopharyngeal"),
    "svo2": Identity("venous_saturation"),
}
UNITS = {"art": "mmHg", "fem": "mmHg", "cvp": "mmHg", "flow": "L/min", "np": "Cel", "svo2": "%"}
RANGES = {
    "art": (-20, 300),
    "fem": (-20, 300),
    "cvp": (-5, 30),
    "flow": (0, 6),
    "np": (15, 38),
    "svo2": (30, 95),
}


def any_exports(seed: int) -> list[tuple[str, list[tuple[Any, ...]]]]:
    """Sources with channels of 1 or 100 samples a second, and clocks that jump or are set back."""
    rng = np.random.default_rng(seed)
    made = []
    for source in ("monitor", "pump")[: rng.integers(1, 3)]:
        channels = []
        for label in some(rng, sorted(IDENTITIES), 4):
            wave = label in ("art", "fem", "cvp")
            n = int(rng.choice((1, 2, 90, 200)))
            count = n * 100 if wave and n > 2 else n
            cut = int(rng.integers(0, count + 1))
            parts = [(0.0, cut), (float(rng.choice((-30.0, 0.0, 45.0))), count - cut)]
            values = line(rng, count, *map(float, RANGES[label]))
            channels.append((label, values, 100.0 if wave else 1.0, parts))
        made.append((source, channels))
    return made


def _channel(
    label: str, values: np.ndarray, rate: float, parts: list[tuple[float, int]], at: float
) -> RecordedChannel:
    segments, first, start, run = [], 0, at, 0
    for jump, count in parts:
        start += jump
        run += jump < 0 and first > 0
        if count:
            segments.append(Segment(start, first, count, rate, run=run))
        first += count
        start += count / rate
    known = np.isfinite(values)
    return even(label, np.nan_to_num(values).astype("f4"), segments, unit=UNITS[label], valid=known)


def _case(folder: str, made: list[Any], at: float) -> Case:
    sources = [
        recording(
            name,
            [_channel(*channel, at) for channel in channels],
            first_stamp=START + timedelta(seconds=13 * k),
        )
        for k, (name, channels) in enumerate(made)
    ]
    return case_of(Path(folder) / "case", *sources, identities=IDENTITIES)


@given(SEEDS)
@settings(max_examples=12, phases=[Part.generate])  # another seed is no smaller example
def test_a_case_of_anything_is_looked_at_without_raising_and_a_shift_of_all_sources_shifts_all(
    seed: int,
) -> None:
    made = any_exports(seed)
    told = []
    for at in (0.0, 500.0):
        with tempfile.TemporaryDirectory() as folder, _case(folder, made, at) as case:
            proposed = phases.phases(case)
            found = finds.find(case)
            assert_within(case.span.start - 1.0, case.span.end + 1.0, found, proposed)
            for channel in case.channels:
                for one in artefacts(channel):
                    assert channel.span.start - 1e-6 <= one.start <= one.end <= channel.span.end + 1e-6
            told.append(moved(found, proposed, 500.0 - at))
            for horizon in (case.span.start, (case.span.start + case.span.end) / 2):
                early = case.until(horizon)
                assert_within(
                    min(case.span.start, horizon) - 1.0,
                    horizon + 1e-6,
                    finds.find(early),
                    phases.phases(early),
                )
    assert [row[:2] for row in told[0]] == [row[:2] for row in told[1]]
    for before, after in zip(*told, strict=True):
        for a, b in zip(before, after, strict=True):
            assert a == b or abs(a - b) < 0.02  # one sample of 100 a second may round the other way


def test_what_is_made_reaches_what_it_is_for() -> None:
    reached: set[str] = set()
    for seed in range(120):
        found, proposed = looked_at(any_view(seed))
        reached.update(one.code for one in (*found, *found.held_back))
        reached.update(one.name for one in proposed)
    assert {"E01", "E13", "E16", "bypass", "pre", "post"} <= reached
