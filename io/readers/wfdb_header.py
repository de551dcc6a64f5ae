"""The header of a WFDB record, checked line by line before any library allocates what it claims.

Written from the WFDB Applications Guide, header(5): a record line, then a line for each signal, or for a
record of several segments a line for each segment.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from ..errors import FileUnreadable
from .quoting import quoted

_AGAIN = "Copy the record again, or correct the header"
_LARGEST = 4 << 20  # bytes; no header is longer
# No field holds a longer number, and Python refuses to convert very long ones.
_FLOAT = r"[+-]?(?:\d{1,18}\.?\d{0,18}|\.\d{1,18})(?:[eE][+-]?\d{1,3})?"
_WHOLE = r"\d{1,12}"
_RECORD = re.compile(
    rf"(?P<name>[-\w]+)(?:/(?P<segments>{_WHOLE}))?\s+(?P<signals>{_WHOLE})"
    rf"(?:\s+(?P<rate>{_FLOAT})(?:/{_FLOAT}(?:\({_FLOAT}\))?)?"
    rf"(?:\s+(?P<frames>{_WHOLE})(?:\s+(?P<time>\S+)(?:\s+(?P<date>\S+))?)?)?)?\s*",
    re.ASCII,
)
_FORMAT = re.compile(
    rf"(?P<format>\d{{1,4}})(?:x(?P<per_frame>{_WHOLE}))?(?::(?P<skew>{_WHOLE}))?(?:\+(?P<offset>{_WHOLE}))?",
    re.ASCII,
)
_GAIN = re.compile(rf"(?P<gain>{_FLOAT})(?:\((?P<baseline>[+-]?{_WHOLE})\))?(?:/(?P<unit>\S+))?", re.ASCII)
_COUNT = re.compile(_WHOLE, re.ASCII)
_NUMBER = re.compile(rf"[+-]?{_WHOLE}", re.ASCII)
_TIME = re.compile(r"(?:(?:(\d{1,2}):)?(\d{1,2}):)?(\d{1,2}(?:\.\d+)?)", re.ASCII)
_DATE = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})", re.ASCII)
# A plain name beside the header: what comes from a file must not lead to a file that nobody gave.
_PLAIN_FILE = re.compile(r"[-\w]{1,200}(?:\.\w{1,40})?", re.ASCII)
_PLAIN_RECORD = re.compile(r"[-\w]{1,200}", re.ASCII)

_HIGHEST_RATE_HZ = 1e7  # above, it is a damaged field (this project's choice)
DEFAULT_RATE_HZ = 250.0  # header(5): where the record line gives none
DEFAULT_GAIN = 200.0  # header(5): where a signal line gives none, or 0


@dataclass(frozen=True, slots=True)
class SignalLine:
    """One signal: ``value = (code - baseline) / gain`` in ``unit``."""

    line: int
    file: str  # "~": no samples, in a layout header
    format: str
    per_frame: int
    skew: int  # frames
    byte_offset: int
    gain: float
    calibrated: bool
    baseline: int
    unit: str
    first_value: int
    checksum: int | None
    label: str


@dataclass(frozen=True, slots=True)
class SegmentLine:
    """One segment: a record of its own, or ``~`` where nothing was recorded."""

    line: int
    name: str
    frames: int


@dataclass(frozen=True, slots=True)
class WfdbHeader:
    """What a header says; nothing of it is checked against the data files yet."""

    path: Path
    name: str
    rate_hz: float  # frames per second
    frames: int | None
    start: datetime | None
    dated: bool
    signals: tuple[SignalLine, ...]
    segments: tuple[SegmentLine, ...]  # empty: a record of one piece


class _Lines:
    """Lines that are not comments, with their numbers, handed out in order."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self._lines = [
            (number, line.strip())
            for number, line in enumerate(text.splitlines(), 1)
            if line.strip() and not line.lstrip().startswith("#")
        ]
        self._next = 0

    def take(self, what: str) -> tuple[int, str]:
        if self._next >= len(self._lines):
            raise FileUnreadable(f"the header ends where {what} was expected", path=self.path, todo=_AGAIN)
        self._next += 1
        return self._lines[self._next - 1]

    def wrong(self, line: int, what: str, todo: str = _AGAIN) -> FileUnreadable:
        return FileUnreadable(what, path=self.path, place=f"line {line}", todo=todo)

    def rest(self) -> tuple[int, str] | None:
        return self._lines[self._next] if self._next < len(self._lines) else None


def read_header(path: Path) -> WfdbHeader:
    """Read one header file.

    Raises
    ------
    FileUnreadable
        With the line that is not as header(5) says, or names a data file elsewhere.
    """
    lines = _Lines(path, _text(path))
    at, line = lines.take("the record line")
    match = _RECORD.fullmatch(line)
    if match is None:
        raise lines.wrong(
            at,
            f"the record line reads {quoted(line)}; name, number of signals, rate and length were expected",
        )
    rate = float(match["rate"]) if match["rate"] else DEFAULT_RATE_HZ
    if not 0 < rate <= _HIGHEST_RATE_HZ:
        raise lines.wrong(at, f"the rate is {match['rate']} frames a second; more than 0 was expected")
    start, dated = _start(lines, at, match["time"], match["date"])
    count = int(match["signals"])
    segments: tuple[SegmentLine, ...] = ()
    signals: tuple[SignalLine, ...] = ()
    # One at a time, so that a count that lies ends at the end of the file and nothing is set up for it.
    if match["segments"]:
        segments = tuple(
            _segment(lines, number, match["segments"]) for number in range(int(match["segments"]))
        )
    else:
        signals = tuple(_signal(lines, number, count) for number in range(count))
    more = lines.rest()
    if more is not None:
        raise lines.wrong(
            more[0],
            f"one more line follows than the record line announces ({len(segments) or len(signals)})",
        )
    return WfdbHeader(
        path=path,
        name=match["name"],
        rate_hz=rate,
        frames=int(match["frames"]) if match["frames"] else None,
        start=start,
        dated=dated,
        signals=signals,
        segments=segments,
    )


def _text(path: Path) -> str:
    try:
        size = path.stat().st_size
        if size > _LARGEST:
            raise FileUnreadable(
                f"the file is {size} bytes long, no record header is",
                path=path,
                todo="Check what kind of file it is",
            )
        raw = path.read_bytes()
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror or cause})",
            path=path,
            todo="Check that it exists and may be read",
        ) from cause
    if b"\0" in raw:
        raise FileUnreadable(
            "a zero byte stands where text was expected", path=path, place=f"byte {raw.index(0)}", todo=_AGAIN
        )
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _start(lines: _Lines, at: int, time: str | None, date: str | None) -> tuple[datetime | None, bool]:
    if time is None:
        return None, False
    clock = _TIME.fullmatch(time)
    day = _DATE.fullmatch(date) if date is not None else None
    try:
        if clock is None or (date is not None and day is None):
            raise ValueError
        whole, _, fraction = clock[3].partition(".")
        start = datetime(
            int(day[3]) if day else 1900,
            int(day[2]) if day else 1,
            int(day[1]) if day else 1,
            int(clock[1] or 0),
            int(clock[2] or 0),
            int(whole),
            int(fraction[:6].ljust(6, "0")) if fraction else 0,
        )
    except ValueError as cause:
        raise lines.wrong(
            at,
            f"the start reads {quoted(' '.join(filter(None, (time, date))))}; HH:MM:SS DD/MM/YYYY was expected",
        ) from cause
    return start, day is not None


def _segment(lines: _Lines, number: int, announced: str) -> SegmentLine:
    at, line = lines.take(f"segment {number + 1} of {announced}")
    words = line.split()
    if len(words) != 2 or not _COUNT.fullmatch(words[1]):
        raise lines.wrong(
            at, f"the segment line reads {quoted(line)}; a name and a number of frames were expected"
        )
    if words[0] != "~" and not _PLAIN_RECORD.fullmatch(words[0]):
        raise lines.wrong(
            at,
            f"the segment {quoted(words[0])} is not a plain record name beside the header, so it is not opened",
            "Put the segments beside the header under plain names",
        )
    return SegmentLine(at, words[0], int(words[1]))


def _signal(lines: _Lines, number: int, announced: int) -> SignalLine:
    at, line = lines.take(f"signal {number + 1} of {announced}")
    words = line.split(None, 8)
    if len(words) < 2:
        raise lines.wrong(at, f"the signal line reads {quoted(line)}; a data file and a format were expected")
    if words[0] != "~" and not _PLAIN_FILE.fullmatch(words[0]):
        raise lines.wrong(
            at,
            f"the data file {quoted(words[0])} is not a plain file name beside the header, so it is not opened",
            "Put the data file beside the header under a plain name, and write that name into the header",
        )
    form = _FORMAT.fullmatch(words[1])
    if form is None:
        raise lines.wrong(at, f"the format reads {quoted(words[1])}; a number such as 16 or 212 was expected")
    gain, calibrated, baseline, unit = DEFAULT_GAIN, False, None, ""
    if len(words) > 2:
        scale = _GAIN.fullmatch(words[2])
        if scale is None:
            raise lines.wrong(at, f"the gain reads {quoted(words[2])}; gain(baseline)/unit was expected")
        calibrated = float(scale["gain"]) != 0
        if calibrated and not 1e-100 < abs(float(scale["gain"])) < 1e100:
            raise lines.wrong(at, f"the gain reads {quoted(words[2])}, which gives no usable scale")
        gain = float(scale["gain"]) if calibrated else DEFAULT_GAIN
        baseline = int(scale["baseline"]) if scale["baseline"] else None
        unit = scale["unit"] or ""
    numbers: list[int] = []
    for name, word in zip(
        ("resolution", "zero", "first value", "checksum", "block size"), words[3:8], strict=False
    ):
        if not _NUMBER.fullmatch(word):
            raise lines.wrong(at, f"the {name} reads {quoted(word)}; a whole number was expected")
        numbers.append(int(word))
    zero = numbers[1] if len(numbers) > 1 else 0
    per_frame = int(form["per_frame"] or 1)
    if per_frame < 1:
        raise lines.wrong(at, "the number of samples a frame is 0; at least 1 was expected")
    return SignalLine(
        line=at,
        file=words[0],
        format=form["format"],
        per_frame=per_frame,
        skew=int(form["skew"] or 0),
        byte_offset=int(form["offset"] or 0),
        gain=gain,
        calibrated=calibrated,
        baseline=zero if baseline is None else baseline,
        unit=unit,
        first_value=numbers[2] if len(numbers) > 2 else 0,
        checksum=numbers[3] if len(numbers) > 3 else None,
        label=words[8].strip() if len(words) > 8 else f"signal {number + 1}",
    )
