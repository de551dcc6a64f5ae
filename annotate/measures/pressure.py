"""Mean pressure from the wave, and the estimates that say so where there is none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from afterclamp.io.array_cache import text_of
from numpy.typing import ArrayLike, NDArray

from ..beats import average_over_seconds, beats
from ..memory import Memory
from ..quality import NO_LEVEL, Piece, channel_key, clean_waves, seconds_state
from ..series import MASKED, MISSING, OBSERVED, Series

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel

FloatArray = NDArray[np.float64]

_MEANS: Memory[Series] = Memory(32)
RAW = "raw: artefacts are left in"
_OF_BEATS = "mean by time integral over each beat, of 4 s without beats"


def mean_arterial_pressure(
    channel: Channel, grid: FloatArray | None = None, *, masked: bool = True, shifted_too: bool = False
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
    shifted_too : bool
        With True seconds whose level is wrong because the transducer was moved (A7) are observed: for a difference
        from another line that was moved with it.

    Returns
    -------
    Series
        Seconds with an artefact are ``MASKED``, seconds without a usable sample ``MISSING``; both NaN.
    """
    seconds = _own_grid(channel) if grid is None else np.asarray(grid, dtype=np.float64)
    bounds = (float(seconds[0]), seconds.size) if seconds.size else (0.0, 0)
    key = (channel_key(channel), bounds, masked, shifted_too)
    made = _MEANS.get(key, lambda: _mean(channel, seconds, masked, shifted_too))
    return replace(made, values=made.values.copy(), state=made.state.copy())


def _mean(channel: Channel, seconds: FloatArray, masked: bool, shifted_too: bool) -> Series:
    start, count = (float(seconds[0]) if seconds.size else 0.0), seconds.size
    codes = tuple(code for code in NO_LEVEL if code != "A7") if shifted_too else NO_LEVEL
    state = seconds_state(channel, seconds, codes)
    if not masked:
        state[state == MASKED] = OBSERVED
    if not channel.is_wave:
        values = _recorded(channel, seconds)
        note = "as recorded by the device"
    else:
        found = beats(channel, masked)
        average, share = average_over_seconds(found.onset, found.end, found.mean, start, count)
        values = np.where(share >= 0.5, average, window_mean(clean_waves(channel, masked), start, count))
        note = _noted(masked)
    state[(state == OBSERVED) & ~np.isfinite(values)] = MISSING
    values = np.where(state == OBSERVED, values, np.nan)
    return Series(start, values, state, channel.unit, "mean_arterial_pressure", channel.name, note)


def kept_mean_arterial_pressure(
    case: Case, channel: Channel, *, masked: bool = True, shifted_too: bool = False
) -> Series:
    """`mean_arterial_pressure` of a channel on the grid of its case, kept in the case's cache.

    Parameters
    ----------
    case : Case
        The case; for a view of it up to some time nothing is kept, since one for every place of the
        playhead would fill the disk.
    channel : Channel
        One of the channels of that case.
    masked, shifted_too : bool
        As in `mean_arterial_pressure`.

    Returns
    -------
    Series
        As `mean_arterial_pressure` gives it.
    """
    grid = np.asarray(case.grid, dtype=np.float64)
    if case.horizon is not None or not channel.is_wave or not grid.size:
        return mean_arterial_pressure(channel, grid, masked=masked, shifted_too=shifted_too)

    def compute() -> dict[str, NDArray[Any]]:
        made = mean_arterial_pressure(channel, grid, masked=masked, shifted_too=shifted_too)
        return {"values": made.values, "state": made.state}

    here = Path(__file__).parent
    parts = (text_of(here.parent, here), channel_key(channel), float(grid[0]), grid.size)
    name = "mean-raw" if not masked else "mean-shifted" if shifted_too else "mean"
    kept = case.cached(name, parts, compute)
    values, state = kept["values"].copy(), kept["state"].copy()
    note = _noted(masked)
    return Series(float(grid[0]), values, state, channel.unit, "mean_arterial_pressure", channel.name, note)


def kept_shifted_seconds(case: Case, channel: Channel) -> NDArray[np.bool_]:
    """Seconds of the case's grid in which a channel's transducer was moved (A7), kept in the case's cache."""
    grid = np.asarray(case.grid, dtype=np.float64)

    def compute() -> dict[str, NDArray[Any]]:
        return {"shifted": seconds_state(channel, grid, ("A7",)) == MASKED}

    if case.horizon is not None or not grid.size:
        return np.asarray(compute()["shifted"], dtype=np.bool_)
    here = Path(__file__).parent
    parts = (text_of(here.parent, here), channel_key(channel), float(grid[0]), grid.size)
    return np.asarray(case.cached("shifted", parts, compute)["shifted"], dtype=np.bool_)


def _noted(masked: bool) -> str:
    return _OF_BEATS + ("" if masked else f"; {RAW}")


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
        # First sample of each half second: hours of a fast wave are summed without an index for every sample.
        edges = np.ceil((np.arange(bins + 1) / 2 - 2 + start - t0) * rate - 1e-6).astype(np.intp)
        edges = np.clip(edges, 0, values.size)
        filled = np.flatnonzero(edges[1:] > edges[:-1])
        if not filled.size:
            continue
        begin, end = edges[filled], int(edges[filled[-1] + 1])
        blank = np.isnan(values[:end])
        known = np.where(blank, 0.0, values[:end]) if blank.any() else values[:end]
        total[filled] += np.add.reduceat(known, begin) / rate
        seen = (edges[filled + 1] - begin).astype(np.float64)
        if blank.any():
            seen -= np.add.reduceat(blank, begin, dtype=np.intp)
        lasting[filled] += seen / rate
    eight = np.ones(8)
    total, lasting = np.convolve(total, eight, "valid"), np.convolve(lasting, eight, "valid")
    mean = np.divide(total, lasting, out=np.full(total.size, np.nan), where=lasting > 1e-9)
    return np.asarray(mean[1 : 2 * count + 1 : 2])


def map_from_cuff(systolic: ArrayLike, diastolic: ArrayLike, pulse_share: float = 1 / 3) -> FloatArray:
    """Estimate of the mean from systolic and diastolic: diastolic plus a share of the pulse pressure, mmHg.

    An estimate, for cuff values only. Where there is a wave use `mean_arterial_pressure`.

    Parameters
    ----------
    systolic, diastolic : array_like
        In mmHg; NaN where either is missing.
    pulse_share : float
        Part of the pulse pressure that is added; a third, as usual, if not given.

    Notes
    -----
    Against the tonometric integral in 1,526 people (mean ± 1.96 SD): −5.0 ± 6.7 mmHg with a third, −1.2 ± 6.1 with
    0.40, −0.6 ± 6.1 with 0.412; the true share ran from 23 to 58 %. In the root of the aorta it is 0.35 to 0.53
    (mean 0.45). So the right share depends on the person and the site.

    References
    ----------
    J Hypertens 2020, PMID 32694334 (authors Grillo et al. from memory). Root of the aorta: Chemla et al. Clin Sci
    2002;103:7-13.

    Examples
    --------
    >>> round(float(map_from_cuff(120, 80)), 2), round(float(map_from_cuff(120, 80, 0.412)), 2)
    (93.33, 96.48)
    """
    low = np.asarray(diastolic, dtype=np.float64)
    return np.asarray(low + pulse_share * (np.asarray(systolic, dtype=np.float64) - low))


def map_rate_corrected(systolic: ArrayLike, diastolic: ArrayLike, rate_per_min: ArrayLike) -> FloatArray:
    """Estimate of the mean that allows for heart rate: DP + (0.33 + 0.0012 · HR) · PP, mmHg.

    An estimate, as `map_from_cuff` is: a fast heart spends less of its beat in diastole.

    Parameters
    ----------
    systolic, diastolic : array_like
        In mmHg.
    rate_per_min : array_like
        Beats a minute.

    Returns
    -------
    ndarray
        NaN where any input is missing.

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
