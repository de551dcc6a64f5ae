"""What a fast flush tells of the line: its natural frequency and its damping."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

SLOWEST_HZ = 3.0
"""Swings slower than this are the pulse, not the line."""
FEWEST_A_CYCLE = 4.0
"""Samples that a full swing must have to be seen as one."""
UNLIKE = 0.35
"""Part by which a half cycle may differ from the first; a sample either way is always let pass."""
SINGLE_HZ = 5.0
"""The same where a single swing is all that is seen."""
HARDLY = (
    "at most one swing stands out after the release: a line damped near the optimum, an over-damped one, or one "
    "sampled too slowly"
)
LARGE = 0.25
"""Part of the release that a single slow swing must have to be more than the pulse beneath: no over-damped line's."""
ONE_LARGE = f"one large swing stands out, slower than {SINGLE_HZ:g} Hz, and the pulse hides what follows"
FIRST_S = 0.3
"""The first swing is over by then."""
WIDER = 1.5
"""The pulse beneath is no parabola: intervals are wider by so much (made rings over a pulse: 9 of 10 are held)."""
LEAST_PM_HZ, LEAST_PM_DAMPING = 0.2, 0.02
"""Never told more closely than this: no line is a system of second order in the last digit."""
CURVED = 3
"""Coefficients of the parabola that stands for pressure and pulse beneath the ring."""


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
        Full swings, of two half cycles each, that stand out of the pressure that follows: where frequency and damping
        are known as many as such a line makes, since the next pulse may hide the last ones.
    amplitude_ratio : float
        Size of a swing relative to the one half a cycle earlier.
    natural_frequency_pm, damping_pm : float
        Half-widths of their 95 % intervals, from how well a decaying swing fits the samples; NaN as above.
    peaks : tuple of (second, mmHg)
        Turning points of the swings that were used, seconds from the first value given.
    cannot_tell : str
        Why there is no frequency, in words; empty where there is one.
    fall_s : float
        Seconds from a tenth to seven tenths of the fall to its lowest within `FIRST_S`; told where hardly a swing
        stands out, NaN else. The rest of the fall may be the pulse beneath.
    """

    natural_frequency_hz: float
    damping_ratio: float
    oscillations: float
    amplitude_ratio: float
    natural_frequency_pm: float = float("nan")
    damping_pm: float = float("nan")
    peaks: tuple[tuple[float, float], ...] = ()
    cannot_tell: str = ""
    fall_s: float = float("nan")

    @property
    def told(self) -> bool:
        """Whether frequency and damping are known."""
        return math.isfinite(self.natural_frequency_hz)


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


def half_cycles_from_damping(damping: float) -> float:
    """Ratio of two adjacent swings, half a cycle apart: the inverse of `damping_from_half_cycles`.

    Examples
    --------
    >>> round(half_cycles_from_damping(0.215), 2)
    0.5
    """
    return math.exp(-math.pi * damping / math.sqrt(1 - damping**2))


def fast_flush_response(
    values: ArrayLike, rate_hz: float, *, smallest_swing: float = 0.02, longest_s: float = 1.0
) -> FlushResponse:
    """Natural frequency and damping from the pressure after the flush valve closed.

    The turning points of the ring are found to a fraction of a sample by a parabola through three
    samples; each swing is the distance between neighbouring turning points, so neither the level that
    the pressure settles at nor a pulse beneath it has to be known. From there the samples are fitted by a
    decaying swing on a parabola, which gives the answer and its ±; the turning points alone give it where
    there are too few samples for that.

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
        NaN frequency and damping where the line does not ring (over-damped), where a sample is missing, or
        where it was sampled too slowly to see the swings; `cannot_tell` says which.

    References
    ----------
    Gardner RM. Anesthesiology 1981;54:227-36, doi 10.1097/00000542-198103000-00010.
    """
    wave = np.asarray(values, dtype=np.float64)
    if wave.size < 5 or not np.isfinite(wave).all():
        return _untold(
            0.0, "samples are missing in the ring" if wave.size >= 5 else "the record ends with it"
        )
    release = _release(wave, rate_hz)
    ring = wave[release : release + int(longest_s * rate_hz)]
    step = float(np.median(wave[: release + 1]) - np.min(ring[: int(FIRST_S * rate_hz) + 2]))
    if not step > 0:
        return _untold(0.0, "the pressure does not fall from it")
    at, level = _turning_points(ring, smallest_swing * step)
    fall_s = _fall(wave, release, step, rate_hz)
    if at.size < 2:
        return _untold(0.0, HARDLY, fall_s)
    swings = np.abs(np.diff(level))
    halves = np.diff(at)
    # The ring ends at the first swing that is not smaller than the one before, takes as long as a pulse does,
    # or another time than the first: the next pulse.
    good = np.r_[True, swings[1:] < swings[:-1]] & (halves <= rate_hz / (2 * SLOWEST_HZ))
    good &= np.abs(halves - halves[0]) <= np.maximum(UNLIKE * halves[0], 1.0)
    count = int(np.argmin(good)) if not good.all() else good.size
    ratio = _ratio(swings[:count], step) if count > 1 or halves[0] <= rate_hz / (2 * SINGLE_HZ) else 0.0
    if not 0 < ratio < 1:
        if swings[0] > LARGE * step:
            return _untold(0.5, ONE_LARGE)
        return _untold(min(count, 1) / 2, HARDLY, fall_s)
    damping = damping_from_half_cycles(ratio)
    damped_hz = rate_hz / (2 * float(np.average(halves[:count], weights=swings[:count])))
    if rate_hz < FEWEST_A_CYCLE * damped_hz:
        return _untold(
            count / 2,
            f"sampled {rate_hz:.0f} times a second, fewer than {FEWEST_A_CYCLE:g} times a swing: too slowly to tell",
        )
    peaks = tuple(
        (float(release + here) / rate_hz, float(there))
        for here, there in zip(at[: count + 1], level[: count + 1], strict=True)
    )
    rough = damped_hz / math.sqrt(1 - damping**2), damping
    fitted = _fitted(ring, rate_hz, float(at[0]), float(halves[0]), count, rough)
    if fitted is None and count < 2:
        return _untold(0.5, HARDLY, fall_s)
    usual = 0.1 * rough[0], 0.25 * rough[1]  # the spread of turning points alone
    natural, damping, natural_pm, damping_pm = fitted or (*rough, *usual)
    ratio = half_cycles_from_damping(damping)
    return FlushResponse(
        natural,
        damping,
        math.floor(math.log(smallest_swing / (1 + ratio)) / math.log(ratio)) / 2,
        ratio,
        max(natural_pm, LEAST_PM_HZ),
        max(damping_pm, LEAST_PM_DAMPING),
        peaks,
    )


def _ratio(swings: Floats, step: float) -> float:
    """Ratio of neighbouring swings; of a single one from its size beside the release step s: s (R + R²)."""
    if swings.size == 1:
        return float(0.5 * (math.sqrt(1 + 4 * swings[0] / step) - 1))
    # Each swing weighs as much as it stands out of noise of constant size.
    return math.exp(float(np.polyfit(np.arange(swings.size), np.log(swings), 1, w=swings)[0]))


def _untold(oscillations: float, why: str, fall_s: float = float("nan")) -> FlushResponse:
    nan = float("nan")
    return FlushResponse(nan, nan, oscillations, nan, cannot_tell=why, fall_s=fall_s)


def _fall(wave: Floats, release: int, step: float, rate_hz: float) -> float:
    """Seconds that the pressure takes from a tenth to seven tenths of `step` below the plateau; NaN for none."""
    if not step > 0:
        return float("nan")
    begin = max(release - int(FIRST_S * rate_hz), 0)
    down = (float(np.median(wave[: release + 1])) - wave[begin : release + int(FIRST_S * rate_hz) + 2]) / step
    low = int(np.argmax(down))
    steps = np.maximum.accumulate(down[: low + 1])
    crossed = [_crossing(steps, share) for share in (0.1, 0.7)]
    return float(crossed[1] - crossed[0]) / rate_hz


def _crossing(rising: Floats, share: float) -> float:
    """Fraction of a sample at which a course that never falls reaches `share`."""
    after = int(np.argmax(rising >= share))
    if after == 0:
        return 0.0
    return after - 1 + float((share - rising[after - 1]) / (rising[after] - rising[after - 1]))


def _release(wave: Floats, rate_hz: float) -> int:
    """Index of the steepest fall within 50 ms: where the valve shut."""
    lag = max(round(0.05 * rate_hz), 1)
    if wave.size <= lag:
        return 0
    return int(np.argmin(wave[lag:] - wave[:-lag]))


def _turning_points(ring: Floats, smallest: float) -> tuple[Floats, Floats]:
    """Alternating minima and maxima after the release, a minimum first: positions (samples) and levels.

    A turn counts once the wave has come back by `smallest`: noise on a flank is none.
    """
    turns: list[int] = []
    extreme, sign = 0, 1.0  # falling towards a minimum
    for here in range(1, ring.size):
        if sign * (ring[here] - ring[extreme]) < 0:
            extreme = here
        elif sign * (ring[here] - ring[extreme]) > smallest and extreme > 0:
            turns.append(extreme)
            extreme, sign = here, -sign
    at = np.array([one for one in turns if 0 < one < ring.size - 1], np.intp)
    before, level, after = ring[at - 1], ring[at], ring[at + 1]
    bend = before - 2 * level + after
    shift = np.where(bend != 0, 0.5 * (before - after) / np.where(bend != 0, bend, 1.0), 0.0)
    return np.asarray(at + shift), np.asarray(level - 0.25 * (before - after) * shift)


# -- a decaying swing through the samples ------------------------------------------------------------


def _fitted(
    ring: Floats, rate_hz: float, at: float, half: float, count: int, rough: tuple[float, float]
) -> tuple[float, float, float, float] | None:
    """Natural frequency, damping, and the ± of both, from the best of several lengths of the ring.

    A longer piece holds more of the ring, and more of the pulse beneath it: the one that tells the frequency
    most closely is taken. None where no fit comes near to what the turning points say.
    """
    first = max(int(np.ceil(at - 0.5 * half)), 0)
    best = None
    for more in range(6):
        last = int(at + (count + more) * half) + 1
        piece = ring[first : min(last, ring.size)]
        if piece.size < 2 * CURVED + 3:
            continue
        found = _least_squares(piece, rate_hz, rough)
        near = found is not None and abs(found[0] - rough[0]) < 0.25 * rough[0] and found[2] < 0.1 * found[0]
        if found is not None and near and (best is None or found[2] < best[2]):
            best = found
    return best


def _least_squares(
    piece: Floats, rate_hz: float, begin: tuple[float, float]
) -> tuple[float, float, float, float] | None:
    """Gauss-Newton over frequency and damping; amplitudes and parabola follow by linear least squares."""
    t = np.arange(piece.size) / rate_hz
    beneath = np.vander(t / t[-1], CURVED, increasing=True)

    def left(natural: float, damping: float) -> Floats:
        decay = np.exp(-damping * 2 * np.pi * natural * t)
        turn = 2 * np.pi * natural * math.sqrt(1 - damping**2) * t
        columns = np.column_stack((beneath, decay * np.cos(turn), decay * np.sin(turn)))
        return np.asarray(piece - columns @ np.linalg.lstsq(columns, piece, rcond=None)[0])

    now = np.array(begin)
    jacobian = np.zeros((piece.size, 2))
    for _ in range(12):
        rest = left(*now)
        for which, small in enumerate((0.01 * now[0], 0.005)):
            moved = now.copy()
            moved[which] += small
            jacobian[:, which] = (left(*moved) - rest) / small
        step = -np.linalg.lstsq(jacobian, rest, rcond=None)[0]
        now = now + np.clip(step, (-0.1 * begin[0], -0.05), (0.1 * begin[0], 0.05))
        if not (0.5 * begin[0] < now[0] < 2 * begin[0] and 0.005 < now[1] < 0.95):
            return None
    rest = left(*now)
    free = piece.size - CURVED - 4
    spread = float(rest @ rest) / free * np.linalg.pinv(jacobian.T @ jacobian)
    pm = WIDER * 1.96 * (1 + 2.5 / free) * np.sqrt(np.diag(spread))  # few samples: wider, as Student's t is
    return float(now[0]), float(now[1]), float(pm[0]), float(pm[1])
