"""Sound in WAV files: when it begins and ends; its samples are not read.

A sound has its own zero, to be put in its place by what is heard in it. It is one note as long as it lasts. Where it
lies is no part of the recording, since the names of folders may say who was operated on: this machine remembers it as
it does of every file (see `afterclamp.io.origins`).

Layout: chunks of a name, a length and that many bytes, filled up to an even number (Multimedia Programming
Interface and Data Specifications 1.0, 1991); longer than 4 GB: a chunk ``ds64`` with the lengths (EBU Tech 3306).
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

from ..errors import FileUnreadable
from ..recording import Note, Recording
from . import Claim, Reader, sha256
from .names import slug
from .quoting import quoted

_KINDS: Final = (b"RIFF", b"RF64", b"BW64")
_PLAIN: Final = (
    1,
    3,
    6,
    7,
    0xFFFE,
)  # whole numbers, floats, A-law, mu-law, told further on: all of equal width
_NOT_TOLD: Final = (0, 0xFFFFFFFF)  # as length of the samples: the recorder never came to write it
_MOST_CHUNKS = 10_000
_AGAIN = "Copy the sound again, or export it as WAV"


@dataclass(frozen=True, slots=True)
class _Sound:
    kind: int
    channels: int
    rate_hz: int
    bytes_a_second: int
    block_bytes: int
    samples: int | None  # a channel, where it is told
    begins: int
    claimed: int


def claims(path: Path, head: bytes) -> Claim:
    """WAV begins with the name of its container, a length, and WAVE."""
    if head[:4] in _KINDS and head[8:12] == b"WAVE":
        return Claim.MINE
    # Named so but cut or something else: `read` says what is wrong with it.
    return Claim.MINE if path.suffix.lower() in READER.suffixes else Claim.NOT_MINE


def read(path: Path, _options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read one sound: one recording with one note and no channels; ``first_stamp`` is None.

    Raises
    ------
    FileUnreadable
        No WAV file, cut before its samples, or of a kind whose length cannot be told.
    """
    set_aside: list[str] = []
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            sound = _chunks(path, file, size)
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror or cause})", path=path, todo="Check that it may be read"
        ) from cause
    held = max(0, min(sound.claimed, size - sound.begins))
    if sound.claimed in _NOT_TOLD:
        held = size - sound.begins
        set_aside.append("the recording was not closed; its length was taken from that of the file")
    elif sound.claimed > size - sound.begins:
        set_aside.append(
            f"the file is cut: it claims {sound.claimed} bytes of sound and holds {held}; what is there is "
            f"{held / sound.claimed:.0%} of it"
        )
    duration_s = _duration(path, sound, held)
    if duration_s <= 0:
        raise FileUnreadable("it holds no sound", path=path, place=f"byte {sound.begins}", todo=_AGAIN)
    about = {
        "format": "WAV",
        "duration": f"{duration_s:.3f} s",
        "sampling": f"{sound.rate_hz} Hz, {sound.channels} channel{'s' if sound.channels > 1 else ''}",
    }
    return [
        Recording(
            name=slug(path.stem, "sound"),
            reader=READER.name,
            files=((path.name, sha256(path)),),
            notes=(Note(0.0, duration_s, "sound"),),
            set_aside=tuple(set_aside),
            about=about,
        )
    ]


def _duration(path: Path, sound: _Sound, held: int) -> float:
    if sound.kind in _PLAIN:
        return held // sound.block_bytes / sound.rate_hz
    if sound.samples is not None and held == sound.claimed:
        return sound.samples / sound.rate_hz
    if sound.bytes_a_second <= 0:
        raise FileUnreadable(
            f"its samples are packed (kind {sound.kind}) and nothing tells how long they last",
            path=path,
            todo="Export it as WAV with plain samples (PCM)",
        )
    return held / sound.bytes_a_second  # packed: on average


def _chunks(path: Path, file: BinaryIO, size: int) -> _Sound:
    def wrong(at: int, what: str) -> FileUnreadable:
        return FileUnreadable(what, path=path, place=f"byte {at}", todo=_AGAIN)

    head = file.read(12)
    if head[:4] not in _KINDS or head[8:12] != b"WAVE":
        raise wrong(0, f"a WAV file begins with RIFF, a length and WAVE; this one with {quoted(head)}")
    form: tuple[int, ...] | None = None
    long_claim: int | None = None
    samples: int | None = None
    at = 12
    for _ in range(_MOST_CHUNKS):
        file.seek(at)
        name_and_length = file.read(8)
        if len(name_and_length) < 8:
            raise wrong(size, "the file is cut: it ends before its samples")
        name, length = struct.unpack("<4sL", name_and_length)
        if name == b"data":
            if form is None:
                raise wrong(at, "its samples come before the chunk 'fmt ' that tells how they are written")
            claimed = long_claim if long_claim is not None and length == 0xFFFFFFFF else length
            kind, channels, rate_hz, bytes_a_second, block_bytes = form
            return _Sound(kind, channels, rate_hz, bytes_a_second, block_bytes, samples, at + 8, claimed)
        inside = file.read(min(length, 24))
        if name == b"fmt ":
            if len(inside) < 16:
                raise wrong(at, f"the chunk 'fmt ' is {len(inside)} bytes long; 16 at least were expected")
            form = struct.unpack("<HHLLH", inside[:14])
            if not (1 <= form[1] <= 1024 and form[2] and form[4]):
                raise wrong(
                    at,
                    f"{form[1]} channels of {form[2]} samples a second in blocks of {form[4]} bytes are no sound",
                )
        elif name == b"ds64" and len(inside) >= 24:
            long_claim = struct.unpack("<Q", inside[8:16])[0]
            samples = struct.unpack("<Q", inside[16:24])[0] or None
        elif name == b"fact" and len(inside) >= 4 and samples is None:
            samples = struct.unpack("<L", inside[:4])[0] or None
        at += 8 + length + length % 2
    raise wrong(at, f"more than {_MOST_CHUNKS} chunks stand before the samples")


READER = Reader("WAV", (".wav",), claims, read)
