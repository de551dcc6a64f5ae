"""Writers: a case, or a window of it, in open formats that other programs read.

What every writer keeps to: times are those of the reference clock, nothing is clipped, nothing is invented
between samples, what was not recorded stays told apart from what was, no date is written, and a file appears
whole or not at all. Each writer takes a case or a view of it, so that what lies behind a view's horizon is
never written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from ..case import Case
from ..channel import Channel
from ..errors import Cancelled, CannotWrite
from ..whole import written_whole
from ..window import Span

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class Remark:
    """A text with a time, to be written beside the samples: a mark, a find, a phase, a line of a log.

    Times are reference seconds; a moment ends where it begins.
    """

    start_s: float
    end_s: float
    text: str


class Course:
    """How far a piece of work is, and whether it is to be stopped."""

    def __init__(self, path: Path, progress: Progress | None, cancelled: Callable[[], bool] | None) -> None:
        self._path = path
        self._progress = progress
        self._cancelled = cancelled

    def at(self, share: float, text: str) -> None:
        """Tell it.

        Raises
        ------
        Cancelled
            When asked to stop.
        """
        if self._cancelled is not None and self._cancelled():
            raise Cancelled("writing stopped as asked; nothing was kept", path=self._path)
        if self._progress is not None:
            self._progress(min(share, 1.0), text)

    def done(self, text: str) -> None:
        """Tell that it is finished: too late to be stopped."""
        if self._progress is not None:
            self._progress(1.0, text)


def remarks_of(case: Case, more: Sequence[Remark] = (), *, notes: bool = True) -> list[Remark]:
    """The lines of text of the case's sources, and `more`, in order of time; nothing behind the horizon."""
    own = [Remark(note.t, max(note.t, note.t_end), note.text) for note in case.notes] if notes else []
    if case.horizon is not None:
        more = [
            Remark(one.start_s, min(one.end_s, case.horizon), one.text)
            for one in more
            if one.start_s < case.horizon
        ]
    return sorted([*own, *more], key=lambda remark: (remark.start_s, remark.end_s, remark.text))


def chosen(case: Case, channels: Sequence[Channel | str] | None) -> list[Channel]:
    """Channels given by name or themselves, each once; all that hold a sample when None.

    Raises
    ------
    NoSuchChannel
        When a name fits none or several.
    """
    if channels is None:
        return [channel for channel in case.channels if channel.count]
    found = {(one := case[name] if isinstance(name, str) else name).id: one for name in channels}
    return list(found.values())


def window_of(case: Case, span: Span | None, path: Path) -> Span:
    """The window to write: all of the case when None, cut at the horizon.

    Raises
    ------
    CannotWrite
        When nothing lies in it.
    """
    span = case.span if span is None else span
    end = span.end if case.horizon is None else min(span.end, case.horizon)
    if not end > span.start:
        raise CannotWrite(
            f"there is nothing from {span.start:g} s to {end:g} s", path=path, todo="Choose another window"
        )
    return Span(span.start, end)


@contextmanager
def new_file(path: Path) -> Iterator[BinaryIO]:
    """A file that is there only when all of it was written and is on the disk.

    Raises
    ------
    CannotWrite
        When it is there already, or cannot be written.
    """
    with written_whole(path, parents=True) as partial, partial.open("xb") as file:
        yield file
