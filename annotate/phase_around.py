"""The record before the first time on bypass and after each, where it is known that it is that."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .order import Z95, not_set
from .phase_model import Boundary, Phase
from .view import View

HELD_S = 2  # s beyond its own interval for which the last value of a channel is held


def ends_of_record(view: View) -> tuple[Boundary, Boundary] | None:
    """The first and the last second in which anything was recorded; None where nothing was."""
    seconds = np.flatnonzero(view.recorded)
    if not len(seconds):
        return None
    last = _last_second(view)
    return (
        _of_record(view, int(seconds[0]), int(seconds[0]), "first recorded value"),
        _of_record(view, last, last + 1, "the record ends"),
    )


def _last_second(view: View) -> int:
    """The last second of the record, by the surest channel of those that ended together.

    A value that is held until the next one is due, and a clock with a ±, put the end of a channel some seconds off.
    """
    ends: list[tuple[float, float, int]] = []
    for name, values in view.values.items():
        seconds = np.flatnonzero(np.isfinite(values))
        if len(seconds):
            last = int(seconds[-1])
            sd = view.clock_at(view.source.get(name, ""), view.time(last)).sd_s
            ends.append((sd, view.interval.get(name, 1.0), last))
    latest = max(last for *_, last in ends)
    open_s = max(
        interval + HELD_S + (Z95 * sd if np.isfinite(sd) else 0.0)
        for sd, interval, last in ends
        if last == latest
    )
    return min(one for one in ends if one[2] >= latest - open_s)[2]


def around(view: View, bypasses: Sequence[Phase]) -> list[Phase]:
    """Before bypass and after it, from the ends of `bypasses` that are recorded; all of it before without any.

    Parameters
    ----------
    view : View
    bypasses : sequence of Phase
        In order.
    """
    ends = ends_of_record(view)
    if ends is None:
        return []
    first, last = ends
    if not bypasses:
        return [Phase("pre", first, last)]
    out = []
    if bypasses[0].start.recorded and bypasses[0].start_s > first.time_s:
        out.append(Phase("pre", first, bypasses[0].start))
    behind = [*(later.start for later in bypasses[1:]), last]
    for bypass, end in zip(bypasses, behind, strict=True):
        if bypass.end.recorded and end.recorded and end.time_s > bypass.end_s:
            out.append(Phase("post", bypass.end, end))
    return out


def _of_record(view: View, second: int, at: int, rule: str) -> Boundary:
    """An end of the record, by the surest clock of those that recorded something then."""
    sources = sorted(
        {view.source.get(name, "") for name, values in view.values.items() if np.isfinite(values[second])}
    )
    time_s = view.time(at)
    clocks = {source: view.clock_at(source, time_s) for source in sources}
    source = min(sources, key=lambda name: clocks[name].sd_s)
    sd = clocks[source].sd_s
    if not sd:
        return Boundary(time_s, rule)
    doubt = () if np.isfinite(sd) else (not_set(source),)
    return Boundary(
        time_s,
        rule,
        source=source,
        clock_sd_s=sd,
        clock_piece=clocks[source].piece,
        alternatives=doubt,
    )
