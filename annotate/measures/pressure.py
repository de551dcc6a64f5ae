"""Arterial pressure: mean from the wave, estimates that say so, resistances."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..beats import average_over_seconds, beats
from ..quality import Piece, clean_waves, seconds_state
from ..series import MASKED, MISSING, OBSERVED, Series

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

FloatArray = NDArray[np.float64]

WOOD_TO_DYN = 80.0
"""dyn·s·cm⁻⁵ in one Wood unit as it is used; exactly 79.9932 (UCUM: 1 mm[Hg] = 133.322 Pa)."""


def mean_arterial_pressure(
    channel: Channel, grid: FloatArray | None = None, *, masked: bool = True
) -> Series:
    """Mean pressure of a wave, one value a second, in mmHg.

    Where there is a pulse it is the time integral over each beat divided by the beat's length (the
    reference way: Am J Hypertens 2023;36:297-305), averaged over the second by overlap; where beats cover
    less than half of the second, the mean of the 4 s around it.

    Parameters
    ----------
    channel : Channel
        A pressure wave, or a recorded mean, which is taken as it is.
    grid : ndarray, optional
        Whole reference seconds; from the channel's first to its last second if not given.
    masked : bool
        With False the artefacts are left in ("raw"); off-scale samples never are.

    Returns
    -------
    Series
        Seconds with an artefact are ``MASKED``, seconds without a usable sample ``MISSING``; both NaN.
    """
    seconds = _own_grid(channel) if grid is None else np.asarray(grid, dtype=np.float64)
    start, count = (float(seconds[0]) if seconds.size else 0.0), seconds.size
    state = seconds_state(channel, seconds)
    if not masked:
        state[state == MASKED] = OBSERVED
    if not channel.is_wave:
        values = _recorded(channel, seconds)
        note = "as recorded by the device"
    else:
        found = beats(channel, masked)
        average, share = average_over_seconds(found.onset, found.end, found.mean, start, count)
        values = np.where(share >= 0.5, average, window_mean(clean_waves(channel, masked), start, count))
        note = "mean by time integral over each beat, of 4 s without beats" + ("" if masked else "; raw")
    state[(state == OBSERVED) & ~np.isfinite(values)] = MISSING
    values = np.where(state == OBSERVED, values, np.nan)
    return Series(start, values, state, channel.unit, "mean_arterial_pressure", channel.name, note)


def _own_grid(channel: Channel) -> FloatArray:
    span = channel.span
    return np.arange(np.floor(span.start + 1e-6), np.ceil(span.end - 1e-6), dtype=np.float64)


def _recorded(channel: Channel, seconds: FloatArray) -> FloatArray:
    """A slow channel's held values on other seconds than the case's grid."""
    samples = channel.read(channel.span.start, channel.span.end)
    last = np.searchsorted(samples.t, seconds + 1, side="left") - 1
    if not samples.t.size:
        return np.full(seconds.size, np.nan)
    held = (last >= 0) & (seconds - samples.t[np.maximum(last, 0)] < 3 * samples.interval_s)
    return np.where(held, samples.values[np.maximum(last, 0)], np.nan)


def window_mean(pieces: list[Piece], start: float, count: int) -> FloatArray:
    """Mean of the usable samples of the 4 s around the middle of each second; NaN without any.

    Parameters
    ----------
    pieces : list of (t0, rate_hz, values)
        Evenly sampled pieces, NaN where not usable.
    start, count : float, int
        First second, and how many.
    """
    bins = 2 * count + 8  # half seconds, two seconds more on either side
    total, lasting = np.zeros(bins), np.zeros(bins)
    for t0, rate, values in pieces:
        good = np.flatnonzero(np.isfinite(values))
        at = np.floor(2 * (t0 - start + good / rate) + 4).astype(np.intp)
        inside = (at >= 0) & (at < bins)
        total += np.bincount(at[inside], values[good[inside]], minlength=bins) / rate
        lasting += np.bincount(at[inside], minlength=bins) / rate
    eight = np.ones(8)
    total, lasting = np.convolve(total, eight, "valid"), np.convolve(lasting, eight, "valid")
    mean = np.divide(total, lasting, out=np.full(total.size, np.nan), where=lasting > 0)
    return np.asarray(mean[1 : 2 * count + 1 : 2])


def map_from_cuff(systolic: ArrayLike, diastolic: ArrayLike) -> FloatArray:
    """Estimate of the mean from systolic and diastolic: diastolic plus a third of the pulse pressure, mmHg.

    An estimate, for cuff values only: against the tonometric integral it reads 5.0 ± 6.7 mmHg low (mean
    ± 1.96 SD, 1,526 people; J Hypertens 2020, PMID 32694334), since the true share of the pulse pressure
    runs from 23 to 58 %. Where there is a wave use `mean_arterial_pressure`.

    Examples
    --------
    >>> round(float(map_from_cuff(120, 80)), 2)
    93.33
    """
    low = np.asarray(diastolic, dtype=np.float64)
    return np.asarray(low + (np.asarray(systolic, dtype=np.float64) - low) / 3)


def map_rate_corrected(systolic: ArrayLike, diastolic: ArrayLike, rate_per_min: ArrayLike) -> FloatArray:
    """Estimate of the mean that allows for heart rate: DP + (0.33 + 0.0012 · HR) · PP, mmHg.

    An estimate. `rate_per_min` in beats a minute.

    References
    ----------
    Razminia M et al. Catheter Cardiovasc Interv 2004;63:419-25, doi 10.1002/ccd.20217.

    Examples
    --------
    >>> round(float(map_rate_corrected(120, 80, 75)), 1)
    96.8
    """
    low = np.asarray(diastolic, dtype=np.float64)
    share = 0.33 + 0.0012 * np.asarray(rate_per_min, dtype=np.float64)
    return np.asarray(low + share * (np.asarray(systolic, dtype=np.float64) - low))


def vascular_resistance(upstream: ArrayLike, downstream: ArrayLike, flow: ArrayLike) -> FloatArray:
    """Resistance between two mean pressures in Wood units (mmHg·min/L); times `WOOD_TO_DYN` in dyn·s·cm⁻⁵.

    Parameters
    ----------
    upstream, downstream : array_like
        Mean pressures in mmHg.
    flow : array_like
        L/min. Without flow there is no resistance: NaN, not infinity.
    """
    litres = np.asarray(flow, dtype=np.float64)
    drop = np.asarray(upstream, dtype=np.float64) - np.asarray(downstream, dtype=np.float64)
    drop, litres = np.broadcast_arrays(drop, litres)
    return np.asarray(np.divide(drop, litres, out=np.full(litres.shape, np.nan), where=litres > 0))


def systemic_vascular_resistance(
    mean_pressure: ArrayLike, central_venous_pressure: ArrayLike, flow: ArrayLike
) -> FloatArray:
    """(MAP − CVP) / flow in Wood units; the flow is cardiac output, or the pump's on bypass.

    Printed with factors of 80, 79.9 and (exactly) 79.99 to dyn·s·cm⁻⁵, so results differ by up to 0.12 %.

    Examples
    --------
    >>> float(systemic_vascular_resistance(95, 3, 5))
    18.4
    """
    return vascular_resistance(mean_pressure, central_venous_pressure, flow)


def pulmonary_vascular_resistance(
    mean_pulmonary_pressure: ArrayLike, wedge_pressure: ArrayLike, flow: ArrayLike
) -> FloatArray:
    """(mean PA − wedge) / cardiac output in Wood units."""
    return vascular_resistance(mean_pulmonary_pressure, wedge_pressure, flow)


def systemic_vascular_resistance_index(
    mean_pressure: ArrayLike, central_venous_pressure: ArrayLike, flow: ArrayLike, body_surface_area: float
) -> FloatArray:
    """Resistance times body surface: (MAP − CVP) / (flow / BSA), in Wood units · m².

    Multiplied by the body surface, never divided (the definition is from memory).
    """
    if not body_surface_area > 0:
        raise ValueError(f"body surface area must be positive, got {body_surface_area:g} m²")
    return body_surface_area * vascular_resistance(mean_pressure, central_venous_pressure, flow)
