"""When a pulse that a kink takes away over many seconds began to be lost, and for how long others tell of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .artefact_numbers import KINK, LOST
from .line_seconds import LineSeconds
from .lost_shapes import LostStretch
from .parameter import numbers_of
from .pulse_course import STEP_S, lost, pulse_course
from .runs import close_gaps, joined_runs, median, running_mean, true_runs
from .wave_artefacts import Artefact

SMOOTH_S = 5.0  # over which power is a mean while its fall is followed: a breath is about as long
PAUSE_S = 6.0  # longest time in which it does not fall
SLOW_S = 5.0  # a fall that began by so much earlier than it seemed
SILENT_S = 30  # seconds in which no other line tells, from which it is open what the line shows
ARTERIAL = "arterial_pressure"


def slowly_lost(line: LineSeconds, stretch: LostStretch) -> LostStretch:
    """A stretch from where its pulse began to be lost, with the pulse before that; as it is where it was lost at once.

    Parameters
    ----------
    line : LineSeconds
        The line.
    stretch : LostStretch
        As `lost_pulse.lost_stretch` found it: with what is left of a pulse that fades, for the pulse before.
    """
    from .lost_pulse import AFTER_S, samples  # which asks for this

    by, of_lost = numbers_of(KINK), numbers_of(LOST)
    sharp = stretch.start
    values, rate, t0 = samples(
        line, sharp - by["slowest"] - of_lost["before"], stretch.course.time(stretch.last) + AFTER_S
    )
    if values.size < rate * of_lost["before"]:
        return stretch
    course = pulse_course(values, rate, t0, ripple_hz=stretch.course.ripple_hz)
    power = running_mean(course.power, int(SMOOTH_S / STEP_S) | 1)
    with np.errstate(invalid="ignore"):
        falling = power < by["falling"] / 100 * _mean_before(course.power, int(of_lost["before"] / STEP_S))
    at = course.index(sharp)
    began = next(
        (int(a) for a, b in true_runs(close_gaps(falling, int(PAUSE_S / STEP_S))) if a <= at <= b), at
    )
    if sharp - course.time(began) < SLOW_S:
        return stretch
    time = course.time(began)
    base = median(course.power[course.between(time - of_lost["before"], time - of_lost["clear"])])
    if not base >= stretch.base or not median(course.power[began:at]) < by["falling"] / 100 * base:
        return stretch
    gone = lost(course, base, of_lost["left"] / 100, of_lost["most"] ** 2 / 8)
    last = course.index(stretch.course.time(stretch.last))
    runs = [
        (int(a), int(b))
        for a, b in joined_runs(true_runs(gone), int(of_lost["joined"] / STEP_S))
        if b > began
    ]
    shared = [min(b, last) - max(a, began) for a, b in runs]
    if not runs or max(shared) <= 0:
        return stretch
    first, past = runs[int(np.argmax(shared))]
    return LostStretch(course, base, first, past, began)


def _mean_before(x: np.ndarray, width: int) -> np.ndarray:
    """Mean of the `width` values before each one, of those that are there; NaN without any."""
    there = np.isfinite(x)
    total = np.concatenate(([0.0], np.cumsum(np.where(there, x, 0.0))))
    count = np.concatenate(([0], np.cumsum(there)))
    last = np.arange(x.size)
    first = np.maximum(last - width, 0)
    number = count[last] - count[first]
    return np.where(number > 0, (total[last] - total[first]) / np.maximum(number, 1), np.nan)


def told_until(line: LineSeconds, beside: Sequence[LineSeconds], one: Artefact) -> float:
    """How long other lines show that a line without a pulse is shut; not after that, whatever it shows.

    Where every other line loses its pulse later on, as when the pump takes over, a flat line may be right again:
    it is told on only while its level against the other arteries is not what it was.
    """
    by = numbers_of(LOST)
    first, last = line.index(one.start), line.index(one.end - 1) + 1
    if last - first <= by["others_to"]:
        return one.end
    before = slice(max(first - int(by["before"]), 0), max(first - int(by["clear"]), 1))
    tells = np.zeros(last - first, bool)
    for other in beside:
        usual = median(other.swing[before])
        with np.errstate(invalid="ignore"):
            if usual >= by["least"]:
                tells |= other.swing[first:last] >= np.sqrt(by["others_kept"] / 100) * usual
            if other.channel.kind == ARTERIAL:
                apart = running_mean(line.mean - other.mean, 5)
                tells |= np.abs(apart[first:last] - median(apart[before])) >= KINK["drift"].value
    silent = true_runs(~close_gaps(tells, SILENT_S))
    return one.end if not silent.size else min(one.end, line.start + first + float(silent[0][0]))
