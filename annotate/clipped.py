"""Beats cut off at the end of the scale: the pressure went on beyond what the channel could write.

A converter or a display that is full writes its last value for as long as the pressure lies beyond it: every beat has
a flat top, or a flat foot, at exactly the highest or lowest value of the channel, and runs into it steeply. A rounded
pulse that just reaches a coarse step lies on it too, but comes to it slowly.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from .artefact_numbers import CLIPPED
from .line_seconds import LineSeconds
from .own_shapes import PRESSURES, pieces_of
from .parameter import Numbers, numbers_of
from .runs import BoolArray, FloatArray, joined_runs, true_runs
from .still import still_runs, waves_on_scale
from .wave_artefacts import Artefact

ROUND_STEPS = 16
"""Steps of the reading: a parabola that lies within one step for a time falls by eight in as much time after it."""


def clipped_beats(line: LineSeconds, others: tuple[LineSeconds, ...]) -> list[Artefact]:  # noqa: ARG001
    """A4 where beats are cut off at the end of the scale, A9 where so much is cut off that the mean is wrong too.

    Parameters
    ----------
    line : LineSeconds
        A line; nothing is told but of a wave of pressure in mmHg.
    others : tuple of LineSeconds
        Not looked at: what the channel could not write is its own matter.

    Returns
    -------
    list of Artefact
        In order of time; ``what`` in the evidence is ``"clipped"``.
    """
    channel = line.channel
    if not channel.is_wave or channel.unit != "mm[Hg]" or channel.kind not in PRESSURES:
        return []
    by = numbers_of(CLIPPED)
    pieces = [(t0, rate, values) for t0, rate, values, _ in waves_on_scale(pieces_of(channel), pressure=True)]
    seen = [values[np.isfinite(values)] for _, _, values in pieces]
    seen = [values for values in seen if values.size]
    if not seen:
        return []
    low, high = min(float(one.min()) for one in seen), max(float(one.max()) for one in seen)
    found: list[Artefact] = []
    for t0, rate, values in pieces:
        for end, name in ((high, "highest"), (low, "lowest")):
            cut = cut_off(values, rate, end, by)
            for one in line.own:  # a flush may be cut off, and an opening to air lie at the lowest
                cut[max(int((one.start - t0) * rate), 0) : max(int((one.end - t0) * rate) + 1, 0)] = False
            found += _told(cut, rate, t0, end, name, by)
    return sorted(found, key=lambda one: one.start)


def cut_off(values: FloatArray, rate_hz: float, end: float, by: Numbers) -> BoolArray:
    """Samples of beats that lie at exactly one end of the scale, and ran into it.

    Parameters
    ----------
    values : ndarray
        Pressure in mmHg, NaN where not recorded.
    rate_hz : float
        Samples per second.
    end : float
        Highest or lowest value of the whole channel, mmHg.
    by : mapping of str to float
        Those of `artefact_numbers.CLIPPED`.
    """
    cut = np.zeros(values.size, bool)
    least = max(int(np.ceil(by["samples"])), int(np.ceil(by["shortest"] * rate_hz)))
    at_end = values == end
    if np.count_nonzero(at_end) < least:
        return cut
    runs = still_runs(np.where(at_end, values, np.nan), least)
    if len(runs) < by["beats"]:
        return cut
    away = max(by["steep"], ROUND_STEPS * _step(values))
    for start, stop in runs:
        length = min(stop - start, int(by["longest"] * rate_hz))
        before, after = values[max(start - length, 0) : start], values[stop : stop + length]
        sides = [side for side in (before, after) if side.size and np.isfinite(side).any()]
        if sides and max(float(np.nanmax(np.abs(side - end))) for side in sides) >= away:
            cut[start:stop] = True
    return cut


def _step(values: FloatArray) -> float:
    """Smallest step of the reading."""
    steps = np.abs(np.diff(values))
    steps = steps[steps > 0]
    return float(steps.min()) if steps.size else 0.0


def _told(cut: BoolArray, rate: float, t0: float, end: float, name: str, by: Numbers) -> list[Artefact]:
    """Stretches in which enough beats are cut off; what is cut off for longer takes the mean with it."""
    runs = true_runs(cut)
    window = int(by["window"] * rate)
    found = []
    for first, last in joined_runs(runs, window):
        inside = runs[(runs[:, 0] >= first) & (runs[:, 1] <= last)]
        if len(inside) < by["beats"]:
            continue
        share = 100 * np.count_nonzero(cut[first:last]) / (last - first)
        if share >= by["shape"]:
            continue  # a wave that rests at one level for most of the time has that level for its foot
        side = "top" if name == "highest" else "foot"
        mean_too = share >= by[f"mean_{side}"]
        usable = "its mean is wrong as well" if mean_too else "its mean can still be used"
        evidence: dict[str, Any] = {
            "what": "clipped",
            "reason": f"the {side} of {len(inside)} beats is cut off at {end:g} mmHg, the {name} value that the "
            f"channel holds, for {share:.0f} % of the time: the channel is full, and {usable}",
            "end_mmhg": round(end, 1),
            "beats_cut": len(inside),
            "cut_percent": round(float(share)),
        }
        found.append(Artefact("A9" if mean_too else "A4", t0 + first / rate, t0 + last / rate, evidence))
    return found
