"""Shapes on a pressure wave that no circulation makes: open to air, fast flush, test pattern.

Pure functions on one evenly sampled piece of wave. Thresholds are parameters of a `WaveRule`; those
without a published source are marked so. The start is put back to where the change began, the last
moment still within 10 % of the whole change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_BLOCK_S = 0.1


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


@dataclass(frozen=True, slots=True)
class WaveRule:
    """Thresholds for `open_to_air` and `fast_flushes`, in mmHg and seconds (this project's choice).

    A flush's rise of 100 mmHg within 0.3 s to a plateau of 180 or more for 0.5 to 10 s is common practice.
    """

    zero_mmhg: float = 3.0
    zero_sd_mmhg: float = 1.0
    zero_shortest_s: float = 3.0
    zero_longest_s: float = 60.0
    zero_within_s: float = 2.0
    zero_step_mmhg: float = 10.0
    not_yet_zeroed_mmhg: float = 15.0
    flush_level_mmhg: float = 180.0
    flush_rise_mmhg: float = 100.0
    flush_rise_s: float = 0.3
    flush_shortest_s: float = 0.5
    flush_longest_s: float = 10.0
    flush_spread_mmhg: float = 30.0
    abrupt_s: float = 0.06


DEFAULT_RULE = WaveRule()


def true_runs(condition: BoolArray) -> NDArray[np.intp]:
    """Start and past-end index of each run of true values, one row a run."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], condition, [False]]).astype(np.int8)))
    return edges.reshape(-1, 2)


def _joined(runs: NDArray[np.intp], longest_gap: int) -> NDArray[np.intp]:
    """Runs with gaps of at most `longest_gap` between them made one."""
    if len(runs) < 2:
        return runs
    first = np.flatnonzero(np.concatenate([[True], runs[1:, 0] - runs[:-1, 1] > longest_gap]))
    last = np.concatenate([first[1:], [len(runs)]]) - 1
    return np.column_stack([runs[first, 0], runs[last, 1]])


def _mean_between(values: FloatArray, start: int, stop: int) -> float:
    """Mean of what is there; NaN outside the wave or where nothing is."""
    piece = values[max(start, 0) : max(stop, 0)]
    piece = piece[np.isfinite(piece)]
    return float(piece.mean()) if piece.size else float("nan")


def open_to_air(
    values: FloatArray,
    rate_hz: float,
    t0: float = 0.0,
    *,
    rule: WaveRule = DEFAULT_RULE,
    others: Sequence[FloatArray] = (),
) -> list[Artefact]:
    """A1: the tap was opened to atmosphere, for zeroing or by mistake.

    The pressure goes to 0 ± 3 mmHg within 2 s, lies still there (SD below 1) for 3 to 60 s and comes
    back within 2 s. A record or a connection that begins or ends meanwhile stands for the jump on that
    side. A still level up to 15 mmHg off that steps straight to zero is the same opening before the
    zero key was pressed, and belongs to it. A longer one gives A9.

    Parameters
    ----------
    values : ndarray
        Pressure in mmHg, NaN where not recorded or off scale.
    rate_hz, t0 : float
        Samples per second, and the second of the first sample.
    rule : WaveRule
        Thresholds.
    others : sequence of ndarray
        Waves of other arterial sites over the same time (same rate and start). If all of them lose
        40 % or more at the same moment, it is the patient and not the tap.

    Returns
    -------
    list of Artefact
        In order of time.
    """
    block = max(round(_BLOCK_S * rate_hz), 2)
    level, swing = _blocks(values, block)
    still = (np.abs(level) <= rule.zero_mmhg) & (swing <= 6 * rule.zero_sd_mmhg)
    runs = _joined(true_runs(still), round(0.2 / _BLOCK_S))
    found = []
    for start, stop in runs[(runs[:, 1] - runs[:, 0]) * block >= rule.zero_shortest_s * rate_hz]:
        first, last = _not_yet_zeroed(level, swing, int(start), int(stop), rule)
        one = _opening(values, rate_hz, t0, (first * block, last * block), rule)
        if one is not None and not _all_fell(others, one, rate_hz, t0):
            found.append(one)
    return found


def _blocks(values: FloatArray, block: int) -> tuple[FloatArray, FloatArray]:
    """Mean and spread (highest minus lowest) of each block; NaN where a sample is missing."""
    whole = values[: values.size // block * block].reshape(-1, block)
    return whole.mean(axis=1), whole.max(axis=1) - whole.min(axis=1)


def _not_yet_zeroed(
    level: FloatArray, swing: FloatArray, start: int, stop: int, rule: WaveRule
) -> tuple[int, int]:
    """The run with the still stretches that touch it, near zero but not on it, before and after."""
    near = (np.abs(level) <= rule.not_yet_zeroed_mmhg) & (swing <= 3.0)
    step = round(0.3 / _BLOCK_S)
    first, last = start, stop
    for begin, end in true_runs(near):
        if begin < first <= end + step and _lies_still(level[begin : min(end, start)], rule):
            first = int(begin)
        elif begin - step <= last < end and _lies_still(level[max(begin, stop) : end], rule):
            last = int(end)
    return first, last


def _lies_still(level: FloatArray, rule: WaveRule) -> bool:
    """Half a second or more, not too long, and all of it within 3 mmHg."""
    if not round(0.5 / _BLOCK_S) <= level.size <= rule.zero_longest_s / _BLOCK_S:
        return False
    return bool(np.ptp(level) <= 3.0)


def _opening(
    values: FloatArray, rate: float, t0: float, bounds: tuple[int, int], rule: WaveRule
) -> Artefact | None:
    """The artefact of one still stretch, or None where it doesn't begin and end with a jump."""
    start, stop = bounds
    margin = int(0.3 * rate)
    still = values[start + margin : stop - margin]
    on_zero = still[np.abs(still) <= 2 * rule.zero_mmhg]
    if not on_zero.size or float(np.std(on_zero)) >= rule.zero_sd_mmhg:
        return None
    level = float(np.mean(on_zero))
    away = int(rule.zero_within_s * rate)
    before = _mean_between(values, start - away - int(rate), start - away)
    after = _mean_between(values, stop + away, stop + away + int(rate))
    if not (_jumped(before, level, rule) and _jumped(after, level, rule)):
        return None
    begin, begins = _fall_began(values, start, level, before, away), "fell from the level before"
    if np.isnan(before):
        begins = "was open when it was connected" if start > rate else "was open when the record began"
    end = stop
    ends = "came back" if np.isfinite(after) else "was open when the record ended"
    seconds = (stop - start) / rate
    evidence = {
        "reason": f"still near 0 mmHg for {seconds:.0f} s; {begins}; {ends}",
        "level_mmhg": round(level, 1),
        "sd_mmhg": round(float(np.std(on_zero)), 2),
        "before_mmhg": None if np.isnan(before) else round(before, 1),
        "after_mmhg": None if np.isnan(after) else round(after, 1),
        "still_s": round(seconds, 1),
    }
    code = "A1" if seconds <= rule.zero_longest_s else "A9"
    return Artefact(code, t0 + begin / rate, t0 + end / rate, evidence)


def _jumped(outside: float, level: float, rule: WaveRule) -> bool:
    return bool(np.isnan(outside) or abs(outside - level) >= rule.zero_step_mmhg)


def _fall_began(values: FloatArray, start: int, level: float, before: float, away: int) -> int:
    """Last sample before the still stretch that is within 10 % of the whole change from the level before.

    With a pulse the level before is its lower edge: every beat comes down to it.
    """
    if np.isnan(before):
        return start
    first = max(start - away, 0)
    earlier = values[max(start - 2 * away, 0) : first + 1]
    edge = float(np.nanpercentile(earlier, 10 if before > level else 90))
    share = (values[first : start + 1] - level) / (edge - level)
    still_up = np.flatnonzero(share >= 0.9)
    return first + int(still_up[-1]) if still_up.size else start


def _all_fell(others: Sequence[FloatArray], one: Artefact, rate: float, t0: float) -> bool:
    """Whether every other site lost 40 % or more when this one went to zero."""
    start, stop = int((one.start - t0) * rate), int((one.end - t0) * rate)
    falls = []
    for other in others:
        before = _mean_between(other, start - int(5 * rate), start)
        during = _mean_between(other, start + int(2 * rate), stop)
        if np.isfinite(before) and np.isfinite(during):
            falls.append(during < 0.6 * before)
    return bool(falls) and all(falls)


def fast_flushes(
    values: FloatArray, rate_hz: float, t0: float = 0.0, *, rule: WaveRule = DEFAULT_RULE
) -> list[Artefact]:
    """A2: the flush valve was opened to the pressurised bag.

    A rise of at least 100 mmHg within 0.3 s to a plateau of at least 180 mmHg without beats for 0.5 to
    10 s, clipped or not, then an abrupt release. A plateau as short as 0.2 s counts where the release
    takes less than 0.06 s: no pulse falls by 100 mmHg in that time (this project's choice).

    Parameters
    ----------
    values, rate_hz, t0, rule
        As in `open_to_air`.

    Returns
    -------
    list of Artefact
        In order of time; the ring after the release is not part of it.
    """
    high = np.greater_equal(
        values, rule.flush_level_mmhg, where=np.isfinite(values), out=np.zeros(values.shape, bool)
    )
    found = []
    for start, stop in _joined(true_runs(high), int(0.1 * rate_hz)):
        one = _flush(values, rate_hz, t0, int(start), int(stop), rule)
        if one is not None:
            found.append(one)
    return found


def _flush(
    values: FloatArray, rate: float, t0: float, start: int, stop: int, rule: WaveRule
) -> Artefact | None:
    seconds = (stop - start) / rate
    if not 0.2 <= seconds <= rule.flush_longest_s + 1:
        return None
    plateau = float(np.median(values[start:stop]))
    inner = values[start + int(0.25 * rate) : max(stop - int(0.1 * rate), 0)]
    if seconds >= rule.flush_shortest_s and inner.size:
        low, high = np.percentile(inner, [5, 95])
        if high - low > rule.flush_spread_mmhg:
            return None
    reach = int(rule.flush_rise_s * rate)
    rise = values[max(start - reach, 0) : start + 1]
    begins_inside = start < 2 or not np.isfinite(rise[:-1]).any()
    base = float(np.nanmin(rise)) if rise.size else plateau
    if not begins_inside and plateau - base < rule.flush_rise_mmhg:
        return None
    release = values[stop : stop + reach]
    ends_inside = stop >= values.size - 1 or not np.isfinite(release).any()
    fallen = plateau if ends_inside else plateau - float(np.nanmin(release))
    lag = max(int(rule.abrupt_s * rate), 1)
    around = values[stop - lag : stop + 2 * lag]
    steepest = np.nanmax(around[:-lag] - around[lag:], initial=0.0) if around.size > lag else 0.0
    abrupt = bool(steepest >= rule.flush_rise_mmhg)
    if fallen < rule.flush_rise_mmhg or (seconds < rule.flush_shortest_s and not abrupt):
        return None
    begin = start
    if not begins_inside:
        low_still = np.flatnonzero(rise <= base + 0.1 * (plateau - base))
        begin = start + 1 - rise.size + int(low_still[-1])
    held_at_top = true_runs(values[start:stop] == np.nanmax(values))
    clipped = bool(held_at_top.size and np.max(np.diff(held_at_top)) >= _BLOCK_S * rate)
    evidence = {
        "reason": f"plateau at {plateau:.0f} mmHg for {seconds:.1f} s" + (", clipped" if clipped else ""),
        "plateau_mmhg": round(plateau, 1),
        "plateau_s": round(seconds, 2),
        "rise_mmhg": None if begins_inside else round(plateau - base, 1),
        "clipped": clipped,
        "still_before_s": _still_before(values, begin, rate),
        "release_s": round(t0 + stop / rate, 3),
    }
    return Artefact("A2", t0 + begin / rate, t0 + stop / rate, evidence)


def _still_before(values: FloatArray, begin: int, rate: float) -> int:
    """Whole seconds without a pulse that lead up to a flush; 0 without any, or where there was none for long.

    A closed tap or a blood sample is still for 10 to 120 s and ends with a flush (common practice).
    """
    second = round(rate)
    seconds = min(begin // second, 121)
    if seconds < 2:
        return 0
    frames = values[begin - seconds * second : begin].reshape(seconds, second)
    swing = np.diff(np.nanpercentile(frames[np.isfinite(frames).all(axis=1)], [5, 95], axis=1), axis=0)[0]
    moving = np.flatnonzero(swing > 6.0)
    still = swing.size - 1 - int(moving[-1]) if moving.size else 0
    return still if 2 <= still <= 120 else 0


def device_patterns(values: FloatArray, rate_hz: float, t0: float = 0.0) -> list[Artefact]:
    """A9: the device wrote a pattern of its own: seconds on end with at most three levels, far apart.

    A rounded still pressure has few levels too, but next to each other; here they are at least 20 mmHg
    apart and crossed several times a second (this project's choice).
    """
    second = round(rate_hz)
    whole = values[: values.size // second * second].reshape(-1, second)
    if not len(whole):
        return []
    ordered = np.sort(whole, axis=1)
    steps = np.diff(ordered, axis=1)
    levels = 1 + np.count_nonzero(steps > 0, axis=1)
    crossings = np.count_nonzero(np.abs(np.diff(whole, axis=1)) >= 20, axis=1)
    pattern = (levels <= 3) & (levels >= 2) & (crossings >= 5)
    return [
        Artefact(
            "A9",
            t0 + start * second / rate_hz,
            t0 + stop * second / rate_hz,
            {"reason": "two or three levels in quick change: a pattern of the device, not a pressure"},
        )
        for start, stop in _joined(true_runs(pattern), 2)
        if stop - start >= 2
    ]
