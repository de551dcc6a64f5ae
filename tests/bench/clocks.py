"""How well clocks are found: simulated pairs of recorders with known clocks, by seed.

Each set is an invented hour or more of an operation (going on, one to three stops, coming off), seen by a
reference and by a recorder whose clock has an offset, a drift and, in half of the sets, a step; in half of
them the recorder also lost some of its rows. Three families:

- ``shared``: the recorder wrote down the pressure that the reference recorded;
- ``coupled``: the recorder wrote down the pump's flow, the reference a pressure that answers to it;
- ``saturation``: the recorder wrote down a saturation every 5 s, the reference the pump's flow (no steps).

Run as ``python tests/bench/clocks.py [sets] [even|odd]``: it prints, for each family, the median error, the coverage of
the 95 % intervals, false and missed steps, and how often unrelated recordings are told apart. Constants of
the estimator were chosen on even seeds; what counts are the odd ones.
"""

from __future__ import annotations

import itertools
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from afterclamp.annotate.align.coupled import match_answer, match_flow
from afterclamp.annotate.align.courses import Course, Rows
from afterclamp.annotate.align.shared import match_same
from afterclamp.annotate.align.steps import Pieces
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

STEP_S = 0.05
FAMILIES = ("shared", "coupled", "saturation")


@dataclass(frozen=True)
class Scene:
    """One invented operation: flow, pressure and saturation along true time, evenly every 0.05 s."""

    length_s: float
    flow: FloatArray
    pressure: FloatArray
    saturation: FloatArray

    def at(self, name: str, t: FloatArray) -> FloatArray:
        values: FloatArray = getattr(self, name)
        return np.interp(t, np.arange(len(values)) * STEP_S, values)


@dataclass(frozen=True)
class Truth:
    """How the recorder's clock really went: ``stamp = t (1 + drift) + offset``."""

    offset_s: float
    drift_ppm: float
    step_s: float = 0.0  # 0: none
    step_at_s: float = np.nan
    gap: tuple[float, float] = (np.nan, np.nan)


@dataclass(frozen=True)
class Pair:
    """What an estimator is given, and the truth."""

    rows: Rows
    course: Course
    truth: Truth


def scene(rng: np.random.Generator) -> Scene:
    """An invented operation of 60 to 90 min."""
    length = float(rng.uniform(3600, 5400))
    t = np.arange(round(length / STEP_S)) * STEP_S
    seconds = np.arange(int(length) + 2, dtype=float)
    flow = _flow(rng, seconds, length)
    run_off = _first_order(flow, rng.uniform(4, 14), rng.uniform(4, 14))
    tone = 14.0 * (1 + 0.12 * _wander(rng, len(seconds), 90.0))
    filling = rng.uniform(8, 14)
    beating = np.clip(1 - _first_order(flow, 20.0, 20.0) / 2.0, 0, 1)
    beating *= (seconds < _first(flow)) | (seconds > _last(flow))
    heart = _first_order(beating * rng.uniform(45, 60), 3.0, 15.0) * (
        1 + 0.06 * _wander(rng, len(seconds), 40.0)
    )
    mean = filling + tone * run_off + heart + 1.0 * _wander(rng, len(seconds), 15.0)
    on = np.interp(t, seconds, mean)
    beats = np.interp(t, seconds, beating)
    rate = rng.uniform(0.9, 1.6) * (1 + 0.03 * np.interp(t, seconds, _wander(rng, len(seconds), 30.0)))
    phase = 2 * np.pi * np.cumsum(rate) * STEP_S
    breath = np.sin(2 * np.pi * t * rng.uniform(0.17, 0.27))
    wave = on + beats * (18 * np.sin(phase) + 6 * np.sin(2 * phase + 0.7) + 1.5 * breath)
    wave += (1 - beats) * 0.7 * np.sin(2 * np.pi * 2.2 * t)
    wave += 0.5 * rng.standard_normal(len(t))
    return Scene(length, np.interp(t, seconds, flow), wave, np.interp(t, seconds, _saturation(rng, flow)))


def _flow(rng: np.random.Generator, seconds: FloatArray, length: float) -> FloatArray:
    """Off, on, one to three stops, a few lower levels, off again."""
    full = rng.uniform(3.5, 5.0)
    on, off = rng.uniform(300, 700), length - rng.uniform(300, 600)
    points = [(0.0, 0.0), (on, 0.0), (on + rng.uniform(20, 90), full)]
    stops = int(rng.integers(1, 4))
    edges = np.linspace(on + 200, off - 400, stops + 1)
    for low, high in itertools.pairwise(edges):
        room = high - low
        begin = low + rng.uniform(0.1, 0.3) * room
        end = begin + rng.uniform(0.25, 0.5) * room
        if rng.random() < 0.5:
            dip = low + 0.02 * room
            points += [(dip, full), (dip + 10, 0.6 * full), (dip + 60, 0.6 * full), (dip + 70, full)]
        points += [
            (begin, full), (begin + rng.uniform(2, 10), 0.0), (end, 0.0),
            (end + rng.uniform(10, 60), 0.9 * full),
        ]  # fmt: skip
    points += [(off - 300, points[-1][1]), (off, 0.0), (length + 10, 0.0)]
    when, level = zip(*points, strict=True)
    return np.interp(seconds, when, level)


def _first(flow: FloatArray) -> int:
    return int(np.flatnonzero(flow > 0.05)[0])


def _last(flow: FloatArray) -> int:
    return int(np.flatnonzero(flow > 0.05)[-1])


def _saturation(rng: np.random.Generator, flow: FloatArray) -> FloatArray:
    """Falls while nothing flows, comes back in minutes, and wanders."""
    level = rng.uniform(62, 72)
    fall, rise = rng.uniform(150, 600), rng.uniform(40, 120)
    started = np.arange(len(flow)) >= _first(flow)
    stopped = started & (np.arange(len(flow)) <= _last(flow)) & (flow < 0.05)
    target = np.where(stopped, level - rng.uniform(20, 30), level)
    return _first_order(target, rise, fall) + 1.5 * _wander(rng, len(flow), 240.0)


def _first_order(x: FloatArray, rise_s: float, fall_s: float) -> FloatArray:
    """First-order answer with its own time up and down, one value a second."""
    out = np.empty(len(x))
    y = x[0]
    for i, target in enumerate(x):
        y += (target - y) * (1 - np.exp(-1 / (rise_s if target > y else fall_s)))
        out[i] = y
    return out


def _wander(rng: np.random.Generator, count: int, time_s: float) -> FloatArray:
    """Noise that hangs together over `time_s`, standard deviation 1, one value a second."""
    from scipy.signal import lfilter

    keep = np.exp(-1 / time_s)
    drive = rng.standard_normal(count) * np.sqrt(1 - keep**2)
    drive[0] = rng.standard_normal()
    return np.asarray(lfilter([1.0], [1.0, -keep], drive))


def clock(rng: np.random.Generator, length: float, *, steps: bool) -> Truth:
    """An invented clock."""
    offset = float(rng.uniform(-1800, 1800)) + 3600 * float(rng.choice([0, 0, 0, -1, 1]))
    step, at = 0.0, np.nan
    if steps and rng.random() < 0.5:
        step = float(rng.choice([-1, 1]) * rng.uniform(5, 120))
        at = float(rng.uniform(0.25, 0.75) * length)
    gap = (np.nan, np.nan)
    if rng.random() < 0.5:
        start = float(rng.uniform(0.1, 0.9) * length)
        gap = (start, start + float(rng.uniform(20, 120)))
    return Truth(offset, float(rng.normal(0, 40)), step, at, gap)


def stamped(truth: Truth, length: float, every_s: float) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Stamps on whole seconds of the recorder's clock, the true times they stand for, and their runs."""
    rate = 1 + truth.drift_ppm * 1e-6
    stamps, times, runs = [], [], []
    bounds = [0.0, length] if not truth.step_s else [0.0, truth.step_at_s, length]
    for k, (low, high) in enumerate(itertools.pairwise(bounds)):
        offset = truth.offset_s + k * truth.step_s
        ticks = np.arange(np.ceil((low * rate + offset) / every_s), np.ceil((high * rate + offset) / every_s))
        stamp = ticks * every_s
        stamps.append(stamp)
        times.append((stamp - offset) / rate)
        runs.append(np.full(len(stamp), k if truth.step_s < 0 else 0, np.intp))
    stamp, t, run = np.concatenate(stamps), np.concatenate(times), np.concatenate(runs)
    there = ~((t >= truth.gap[0]) & (t < truth.gap[1]))
    return stamp[there], t[there], run[there]


def pair(family: str, seed: int, *, unrelated: bool = False) -> Pair:
    """The pair of one seed; the two sides are of two operations if unrelated."""
    rng = np.random.default_rng([seed, FAMILIES.index(family), int(unrelated)])
    seen = scene(rng)
    other = scene(rng) if unrelated else seen
    truth = clock(rng, other.length_s, steps=family != "saturation")
    stamp, t, run = stamped(truth, other.length_s, 5.0 if family == "saturation" else 1.0)
    if family == "shared":
        # Where its second lies about the stamp is not known; written in tenths or whole mmHg.
        late = rng.uniform(-0.5, 0.5)
        value = second_before(other.pressure, t - late)
        value += 0.3 * rng.standard_normal(len(value))
        spoilt = rng.random(len(value)) < 0.01
        value[spoilt] += rng.normal(0, 30, int(spoilt.sum()))
        value = np.round(value, int(rng.integers(0, 2)))
        course = Course(0.0, STEP_S, second_before(seen.pressure, np.arange(len(seen.pressure)) * STEP_S))
    elif family == "coupled":
        # The pressure follows the flow after some two seconds, which the scene does not hold.
        late = rng.normal(0.0, 2.0)
        value = np.round(second_before(other.flow, t + 2.0 + late) + 0.02 * rng.standard_normal(len(t)), 2)
        course = Course(0.0, STEP_S, second_before(seen.pressure, np.arange(len(seen.pressure)) * STEP_S))
    else:
        late = rng.normal(0.0, 2.5)
        value = np.rint(other.at("saturation", t - 3.0 - late) + 0.8 * rng.standard_normal(len(t)))
        grid = np.arange(0, seen.length_s, 1.0)
        flow = seen.at("flow", grid) + 0.02 * rng.standard_normal(len(grid))
        fine = np.arange(round(seen.length_s / STEP_S)) * STEP_S
        course = Course(0.0, STEP_S, np.interp(fine - 0.5, grid, flow))
    good = np.isfinite(value)
    return Pair(
        Rows(stamp[good], value[good], run[good], 5.0 if family == "saturation" else 1.0), course, truth
    )


def second_before(wave: FloatArray, t: FloatArray) -> FloatArray:
    """Mean of the second before each time, NaN where it is not whole."""
    total = np.concatenate(([0.0], np.cumsum(wave) * STEP_S))
    grid = np.arange(len(total)) * STEP_S
    inside = (t >= 1.0) & (t <= grid[-1])
    return np.where(inside, np.interp(t, grid, total) - np.interp(t - 1.0, grid, total), np.nan)


# -- the estimator and its score ---------------------------------------------------------------------


@dataclass(frozen=True)
class Score:
    """What came out for one pair; everything NaN where it could not be told."""

    told: bool
    error_s: float = np.nan  # of the first offset
    sd_s: float = np.nan
    drift_error_ppm: float = np.nan
    drift_sd_ppm: float = np.nan
    steps: int = 0
    step_error_s: float = np.nan
    step_at_error_s: float = np.nan
    middle_errors: tuple[float, ...] = ()  # of the time of each piece's middle, in its own sd


def solved(family: str, given: Pair) -> Pieces | None:
    """The clock as the program finds it."""
    if family == "shared":
        same = match_same(given.rows, given.course)
        return same.pieces if same is not None else None
    matched = (match_flow if family == "coupled" else match_answer)(given.rows, given.course)
    return matched.pieces if matched is not None else None


def score(family: str, given: Pair) -> Score:
    """One pair against its truth."""
    pieces, truth = solved(family, given), given.truth
    if pieces is None:
        return Score(False)
    first = pieces.pieces[0]
    steps = [piece for piece in pieces.pieces if np.isfinite(piece.step_s)]
    step_error = at_error = np.nan
    if truth.step_s and len(steps) == 1:
        step_error = steps[0].step_s - truth.step_s
        inside = given.rows.run == steps[0].run
        inside &= given.rows.stamp >= steps[0].from_stamp
        offset = truth.offset_s + truth.step_s
        # What was lost when it was set hides the moment, and the estimate says so.
        hidden = truth.gap[0] <= truth.step_at_s < truth.gap[1]
        at_error = (
            np.nan
            if hidden
            else (given.rows.stamp[inside][0] - offset) / (1 + truth.drift_ppm * 1e-6) - truth.step_at_s
        )
    return Score(
        told=True,
        error_s=first.offset_s - truth.offset_s,
        sd_s=pieces.offset_sd_s,
        drift_error_ppm=pieces.drift_ppm - truth.drift_ppm,
        drift_sd_ppm=pieces.drift_sd_ppm,
        steps=len(steps),
        step_error_s=step_error,
        step_at_error_s=at_error,
        middle_errors=tuple(_middle_errors(given, pieces)),
    )


def _middle_errors(given: Pair, pieces: Pieces) -> Iterator[float]:
    """For each piece: error of the reference time of its middle row, in the piece's own sd."""
    rows, truth = given.rows, given.truth
    rate, true_rate = 1 + pieces.drift_ppm * 1e-6, 1 + truth.drift_ppm * 1e-6
    starts = [
        int(np.flatnonzero((rows.run == p.run) & (rows.stamp >= p.from_stamp))[0]) for p in pieces.pieces
    ]
    for piece, low, high in zip(pieces.pieces, starts, [*starts[1:], len(rows.stamp)], strict=True):
        k = (low + high) // 2
        found = (rows.stamp[k] - piece.offset_s) / rate
        true = (rows.stamp[k] - truth.offset_s) / true_rate
        if truth.step_s and (true > truth.step_at_s or rows.run[k] > 0):
            true = (rows.stamp[k] - truth.offset_s - truth.step_s) / true_rate
        yield (found - true) / piece.sd_s


def summary(family: str, related: list[Score], unrelated: list[Score], free: list[bool]) -> str:
    """One family in words; `free` says which related sets had no step."""
    told = [one for one in related if one.told]
    error = np.array([one.error_s for one in told])
    covered = np.abs(error) <= 1.96 * np.array([one.sd_s for one in told])
    drift = np.abs([one.drift_error_ppm for one in told]) <= 1.96 * np.array(
        [one.drift_sd_ppm for one in told]
    )
    middles = np.abs([z for one in told for z in one.middle_errors]) <= 1.96
    false = sum(one.steps > 0 for one, none in zip(related, free, strict=True) if none and one.told)
    stepped = [one for one, none in zip(related, free, strict=True) if not none and one.told]
    found = [one for one in stepped if one.steps == 1 and abs(one.step_error_s) <= 1.0]
    late = [abs(one.step_at_error_s) for one in found if np.isfinite(one.step_at_error_s)]
    return (
        f"{family}: told {len(told)} of {len(related)}; error median {np.median(np.abs(error)):.2f} s, "
        f"95 % within {np.percentile(np.abs(error), 95):.2f} s, bias {np.median(error):+.2f} s; "
        f"intervals cover {100 * covered.mean():.1f} % (offset), {100 * middles.mean():.1f} % (middle of each piece), "
        f"{100 * drift.mean():.1f} % (drift; median sd {np.median([one.drift_sd_ppm for one in told]):.0f} ppm); "
        f"false steps {false} of {sum(none and one.told for one, none in zip(related, free, strict=True))}; "
        f"steps to 1 s {len(found)} of {len(stepped)}"
        + (f", dated to {max(late):.1f} s; " if late else "; ")
        + f"unrelated: cannot tell {sum(not one.told for one in unrelated)} of {len(unrelated)}"
    )


def main(arguments: list[str]) -> int:
    """Score related sets, a third of them of each family, and a third as many unrelated ones."""
    sets = int(arguments[0]) if arguments else 1000
    parity = {"even": 0, "odd": 1}.get(arguments[1] if len(arguments) > 1 else "")
    begun = time.perf_counter()
    for number, family in enumerate(FAMILIES):
        count = sets // 3 + (number < sets % 3)
        seeds = [
            s for s in range(2 * count if parity is not None else count) if parity is None or s % 2 == parity
        ]
        pairs = [pair(family, seed) for seed in seeds]
        related = [score(family, one) for one in pairs]
        unrelated = [
            score(family, pair(family, seed, unrelated=True)) for seed in seeds[: max(1, count // 3)]
        ]
        print(summary(family, related, unrelated, [not one.truth.step_s for one in pairs]), flush=True)
    print(f"{time.perf_counter() - begun:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
