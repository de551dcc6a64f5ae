"""The data files of a WFDB record: held against the header first, then decoded a window at a time.

Formats: WFDB Applications Guide, signal(5). The decoding is left to the `wfdb` library, which would set up
memory for whatever a header claims; hence the order.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import FileUnreadable
from .wfdb_header import SignalLine, WfdbHeader

_WINDOW = 1 << 21  # samples of all signals together that are decoded at a time


@dataclass(frozen=True, slots=True)
class Format:
    """How the samples of a format are stored."""

    dtype: np.dtype[Any]
    missing: int  # the code that stands for no sample
    bits: int  # 0: compressed


# signal(5); codes for missing samples as the wfdb libraries write and read them.
FORMATS: Final = {
    "16": Format(np.dtype(np.int16), -32768, 16),
    "80": Format(np.dtype(np.int8), -128, 8),
    "212": Format(np.dtype(np.int16), -2048, 12),
    "516": Format(np.dtype(np.int16), -32768, 0),
}


def absent_file(header: WfdbHeader) -> SignalLine | None:
    """The first signal whose data file is not beside the header, or None when all are."""
    folder = header.path.parent
    return next((s for s in header.signals if not (folder / s.file).is_file()), None)


def checked_frames(header: WfdbHeader, set_aside: list[str]) -> int:
    """How many frames the record has, once each data file is known to hold them."""

    def wrong(signal: SignalLine | None, what: str, todo: str) -> FileUnreadable:
        return FileUnreadable(
            what, path=header.path, place=f"line {signal.line}" if signal else "", todo=todo
        )

    if header.segments or not header.signals:
        raise wrong(
            None,
            "a segment is itself made of segments" if header.segments else "the record has no signals",
            "An annotation file of this record can be brought in by giving that file alone",
        )
    groups: dict[str, list[SignalLine]] = {}
    before = ""
    for signal in header.signals:
        if signal.format not in FORMATS:
            raise wrong(
                signal,
                f"{signal.label!r} is stored in format {signal.format}; {', '.join(FORMATS)} can be read",
                "Convert the record to format 16",
            )
        if signal.file in groups and signal.file != before:
            raise wrong(signal, f"signals of {signal.file} stand apart in the header", "Correct the header")
        groups.setdefault(signal.file, []).append(signal)
        before = signal.file
    frames = header.frames
    for name, signals in groups.items():
        first = signals[0]
        if any((s.format, s.byte_offset) != (first.format, first.byte_offset) for s in signals):
            raise wrong(first, f"signals of {name} differ in format or offset", "Correct the header")
        held = _held_frames(header, name, signals)
        frames = held if frames is None else frames
        if held < frames:
            raise wrong(
                first,
                f"{frames} frames are announced, {name} holds {held}"
                f" ({(header.path.parent / name).stat().st_size} bytes)",
                "Copy the data file again; if there is no more of it, correct the number of frames in line 1",
            )
        if held > frames > 0:
            set_aside.append(
                f"{name}: {held - frames} frames more than the {frames} of the header were left out"
            )
    compressed = any(FORMATS[signal.format].bits == 0 for signal in header.signals)
    if not frames or (header.frames is None and compressed):
        held = min(_held_frames(header, name, signals) for name, signals in groups.items())
        raise wrong(
            None,
            f"the record line announces {'0' if header.frames == 0 else 'no'} frames, the data hold {held}",
            f"Write {held} as its length into the record line, or copy the record again",
        )
    return frames


def _held_frames(header: WfdbHeader, name: str, signals: Sequence[SignalLine]) -> int:
    path, first = header.path.with_name(name), signals[0]
    per_frame = sum(signal.per_frame for signal in signals)
    bits = FORMATS[first.format].bits
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(26)
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror or cause})", path=path, todo="Check that it may be read"
        ) from cause
    if bits:
        return max(size - first.byte_offset, 0) * 8 // bits // per_frame
    if len(head) < 26 or head[:4] != b"fLaC":
        raise FileUnreadable(
            f"does not begin as FLAC, in which format {first.format} is stored",
            path=path,
            place="byte 0",
            todo="Copy the data file again",
        )
    # STREAMINFO (RFC 9639, 8.2): 20 bits rate, 3 bits channels - 1, 5 bits width - 1, 36 bits samples.
    info = int.from_bytes(head[18:26], "big")
    channels, samples = (info >> 41 & 7) + 1, info & ((1 << 36) - 1)
    if channels != len(signals) or any(signal.per_frame != first.per_frame for signal in signals):
        raise FileUnreadable(
            f"holds {channels} channels of one rate, but {header.path.name} (line {first.line}) puts "
            f"{len(signals)} signals with {per_frame} samples a frame into it",
            path=path,
            place="byte 18",
            todo="Copy the record again",
        )
    return max(samples - first.byte_offset, 0) // first.per_frame


def check_sums(header: WfdbHeader, frames: int, set_aside: list[str]) -> None:
    """Compare each signal with its checksum in the header: a difference is told, the samples stay."""
    if header.frames is None or all(signal.checksum is None for signal in header.signals):
        return  # header(5): without a length the checksums do not count
    every = list(range(len(header.signals)))
    sums = [0] * len(every)
    for _, codes in windows(header, every, frames):
        sums = [before + int(signal.sum(dtype=np.int64)) for before, signal in zip(sums, codes, strict=True)]
    for signal, total in zip(header.signals, sums, strict=True):
        if signal.checksum is not None and (total - signal.checksum) % 65536:
            set_aside.append(
                f"{header.path.name}, line {signal.line}: the samples of {signal.label!r} add up to "
                f"{(total + 32768) % 65536 - 32768}, the header says {signal.checksum}; they were kept, but the "
                "data file may not be the one that belongs to it"
            )


def windows(
    header: WfdbHeader, signals: list[int], frames: int
) -> Iterator[tuple[int, list[NDArray[np.signedinteger[Any]]]]]:
    """Stored codes of some signals, so many frames at a time that memory stays bounded."""
    import wfdb  # here, since it imports pandas

    at_a_time = max(1, _WINDOW // sum(signal.per_frame for signal in header.signals))
    if header.frames is None:
        at_a_time = frames  # the library cuts windows only where the header gives a length
    narrow = all(header.signals[index].format == "80" for index in signals)
    for start in range(0, frames, at_a_time):
        stop = min(start + at_a_time, frames)
        try:
            record = wfdb.rdrecord(
                str(header.path.absolute().with_suffix("")),
                sampfrom=start,
                sampto=stop if header.frames is not None else None,
                channels=signals,
                physical=False,
                smooth_frames=False,
                ignore_skew=True,
                return_res=8 if narrow else 16,
            )
        except (
            OSError,
            ValueError,
            ArithmeticError,
            LookupError,
            TypeError,
            AttributeError,
            RuntimeError,
        ) as cause:
            raise FileUnreadable(
                f"frames {start} to {stop} cannot be decoded ({cause})",
                path=header.path,
                todo="Copy the record and its data files again",
            ) from cause
        yield start, record.e_d_signal
