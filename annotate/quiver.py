"""The fine irregular ripple of a heart that fibrillates, apart from noise and from the steady ripple of a pump.

A fibrillating heart moves the pressure irregularly at 3 to 8 Hz; a pump at one frequency and its multiples; noise
at all. In short spectra the median over the band is hardly moved by single lines, and what lies above the band
tells the noise.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .runs import FloatArray, running_mean, smooth

Piece = tuple[float, float, FloatArray]

BAND_HZ = (3.0, 8.0)
ABOVE_HZ = (9.0, 12.0)  # noise alone
WORK_HZ = 25.0
NOISE_WINDOWS = 13  # neighbours that the noise is a median of: a line's noise hardly changes within a minute
WINDOW_S, STEP_S = 10, 5
STANDS_OUT = 1.8  # times the density of the noise, in one window (this project's choice)
STANDS_OUT_LONG, LONG_WINDOWS = 1.4, 5  # the same over so many windows, whose scatter is smaller
MEDIAN_OF_POWER = float(np.log(2))  # median over mean of the power of noise in one bin (exponential)


def fibrillation_ripple(pieces: Sequence[Piece], start: float, count: int) -> FloatArray:
    """Standard deviation of the irregular ripple of each second, in the unit of the wave.

    Parameters
    ----------
    pieces : sequence of (t0, rate_hz, values)
        Evenly sampled pieces, NaN where not usable.
    start, count : float, int
        First second, and how many.

    Returns
    -------
    ndarray
        Of the windows of ten seconds around it; 0 where noise alone explains the band, NaN where a window was
        not recorded whole, or where the sampling is too slow for the band and the noise above it.
    """
    found = np.full(count, np.nan)
    for t0, rate, values in pieces:
        block = max(int(rate // WORK_HZ), 1)
        slow = rate / block
        if slow / 2 < ABOVE_HZ[1] - 1e-9:
            continue
        means = values[: values.size // block * block].reshape(-1, block).mean(axis=1)
        width, step = round(WINDOW_S * slow), round(STEP_S * slow)
        if means.size < width:
            continue
        windows = np.lib.stride_tricks.sliding_window_view(means, width)[::step]
        ripple = _ripple(windows, slow, block, rate)
        middle = t0 + (np.arange(len(windows)) * step + width / 2) / slow
        first, last = max(int(np.ceil(t0 - start)), 0), min(int(t0 + values.size / rate - start), count)
        seconds = np.arange(first, last)
        nearest = np.clip(
            np.round((start + seconds + 0.5 - middle[0]) / STEP_S).astype(np.intp), 0, len(windows) - 1
        )
        found[seconds] = ripple[nearest]
    return found


def _ripple(windows: NDArray[np.float64], slow: float, block: int, rate: float) -> FloatArray:
    out = np.full(len(windows), np.nan)
    whole = np.isfinite(windows).all(axis=1)
    if not whole.any():
        return out
    seen = windows[whole]
    t = np.arange(seen.shape[1]) - (seen.shape[1] - 1) / 2
    seen = seen - seen.mean(axis=1, keepdims=True)
    seen = seen - (seen @ t / (t @ t))[:, None] * t
    taper = np.hanning(seen.shape[1])
    power = np.abs(np.fft.rfft(seen * taper, axis=1)) ** 2 * 2 / (slow * np.sum(taper**2))
    hz = np.fft.rfftfreq(seen.shape[1], 1 / slow)
    # What averaging over a block takes away of each frequency.
    with np.errstate(invalid="ignore", divide="ignore"):
        left = np.where(hz > 0, np.sin(np.pi * hz * block / rate) / (block * np.sin(np.pi * hz / rate)), 1.0)
    inside, above = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1]), (hz >= ABOVE_HZ[0]) & (hz <= ABOVE_HZ[1])
    # Noise is white before the averaging and keeps its density; aliasing brings back what the averaging took.
    noise = smooth(np.median(power[:, above], axis=1), NOISE_WINDOWS)
    band = np.median((power[:, inside] - noise[:, None]) / left[inside] ** 2, axis=1)
    # Less than so many times the noise may be its own scatter, over one window or over several.
    plain = band >= (STANDS_OUT - 1) * noise
    plain |= running_mean(band, LONG_WINDOWS) >= (STANDS_OUT_LONG - 1) * noise
    density = np.where(plain, np.maximum(band, 0.0), 0.0) / MEDIAN_OF_POWER
    out[whole] = np.sqrt(density * (BAND_HZ[1] - BAND_HZ[0]))
    return out
