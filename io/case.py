"""A case: every source of one operation on one time axis, and what was decided about it.

`Case` is read by window, in reference seconds. `Case.until` gives the same case with everything at or
after a moment hidden in the data access itself: samples, statistics, envelopes, notes and marks.
"""

from __future__ import annotations

import copy
import hashlib
import math
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from . import terms
from .case_sheet import CaseSheet, Patient, load_case_sheet
from .casefile import TraceFile
from .channel import Channel
from .clock import ClockMap, ClockPiece
from .errors import CaseFolderUnreadable, EditRefused, NoSuchChannel
from .log import Edit, Log
from .recording import FloatArray
from .window import Samples, Span

__all__ = ["Case", "Channel", "Patient", "Samples", "Source", "Span", "TimedNote"]

SHEET = "case-sheet.toml"

_DAY = 86400.0


@dataclass(frozen=True, slots=True)
class TimedNote:
    """A line of text on the reference clock: a log line, a caption, an annotation of a file.

    ``sd_s`` joins what the writing leaves open (whole minutes) and what the clock does.
    """

    t: float
    t_end: float
    text: str
    sd_s: float
    source: str
    author: str = ""


@dataclass(frozen=True)
class Source:
    """One device, file or person that recorded."""

    name: str
    reader: str
    files: tuple[tuple[str, str], ...]
    first_stamp: datetime | None
    clock: ClockMap
    runs: int
    is_reference: bool
    set_aside: tuple[str, ...]
    about: Mapping[str, str]


class Case:
    """A case folder, opened.

    Use `Case.open`. Close it, or use it in a ``with`` statement.

    Attributes
    ----------
    folder : Path
    sources : tuple of Source
    channels : tuple of Channel
    notes : tuple of TimedNote
        In order of time.
    log : Log
        Every edit; after appending to it call `refresh`, or use `edit`, which does both.
    sheet : CaseSheet
        Facts no recording carries; a fact that is absent is None.
    span : Span
        From the first to the last sample of any channel.
    horizon : float or None
        Where the view ends; None for the whole case.
    """

    def __init__(self, folder: Path, files: tuple[TraceFile, ...], log: Log, sheet: CaseSheet) -> None:
        self.folder = folder
        self.horizon: float | None = None
        self.log = log
        self._files = files
        self.sheet = sheet
        self._memo: dict[str, dict[str, NDArray[Any]]] = {}
        self.refresh()

    @classmethod
    def open(cls, folder: Path | str) -> Case:
        """Open a case folder.

        Raises
        ------
        CaseFolderUnreadable
            When it is not a case, is damaged, or of a newer format version.
        """
        folder = Path(folder)
        paths = sorted((folder / "traces").glob("*.h5"))
        if not paths:
            raise CaseFolderUnreadable(
                "is not a case: there is no trace file in its folder 'traces'",
                path=folder,
                todo="Give the folder that a bring-in made, or bring the exports in first",
            )
        files: list[TraceFile] = []
        try:
            for path in paths:
                files.append(TraceFile(path))
            sheet_path = folder / "traces" / SHEET
            sheet = load_case_sheet(sheet_path) if sheet_path.exists() else CaseSheet()
            return cls(folder, tuple(files), Log.open(folder / "log"), sheet)
        except BaseException:
            for file in files:
                file.close()
            raise

    @property
    def name(self) -> str:
        """The folder's name."""
        return self.folder.name

    @property
    def patient(self) -> Patient:
        """Height, weight, sex and age band from the case sheet; what it doesn't say is None."""
        return self.sheet.patient

    def close(self) -> None:
        """Let go of the files."""
        for file in self._files:
            file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- what was decided ---------------------------------------------------------------------------

    def edit(
        self, author: str, verb: str, payload: Mapping[str, Any], *, supersedes: str | None = None
    ) -> Edit:
        """Append to the log and apply it."""
        made = self.log.append(author, verb, payload, supersedes=supersedes)
        if verb in {"clock", "reference", "identity"}:
            self.refresh()
        return made

    def refresh(self) -> None:
        """Read the log's state again: clocks and identities."""
        self._edits = self.log.standing()
        reference = self._reference()
        self.start_clock = reference.first_stamp
        clocks = {file.name: self._clock(file, reference) for file in self._files}
        self.sources = tuple(
            Source(
                name=file.name,
                reader=file.reader,
                files=file.files,
                first_stamp=file.first_stamp,
                clock=clocks[file.name],
                runs=1
                + max(
                    [segment.run for channel in file.channels for segment in channel.segments]
                    + [
                        int(channel.runs.max(initial=0))
                        for channel in file.channels
                        if channel.runs is not None
                    ],
                    default=0,
                ),
                is_reference=file is reference,
                set_aside=file.set_aside,
                about=file.about,
            )
            for file in self._files
        )
        self._bind(clocks)

    def _bind(self, clocks: Mapping[str, ClockMap]) -> None:
        identities = self._identities()
        self.channels = tuple(
            Channel(
                file,
                stored,
                *identities.get(f"{file.name}/{stored.key}", (stored.identity, stored.unit)),
                clocks[file.name],
                self.horizon,
                lambda: self.grid,
            )
            for file in self._files
            for stored in file.channels
        )
        spans = [channel.span for channel in self.channels if channel.count]
        notes = sorted(
            (
                TimedNote(
                    t=float(clocks[file.name].to_reference(note.start_s, note.run)),
                    t_end=float(clocks[file.name].to_reference(note.end_s, note.run)),
                    text=note.text,
                    sd_s=math.hypot(note.sd_s, float(clocks[file.name].sd(note.start_s, note.run))),
                    source=file.name,
                    author=note.author,
                )
                for file in self._files
                for note in file.notes
            ),
            key=lambda note: (note.t, note.source),
        )
        start = min((span.start for span in spans), default=min((note.t for note in notes), default=0.0))
        end = max((span.end for span in spans), default=max((note.t_end for note in notes), default=0.0))
        if self.horizon is not None:
            notes = [
                note if note.t_end <= self.horizon else replace(note, t_end=self.horizon)
                for note in notes
                if note.t < self.horizon
            ]
            end = min(end, self.horizon)
        self.notes = tuple(notes)
        self.span = Span(start, max(start, end))
        # A second counts only when it lies wholly before the horizon.
        stop = math.ceil(end - 1e-6) if self.horizon is None else math.floor(end)
        self.grid: FloatArray = np.arange(
            math.floor(start + 1e-6), max(stop, math.floor(start)), dtype=np.float64
        )

    def _reference(self) -> TraceFile:
        named = [edit.payload.get("source") for edit in self._edits if edit.verb == "reference"]
        by_name = {file.name: file for file in self._files}
        if named and named[-1] in by_name:
            return by_name[str(named[-1])]
        return max(
            self._files, key=lambda file: (file.first_stamp is not None, sum(c.count for c in file.channels))
        )

    def _clock(self, file: TraceFile, reference: TraceFile) -> ClockMap:
        zero = _stamp_distance(file, reference)
        edits = [e for e in self._edits if e.verb == "clock" and e.payload.get("source") == file.name]
        if file is reference:
            return ClockMap(0.0, method="reference")
        if not edits:
            return ClockMap(zero)
        payload = edits[-1].payload
        pieces = payload.get("pieces")
        if not isinstance(pieces, list):
            raise EditRefused(f"the clock edit {edits[-1].id} has no list of pieces")
        return ClockMap(
            zero, tuple(map(ClockPiece.from_payload, pieces)), str(payload.get("method", "by hand"))
        )

    def _identities(self) -> dict[str, tuple[terms.Identity, str]]:
        found: dict[str, tuple[terms.Identity, str]] = {}
        for edit in self._edits:
            if edit.verb == "identity":
                fields = {name: str(edit.payload.get(name, "")) for name in ("kind", "site", "side")}
                identity = terms.Identity(**fields, statistic=str(edit.payload.get("statistic", "value")))
                found[str(edit.payload["channel"])] = (identity, str(edit.payload.get("unit", "")))
        return found

    # -- reading ------------------------------------------------------------------------------------

    def until(self, t: float) -> Case:
        """The same case as it was known at `t`: nothing at or after it can be read.

        Clock maps are the stated exception: they may rest on what came later.
        """
        view = copy.copy(self)
        view.horizon = t if self.horizon is None else min(t, self.horizon)
        view._memo = {}
        view._bind({source.name: source.clock for source in self.sources})
        return view

    def __getitem__(self, name: str) -> Channel:
        """A channel by id, canonical name, or key; a wave before a slow copy.

        Raises
        ------
        NoSuchChannel
            When none or several fit.
        """
        fitting = [channel for channel in self.channels if channel.id == name]
        fitting = fitting or [channel for channel in self.channels if channel.name == name]
        fitting = fitting or [channel for channel in self.channels if channel.key == name]
        if len(fitting) > 1:
            fitting = [channel for channel in fitting if channel.is_wave] or fitting
        if len(fitting) == 1:
            return fitting[0]
        have = ", ".join(sorted(f"{channel.name} ({channel.id})" for channel in fitting or self.channels))
        raise NoSuchChannel(
            f"{'several channels are' if fitting else 'no channel is'} called {name!r}; there are: {have}",
            path=self.folder,
            todo="Use the id in brackets",
        )

    def get(self, name: str) -> Channel | None:
        """As ``case[name]``, but None where no single channel fits."""
        try:
            return self[name]
        except NoSuchChannel:
            return None

    def of_kind(self, kind: str) -> list[Channel]:
        """Channels of a kind, waves first."""
        return sorted(
            (channel for channel in self.channels if channel.kind == kind),
            key=lambda channel: (not channel.is_wave, channel.id),
        )

    def clock_text(self, t: float) -> str:
        """What the reference clock said at a reference time, ``HH:MM:SS``; ``m:ss`` where it has no stamp."""
        if self.start_clock is None:
            sign, whole = ("-" if t < 0 else ""), abs(round(t))
            return f"{sign}{whole // 60}:{whole % 60:02d}"
        return f"{self.start_clock + timedelta(seconds=round(t)):%H:%M:%S}"

    def cached(
        self, name: str, parts: tuple[object, ...], compute: Callable[[], dict[str, NDArray[Any]]]
    ) -> dict[str, NDArray[Any]]:
        """What `compute` gives, kept in memory and in the case's ``cache`` folder.

        Parameters
        ----------
        name : str
            What it is, as in a file name.
        parts : tuple
            Everything it was computed from: content hashes, function version, parameters, the edits that
            matter. The horizon is added here, so a view never reads what saw past it.
        compute : callable
            Gives arrays by name.
        """
        key = hashlib.sha256(repr((name, parts, self.horizon)).encode()).hexdigest()[:24]
        if key not in self._memo:
            path = self.folder / "cache" / f"{name}-{key}.npz"
            found = _load_arrays(path)
            if found is None:
                found = compute()
                _save_arrays(path, found)
            self._memo[key] = found
        return self._memo[key]


def _stamp_distance(file: TraceFile, reference: TraceFile) -> float:
    """Seconds from what the reference clock says at its first sample to what this one says at its own."""
    if file.first_stamp is None or reference.first_stamp is None or file is reference:
        return 0.0
    seconds = (file.first_stamp - reference.first_stamp).total_seconds()
    if not (file.dated and reference.dated):
        # Only the time of day is known: the nearest day.
        seconds = (seconds + _DAY / 2) % _DAY - _DAY / 2
    return seconds


def _load_arrays(path: Path) -> dict[str, NDArray[Any]] | None:
    try:
        with np.load(path, allow_pickle=False) as stored:
            return {name: stored[name] for name in stored.files}
    except (OSError, ValueError, EOFError, KeyError):
        return None  # absent or damaged: the cache may go at any time


def _save_arrays(path: Path, arrays: Mapping[str, NDArray[Any]]) -> None:
    # A cache that can't be written (read-only case, full disk) costs time, not the person's work.
    partial = path.with_name(f".{path.stem}-{os.getpid()}.npz")
    try:
        path.parent.mkdir(exist_ok=True)
        np.savez(partial, allow_pickle=False, **dict(arrays))
        partial.replace(path)
    except OSError:
        partial.unlink(missing_ok=True)
