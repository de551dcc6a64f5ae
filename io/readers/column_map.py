"""The column map: a small TOML file that tells how to read a table that does not explain itself.

What is not said is found out where what is seen leaves no doubt; nothing that would change a number, a unit or
a time is guessed. With one example of each choice::

    [match]
    name = "*.csv"          # only files so called; without it, every table that is brought in with the map

    [file]
    separator = "semicolon" # one sign, or "tab", "space", "comma", "semicolon", "bar"
    decimal = ","           # or "."
    encoding = "utf-8"      # or "utf-16", "latin-1"
    skip_rows = 3           # lines before the header
    header_rows = 2         # 0 (none), 1 (names), 2 (names, units)
    missing = ["off", "-1"] # stand for "no value" besides blanks, "-", "---", "NaN", "NA", "N/A" and "null";
                            # a number stands for that number however it is written: -1, -1.0
    zero_is_missing = true  # a value of 0 was never measured, in every column

    [time]
    column = "Zeit"         # the header's text, or the number from 1; found out where it is not said
    kind = "clock"          # seconds, milliseconds, minutes, clock, datetime, epoch_s, epoch_ms
    date_column = "Datum"   # the date stands in a column of its own
    date_order = "day-first"    # 03/04/2026 is the 3rd of April; or "month-first", "year-first"
    half_day = "pm"         # a clock of 12 hours that says neither am nor pm: the first row is in the afternoon
    summer_time = "ends"    # the clock went back by an hour within the table (or "begins": forward), while no
                            # time or the usual time passed; without it, it is a clock that somebody set
    rate_hz = 1000.0        # the rows are even and their stamps only rounded; without a column, the rate alone
    uneven = true           # one row for each change: rows keep their stamps even where these look even
    start = "07:42:00"      # what the clock said at the first row, if the rows do not say it

    [[channel]]             # only these columns are read; without any, every column of numbers
    column = 3              # the header's text, or the number from 1 (of two headers alike)
    label = "central pressure"
    unit = "mmHg"           # as it should have been written; kept beside what it means
    kind = "arterial_pressure"
    site = "aortic"
    side = ""               # or "left", "right"
    statistic = "wave"      # or "mean", "systolic", "diastolic", "value"
    missing = ["999"]       # of this column, besides those of the file
    zero_is_missing = false # of this column; as [file] says where it is not said

`to_toml` writes such a file, `load_column_map` reads it; a new choice is one more field here.
"""

from __future__ import annotations

import tomllib
from datetime import datetime, time
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from ..errors import FileUnreadable
from ..terms import KINDS, Identity
from ..typed_toml import Table, load
from .dates import DATE_ORDERS, DateOrder
from .plain_text import SEPARATORS
from .quoting import quoted, shown

HalfDay = Literal["am", "pm"]
SummerTime = Literal["begins", "ends"]
TimeKind = Literal["seconds", "milliseconds", "minutes", "clock", "datetime", "epoch_s", "epoch_ms"]
TIME_KINDS: tuple[TimeKind, ...] = (
    "seconds",
    "milliseconds",
    "minutes",
    "clock",
    "datetime",
    "epoch_s",
    "epoch_ms",
)

# Signs that may not stand in a text of TOML as they are.
_ESCAPES = {chr(code): f"\\u{code:04x}" for code in (*range(32), 127)} | {'"': '\\"', "\\": "\\\\"}
_SEPARATOR_NAMES = {name: sign for sign, name in SEPARATORS.items()}
_COLUMN = "a column: its number from 1, or the text of its header"
_MISSING = 'a list of texts such as ["-1", "off"]'
ColumnName = int | str


class Match(Table):
    """Which files the map is for."""

    name: str = Field(default="*", min_length=1, description='a pattern for file names such as "*.csv"')


class FileTable(Table):
    """How the file is written."""

    separator: str | None = Field(
        default=None, description='one sign, or "comma", "semicolon", "tab", "space", "bar"'
    )
    decimal: Literal[".", ","] | None = Field(default=None, description='"." or ","')
    encoding: Literal["utf-8", "utf-8-sig", "utf-16", "latin-1"] | None = Field(
        default=None, description='"utf-8", "utf-16" or "latin-1"'
    )
    skip_rows: int = Field(default=0, ge=0, le=1000, description="a number of lines from 0 to 1000")
    header_rows: Literal[0, 1, 2] | None = Field(default=None, description="0, 1 or 2")
    missing: tuple[str, ...] = Field(default=(), strict=False, description=_MISSING)
    zero_is_missing: bool = Field(default=False, description="true or false")

    @field_validator("separator")
    @classmethod
    def _sign(cls, value: str | None) -> str | None:
        sign = _SEPARATOR_NAMES.get(value or "", value)
        if sign is not None and (len(sign) != 1 or sign.isalnum() or sign in '."\n\r'):
            raise ValueError(f"found {quoted(value)}")
        return sign


class TimeTable(Table):
    """Where the time of a row stands, and what the rows do not say of it."""

    column: ColumnName | None = Field(default=None, description=_COLUMN)
    kind: TimeKind | None = Field(default=None, description="one of " + ", ".join(TIME_KINDS))
    date_column: ColumnName | None = Field(default=None, description=_COLUMN)
    date_order: DateOrder | None = Field(default=None, description="one of " + ", ".join(DATE_ORDERS))
    half_day: HalfDay | None = Field(default=None, description='"am" or "pm"')
    summer_time: SummerTime | None = Field(default=None, description='"begins" or "ends"')
    rate_hz: float | None = Field(default=None, gt=0, le=100_000, description="rows a second, up to 100000")
    uneven: bool = Field(default=False, description="true or false")
    start: str | None = Field(
        default=None, description='a time of day "07:42:00" or a date and time "2031-05-04T07:42:00"'
    )

    @field_validator("start")
    @classmethod
    def _readable(cls, value: str | None) -> str | None:
        if value is not None and start_stamp(value) is None:
            raise ValueError(f"found {quoted(value)}")
        return value

    @model_validator(mode="after")
    def _holds_together(self) -> TimeTable:
        if self.uneven and self.rate_hz is not None:
            raise ValueError("'uneven' and 'rate_hz' contradict each other; expected one of them")
        numbers = self.kind not in (None, "clock", "datetime")
        for name in ("date_column", "date_order", "half_day"):
            if numbers and getattr(self, name) is not None:
                raise ValueError(f"'{name}' needs times that are written as a clock, not as {self.kind}")
        if self.kind == "datetime" and self.half_day is not None:
            raise ValueError("'half_day' is for a clock without a date, not for datetime")
        if self.kind in ("seconds", "milliseconds", "minutes") and self.summer_time is not None:
            raise ValueError(f"'summer_time' needs the time of a clock, not {self.kind}")
        return self

    @property
    def by_rate_alone(self) -> bool:
        """Whether the table has no times and only a rate is told."""
        return self.column is None and self.rate_hz is not None


class ChannelTable(Table):
    """One column that is read."""

    column: ColumnName = Field(description=_COLUMN)
    label: str | None = Field(default=None, min_length=1, max_length=80, description="a short text")
    unit: str | None = Field(default=None, max_length=40, description='a unit such as "mmHg" or "L/min"')
    kind: str | None = Field(default=None, description="one of " + ", ".join(KINDS))
    site: str = Field(default="", description="a site of that kind")
    side: str = Field(default="", description='"left" or "right"')
    statistic: str = Field(default="value", description='"wave", "mean", "systolic", "diastolic" or "value"')
    missing: tuple[str, ...] = Field(default=(), strict=False, description=_MISSING)
    zero_is_missing: bool | None = Field(default=None, description="true or false")

    @model_validator(mode="after")
    def _known(self) -> ChannelTable:
        if self.kind is not None:
            Identity(self.kind, self.site, self.side, self.statistic)
        elif self.site or self.side or self.statistic != "value":
            raise ValueError("'site', 'side' and 'statistic' need a 'kind' beside them")
        return self


class ColumnMap(Table):
    """How to read a table; see the module's example."""

    match: Match = Field(default=Match(), description="a table [match]")
    file: FileTable = Field(default=FileTable(), description="a table [file]")
    time: TimeTable | None = Field(default=None, description="a table [time]")
    channel: tuple[ChannelTable, ...] = Field(default=(), strict=False, description="tables [[channel]]")

    def serves(self, path: Path) -> bool:
        """Whether the map is meant for a file of this name; upper and lower case do not matter."""
        return fnmatchcase(path.name.lower(), self.match.name.lower())


def start_stamp(text: str) -> tuple[datetime, bool] | None:
    """A time of day or a date and time, and whether the date was written; None if it is neither."""
    try:
        return datetime.combine(datetime(2000, 1, 1), time.fromisoformat(text)), False
    except ValueError:
        pass
    try:
        return datetime.fromisoformat(text).replace(tzinfo=None), True
    except ValueError:
        return None


def load_column_map(path: Path) -> ColumnMap:
    """Read a column map.

    Raises
    ------
    FileUnreadable
        Names the file, the key, what was found and what is expected.
    """
    return load(path, ColumnMap, "column map")


def map_of(options: Any, path: Path) -> ColumnMap | None:
    """The column map among a reader's options, if there is one and it is meant for `path`."""
    given = options.get("columns")
    if isinstance(given, (str, Path)) and not is_path_map(Path(given)):
        given = load_column_map(Path(given))
    return given if isinstance(given, ColumnMap) and given.serves(path) else None


def is_path_map(path: Path) -> bool:
    """Whether a TOML file tells of arrays (``[[signal]]``) and not of columns; one that cannot be read does not."""
    try:
        return "signal" in tomllib.loads(path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n"))
    except (OSError, ValueError):  # told by whoever reads it as what it was given for
        return False


def to_toml(columns: ColumnMap) -> str:
    """The map as a file that `load_column_map` reads back the same; what is not said is left out."""
    lines: list[str] = []
    for name, table in (("match", columns.match), ("file", columns.file), ("time", columns.time)):
        if table is not None:
            said = table.model_dump(exclude_defaults=True)
            if name == "file" and "separator" in said:
                said["separator"] = SEPARATORS.get(said["separator"], said["separator"])
            if said or name == "time":
                lines += [f"[{name}]", *(f"{key} = {toml_value(value)}" for key, value in said.items()), ""]
    for channel in columns.channel:
        said = channel.model_dump(exclude_defaults=True)
        lines += ["[[channel]]", *(f"{key} = {toml_value(value)}" for key, value in said.items()), ""]
    return "\n".join(lines)


def toml_value(value: Any) -> str:
    """A text, number, truth or list of them as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + "".join(_ESCAPES.get(sign, sign) for sign in value) + '"'
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(toml_value(one) for one in value) + "]"
    return repr(value)  # a whole number, or a float that has a point or an exponent


def column_index(name: ColumnName, labels: list[str], count: int, path: Path) -> int:
    """Index from 0 of the column that a map names.

    Raises
    ------
    FileUnreadable
        There is no such column, or two of that name.
    """
    if isinstance(name, int):
        if 1 <= name <= count:
            return name - 1
        raise FileUnreadable(
            f"the column map names column {name}; this table has {count}",
            path=path,
            todo="Correct the column map; the first column is 1",
        )
    wanted = " ".join(name.lower().split())
    found = [n for n, label in enumerate(labels) if " ".join(label.lower().split()) == wanted]
    if len(found) != 1:
        have = shown(", ".join(label for label in labels if label), 400) or "none"
        what = "stands twice" if found else "is not there"
        raise FileUnreadable(
            f"the column map names column {quoted(name)}, which {what} (headers: {have})",
            path=path,
            todo="Give its number instead; the first column is 1",
        )
    return found[0]
