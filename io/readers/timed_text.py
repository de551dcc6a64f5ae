"""WebVTT and SubRip captions: spoken notes with start and end on their own zero.

webvtt-py passes over cues that it cannot read and takes one that ends before it starts; both are refused
here with line and number, since a lost cue would not be noticed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from io import StringIO
from pathlib import Path
from typing import Any, Protocol

from ..errors import FileUnreadable
from ..recording import Note, Recording
from . import Claim, Reader, sha256
from .names import slug
from .plain_text import head_text, read_text
from .quoting import quoted, shown

_STAMP = r"(?:\d+:)?[0-5]?\d:[0-5]?\d[.,]\d{1,3}"
_TIMINGS = re.compile(rf"\s*{_STAMP}\s*-->\s*{_STAMP}(?=\s|$)")
_SUBRIP = re.compile(rf"\s*(\d+\s*\n)?\s*\d+:\d\d:\d\d,\d{{3}}\s*-->\s*{_STAMP}")


class _Caption(Protocol):
    """What is used of a caption of webvtt-py."""

    start: str
    end: str
    text: str


def claims(path: Path, head: bytes) -> Claim:
    """WebVTT begins with its name; SubRip with a number and a line of times, or is called so."""
    text = head_text(head, whole=True)
    if text is not None and (
        text.lstrip("\ufeff").startswith("WEBVTT") or _SUBRIP.match(text.lstrip("\ufeff"))
    ):
        return Claim.MINE
    # Named so but something else inside: `read` says what is wrong with it.
    return Claim.MINE if path.suffix.lower() in READER.suffixes else Claim.NOT_MINE


def read(path: Path, _options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read one file of captions: one recording with notes and no channels.

    Its seconds count from its own zero, so ``first_stamp`` is None.

    Raises
    ------
    FileUnreadable
        No captions in it, or a cue that cannot be read or ends before it starts.
    """
    from webvtt import WebVTT
    from webvtt.errors import MalformedCaptionError, MalformedFileError

    text = read_text(path)
    is_vtt = text.startswith("WEBVTT")
    if not is_vtt and not _SUBRIP.match(text):
        raise FileUnreadable(
            "this file of captions begins with neither 'WEBVTT' nor a numbered cue",
            path=path,
            place="line 1",
            todo="Export it as WebVTT",
        )
    lines = _timing_lines(text, path)
    try:
        captions = WebVTT.from_buffer(StringIO(text), format="vtt" if is_vtt else "srt").captions
    except (MalformedCaptionError, MalformedFileError) as cause:
        raise FileUnreadable(
            f"these captions cannot be read ({shown(cause)})",
            path=path,
            todo="Correct them or export them again",
        ) from cause
    if len(captions) != len(lines):
        raise FileUnreadable(
            f"{len(lines)} lines hold times but only {len(captions)} cues can be read",
            path=path,
            todo="Put an empty line before each cue and one line of text, at least, into it",
        )
    notes, set_aside = _notes(captions, lines, path)
    return [
        Recording(
            name=slug(path.stem, "captions"),
            reader=READER.name,
            files=((path.name, sha256(path)),),
            notes=notes,
            set_aside=set_aside,
            about={"format": "WebVTT" if is_vtt else "SubRip"},
        )
    ]


def _timing_lines(text: str, path: Path) -> list[int]:
    """Line numbers of the cues; every line with an arrow must be one."""
    found = []
    for number, line in enumerate(text.split("\n"), 1):
        if "-->" not in line:
            continue
        if not _TIMINGS.match(line):
            raise FileUnreadable(
                f"found {quoted(line)}; expected two times such as '00:01:02.500 --> 00:01:04.000'",
                path=path,
                place=f"line {number}",
                todo="Correct the times of this cue",
            )
        found.append(number)
    if not found:
        raise FileUnreadable(
            "there is no cue in this file", path=path, todo="Export it again, or take it out"
        )
    return found


def _notes(
    captions: Sequence[_Caption], lines: Sequence[int], path: Path
) -> tuple[tuple[Note, ...], tuple[str, ...]]:
    notes = []
    set_aside = []
    for number, (caption, line) in enumerate(zip(captions, lines, strict=True), 1):
        start_s, end_s = _seconds(caption.start), _seconds(caption.end)
        if end_s < start_s:
            raise FileUnreadable(
                f"cue {number} ends at {caption.end}, before it starts at {caption.start}",
                path=path,
                place=f"line {line}",
                todo="Correct the times of this cue",
            )
        words = " ".join(caption.text.split())
        if words:
            notes.append(Note(start_s, end_s, words))
        else:
            set_aside.append(f"{path.name}, line {line}: cue {number} has no text")
    return tuple(notes), tuple(set_aside)


def _seconds(stamp: str) -> float:
    hours, minutes, seconds = stamp.split(":")
    return int(hours) * 3600 + int(minutes) * 60 + float(seconds)


READER = Reader("WebVTT", (".vtt", ".srt"), claims, read)
