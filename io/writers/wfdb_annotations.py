"""Marks, finds and lines of text as a WFDB annotation file.

Written as annot(5) of the WFDB Applications Guide describes it: pairs of bytes, least significant first, six
bits of type over ten bits of ticks since the annotation before; larger steps, numbers and texts follow in further
pairs. Every annotation is a remark (type 22, shown as ``"``) with its text in UTF-8, at a tick of the file's own
resolution, which its first annotation tells (``## time resolution: 1000``).

Remarks at tick 0 are the format's own words, which readers take out; one of ours that belongs there stands at tick 1.
The format knows moments only: a stretch is a remark at its start, and one ``end: ...`` at its end. A text of more
than 255 bytes goes on in further remarks of the same tick. Remarks of one tick are told apart by the field `num`,
since no two may be alike in time, number and signal (WFDB Programmer's Guide, "Annotation Order").
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

from ..errors import CannotWrite
from . import Course, Progress, Remark, new_file

TICKS_PER_S = 1000
"""Ticks a second where nothing else is asked for (this project's choice)."""

_NOTE, _SKIP, _NUM, _AUX = 22, 59, 60, 63
_MOST_BYTES = 255
_MOST_TICK = (1 << 31) - 1
_MOST_NUM = 127
_NAME = re.compile(r"[A-Za-z0-9_-]+\.[A-Za-z][A-Za-z0-9_]*", re.ASCII)
_CONTROL = re.compile("[\x00-\x1f\x7f]+")


def write_annotations(
    remarks: Sequence[Remark],
    path: Path,
    *,
    start_s: float = 0.0,
    ticks_per_s: int = TICKS_PER_S,
    note: str = "",
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> int:
    """Write remarks as an annotation file.

    Parameters
    ----------
    remarks : sequence of Remark
        In any order, in reference seconds.
    path : Path
        ``<record>.<annotator>``, such as ``case.marks``; must not exist. The annotator ``atr`` is kept for
        reference annotations (WFDB Programmer's Guide) and not refused.
    start_s : float
        Reference time of tick 0: the first sample of the record that the file goes with.
    ticks_per_s : int
        Ticks a second; the rate of the record where it is to be read with one.
    note : str
        What the file carries as a whole; a remark at its start.
    progress : callable, optional
        ``progress(share, text)``.
    cancelled : callable, optional
        Asked before the file is written.

    Returns
    -------
    int
        Annotations written.

    Raises
    ------
    CannotWrite
        When the name is not one of an annotation file, a remark lies before tick 0 or too far behind it, or the
        file is there or cannot be written; nothing is left.
    """
    course = Course(path, progress, cancelled)
    if _NAME.fullmatch(path.name) is None:
        raise CannotWrite(
            "is no name for an annotation file, which is <record>.<annotator> in letters, digits, - and _",
            path=path,
            todo="Give a name such as case.marks",
        )
    if path.suffix in (".hea", ".dat"):
        raise CannotWrite(
            f"the ending {path.suffix} is that of another file of a record",
            path=path,
            todo="Give a name such as case.marks",
        )
    if ticks_per_s < 1:
        raise CannotWrite(f"{ticks_per_s} ticks a second are no resolution", path=path, todo="Give 1 or more")
    course.at(0.0, f"writing {path.name}")
    moments = _moments(remarks, path, start_s, ticks_per_s, note)
    out = [_remark(0, None, f"## time resolution: {ticks_per_s}".encode())]
    before = num = 0
    number = -1
    for tick, raw in moments:
        number = number + 1 if tick == before else 0
        wanted = min(number, _MOST_NUM)
        out.append(_remark(tick - before, None if wanted == num else wanted, raw))
        before, num = tick, wanted
    with new_file(path) as file:
        file.write(b"".join(out) + b"\0\0")
    course.done(f"{path.name} written")
    return len(moments)


def _moments(
    remarks: Sequence[Remark], path: Path, start_s: float, ticks_per_s: int, note: str
) -> list[tuple[int, bytes]]:
    moments: list[tuple[int, int, str]] = [(0, 0, note)]
    for order, remark in enumerate(sorted(remarks, key=lambda one: (one.start_s, one.end_s)), start=1):
        begin, end = (round((t - start_s) * ticks_per_s) for t in (remark.start_s, remark.end_s))
        if begin < 0 or max(begin, end) > _MOST_TICK:
            raise CannotWrite(
                f"the remark {remark.text[:40]!r} at {remark.start_s:g} s lies outside what ticks of "
                f"1/{ticks_per_s} s from {start_s:g} s on can count",
                path=path,
                todo="Write a window, or with another start",
            )
        moments.append((begin, order, remark.text))
        if end > begin:
            moments.append((end, order, f"end: {remark.text}"))
    found = []
    for tick, _, words in sorted(moments, key=lambda moment: moment[:2]):
        text = _CONTROL.sub(" ", words).strip()
        found += [(max(tick, 1), raw) for raw in _parts(text)]
    return found


def _parts(text: str) -> list[bytes]:
    """UTF-8 in parts of at most 255 bytes, cut between words where there are any."""
    parts: list[bytes] = []
    left = text
    while left:
        size, many = 0, 0
        for letter in left:
            size += len(letter.encode())
            if size > _MOST_BYTES:
                break
            many += 1
        space = left.rfind(" ", 1, many) if many < len(left) else -1
        cut = space if space > 0 else many
        parts.append(left[:cut].encode())
        left = left[cut:].strip()
    return parts


def _remark(step: int, num: int | None, text: bytes) -> bytes:
    out = b""
    if step > 1023:
        out = _pair(_SKIP, 0) + (step >> 16).to_bytes(2, "little") + (step & 0xFFFF).to_bytes(2, "little")
        step = 0
    out += _pair(_NOTE, step)
    if num is not None:
        out += _pair(_NUM, num)
    return out + _pair(_AUX, len(text)) + text + b"\0" * (len(text) % 2)


def _pair(kind: int, low: int) -> bytes:
    return (kind << 10 | low).to_bytes(2, "little")
