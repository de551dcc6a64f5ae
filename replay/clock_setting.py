"""Setting a clock after the bring-in: what a number makes of the clock, how it is kept. No Qt.

An offset says how far a source is ahead of the reference; two readings of the same moment say it as well. What a
person doubts is the half-width of a 95 % interval, in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from afterclamp.annotate.align.hand import FASTEST_PPM
from afterclamp.io.case import Case, Source
from afterclamp.io.clock import FURTHEST_S, ClockMap, ClockPiece
from afterclamp.io.errors import EditRefused
from afterclamp.io.log import Edit

from .wording import Z95

USUAL_DOUBT_S = 2.0
"""Half-width of the 95 % interval of a clock set by hand, until the person says another (this project's choice)."""

DAY_S = 86400.0

# -- what it makes of the clock ----------------------------------------------------------------------


@dataclass(frozen=True)
class Ends:
    """First and last sample or line of a source: its own seconds, and the run of its stamps."""

    first: tuple[float, int]
    last: tuple[float, int]

    def on(self, clock: ClockMap) -> tuple[float, float]:
        """Reference seconds of both on a clock."""
        return tuple(float(clock.to_reference(s, run)) for s, run in (self.first, self.last))  # type: ignore[return-value]


def ends_of(case: Case, source: Source) -> Ends | None:
    """Where a source begins and ends; None where it holds neither sample nor line."""
    runs = runs_of(case, source)
    if runs:
        first, last = min(runs), max(runs)
        return Ends((runs[first][0], first), (runs[last][1], last))
    lines = [note for note in case.notes if note.source == source.name]
    if not lines:
        return None
    first_t, last_t, last = min(n.t for n in lines), max(n.t for n in lines), source.runs - 1
    clock = source.clock
    return Ends((float(clock.to_source(first_t)), 0), (float(clock.to_source(last_t, last)), last))


def runs_of(case: Case, source: Source) -> dict[int, tuple[float, float]]:
    """Of each run of stamps: source seconds of its first sample, and of what would follow its last."""
    found: dict[int, tuple[float, float]] = {}
    for channel in case.channels:
        stored = channel.recorded_as
        if channel.source != source.name or not channel.count:
            continue
        parts = [
            (segment.run, segment.start_s, segment.start_s + segment.count / segment.rate_hz)
            for segment in stored.segments
            if segment.count
        ]
        if stored.times is not None and len(stored.times):
            step = channel.interval_s if math.isfinite(channel.interval_s) else 0.0
            runs = stored.runs if stored.runs is not None else [0] * len(stored.times)
            for time, run in zip(stored.times, runs, strict=True):
                parts.append((int(run), float(time), float(time) + step))
        for run, start, end in parts:
            low, high = found.get(run, (start, end))
            found[run] = (min(low, start), max(high, end))
    return found


def every_run(case: Case, source: Source) -> ClockMap:
    """The clock of a source with a piece for each run of stamps.

    Where a clock that nobody set was set back, the step is taken as if no row had been lost at it; a person can say
    otherwise.
    """
    clock = source.clock
    if clock.method != "unset" or source.runs == 1:
        return clock
    runs = runs_of(case, source)
    pieces, offset = [], clock.offset_s
    for run in range(source.runs):
        if run in runs and run - 1 in runs:
            offset += runs[run][0] - runs[run - 1][1]
        pieces.append(replace(clock.pieces[0], offset_s=offset, run=run))
    return ClockMap(clock.zero_s, tuple(pieces))


def step_places(case: Case, source: Source, clock: ClockMap) -> tuple[float, ...]:
    """Reference time of each step on a clock, seconds; NaN where the source has no sample after it."""
    runs = runs_of(case, source)
    found = []
    for (at, _), piece in zip(clock.steps, clock.pieces[1:], strict=True):
        if not math.isfinite(at) and piece.run in runs:
            at = float(clock.to_reference(runs[piece.run][0], piece.run))
        found.append(at)
    return tuple(found)


def step_sizes(clock: ClockMap) -> tuple[float, ...]:
    """Size of each step, seconds, negative when set back."""
    return tuple(by for _, by in clock.steps)


def by_hand(
    clock: ClockMap,
    offset_s: float,
    within_s: float,
    *,
    drift_ppm: float | None = None,
    steps: Sequence[float] | None = None,
) -> ClockMap:
    """A clock with a person's offset and doubt; its steps stay where they are.

    Parameters
    ----------
    clock : ClockMap
        As it is.
    offset_s : float
        How far the source is ahead at reference time 0, before any step; seconds.
    within_s : float
        Half-width of a 95 % interval, seconds.
    drift_ppm : float, optional
        Parts per million, positive when it runs fast; as it was where it is not given.
    steps : sequence of float, optional
        Size of each step, seconds; as they were where they are not given.

    Raises
    ------
    EditRefused
        When the doubt is not above zero, a number is not finite, or no clock drifts so fast.
    """
    if not (within_s > 0 and math.isfinite(within_s)):
        raise EditRefused("a clock set by hand needs a doubt above zero", todo="Say within how many seconds")
    sizes = step_sizes(clock) if steps is None else tuple(steps)
    if not all(math.isfinite(value) for value in (offset_s, drift_ppm or 0.0, *sizes)):
        raise EditRefused("an offset, a drift or a step is not a number")
    if abs(offset_s) > FURTHEST_S:
        raise EditRefused(
            f"no recorder's clock is off by {abs(offset_s) / DAY_S / 365.25:.0f} years",
            todo="Write the offset in seconds, or as 1:34 or 1:00:37",
        )
    if abs(drift_ppm or 0.0) > FASTEST_PPM:
        raise EditRefused(
            f"no recorder's clock is off by {abs(drift_ppm or 0.0):.0f} parts per million",
            todo=f"Write a drift of at most {FASTEST_PPM:.0f}",
        )
    offsets = [offset_s]
    for size in sizes:
        offsets.append(offsets[-1] + size)
    pieces = tuple(
        replace(
            piece,
            offset_s=offset,
            drift_ppm=piece.drift_ppm if drift_ppm is None else drift_ppm,
            sd_s=within_s / Z95,
        )
        for piece, offset in zip(clock.pieces, offsets, strict=True)
    )
    return ClockMap(clock.zero_s, pieces, "by hand")


def compared(case: Case, source: Source, clock: ClockMap, source_says: float, reference_says: float) -> float:
    """The offset before any step that two readings of one moment give, seconds.

    Parameters
    ----------
    case : Case
    source : Source
    clock : ClockMap
        With the drift and the steps that are to hold.
    source_says, reference_says : float
        Seconds since midnight where the clock tells the time of day, else since its own start.
    """
    middle = (case.span.start + case.span.end) / 2
    t = reference_says
    if case.start_clock is not None:
        t = _nearest(t - _of_day(case.start_clock), middle)
    stamp = source_says
    if source.first_stamp is not None:
        # Its clock, counted as the clock map counts it: from what the reference clock says at reference time 0.
        stamp = clock.zero_s + source_says - _of_day(source.first_stamp)
        stamp = t + _nearest(stamp - t, 0.0)
    piece = _piece_at(clock, runs_of(case, source), t, stamp)
    return stamp - t * piece.rate - (piece.offset_s - clock.pieces[0].offset_s)


def _of_day(stamp: Any) -> float:
    return float(stamp.hour * 3600 + stamp.minute * 60 + stamp.second + stamp.microsecond * 1e-6)


def _nearest(seconds: float, to: float) -> float:
    """The same time of day on the day that lies nearest."""
    return (seconds - to + DAY_S / 2) % DAY_S - DAY_S / 2 + to


def _piece_at(clock: ClockMap, runs: Mapping[int, tuple[float, float]], t: float, stamp: float) -> ClockPiece:
    """The piece that held when a clock said `stamp`.

    A clock that was set back says some stamps twice: then the one whose offset is nearer to what it was is meant,
    which is the first where nobody has set it.
    """
    source_s = stamp - clock.zero_s
    fitting = [
        piece
        for piece in clock.pieces
        if piece.from_s <= source_s
        and (piece.run not in runs or runs[piece.run][0] <= source_s <= runs[piece.run][1])
    ] or list(clock.pieces)
    by_run = {piece.run: piece for piece in fitting}  # the last piece of each run that has begun
    if len(by_run) == 1:
        return next(iter(by_run.values()))
    return min(by_run.values(), key=lambda piece: abs(stamp - t * piece.rate - piece.offset_s))


# -- keeping it --------------------------------------------------------------------------------------


def keep(case: Case, author: str, edits: Iterable[Mapping[str, Any]]) -> list[Edit]:
    """Write ``clock`` edits to the author's log; each replaces the one in force for its source.

    Raises
    ------
    EditRefused
        When a source is not in the case or is the reference; nothing is written then.
    """
    wanted = list(edits)
    for payload in wanted:
        settable(case, str(payload["source"]))
        for piece in payload["pieces"]:
            ClockPiece.from_payload(piece)
    made = []
    for payload in wanted:
        before = [e.id for e in case.log.standing("clock") if e.payload.get("source") == payload["source"]]
        made.append(case.log.append(author, "clock", payload, supersedes=before[-1] if before else None))
    case.refresh()
    return made


def settable(case: Case, name: str) -> Source:
    """The source of this name, if its clock can be set.

    Raises
    ------
    EditRefused
        When it is not in the case, or its clock is the reference.
    """
    source = next((one for one in case.sources if one.name == name), None)
    others = ", ".join(one.name for one in case.sources if not one.is_reference)
    todo = f"Name one of: {others}" if others else "The case has one source: there is no clock to set"
    if source is None:
        raise EditRefused(f"there is no source {name!r} in this case", todo=todo)
    if source.is_reference:
        raise EditRefused(f"{name} keeps the reference clock, which all others are set against", todo=todo)
    return source


def edit_of(source: str, clock: ClockMap, within_s: float | None = None) -> dict[str, Any]:
    """Payload of a ``clock`` edit for a clock set by hand; `within_s` takes the place of the doubt that it has."""
    doubt = {} if within_s is None else {"sd_s": within_s / Z95}
    pieces = [piece.to_payload() | doubt for piece in clock.pieces]
    return {"source": source, "pieces": pieces, "method": "by hand"}
