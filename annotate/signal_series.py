"""One series of all channels of a signal, and two pressures as their difference can be read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from .measures.pressure import kept_mean_arterial_pressure, kept_shifted_seconds
from .named import Signal
from .runs import BoolArray
from .series import MASKED, OBSERVED, Series, joined

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel


def of_signal(signal: Signal, read: Callable[[Channel], Series]) -> Series:
    """One series of all channels of a signal, its site the signal's."""
    series = joined([read(channel) for channel in signal.channels], signal.joined)
    return replace(series, site=signal.token)


def on_one_level(
    case: Case, one: tuple[Signal, Series], other: tuple[Signal, Series]
) -> tuple[Series, Series]:
    """Two mean pressures for their difference: seconds in which both transducers were moved together are usable.

    What shifts all lines of one pole by the same amount (A7) takes away their level, not what is between them.

    Parameters
    ----------
    case : Case
        The case of both.
    one, other : (Signal, Series)
        A line and its mean, artefacts masked.

    Returns
    -------
    tuple of Series
        The same with those seconds observed, and a word of how many there are.
    """
    both = _shifted(case, one[0]) & _shifted(case, other[0])
    if not both.any():
        return one[1], other[1]
    lines = []
    for signal, ordinary in (one, other):
        shifted = of_signal(
            signal, lambda channel: kept_mean_arterial_pressure(case, channel, shifted_too=True)
        )
        usable = both & (ordinary.state == MASKED) & (shifted.state == OBSERVED)
        state = np.where(usable, OBSERVED, ordinary.state).astype(np.uint8)
        said = (
            f"of {int(usable.sum())} s in which both transducers were moved together the difference is used"
        )
        lines.append(
            replace(
                ordinary,
                values=np.where(usable, shifted.values, ordinary.values),
                state=state,
                note="; ".join(filter(None, [ordinary.note, said if usable.any() else ""])),
            )
        )
    return lines[0], lines[1]


def _shifted(case: Case, signal: Signal) -> BoolArray:
    """Seconds in which the transducer of any channel of a signal was moved."""
    return np.asarray(np.logical_or.reduce([kept_shifted_seconds(case, one) for one in signal.channels]))
