"""Shapes on a pressure wave that no circulation makes: open to air, fast flush, test pattern.

Pure functions on one evenly sampled piece of wave, by the numbers of `artefact_numbers`. The start is put
back to where the change began, the last moment still within a tenth of the whole change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .artefact_numbers import FLUSH, OPEN_TO_AIR, RAMP, UNUSABLE
from .flush_plateau import plateaus, rings_away
from .parameter import Numbers, numbers_of
from .runs import FloatArray, joined_runs, mean, true_runs

STEPS = {"central_venous_pressure": "step_venous", "pulmonary_artery_pressure": "step_pulmonary"}
"""Kinds whose smallest change at an opening to air is a parameter of its own; else it is ``step``."""


@dataclass(frozen=True, slots=True)
class Artefact:
    """A stretch of a channel that says nothing of the patient.

    Attributes
    ----------
    code : str
        ``"A1"`` opened to air, ``"A2"`` fast flush, ``"A9"`` gap, frozen, off scale or sensor off.
    start, end : float
        Reference seconds.
    evidence : dict
        What was seen: numbers with their unit in the key, and a ``reason`` in words.
    """

    code: str
    start: float
    end: float
    evidence: dict[str, Any]


def open_to_air(
    values: FloatArray,
    rate_hz: float,
    t0: float = 0.0,
    *,
    kind: str = "arterial_pressure",
    numbers: Numbers | None = None,
) -> list[Artefact]:
    """A1: the tap was opened to atmosphere, for zeroing or by mistake.

    The pressure goes near zero, lies still there and comes back, each end with a jump. A record or a
    connection that begins or ends meanwhile stands for the jump on that side. A still level off zero that
    steps straight to it is the same opening before the zero key was pressed, and belongs to it. A longer
    one gives A9.

    Parameters
    ----------
    values : ndarray
        Pressure in mmHg, NaN where not recorded or off scale.
    rate_hz, t0 : float
        Samples per second, and the second of the first sample.
    kind : str
        Kind of the pressure: how large the jumps must be, and whether a level off zero belongs to it.
    numbers : mapping of str to float, optional
        In place of those of `artefact_numbers.OPEN_TO_AIR`.

    Returns
    -------
    list of Artefact
        In order of time.
    """
    by = numbers_of(OPEN_TO_AIR) if numbers is None else numbers
    block = max(round(by["block"] * rate_hz), 2)
    level, swing = _blocks(values, block)
    still = (np.abs(level) <= by["level"]) & (swing <= by["swing"] * by["sd"])
    runs = joined_runs(true_runs(still), round(by["joined"] / by["block"]))
    found = []
    for start, stop in runs[(runs[:, 1] - runs[:, 0]) * block >= by["shortest"] * rate_hz]:
        bounds = int(start), int(stop)
        if kind == "arterial_pressure":
            bounds = _not_yet_zeroed(level, swing, *bounds, by)
        one = _opening(values, rate_hz, t0, (bounds[0] * block, bounds[1] * block), by, kind)
        if one is not None:
            found.append(one)
    return found


def _blocks(values: FloatArray, block: int) -> tuple[FloatArray, FloatArray]:
    """Mean and spread (highest minus lowest) of each block; NaN where a sample is missing."""
    whole = values[: values.size // block * block].reshape(-1, block)
    return whole.mean(axis=1), whole.max(axis=1) - whole.min(axis=1)


def _not_yet_zeroed(
    level: FloatArray, swing: FloatArray, start: int, stop: int, by: Numbers
) -> tuple[int, int]:
    """The run with the still stretches that touch it, near zero but not on it, before and after."""
    near = (np.abs(level) <= by["near"]) & (swing <= by["near_spread"])
    step = round(by["near_gap"] / by["block"])
    first, last = start, stop
    for begin, end in true_runs(near):
        if begin < first <= end + step and _lies_still(level[begin : min(end, start)], by):
            first = int(begin)
        elif begin - step <= last < end and _lies_still(level[max(begin, stop) : end], by):
            last = int(end)
    return first, last


def _lies_still(level: FloatArray, by: Numbers) -> bool:
    """Long enough, not too long, and all of it within a narrow band."""
    if not round(by["near_shortest"] / by["block"]) <= level.size <= by["longest"] / by["block"]:
        return False
    return bool(np.ptp(level) <= by["near_spread"])


def _opening(
    values: FloatArray, rate: float, t0: float, bounds: tuple[int, int], by: Numbers, kind: str
) -> Artefact | None:
    """The artefact of one still stretch, or None where it doesn't begin and end with a jump."""
    start, stop = bounds
    margin = int(by["margin"] * rate)
    still = values[start + margin : stop - margin]
    on_zero = still[np.abs(still) <= by["trusted"] * by["level"]]
    if not on_zero.size or float(np.std(on_zero)) >= by["sd"]:
        return None
    level = float(np.mean(on_zero))
    away, around = int(by["within"] * rate), int(by["around"] * rate)
    before = mean(values[max(start - away - around, 0) : max(start - away, 0)])
    after = mean(values[stop + away : stop + away + around])
    least = by[STEPS.get(kind, "step")]
    if any(np.isfinite(outside) and abs(outside - level) < least for outside in (before, after)):
        return None
    begin, begins = _fall_began(values, start, level, before, away, by), "fell from the level before"
    if np.isnan(before):
        begins = "was open when it was connected" if start > rate else "was open when the record began"
    ends = "came back" if np.isfinite(after) else "was open when the record ended"
    seconds = (stop - start) / rate
    evidence = {
        "reason": f"still near 0 mmHg for {seconds:.0f} s; {begins}; {ends}",
        "level_mmhg": round(level, 1),
        "sd_mmhg": round(float(np.std(on_zero)), 2),
        "before_mmhg": None if np.isnan(before) else round(before, 1),
        "after_mmhg": None if np.isnan(after) else round(after, 1),
        "still_s": round(seconds, 1),
        **_ramps(values, rate, begin, stop),
    }
    code = "A1" if seconds <= by["longest"] else "A9"
    return Artefact(code, t0 + begin / rate, t0 + stop / rate, evidence)


def _fall_began(values: FloatArray, start: int, level: float, before: float, away: int, by: Numbers) -> int:
    """Last sample before the still stretch that is within a share of the whole change from the level before.

    With a pulse the level before is its lower edge: every beat comes down to it.
    """
    if np.isnan(before):
        return start
    first = max(start - away, 0)
    earlier = values[max(start - 2 * away, 0) : first + 1]
    edge = float(np.nanpercentile(earlier, by["edge"] if before > level else 100 - by["edge"]))
    if edge == level:
        return start
    share = (values[first : start + 1] - level) / (edge - level)
    still_up = np.flatnonzero(share >= 1 - by["share"] / 100)
    return first + int(still_up[-1]) if still_up.size else start


def _ramps(values: FloatArray, rate: float, begin: int, stop: int) -> dict[str, float]:
    """Seconds without a beat that lead into an artefact and out of it, where there are any."""
    reach = int((RAMP["longest"].value + RAMP["edge"].value) * rate) + 2
    found = {
        "ramp_before_s": beatless(values[max(begin - reach, 0) : begin + 1][::-1], rate),
        "ramp_after_s": beatless(values[stop : stop + reach], rate, outward=1),
    }
    return {name: round(seconds, 3) for name, seconds in found.items() if seconds > 0}


def beatless(values: FloatArray, rate_hz: float, *, outward: int = -1) -> float:
    """Seconds of a ramp, or of a stretch without a beat, that touches an artefact; 0 where there is none.

    A closed tap lets the pressure run up without a beat before it is opened, and a line fills again after it.
    A beat rises for less and turns back; a pressure without a pulse lasts for longer.

    Parameters
    ----------
    values : ndarray
        Pressure in mmHg from the artefact outwards: backwards in time before it, forwards after it.
    rate_hz : float
        Samples per second.
    outward : int
        -1 where time runs backwards, 1 where it runs forwards.
    """
    by = numbers_of(RAMP)
    gone = np.flatnonzero(~np.isfinite(values))
    there = values[: gone[0]] if gone.size else values
    if there.size < 2:
        return 0.0
    # Before an opening lies the edge of its own fall: the ramp ends at the top of that.
    top = int(np.argmax(there[: int(by["edge"] * rate_hz) + 1])) if outward < 0 else 0
    course = there[top:]
    found = 0.0
    for sign in (-1.0, 1.0):  # falling outwards, rising outwards
        away = sign * course
        turned = np.flatnonzero(np.maximum.accumulate(away) - away > by["swing"])
        if not turned.size:
            continue  # goes on to the end of what was looked at, or of the record
        last = int(np.argmax(away[: turned[0] + 1]))
        rises = sign == outward and away[last] - away[0] >= by["rise"]
        if (by["shortest"] if rises else by["still"]) <= last / rate_hz <= by["longest"]:
            found = max(found, (top + last) / rate_hz)
    return found


def all_fell(levels: Sequence[tuple[float, float]], numbers: Numbers | None = None) -> bool:
    """Whether every other site lost its pressure when one went to zero: the patient, not the tap.

    Parameters
    ----------
    levels : sequence of (before, during)
        Mean pressure of each other site before and meanwhile, mmHg. A site without either, or with no
        pressure to lose, says nothing.
    numbers : mapping of str to float, optional
        In place of those of `artefact_numbers.OPEN_TO_AIR`.
    """
    by = numbers_of(OPEN_TO_AIR) if numbers is None else numbers
    told = [pair for pair in levels if np.isfinite(pair).all() and pair[0] >= by["others_from"]]
    return bool(told) and all(during < (1 - by["others_fall"] / 100) * before for before, during in told)


def fast_flushes(
    values: FloatArray, rate_hz: float, t0: float = 0.0, *, numbers: Numbers | None = None
) -> list[Artefact]:
    """A2: the flush valve was opened to the pressurised bag.

    A steep rise to a plateau without beats, clipped or not, then an abrupt release. The plateau of a badly damped
    line may ring, dying away faster than a pulse could (`flush_plateau`). A shorter plateau
    counts where the release is faster than any pulse falls. A record that begins on the plateau stands
    for the rise; one that ends on it is no flush.

    Parameters
    ----------
    values, rate_hz, t0
        As in `open_to_air`.
    numbers : mapping of str to float, optional
        In place of those of `artefact_numbers.FLUSH`.

    Returns
    -------
    list of Artefact
        In order of time; the ring after the release is not part of it.
    """
    by = numbers_of(FLUSH) if numbers is None else numbers
    high = np.greater_equal(values, by["level"], where=np.isfinite(values), out=np.zeros(values.shape, bool))
    found = []
    for start, stop in plateaus(values, true_runs(high), rate_hz, by):
        one = _flush(values, rate_hz, t0, int(start), int(stop), by)
        if one is not None:
            found.append(one)
    return found


def _flush(values: FloatArray, rate: float, t0: float, start: int, stop: int, by: Numbers) -> Artefact | None:
    seconds = (stop - start) / rate
    if not by["brief"] <= seconds <= by["held"]:
        return None
    plateau = float(np.nanmedian(values[start:stop]))
    inner = values[start + int(by["lead"] * rate) : max(stop - int(by["tail"] * rate), 0)]
    inner = inner[np.isfinite(inner)]
    if seconds >= by["shortest"] and inner.size:
        low, high = np.percentile(inner, [5, 95])
        if high - low > by["spread"] and not rings_away(values, rate, start, stop, by):
            return None
    reach = int(by["within"] * rate)
    rise = values[max(start - reach, 0) : start + 1]
    begins_inside = start < 2 or not np.isfinite(rise[:-1]).any()
    base = float(np.nanmin(rise)) if rise.size else plateau
    if not begins_inside and plateau - base < by["rise"]:
        return None
    release = values[stop : stop + reach]
    ends_inside = stop >= values.size - 1 or not np.isfinite(release).any()
    fallen = plateau if ends_inside else plateau - float(np.nanmin(release))
    lag = max(int(by["abrupt"] * rate), 1)
    around = values[stop - lag : stop + 2 * lag]
    steepest = np.nanmax(around[:-lag] - around[lag:], initial=0.0) if around.size > lag else 0.0
    abrupt = bool(steepest >= by["rise"])
    if fallen < by["rise"] or (seconds < by["shortest"] and not abrupt):
        return None
    from .flush_adequacy import flush_evidence  # the measures load quality, which loads this

    begin = start
    if not begins_inside:
        low_still = np.flatnonzero(rise <= base + by["share"] / 100 * (plateau - base))
        begin = start + 1 - rise.size + int(low_still[-1])
    held_at_top = true_runs(values[start:stop] == np.nanmax(values))
    clipped = bool(held_at_top.size and np.max(np.diff(held_at_top)) >= by["clip"] * rate)
    held = ", held open" if seconds > by["longest"] else ""
    evidence = {
        "reason": f"plateau at {plateau:.0f} mmHg for {seconds:.1f} s"
        + (", clipped" if clipped else "")
        + held,
        "plateau_mmhg": round(plateau, 1),
        "plateau_s": round(seconds, 2),
        "rise_mmhg": None if begins_inside else round(plateau - base, 1),
        "clipped": clipped,
        "still_before_s": _still_before(values, begin, rate, by),
        "release_s": round(t0 + stop / rate, 3),
        **flush_evidence(values, rate, stop),
        **_ramps(values, rate, begin, stop),
    }
    return Artefact("A2", t0 + begin / rate, t0 + stop / rate, evidence)


def _still_before(values: FloatArray, begin: int, rate: float, by: Numbers) -> int:
    """Whole seconds without a pulse that lead up to a flush; 0 without any, or where there was none for long.

    A closed tap or a blood sample is still for 10 to 120 s and ends with a flush (common practice).
    """
    second = round(rate)
    seconds = min(begin // second, int(by["still_to"]) + 1)
    if seconds < 2:
        return 0
    frames = values[begin - seconds * second : begin].reshape(seconds, second)
    frames = frames[np.isfinite(frames).all(axis=1)]
    if not len(frames):
        return 0
    swing = np.diff(np.percentile(frames, [5, 95], axis=1), axis=0)[0]
    moving = np.flatnonzero(swing > by["still_swing"])
    still = swing.size - 1 - int(moving[-1]) if moving.size else 0
    return still if by["still_from"] <= still <= by["still_to"] else 0


def device_patterns(
    values: FloatArray, rate_hz: float, t0: float = 0.0, *, numbers: Numbers | None = None
) -> list[Artefact]:
    """A9: the device wrote a pattern of its own: seconds on end with two or three levels, far apart.

    A rounded still pressure has few levels too, but next to each other; these are far apart and crossed
    several times a second. Numbers in place of those of `artefact_numbers.UNUSABLE` may be given.
    """
    by = numbers_of(UNUSABLE) if numbers is None else numbers
    second = round(rate_hz)
    whole = values[: values.size // second * second].reshape(-1, second)
    if not len(whole):
        return []
    levels, crossings = np.ones(len(whole), np.intp), np.zeros(len(whole), np.intp)
    # Ten minutes at a time: sorted copies of hours of a fast wave would fill the memory.
    for begin in range(0, len(whole), 600):
        part = whole[begin : begin + 600]
        levels[begin : begin + 600] += np.count_nonzero(np.diff(np.sort(part, axis=1), axis=1) > 0, axis=1)
        crossings[begin : begin + 600] = np.count_nonzero(
            np.abs(np.diff(part, axis=1)) >= by["apart"], axis=1
        )
    pattern = (levels <= by["levels"]) & (levels > 1) & (crossings >= by["crossings"])
    return [
        Artefact(
            "A9",
            t0 + start * second / rate_hz,
            t0 + stop * second / rate_hz,
            {"reason": "two or three levels in quick change: a pattern of the device, not a pressure"},
        )
        for start, stop in joined_runs(true_runs(pattern), int(by["pattern"]))
        if stop - start >= by["pattern"]
    ]
