"""Electrical and movement noise on a wave of pressure (A8): too fast for a pulse, or too steep for one.

What goes on faster than a pulse is in `LineSeconds.rough`, what is too steep in `LineSeconds.steep`. A fibrillating
heart ripples at 3 to 8 Hz, a pump at about 2 Hz, an early beat keeps the shape of a beat: none of them reaches
either. Openings to air and flushes with their ring are left out before.
"""

from __future__ import annotations

import numpy as np

from .artefact_numbers import NOISE
from .line_seconds import LineSeconds, binned, row_medians, windows
from .own_shapes import PRESSURES
from .parameter import Numbers, numbers_of
from .runs import BoolArray, FloatArray, joined_runs, median, true_runs
from .wave_artefacts import Artefact

BIN_S = 20
"""Seconds that share one value of the clean level."""


def wave_noise(line: LineSeconds, others: tuple[LineSeconds, ...] = ()) -> list[Artefact]:  # noqa: ARG001
    """A8: seconds with more fast power than the line has else, or with slopes that no pulse has.

    Parameters
    ----------
    line : LineSeconds
        A wave of pressure in mmHg; anything else gives nothing.
    others : tuple of LineSeconds
        Not looked at: diathermy reaches one line and spares another.

    Returns
    -------
    list of Artefact
        In order of time. The pauses between bursts belong to them. At fewer samples a second than
        ``slowest`` nothing above 15 Hz is in the record, and only slopes are judged.
    """
    channel = line.channel
    if not (channel.is_wave and channel.kind in PRESSURES and channel.unit == "mm[Hg]") or not line.count:
        return []
    by = numbers_of(NOISE)
    rate_hz = 1 / channel.interval_s
    level = clean_level(line.rough, by)
    power = by["power"] * level**2
    rough = (line.rough**2 > power) & (line.rough > by["least"]) & (rate_hz >= by["slowest"])
    steep = _crowded(line.steep > by["slope"], by)
    found = []
    for start, stop in joined_runs(true_runs(rough | steep), int(by["joined"])):
        inside = rough[start:stop]
        if np.count_nonzero(inside) < by["shortest"] and not steep[start:stop].any():
            continue
        found.append(_artefact(line, int(start), int(stop), level[start:stop], inside, by, rate_hz))
    return found


def clean_level(rough: FloatArray, by: Numbers) -> FloatArray:
    """Usual roughness of a line around each second: median over ``around`` seconds on either side; NaN for none.

    Where noise lasts for most of that, the median is the noise: no more than ``quiet_times`` the roughness that the
    quietest ``quiet`` per cent of the seconds stay under.
    """
    reach = max(int(by["around"] / BIN_S), 1)
    level = row_medians(windows(binned(rough, BIN_S), reach, reach))
    rows = windows(rough, reach * BIN_S, (reach + 1) * BIN_S - 1)[::BIN_S]
    quiet = np.concatenate([_quietest(part, by) for part in np.array_split(rows, len(rows) // 256 + 1)])
    return np.asarray(np.repeat(np.fmin(level, by["quiet_times"] * quiet), BIN_S)[: rough.size])


def _quietest(rows: FloatArray, by: Numbers) -> FloatArray:
    """What the quietest share of each row stays under; NaN for a row without values."""
    ordered = np.sort(rows, axis=1)  # NaN last
    seen = np.count_nonzero(np.isfinite(ordered), axis=1)
    return np.asarray(ordered[np.arange(len(rows)), (by["quiet"] / 100 * seen).astype(np.intp)])


def _crowded(flags: BoolArray, by: Numbers) -> BoolArray:
    """Seconds from the first to the last of at least ``beats`` flagged ones within ``window`` seconds."""
    at = np.flatnonzero(flags)
    found = np.zeros(flags.size, np.bool_)
    many = int(by["beats"])
    for first, last in zip(at, at[many - 1 :], strict=False):
        if last - first < by["window"]:
            found[first : last + 1] = True
    return found


def _artefact(
    line: LineSeconds,
    start: int,
    stop: int,
    level: FloatArray,
    rough: BoolArray,
    by: Numbers,
    rate_hz: float,
) -> Artefact:
    usual, seen = median(level), line.rough[start:stop]
    loud = median(seen[rough]) if rough.any() else float("nan")
    steep = int(np.count_nonzero(line.steep[start:stop] > by["slope"]))
    parts = []
    if rough.any():
        parts.append(
            f"fast power {min((loud / usual) ** 2, 9999) if usual > 0 else 9999:.0f} times the line's usual "
            f"({loud:.1f} against {usual:.1f} mmHg) in {np.count_nonzero(rough)} of {stop - start} s"
        )
    if steep >= by["beats"]:
        parts.append(
            f"rises and falls of more than {by['slope']:g} mmHg in 20 ms in {steep} of {stop - start} s, up to "
            f"{np.nanmax(line.steep[start:stop]):.0f} mmHg"
        )
    if rate_hz < by["full"]:
        parts.append(
            f"at {rate_hz:.0f} samples a second nothing above {rate_hz / 2:.0f} Hz is in the record"
            + ("" if rate_hz >= by["slowest"] else ", so that only slopes are judged")
        )
    evidence = {
        "reason": "; ".join(parts),
        "fast_mmhg": round(loud, 2) if np.isfinite(loud) else None,
        "usual_fast_mmhg": round(usual, 2) if np.isfinite(usual) else None,
        "loud_s": int(np.count_nonzero(rough)),
        "steep_s": steep,
        "sampled_hz": round(rate_hz, 1),
    }
    return Artefact("A8", line.start + start, line.start + stop, evidence)
