"""Events of the seeded variations, and what only looks like an artefact: each a change of a case's course.

Every event takes part in all the pressures that it would take part in; a near miss is what tells a good rule
from a quick one: a pulse that narrows on every line, a table tilted (each pressure by another amount).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .courses import Course, Points
from .planting import Span
from .tables import Truth
from .trend import FloatArray

ONSET_S = 120.0  # no event begins earlier
EDGE_S = 40.0


@dataclass(frozen=True, slots=True)
class Levels:
    """A patient's pressures (mmHg), heart rate (a minute) and pump flow (L/min) while nothing happens."""

    on_bypass: bool
    arterial: float
    pulse: float
    venous: float
    pulmonary: float
    rate: float
    flow: float


@dataclass(frozen=True, slots=True)
class Place:
    """Where an event lies, among which lines, and the numbers still to be drawn."""

    start: float
    end: float
    levels: Levels
    arteries: tuple[str, ...]
    rng: np.random.Generator


def _added(points: Points, start: float, down: float, end: float, up: float, by: float) -> Points:
    """A course with so much more from `down` seconds after the start to the end, back within `up` seconds."""
    seconds, values = zip(*points, strict=True)
    corners = (start, start + down, end, end + up)
    times = np.array(sorted({*seconds, *corners}))
    more = np.interp(times, corners, (0, by, by, 0))
    return _joined(times, np.interp(times, seconds, values) + more)


def _scaled(points: Points, start: float, down: float, end: float, up: float, factor: float) -> Points:
    seconds, values = zip(*points, strict=True)
    corners = (start, start + down, end, end + up)
    times = np.array(sorted({*seconds, *corners}))
    share = np.interp(times, corners, (1, factor, factor, 1))
    return _joined(times, np.interp(times, seconds, values) * share)


def _joined(times: FloatArray, values: FloatArray) -> Points:
    return tuple(zip(times.tolist(), values.tolist(), strict=True))


def _moved(
    course: Course, place: Place, labels: tuple[str, ...], by: float, pulse: float, down: float, up: float
) -> Course:
    """The means of these lines moved by so much, and their pulses multiplied."""
    pressures = dict(course.pressures)
    for label in labels:
        one = pressures[label]
        span = (place.start, down, place.end, up)
        pressures[label] = replace(
            one, mean=_added(one.mean, *span, by), pulse=_scaled(one.pulse, *span, pulse)
        )
    return replace(course, pressures=pressures)


def _hypotension(course: Course, place: Place) -> Course:
    level = place.rng.uniform(48, 60)
    down = float(place.rng.uniform(20, 60))
    return _moved(course, place, place.arteries, level - place.levels.arterial, 0.75, down, 50)


def _collapse(course: Course, place: Place) -> Course:
    level, pulse = place.rng.uniform(22, 35), float(place.rng.uniform(0, 0.1))
    down = float(place.rng.uniform(12, 25))
    fallen = _moved(course, place, place.arteries, level - place.levels.arterial, pulse, down, 40)
    return _moved(fallen, place, ("CVP",), 7, 1, 20, 40)


def _surge(course: Course, place: Place) -> Course:
    """From a low and narrow pressure up within the span; the venous pressure falls as fast."""
    start, end, levels = place.start, place.end, place.levels
    low = float(place.rng.uniform(50, 58))
    pressures = dict(course.pressures)
    for label in place.arteries:
        mean = ((start, low), (end, low + 40), (end + 100, levels.arterial))
        pulse = ((start, 22.0), (end, 52.0), (end + 100, levels.pulse))
        pressures[label] = replace(pressures[label], mean=mean, pulse=pulse)
    filled = ((start, levels.venous + 12), (end, levels.venous))
    pressures["CVP"] = replace(pressures["CVP"], mean=filled)
    return replace(course, pressures=pressures)


def _radial_gradient(course: Course, place: Place) -> Course:
    by = float(place.rng.uniform(-18, -13))
    return _moved(course, place, ("LRAD",), by, 0.55, 60, 60)


def _narrow_everywhere(course: Course, place: Place) -> Course:
    factor = float(place.rng.uniform(0.4, 0.5))
    narrow = _moved(course, place, place.arteries, 0, factor, 20, 20)
    return _moved(narrow, place, ("PA",), 0, factor, 20, 20)


def _table_tilted(course: Course, place: Place) -> Course:
    sign = float(place.rng.choice([-1, 1]))
    tilted = _moved(course, place, ("CVP",), sign * place.rng.uniform(5, 8), 1, 5, 5)
    tilted = _moved(tilted, place, ("PA",), sign * place.rng.uniform(2, 4), 1, 5, 5)
    return _moved(tilted, place, place.arteries, sign * place.rng.uniform(8, 14), 1, 12, 12)


def _fibrillation(course: Course, place: Place) -> Course:
    rate = place.levels.rate
    beating = ((place.start - 0.1, rate), (place.start, 0.0), (place.end, 0.0), (place.end + 0.1, rate))
    return replace(course, heart_rate=beating, fibrillating=((place.start, place.end),))


def _head_not_drained(course: Course, place: Place) -> Course:
    return _moved(course, place, ("CVP",), float(place.rng.uniform(13, 20)), 1, 20, 20)


def _low_tone(course: Course, place: Place) -> Course:
    level = place.rng.uniform(38, 46)
    down = float(place.rng.uniform(15, 40))
    return _moved(course, place, place.arteries, level - place.levels.arterial, 1, down, 50)


def _low_flow(course: Course, place: Place) -> Course:
    full = place.levels.flow
    reduced = full * float(place.rng.uniform(0.5, 0.7))
    flow = ((place.start, full), (place.start + 8, reduced), (place.end - 8, reduced), (place.end, full))
    fall = place.levels.arterial * (reduced / full - 1)
    return replace(_moved(course, place, place.arteries, fall, 1, 30, 40), flow=flow)


def _pump_stands(course: Course, place: Place) -> Course:
    """No flow: every arterial pressure runs down towards 8 mmHg, and comes back within 40 s of flow."""
    full, tau_s = place.levels.flow, float(place.rng.uniform(12, 20))
    flow = ((place.start, full), (place.start + 3, 0.0), (place.end, 0.0), (place.end + 10, full))
    t = np.arange(place.start, place.end + 1, 2.0)
    pressures = dict(course.pressures)
    for label in place.arteries:
        seconds, values = zip(*pressures[label].mean, strict=True)
        before, after = np.interp((place.start, place.end + 40), seconds, values).tolist()
        run_down = _joined(t, 8 + (before - 8) * np.exp(-(t - place.start) / tau_s))
        head = tuple(point for point in pressures[label].mean if point[0] < place.start)
        tail = tuple(point for point in pressures[label].mean if point[0] > place.end + 40)
        mean = (*head, *run_down, (place.end + 40, after), *tail)
        pressures[label] = replace(pressures[label], mean=mean)
    return replace(course, pressures=pressures, flow=flow)


def _arrest(course: Course, place: Place) -> Course:
    rate, start, end = place.levels.rate, place.start, place.end
    beating = ((start, rate), (start + 5, 0.0), (end + 30, 0.0), (end + 40, rate))
    return replace(_pump_stands(course, place), heart_rate=beating)


@dataclass(frozen=True, slots=True)
class Event:
    """One kind of event.

    Attributes
    ----------
    code, label : str
        As in the truth tables; the label of a near miss begins with ``none (near miss)``, and its code is that
        of the artefact it could be taken for.
    change : callable
        Course and place to the course with it.
    lengths_s : (float, float)
        Between which its length is drawn.
    after_s : float
        Until everything is back.
    venous : bool
        Whether the truth names the venous pressure too; ``only_venous``: it alone.
    femoral : bool
        Whether it shows only where there is a femoral line.
    """

    code: str
    label: str
    change: Callable[[Course, Place], Course]
    lengths_s: tuple[float, float]
    after_s: float
    venous: bool = False
    only_venous: bool = False
    femoral: bool = False


_NARROW = Event(
    "A4", "none (near miss): pulse narrows on every line", _narrow_everywhere, (90, 200), 40, True
)
_TILT = Event("A7", "none (near miss): table tilted", _table_tilted, (60, 150), 30, True)
_COLLAPSE = Event("E02", "pressure collapse", _collapse, (40, 110), 60, True)
_GRADIENT = Event("E22a", "radial-femoral gradient", _radial_gradient, (310, 400), 80, femoral=True)
_LOSS_OF_EJECTION = Event("E06", "loss of ejection", _fibrillation, (60, 240), 20)
_ARREST = Event("E17", "circulatory arrest", _arrest, (150, 320), 90)

# What could most easily be taken for an artefact stands more than once and comes as often.
OFF_BYPASS = (
    Event("E01", "hypotension off bypass", _hypotension, (90, 300), 70),
    Event("E03", "decompression surge", _surge, (40, 60), 120, True),
    _COLLAPSE, _COLLAPSE, _NARROW, _NARROW, _TILT, _TILT, _GRADIENT,
)  # fmt: skip
ON_BYPASS = (
    Event("E09", "upper-body drainage obstruction", _head_not_drained, (90, 200), 40, True, True),
    Event("E10", "unplanned pump stop", _pump_stands, (6, 30), 60),
    Event("E11", "low flow index", _low_flow, (200, 320), 60),
    Event("E13", "hypotension on bypass", _low_tone, (100, 260), 70),
    _LOSS_OF_EJECTION, _ARREST, _ARREST, _TILT,
)  # fmt: skip


def event_of(levels: Levels, turn: int) -> Event:
    """The event whose turn it is, among those that this patient can have."""
    if not levels.on_bypass:
        return OFF_BYPASS[turn % len(OFF_BYPASS)]
    can = [event for event in ON_BYPASS if levels.pulse > 0 or event is not _LOSS_OF_EJECTION]
    return can[turn % len(can)]


def with_event(
    course: Course, levels: Levels, arteries: tuple[str, ...], event: Event, rng: np.random.Generator
) -> tuple[Course, Truth, Span]:
    """One event laid into a course.

    Returns
    -------
    course : Course
    truth : Truth
    taken : (float, float)
        Seconds in which anything is unlike before, the way back included.
    """
    length = float(np.round(rng.uniform(*event.lengths_s)))
    last = course.seconds - length - event.after_s - EDGE_S
    start = float(np.round(rng.uniform(min(ONSET_S, last), max(ONSET_S, last))))
    changed = event.change(course, Place(start, start + length, levels, arteries, rng))
    channels = ("CVP",) if event.only_venous else (*arteries, *(("CVP",) if event.venous else ()))
    truth = Truth(event.code, event.label, start, start + length, channels, "", 15.0, "")
    begins = 0.0 if event.code == "E03" else start  # all before it is low and narrow
    return changed, truth, (begins, start + length + event.after_s)
