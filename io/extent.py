"""How long a case may be, so that a wrong stamp does not make it years long.

Everything in a case is read on one grid of seconds. A single row that is stamped 1970 would stretch it over decades,
which no machine holds and nobody means.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from .errors import CaseError
from .recording import RecordedChannel, Recording
from .window import Span

LONGEST_S = 14 * 86400.0
"""A case is at most two weeks long (this project's choice: the longest operations take days)."""

_DAY = 86400.0
_COUNTLESS = 1e9  # days; more are not worth writing out


def refuse_endless(recordings: Iterable[Recording]) -> None:
    """See to it that no source reaches further than a case can.

    Raises
    ------
    CaseError
        Naming the source, its first and its last stamp.
    """
    for recording in recordings:
        ends = [end for channel in recording.channels for end in _ends(channel)]
        if ends and not max(ends) - min(ends) <= LONGEST_S:
            raise CaseError(
                f"the samples of the source {recording.name} reach from {_stamp(recording, min(ends))} to "
                f"{_stamp(recording, max(ends))}, over {_days(max(ends) - min(ends))}; a case is at most "
                f"{_days(LONGEST_S)} long",
                path=recording.files[0][0] if recording.files else None,
                todo="Give the export of one operation, or correct its times",
            )


def _ends(channel: RecordedChannel) -> Iterator[float]:
    if channel.times is not None and len(channel.times):
        yield from (float(channel.times.min()), float(channel.times.max()))
    for segment in channel.segments:
        if segment.count:
            yield from (segment.start_s, segment.end_s)


def _stamp(recording: Recording, seconds: float) -> str:
    """A stamp as day and time of day: the day counts from the source's first, since a case keeps no dates."""
    first = recording.first_stamp
    if first is not None:
        seconds += first.hour * 3600 + first.minute * 60 + first.second
    day, rest = divmod(math.floor(seconds), 86400) if math.isfinite(seconds) else (math.inf, 0)
    if not abs(day) < _COUNTLESS:
        return "a day that no calendar has"
    number = f"{day + 1:,.0f}" if first is not None else f"{day:,.0f}"
    hours, minutes = divmod(int(rest) // 60, 60)
    return f"day {number}, {hours:02d}:{minutes:02d}:{int(rest) % 60:02d}"


def _days(seconds: float) -> str:
    days = seconds / _DAY
    return f"{days:,.0f} days" if days < _COUNTLESS else "more than a billion days"


def within_reach(found: Sequence[tuple[str, Span]], reference: str) -> tuple[Span | None, tuple[str, ...]]:
    """The stretch of time that a case covers, and what lies too far away to belong to it.

    Parameters
    ----------
    found : sequence of (str, Span)
        Source and stretch, in reference seconds, of everything that was recorded.
    reference : str
        The source that the others are measured by.

    Returns
    -------
    Span or None
        At most `LONGEST_S` long; None where there is nothing.
    tuple of str
        Sources of which something lies outside, each with where, as a sentence.
    """
    start, end, far = math.inf, -math.inf, {}
    nearest = sorted(found, key=lambda one: (one[0] != reference, abs(one[1].start)))
    for source, span in nearest:
        first, last = min(start, span.start), max(end, span.end)
        if last - first <= LONGEST_S:
            start, end = first, last
            continue
        if math.isinf(start) and math.isfinite(span.start) and source == reference:
            start, end = span.start, span.start + LONGEST_S
        away = span.start if span.duration <= LONGEST_S else span.end
        far[source] = (
            f"{source}: something of it lies {_days(abs(away))} {'after' if away > 0 else 'before'} the start of "
            f"{reference} and is left out of what covers at most {_days(LONGEST_S)}; its clock may have to be set"
        )
    return (Span(start, end) if end >= start else None), tuple(far.values())
