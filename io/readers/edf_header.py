"""The header of an EDF or BDF file: every field read from its place in the file and checked before use.

Layout: Kemp et al., Electroencephalogr Clin Neurophysiol 1992;82:391-393 (EDF) and Kemp and Olivan,
Clin Neurophysiol 2003;114:1755-1761 (EDF+). 256 bytes for the file, then 256 bytes a signal stored field
by field (all labels, then all transducers ...), then the data records. BDF is the same with 24-bit samples
and another first field; its additions for annotations and gaps are those of EDF+ (common practice).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from ..errors import FileUnreadable
from .quoting import quoted

_AGAIN = "Export or copy the file again"
_INTEGER = re.compile(r"[+-]?\d+")
_REAL = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
# Outside of these a rate is a damaged field, not a recording (this project's choice).
_RATES_HZ = (1e-6, 1e7)

_Place = Callable[[int, int], tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Variant:
    """What one member of the family fixes; all else they share."""

    name: str
    version: bytes  # the first 8 bytes
    sample_bytes: int
    annotations_label: str


EDF = Variant("EDF", b"0       ", 2, "EDF Annotations")
BDF = Variant("BDF", b"\xffBIOSEMI", 3, "BDF Annotations")


@dataclass(frozen=True, slots=True)
class SignalHeader:
    """One signal: ``value = code * scale + offset`` in ``unit``."""

    label: str
    transducer: str
    prefilter: str
    unit: str
    scale: float
    offset: float
    samples: int  # per data record
    first_byte: int  # within a data record
    annotations: bool


@dataclass(frozen=True, slots=True)
class EdfHeader:
    """A header that agrees with the length of its file."""

    variant: Variant
    kind: str  # "EDF", "EDF+C" or "EDF+D"; "BDF" likewise
    start: datetime | None
    dated: bool
    equipment: str
    header_bytes: int
    record_bytes: int
    records: int
    record_s: float
    signals: tuple[SignalHeader, ...]
    remarks: tuple[str, ...]

    @property
    def is_plus(self) -> bool:
        """Whether it may hold annotations, and its records their times."""
        return self.kind != self.variant.name

    @property
    def has_gaps(self) -> bool:
        """Whether its records need not follow each other."""
        return self.kind.endswith("+D")


class _Fields:
    """The raw header, read by place; whatever does not fit is told with its name and byte."""

    def __init__(self, path: Path, raw: bytes) -> None:
        self.path = path
        self.raw = raw

    def text(self, start: int, width: int) -> str:
        raw = self.raw[start : start + width].strip(b" \0")
        try:
            return raw.decode("utf-8").strip()
        except UnicodeDecodeError:  # the format allows ASCII only; some devices write Latin-1
            return raw.decode("latin-1").strip()

    def integer(self, name: str, start: int, width: int) -> int:
        text = self.text(start, width)
        if not (text.isascii() and _INTEGER.fullmatch(text)):
            raise self.wrong(f"the {name} reads {quoted(text)} where a whole number was expected", start)
        return int(text)

    def real(self, name: str, start: int, width: int) -> float:
        text = self.text(start, width)
        value = float(text) if text.isascii() and _REAL.fullmatch(text) else math.nan
        if not math.isfinite(value):
            raise self.wrong(f"the {name} reads {quoted(text)} where a number was expected", start)
        return value

    def wrong(self, what: str, start: int, todo: str = _AGAIN) -> FileUnreadable:
        return FileUnreadable(what, path=self.path, place=f"byte {start}", todo=todo)


def read_header(path: Path, variant: Variant) -> EdfHeader:
    """Read and check the header.

    Parameters
    ----------
    path : Path
        The file.
    variant : Variant
        Which member of the family it is.

    Returns
    -------
    EdfHeader
        Counts in it are never larger than what the file holds.

    Raises
    ------
    FileUnreadable
        When a field is not what it should be, or the header and the length of the file disagree.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            start = file.read(256)
            fields = _Fields(path, start)
            _check_start(fields, variant, size)
            count = fields.integer("number of signals", 252, 4)
            header_bytes = fields.integer("number of header bytes", 184, 8)
            if count < 1:
                raise fields.wrong(f"the number of signals is {count}; at least 1 was expected", 252)
            if header_bytes != 256 * (count + 1):
                raise fields.wrong(
                    f"the header says it is {header_bytes} bytes long, but {count} signals (byte 252) "
                    f"make {256 * (count + 1)}",
                    184,
                )
            if size < header_bytes:
                raise fields.wrong(
                    f"the file is cut: it holds {size} bytes, its header alone takes {header_bytes}", size
                )
            fields = _Fields(path, start + file.read(header_bytes - 256))
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror or cause})", path=path, todo="Check that it may be read"
        ) from cause
    return _checked(fields, variant, size, count)


def _check_start(fields: _Fields, variant: Variant, size: int) -> None:
    if size == 0:
        raise FileUnreadable("the file is empty", path=fields.path, todo=_AGAIN)
    if fields.raw[:8] != variant.version:
        raise fields.wrong(
            f"{variant.name} begins with {quoted(variant.version)}, this file with {quoted(fields.raw[:8])}",
            0,
            "Check what kind of file it is",
        )
    if size < 256:
        raise fields.wrong(f"the file is cut: it holds {size} bytes, the header begins with 256", size)


def _checked(fields: _Fields, variant: Variant, size: int, count: int) -> EdfHeader:
    reserved = fields.text(192, 44)
    plus = (f"{variant.name}+C", f"{variant.name}+D")
    kind = reserved[:5] if reserved[:5] in plus else variant.name
    is_plus = kind != variant.name
    record_s = fields.real("duration of a data record", 244, 8)
    signals, at = [], 0
    for index in range(count):
        signal = _signal(fields, variant, index, count, at)
        at += signal.samples * variant.sample_bytes
        signals.append(signal)
    ordinary = [signal for signal in signals if not signal.annotations]
    if record_s < 0 or (ordinary and record_s == 0):
        raise fields.wrong(f"the duration of a data record is {record_s:g} s; more than 0 was expected", 244)
    remarks: list[str] = []
    header_bytes = 256 * (count + 1)
    records = _records(fields, at, size - header_bytes, remarks)
    for signal in ordinary:
        rate = signal.samples / record_s
        if not _RATES_HZ[0] <= rate <= _RATES_HZ[1]:
            raise fields.wrong(
                f"{signal.samples} samples of {quoted(signal.label)} in a record of {record_s:g} s make {rate:g} "
                "Hz, which no recording has",
                244,
            )
    start, dated = _start(fields, is_plus, remarks)
    recording_words = fields.text(88, 80).split()
    named = is_plus and len(recording_words) > 4 and recording_words[4] != "X"
    return EdfHeader(
        variant=variant,
        kind=kind,
        start=start,
        dated=dated,
        equipment=recording_words[4].replace("_", " ") if named else "",
        header_bytes=header_bytes,
        record_bytes=at,
        records=records,
        record_s=record_s,
        signals=tuple(signals),
        remarks=tuple(remarks),
    )


def _signal(fields: _Fields, variant: Variant, index: int, count: int, first_byte: int) -> SignalHeader:
    def place(before: int, width: int) -> tuple[int, int]:
        # `before`: bytes that the earlier fields take for each signal.
        return 256 + before * count + width * index, width

    label = fields.text(*place(0, 16))
    whose = f"of signal {index + 1} ({quoted(label)})"
    samples_at = place(216, 8)
    samples = fields.integer(f"number of samples in a record {whose}", *samples_at)
    if samples < 1:
        raise fields.wrong(
            f"the number of samples in a record {whose} is {samples}; at least 1 was expected", samples_at[0]
        )
    annotations = label == variant.annotations_label
    scale, offset = (1.0, 0.0) if annotations else _scaling(fields, variant, whose, place)
    return SignalHeader(
        label=label,
        transducer=fields.text(*place(16, 80)),
        prefilter=fields.text(*place(136, 80)),
        unit=fields.text(*place(96, 8)),
        scale=scale,
        offset=offset,
        samples=samples,
        first_byte=first_byte,
        annotations=annotations,
    )


def _scaling(fields: _Fields, variant: Variant, whose: str, place: _Place) -> tuple[float, float]:
    physical_min = fields.real(f"physical minimum {whose}", *place(104, 8))
    physical_max = fields.real(f"physical maximum {whose}", *place(112, 8))
    digital_min = fields.integer(f"digital minimum {whose}", *place(120, 8))
    digital_max = fields.integer(f"digital maximum {whose}", *place(128, 8))
    limit = 1 << (8 * variant.sample_bytes - 1)
    for name, value, at in (
        ("minimum", digital_min, place(120, 8)[0]),
        ("maximum", digital_max, place(128, 8)[0]),
    ):
        if not -limit <= value < limit:
            raise fields.wrong(
                f"the digital {name} {whose} is {value}; {-limit} to {limit - 1} is what the format holds", at
            )
    if digital_min >= digital_max:
        raise fields.wrong(
            f"the digital minimum {whose} is {digital_min}, not below its maximum {digital_max}",
            place(120, 8)[0],
        )
    if physical_min == physical_max:
        raise fields.wrong(
            f"the physical minimum and maximum {whose} are both {physical_min:g}: its samples have no scale",
            place(104, 8)[0],
        )
    scale = (physical_max - physical_min) / (digital_max - digital_min)
    offset = physical_min - digital_min * scale
    if not (math.isfinite(scale) and math.isfinite(offset)) or scale == 0:
        raise fields.wrong(
            f"the physical range {whose}, {physical_min:g} to {physical_max:g}, gives no usable scale",
            place(104, 8)[0],
        )
    return scale, offset


def _records(fields: _Fields, record_bytes: int, held: int, remarks: list[str]) -> int:
    """How many records there are, where the header and the length of the file agree on it."""
    claimed = fields.integer("number of data records", 236, 8)
    whole, over = divmod(held, record_bytes)
    if claimed == -1:
        # A recording that was never closed; the format says so with -1, so the length decides.
        remarks.append(
            f"byte 236: the recording was not closed (number of records -1); {whole} records were found"
            + (f" and {over} bytes of an incomplete one were left out" if over else "")
        )
        claimed = whole
    elif claimed < -1:
        raise fields.wrong(f"the number of data records is {claimed}; 1 or more was expected", 236)
    elif claimed * record_bytes != held:
        raise fields.wrong(
            f"the header says {claimed} records of {record_bytes} bytes, which make {claimed * record_bytes} "
            f"bytes; the file holds {held}: {whole} records"
            + (f" and {over} bytes of an incomplete one" if over else ""),
            236,
            f"{_AGAIN}; if there is no more of it, write {whole} into bytes 236 to 243"
            + (f" and drop its last {over} bytes" if over else ""),
        )
    if claimed == 0:
        raise fields.wrong("the file holds no data records", 236)
    return claimed


def _start(fields: _Fields, is_plus: bool, remarks: list[str]) -> tuple[datetime | None, bool]:
    """What the header says of the start; the date counts only where it is not a placeholder."""
    date_text, time_text = fields.text(168, 8), fields.text(176, 8)
    date_match = re.fullmatch(r"(\d\d?)[./:-](\d\d?)[./:-](\d\d)", date_text, re.ASCII)
    time_match = re.fullmatch(r"(\d\d?)[.:-](\d\d?)[.:-](\d\d?)", time_text, re.ASCII)
    day, month, year = 1, 1, 1985
    if date_match:
        day, month, short_year = map(int, date_match.groups())
        year = short_year + (1900 if short_year >= 85 else 2000)  # the format's clipping year
    words = fields.text(88, 80).split()
    if is_plus and len(words) > 1 and words[0] == "Startdate":
        full = re.fullmatch(r"(\d\d?)-([A-Za-z]{3})-(\d{4})", words[1], re.ASCII)
        if full and full[2].upper() in _MONTHS:
            day, month, year = int(full[1]), _MONTHS.index(full[2].upper()) + 1, int(full[3])
    try:
        if not date_match or not time_match:
            raise ValueError
        hour, minute, second = map(int, time_match.groups())
        start = datetime(year, month, day, hour, minute, second)
    except ValueError:
        remarks.append(
            f"byte 168: the start {quoted(date_text)} {quoted(time_text)} is no date and time, so this source has only "
            "its own zero"
        )
        return None, False
    dated = start.date() != datetime(1985, 1, 1).date()  # 01.01.85 is what is written for "unknown"
    if not dated and start.time() == datetime.min.time():
        return None, False  # neither date nor time of day was written
    return start, dated
