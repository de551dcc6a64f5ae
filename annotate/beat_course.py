"""Systolic, diastolic and pulse pressure of one line, its beats averaged over each second."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from .beats import average_over_seconds
from .derived import Absent, Derived, Measured
from .kept_beats import kept_beats
from .kept_states import kept_state
from .quality import NO_LEVEL, NO_PULSE
from .series import MASKED, MISSING, OBSERVED, Series
from .signal_series import of_signal

if TYPE_CHECKING:
    from afterclamp.io.case import Channel

    from .named import Signal

BEAT_MEASURES: Final = MappingProxyType(
    {"systolic_pressure": "systolic", "diastolic_pressure": "diastolic", "pulse_pressure": "pulse_pressure"}
)
"""Measures of single beats, and what each is called among them."""
HALF: Final = 0.5  # of a second that beats have to cover (this project's choice, as for the mean)
_LEVEL: Final = tuple(dict.fromkeys((*NO_LEVEL, *NO_PULSE)))


def beat_course(derived: Derived, signal: Signal, measure: str) -> Measured:
    """A measure of the beats of one line as one value a second, mmHg.

    Each beat counts by how much of the second it covers. A second that beats cover less than half of is missing: on
    bypass, in arrest and in fibrillation there is no systolic pressure.

    Parameters
    ----------
    derived : Derived
        The case; it also says whether artefacts are masked.
    signal : Signal
        A line.
    measure : str
        One of `BEAT_MEASURES`.

    Returns
    -------
    Series or Absent
        Seconds with an artefact are masked: for the pulse what takes the pulse away, for systolic and diastolic
        pressure what takes the level away as well. Absent where the line is no wave.
    """
    if not signal.first.is_wave:
        return Absent(f"{signal.plain_name} is no wave: it has no beats")
    found = kept_beats(derived.case, signal, masked=derived.masked)
    start, count = float(derived.grid[0]) if derived.grid.size else 0.0, derived.grid.size
    values = getattr(found, BEAT_MEASURES[measure])
    average, share = average_over_seconds(found.onset, found.end, values, start, count)
    codes = NO_PULSE if measure == "pulse_pressure" else _LEVEL

    def of_channel(channel: Channel) -> Series:
        state = kept_state(derived.case, channel, codes)
        if not derived.masked:
            state[state == MASKED] = OBSERVED
        state[(state == OBSERVED) & ((share < HALF) | ~np.isfinite(average))] = MISSING
        seen = np.where(state == OBSERVED, average, np.nan)
        note = "of the beats, averaged over each second; a second without beats is missing"
        return Series(start, seen, state, channel.unit, measure, channel.name, note)

    return of_signal(signal, of_channel)


def believed_beat_course(derived: Derived, measure: str) -> Measured:
    """The same of the line that is believed in each second."""
    return derived.as_believed(lambda signal: beat_course(derived, signal, measure))
