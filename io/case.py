"""A case: every source of one operation on one time axis, and what was decided about it.

`Case` is read by window, in reference seconds. `Case.until` gives the same case with everything at or
after a moment hidden in the data access itself: samples, statistics, envelopes, notes and marks.
"""

from __future__ import annotations

import copy
import hashlib
import math
from collections.abc import Callable, Mapping
from datetime import timedelta
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from . import decisions, masks
from .array_cache import load_arrays, save_arrays
from .case_sheet import CaseSheet, Patient, load_case_sheet
from .channel import Channel
from .clock import ClockMap
from .errors import CaseFolderUnreadable, EditRefused, NoSuchChannel
from .extent import within_reach
from .log import Edit, Log
from .origins import SourceFile, source_files
from .recording import FloatArray
from .sources import Source, TimedNote, clock_of, timed_notes
from .trace_file import TraceFile
from .window import Samples, Span

__all__ = ["Case", "Channel", "Patient", "Samples", "Source", "Span", "TimedNote"]

SHEET = "case-sheet.toml"

CHANGES_READING = frozenset({"clock", "reference", "identity", "source", *masks.VERBS})
"""Verbs of edits that change what is read: after one, or its undoing, the case must be refreshed."""


class Case:
    """A case folder, opened.

    Use `Case.open`. Close it, or use it in a ``with`` statement.

    Attributes
    ----------
    folder : Path
    sources : tuple of Source
    all_sources : tuple of Source
        With those that were taken out.
    channels : tuple of Channel
    notes : tuple of TimedNote
        In order of time.
    log : Log
        Every edit; after appending to it call `refresh`, or use `edit`, which does both.
    sheet : CaseSheet
        Facts no recording carries; a fact that is absent is None.
    span : Span
        From the first to the last sample of any channel, at most `afterclamp.io.extent.LONGEST_S` long.
    far_away : tuple of str
        Sources of which something lies too far from the reference to be in `span`, each with where.
    horizon : float or None
        Where the view ends; None for the whole case.
    taken_out : tuple of str
        Names of sources that somebody took out; their files stay and they can be put back.
    refused : tuple of str
        Edits of the log that cannot be followed, each with what is wrong with it.
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
        if verb in CHANGES_READING:
            self.refresh()
        return made

    def change_channel(
        self,
        author: str,
        channel: str,
        *,
        kind: str | None = None,
        site: str | None = None,
        side: str | None = None,
        statistic: str | None = None,
        unit: str | None = None,
    ) -> Edit:
        """Say what a channel is, or in which unit it was recorded; what is not given stays as it is.

        The edit replaces the one in force; what the source wrote is kept and undoing brings it back.

        Parameters
        ----------
        author : str
            Author id.
        channel : str
            Any name the case knows it by.
        kind, site, side, statistic : str, optional
            As in `afterclamp.io.terms.Identity`.
        unit : str, optional
            As people write it; "" for unknown: the channel is then drawn, and no rule or figure uses it.

        Raises
        ------
        EditRefused
            When there is no such kind, site, side, statistic or unit, or it does not fit the others.
        NoSuchChannel
            When no single channel is called so.
        """
        found = self[channel]
        known, _ = decisions.channel_decisions(self._edits)
        decided = known.get(found.id)
        identity, code = decisions.changed(
            found.proposed,
            decided.unit if decided else found.unit_recorded,
            kind=kind,
            site=site,
            side=side,
            statistic=statistic,
            new_unit=unit,
        )
        payload = decisions.channel_payload(found.id, identity, code, found.unit_as_written)
        return self.edit(author, "identity", payload, supersedes=decided.edit if decided else None)

    def take_out(self, author: str, source: str) -> Edit:
        """Leave a source out of everything; its file stays in the case.

        Raises
        ------
        EditRefused
            When there is no such source, it is the last one, or it keeps the reference clock.
        """
        if source not in {one.name for one in self.sources}:
            raise EditRefused(f"there is no source {source!r} in the case as it stands")
        if len(self.sources) == 1:
            raise EditRefused(f"{source} is the only source", todo="Bring another one in first")
        if any(one.is_reference for one in self.sources if one.name == source):
            raise EditRefused(
                f"{source} keeps the reference clock", todo="Make another source the reference first"
            )
        return self._in_or_out(author, source, present=False)

    def put_back(self, author: str, source: str) -> Edit:
        """Take a source in again that was taken out.

        Raises
        ------
        EditRefused
            When it was not taken out.
        """
        if source not in self.taken_out:
            raise EditRefused(f"the source {source!r} was not taken out")
        return self._in_or_out(author, source, present=True)

    def _in_or_out(self, author: str, source: str, *, present: bool) -> Edit:
        before = decisions.last_in_out(self._edits, source)
        return self.edit(author, "source", {"source": source, "in": present}, supersedes=before)

    def source_state(self, *, thorough: bool = True) -> list[SourceFile]:
        """Each original export as it lies on this machine now: as it was, changed, missing, or not known here.

        Parameters
        ----------
        thorough : bool
            Read every file again. Otherwise one whose size and time of change are as they were is believed.
        """
        files = [(file.name, file.files) for file in self._files]
        return source_files(self.folder, files, thorough=thorough)

    def refresh(self) -> None:
        """Read the log's state again: clocks, identities, sources taken out."""
        self._edits = self.log.standing()
        reference = self._reference()
        self.start_clock = reference.first_stamp
        out = set(decisions.taken_out(self._edits)) - {reference.name}
        self.taken_out = tuple(file.name for file in self._files if file.name in out)
        clocks = {file.name: clock_of(file, reference, self._edits) for file in self._files}
        self.all_sources = tuple(
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
                dated=file.dated,
            )
            for file in self._files
        )
        self.sources = tuple(source for source in self.all_sources if source.name not in out)
        self._bind({name: clock for name, clock in clocks.items() if name not in out})

    def _bind(self, clocks: Mapping[str, ClockMap]) -> None:
        present = [file for file in self._files if file.name in clocks]
        decided, refused = decisions.channel_decisions(self._edits)
        known = [f"{file.name}/{stored.key}" for file in self._files for stored in file.channels]
        self.refused = (*refused, *masks.not_followed(self._edits, known))
        said = masks.by_channel(self._edits)
        channels = []
        for file in present:
            for stored in file.channels:
                decision = decided.get(f"{file.name}/{stored.key}")
                identity = decision.identity if decision else stored.identity
                unit = decision.unit if decision else stored.unit
                channels.append(
                    Channel(file, stored, identity, unit, clocks[file.name], self.horizon, lambda: self.grid)
                )
        self.channels = tuple(channels)
        for channel in self.channels:
            channel.beside = self.channels
            channel.set_masks(said.get(channel.id, ()))
        self.notes = timed_notes(present, clocks, self.horizon)
        found = [(channel.source, channel.span) for channel in self.channels if channel.begun]
        found = found or [(note.source, Span(note.t, note.t_end)) for note in self.notes]
        within, self.far_away = within_reach(found, self._reference().name)
        self.span = within or Span(0.0, 0.0)
        start, end = self.span.start, self.span.end
        stop = math.ceil(end - 1e-6)
        if (
            self.horizon is not None and self.horizon < stop
        ):  # a second counts only when it lies before it whole
            stop = math.floor(max(self.horizon, start))
        self.grid: FloatArray = np.arange(
            math.floor(start + 1e-6), max(stop, math.floor(start)), dtype=np.float64
        )

    def _reference(self) -> TraceFile:
        named = [edit.payload.get("source") for edit in self._edits if edit.verb == "reference"]
        by_name = {file.name: file for file in self._files}
        if named and named[-1] in by_name:
            return by_name[str(named[-1])]
        out = decisions.taken_out(self._edits)
        return max(
            [file for file in self._files if file.name not in out] or self._files,
            key=lambda file: (file.first_stamp is not None, sum(c.count for c in file.channels)),
        )

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
        try:
            if self.start_clock is not None:
                return f"{self.start_clock + timedelta(seconds=round(t)):%H:%M:%S}"
        except OverflowError:  # no calendar reaches there
            pass
        sign, whole = ("-" if t < 0 else ""), abs(round(t))
        return f"{sign}{whole // 60}:{whole % 60:02d}"

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
            found = load_arrays(path)
            if found is None:
                found = compute()
                save_arrays(path, found)
            self._memo[key] = found
        return self._memo[key]
