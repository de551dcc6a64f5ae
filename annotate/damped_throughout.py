"""An arterial line that is over-damped beside another without having changed (A4): from its first second, or slowly.

No "before" is needed: the pulse is narrower than at every other site that has its whole pulse, the upstroke less
steep and the beats rounder, while the mean is the same. A radial pulse that is narrower all along keeps the shape of
a beat; after bypass its mean is lower as well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .line_pulse import RING_HZ, Against, Pulse, Shape
from .parameter import Numbers
from .runs import BoolArray, close_gaps, median, true_runs
from .wave_artefacts import Artefact

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

FRAME_S = 8.0
RATES_HZ = (0.6, 3.5)  # in which the rate of the pulse is looked for
SMOOTH = 0.7  # share of a pulse's power at its own rate, from which it is smoothed; without a sharp edge it has more
EDGE_S = 5.0  # at either end of a stretch, not looked at for its shape
LONGEST_LOOK_S = 120.0  # of a stretch, that samples are read of
# Highest less lowest of 75 means over 40 ms, and roughness, per noise of 10 ms.
SWING_SD, ROUGH_SD = 2.4, 1.22


def damped_throughout(own: Pulse, against: list[Against], by: Numbers, taken: BoolArray) -> list[Artefact]:
    """Stretches of an arterial line that are over-damped beside the others, but for those that are told already.

    Parameters
    ----------
    own : Pulse
        The line.
    against : list of Against
        The line against each other arterial one.
    by : mapping
        Numbers of `artefact_numbers.DAMPED`.
    taken : ndarray of bool
        Seconds that are told already.
    """
    if not against:
        return []
    pulses = [np.where(np.isfinite(one.pulse), one.other.pulse, np.nan) for one in against]
    widest = np.fmax.reduce(pulses)
    # Both arms may be damped: a line that is itself narrow beside another one says nothing.
    whole = [pulse > by["pulse"] / 100 * widest for pulse in pulses]
    share = np.fmax.reduce(
        [np.where(there, one.pulse, np.nan) for there, one in zip(whole, against, strict=True)]
    )
    apart = np.fmin.reduce(
        [np.where(there, np.abs(one.mean), np.nan) for there, one in zip(whole, against, strict=True)]
    )
    noise = SWING_SD * by["noise"] * own.line.rough / ROUGH_SD
    narrow = (share <= by["pulse"] / 100) & (share >= by["left"] / 100) & (apart <= by["mean"])
    narrow &= (own.pulse >= by["least"]) & ~(own.pulse < noise) & ~taken
    found = []
    for start, stop in true_runs(close_gaps(narrow, int(by["joined"])) & ~taken):
        if stop - start < by["shortest"]:
            continue
        beside = [one for there, one in zip(whole, against, strict=True) if there[start:stop].mean() > 0.5]
        one = _judged(own, beside, int(start), int(stop), 100 * median(share[start:stop]), by)
        if one is not None:
            found.append(one)
    return found


def _judged(
    own: Pulse, beside: list[Against], start: int, stop: int, percent: float, by: Numbers
) -> Artefact | None:
    """The artefact, where upstroke and roundness agree against every other line."""
    line = own.line
    middle = 0.5 * max(stop - start - LONGEST_LOOK_S, 0)
    begin = line.start + start + middle + EDGE_S
    end = min(line.start + stop - EDGE_S, begin + LONGEST_LOOK_S)
    mine = Shape.of(line.channel, begin, end)
    others = [Shape.of(one.other.line.channel, begin, end) for one in beside]
    slopes = [mine.upstroke / one.upstroke if one.upstroke > 0 else np.nan for one in others]
    rounds = [
        (mine.fast / mine.slow) / (one.fast / one.slow)
        if mine.slow > 0 and one.slow > 0 and one.fast > 0
        else np.nan
        for one in others
    ]
    # Another line that rings would make a good one look damped: the pulse must be smooth in itself too.
    if not first_harmonic(line.channel, begin, end) >= SMOOTH:
        return None
    if not others or not max(slopes) < by["slope"] / 100 or not max(rounds) < by["round"] / 100:
        return None
    names = [one.other.line.channel.identity.name for one in beside]
    pulse, apart = median(own.pulse[start:stop]), [median(one.mean[start:stop]) for one in beside]
    words, nearest = in_words(names), min(apart, key=abs)
    evidence = {
        "what": "over-damped",
        "against": names,
        "pulse_mmhg": round(pulse, 1),
        "pulse_percent": round(percent),
        "upstroke_percent": round(100 * max(slopes)),
        "mean_change_mmhg": round(nearest, 1),
        "reason": f"pulse {pulse:.1f} mmHg, at most {percent:.0f} % of that of {words}, without having changed from "
        f"before within a minute or two; upstroke {100 * max(slopes):.0f} % and rounder; mean within "
        f"{abs(nearest):.1f} mmHg",
    }
    return Artefact("A4", line.start + start, line.start + stop, evidence)


def first_harmonic(channel: Channel, start: float, end: float) -> float:
    """Share of a pulse's power up to 15 Hz that lies at its own rate, from the samples of a window; NaN for none."""
    at_rate, everything = 0.0, 0.0
    for _, rate, samples in channel.wave(start, end):
        size = round(FRAME_S * rate)
        values = np.asarray(samples, np.float64)
        frames = values[: values.size // size * size].reshape(-1, size)
        frames = frames[np.isfinite(frames).all(axis=1)]
        if not len(frames):
            continue
        frames = frames - frames.mean(axis=1, keepdims=True)
        power = (np.abs(np.fft.rfft(frames * np.hanning(size))) ** 2).sum(axis=0)
        hz = np.fft.rfftfreq(size, 1 / rate)
        peak = int(np.argmax(np.where((hz >= RATES_HZ[0]) & (hz < RATES_HZ[1]), power, 0.0)))
        at_rate += float(power[max(peak - 2, 0) : peak + 3].sum())
        everything += float(power[(hz >= 0.5) & (hz < RING_HZ[1])].sum())
    return at_rate / everything if everything > 0 else float("nan")


def damped_by_flush(own: Pulse, against: list[Against], by: Numbers, taken: BoolArray) -> list[Artefact]:
    """Over-damped by a flush that rings at most once, while the pulse is narrower than at every other site.

    It needs no change: a radial pulse that is narrower than the femoral one all along is no artefact, but it is one
    when the flush says so too. From the flush until the pulse is back, or the next flush; not what is told already.
    """
    line = own.line
    said = [one for one in line.own if one.code == "A2" and _hardly_swings(one)]
    if not said or not against:
        return []
    share = np.fmax.reduce([one.pulse for one in against])
    narrow = close_gaps(share <= by["pulse"] / 100, int(by["joined"])) & ~taken
    found: list[Artefact] = []
    for flush in said:
        first = line.index(flush.end + 1)
        later = [line.index(one.start) for one in line.own if one.code == "A2" and one.start > flush.start]
        run = next((run for run in true_runs(narrow) if run[1] > first), None)
        if run is None or run[0] > first + by["joined"]:
            continue
        start, stop = max(int(run[0]), first), min([int(run[1]), *later])
        if stop - start < by["shortest"]:
            continue
        names = [one.other.line.channel.identity.name for one in against]
        pulse = median(own.pulse[start:stop])
        evidence = {
            "what": "over-damped",
            "against": names,
            "pulse_mmhg": round(pulse, 1),
            "pulse_percent": round(100 * median(share[start:stop])),
            "flush": str(flush.evidence.get("flush_response", "")),
            "reason": f"after a flush with at most one oscillation the pulse is {pulse:.1f} mmHg, at most "
            f"{100 * median(share[start:stop]):.0f} % of that of {in_words(names)}",
        }
        found.append(Artefact("A4", line.start + start, line.start + stop, evidence))
    return found


def _hardly_swings(flush: Artefact) -> bool:
    """Whether at most one oscillation stood out; near the optimum too, but then no pulse is narrower for it."""
    return flush.evidence.get("adequacy") == "over-damped" or flush.evidence.get("fall_s") is not None


def in_words(names: list[str]) -> str:
    """Names of lines as words."""
    return " and ".join(name.replace("_", " ") for name in names)
