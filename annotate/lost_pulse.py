"""Pulse or ripple lost on one line alone: a closed tap, a kink or wedge, a cuff (A3, A5, A6).

Seconds show where to look; there the samples say when the movement was lost and came back, the other lines
whether the patient lost it too, and the shape which of the three it was (`lost_shapes`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .artefact_numbers import FLUSH, KINK, LOST, SAMPLE
from .line_seconds import LineSeconds
from .lost_shapes import LostStretch, closed_tap, cuff, kink
from .lost_slowly import slowly_lost, told_until
from .own_shapes import other_site
from .parameter import Numbers, numbers_of
from .pulse_course import NOISES, STEP_S, PulseCourse, lost, pulse_course, pump_ripple_hz
from .runs import BoolArray, FloatArray, joined_runs, mean, median, running_mean, true_runs
from .wave_artefacts import Artefact

ARTERIAL, PULMONARY, VENOUS = "arterial_pressure", "pulmonary_artery_pressure", "central_venous_pressure"

QUIET, QUIET_NOISES, NOISIEST = 2.0, 2.5, 2.0  # mmHg and roughnesses of a second without a pulse
UNKNOWN_ROUGH = 0.8  # mmHg, of a wave that is sampled too slowly to tell
WEDGE_QUIET = 0.45  # of the swing before, under which a second of a pulmonary artery line may be wedged
WINDOW_S, AFTER_S = 130.0, 45.0  # samples that are read before and after what is looked at
MORE = 8.0  # times as much is read where a stretch goes on
FOLLOW_S = 15.0  # seconds after a stretch that must be read to tell what it was
HIGH_PERCENTILE = 75  # of the power before, which a stretch of loss hardly moves
PLAUSIBLE = 5.0  # mmHg from which a value that stands still can be a pressure
SMALL_POWER = 2.0  # mmHg squared under which a movement may be a pump's ripple


def lost_pulse(line: LineSeconds, others: tuple[LineSeconds, ...]) -> list[Artefact]:
    """A3, A5 and A6 of one line.

    Parameters
    ----------
    line : LineSeconds
        A line; without a wave of pressure in mmHg there is nothing to lose.
    others : tuple of LineSeconds
        The other lines of its case. A kink or a cuff is told only where another pressure kept its movement.

    Returns
    -------
    list of Artefact
        In order of time, none overlapping another.
    """
    channel = line.channel
    if not channel.is_wave or channel.unit != "mm[Hg]" or channel.kind not in (ARTERIAL, PULMONARY, VENOUS):
        return []
    beside = tuple(other for other in others if _speaks_for(line, other))
    found: list[Artefact] = []
    for start, end in _candidates(line, beside):
        if any(one.start - LOST["joined"].value <= end and start <= one.end for one in found):
            continue
        one = _told(line, beside, others, start, end)
        if one is not None:
            found.append(one)
    return sorted(found, key=lambda one: one.start)


def _speaks_for(line: LineSeconds, other: LineSeconds) -> bool:
    """Whether another line shows what the patient does: an arterial one of another site, or a pulmonary one."""
    channel, beside = line.channel, other.channel
    if not beside.is_wave or beside.unit != "mm[Hg]" or beside.kind not in (ARTERIAL, PULMONARY):
        return False
    return other_site(channel, beside) or (
        beside.source == channel.source and (beside.kind != channel.kind or not beside.site)
    )


# -- where to look ---------------------------------------------------------------------------------


def _candidates(line: LineSeconds, beside: Sequence[LineSeconds]) -> Iterator[tuple[float, float]]:
    """Reference seconds without much movement: before a flush, after a pulse, or while a level leaves the others."""
    by, tap, bend = numbers_of(LOST), numbers_of(SAMPLE), numbers_of(KINK)
    quiet = _quiet(line)
    for one in line.own:
        if one.code == "A2":
            # After openings to air, and so little recorded right before it, the stretch may lie further back.
            start = _closed_before(line, one, tap["flush"])
            before = slice(max(line.index(start - by["core"]) - 1, 0), line.index(start))
            seen = np.isfinite(line.swing[before])
            if seen.any() and quiet[before][seen].mean() >= 0.5:
                yield start - tap["shortest"], start
        elif _still(one) and beside:
            yield one.start, one.end
    if line.channel.kind == VENOUS or not beside:
        return
    for first, last in joined_runs(true_runs(quiet), 2):
        length = last - first
        pulsed = median(line.swing[max(first - int(by["before"]), 0) : first])
        if by["core"] <= length <= bend["longest"] and pulsed >= 2 * QUIET:
            yield line.start + first, line.start + last
    if line.channel.kind != ARTERIAL:
        return
    for first, last in true_runs(quiet & _left_the_others(line, beside, 0.8 * bend["drift"])):
        if last - first >= by["core"]:
            yield line.start + first, line.start + last


def _closed_before(line: LineSeconds, flush: Artefact, within: float) -> float:
    """Start of a flush, or of the openings to air that it follows at once."""
    start = flush.start
    for one in reversed(line.own):
        if one.code in ("A1", "A2") and one.start < start <= one.end + within:
            start = one.start
    return start


def _quiet(line: LineSeconds) -> BoolArray:
    """Seconds whose swing may be noise or a ripple; on a pulmonary artery line also that of a wedge."""
    rough = np.where(np.isfinite(line.rough), np.minimum(line.rough, NOISIEST), UNKNOWN_ROUGH)
    limit = QUIET + QUIET_NOISES * rough
    if line.channel.kind == PULMONARY:
        limit = np.maximum(limit, WEDGE_QUIET * _past(line.swing, int(LOST["before"].value), 3))
    with np.errstate(invalid="ignore"):
        return np.asarray(line.swing <= limit)


def _left_the_others(line: LineSeconds, beside: Sequence[LineSeconds], least: float) -> BoolArray:
    """Seconds in which the level against every other arterial line is not what it was in the time before."""
    away = np.ones(line.count, bool)
    lines = [other for other in beside if other.channel.kind == ARTERIAL]
    for other in lines:
        apart = running_mean(line.mean - other.mean, 5)
        with np.errstate(invalid="ignore"):
            moved = np.abs(apart - _past(apart, int(KINK["past"].value), 15)) >= least
        away &= moved | ~np.isfinite(apart)
    return away & bool(lines)


def _past(x: FloatArray, seconds: int, gap: int) -> FloatArray:
    """Mean of the `seconds` that end `gap` seconds earlier, of those that are there; NaN without any."""
    there = np.isfinite(x)
    total = np.concatenate(([0.0], np.cumsum(np.where(there, x, 0.0))))
    count = np.concatenate(([0], np.cumsum(there)))
    last = np.maximum(np.arange(x.size) - gap, 0)
    first = np.maximum(last - seconds, 0)
    number = count[last] - count[first]
    return np.where(number > 0, (total[last] - total[first]) / np.maximum(number, 1), np.nan)


def _still(one: Artefact) -> bool:
    """Whether a stretch was called unusable because its value stands still, in itself or at the lowest of all."""
    return one.code == "A9" and one.evidence.get("what") in ("frozen", "off scale")


# -- the samples there -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Others:
    """What the other lines did meanwhile: how many kept their movement, and whether any went with it."""

    kept: tuple[str, ...]
    went: bool


def _told(
    line: LineSeconds,
    beside: Sequence[LineSeconds],
    others: Sequence[LineSeconds],
    start: float,
    end: float,
) -> Artefact | None:
    """What a stretch is, or None where its movement was not lost, or not on this line alone."""
    stretch = lost_stretch(line, start, end)
    if stretch is None:
        return None
    frozen = any(_still(own) and own.start < end and start < own.end for own in line.own)
    # A value that stands still exactly may be a perfect cuff, but lies anywhere in a beat: no drift tells anything.
    for shape in (closed_tap, cuff) if frozen else (closed_tap, cuff, kink):
        one = shape(line, slowly_lost(line, stretch) if shape is kink else stretch)
        if one is None:
            continue
        seen = _of_others(beside, stretch, one)
        alone = not seen.kept
        if seen.went or (alone and (one.code != "A3" or not _still_alone(stretch))):
            return None
        if (alone or one.code != "A3") and (_pump_changed(others, one) or _head_followed(line, others, one)):
            return None
        said = ", ".join(seen.kept) if seen.kept else "none"
        end = told_until(line, beside, one) if one.code == "A5" else one.end
        return replace(one, end=end, evidence={**one.evidence, "others_kept": said})
    return None


def lost_stretch(line: LineSeconds, start: float, end: float, after: float = AFTER_S) -> LostStretch | None:
    """The stretch without pulse or ripple that most of ``[start, end)`` belongs to, or None.

    Read from the samples of that time and around it: with little movement, that of the pump's ripple alone.
    """
    by = numbers_of(LOST)
    values, rate, t0 = samples(line, start - WINDOW_S, end + after)
    if values.size < rate * by["before"]:
        return None
    course = pulse_course(values, rate, t0)
    if _usual(course, start, end) < SMALL_POWER:
        before = values[: max(int((end - t0) * rate), 0)]
        hz = pump_ripple_hz(before, rate)
        course = pulse_course(values, rate, t0, ripple_hz=hz) if hz else course
    base = _usual(course, start, end)
    run = (0, 0)
    for _ in range(2):  # once with what is usual here, once with what was there right before
        longest = _longest(course, base, start, end, by, line.channel.kind)
        if longest is None:
            return None
        run = longest
        lost_at = course.time(run[0])
        base = median(course.power[course.between(lost_at - by["before"], lost_at - by["clear"])])
        if not base >= by["least"] ** 2 / 8:  # a sinusoid of so much from highest to lowest
            return None
    first, last = run
    if after < KINK["longest"].value and course.time(last) > end + after - FOLLOW_S:
        upto = line.channel.span.end
        if end + after < upto:
            return lost_stretch(line, start, end, min(after * MORE, KINK["longest"].value))
    return LostStretch(course, base, first, last)


def _usual(course: PulseCourse, start: float, end: float) -> float:
    piece = course.power[course.between(start - WINDOW_S, min(end, start + WINDOW_S))]
    piece = piece[np.isfinite(piece)]
    return float(np.percentile(piece, HIGH_PERCENTILE)) if piece.size else 0.0


def _longest(
    course: PulseCourse, base: float, start: float, end: float, by: Numbers, kind: str
) -> tuple[int, int] | None:
    """The longest run without movement that shares the shortest length with ``[start, end)``."""
    most = np.inf if kind == PULMONARY else by["most"] ** 2 / 8
    gone = lost(course, base, by["left"] / 100, most)
    wanted = course.between(start, end)
    least = by["core"] / 2 / STEP_S
    joined = by["joined"] if not course.ripple_hz else max(by["joined"], course.window_s)
    runs = [
        (int(first), int(last))
        for first, last in joined_runs(true_runs(gone), int(joined / STEP_S))
        if min(last, wanted.stop) - max(first, wanted.start) >= least
    ]
    return max(runs, key=lambda run: run[1] - run[0], default=None)


def samples(line: LineSeconds, start: float, end: float) -> tuple[FloatArray, float, float]:
    """Samples of a line on an even grid, NaN where not recorded and while an artefact of its own shape lasts.

    A value that stands still stays where it can be a pressure.

    Returns
    -------
    values : ndarray
    rate_hz, t0 : float
        Samples per second, and the reference second of the first.
    """
    channel = line.channel
    rate = float(f"{1 / channel.interval_s:.6g}")
    start = max(start, channel.span.start)
    read = channel.read(start, min(end, channel.span.end))
    if not read.t.size:
        return np.zeros(0), rate, start
    t0 = float(read.t[0])
    at = np.round((read.t - t0) * rate).astype(np.intp)
    values = np.full(int(at[-1]) + 1, np.nan)
    values[at] = read.values
    upto = t0 + values.size / rate
    for one in line.own:
        ring = FLUSH["ring"].value if one.code == "A2" else 0.0
        if one.end + ring <= t0 or one.start >= upto:
            continue
        span = slice(max(round((one.start - t0) * rate), 0), round((one.end + ring - t0) * rate))
        if not (_still(one) and np.nanmin(values[span], initial=np.inf) >= PLAUSIBLE):
            values[span] = np.nan
    return values, rate, t0


def _still_alone(stretch: LostStretch) -> bool:
    """Whether nothing of a movement is left and the level did not fall with it.

    Without another line a pressure that fell, or that still quivers, may be the patient's, and a flush follow it.
    """
    course = stretch.course
    inside = slice(stretch.first, stretch.last)
    left = median(course.power[inside] - NOISES * course.doubt[inside])
    early = median(course.level[stretch.first : min(stretch.last, stretch.first + int(10 / STEP_S))])
    return bool(left < LOST["least"].value ** 2 / 8 and stretch.level_before - early <= SAMPLE["alone"].value)


# -- the others ------------------------------------------------------------------------------------


def _of_others(beside: Sequence[LineSeconds], stretch: LostStretch, one: Artefact) -> _Others:
    """Which other lines kept movement and level; whether any lost or changed either."""
    by = numbers_of(LOST)
    kept: list[str] = []
    went = False
    lost_from, lost_to = stretch.start, min(stretch.end, stretch.start + by["others_to"])
    for other in beside:
        level = _change(other.mean, other, one.start, one.end, by)
        values, rate, t0 = samples(other, one.start - by["before"], lost_to)
        course = pulse_course(values, rate, t0, ripple_hz=stretch.course.ripple_hz)
        before = median(course.power[course.between(one.start - by["before"], one.start - by["clear"])])
        meanwhile = median(course.power[course.between(lost_from, lost_to)])
        if np.isfinite(level) and abs(level) > by["others_level"]:
            went = True
        if not (np.isfinite(before) and np.isfinite(meanwhile)) or before < by["least"] ** 2 / 8:
            continue  # had nothing to lose, or is not there
        if meanwhile < by["others_kept"] / 100 * before:
            went = True
        else:
            kept.append(other.channel.name)
    return _Others(tuple(kept), went)


def _change(x: FloatArray, other: LineSeconds, start: float, end: float, by: Numbers) -> float:
    """Change of a level from the time before a stretch to its first seconds; NaN where either is missing."""
    first = int(np.floor(start - other.start))
    last = int(np.ceil(min(end, start + by["others_within"]) - other.start))
    before = median(x[max(first - int(by["others_within"]), 0) : max(first, 0)])
    return median(x[max(first, 0) : max(last, 0)]) - before


def _pump_changed(others: Sequence[LineSeconds], one: Artefact) -> bool:
    """Whether pump flow or line pressure went to another level with the loss."""
    by = numbers_of(LOST)
    for other in others:
        if other.channel.kind not in ("pump_flow", "line_pressure"):
            continue
        least = by["pump_flow"] if other.channel.kind == "pump_flow" else by["pump_line"]
        first = int(np.floor(one.start - other.start))
        before = mean(other.mean[max(first - 10, 0) : max(first, 0)])
        change = _change(other.mean, other, one.start, one.end, by)
        if np.isfinite(change) and abs(change) > max(least, by["pump"] / 100 * abs(before)):
            return True
    return False


def _head_followed(line: LineSeconds, others: Sequence[LineSeconds], one: Artefact) -> bool:
    """Whether the cerebral saturation of the line's side fell: then the side was short of blood."""
    by = numbers_of(LOST)
    for other in others:
        if other.channel.kind != "cerebral_saturation" or other.channel.side != line.channel.side:
            continue
        first = int(np.floor(one.start - other.start))
        end = min(one.end, one.start + by["followed_to"])
        last = int(np.ceil(end + by["followed_within"] - other.start))
        before = median(other.mean[max(first - int(by["before"]), 0) : max(first, 0)])
        meanwhile = other.mean[max(first, 0) : max(last, 0)]
        meanwhile = meanwhile[np.isfinite(meanwhile)]
        if meanwhile.size and before - float(np.percentile(meanwhile, 10)) >= by["followed"]:
            return True
    return False
