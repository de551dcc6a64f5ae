"""Small invented cases by seed: clean pressures with random artefacts and events laid in, and the truth of them.

`vary(seed)` gives ten to twenty minutes of two arterial lines, a venous and a pulmonary artery pressure and
the pump's flow, off bypass or on it. What is drawn (levels, rates, places, lengths, depths) is this project's
choice: each lies where the definitions of the patterns put it, well inside them. Artefacts and events never
overlap, nor lie closer than `APART_S`; one case in eight has neither.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import planting
from .courses import PULMONARY, VENOUS, Course, Points, Pressure, at, record
from .planting import SHAPES, Span
from .tables import Truth
from .trend import FloatArray
from .variation_events import EDGE_S, Levels, event_of, with_event

APART_S = 45.0
MOST_ARTEFACTS = 6
QUIET_EVERY = 8  # cases, one of which has nothing in it
EVENT_SHARE = 0.85  # of the others
# Cases in turn, so that few seeds hold everything: two of five on bypass, and each event after the other.
IN_TURN = (False, True, False, True, False)
IRREGULAR_SHARE = 0.2  # of hearts that beat: as in atrial fibrillation
IRREGULAR = 0.17
WANDER_S, WANDER_MMHG = 60.0, 2.5  # the means wander, so that no clean stretch is quite level
TRIES = 40

IN_TABLE = {"PA": "PAM"}
# Twice what only a pulsing artery can show.
ARTERIAL_SHAPES = (
    "zero", "flush", "sample", "damped", "ringing", "kink", "cuff", "noise", "gap", "frozen",
    "sample", "damped", "ringing", "cuff",
)  # fmt: skip
ON_BYPASS = ("zero", "flush", "sample", "kink", "noise", "gap", "frozen")
OTHER_SHAPES = ("zero", "flush", "noise", "gap", "frozen")
TOLERANCE_S = {"A2": 2, "A4": 30, "A5": 10, "A9": 2}


@dataclass(frozen=True, slots=True)
class Variation:
    """One small case.

    Attributes
    ----------
    seed, seconds, rate_hz : int
    on_bypass : bool
    waves : dict of str to ndarray
        Recorded pressures in mmHg, ``rate_hz`` samples a second, NaN where nothing was recorded: ``"LRAD"``,
        ``"FEM"`` or ``"RRAD"``, ``"CVP"``, ``"PA"``.
    flow : ndarray
        Of the pump, L/min, one value a second.
    truth : tuple of Truth
        Artefacts and events in order of start.
    """

    seed: int
    seconds: int
    rate_hz: int
    on_bypass: bool
    waves: dict[str, FloatArray]
    flow: FloatArray
    truth: tuple[Truth, ...]


def vary(seed: int) -> Variation:
    """The case of one seed; the same for the same seed."""
    rng = np.random.default_rng([seed, 7])
    seconds = int(rng.integers(600, 1201))
    rate_hz = int(rng.choice([100, 125]))
    on_bypass = IN_TURN[seed % len(IN_TURN)]
    levels = _levels(on_bypass, rng)
    event = event_of(levels, _turn(seed))
    arteries = ("LRAD", "FEM" if event.femoral else str(rng.choice(["FEM", "RRAD"])))
    quiet = seed % QUIET_EVERY == QUIET_EVERY - 1
    taken: list[Span] = []
    truth: list[Truth] = []
    course = _course(levels, arteries[1], seconds, rate_hz, rng)
    if not quiet and rng.random() < EVENT_SHARE:
        course, row, span = with_event(course, levels, arteries, event, rng)
        taken.append(span)
        truth.append(row)
    waves = record(course, seed)
    if not quiet:
        drawn: set[str] = set()
        for _ in range(int(rng.integers(3, MOST_ARTEFACTS + 1))):
            truth += _lay_one(waves, course, levels.on_bypass, taken, drawn, rng)
    flow = at(course.flow, np.arange(seconds, dtype=float)) + 0.02 * rng.standard_normal(seconds)
    truth.sort(key=lambda row: (row.start_s, row.code))
    return Variation(seed, seconds, rate_hz, levels.on_bypass, waves, flow, tuple(truth))


def _turn(seed: int) -> int:
    """How many earlier seeds are on the same side of bypass."""
    rounds, place = divmod(seed, len(IN_TURN))
    side = IN_TURN[place]
    return rounds * IN_TURN.count(side) + IN_TURN[:place].count(side)


def _levels(on_bypass: bool, rng: np.random.Generator) -> Levels:
    if not on_bypass:
        return Levels(
            False,
            arterial=float(rng.uniform(70, 90)),
            pulse=float(rng.uniform(38, 60)),
            venous=float(rng.uniform(6, 13)),
            pulmonary=float(rng.uniform(18, 34)),
            rate=float(rng.uniform(55, 110)),
            flow=0.0,
        )
    ejecting = bool(rng.random() < 0.6)
    return Levels(
        True,
        arterial=float(rng.uniform(58, 75)),
        pulse=float(rng.uniform(6, 14)) if ejecting else 0.0,
        venous=float(rng.uniform(3, 7)),
        pulmonary=float(rng.uniform(8, 12)),
        rate=float(rng.uniform(45, 85)) if ejecting else 0.0,
        flow=float(rng.uniform(3.8, 5.2)),
    )


def _course(levels: Levels, second: str, seconds: int, rate_hz: int, rng: np.random.Generator) -> Course:
    """The patient while nothing happens: levels that wander a little, together."""
    over = 14.0 if second == "RRAD" and levels.on_bypass else 2.0  # the inflow side over-reads
    t = np.arange(0, seconds + WANDER_S, WANDER_S)
    wander = WANDER_MMHG * rng.standard_normal(t.size)

    def wandering(level: float, share: float) -> Points:
        return tuple(zip(t.tolist(), (level + share * wander).tolist(), strict=True))

    irregular = rng.random() < IRREGULAR_SHARE
    return Course(
        seconds,
        rate_hz,
        {
            "LRAD": Pressure(wandering(levels.arterial, 1), _still(levels.pulse)),
            second: Pressure(
                wandering(levels.arterial + over, 1),
                _still(levels.pulse),
                natural_hz=22.0 if second == "FEM" else 14.7,
                damping=0.35 if second == "FEM" else 0.22,
            ),
            "CVP": Pressure(wandering(levels.venous, 0.15), _still(levels.pulse * 0.08), VENOUS),
            "PA": Pressure(wandering(levels.pulmonary, 0.3), _still(levels.pulse * 0.4), PULMONARY),
        },
        heart_rate=_still(levels.rate),
        flow=_still(levels.flow),
        variation=_still(float(rng.uniform(0.04, 0.2))),
        spread=IRREGULAR if irregular else float(rng.uniform(0.01, 0.04)),
    )


def _still(value: float) -> Points:
    return ((0.0, value),)


def _lay_one(
    waves: dict[str, FloatArray],
    course: Course,
    on_bypass: bool,
    taken: list[Span],
    drawn: set[str],
    rng: np.random.Generator,
) -> list[Truth]:
    """One artefact that was not drawn yet, in a free place; none where no place is found."""
    label = str(rng.choice(list(waves), p=[0.4, 0.4, 0.1, 0.1]))
    usual = (ON_BYPASS if on_bypass else ARTERIAL_SHAPES) if label in tuple(waves)[:2] else OTHER_SHAPES
    left = [name for name in (*usual, "height") if name not in drawn]
    if not left:
        return []
    name = str(rng.choice(left))
    drawn.add(name)
    labels = tuple(waves) if name == "height" else (label,)
    shape = SHAPES[name]
    length = float(np.round(rng.uniform(*shape.lengths_s), 1))
    start = _free(length, course.seconds, taken, rng)
    if start is None:
        return []
    taken.append((start, start + length))
    depth = float(rng.uniform(*shape.depths)) * (-1 if name == "height" and rng.random() < 0.5 else 1)
    for one in labels:
        line = course.pressures[one].line(course.rate_hz)
        waves[one], (start, end) = planting.plant(name, waves[one], line, start, length, rng, depth)
    channels = tuple(IN_TABLE.get(one, one) for one in labels)
    tolerance = float(TOLERANCE_S.get(shape.code, 5))
    return [
        Truth(shape.code, shape.label, start, end, channels, "", tolerance, f"{shape.depth}: {depth:.3g}")
    ]


def _free(length: float, seconds: int, taken: list[Span], rng: np.random.Generator) -> float | None:
    """Start of a place that is far enough from all that is taken."""
    for _ in range(TRIES):
        start = float(np.round(rng.uniform(EDGE_S, seconds - length - EDGE_S), 1))
        if all(start + length + APART_S <= first or start >= last + APART_S for first, last in taken):
            return start
    return None
