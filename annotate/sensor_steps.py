"""Sensors that were moved (A9): an oximeter pad or a temperature probe that steps faster than any tissue changes.

A pad that lifts or slips steps within seconds, on its side alone and with pressures and flow as they were; a true
fall of a cerebral saturation takes half a minute or more. A probe that slips out or is pushed elsewhere steps
faster than a body can be cooled or warmed.

What is marked lasts until the sensor is back near the level before. One that stays away for ten minutes sits
elsewhere: then only the way to its new level is marked, until it has settled there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from .artefact_numbers import UNUSABLE
from .line_seconds import LineSeconds
from .parameter import Numbers, numbers_of
from .runs import FloatArray, median, true_runs
from .wave_artefacts import Artefact

OXIMETRY, TEMPERATURE = "cerebral_saturation", "temperature"
BLOOD_SITES = ("", "arterial_outlet", "venous")
"""Sites of a temperature that follows the pump's flow within seconds; one without a site may be one of them."""


def sensor_steps(line: LineSeconds, others: tuple[LineSeconds, ...]) -> list[Artefact]:
    """A9 of a cerebral saturation or a temperature whose sensor was moved.

    Parameters
    ----------
    line : LineSeconds
        The channel that is asked about; nothing is found on one of another kind, nor where its rows are too far
        apart to show how fast it stepped.
    others : tuple of LineSeconds
        The other channels of its case, on the same grid.

    Returns
    -------
    list of Artefact
        In order of time. Nothing on a saturation without the other side, nor on a temperature of blood without
        a pump flow: what a step is cannot be told then.
    """
    by = numbers_of(UNUSABLE)
    if line.channel.kind == OXIMETRY and line.channel.unit == "%":
        return _pads(line, others, by)
    if line.channel.kind == TEMPERATURE and line.channel.unit == "Cel":
        return _probes(line, others, by)
    return []


def _pads(line: LineSeconds, others: Sequence[LineSeconds], by: Numbers) -> list[Artefact]:
    sides = [
        one
        for one in others
        if one.channel.kind == OXIMETRY and one.channel.side and one.channel.side != line.channel.side
    ]
    if not sides or not line.channel.side or line.channel.interval_s > by["pad_within"]:
        return []
    found = []
    for first, end, before, extreme, how in stray(line.mean, by, "pad"):
        if all(_stayed(side.mean, first, by["pad_other"], by) for side in sides) and _steady(
            others, first, by
        ):
            told = (
                "pressures and flow stayed"
                if _watched(others)
                else "no pressure or flow could be held against it"
            )
            words = f"the other side stayed within {by['pad_other']:g} points, and {told}"
            found.append(_told(line, (first, end), before, extreme, "%", f"pad moved: {words}{how}"))
    return found


def _probes(line: LineSeconds, others: Sequence[LineSeconds], by: Numbers) -> list[Artefact]:
    if line.channel.interval_s > by["probe_within"]:
        return []
    flows = [one for one in others if one.channel.kind == "pump_flow"]
    blood = line.channel.site in BLOOD_SITES
    if blood and not flows:
        return []
    found = []
    for first, end, before, extreme, how in stray(line.mean, by, "probe"):
        if blood and not all(_flowing(one.mean, first, by) for one in flows):
            continue
        words = "probe moved: no tissue changes so fast"
        if blood:
            words = "probe moved: the pump's flow went on as before"
        found.append(_told(line, (first, end), before, extreme, "Cel", words + how))
    return found


def stray(values: FloatArray, by: Numbers, sensor: str) -> list[tuple[int, int, float, float, str]]:
    """Stretches in which a sensor is away from the level that it stepped from.

    Parameters
    ----------
    values : ndarray
        One value a second, NaN where nothing was recorded.
    by : mapping of str to float
        Those of `artefact_numbers.UNUSABLE`.
    sensor : str
        ``"pad"`` or ``"probe"``: whose numbers.

    Returns
    -------
    list of (first, end, before, farthest, words)
        First second away and first one back, the level before, the value farthest from it, and how it ended. A
        step that comes before `sensor_seen` seconds were recorded is passed over: which side of it is the
        patient cannot be told.
    """
    within, limit = round(by[f"{sensor}_within"]), by[f"{sensor}_step"]
    if values.size <= within:
        return []
    moved = np.full(values.size, np.nan)
    moved[within:] = values[within:] - values[:-within]
    found: list[tuple[int, int, float, float, str]] = []
    done = 0
    for start, _ in true_runs(np.abs(moved) > limit):
        if start < done:
            continue
        first, before, size = _onset(values, int(start), within, by)
        seen = np.isfinite(values[max(first - round(by["sensor_before"]), done) : first])
        if np.count_nonzero(seen) < by["sensor_seen"]:
            done = int(start) + within
            continue
        end, how = _end(values, first, before, size, by, sensor)
        away = values[first:end] - before
        farthest = before + float(away[np.nanargmax(np.abs(away))])
        found.append((first, end, before, farthest, how))
        done = end + within
    return found


def _onset(values: FloatArray, start: int, within: int, by: Numbers) -> tuple[int, float, float]:
    """First second of a step that is plain at `start`, the level before it, and its size."""
    old = values[start - within]
    after = values[start : start + within]
    after = after[np.isfinite(after)]
    size = float(after[np.argmax(np.abs(after - old))] - old)
    piece = (values[start - within : start + 1] - old) / size
    still = np.flatnonzero(np.isfinite(piece) & (piece <= by["sensor_share"] / 100))
    first = start - within + int(still[-1]) + 1
    level = median(values[max(first - round(by["sensor_before"]), 0) : first])
    return first, level, size


def _end(
    values: FloatArray, first: int, before: float, size: float, by: Numbers, sensor: str
) -> tuple[int, str]:
    """First second back, or settled elsewhere, and what is said of it."""
    hold, longest = round(by["sensor_hold"]), round(by["sensor_longest"])
    stop = min(first + longest, values.size)
    piece = values[first:stop]
    near = by["sensor_back"] / 100 * abs(size)
    # A second that was not recorded does not speak against a return.
    back = (np.abs(piece - before) <= near) | np.isnan(piece)
    for start, past in true_runs(back):
        if past - start >= min(hold, piece.size) and np.isfinite(piece[start]):
            return first + int(start), ""
    if stop == values.size:
        recorded = np.flatnonzero(np.isfinite(piece))
        return first + int(recorded[-1]) + 1, "; the record ended before it was back"
    return _settled(values, first, stop, by, sensor), (
        f"; not back within {longest // 60} min: it may sit elsewhere, and its level from here on cannot be held "
        "against the one before"
    )


def _settled(values: FloatArray, first: int, stop: int, by: Numbers, sensor: str) -> int:
    width = round(by["sensor_settle"])
    for start in range(first, stop - width):
        piece = values[start : start + width]
        piece = piece[np.isfinite(piece)]
        if piece.size and float(piece.max() - piece.min()) <= by[f"{sensor}_settled"]:
            return max(start, first + 1)
    return stop


# -- what else happened meanwhile ------------------------------------------------------------------


def _change(values: FloatArray, at: int, by: Numbers) -> float:
    """Median of the seconds after `at` less that of the time before; NaN where either is not known."""
    before = values[max(at - round(by["sensor_before"]), 0) : at]
    return median(values[at : at + round(by["sensor_hold"])]) - median(before)


def _stayed(values: FloatArray, at: int, most: float, by: Numbers) -> bool:
    return bool(abs(_change(values, at, by)) <= most)


_MOST = {
    "arterial_pressure": "sensor_arterial",
    "central_venous_pressure": "sensor_venous",
    "pump_flow": "sensor_flow",
}


def _watched(others: Sequence[LineSeconds]) -> bool:
    return any(one.channel.kind in _MOST for one in others)


def _steady(others: Sequence[LineSeconds], at: int, by: Numbers) -> bool:
    """Whether no pressure and no flow that was recorded changed with the step."""
    moves = [
        abs(_change(one.mean, at, by)) > by[_MOST[one.channel.kind]]
        for one in others
        if one.channel.kind in _MOST
    ]
    return not any(moves)


def _flowing(values: FloatArray, at: int, by: Numbers) -> bool:
    """Whether the pump ran on unchanged for the time before and after: blood at a probe was not standing."""
    around = round(by["sensor_before"])
    piece = values[max(at - around, 0) : at + around]
    piece = piece[np.isfinite(piece)]
    return bool(piece.size and piece.min() >= by["flowing"] and float(np.ptp(piece)) <= by["sensor_flow"])


def _told(
    line: LineSeconds, span: tuple[int, int], before: float, extreme: float, unit: str, why: str
) -> Artefact:
    first, end = span
    sign = "points" if unit == "%" else "°C"
    evidence: dict[str, Any] = {
        "what": "sensor moved",
        "reason": f"stepped by {extreme - before:+.1f} {sign} from {before:.1f}: {why}",
    }
    return Artefact("A9", line.start + first, line.start + end, evidence)
