"""EDF, EDF+ and BDF (continuous and with gaps): samples as stored, in pieces, whatever the length of the file.

The header is checked in `edf_header`, the annotations are read in `edf_annotations`. An EDF+D file is cut
into segments at each jump between the times that its records carry, since a library that strings its records
together loses the gaps. Records are read with plain reads rather than a memory map: a map counts towards the
memory of the process and ends it when the file shrinks or its medium is taken out.

Who was recorded stays in the file: of the identification fields only the equipment is taken over.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import timedelta
from functools import partial
from io import FileIO
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import FileUnreadable
from ..recording import Block, Note, RecordedChannel, Recording, Segment
from . import Claim, Reader, sha256_meanwhile
from .edf_annotations import Annotations, read_annotations
from .edf_header import BDF, EDF, EdfHeader, SignalHeader, Variant, read_header
from .edf_own import EQUIPMENT, restored
from .names import slug, unique_keys

_BLOCK = 1 << 20  # samples handed over at a time, at most
_SLAB = 8 << 20  # bytes of whole records read at a time
# From this many bytes of one signal in a record on, seeking to it is cheaper than reading all signals.
_WORTH_SEEKING = 64 << 10
_DTYPES: Final[dict[int, np.dtype[Any]]] = {2: np.dtype(np.int16), 3: np.dtype(np.int32)}


def claims(path: Path, head: bytes) -> Claim:
    """EDF begins with "0" padded to 8 bytes, BDF with byte 255 and a name; both tell their header's length."""
    if head[:8] in (EDF.version, BDF.version) and head[184:192].strip(b" \0").isdigit():
        return Claim.MINE
    # Named so but empty, cut or something else: its own all the same, so that `read` says what is wrong.
    return Claim.MINE if path.suffix.lower() in READER.suffixes else Claim.NOT_MINE


def _variant(path: Path) -> Variant:
    """By the first bytes; where they are neither's, by the name, so that the message fits it."""
    try:
        with path.open("rb") as file:
            version = file.read(8)
    except OSError:  # told when the header is read
        version = b""
    named = BDF if path.suffix.lower() == ".bdf" else EDF
    return next((variant for variant in (EDF, BDF) if variant.version == version), named)


def read(path: Path, _options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read one file: one recording.

    Raises
    ------
    FileUnreadable
        When the header does not hold together or disagrees with the length of the file.
    """
    header = read_header(path, _variant(path))
    with sha256_meanwhile(path) as sha:
        return [_recording(path, header, sha)]


def _recording(path: Path, header: EdfHeader, sha: Callable[[], str]) -> Recording:
    set_aside = list(header.remarks)
    records = _Records(path, header)
    annotations = _annotations(records)
    set_aside += annotations.set_aside
    ordinary = [signal for signal in header.signals if not signal.annotations]
    onsets = _record_onsets(header, annotations, set_aside)
    pieces = _continuous_pieces(onsets, header.record_s, _fastest_interval(header, ordinary))
    keys = unique_keys(signal.label for signal in ordinary)
    channels = tuple(
        RecordedChannel(
            key=key,
            label=signal.label,
            unit_as_written=signal.unit,
            dtype=_DTYPES[header.variant.sample_bytes],
            count=header.records * signal.samples,
            blocks=partial(_blocks, records, signal),
            segments=tuple(
                Segment(
                    start_s=start_s,
                    first=first * signal.samples,
                    count=many * signal.samples,
                    rate_hz=signal.samples / header.record_s,
                    scale=signal.scale,
                    offset=signal.offset,
                    run=run,
                )
                for first, many, start_s, run in pieces
            ),
        )
        for key, signal in zip(keys, ordinary, strict=True)
    )
    origin = float(onsets[0])
    if header.equipment == EQUIPMENT:
        channels, annotations = restored(channels, annotations, origin)
    start = header.start
    return Recording(
        name=slug(path.stem, "edf"),
        reader=header.variant.name,
        files=((path.name, sha()),),
        channels=channels,
        notes=_notes(annotations, origin, pieces),
        first_stamp=None if start is None else start + timedelta(seconds=origin),
        dated=header.dated,
        set_aside=tuple(set_aside),
        about=_about(header, keys, ordinary),
        side_by_side=True,
    )


def _about(header: EdfHeader, keys: Sequence[str], signals: Sequence[SignalHeader]) -> dict[str, str]:
    about = {"format": header.kind, "equipment": header.equipment}
    for key, signal in zip(keys, signals, strict=True):
        about[f"{key} transducer"] = signal.transducer
        about[f"{key} prefilter"] = signal.prefilter
    return {name: value for name, value in about.items() if value}


# Time


def _fastest_interval(header: EdfHeader, signals: Sequence[SignalHeader]) -> float:
    return min((header.record_s / signal.samples for signal in signals), default=math.inf)


def _record_onsets(header: EdfHeader, annotations: Annotations, set_aside: list[str]) -> NDArray[np.float64]:
    """When each record starts, seconds after the start in the header."""
    told = annotations.record_onsets
    first = 0.0 if math.isnan(told[0]) else float(told[0])
    evenly = first + np.arange(header.records, dtype=np.float64) * header.record_s
    if not header.is_plus:
        return evenly - first
    silent = np.isnan(told)
    if header.has_gaps:
        if silent.any():
            set_aside.append(
                f"record {int(np.argmax(silent)) + 1}: {int(silent.sum())} records carry no start time; each "
                "is taken as following the one before it without a gap"
            )
            told = told.copy()
            for record in np.flatnonzero(silent).tolist():
                told[record] = told[record - 1] + header.record_s if record else 0.0
        return told
    # A "+C" file is continuous by its header. Where its records say otherwise they are believed if they run forward
    # as a clock does; times that do not are no clock.
    ordinary = [signal for signal in header.signals if not signal.annotations]
    half = _fastest_interval(header, ordinary) / 2
    apart = ~silent & (np.abs(told - evenly) > half)
    if not ordinary or not apart.any():
        return evenly
    forward = bool(not silent.any() and (np.diff(told) > 0).all())
    record = int(np.argmax(apart))
    set_aside.append(
        f"record {record + 1}: the header says that records follow each other without gaps, but this one "
        f"says that it starts at {told[record]:g} s, not {evenly[record]:g} s; "
        + ("the times of the records were followed" if forward else "the header was followed")
    )
    return told if forward else evenly


def _continuous_pieces(
    onsets: NDArray[np.float64], record_s: float, interval_s: float
) -> list[tuple[int, int, float, int]]:
    """Cut records where their times jump by more than half a sample.

    Returns
    -------
    list of (first record, number of records, start in source seconds, run)
        A piece that starts at or before the last stamp of the one before it is a clock that went back.
    """
    evenly = onsets[0] + np.arange(len(onsets)) * record_s
    if (np.abs(onsets - evenly) <= interval_s / 2).all():
        return [(0, len(onsets), 0.0, 0)]
    pieces: list[tuple[int, int, float, int]] = []
    begun, run = 0, 0
    for record in range(1, len(onsets) + 1):
        expected = onsets[begun] + (record - begun) * record_s
        if record < len(onsets) and abs(onsets[record] - expected) <= interval_s / 2:
            continue
        pieces.append((begun, record - begun, float(onsets[begun] - onsets[0]), run))
        if record < len(onsets) and onsets[record] <= expected - interval_s:
            run += 1
        begun = record
    return pieces


def _notes(
    annotations: Annotations, origin: float, pieces: Sequence[tuple[int, int, float, int]]
) -> tuple[Note, ...]:
    starts = np.array([first for first, _, _, _ in pieces])
    notes = []
    for text in annotations.texts:
        piece = pieces[int(np.searchsorted(starts, text.record, side="right")) - 1]
        at = text.onset_s - origin
        notes.append(Note(start_s=at, end_s=at + text.duration_s, text=text.text, run=piece[3]))
    return tuple(notes)


# Samples


def _annotations(records: _Records) -> Annotations:
    # Whole in memory: their texts become notes, which are whole in memory too.
    header = records.header
    signals = [
        [raw[at : at + len(raw) // header.records] for at in range(0, len(raw), len(raw) // header.records)]
        for raw in (
            b"".join(piece.tobytes() for piece in records.of(signal))
            for signal in header.signals
            if signal.annotations
        )
    ]
    return read_annotations(zip(*signals, strict=True), header.records)


def _blocks(records: _Records, signal: SignalHeader) -> Iterator[Block]:
    decode = _int24 if records.header.variant.sample_bytes == 3 else _int16
    for raw in records.of(signal):
        yield Block(decode(raw))


def _int16(raw: NDArray[np.uint8]) -> NDArray[np.int16]:
    return raw.view("<i2").astype(np.int16, copy=False)


def _int24(raw: NDArray[np.uint8]) -> NDArray[np.int32]:
    """Three bytes a sample, the lowest first, to the width that holds them."""
    wide = np.zeros((len(raw) // 3, 4), np.uint8)
    wide[:, 1:] = raw.reshape(-1, 3)
    return (wide.view("<i4").reshape(-1) >> 8).astype(np.int32, copy=False)


class _Records:
    """The data records of a file, read a slab at a time; the last one is kept for the next signal that comes to it."""

    def __init__(self, path: Path, header: EdfHeader) -> None:
        self.header = header
        self._path = path
        self._at_a_time = min(header.records, max(1, _SLAB // header.record_bytes))
        self._slab: NDArray[np.uint8] | None = None  # made when it is needed
        self._first = -1

    def of(self, signal: SignalHeader) -> Iterator[NDArray[np.uint8]]:
        """The bytes of one signal, in order, in pieces of whole samples."""
        header = self.header
        width = header.variant.sample_bytes * signal.samples
        if width >= _WORTH_SEEKING or header.record_bytes > _SLAB:
            with _told(self._path), self._path.open("rb", buffering=0) as file:
                yield from _sought(file, header, signal)
            return
        for first in range(0, header.records, self._at_a_time):
            slab = self._read(first)
            # A copy in any case: a slice that happens to be contiguous would be overwritten by the next slab.
            yield slab[:, signal.first_byte : signal.first_byte + width].copy().reshape(-1)

    def _read(self, first: int) -> NDArray[np.uint8]:
        header = self.header
        if self._slab is None:
            self._slab = np.empty((self._at_a_time, header.record_bytes), np.uint8)
        slab = self._slab[: min(self._at_a_time, header.records - first)]
        if first != self._first:
            self._first = -1  # half of it may be another's if this goes wrong
            with _told(self._path), self._path.open("rb", buffering=0) as file:
                file.seek(header.header_bytes + first * header.record_bytes)
                _fill(file, slab.reshape(-1))
            self._first = first
        return slab


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """What goes wrong while samples are read."""
    try:
        yield
    except EOFError as cause:
        raise FileUnreadable(
            "the file became shorter while it was read",
            path=path,
            todo="Wait until nothing writes to it any more and bring it in again",
        ) from cause
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be read on ({cause.strerror or cause})", path=path, todo="Check the medium that it is on"
        ) from cause


def _sought(file: FileIO, header: EdfHeader, signal: SignalHeader) -> Iterator[NDArray[np.uint8]]:
    """Only the signal's part of each record is read: for long records."""
    width = header.variant.sample_bytes * signal.samples
    left = header.records * width
    at_a_time = _BLOCK * header.variant.sample_bytes
    piece, held = np.empty(min(at_a_time, left), np.uint8), 0
    for record in range(header.records):
        file.seek(header.header_bytes + record * header.record_bytes + signal.first_byte)
        wanted = width
        while wanted:
            many = min(wanted, len(piece) - held)
            _fill(file, piece[held : held + many])
            held, wanted = held + many, wanted - many
            if held == len(piece):
                yield piece
                left -= held
                piece, held = np.empty(min(at_a_time, left), np.uint8), 0


def _fill(file: FileIO, target: NDArray[np.uint8]) -> None:
    view = target.data
    while view:
        many = file.readinto(view)
        if not many:
            raise EOFError
        view = view[many:]


READER = Reader("EDF and BDF", (".edf", ".bdf"), claims, read)
