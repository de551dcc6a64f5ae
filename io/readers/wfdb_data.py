"""The data files of a WFDB record: held against the header first, then decoded once, a window at a time.

Formats: WFDB Applications Guide, signal(5). The decoding is left to the `wfdb` library, which would set up
memory for whatever a header claims; hence the order. A library call decodes all signals of a file whichever
is asked for, so the codes wait in a temporary file until each channel is written.
"""

from __future__ import annotations

import tempfile
import weakref
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import IO, Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import CannotWrite, FileUnreadable
from .quoting import quoted, shown
from .steps import Step
from .wfdb_header import SignalLine, WfdbHeader

_WINDOW = 1 << 21  # samples of all signals together that are decoded at a time
_BLOCK = 1 << 20  # samples of one signal handed over at a time, where that many come
_IN_MEMORY = 16 << 20  # bytes of codes kept in memory before a file is made for them

Codes = NDArray[np.signedinteger[Any]]


@dataclass(frozen=True, slots=True)
class Format:
    """How the samples of a format are stored: so many in so many bytes, or compressed where 0."""

    dtype: np.dtype[Any]
    missing: int | None  # the code that stands for no sample
    samples: int
    in_bytes: int


_I8, _I16, _I32 = np.dtype(np.int8), np.dtype(np.int16), np.dtype(np.int32)

# signal(5); codes for missing samples as the wfdb libraries write and read them: the lowest of each width.
FORMATS: Final = {
    "8": Format(_I32, None, 1, 1),  # differences
    "16": Format(_I16, -(1 << 15), 1, 2),
    "24": Format(_I32, -(1 << 23), 1, 3),
    "32": Format(_I32, -(1 << 31), 1, 4),
    "61": Format(_I16, -(1 << 15), 1, 2),
    "80": Format(_I8, -(1 << 7), 1, 1),
    "160": Format(_I16, -(1 << 15), 1, 2),
    "212": Format(_I16, -(1 << 11), 2, 3),
    "310": Format(_I16, -(1 << 9), 3, 4),
    "311": Format(_I16, -(1 << 9), 3, 4),
    "508": Format(_I8, -(1 << 7), 0, 0),
    "516": Format(_I16, -(1 << 15), 0, 0),
    "524": Format(_I32, -(1 << 23), 0, 0),
}
# What an incomplete group of bytes at the end of a file still holds.
_IN_A_PART: Final = {"212": (0, 0, 1), "310": (0, 0, 1, 1), "311": (0, 0, 1, 2)}


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
                f"{quoted(signal.label)} is stored in format {signal.format}, which does not exist; "
                f"{', '.join(FORMATS)} do",
                "Correct the header",
            )
        if signal.file in groups and signal.file != before:
            raise wrong(signal, f"signals of {signal.file} stand apart in the header", "Correct the header")
        groups.setdefault(signal.file, []).append(signal)
        before = signal.file
    for name, signals in groups.items():
        first = signals[0]
        if any((s.format, s.byte_offset) != (first.format, first.byte_offset) for s in signals):
            raise wrong(first, f"signals of {name} differ in format or offset", "Correct the header")
    held = {name: _held_frames(header, name, signals) for name, signals in groups.items()}
    frames = min(held.values()) if header.frames is None else header.frames
    for name, signals in groups.items():
        if held[name] < frames:
            raise wrong(
                signals[0],
                f"{frames} frames are announced, {name} holds {held[name]}"
                f" ({(header.path.parent / name).stat().st_size} bytes)",
                "Copy the data file again; if there is no more of it, correct the number of frames in line 1",
            )
        if held[name] > frames > 0:
            set_aside.append(
                f"{name}: {held[name] - frames} frames more than the {frames} of the header were left out"
                if header.frames is not None
                else f"{name}: {held[name] - frames} frames more than the other data files hold were left out"
            )
    if not frames:
        most = min(held.values())
        raise wrong(
            None,
            f"the record line announces {'0' if header.frames == 0 else 'no'} frames, the data hold {most}",
            f"Write {most} as its length into the record line, or copy the record again",
        )
    return frames


def _held_frames(header: WfdbHeader, name: str, signals: Sequence[SignalLine]) -> int:
    path, first = header.path.with_name(name), signals[0]
    per_frame = sum(signal.per_frame for signal in signals)
    stored = FORMATS[first.format]
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(26)
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror or cause})", path=path, todo="Check that it may be read"
        ) from cause
    if stored.in_bytes:
        whole, rest = divmod(max(size - first.byte_offset, 0), stored.in_bytes)
        part = _IN_A_PART[first.format][rest] if first.format in _IN_A_PART else 0
        return (whole * stored.samples + part) // per_frame
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


class Decoded:
    """Codes of all signals of one or more records, decoded once, read back signal by signal.

    Parameters
    ----------
    step : callable
        Told after each window how far it is.
    frames : int
        Of all records together.
    """

    def __init__(self, step: Step, frames: int) -> None:
        self._step = step
        self._done, self._frames = 0, frames
        self._file: IO[bytes] = tempfile.SpooledTemporaryFile(_IN_MEMORY)  # noqa: SIM115
        weakref.finalize(self, self._file.close)
        self._end = 0
        self._places: dict[tuple[str, int], list[tuple[int, int]]] = {}  # record, signal: start, samples

    def add(self, header: WfdbHeader, frames: int, set_aside: list[str]) -> None:
        """Decode a record, once however often it occurs. A checksum that does not fit is told, the samples stay.

        Raises
        ------
        FileUnreadable
            When the data cannot be decoded.
        CannotWrite
            No room for the temporary file.
        """
        if (header.path.name, 0) in self._places:
            return
        sums = [0] * len(header.signals)
        places: list[list[tuple[int, int]]] = [[] for _ in header.signals]
        self._places |= {(header.path.name, number): place for number, place in enumerate(places)}
        for codes in _windows(header, frames):
            for number, (signal, of_signal) in enumerate(zip(header.signals, codes, strict=True)):
                of_signal = np.ascontiguousarray(of_signal, FORMATS[signal.format].dtype)
                if signal.checksum is not None:
                    sums[number] += int(of_signal.sum(dtype=np.int64))
                places[number].append((self._end, len(of_signal)))
                self._write(of_signal)
            self._done += len(codes[0]) // header.signals[0].per_frame
            self._step(min(1.0, self._done / self._frames))
        if header.frames is None:
            return  # header(5): without a length the checksums do not count
        for signal, total in zip(header.signals, sums, strict=True):
            if signal.checksum is not None and (total - signal.checksum) % 65536:
                set_aside.append(
                    f"{header.path.name}, line {signal.line}: the samples of {quoted(signal.label)} add up to "
                    f"{(total + 32768) % 65536 - 32768}, the header says {signal.checksum}; they were kept, but "
                    "the data file may not be the one that belongs to it"
                )

    def _write(self, codes: Codes) -> None:
        try:
            self._file.seek(self._end)
            self._file.write(codes.data.cast("B"))
        except OSError as cause:
            raise CannotWrite(
                f"the samples could not be kept while the record is read ({cause.strerror})",
                path=tempfile.gettempdir(),
                todo="Make room there",
            ) from cause
        self._end += codes.nbytes

    def signal(self, header: WfdbHeader, index: int) -> Iterator[Codes]:
        """Codes of one signal, in order, some windows at a time."""
        dtype = FORMATS[header.signals[index].format].dtype
        waiting: list[Codes] = []
        held = 0
        for start, samples in self._places[header.path.name, index]:
            self._file.seek(start)
            waiting.append(np.frombuffer(self._file.read(samples * dtype.itemsize), dtype))
            held += samples
            if held >= _BLOCK:
                yield np.concatenate(waiting)
                waiting, held = [], 0
        if waiting:
            yield np.concatenate(waiting)


def _windows(header: WfdbHeader, frames: int) -> Iterator[list[Codes]]:
    """Codes of all signals, so many frames at a time that memory stays bounded."""
    # Here, since it imports pandas. Its public function would read the header once more by its own rules, take a
    # header without a length whole into memory, and stumble over format 61 (its byte order).
    from wfdb.io import _signal

    signals = header.signals
    at_a_time = max(1, _WINDOW // sum(signal.per_frame for signal in signals))
    running = [signal.first_value for signal in signals]
    for start in range(0, frames, at_a_time):
        stop = min(start + at_a_time, frames)
        try:
            codes: list[Codes] = _signal._rd_segment(
                file_name=[signal.file for signal in signals],
                dir_name=str(header.path.absolute().parent),
                pn_dir=None,
                fmt=[signal.format for signal in signals],
                n_sig=len(signals),
                sig_len=frames,
                byte_offset=[signal.byte_offset for signal in signals],
                samps_per_frame=[signal.per_frame for signal in signals],
                skew=[0] * len(signals),
                init_value=[signal.first_value for signal in signals],
                sampfrom=start,
                sampto=stop,
                channels=list(range(len(signals))),
                ignore_skew=True,
            )
            for number, signal in enumerate(signals):
                if signal.format == "8":
                    codes[number] = _continued(codes[number], running[number] - signal.first_value)
                    running[number] = int(codes[number][-1])
                elif signal.format == "311":
                    # The uppermost bits of a group are not used; the library takes one of them along.
                    codes[number] = (codes[number] + 512) % 1024 - 512
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
                f"frames {start} to {stop} cannot be decoded ({shown(cause)})",
                path=header.path,
                todo="Copy the record and its data files again",
            ) from cause
        yield codes


def _continued(codes: Codes, by: int) -> Codes:
    """Format 8 stores differences, and the library begins each window at the first value of the header."""
    wide = codes.astype(np.int64) + by
    if np.abs(wide).max(initial=0) >= 1 << 31:
        raise OverflowError("the differences add up to more than any converter gives")
    return wide.astype(np.int32)
