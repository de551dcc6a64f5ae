"""What a case tells of its sources: who recorded, on which clock, and the lines of text that came along."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from .clock import ClockMap, ClockPiece
from .errors import EditRefused

if TYPE_CHECKING:
    from .log import Edit
    from .trace_file import TraceFile

_DAY = 86400.0


@dataclass(frozen=True, slots=True)
class TimedNote:
    """A line of text on the reference clock: a log line, a caption, an annotation of a file.

    ``sd_s`` joins what the writing leaves open (whole minutes) and what the clock does;
    it is infinite, which means unknown, while the clock of its source is not set. ``written_sd_s`` is what the
    writing alone leaves open.
    """

    t: float
    t_end: float
    text: str
    sd_s: float
    source: str
    author: str = ""
    written_sd_s: float = 0.0


@dataclass(frozen=True)
class Source:
    """One device, file or person that recorded.

    ``dated`` says that the days of ``first_stamp`` count, not only its time of day.
    """

    name: str
    reader: str
    files: tuple[tuple[str, str], ...]
    first_stamp: datetime | None
    clock: ClockMap
    runs: int
    is_reference: bool
    set_aside: tuple[str, ...]
    about: Mapping[str, str]
    dated: bool = False


def clock_of(file: TraceFile, reference: TraceFile, edits: Iterable[Edit]) -> ClockMap:
    """The clock map of a source by the last standing ``clock`` edit.

    Raises
    ------
    EditRefused
        When that edit holds no list of pieces.
    """
    zero = _stamp_distance(file, reference)
    own = [edit for edit in edits if edit.verb == "clock" and edit.payload.get("source") == file.name]
    if file is reference:
        return ClockMap(0.0, method="reference")
    if not own:
        return ClockMap(zero)
    payload = own[-1].payload
    pieces = payload.get("pieces")
    if not isinstance(pieces, list):
        raise EditRefused(f"the clock edit {own[-1].id} has no list of pieces")
    return ClockMap(zero, tuple(map(ClockPiece.from_payload, pieces)), str(payload.get("method", "by hand")))


def timed_notes(
    files: Iterable[TraceFile], clocks: Mapping[str, ClockMap], horizon: float | None
) -> tuple[TimedNote, ...]:
    """The lines of text of some sources on the reference clock, in order of time.

    With a horizon only those that begin before it; a line that goes on behind it ends there.
    """
    limit = math.inf if horizon is None else horizon
    found = []
    for file in files:
        clock = clocks[file.name]
        for note in file.notes:
            t = float(clock.to_reference(note.start_s, note.run))
            if t < limit:
                found.append(
                    TimedNote(
                        t=t,
                        t_end=min(float(clock.to_reference(note.end_s, note.run)), limit),
                        text=note.text,
                        sd_s=math.hypot(note.sd_s, float(clock.sd(note.start_s, note.run))),
                        source=file.name,
                        author=note.author,
                        written_sd_s=note.sd_s,
                    )
                )
    return tuple(sorted(found, key=lambda note: (note.t, note.source)))


def _stamp_distance(file: TraceFile, reference: TraceFile) -> float:
    """Seconds from what the reference clock says at its first sample to what this one says at its own."""
    if file.first_stamp is None or reference.first_stamp is None or file is reference:
        return 0.0
    seconds = (file.first_stamp - reference.first_stamp).total_seconds()
    if not (file.dated and reference.dated):
        # Only the time of day is known: the nearest day.
        seconds = (seconds + _DAY / 2) % _DAY - _DAY / 2
    return seconds
