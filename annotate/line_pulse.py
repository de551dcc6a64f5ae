"""A line's pulse, second by second and against another line, and the shape of its beats."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .artefact_numbers import NOISE
from .line_seconds import BLOCK_S, LineSeconds, row_medians, windows
from .runs import FloatArray

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

RING_HZ, PULSE_HZ = (3.5, 15.0), (0.5, 3.5)
FRAME_S = 4.0  # length of the frames whose spectra are added up
UPSTROKE = 98  # percentile of changes over 80 ms that stands for the upstroke


@dataclass(frozen=True, slots=True)
class Pulse:
    """Pulse, systolic height above the mean, and mean of a line, each a running median of five seconds."""

    line: LineSeconds
    pulse: FloatArray
    above: FloatArray
    mean: FloatArray

    @classmethod
    def of(cls, line: LineSeconds) -> Pulse:
        """Over three seconds each, so that the slowest beat is whole."""
        high = _of_three(line.high, np.fmax)
        low = _of_three(line.low, np.fmin)
        gone = ~np.isfinite(line.mean) | (line.rough > NOISE["least"].value)
        courses = (high - low, high - line.mean, line.mean)
        return cls(line, *(_smooth(np.where(gone, np.nan, course)) for course in courses))


def _of_three(course: FloatArray, of: Callable[[FloatArray, FloatArray], FloatArray]) -> FloatArray:
    if not course.size:
        return course
    padded = np.pad(course, 1, mode="edge")
    return of(of(padded[:-2], padded[1:-1]), padded[2:])


def _smooth(course: FloatArray) -> FloatArray:
    return row_medians(windows(course, 2, 2), 2)


@dataclass(frozen=True, slots=True)
class Against:
    """A line against one other: how its pulse, systolic height and mean compare, second by second."""

    other: Pulse
    pulse: FloatArray
    above: FloatArray
    mean: FloatArray

    @classmethod
    def of(cls, own: Pulse, other: Pulse, least: float) -> Against:
        """NaN where the other line has no pulse."""
        there = other.pulse >= least
        return cls(
            other,
            np.where(there, own.pulse / np.where(there, other.pulse, 1.0), np.nan),
            np.where(there, own.above - other.above, np.nan),
            np.where(there, own.mean - other.mean, np.nan),
        )


@dataclass(frozen=True, slots=True)
class Shape:
    """Steepness of the upstroke (mmHg per 80 ms), and power of the pulse and of what is faster (mmHg²)."""

    upstroke: float
    slow: float
    fast: float

    @classmethod
    def of(cls, channel: Channel, start: float, end: float) -> Shape:
        """From the samples of a window; NaN where too few were recorded."""
        upstrokes, slow, fast = [], 0.0, 0.0
        for _, rate, samples in channel.wave(start, end):
            values = np.asarray(samples, np.float64)
            block = max(round(BLOCK_S * rate), 1)
            means = values[: values.size // block * block].reshape(-1, block).mean(axis=1)
            upstrokes.append(means[2:] - means[:-2])
            frame = round(FRAME_S * rate)
            frames = values[: values.size // frame * frame].reshape(-1, frame)
            frames = frames[np.isfinite(frames).all(axis=1)]
            power = (
                np.abs(np.fft.rfft((frames - frames.mean(axis=1, keepdims=True)) * np.hanning(frame))) ** 2
            )
            hz = np.fft.rfftfreq(frame, 1 / rate)
            slow += float(power[:, (hz >= PULSE_HZ[0]) & (hz < PULSE_HZ[1])].sum())
            fast += float(power[:, (hz >= RING_HZ[0]) & (hz < RING_HZ[1])].sum())
        rises = np.concatenate(upstrokes) if upstrokes else np.zeros(0)
        rises = rises[np.isfinite(rises)]
        steep = float(np.percentile(rises, UPSTROKE)) if rises.size else float("nan")
        return cls(steep, slow, fast)
