"""The path map: a small TOML file that tells which arrays of an HDF5 or MATLAB file are channels.

Example
-------
::

    [match]
    name = "*.mat"              # only files so called; without it, every such file brought in with the map

    [time]                      # optional
    start = "07:42:00"          # what the clock said at second 0 of the times, where these do not say it

    [[signal]]                  # one for each channel; what is not listed is not read
    path = "/signals{1}"        # names joined by "/"; "{1}" is the first cell of a cell array
    times = "/signals{6}"       # the stamps of its samples ...
    time_kind = "seconds"       # seconds, milliseconds, minutes, epoch_s, epoch_ms, datenum
    label = "PA"
    unit = "mmHg"
    kind = "pulmonary_artery_pressure"

    [[signal]]
    path = "/bypass/pump"
    column = 2                  # of a table with several columns (or row = 2)
    rate_hz = 1.0               # ... or their rate, or where it stands: rate_from = "/bypass/pump@rate"
    start_s = 12.5              # with a rate: second of the first sample, 0 where it is not said
    label = "Flow"
    unit = "L/min"
    missing = [0, -1]           # numbers that stand for "no value"
    scale = 0.001               # value = number in the file * scale + offset
    offset = 0.0

It is told apart from a column map by its ``[[signal]]`` tables, and given in the same way.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from ..errors import FileUnreadable
from ..terms import KINDS, Identity
from ..typed_toml import Table, load
from .column_map import Match, is_path_map, start_stamp

StampKind = Literal["seconds", "milliseconds", "minutes", "epoch_s", "epoch_ms", "datenum"]

_STEP = re.compile(r"([^/{}@]+)(?:\{(\d{1,9})\})?")
_PATH = 'names joined by "/" such as "/waves/art" or "/signals{1}"'


@dataclass(frozen=True, slots=True)
class Step:
    """One name on the way to an array, and the cell to take from it (from 1; None: all of it)."""

    name: str
    cell: int | None


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands in a file; `attribute` is empty for an array."""

    text: str
    steps: tuple[Step, ...]
    attribute: str


def place_of(text: str) -> Place:
    """Take a path apart. Raises `ValueError` where it is none."""
    path, at, attribute = text.partition("@")
    matches = [_STEP.fullmatch(part) for part in path.strip("/").split("/")]
    steps = tuple(Step(m[1], int(m[2]) if m[2] else None) for m in matches if m is not None)
    if len(steps) != len(matches) or any(s.name in (".", "..") or s.cell == 0 for s in steps):
        raise ValueError(f"found {text!r}")
    if at and not attribute:
        raise ValueError(f"found {text!r}")
    return Place(text, steps, attribute)


class PathTime(Table):
    """The clock of the whole file."""

    start: str | None = Field(
        default=None, description='a time of day "07:42:00" or a date and time "2031-05-04T07:42:00"'
    )

    @field_validator("start")
    @classmethod
    def _readable(cls, value: str | None) -> str | None:
        if value is not None and start_stamp(value) is None:
            raise ValueError(f"found {value!r}")
        return value


class SignalTable(Table):
    """One array that is a channel."""

    path: str = Field(min_length=1, description=_PATH)
    column: int | None = Field(default=None, ge=1, description="the number of a column from 1")
    row: int | None = Field(default=None, ge=1, description="the number of a row from 1")
    times: str | None = Field(default=None, description=_PATH)
    time_kind: StampKind | None = Field(
        default=None, description="seconds, milliseconds, minutes, epoch_s, epoch_ms or datenum"
    )
    rate_hz: float | None = Field(
        default=None, gt=0, le=100_000, description="samples a second, up to 100000"
    )
    rate_from: str | None = Field(default=None, description=_PATH + ' or "/waves@rate"')
    start_s: float | None = Field(default=None, description="seconds")
    label: str = Field(min_length=1, max_length=80, description="a short text")
    unit: str = Field(default="", max_length=40, description='a unit such as "mmHg" or "L/min"')
    kind: str | None = Field(default=None, description="one of " + ", ".join(KINDS))
    site: str = Field(default="", description="a site of that kind")
    side: str = Field(default="", description='"left" or "right"')
    statistic: str = Field(default="value", description='"wave", "mean", "systolic", "diastolic" or "value"')
    missing: tuple[float, ...] = Field(
        default=(), strict=False, description="a list of numbers such as [0, -1]"
    )
    scale: float = Field(default=1.0, description="a number, not 0")
    offset: float = Field(default=0.0, description="a number")

    @field_validator("path", "times", "rate_from")
    @classmethod
    def _is_a_path(cls, value: str | None) -> str | None:
        if value is not None:
            place_of(value)
        return value

    @field_validator("scale")
    @classmethod
    def _scales(cls, value: float) -> float:
        if value == 0:
            raise ValueError("found 0")
        return value

    @model_validator(mode="after")
    def _holds_together(self) -> SignalTable:
        for name in ("path", "times"):
            told = getattr(self, name)
            if told is not None and place_of(told).attribute:
                raise ValueError(f"'{name}' names an attribute ({told!r}); expected an array")
        if self.times is None and self.rate_hz is None and self.rate_from is None:
            raise ValueError(
                "nothing says when its samples were taken; expected 'times', 'rate_hz' or 'rate_from'"
            )
        if (self.times is None) != (self.time_kind is None):
            raise ValueError("'times' and 'time_kind' need each other")
        if self.rate_hz is not None and self.rate_from is not None:
            raise ValueError("both 'rate_hz' and 'rate_from' are given; expected one of them")
        if self.start_s is not None and self.times is not None:
            raise ValueError("'start_s' is given beside 'times', which say it already")
        if self.column is not None and self.row is not None:
            raise ValueError("both 'column' and 'row' are given; expected one of them")
        if self.kind is not None:
            Identity(self.kind, self.site, self.side, self.statistic)
        elif self.site or self.side or self.statistic != "value":
            raise ValueError("'site', 'side' and 'statistic' need a 'kind' beside them")
        return self

    @property
    def identity(self) -> str:
        """Kind, site, side and statistic joined by bars; empty where the label decides."""
        return "" if self.kind is None else "|".join((self.kind, self.site, self.side, self.statistic))


class PathMap(Table):
    """Which arrays are channels; see the module's example."""

    match: Match = Field(default=Match(), description="a table [match]")
    time: PathTime = Field(default=PathTime(), description="a table [time]")
    signal: tuple[SignalTable, ...] = Field(strict=False, min_length=1, description="tables [[signal]]")

    def serves(self, path: Path) -> bool:
        """Whether the map is meant for a file of this name."""
        return fnmatchcase(path.name.lower(), self.match.name.lower())


def load_path_map(path: Path) -> PathMap:
    """Read a path map.

    Raises
    ------
    FileUnreadable
        Names the file, the key, what was found and what is expected.
    """
    return load(path, PathMap, "path map")


def path_map_of(options: Mapping[str, Any], path: Path, listing: Callable[[], str]) -> PathMap:
    """The path map among a reader's options that is meant for `path`.

    Parameters
    ----------
    options : mapping
        ``"columns"``: a `PathMap`, or the path of one.
    path : Path
        The file to be read.
    listing : callable
        Says what it holds, for the message when there is no map.

    Raises
    ------
    FileUnreadable
        There is none: what the arrays are is asked for, not guessed.
    """
    given = options.get("columns")
    found: PathMap | None = given if isinstance(given, PathMap) else None
    if isinstance(given, (str, Path)) and is_path_map(Path(given)):
        found = load_path_map(Path(given))
    if found is None or not found.serves(path):
        raise FileUnreadable(
            f"nothing says which of its arrays are channels, and when they were sampled; it holds {listing()}",
            path=path,
            todo="Give a path map with --columns: a TOML file with a [[signal]] table for each channel",
        )
    return found
