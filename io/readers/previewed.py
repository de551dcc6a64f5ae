"""What a preview of a table holds; see `preview`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from ..terms import Identity
from .column_map import ColumnMap, TimeKind
from .dates import DateOrder

Role = Literal["time", "date", "channel", "left out"]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: as written, and the number that is read; None where there is none."""

    written: str
    value: float | None


@dataclass(frozen=True, slots=True)
class PreviewColumn:
    """One column of the table.

    Attributes
    ----------
    number : int
        From 1; what a column map calls it unless by its header.
    header : str
        As written; empty where there is none.
    label, unit_as_written : str
        What is kept with the channel.
    unit : str or None
        What the written unit means, in UCUM; None where none is written or it is not known.
    identity : Identity
        Told by the map, else proposed from the label and the unit.
    role : str
        ``"time"``, ``"date"``, ``"channel"`` or ``"left out"``.
    told : bool
        Whether `identity` is the map's word.
    cells : tuple of Cell
        Of the first rows.
    """

    number: int
    header: str
    label: str
    unit_as_written: str
    unit: str | None
    identity: Identity
    role: Role
    told: bool
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class PreviewTimes:
    """The times of the rows.

    Attributes
    ----------
    kind : str
        What the cells are, as in a column map.
    date_order : str or None
        Order of day, month and year; None where no date needs one.
    first_written, last_written : str
        Cells of the first and the last row of the file, the date in front where it has its own column.
    first, last : datetime or None
        What the clock said then; None where the times say no clock. Without a date the day is 2000-01-01.
    dated : bool
        Whether the date was written.
    duration_s : float or None
        From the first to the last row, by their stamps alone.
    interval_s : float or None
        Between rows: of their exact rate where they are even, else the median of the first ones.
    even : bool
        Whether the first rows are even.
    seconds : tuple of float
        Seconds of the first rows since the first.
    """

    kind: TimeKind
    date_order: DateOrder | None
    first_written: str
    last_written: str
    first: datetime | None
    last: datetime | None
    dated: bool
    duration_s: float | None
    interval_s: float | None
    even: bool
    seconds: tuple[float, ...]


@dataclass(frozen=True)
class Preview:
    """What the reader would make of a table.

    Attributes
    ----------
    separator, decimal, encoding : str
        ``"semicolon"``, ``","``, ``"utf-8"``; empty where they could not be found.
    header : tuple of tuple of str
        Rows of the header: none, names, or names and units.
    above : int
        Lines above the header that are no part of the table.
    columns : tuple of PreviewColumn
        All of them, from the first.
    times : PreviewTimes or None
        None where there are none, or they cannot be read.
    rows : int
        About how many rows the file has.
    errors : tuple of str
        What keeps the file from being read with these choices; none: it can be brought in, as far as its
        first and last lines show.
    warnings : tuple of str
        What a person should look at.
    proposal : ColumnMap
        Everything that was told or found, to be changed, written by `to_toml`, and used again.
    """

    path: Path
    separator: str
    decimal: str
    encoding: str
    header: tuple[tuple[str, ...], ...]
    above: int
    columns: tuple[PreviewColumn, ...]
    times: PreviewTimes | None
    rows: int
    errors: tuple[str, ...]
    warnings: tuple[str, ...]
    proposal: ColumnMap
