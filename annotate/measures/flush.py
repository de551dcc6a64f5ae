"""What a fast flush tells of the line: its natural frequency and its damping."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True)
class FlushResponse:
    """Answer of a catheter and transducer to the end of a flush.

    Attributes
    ----------
    natural_frequency_hz : float
        Undamped natural frequency; NaN where fewer than two swings stand out.
    damping_ratio : float
        Between 0 (rings for ever) and 1 (does not overshoot); NaN as above.
    oscillations : float
        Full swings that stand out of the pressure that follows.
    amplitude_ratio : float
        Size of a swing relative to the one half a cycle earlier.
    """

    natural_frequency_hz: float
    damping_ratio: float
    oscillations: float
    amplitude_ratio: float


def damping_from_half_cycles(ratio: float) -> float:
    """Damping ratio from the ratio of two adjacent swings, half a cycle apart.

    ζ = −ln R / √(π² + ln² R). Swings to the same side, a whole cycle apart, would need 4π² instead:
    used here they give about twice the true value.

    References
    ----------
    Gardner RM. Anesthesiology 1981;54:227-36. Worked example in Miller's Anesthesia, 6th ed., fig 32-11:
    17 and 24 mm give 0.11.

    Examples
    --------
    >>> round(damping_from_half_cycles(17 / 24), 3)
    0.109
    """
    if not 0 < ratio < 1:
        raise ValueError(f"the ratio of two adjacent swings lies between 0 and 1, got {ratio:g}")
    log = math.log(ratio)
    return -log / math.sqrt(math.pi**2 + log**2)


def fast_flush_response(
    values: ArrayLike, rate_hz: float, *, smallest_swing: float = 0.02, longest_s: float = 1.0
) -> FlushResponse:
    """Natural frequency and damping from the pressure after the flush valve closed.

    The turning points of the ring are found to a fraction of a sample by a parabola through three
    samples; each swing is the distance between neighbouring turning points, so neither the level that
    the pressure settles at nor a pulse beneath it has to be known.

    Parameters
    ----------
    values : array_like
        Wave in mmHg, beginning on the flush plateau or at the release, at least 0.3 s long.
    rate_hz : float
        Samples per second; 100 or more for a system above 15 Hz.
    smallest_swing : float
        Swings smaller than this share of the release step are taken for pulse or noise.
    longest_s : float
        Only this much after the release is looked at.

    Returns
    -------
    FlushResponse
        NaN frequency and damping where the line does not ring (over-damped, or too slowly sampled).

    References
    ----------
    Gardner RM. Anesthesiology 1981;54:227-36, doi 10.1097/00000542-198103000-00010.
    """
    wave = np.asarray(values, dtype=np.float64)
    none = FlushResponse(float("nan"), float("nan"), 0.0, float("nan"))
    if wave.size < 5 or not np.isfinite(wave).all():
        return none
    release = _release(wave, rate_hz)
    ring = wave[release : release + int(longest_s * rate_hz)]
    at, level = _turning_points(ring)
    if at.size < 2:
        return none
    step = abs(float(np.median(wave[: release + 1])) - level[0])
    swings = np.abs(np.diff(level))
    # The ring ends at the first swing that does not stand out or is not smaller than the one before.
    good = (swings > smallest_swing * step) & np.r_[True, swings[1:] < swings[:-1]]
    count = int(np.argmin(good)) if not good.all() else good.size
    if count < 2:
        return FlushResponse(float("nan"), float("nan"), count / 2, float("nan"))
    logs = np.log(swings[:count])
    # Each swing weighs as much as it stands out of noise of constant size.
    slope = float(np.polyfit(np.arange(count), logs, 1, w=swings[:count])[0])
    ratio = math.exp(slope)
    damping = damping_from_half_cycles(ratio)
    damped_hz = rate_hz / (2 * float(np.mean(np.diff(at[: count + 1]))))
    return FlushResponse(damped_hz / math.sqrt(1 - damping**2), damping, count / 2, ratio)


def _release(wave: NDArray[np.float64], rate_hz: float) -> int:
    """Index of the steepest fall within 50 ms: where the valve shut."""
    lag = max(round(0.05 * rate_hz), 1)
    if wave.size <= lag:
        return 0
    return int(np.argmin(wave[lag:] - wave[:-lag]))


def _turning_points(ring: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Alternating minima and maxima after the release: positions (samples) and levels."""
    before, here, after = ring[:-2], ring[1:-1], ring[2:]
    turn = np.flatnonzero(((here - before) * (after - here) <= 0) & (before - 2 * here + after != 0))
    bend = before[turn] - 2 * here[turn] + after[turn]
    shift = 0.5 * (before[turn] - after[turn]) / bend
    level = here[turn] - 0.25 * (before[turn] - after[turn]) * shift
    at = turn + 1 + shift
    first_minimum = int(np.argmax(bend > 0)) if (bend > 0).any() else at.size
    at, level, bend = at[first_minimum:], level[first_minimum:], bend[first_minimum:]
    # Two turns of the same kind in a row are a ripple on one flank: only alternating ones are kept.
    keep = np.r_[True, np.sign(bend[1:]) != np.sign(bend[:-1])] if at.size else np.zeros(0, bool)
    return at[keep], level[keep]
