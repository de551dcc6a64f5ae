"""WFDB records: header, data files beside it, segments; and annotation files as lines of text.

Samples come from the `wfdb` library as stored codes, every sample of a frame for itself (its default
averages them), once and a window at a time (`wfdb_data`). Headers are checked first (`wfdb_header`), files
are looked for only beside the header, and nothing is ever fetched from elsewhere. A signal that the header
calls skewed keeps all its samples and starts that much earlier.

An annotation file is a source of its own, since its clock may differ from that of its record.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import FileUnreadable
from ..recording import Block, Note, RecordedChannel, Recording, Segment
from . import Claim, Reader, sha256
from .names import slug, unique_keys
from .plain_text import encoding_of
from .quoting import quoted
from .steps import Step, step_of
from .wfdb_annotations import line_of, looks_like_annotations, own_clock, read_annotation_file
from .wfdb_data import FORMATS, Decoded, absent_file, checked_frames
from .wfdb_header import SignalLine, WfdbHeader, read_header

_LONGEST_S = 1e9  # beyond, it is a damaged field, as in a path map


@dataclass(frozen=True, slots=True)
class _Piece:
    """A signal of one record, and the frame of the whole at which it starts."""

    record: WfdbHeader
    index: int
    start_frame: int
    frames: int

    @property
    def signal(self) -> SignalLine:
        return self.record.signals[self.index]


# Whose file it is


def claims(path: Path, head: bytes) -> Claim:
    """Headers are its own, and annotations: files that tell their clock, or that walk as such beside a header."""
    if path.suffix == ".hea":
        return Claim.MINE
    if not path.suffix:
        return Claim.NOT_MINE
    beside = path.with_suffix(".hea").is_file()
    if own_clock(head) or (beside and _ends_as_annotations(path, head)):
        return Claim.MINE
    # Which header it belongs to stands in a file that nobody gave; its name is enough to say what is to be given.
    return Claim.PART if beside and path.suffix == ".dat" and encoding_of(head) is None else Claim.NOT_MINE


def _ends_as_annotations(path: Path, head: bytes) -> bool:
    size = path.stat().st_size
    if size % 2 or not looks_like_annotations(head, size):
        return False
    with path.open("rb") as file:
        file.seek(-2, os.SEEK_END)
        return file.read(2) == b"\0\0"


def part_of(path: Path, given: Sequence[Path]) -> bool:
    """Whether a header among the given files names this one: as its data, or as a segment of its record."""
    headers = []
    for one in given:
        if one.suffix == ".hea":
            try:
                told = one.stat()
            except OSError:  # told when it is read itself
                continue
            headers.append((one, told.st_size, told.st_mtime_ns))
    return path in _named(tuple(headers))


@lru_cache(maxsize=8)
def _named(headers: tuple[tuple[Path, int, int], ...]) -> frozenset[Path]:
    """What headers name; read leniently, since a damaged one is told when it is read."""
    found: set[Path] = set()
    for path, size, _ in headers:
        if size > 4 << 20:
            continue
        try:
            lines = path.read_text(encoding="latin-1").splitlines()
        except OSError:  # told when the header itself is read
            continue
        words = [line.split() for line in lines if line.strip() and not line.lstrip().startswith("#")]
        names = {line[0] for line in words[1:] if "/" not in line[0] and len(line[0]) <= 255}
        ending = ".hea" if words and "/" in words[0][0] else ""
        found |= {path.parent / f"{name}{ending}" for name in names}
    return frozenset(found)


# Records


def read(path: Path, options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read a record by its header, or an annotation file.

    Parameters
    ----------
    path : Path
        The header, or the annotation file.
    options : mapping
        ``"progress"``: called with the share of the record that is decoded, 0 to 1. ``"cancelled"``: asked as
        often whether to stop.

    Raises
    ------
    FileUnreadable
        When the header is not as it should be, a data file is absent, too short or not beside it.
    Cancelled
        When asked to stop.
    """
    return [_record(path, step_of(path, options)) if path.suffix == ".hea" else _annotations(path)]


def _record(path: Path, step: Step) -> Recording:
    if "::" in str(path.absolute()) or "://" in str(path.absolute()):
        raise FileUnreadable(
            "the name of its folder holds '::' or '://', which the library reads as an address",
            path=path,
            todo="Rename the folder",
        )
    header = read_header(path)
    set_aside: list[str] = []
    if header.segments:
        parts = _segments(header, set_aside)
    else:
        absent = absent_file(header)
        if absent is not None:
            raise FileUnreadable(
                f"the data file {quoted(absent.file)} is not beside the header",
                path=path,
                place=f"line {absent.line}",
                todo=(
                    "Put it into the same folder; an annotation file of this record can be brought in without it, "
                    "by giving that file alone"
                ),
            )
        parts = [(header, 0, checked_frames(header, set_aside))]
    decoded = Decoded(step, sum(frames for _, _, frames in parts))
    for part, _, frames in parts:
        decoded.add(part, frames, set_aside)
    files = {path.name: path}
    for part, _, _ in parts:
        files |= {part.path.name: part.path}
        files |= {signal.file: part.path.with_name(signal.file) for signal in part.signals}
    channels = _channels(header.rate_hz, parts, decoded)
    for part, _, _ in parts:
        set_aside += [
            f"{part.path.name}, line {signal.line}: {quoted(signal.label)} is not calibrated; "
            f"{signal.gain:g} steps a unit are taken, as the format says"
            for signal in part.signals
            if not signal.calibrated
        ]
    return Recording(
        name=slug(path.stem, "wfdb"),
        reader=READER.name,
        files=tuple((name, sha256(where)) for name, where in files.items()),
        channels=channels,
        first_stamp=header.start,
        dated=header.dated,
        set_aside=tuple(set_aside),
        about={"record": header.name},
    )


def _segments(header: WfdbHeader, set_aside: list[str]) -> list[tuple[WfdbHeader, int, int]]:
    """The segments that are there, each with its first frame and its length; the others stay gaps."""
    parts: list[tuple[WfdbHeader, int, int]] = []
    at = 0
    for segment in header.segments:
        start, at = at, at + segment.frames
        if (
            segment.name == "~" or segment.frames == 0
        ):  # nothing recorded; or the layout, which holds no samples
            continue
        path = header.path.with_name(f"{segment.name}.hea")
        if path == header.path:
            raise FileUnreadable(
                "the record names itself as one of its segments",
                path=path,
                place=f"line {segment.line}",
                todo="Correct this line, or copy the record again",
            )
        if not path.is_file():
            set_aside.append(f"line {segment.line}: {path.name} is not beside the header; left as a gap")
            continue
        part = read_header(path)
        absent = absent_file(part)
        if absent is not None:
            set_aside.append(
                f"line {segment.line}: {absent.file}, the data of {path.name}, is not beside it; left as a gap"
            )
            continue
        if part.rate_hz != header.rate_hz:
            raise FileUnreadable(
                f"the segment has {part.rate_hz:g} frames a second, its record {header.path.name} has "
                f"{header.rate_hz:g}",
                path=path,
                place="line 1",
                todo="Copy the record again",
            )
        frames = checked_frames(part, set_aside)
        if frames != segment.frames:
            raise FileUnreadable(
                f"the segment is {frames} frames long, its record {header.path.name} (line {segment.line}) says "
                f"{segment.frames}",
                path=path,
                todo="Copy the record again",
            )
        parts.append((part, start, frames))
    if not parts:
        raise FileUnreadable(
            f"none of its {len(header.segments)} segments is beside the header",
            path=header.path,
            todo="Put their .hea and data files into the same folder",
        )
    if at / header.rate_hz > _LONGEST_S:
        raise FileUnreadable(
            f"its segments add up to {at} frames, which is more than 30 years",
            path=header.path,
            place="line 1",
            todo="Copy the record again, or correct the lengths of its segments",
        )
    if header.frames and header.frames != at:
        set_aside.append(f"the record line says {header.frames} frames, its segments add up to {at}")
    return parts


# Channels


def _channels(
    rate_hz: float, parts: Sequence[tuple[WfdbHeader, int, int]], decoded: Decoded
) -> tuple[RecordedChannel, ...]:
    pieces: dict[tuple[str, str, int], list[_Piece]] = {}
    for record, start, frames in parts:
        seen: dict[tuple[str, str], int] = {}
        for index, signal in enumerate(record.signals):
            name = signal.label, signal.unit
            seen[name] = seen.get(name, 0) + 1
            pieces.setdefault((*name, seen[name]), []).append(_Piece(record, index, start, frames))
    keys = unique_keys(label for label, _, _ in pieces)
    return tuple(
        RecordedChannel(
            key=key,
            label=label,
            unit_as_written=unit,
            dtype=(dtype := np.result_type(*(FORMATS[piece.signal.format].dtype for piece in of_channel))),
            count=sum(piece.frames * piece.signal.per_frame for piece in of_channel),
            blocks=partial(_blocks, decoded, tuple(of_channel), dtype),
            segments=_channel_segments(rate_hz, of_channel),
        )
        for key, ((label, unit, _), of_channel) in zip(keys, pieces.items(), strict=True)
    )


def _channel_segments(rate_hz: float, pieces: Sequence[_Piece]) -> tuple[Segment, ...]:
    segments: list[Segment] = []
    first = 0
    next_frame, skew = -1, 0
    for piece in pieces:
        signal = piece.signal
        segment = Segment(
            start_s=(piece.start_frame - signal.skew) / rate_hz,
            first=first,
            count=piece.frames * signal.per_frame,
            rate_hz=rate_hz * signal.per_frame,
            scale=1 / signal.gain,
            offset=-signal.baseline / signal.gain,
        )
        if piece.start_frame == next_frame and _same_scale(segments[-1], segment) and signal.skew == skew:
            segments[-1] = replace(segments[-1], count=segments[-1].count + segment.count)
        else:
            segments.append(segment)
        first += segment.count
        next_frame, skew = piece.start_frame + piece.frames, signal.skew
    return tuple(segments)


def _same_scale(one: Segment, other: Segment) -> bool:
    return (one.rate_hz, one.scale, one.offset) == (other.rate_hz, other.scale, other.offset)


def _blocks(decoded: Decoded, pieces: Sequence[_Piece], dtype: np.dtype[Any]) -> Iterator[Block]:
    for piece in pieces:
        missing = FORMATS[piece.signal.format].missing
        for codes in decoded.signal(piece.record, piece.index):
            there = None if missing is None else codes != missing
            whole = there is None or bool(there.all())
            yield Block(codes.astype(dtype, copy=False), None if whole else there)


# Annotation files


def _annotations(path: Path) -> Recording:
    found = read_annotation_file(path)
    beside = path.with_suffix(".hea")
    header = read_header(beside) if beside.is_file() else None
    ticks_per_s = found.ticks_per_s or (header.rate_hz if header is not None else None)
    if ticks_per_s is None:
        raise FileUnreadable(
            f"the annotations do not tell their time resolution, and {beside.name} is not beside them",
            path=path,
            todo=f"Put {beside.name} into the same folder",
        )
    extension = path.suffix[1:]
    notes = []
    for annotation in found.annotations:
        at = annotation.tick / ticks_per_s
        notes.append(Note(start_s=at, end_s=at, text=line_of(annotation), author=extension))
    return Recording(
        name=slug(f"{path.stem}_{extension}", "annotations"),
        reader=READER.name,
        files=((path.name, sha256(path)),),
        notes=tuple(notes),
        first_stamp=header.start if header is not None else None,
        dated=header.dated if header is not None else False,
        set_aside=()
        if found.ended
        else ("the annotations end without the mark of the end; some may be lost",),
        about={"record": path.stem, "annotator": extension, "ticks_per_s": f"{ticks_per_s:.12g}"},
    )


READER = Reader("WFDB", (".hea",), claims, read, part_of)
