"""Beats on a pressure wave: onset, systolic, diastolic, mean by time integral, rate.

The idea of the slope sum (rises within a short window added up, so that every upstroke becomes one
clear hump) is that of Zong, Heldt, Moody, Mark, Comput Cardiol 2003;30:259-62. Thresholds here follow
the recording block by block with medians instead of beat by beat, so that whole hours are arrays.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .memory import Memory
from .quality import channel_key, clean_waves, neighbours
from .ripple import (
    A_RHYTHM,
    LARGEST_QUIVER_MMHG,
    LARGEST_RIPPLE_MMHG,
    LEAST_SLOW,
    ONLY_RIPPLE,
    SLOWER_HZ,
    beside_beats,
    range_without_ripple,
    ripple_line,
)
from .runs import true_runs
from .smoothing import boxcar, filled, noise_level, odd
from .steady_ripple import LARGEST_MMHG, SLOWEST_PER_MIN, is_steady
from .upstrokes import (
    BLOCK_S,
    REFRACTORY_S,
    SMALLEST_PULSE_MMHG,
    feet_of,
    sliding,
    slope_sum,
    upstrokes,
    usual,
)
from .weak_beats import with_weak

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

FloatArray = NDArray[np.float64]

LIMITS = (
    f"A heart that is paced at {SLOWEST_PER_MIN:g} a minute or faster, to within half a per cent, with a pulse under "
    f"{LARGEST_MMHG:g} mmHg cannot be told from a pump's ripple by its pressure: it has no beats here, unless a "
    "recorded pump flow says that the pump stood.",
    f"A pump's ripple slower than {SLOWEST_PER_MIN:g} a minute that is no plain sinusoid, and one of "
    f"{LARGEST_MMHG:g} mmHg or more, is taken for a pulse.",
    "A beat of less than 0.4 of those around it is found where most strong beats around it are followed by such a one; "
    "a single weak beat is not told from a dicrotic wave.",
)
"""What beats cannot tell, in words for people."""
WORK_HZ = 125.0  # faster recordings are averaged down to about this
LONGEST_BEAT_S = 3.0  # a longer silence is a stillstand, not a beat (20 a minute)
NOISY_MMHG = 1.5
STEADY_PULSE = (15.0, 30.0)  # times the noise: below, noise stands on top of a pulse; above, it hardly does
STOOD_L_PER_MIN = 0.05  # a recorded pump flow up to this stands
NOISE_IN_SWING = 2.0  # range of smoothed noise within a beat, in its standard deviations
STANDS_OUT = 4.0  # times the smoothed noise that a pulse must have (this project's choice)
WEAK_STANDS_OUT = 6.0  # the same of a weak beat between strong ones
ALONE = 2.0  # times the least pulse that a beat must have where those beside it have less
NEIGHBOURS = 8  # on either side, that say what a pulse usually is: beats are found together, or none of them
AMONG_OTHERS = 0.6  # of the least pulse that a beat among such beats must have


@dataclass(frozen=True)
class Beats:
    """Beats of one wave, one array element a beat, in order of time.

    Attributes
    ----------
    onset, end : ndarray
        Foot of the upstroke and foot of the next one, in seconds.
    systolic, diastolic, mean : ndarray
        Highest and lowest pressure of the beat and its time integral divided by its length, in the
        unit of the wave. Highest and lowest are read after the steady ripple of a pump is taken out, from a
        lightly smoothed wave (about 25 ms; up to 50 ms where the pulse is under 30 times the noise).
    t_systolic : ndarray
        Second of the highest pressure.
    upstroke : ndarray
        Steepest rise, in unit per second.
    """

    onset: FloatArray
    end: FloatArray
    systolic: FloatArray
    diastolic: FloatArray
    mean: FloatArray
    t_systolic: FloatArray
    upstroke: FloatArray

    def __len__(self) -> int:
        return int(self.onset.size)

    @property
    def pulse_pressure(self) -> FloatArray:
        """Systolic minus diastolic of each beat, in the unit of the wave."""
        return np.asarray(self.systolic - self.diastolic)

    @property
    def rate_per_min(self) -> FloatArray:
        """60 divided by the length of each beat in seconds."""
        return np.asarray(60.0 / (self.end - self.onset))

    def where(self, keep: NDArray[np.bool_]) -> Beats:
        """Only the beats that `keep` marks."""
        return Beats(*(getattr(self, field.name)[keep] for field in fields(self)))


def _no_beats() -> Beats:
    return Beats(*(np.empty(0) for _ in fields(Beats)))


def joined(parts: list[Beats]) -> Beats:
    """Beats of several pieces of one wave, in order of time."""
    if not parts:
        return _no_beats()
    whole = Beats(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Beats)))
    order = np.argsort(whole.onset, kind="stable")
    return Beats(*(getattr(whole, f.name)[order] for f in fields(Beats)))


def find_beats(
    values: ArrayLike, rate_hz: float, t0: float = 0.0, pump_stood: FloatArray | None = None
) -> Beats:
    """Beats of an evenly sampled pressure wave.

    Parameters
    ----------
    values : array_like
        Pressure in mmHg, NaN where not recorded; a beat that touches a NaN is left out.
    rate_hz : float
        Samples per second, 50 or more.
    t0 : float
        Second of the first sample.
    pump_stood : ndarray, optional
        Start and end, in seconds, of stretches in which a recorded pump flow says that no pump turned: what is
        steady there is no ripple of it.

    Returns
    -------
    Beats
        Complete beats only: the last upstroke before a gap, a stillstand or the end has none.
        Nothing is found where the pulse is below about 5 mmHg, where a steady ripple of a pump is all that moves,
        or where a pressure moves as a fibrillating heart moves it (3 to 8 Hz, under 20 mmHg).

    Notes
    -----
    Works from 20 to 200 beats a minute. A rise that reaches less than 0.4 of the upstrokes around it counts as part
    of the same beat (dicrotic wave, ringing), but for weak beats in turn with strong ones (`weak_beats`). `LIMITS`
    says what cannot be told, in words for people.
    """
    raw = np.asarray(values, dtype=np.float64)
    factor = max(int(rate_hz // (WORK_HZ * 0.9)), 1)
    if raw.size < 4 * factor:
        return _no_beats()
    if factor > 1:
        raw = raw[: raw.size // factor * factor].reshape(-1, factor).mean(axis=1)
    rate = rate_hz / factor
    start = t0 + (factor - 1) / (2 * rate_hz)
    bad = ~np.isfinite(raw)
    if bad.all():
        return _no_beats()
    wave = filled(raw)
    smooth, noise = _smoothed(wave, rate)
    rise = slope_sum(smooth, rate)
    height = usual(rise, rate)
    least = np.maximum(SMALLEST_PULSE_MMHG, WEAK_STANDS_OUT * _noise_left(noise, rate))
    least = np.repeat(least, int(BLOCK_S * rate))[: rise.size]
    upstroke = with_weak(upstrokes(rise, height, rate), rise, height, smooth, least, rate)
    if upstroke.size < 2:
        return _no_beats()
    loud = np.repeat(noise > NOISY_MMHG, int(BLOCK_S * rate))
    feet, slope = feet_of(smooth, upstroke, np.where(loud[upstroke], 1.0, 1.25), rate)
    found = _measure(wave, bad, feet, slope, noise, rate)
    stood = np.zeros(len(found), np.bool_)
    for begin, end in () if pump_stood is None else pump_stood:
        stood |= (found.onset / rate + start >= begin) & (found.onset / rate + start < end)
    found = _believable(found, smooth, noise, rate, stood)
    return Beats(
        found.onset / rate + start,
        found.end / rate + start,
        found.systolic,
        found.diastolic,
        found.mean,
        found.t_systolic / rate + start,
        found.upstroke * rate,
    )


def _smoothed(wave: FloatArray, rate: float) -> tuple[FloatArray, FloatArray]:
    """The wave without its fast noise, and the size of that noise in each block.

    Two moving averages of 40 ms keep an upstroke steep; where the noise is too large for them, of 80 ms.
    """
    block = int(BLOCK_S * rate)
    narrow = max(odd(0.04 * rate), 3)
    smooth = boxcar(boxcar(wave, narrow), narrow)
    noise = noise_level(wave, block)
    loud = np.repeat(noise > NOISY_MMHG, block)[: wave.size]
    if loud.any():
        wide = max(odd(0.08 * rate), narrow + 2)
        smooth = np.where(loud, boxcar(boxcar(wave, wide), wide), smooth)
    return smooth, noise


def _widths(noise: FloatArray, rate: float) -> FloatArray:
    """Samples that each of the two moving averages of `_smoothed` is wide, in each block."""
    narrow = max(odd(0.04 * rate), 3)
    return np.where(noise > NOISY_MMHG, max(odd(0.08 * rate), narrow + 2), narrow).astype(np.float64)


def _noise_left(noise: FloatArray, rate: float) -> FloatArray:
    """Standard deviation of the noise that `_smoothed` leaves, in each block: two moving averages make a triangle."""
    width = _widths(noise, rate)
    return np.asarray(noise * np.sqrt((2 * width**2 + 1) / (3 * width**3)))


def _apart(feet: FloatArray, least: float) -> NDArray[np.bool_]:
    """Feet that lie more than so far behind the last one that is kept."""
    keep = np.ones(feet.size, dtype=np.bool_)
    if (np.diff(feet) > least).all():
        return keep
    last = -np.inf
    for i, foot in enumerate(feet.tolist()):
        keep[i] = foot - last > least
        last = foot if keep[i] else last
    return keep


def _measure(
    wave: FloatArray,
    bad: NDArray[np.bool_],
    feet: FloatArray,
    slope: FloatArray,
    noise: FloatArray,
    rate: float,
) -> Beats:
    """Beats between neighbouring feet, in samples."""
    rising = _apart(feet, 0.5 * REFRACTORY_S * rate)
    feet, slope = feet[rising], slope[rising]
    onset, end = feet[:-1], feet[1:]
    usable = (end - onset <= LONGEST_BEAT_S * rate) & (
        np.diff(integral_until(bad.astype(np.float64), feet)) == 0
    )
    index = np.minimum(np.round(feet).astype(np.intp), wave.size - 1)
    calm = wave - beside_beats(wave, feet, rate) if feet.size > 1 else wave
    light, broad = boxcar(calm, odd(0.025 * rate)), boxcar(calm, odd(0.05 * rate))
    systolic = np.maximum.reduceat(light, index)[:-1]
    diastolic = np.minimum.reduceat(light, index)[:-1]
    # The first place of the highest value: one pass over the samples, no search beat by beat.
    beat_of = np.searchsorted(index, np.arange(index[0], index[-1]), side="right") - 1
    at_top = np.flatnonzero(light[index[0] : index[-1]] == systolic[beat_of])
    _, first = np.unique(beat_of[at_top], return_index=True)
    t_systolic = (at_top[first] + index[0]).astype(np.float64)
    mean = np.diff(integral_until(wave, feet)) / (end - onset)
    # Noise makes every highest value higher and every lowest lower, which counts where the pulse is small.
    block = np.minimum((onset / int(BLOCK_S * rate)).astype(np.intp), noise.size - 1)
    steady = np.clip(
        ((systolic - diastolic) / np.maximum(noise[block], 1e-9) - STEADY_PULSE[0]) / np.ptp(STEADY_PULSE),
        0,
        1,
    )
    systolic = steady * systolic + (1 - steady) * np.maximum.reduceat(broad, index)[:-1]
    diastolic = steady * diastolic + (1 - steady) * np.minimum.reduceat(broad, index)[:-1]
    found = Beats(onset, end, systolic, diastolic, mean, t_systolic, slope[:-1])
    return found.where(usable)


def integral_until(values: FloatArray, at: FloatArray) -> FloatArray:
    """Integral by trapezoids from the first sample to each fractional index."""
    total = np.r_[0.0, np.cumsum((values[1:] + values[:-1]) / 2)]
    whole = np.clip(np.floor(at).astype(np.intp), 0, values.size - 1)
    following = np.minimum(whole + 1, values.size - 1)
    part = at - whole
    return np.asarray(total[whole] + part * (values[whole] + part * (values[following] - values[whole]) / 2))


def _believable(
    found: Beats, smooth: FloatArray, noise: FloatArray, rate: float, stood: NDArray[np.bool_]
) -> Beats:
    """Beats whose pulse stands out of the noise, and that are no ripple of a pump nor of a fibrillating heart."""
    if not len(found):
        return found
    block = np.minimum((found.onset / int(BLOCK_S * rate)).astype(np.intp), noise.size - 1)
    first, last = found.onset.astype(np.intp), np.minimum(found.end.astype(np.intp), smooth.size - 1)
    swing = _ranges(smooth, first, last)
    left = _noise_left(noise, rate)[block]
    pulse = np.maximum(swing - NOISE_IN_SWING * left, 0.0)
    usual = sliding(pulse, 2 * NEIGHBOURS + 1, np.median)
    least = np.maximum(SMALLEST_PULSE_MMHG, STANDS_OUT * left)
    together = (usual >= least) & (pulse >= AMONG_OTHERS * least)
    stands_out = together | (pulse >= ALONE * least)
    # What smoothing leaves of a sinusoid as long as the beat: a fast pulse must not be taken for a small ripple.
    left_of_it = np.sinc(_widths(noise, rate)[block] / (found.end - found.onset)) ** 2
    found, left_of_it = found.where(stands_out), left_of_it[stands_out]
    swing, pulse, stood = (swing - left)[stands_out], pulse[stands_out], stood[stands_out]
    at = found.onset / rate
    line = ripple_line(smooth, rate) if at.size else None
    if line is None:
        return found
    hz = rate / sliding(found.end - found.onset, 2 * NEIGHBOURS + 1, np.median)
    window = line.nearest(at)
    is_ripple = (line.share[window] > ONLY_RIPPLE) & (swing < LARGEST_RIPPLE_MMHG * left_of_it)
    small = pulse < LARGEST_MMHG * left_of_it
    if small.any():
        is_ripple[small] |= is_steady(at[small], smooth, rate)
    fibrillates = (line.slow[window] < LEAST_SLOW) & (swing < LARGEST_QUIVER_MMHG)
    fibrillates &= (hz < SLOWER_HZ) | (line.strongest[window] < A_RHYTHM)
    return found.where(~(is_ripple & ~stood) & ~fibrillates)


def _ranges(values: FloatArray, first: NDArray[np.intp], last: NDArray[np.intp]) -> FloatArray:
    """Highest minus lowest value of each stretch ``first:last``; the stretches never overlap."""
    edges = np.column_stack([first, np.maximum(last, first + 1)]).ravel()
    padded = np.r_[values, values[-1]]
    return np.asarray(np.maximum.reduceat(padded, edges)[::2] - np.minimum.reduceat(padded, edges)[::2])


# -- a channel -------------------------------------------------------------------------------------

_BEATS: Memory[Beats] = Memory(32)


def beats(channel: Channel, masked: bool = True) -> Beats:
    """Beats of a whole pressure channel, times in reference seconds.

    Parameters
    ----------
    channel : Channel
        A wave; any other channel has no beats.
    masked : bool
        Whether beats that touch an artefact (A1, A2, A9, the ring of a flush) are left out.
    """
    if not channel.is_wave:
        return _no_beats()

    def compute() -> Beats:
        pieces = clean_waves(channel, masked)
        stood = pump_stood(channel)
        return joined([find_beats(values, rate, t0, stood) for t0, rate, values in pieces])

    return _BEATS.get((channel_key(channel), masked), compute)


def pump_stood(channel: Channel) -> FloatArray:
    """Start and end of stretches in which every pump flow beside a channel was recorded and stood, a row each.

    Empty without a recorded flow, or where its clock cannot be trusted beside the channel's.
    """
    flows = [one for one in neighbours(channel) if one.kind == "pump_flow"]
    if not flows:
        return np.zeros((0, 2))
    turns = np.max([np.nan_to_num(one.seconds(), nan=np.inf) for one in flows], axis=0)
    runs = true_runs(turns <= STOOD_L_PER_MIN)
    return np.asarray(runs + float(channel.grid[0])) if len(runs) else np.zeros((0, 2))


def average_over_seconds(
    onset: FloatArray, end: FloatArray, values: FloatArray, start: float, count: int
) -> tuple[FloatArray, FloatArray]:
    """Values of disjoint stretches, averaged over each second by overlap.

    Parameters
    ----------
    onset, end, values : ndarray
        Stretches in order of time and the value of each.
    start, count : float, int
        First second, and how many.

    Returns
    -------
    average, share : ndarray
        NaN where no stretch reaches; and which part of the second stretches cover.
    """
    if not onset.size:
        return np.full(count, np.nan), np.zeros(count)
    knots = np.column_stack([onset, end]).ravel()
    knots = np.maximum.accumulate(knots)
    lasting = end - onset
    zero = np.zeros_like(lasting)
    covered = np.cumsum(np.column_stack([zero, lasting]).ravel())
    weighted = np.cumsum(np.column_stack([zero, lasting * values]).ravel())
    at = start + np.arange(count + 1)
    share = np.diff(np.interp(at, knots, covered))
    total = np.diff(np.interp(at, knots, weighted))
    average = np.divide(total, share, out=np.full(count, np.nan), where=share > 1e-9)
    return average, share


def pulse_pressure(channel: Channel, grid: FloatArray, masked: bool = True) -> FloatArray:
    """Pulse pressure of each second, in the channel's unit.

    Parameters
    ----------
    channel : Channel
        A pressure wave.
    grid : ndarray
        Whole reference seconds, one apart.
    masked : bool
        Whether artefacts are left out.

    Returns
    -------
    ndarray
        Of the beats where beats cover half of the second; elsewhere the 5th to 95th percentile range of
        the 4 s around it, after the steady ripple of a pump and the share of noise are taken out. NaN
        where nothing usable was recorded.
    """
    if not grid.size or not channel.is_wave:
        return np.full(grid.size, np.nan)
    start = float(grid[0])
    found = beats(channel, masked)
    average, share = average_over_seconds(found.onset, found.end, found.pulse_pressure, start, grid.size)
    result = np.where(share >= 0.5, average, np.nan)
    for t0, rate, values in clean_waves(channel, masked):
        first = max(int(np.ceil(t0 - start)), 0)
        last = min(int(np.floor(t0 + values.size / rate - start)), grid.size)
        seconds = np.arange(first, last)
        seconds = seconds[np.isnan(result[seconds])]
        if seconds.size:
            result[seconds] = range_without_ripple(
                values, rate, np.asarray(start - t0 + 0.5 + seconds, np.float64)
            )
    return result
