"""A tap closed against the flush bag: the pressure shut in runs up without a beat, and is let go at once (A3)."""

from __future__ import annotations

import numpy as np

from .artefact_numbers import RUN_UP
from .line_seconds import LineSeconds
from .own_shapes import PRESSURES
from .parameter import Numbers, numbers_of
from .runs import FloatArray, true_runs
from .wave_artefacts import Artefact

MARGIN_S = 3.0  # before a place, within which its rise began


def run_ups(line: LineSeconds, others: tuple[LineSeconds, ...]) -> list[Artefact]:  # noqa: ARG001
    """A3 of one line where it runs up; no other line is needed, since no circulation lets go so fast.

    Parameters
    ----------
    line : LineSeconds
        A line; nothing is told but of a wave of pressure in mmHg.
    others : tuple of LineSeconds
        Not looked at.

    Returns
    -------
    list of Artefact
        In order of time.
    """
    channel = line.channel
    if not channel.is_wave or channel.unit != "mm[Hg]" or channel.kind not in PRESSURES:
        return []
    by = numbers_of(RUN_UP)
    found: list[Artefact] = []
    with np.errstate(invalid="ignore"):
        rises = (line.low[1:] >= line.high[:-1] - by["swing"]) & (np.diff(line.mean) >= by["speed"])
    for first, last in true_runs(rises):
        begin, middle = line.start + first - MARGIN_S, line.start + (first + last + 1) / 2
        if found and begin + MARGIN_S < found[-1].end:
            continue
        read = channel.read(begin, middle + by["longest"])
        span = run_up(read.values, 1 / channel.interval_s, float(np.searchsorted(read.t, middle)), by)
        if span is not None:
            start, end, rise, top = span
            found.append(_artefact(float(read.t[start]), float(read.t[end]), rise, top))
    return found


def run_up(
    values: FloatArray, rate_hz: float, middle: float, numbers: Numbers | None = None
) -> tuple[int, int, float, float] | None:
    """Where the rise around a sample began, and where it was let go; None where it is no run-up.

    Parameters
    ----------
    values : ndarray
        Pressure in mmHg, NaN where missing, which ends what is looked at.
    rate_hz : float
        Samples per second.
    middle : float
        A sample of the rise.
    numbers : mapping of str to float, optional
        In place of those of `artefact_numbers.RUN_UP`.

    Returns
    -------
    (int, int, float, float) or None
        First sample of the rise, last before it is let go, its height and its top in mmHg.
    """
    by = numbers_of(RUN_UP) if numbers is None else numbers
    at = int(middle)
    back = _until_missing(values[: at + 1][::-1])
    turned = np.flatnonzero(back - np.minimum.accumulate(back) > by["swing"])
    start = at - int(np.argmin(back[: int(turned[0]) if turned.size else back.size])) if back.size else at
    ahead = _until_missing(values[start:])
    fell = np.flatnonzero(np.maximum.accumulate(ahead) - ahead > by["swing"])
    if not fell.size:
        return None
    release = int(fell[0])
    top = float(np.max(ahead[:release]))
    rise = top - float(ahead[0])
    # From a tenth to nine tenths: what lay still before it is no rise, nor what is held at the top.
    tenth, most = (int(np.argmax(ahead[:release] >= ahead[0] + part * rise)) for part in (0.1, 0.9))
    rose_s = (most - tenth) / rate_hz
    lag = max(round(by["release"] * rate_hz), 1)
    let_go = ahead[max(release - 2, 0) : release + lag]
    if rise < by["rise"] or rose_s < by["shortest"] or top - float(np.min(let_go)) < by["rise"]:
        return None
    return start, start + max(release - 1, 0), rise, top


def _until_missing(values: FloatArray) -> FloatArray:
    gone = np.flatnonzero(~np.isfinite(values))
    return np.asarray(values[: int(gone[0])] if gone.size else values, np.float64)


def _artefact(start: float, end: float, rise: float, top: float) -> Artefact:
    evidence = {
        "reason": f"rose by {rise:.0f} mmHg without a beat in {end - start:.1f} s, and was let go at once",
        "top_mmhg": round(top, 1),
        "run_up_mmhg": round(rise, 1),
    }
    return Artefact("A3", start, end, evidence)
