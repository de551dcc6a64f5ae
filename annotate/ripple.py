"""The steady ripple that a pump leaves on a pressure: one frequency, no upstroke."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .smoothing import filled, noise_level

FloatArray = NDArray[np.float64]

WINDOW_S = 20.0
HOP_S = 10.0
LOWEST_HZ, HIGHEST_HZ = 1.2, 6.0
_WORK_HZ = 25.0
PARTS_OF_BEAT = 50  # of which each has the mean of the beats around it
OF_HALF_BEATS = 0.15  # nearer than this to a multiple of half the pulse's rate a line is the pulse's own
ONLY_RIPPLE = 0.7  # part of all movement that is a line, from which little else is there
SLOW_HZ = 2.8  # under it a fibrillating heart, which moves a pressure at 3 to 8 Hz, moves it by less than:
LEAST_SLOW = 0.1  # as a part of all movement from 0.8 to 8 Hz; any rhythm up to about 160 a minute has more
A_RHYTHM = 0.32  # part of that movement that one line holds, from which it is a rhythm, however fast
SLOWER_HZ = 2.6  # or that is slower than this, where no such line can be a rhythm's
LARGEST_QUIVER_MMHG = (
    20.0  # lowest to highest of a beat, from which it is one (all five this project's choice)
)
LARGEST_RIPPLE_MMHG = 12.0  # a larger steady sinusoid is taken for a damped pulse (this project's choice)


@dataclass(frozen=True)
class RippleLine:
    """The strongest steady line of each window of 20 s; windows follow every 10 s.

    Attributes
    ----------
    centre : ndarray
        Middle of each window, in seconds from the first sample.
    share : ndarray
        Part of all movement between 0.8 and 8 Hz that this line holds; 0 where it has a second harmonic.
        A pulse has one even when it is damped: a line that passes 1.6 Hz leaves it 4 % of the power at
        100 beats a minute; from 1 % on it is no ripple here (this project's choice).
    hz : ndarray
        Frequency of the line, between 1.2 and 6 Hz, to a fraction of the window's resolution.
    slow : ndarray
        Part of that movement that is slower than 2.8 Hz.
    strongest : ndarray
        Part that this line holds, whether it has a second harmonic or not.
    """

    centre: FloatArray
    share: FloatArray
    hz: FloatArray
    slow: FloatArray
    strongest: FloatArray

    def nearest(self, t: FloatArray) -> NDArray[np.intp]:
        """Window nearest to each time."""
        steps = np.round((t - self.centre[0]) / HOP_S)
        return np.asarray(np.clip(steps, 0, self.centre.size - 1), np.intp)


def ripple_line(wave: FloatArray, rate_hz: float) -> RippleLine | None:
    """The steady line in each window of a wave without NaN; None for less than 20 s."""
    step = max(round(rate_hz / _WORK_HZ), 1)
    rate = rate_hz / step
    slow = wave[: wave.size // step * step].reshape(-1, step).mean(axis=1)
    size, hop = int(WINDOW_S * rate), int(HOP_S * rate)
    if slow.size < size:
        return None
    frames = np.lib.stride_tricks.sliding_window_view(slow, size)[::hop]
    frames = frames - frames.mean(axis=1, keepdims=True)
    power = np.abs(np.fft.rfft(frames * np.hanning(size), axis=1)) ** 2
    hz = np.fft.rfftfreq(size, 1 / rate)
    searched = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    peak = np.argmax(np.where(searched, power, 0.0), axis=1)
    moving = (hz >= 0.8) & (hz <= 8.0)
    # Noise of one bin: the median of an exponential spread is ln 2 of its mean.
    noise = np.median(power[:, moving], axis=1) / np.log(2)
    above = np.maximum(power - noise[:, None], 0.0)
    line = _around(above, peak, 2)
    everything = np.maximum(above[:, moving].sum(axis=1), 1e-12)
    harmonic = _around(above, np.minimum(2 * peak, hz.size - 1), 3) - 15 * noise
    centre = np.asarray((np.arange(len(frames)) * hop + size / 2) / rate, np.float64)
    share = np.where(harmonic < 0.01 * line, line / everything, 0.0)
    slower = above[:, moving & (hz < SLOW_HZ)].sum(axis=1) / everything
    at = np.asarray((peak + _vertex(power, peak)) * hz[1], np.float64)
    return RippleLine(centre, share, at, slower, line / everything)


def _vertex(power: FloatArray, peak: NDArray[np.intp]) -> FloatArray:
    """How far, in bins, the top of each peak lies from its highest bin: a parabola through the logarithms."""
    below, at, after = (np.log(_around(power, peak + shift, 0) + 1e-30) for shift in (-1, 0, 1))
    bend = below - 2 * at + after
    return np.asarray(np.divide(0.5 * (below - after), bend, out=np.zeros_like(at), where=bend < 0))


def _around(power: FloatArray, bins: NDArray[np.intp], reach: int) -> FloatArray:
    columns = np.clip(bins[:, None] + np.arange(-reach, reach + 1), 0, power.shape[1] - 1)
    return np.asarray(np.take_along_axis(power, columns, axis=1).sum(axis=1))


def beside_beats(wave: FloatArray, feet: FloatArray, rate_hz: float) -> FloatArray:
    """The steady ripple that runs beside the beats of a wave, 0 where none can be told.

    From each beat the mean beat of its 10 s is taken away, part by part; the strongest line of what is left
    is ripple where it holds more than half of it and does not run in step with whole or half beats.

    Parameters
    ----------
    wave : ndarray
        Without NaN.
    feet : ndarray
        Samples at which beats begin, at least two.
    rate_hz : float
        Samples per second.

    Returns
    -------
    ndarray
        One value a sample, in the unit of the wave.
    """
    ripple = np.zeros(wave.size)
    edges = np.ceil(feet).astype(np.intp)
    first, last = edges[0], min(edges[-1], wave.size)
    rest = np.zeros(wave.size)
    beat = np.searchsorted(edges, np.arange(first, last), side="right") - 1
    length = np.diff(feet)
    part = (np.arange(first, last) - feet[beat]) / length[beat]
    key = (np.arange(first, last) / (HOP_S * rate_hz)).astype(np.intp) * PARTS_OF_BEAT
    key += np.clip(part * PARTS_OF_BEAT, 0, PARTS_OF_BEAT - 1).astype(np.intp)
    usual = np.bincount(key, wave[first:last]) / np.maximum(np.bincount(key), 1)
    rest[first:last] = wave[first:last] - usual[key]
    line = ripple_line(rest, rate_hz)
    if line is None:
        return ripple
    middle = (feet[:-1] + feet[1:]) / (2 * rate_hz)
    near = np.searchsorted(middle, line.centre)
    period = np.array([np.median(length[max(0, at - 8) : at + 8]) for at in near]) / rate_hz
    halves = 2 * line.hz * period
    steady = (line.share > 0.5) & (np.abs(halves - np.round(halves)) > OF_HALF_BEATS)
    size, half = int(WINDOW_S * rate_hz), int(HOP_S * rate_hz / 2)
    weight = np.hanning(size) / np.hanning(size).sum()
    for at in np.flatnonzero(steady):
        centre = int(line.centre[at] * rate_hz)
        begin = min(max(centre - size // 2, 0), wave.size - size)
        turn = 2j * np.pi * line.hz[at] / rate_hz
        piece = rest[begin : begin + size]
        wheel = np.exp(turn * np.arange(begin, begin + size))
        level = 2 * np.sum(weight * (piece - np.sum(weight * piece)) / wheel)
        if 2 * abs(level) >= LARGEST_RIPPLE_MMHG:
            continue
        low = max(centre - half, 0) if at else 0
        high = min(centre + half, wave.size) if at < line.hz.size - 1 else wave.size
        ripple[low:high] = np.real(level * np.exp(turn * np.arange(low, high)))
    return ripple


def range_without_ripple(values: FloatArray, rate_hz: float, at: FloatArray) -> FloatArray:
    """Range from the 5th to the 95th percentile of the 4 s around each time, without ripple and noise.

    Parameters
    ----------
    values : ndarray
        One piece of wave, NaN where not usable.
    rate_hz : float
        Samples per second.
    at : ndarray
        Seconds from the first sample.

    Returns
    -------
    ndarray
        NaN where less than 2 of the 4 s were recorded.
    """
    step = max(round(rate_hz / 25.0), 1)
    rate = rate_hz / step
    blocks = values[: values.size // step * step].reshape(-1, step).mean(axis=1)
    good = np.isfinite(blocks)
    if not good.any():
        return np.full(at.shape, np.nan)
    slow = filled(blocks)
    line = ripple_line(slow, rate)
    raw_noise = noise_level(filled(values), max(int(4 * rate_hz), 4))
    size = int(4 * rate)
    reach = np.arange(size) - size // 2
    out = np.full(at.shape, np.nan)
    for part in np.array_split(np.arange(at.size), max(at.size // 4096, 1)):
        index = np.round(at[part] * rate).astype(np.intp)[:, None] + reach
        inside = (index >= 0) & (index < slow.size)
        index = np.clip(index, 0, slow.size - 1)
        there = inside & good[index]
        frames = slow[index]
        if line is not None:
            window = line.nearest(at[part])
            frames = np.where(
                line.share[window, None] > 0.5, _without_line(frames, line.hz[window], rate), frames
            )
        enough = np.count_nonzero(there, axis=1) >= size // 2
        low, high = _percentiles(np.where(there, frames, np.nan)[enough])
        noise_at = np.minimum((at[part][enough] / 4).astype(np.intp), raw_noise.size - 1)
        noise = 3.29 * raw_noise[noise_at] / np.sqrt(step)  # 5 to 95 % of a normal spread
        out[part[enough]] = np.sqrt(np.maximum((high - low) ** 2 - noise**2, 0.0))
    return out


def _percentiles(frames: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Nearest values to the 5th and 95th percentile of each row, NaN left out."""
    ordered = np.sort(frames, axis=1)  # NaN last
    last = np.count_nonzero(np.isfinite(frames), axis=1) - 1
    rows = np.arange(len(frames))
    low, high = (np.round(part * last).astype(np.intp) for part in (0.05, 0.95))
    return ordered[rows, low], ordered[rows, high]


def _without_line(frames: FloatArray, hz: FloatArray, rate: float) -> FloatArray:
    """Each row without the sinusoid of its own frequency that fits it best."""
    t = np.arange(frames.shape[1]) / rate
    phase = 2 * np.pi * hz[:, None] * t
    cosine, sine = np.cos(phase), np.sin(phase)
    centred = frames - frames.mean(axis=1, keepdims=True)
    a = 2 * (centred * cosine).mean(axis=1, keepdims=True)
    b = 2 * (centred * sine).mean(axis=1, keepdims=True)
    return np.asarray(frames - a * cosine - b * sine)
