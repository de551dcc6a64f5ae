"""The column map: a small TOML file that tells how to read a table that does not explain itself.

Example
-------
::

    [match]
    name = "*.csv"          # only files so called; without it, every table that is brought in with the map

    [file]                  # all of it optional: what is not said is found out
    separator = ","         # one sign, or "tab", "space", "comma", "semicolon", "bar"
    decimal = "."
    encoding = "utf-8"
    skip_rows = 0           # lines before the header
    header_rows = 0         # 0, 1 (names), 2 (names, units)
    missing = ["-1"]        # texts that stand for "no value", besides the usual ones

    [time]
    column = 1              # number from 1, or the header's text; leave out if only the rate is known
    kind = "seconds"        # seconds, milliseconds, minutes, clock, datetime, epoch_s, epoch_ms
    rate_hz = 1000.0        # optional: the rows are even and their stamps only rounded
    start = "07:42:00"      # optional: what the clock said at the first row, if the rows do not say it

    [[channel]]             # only these columns are read; without any, every column of numbers
    column = 3
    label = "central pressure"
    unit = "mmHg"
    kind = "arterial_pressure"
    site = "aortic"

Screens that make such a file write the same keys; a new choice is one more field here.
"""

from __future__ import annotations

from datetime import datetime, time
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from ..errors import FileUnreadable
from ..terms import KINDS, Identity
from ..typed_toml import Table, load
from .plain_text import SEPARATORS

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

_SEPARATOR_NAMES = {name: sign for sign, name in SEPARATORS.items()}
_COLUMN = "a column: its number from 1, or the text of its header"
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
    missing: tuple[str, ...] = Field(
        default=(), strict=False, description='a list of texts such as ["-1", "off"]'
    )

    @field_validator("separator")
    @classmethod
    def _sign(cls, value: str | None) -> str | None:
        sign = _SEPARATOR_NAMES.get(value or "", value)
        if sign is not None and (len(sign) != 1 or sign.isalnum() or sign in '."\n\r'):
            raise ValueError(f"found {value!r}")
        return sign


class TimeTable(Table):
    """Where the time of a row stands."""

    column: ColumnName | None = Field(default=None, description=_COLUMN)
    kind: TimeKind | None = Field(default=None, description="one of " + ", ".join(TIME_KINDS))
    rate_hz: float | None = Field(default=None, gt=0, le=100_000, description="rows a second, up to 100000")
    start: str | None = Field(
        default=None, description='a time of day "07:42:00" or a date and time "2031-05-04T07:42:00"'
    )

    @field_validator("start")
    @classmethod
    def _readable(cls, value: str | None) -> str | None:
        if value is not None and start_stamp(value) is None:
            raise ValueError(f"found {value!r}")
        return value

    @model_validator(mode="after")
    def _told_somehow(self) -> TimeTable:
        if self.column is None and self.rate_hz is None:
            raise ValueError(
                "neither 'column' nor 'rate_hz' is given; expected at least one of them in [time]"
            )
        return self


class ChannelTable(Table):
    """One column that is read."""

    column: ColumnName = Field(description=_COLUMN)
    label: str | None = Field(default=None, min_length=1, max_length=80, description="a short text")
    unit: str | None = Field(default=None, max_length=40, description='a unit such as "mmHg" or "L/min"')
    kind: str | None = Field(default=None, description="one of " + ", ".join(KINDS))
    site: str = Field(default="", description="a site of that kind")
    side: str = Field(default="", description='"left" or "right"')
    statistic: str = Field(default="value", description='"wave", "mean", "systolic", "diastolic" or "value"')

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
    if given is None:
        return None
    found = given if isinstance(given, ColumnMap) else load_column_map(Path(given))
    return found if found.serves(path) else None


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
        have = ", ".join(label for label in labels if label) or "none"
        what = "stands twice" if found else "is not there"
        raise FileUnreadable(
            f"the column map names column {name!r}, which {what} (headers: {have})",
            path=path,
            todo="Give its number instead; the first column is 1",
        )
    return found[0]
