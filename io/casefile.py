"""One source on disk: ``traces/<source>.h5``, written once at bring-in and never changed after.

Anyone with h5py reads it in three lines::

    file = h5py.File("case/traces/monitor.h5")
    start_s, first, count, rate, scale, offset, run = file["channels/ABP/segments"][0]
    pressure = file["channels/ABP/samples"][first:first + count] * scale + offset

Layout, format version 1:

- root attributes: ``format_version``, ``name``, ``reader``, ``files`` (JSON: name and SHA-256 of each),
  ``first_stamp`` (what the source's clock said at source second 0; empty for a clock with its own zero),
  ``dated``, ``set_aside`` (JSON), ``about`` (JSON: device as typed and the like);
- ``/channels/<key>/samples``: the source's integer codes in their own width, else float32;
- ``/channels/<key>/segments``: start in source seconds, first sample, count, rate in Hz, scale, offset,
  run (how often the clock had gone backwards): ``value = code * scale + offset``;
  or ``/channels/<key>/times`` and ``/channels/<key>/runs`` for uneven rows;
- ``/channels/<key>/valid``: half-open runs of samples that are really there; no code is reserved;
- ``/channels/<key>/levels/<factor>/{min,max,count}``: see `afterclamp.io.levels`;
- channel attributes: ``label``, ``unit_as_written``, ``unit`` (UCUM, empty when not known), ``kind``,
  ``site``, ``side``, ``statistic``, ``mdc`` (ISO/IEEE 11073-10101 code, 0 where none exists);
- ``/notes/{start,end,sd,run,text,author}``: lines of text with their times in source seconds.

`afterclamp.io.trace_file` reads it again. Files of older versions are read as they are, see
`afterclamp.io.older`; a newer version is refused.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from . import terms
from .errors import Cancelled, CannotWrite
from .levels import FACTORS, levels_of
from .off_scale import not_connected, possible_codes
from .older import runs_of_times
from .recording import Note, RecordedChannel, Recording
from .steady_file import SteadyFile
from .stored import Filling
from .whole import written_whole

FORMAT_VERSION = 1

SEGMENT_DTYPE = np.dtype(
    [
        ("start_s", "f8"),
        ("first", "i8"),
        ("count", "i8"),
        ("rate_hz", "f8"),
        ("scale", "f8"),
        ("offset", "f8"),
        ("run", "i4"),
    ]
)

Progress = Callable[[float], None]


def write(
    recording: Recording,
    path: Path,
    *,
    identities: dict[str, terms.Identity] | None = None,
    units: dict[str, str] | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> None:
    """Write one source, whole or not at all.

    Parameters
    ----------
    recording : Recording
        What the reader handed over.
    path : Path
        The trace file; must not exist. It appears only when it is complete and on the disk.
    identities : dict of str to Identity, optional
        What each channel is, by key; proposed from the label where absent.
    units : dict of str to str, optional
        UCUM unit by key where a person decided it; from the unit as written where absent.
    progress : callable, optional
        Called with the share done, 0 to 1.
    cancelled : callable, optional
        Asked between blocks; when it says yes nothing is kept.

    Raises
    ------
    CannotWrite
        No room, no permission, or the file exists.
    Cancelled
        When asked to stop.
    """
    if path.exists():
        raise CannotWrite("a source of this name is already in the case", path=path, todo="Rename the source")
    total = sum(channel.count for channel in recording.channels) or 1
    done = 0

    def step(samples: int) -> None:
        nonlocal done
        done += samples
        sink.check()
        if cancelled is not None and cancelled():
            raise Cancelled("bring-in stopped as asked; nothing was kept", path=path)
        if progress is not None:
            progress(done / total)

    with (
        written_whole(
            path,
            what=f"the source {recording.name} could not be written",
            todo="Make room or get permission to write there, then bring the source in again",
        ) as partial,
        SteadyFile(partial) as sink,
    ):
        with h5py.File(sink, "w", libver="v110") as file:
            _write_root(recording, file)
            set_aside = list(recording.set_aside)
            works = []
            for channel in recording.channels:
                identity = (identities or {}).get(channel.key)
                identity = identity or terms.identify(channel.label, channel.unit_as_written)
                unit = (units or {}).get(channel.key, terms.parse_unit(channel.unit_as_written) or "")
                works.append(_write_channel(file, channel, identity, unit, step))
            absent = _done(works, recording.side_by_side)
            for channel, absent_s in zip(recording.channels, absent, strict=True):
                if absent_s:
                    set_aside.append(
                        f"{channel.label or channel.key}: {absent_s:.0f} s stand still outside what can be: "
                        "taken as not connected"
                    )
            file.attrs["set_aside"] = json.dumps(set_aside)
            _write_notes(recording.notes, file)
        sink.sync()


def _write_root(recording: Recording, file: h5py.File) -> None:
    file.attrs["format_version"] = FORMAT_VERSION
    file.attrs["name"] = recording.name
    file.attrs["reader"] = recording.reader
    file.attrs["files"] = json.dumps([list(pair) for pair in recording.files])
    file.attrs["first_stamp"] = recording.first_stamp.isoformat() if recording.first_stamp else ""
    file.attrs["dated"] = recording.dated
    file.attrs["about"] = json.dumps(dict(recording.about))
    file.create_group("channels")


def _write_notes(notes: tuple[Note, ...], file: h5py.File) -> None:
    group = file.create_group("notes")
    text = h5py.string_dtype()
    group["start"] = np.array([note.start_s for note in notes], np.float64)
    group["end"] = np.array([note.end_s for note in notes], np.float64)
    group["sd"] = np.array([note.sd_s for note in notes], np.float64)
    group["run"] = np.array([note.run for note in notes], np.int32)
    group.create_dataset("text", data=[note.text for note in notes], shape=(len(notes),), dtype=text)
    group.create_dataset("author", data=[note.author for note in notes], shape=(len(notes),), dtype=text)


def _done(works: Sequence[Generator[None, None, float]], in_turn: bool) -> list[float]:
    """Do all of them, one after the other or a piece of each in turn; what each gives at its end."""
    ends = [0.0] * len(works)
    left = list(enumerate(works))
    while left:
        for number, work in left[:] if in_turn else left[:1]:
            try:
                next(work)
            except StopIteration as end:
                ends[number] = end.value
                left.remove((number, work))
    return ends


def _write_channel(
    file: h5py.File,
    channel: RecordedChannel,
    identity: terms.Identity,
    unit: str,
    step: Callable[[int], None],
) -> Generator[None, None, float]:
    """Write one channel, piece by piece; gives the seconds that were marked as not connected."""
    group = file["channels"].create_group(channel.key)
    mdc = terms.mdc_term(identity)
    for name, value in {
        "label": channel.label,
        "unit_as_written": channel.unit_as_written,
        "unit": unit,
        "mdc": mdc[0] if mdc else 0,
        **asdict(identity),
    }.items():
        group.attrs[name] = value
    if channel.times is not None:
        group.create_dataset("times", data=channel.times)
        runs = channel.runs
        if runs is None:
            runs = runs_of_times(channel.times)
        group.create_dataset("runs", data=runs)
    else:
        rows = [
            tuple(getattr(segment, name) for name in SEGMENT_DTYPE.names or ())
            for segment in channel.segments
        ]
        group.create_dataset("segments", data=np.array(rows, SEGMENT_DTYPE))
    samples = Filling(group, "samples", channel.count, channel.dtype)
    lengths = [segment.count for segment in channel.segments] or [channel.count]
    targets = []
    for factor in FACTORS:
        buckets = sum(-(-length // factor) for length in lengths)
        level = group.create_group(f"levels/{factor}")
        types = {"min": channel.dtype, "max": channel.dtype, "count": np.dtype(np.uint16)}
        targets.append([Filling(level, name, buckets, dtype) for name, dtype in types.items()])
    there = _ValidRuns()
    absent_s, at, goes_on = 0.0, 0, False
    segments = iter(channel.segments)
    segment = next(segments, None)
    for codes, valid in _pieces(channel, lengths):
        while segment is not None and at >= segment.first + segment.count:
            segment = next(segments, None)
        if segment is not None:
            bounds = possible_codes(identity, unit, segment.scale, segment.offset)
            absent = not_connected(codes, bounds, segment.rate_hz, goes_on=goes_on) if bounds else None
            goes_on = absent is not None and bool(absent[-1])
            if absent is not None:
                absent_s += float(absent.sum()) / segment.rate_hz
                valid = ~absent if valid is None else valid & ~absent
        at += len(codes)
        samples.add(codes)
        there.add(len(codes), valid)
        for target, level in zip(targets, levels_of(codes, valid), strict=True):
            for filling, values in zip(target, level, strict=True):
                filling.add(values)
        step(len(codes))
        yield
    group.create_dataset("valid", data=there.array())
    return absent_s


def _pieces(
    channel: RecordedChannel, lengths: list[int]
) -> Iterator[tuple[NDArray[Any], NDArray[np.bool_] | None]]:
    """The samples cut at segment borders and, within a segment, at multiples of the coarsest bucket."""
    border = FACTORS[-1]
    waiting: list[tuple[NDArray[Any], NDArray[np.bool_] | None]] = []
    held = 0
    ends = iter(lengths)
    left = next(ends, 0)  # samples of the current segment still to be handed on

    def gather(many: int) -> tuple[NDArray[Any], NDArray[np.bool_] | None]:
        nonlocal held
        codes = np.concatenate([piece for piece, _ in waiting]) if len(waiting) > 1 else waiting[0][0]
        if all(mask is None for _, mask in waiting):
            valid = None
        else:
            valid = np.concatenate([np.ones(len(p), bool) if m is None else m for p, m in waiting])
        waiting[:] = [(codes[many:], None if valid is None else valid[many:])] if len(codes) > many else []
        held -= many
        return codes[:many], None if valid is None else valid[:many]

    seen = 0
    for block in channel.blocks():
        valid = block.valid
        if block.codes.dtype.kind == "f":
            finite = np.isfinite(block.codes)
            valid = finite if valid is None else valid & finite
        if valid is not None and valid.all():
            valid = None
        waiting.append((block.codes, valid))
        held += len(block.codes)
        seen += len(block.codes)
        while held and (held >= left or held >= border):
            many = left if held >= left else held - held % border
            if many:
                yield gather(many)
                left -= many
            while left == 0:
                left = next(ends, -1)
    if seen != channel.count or held:
        raise ValueError(f"channel {channel.key}: {seen} samples in blocks, {channel.count} announced")


class _ValidRuns:
    """Collects half-open runs of valid samples over the pieces of a channel."""

    def __init__(self) -> None:
        self._runs: list[NDArray[np.int64]] = []
        self._at = 0

    def add(self, count: int, valid: NDArray[np.bool_] | None) -> None:
        if valid is None:
            found = np.array([[0, count]], np.int64)
        else:
            edges = np.flatnonzero(np.diff(np.concatenate([[False], valid, [False]]).astype(np.int8)))
            found = edges.reshape(-1, 2).astype(np.int64)
        self._runs.append(found + self._at)
        self._at += count

    def array(self) -> NDArray[np.int64]:
        runs = np.concatenate(self._runs) if self._runs else np.empty((0, 2), np.int64)
        if len(runs) < 2:
            return runs
        # Runs that touch across a piece border are one run.
        opens = np.concatenate([[True], runs[1:, 0] > runs[:-1, 1]])
        return np.stack([runs[opens, 0], runs[np.concatenate([opens[1:], [True]]), 1]], axis=1)
