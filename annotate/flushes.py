"""Every flush of a case with what it tells of its line, and the ring itself to look at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .flush_adequacy import LEAD_S, TAIL_S, Adequacy, adequacy, response_at
from .measures.flush import FlushResponse
from .own_shapes import PRESSURES
from .quality import artefacts
from .runs import FloatArray

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel


@dataclass(frozen=True, slots=True)
class Flush:
    """One fast flush.

    Attributes
    ----------
    channel : str
        Id of the channel.
    line : str
        Canonical name of its line.
    start_s, release_s : float
        Reference seconds: the rise, and the end of the plateau.
    clipped : bool
        Whether the plateau lies at the top of the scale; the ring is lower and not touched by that.
    sampled_hz : float
    t, values : ndarray
        The samples around the release: seconds after it, and mmHg.
    response : FlushResponse
        Its ``peaks`` in seconds after the first of `t`.
    adequacy : Adequacy
    """

    channel: str
    line: str
    start_s: float
    release_s: float
    clipped: bool
    sampled_hz: float
    t: FloatArray
    values: FloatArray
    response: FlushResponse
    adequacy: Adequacy


def flushes(case: Case) -> list[Flush]:
    """All fast flushes (A2) of the pressures of a case, in order of time."""
    found = [
        one
        for channel in case.channels
        if channel.is_wave and channel.kind in PRESSURES
        for one in _of(channel)
    ]
    return sorted(found, key=lambda one: (one.release_s, one.line))


def _of(channel: Channel) -> list[Flush]:
    found = []
    for artefact in artefacts(channel):
        if artefact.code != "A2":
            continue
        release_s = float(artefact.evidence["release_s"])
        rate, t, values = _around(channel, release_s)
        response = response_at(values, rate, int(np.searchsorted(t, -0.5 / rate)))
        found.append(
            Flush(
                channel.id,
                channel.identity.name or channel.id,
                artefact.start,
                release_s,
                bool(artefact.evidence["clipped"]),
                rate,
                t,
                values,
                response,
                adequacy(response),
            )
        )
    return found


def _around(channel: Channel, release_s: float) -> tuple[float, FloatArray, FloatArray]:
    """Rate, seconds after a release, and values, from the piece of wave that holds it."""
    half = 0.5 * channel.interval_s
    for t0, rate, samples in channel.wave(release_s - LEAD_S - half, release_s + TAIL_S + half):
        t = t0 + np.arange(samples.size) / rate - release_s
        if t.size and t[0] <= half:
            return float(f"{rate:.9g}"), t, np.asarray(samples, np.float64)
    return 1 / channel.interval_s, np.zeros(0), np.zeros(0)
