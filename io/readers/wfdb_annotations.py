"""WFDB annotation files: beats and remarks, each at a tick of the file's own clock.

Decoded from the WFDB Applications Guide, annot(5): pairs of bytes, least significant first, six bits of
type over ten bits of ticks since the annotation before; larger steps and texts follow in further pairs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from ..errors import FileUnreadable

# annot(5), table of types. Types 42 to 49 are free for definitions in the file.
_SYMBOLS = dict(enumerate("NLRaVFJASEj/Q~", 1)) | dict(enumerate('|?sT*D"=pB^t+u?![]en@xf()r', 16))
_SYMBOLS[17] = ""  # not used
_NOTE = 22
_LAST_TYPE = 49
_SKIP, _NUM, _SUB, _CHAN, _AUX = 59, 60, 61, 62, 63
_RESOLUTION = re.compile(r"## time resolution: (\d{1,12}(?:\.\d{0,12})?)", re.ASCII)
_DEFINITION = re.compile(r"(\d{1,2})\s+(\S+)(?:\s+.*)?", re.ASCII | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Annotation:
    """One annotation: its tick, its symbol and its text."""

    tick: int
    symbol: str
    text: str


@dataclass(frozen=True)
class AnnotationFile:
    """What an annotation file holds.

    Attributes
    ----------
    ticks_per_s : float or None
        Its own time resolution; None where it counts in the frames of its record.
    annotations : tuple of Annotation
        In file order; definitions are taken out.
    ended : bool
        Whether the mark of the end was there.
    """

    ticks_per_s: float | None
    annotations: tuple[Annotation, ...]
    ended: bool


def looks_like_annotations(head: bytes, size: int) -> bool:
    """Whether the first bytes of a file walk as annotations do, and none ends before the file does."""
    at, seen = 0, 0
    while at + 2 <= len(head):
        pair = int.from_bytes(head[at : at + 2], "little")
        kind, low = pair >> 10, pair & 0x3FF
        at += 2
        if pair == 0:
            return at == size
        if kind == _SKIP:
            at += 4
        elif kind == _AUX:
            text = head[at : at + low].rstrip(b"\0")
            if any(byte < 32 and byte not in b"\t\n\r" for byte in text):
                return False
            at += low + low % 2
        elif _LAST_TYPE < kind < _SKIP:
            return False
        seen += 1
    return seen > 0


def own_clock(head: bytes) -> bool:
    """Whether the file begins by telling its time resolution: then it is one beyond doubt."""
    # A remark at tick 0 (type 22), then a text of any length (type 63).
    begins = head[:2] == b"\0\x58" and head[3:4] == b"\xfc"
    return begins and _RESOLUTION.match(head[4:40].decode("latin-1")) is not None


def read_annotation_file(path: Path) -> AnnotationFile:
    """Read one file.

    Raises
    ------
    FileUnreadable
        With the byte where it is not as annot(5) says.
    """
    try:
        raw = path.read_bytes()
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror or cause})",
            path=path,
            todo="Check that it exists and may be read",
        ) from cause
    found: list[tuple[int, int, str]] = []
    tick, at, ended = 0, 0, False

    def take(many: int, what: str) -> bytes:
        nonlocal at
        if at + many > len(raw):
            raise FileUnreadable(
                f"the file is cut: it ends within {what}",
                path=path,
                place=f"byte {at}",
                todo="Copy the file again",
            )
        at += many
        return raw[at - many : at]

    while at < len(raw):
        place = at
        pair = int.from_bytes(take(2, "an annotation"), "little")
        kind, low = pair >> 10, pair & 0x3FF
        if pair == 0:
            ended = True
            break
        if kind == _SKIP:
            high_first = take(4, "a long step")
            step = int.from_bytes(high_first[:2], "little") << 16 | int.from_bytes(high_first[2:], "little")
            tick += step - (1 << 32 if step >> 31 else 0)
        elif kind == _AUX:
            text = take(low + low % 2, "a text")[:low]
            if found:
                found[-1] = (found[-1][0], found[-1][1], _decoded(text))
        elif kind in (_NUM, _SUB, _CHAN):
            continue  # sub-type and signal of the annotation before: not shown in a line of text
        elif kind > _LAST_TYPE:
            raise FileUnreadable(
                f"type {kind} of annotation does not exist (0 to {_LAST_TYPE} do)",
                path=path,
                place=f"byte {place}",
                todo="Check that this is an annotation file, and copy it again",
            )
        else:
            tick += low
            found.append((tick, kind, ""))
    return _told(found, ended)


def _told(found: list[tuple[int, int, str]], ended: bool) -> AnnotationFile:
    """Take the definitions at tick 0 out, and put symbols to the types."""
    ticks_per_s: float | None = None
    symbols = dict(_SYMBOLS)
    kept: list[tuple[int, int, str]] = []
    for tick, kind, text in found:
        if tick == 0 and kind == _NOTE:
            resolution = _RESOLUTION.match(text)
            definition = _DEFINITION.fullmatch(text)
            if resolution and float(resolution[1]) > 0:
                ticks_per_s = float(resolution[1])
                continue
            if text in ("## annotation type definitions", "## end of definitions"):
                continue
            if definition and 0 < int(definition[1]) <= _LAST_TYPE:
                symbols[int(definition[1])] = definition[2]
                continue
        if kind:  # type 0 only moves the clock on
            kept.append((tick, kind, text))
    return AnnotationFile(
        ticks_per_s,
        tuple(Annotation(tick, _symbol(kind, symbols), text) for tick, kind, text in kept),
        ended,
    )


def _symbol(kind: int, symbols: Mapping[int, str]) -> str:
    return symbols.get(kind) or f"[{kind}]"


def _decoded(raw: bytes) -> str:
    raw = raw.rstrip(b"\0").replace(b"\0", b" ")
    try:
        return raw.decode("utf-8").strip()
    except UnicodeDecodeError:
        return raw.decode("latin-1").strip()


def line_of(annotation: Annotation) -> str:
    """What a person reads: a remark is its text, anything else its symbol and its text."""
    if annotation.symbol == '"' and annotation.text:
        return annotation.text
    return f"{annotation.symbol} {annotation.text}".strip()
