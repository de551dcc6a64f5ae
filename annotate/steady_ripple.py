"""A ripple of any shape that keeps its time as only a machine does: a pump, against a heart that is as fast.

A saw, a rounded wave, or two harmonics look like a pulse. What tells them apart is time: over most of a minute the
turns of a pump stay where they are due to a hundredth of a turn, and a heart of its own wanders by more. A heart
that is paced as fast as a pump turns, with as small a pulse, cannot be told from it by its pressure alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

WINDOW_S, HOP_S = 40.0, 10.0
SHORTEST_S = 20.0  # of a piece, that is looked at
TURN_S = 8.0  # over which one phase is taken
WORK_HZ = 25.0
SLOWEST_PER_MIN = 110.0  # under it a steady pulse is a paced heart (this project's choice)
LARGEST_MMHG = 14.0  # peak to peak, from which it is a pulse (this project's choice)
HIGHEST_HZ = 8.0
BESIDE = 0.15  # part by which the frequency may lie off that of the beats found
REACH = 2  # bins on either side that belong to a line: half the width of a Hann window
IN_LINES = 0.8  # part of all movement from 0.8 to 8 Hz that frequency and multiples hold
OFF_TURNS = 0.012  # standard deviation of the phase about a straight line, in turns (this project's choice)


def is_steady(at: FloatArray, hz: FloatArray, wave: FloatArray, rate_hz: float) -> NDArray[np.bool_]:
    """Whether a wave repeats itself around each beat as a machine does, at the rate of the beats.

    Parameters
    ----------
    at, hz : ndarray
        Onset of each beat in seconds from the first sample, in order, and how many such beats there are a second.
    wave : ndarray
        Without NaN, mmHg.
    rate_hz : float
        Samples per second.

    Returns
    -------
    ndarray of bool
        False in pieces of less than 20 s, and under `SLOWEST_PER_MIN`.
    """
    found = np.zeros(at.shape, np.bool_)
    step = max(round(rate_hz / WORK_HZ), 1)
    rate = rate_hz / step
    slow = wave[: wave.size // step * step].reshape(-1, step).mean(axis=1)
    size = min(int(WINDOW_S * rate), slow.size)
    if size < SHORTEST_S * rate or not at.size:
        return found
    hop = int(HOP_S * rate)
    centre = (np.arange(1 + (slow.size - size) // hop) * hop + size / 2) / rate
    nearest = np.clip(np.round((at - centre[0]) / HOP_S), 0, centre.size - 1).astype(np.intp)
    fast = hz >= SLOWEST_PER_MIN / 60
    windows = np.unique(nearest[fast])
    if not windows.size:
        return found
    usual = np.array([np.median(hz[fast & (nearest == one)]) for one in windows])
    frames = np.lib.stride_tricks.sliding_window_view(slow, size)[::hop][windows]
    steady = np.zeros(centre.size, np.bool_)
    for part in np.array_split(np.arange(windows.size), max(windows.size // 256, 1)):
        steady[windows[part]] = _steady(frames[part], usual[part], rate)
    return np.asarray(fast & steady[nearest])


def _steady(frames: FloatArray, usual_hz: FloatArray, rate: float) -> NDArray[np.bool_]:
    """Whether each frame holds little but one frequency near the usual one, its multiples, and keeps its phase."""
    size = frames.shape[1]
    frames = frames - frames.mean(axis=1, keepdims=True)
    power = np.abs(np.fft.rfft(frames * np.hanning(size), axis=1)) ** 2
    hz = np.fft.rfftfreq(size, 1 / rate)
    moving = (hz >= 0.8) & (hz <= min(HIGHEST_HZ, hz[-1]))
    noise = np.median(power[:, moving], axis=1, keepdims=True) / np.log(2)  # median of an exponential spread
    above = np.where(moving, np.maximum(power - noise, 0.0), 0.0)
    near = np.abs(hz - usual_hz[:, None]) <= BESIDE * usual_hz[:, None]
    line = hz[np.argmax(np.where(near, power, -1.0), axis=1)]
    line, off = _phases(frames, line, rate)
    line, off = _phases(frames, line, rate)
    multiple = np.maximum(np.round(hz / line[:, None]), 1)
    in_lines = np.abs(hz - multiple * line[:, None]) <= (REACH + 0.5) * hz[1]
    share = (above * in_lines).sum(axis=1) / np.maximum(above.sum(axis=1), 1e-12)
    return np.asarray((share >= IN_LINES) & (off <= OFF_TURNS))


def _phases(frames: FloatArray, line: FloatArray, rate: float) -> tuple[FloatArray, FloatArray]:
    """The frequency nearer by the slope of its phase, and how far the phase lies off a straight line, in turns."""
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
    return np.asarray(line + slope), np.asarray(rest.std(axis=1))
