"""A ripple of any shape that keeps its time as only a machine does: a pump, against a heart that is as fast.

A saw, a rounded wave, or two harmonics look like a pulse. What tells them apart is time: over most of a minute the
turns of a pump stay where they are due to a hundredth of a turn, and a heart of its own wanders by more. A heart
that is paced as fast as a pump turns, with as small a pulse, cannot be told from it by its pressure alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

WINDOW_S, HOP_S = 60.0, 10.0
SHORTEST_S = 20.0  # of a piece, that is looked at
TURN_S = 8.0  # over which one phase is taken
WORK_HZ = 25.0
SLOWEST_PER_MIN = 110.0  # under it a steady pulse is a paced heart (this project's choice)
LARGEST_MMHG = 13.0  # peak to peak, from which it is a pulse (this project's choice)
LOWEST_HZ, HIGHEST_HZ = 0.8, 8.0  # what counts as movement
FASTEST_HZ = 6.0  # of a pump
OF_SLOWER = 0.03  # part of all movement at a half or a third of a frequency that makes it a multiple
BESIDE_HZ = 1.0  # of a line, in which its noise is taken
REACH = 2  # bins on either side that belong to a line: half the width of a Hann window
IN_LINES = 0.6  # part of all movement from 0.8 to 8 Hz that frequency and multiples hold
OFF_TURNS = (
    0.009  # standard deviation of the phase about a straight line, in turns, less what noise makes of it
)
NOISY_TURNS = 0.03  # made by noise, above which nothing can be told (both this project's choice)


def is_steady(at: FloatArray, wave: FloatArray, rate_hz: float) -> NDArray[np.bool_]:
    """Whether a wave repeats itself around each time as a machine does, as fast as a pump.

    Parameters
    ----------
    at : ndarray
        Seconds from the first sample, in order.
    wave : ndarray
        Without NaN, mmHg.
    rate_hz : float
        Samples per second.

    Returns
    -------
    ndarray of bool
        False in pieces of less than 20 s, and where it repeats itself less often than `SLOWEST_PER_MIN`.
    """
    step = max(round(rate_hz / WORK_HZ), 1)
    rate = rate_hz / step
    slow = wave[: wave.size // step * step].reshape(-1, step).mean(axis=1)
    size = min(int(WINDOW_S * rate), slow.size)
    if size < SHORTEST_S * rate or not at.size:
        return np.zeros(at.shape, np.bool_)
    hop = int(HOP_S * rate)
    centre = (np.arange(1 + (slow.size - size) // hop) * hop + size / 2) / rate
    nearest = np.clip(np.round((at - centre[0]) / HOP_S), 0, centre.size - 1).astype(np.intp)
    steady = np.zeros(centre.size, np.bool_)
    frames = np.lib.stride_tricks.sliding_window_view(slow, size)[::hop]
    windows = np.unique(nearest)
    for part in np.array_split(windows, max(windows.size // 256, 1)):  # hours at once would fill the memory
        steady[part] = _steady(frames[part], rate)
    return np.asarray(steady[nearest])


def _steady(frames: FloatArray, rate: float) -> NDArray[np.bool_]:
    """Whether each frame holds little but one frequency and its multiples, and keeps its phase."""
    size = frames.shape[1]
    frames = frames - frames.mean(axis=1, keepdims=True)
    power = np.abs(np.fft.rfft(frames * np.hanning(size), axis=1)) ** 2
    hz = np.fft.rfftfreq(size, 1 / rate)
    moving = (hz >= LOWEST_HZ) & (hz <= min(HIGHEST_HZ, hz[-1]))
    noise = np.median(power[:, moving], axis=1, keepdims=True) / np.log(2)  # median of an exponential spread
    above = np.where(moving, np.maximum(power - noise, 0.0), 0.0)
    everything = np.maximum(above.sum(axis=1), 1e-12)
    line = hz[np.argmax(np.where(hz <= FASTEST_HZ, above, -1.0), axis=1)]
    line, off, strength = _phases(frames, line, rate)
    line, off, strength = _phases(frames, line, rate)
    # The strongest line of a slower pulse may be a multiple of its rate.
    for part in (2, 3):
        below = np.abs(hz - line[:, None] / part) <= (REACH + 0.5) * hz[1]
        line = np.where((above * below).sum(axis=1) > OF_SLOWER * everything, line / part, line)
    multiple = np.maximum(np.round(hz / line[:, None]), 1)
    in_lines = np.abs(hz - multiple * line[:, None]) <= (REACH + 0.5) * hz[1]
    share = (above * in_lines).sum(axis=1) / everything
    # Noise of so much power beside the line (a smoothed wave has less of it higher up), in the window of one phase,
    # as turns of the phase.
    beside = np.where(np.abs(hz - line[:, None]) <= BESIDE_HZ, power, np.nan)
    per_window = np.nanmedian(beside, axis=1) / np.log(2) * int(TURN_S * rate) / size
    by_noise = np.sqrt(per_window / (2 * np.maximum(strength, 1e-12))) / (2 * np.pi)
    keeps_time = (off**2 - by_noise**2 <= OFF_TURNS**2) & (by_noise <= NOISY_TURNS)
    return np.asarray((share >= IN_LINES) & keeps_time & (line >= SLOWEST_PER_MIN / 60))


def _phases(frames: FloatArray, line: FloatArray, rate: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The frequency nearer by the slope of its phase, how far that lies off a straight line in turns, and its power."""
    size, width = frames.shape[1], int(TURN_S * rate)
    t = np.arange(size) / rate
    begins = np.arange(0, size - width + 1, width // 2)
    weights = np.zeros((size, begins.size))
    for column, begin in enumerate(begins):
        weights[begin : begin + width, column] = np.hanning(width)
    turned = (frames * np.exp(-2j * np.pi * line[:, None] * t)) @ weights
    phase = np.unwrap(np.angle(turned), axis=1) / (2 * np.pi)
    middle = (begins - begins.mean()) / rate
    slope = phase @ middle / (middle @ middle)
    rest = phase - phase.mean(axis=1, keepdims=True) - slope[:, None] * middle
    return np.asarray(line + slope), np.asarray(rest.std(axis=1)), np.median(np.abs(turned) ** 2, axis=1)
