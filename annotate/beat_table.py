"""Beats of one pressure wave as a table, and whether it pulses at all, second by second."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from afterclamp.io.errors import NoSuchChannel
from numpy.typing import NDArray

from .beats import Beats, find_beats, joined, pulse_pressure, pump_stood
from .measures.beat_measures import dicrotic_notch, steepest_rise, systolic_area
from .measures.pressure import mean_arterial_pressure
from .quality import PRESSURES, clean_waves

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

FloatArray = NDArray[np.float64]

NO_PULSE_MMHG = 5.0
"""Below this pulse pressure, over 4 s, a line is taken for not pulsatile (this project's choice)."""


@dataclass(frozen=True, eq=False)
class BeatTable:
    """Beats of one line with what is measured of each, one array element a beat, in order of time.

    Attributes
    ----------
    onset, end : ndarray
        Foot of the upstroke and of the next one, reference seconds.
    systolic, diastolic, mean, pulse_pressure : ndarray
        In mmHg; the mean is the time integral over the beat divided by its length.
    rate_per_min : ndarray
        60 divided by the length of the beat.
    upstroke : ndarray
        Steepest rise, mmHg/s, of the wave averaged over 24 ms (`measures.steepest_rise`).
    systolic_area : ndarray
        Above diastolic pressure from the foot to the notch, mmHg·s (`measures.systolic_area`); NaN where no notch
        can be looked for.
    """

    onset: FloatArray
    end: FloatArray
    systolic: FloatArray
    diastolic: FloatArray
    mean: FloatArray
    pulse_pressure: FloatArray
    rate_per_min: FloatArray
    upstroke: FloatArray
    systolic_area: FloatArray

    def __len__(self) -> int:
        return int(self.onset.size)

    def columns(self) -> dict[str, FloatArray]:
        """The columns by heading, each with its unit as UCUM."""
        return {
            "onset [s]": self.onset,
            "end [s]": self.end,
            "systolic [mm[Hg]]": self.systolic,
            "diastolic [mm[Hg]]": self.diastolic,
            "mean [mm[Hg]]": self.mean,
            "pulse_pressure [mm[Hg]]": self.pulse_pressure,
            "rate [/min]": self.rate_per_min,
            "upstroke [mm[Hg]/s]": self.upstroke,
            "systolic_area [mm[Hg].s]": self.systolic_area,
        }


def beat_table(
    channel: Channel, start: float = -np.inf, end: float = np.inf, *, masked: bool = True
) -> BeatTable:
    """Every beat of a pressure wave that begins in a window, with its measures.

    Parameters
    ----------
    channel : Channel
        A pressure wave.
    start, end : float
        Window in reference seconds; the whole record if not given. The end is not part of it.
    masked : bool
        Whether beats that touch an artefact are left out.

    Returns
    -------
    BeatTable
        Complete beats only; none where there is no pulse (see `find_beats`).

    Raises
    ------
    NoSuchChannel
        Where the channel is no pressure wave.
    """
    if not channel.is_wave or channel.kind not in PRESSURES:
        raise NoSuchChannel(
            f"{channel.name} ({channel.id}) is no pressure wave: beats are looked for on pressure waves only",
            todo="Name a line that was recorded as a wave; 'afterclamp channels CASE' lists them",
        )
    parts, rises, areas = [], [], []
    stood = pump_stood(channel)
    for t0, rate, values in clean_waves(channel, masked):
        # Found in the whole piece and then cut: what a beat is must not depend on where somebody looks.
        found = find_beats(values, rate, t0, stood)
        found = found.where((found.onset >= start) & (found.onset < end))
        if len(found):
            parts.append(found)
            rises.append(steepest_rise(values, rate, found.onset, found.t_systolic, t0))
            notch = dicrotic_notch(values, rate, found.t_systolic, found.end, t0)
            areas.append(systolic_area(values, rate, found.onset, notch, found.diastolic, t0))
    onsets = np.concatenate([one.onset for one in parts]) if parts else np.empty(0)
    order = np.argsort(onsets, kind="stable")
    every: Beats = joined(parts)
    return BeatTable(
        every.onset,
        every.end,
        every.systolic,
        every.diastolic,
        every.mean,
        every.pulse_pressure,
        every.rate_per_min,
        np.concatenate(rises)[order] if rises else np.empty(0),
        np.concatenate(areas)[order] if areas else np.empty(0),
    )


@dataclass(frozen=True, eq=False)
class Pulsation:
    """Whether a line pulses, one value a second.

    Attributes
    ----------
    start : float
        Reference second of the first value.
    pulse_pressure : ndarray
        mmHg; of the beats where there are any, else the range of the 4 s around without ripple and noise.
    index : ndarray
        1 where the line pulses, 0 where it does not, NaN where nothing usable was recorded.
    mean : ndarray
        mmHg; of each beat where there are beats, else of the 4 s around.
    """

    start: float
    pulse_pressure: FloatArray
    index: FloatArray
    mean: FloatArray

    @property
    def pulsatile_s(self) -> float:
        """Seconds with a pulse."""
        return float(np.nansum(self.index))

    @property
    def observed_s(self) -> float:
        """Seconds in which a pulse could have been seen."""
        return float(np.isfinite(self.index).sum())


def pulsation(channel: Channel, grid: FloatArray, *, masked: bool = True) -> Pulsation:
    """The pulsatile index of a pressure wave: 1 or 0 a second, by a pulse of `NO_PULSE_MMHG`.

    Parameters
    ----------
    channel : Channel
        A pressure wave; of anything else nothing is known (NaN).
    grid : ndarray
        Whole reference seconds, one apart.
    masked : bool
        Whether artefacts are left out.

    Returns
    -------
    Pulsation
    """
    pulse = pulse_pressure(channel, grid, masked)
    index = np.where(np.isfinite(pulse), (pulse >= NO_PULSE_MMHG).astype(np.float64), np.nan)
    mean = mean_arterial_pressure(channel, grid, masked=masked).values
    return Pulsation(float(grid[0]) if grid.size else 0.0, pulse, index, mean)
