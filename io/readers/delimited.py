"""Delimited text: a table of numbers with a time a row, separated by commas, semicolons, tabs or spaces.

What can be seen is found out (separator, decimal comma, encoding, one or two header rows, the time column);
what cannot be seen without guessing is told by a column map (`column_map`). Even rows become segments with
their exact rate, whatever their stamps were rounded to; one row per change keeps its stamps.

A backward step of the clock starts a new run. Times are refused as disordered when they go back more than
once and either more than one row in fifty goes back or a run between two steps has fewer than ten rows:
no clock is set back that often.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import FileUnreadable
from ..recording import Block, RecordedChannel, Recording
from . import Claim, Reader
from .cells import CLOCK, DATETIME, MISSING, is_number
from .column_map import ColumnMap, map_of, start_stamp
from .even_rows import Piece, RateDoesNotFit, pieces_of
from .layout import Layout, find_layout, separator_of
from .names import slug, unique_keys
from .plain_text import SEPARATORS, head_text, rows_of
from .stamps import RowTimes, even_times, row_times
from .table_rows import Spool, TableRows, cells_of_row, read_rows

_HEAD = 1 << 16  # bytes that the layout is found out from
_ALWAYS = (".csv", ".tsv", ".tab")
_PERHAPS = (".txt", ".asc", ".dat", ".prn", ".log")
_DENSE = 0.6  # share of rows with a value from which on a column counts as sampled in every row
_LARGEST_SHARE_BACK = 1 / 50
_SHORTEST_RUN = 10


def claims(path: Path, head: bytes) -> Claim:
    """Files called tables are; other texts if most of their cells are numbers or times."""
    suffix = path.suffix.lower()
    if suffix in _ALWAYS:
        return Claim.MINE  # whatever is in it: `read` says what is wrong with it
    text = head_text(head, whole=len(head) < 4096) if suffix in _PERHAPS else None
    if text is None:
        return Claim.NOT_MINE
    lines = text.lstrip("\ufeff").split("\n")
    separator = separator_of(lines)
    rows = [cells for _, cells in rows_of(lines, separator)]
    later = [
        cell for cells in rows[len(rows) // 2 :] if len(cells) > 1 for cell in cells if cell not in MISSING
    ]
    like = sum(
        bool(is_number(c, ".") or is_number(c, ",") or CLOCK.fullmatch(c) or DATETIME.fullmatch(c))
        for c in later
    )
    return Claim.MINE if len(rows) > 1 and later and like > len(later) / 2 else Claim.NOT_MINE


def read(path: Path, options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read one table: one recording.

    Parameters
    ----------
    path : Path
        The file.
    options : mapping
        ``"columns"``: a `ColumnMap`, or the path of one, or None.

    Raises
    ------
    FileUnreadable
        Names line and column, what was found, what was expected and what to do.
    """
    told = map_of(options, path)
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
            whole = len(head) < _HEAD
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be opened ({cause.strerror})", path=path, todo="Check that it exists and may be read"
        ) from cause
    if not head.strip(b" \t\r\n\0\xef\xbb\xbf\xff\xfe"):
        raise FileUnreadable("the file is empty", path=path, todo="Export it again, or take it out")
    layout = find_layout(path, head, whole, told)
    try:
        table = read_rows(path, layout)
    except UnicodeDecodeError as cause:
        raise FileUnreadable(
            f"the text does not hold to its encoding {layout.encoding} (at {cause.object[cause.start : cause.end]!r})",
            path=path,
            todo='Save it as UTF-8, or give a column map with encoding = "latin-1" under [file]',
        ) from cause
    times = _times(layout, table, told)
    table.stamps = None  # a long table has many; their ticks are kept
    _refuse_disorder(path, layout, times)
    rate_hz = told.time.rate_hz if told is not None and told.time is not None else None
    try:
        pieces = pieces_of(times, rate_hz=rate_hz)
    except RateDoesNotFit as cause:
        raise FileUnreadable(
            f"the column map says {rate_hz:g} rows a second; the stamps say {cause.found_hz:.6g}",
            path=path,
            todo="Correct rate_hz in the column map, or the kind of its times",
        ) from None
    set_aside = [*layout.set_aside, *table.set_aside]
    channels = _channels(path, table, times, pieces, set_aside)
    if not channels:
        raise FileUnreadable("no column holds a value", path=path, todo="Export it again, or take it out")
    start, dated = _start(times, told)
    return [
        Recording(
            name=slug(path.stem, "table"),
            reader=READER.name,
            files=((path.name, table.sha256),),
            channels=tuple(channel for channel, _ in channels),
            first_stamp=start,
            dated=dated,
            set_aside=tuple(set_aside),
            about=_about(layout, times, pieces, channels),
        )
    ]


def _start(times: RowTimes, told: ColumnMap | None) -> tuple[datetime | None, bool]:
    """What the clock said at the first row: by the rows, else by the map."""
    if (
        times.first_stamp is None
        and told is not None
        and told.time is not None
        and told.time.start is not None
    ):
        stamp = start_stamp(told.time.start)
        if stamp is not None:
            return stamp
    return times.first_stamp, times.dated


def _times(layout: Layout, table: TableRows, told: ColumnMap | None) -> RowTimes:
    if table.stamps is None:
        # No time column: the map gave the rate, or it would have been refused.
        rate_hz = (
            told.time.rate_hz if told is not None and told.time is not None and told.time.rate_hz else 1.0
        )
        return even_times(table.rows, rate_hz)
    texts = table.text_stamps
    if texts is None:
        return row_times(table.stamps, layout.time_kind, None)
    return row_times(
        table.stamps, layout.time_kind, texts.decimals, texts.whole_minutes and not texts.has_seconds
    )


def _refuse_disorder(path: Path, layout: Layout, times: RowTimes) -> None:
    back = np.flatnonzero(np.diff(times.run)) + 1
    if len(back) < 2:
        return
    runs = np.diff(np.concatenate([back, [len(times.run)]]))[:-1]
    if len(back) <= _LARGEST_SHARE_BACK * len(times.run) and runs.min() >= _SHORTEST_RUN:
        return
    line, cells = cells_of_row(path, layout, int(back[0]))
    _, before = cells_of_row(path, layout, int(back[0]) - 1)
    column = layout.time or 0
    raise FileUnreadable(
        f"the times are in disorder: {cells[column]!r} follows {before[column]!r}, and they go back {len(back)} times "
        "in all; expected rows in order of time, or a clock that was set back now and then",
        path=path,
        place=f"line {line}, column {layout.time_label}",
        todo="Sort the rows by time, or say in a column map which column holds the times",
    )


# Channels


def _channels(
    path: Path,
    table: TableRows,
    times: RowTimes,
    pieces: tuple[Piece, ...],
    set_aside: list[str],
) -> list[tuple[RecordedChannel, str]]:
    """Each channel with what the map says that it is."""
    channels = []
    keys = unique_keys(column.label for column in table.columns)
    for number, (key, column) in enumerate(zip(keys, table.columns, strict=True)):
        valid = table.spool.valid[number]
        if table.spool.not_finite[number]:
            many = table.spool.not_finite[number]
            set_aside.append(f"{path.name}, column {column.label}: {many} values that are no finite number")
        if not valid:
            set_aside.append(f"{path.name}, column {column.label}: holds no value")
            continue
        every_row = bool(pieces) and valid >= _DENSE * table.rows
        if every_row:
            rows, own, stamps = None, pieces, None
        else:
            rows = np.flatnonzero(~np.isnan(np.concatenate(list(table.spool.column(number)))))
            own = pieces_of(times, rows)
            stamps = None if own else times.seconds(rows)
        channel = RecordedChannel(
            key=key,
            label=column.label,
            unit_as_written=column.unit,
            dtype=np.dtype(np.float32),
            count=table.rows if rows is None else valid,
            blocks=partial(_blocks, table.spool, number, every_row),
            segments=tuple(piece.segment() for piece in own),
            times=stamps,
            runs=None if rows is None or stamps is None else times.run[rows],
        )
        channels.append((channel, column.identity))
    return channels


def _blocks(spool: Spool, number: int, every_row: bool) -> Iterator[Block]:
    for values in spool.column(number):
        there = ~np.isnan(values)
        if every_row:
            yield (
                Block(values, None) if there.all() else Block(np.where(there, values, np.float32(0.0)), there)
            )
        elif there.any():
            yield Block(values[there])


def _about(
    layout: Layout, times: RowTimes, pieces: tuple[Piece, ...], channels: list[tuple[RecordedChannel, str]]
) -> dict[str, str]:
    about = {
        "separator": SEPARATORS.get(layout.separator, layout.separator),
        "decimal sign": "comma" if layout.decimal == "," else "point",
        "encoding": layout.encoding,
        "time": "by rate" if layout.time is None else f"{layout.time_kind} in column {layout.time_label}",
        "rows": f"{times.count}, "
        + (f"even, {pieces[0].rate_hz:.6g} a second, {len(pieces)} pieces" if pieces else "uneven"),
    }
    back = np.flatnonzero(np.diff(times.run)) + 1
    if len(back):
        # An even row would have come one interval after the one before.
        interval = 1.0 / pieces[0].rate_hz if pieces else 0.0
        steps = (times.seconds(back - 1) - times.seconds(back) + interval).tolist()
        about["clock set back"] = "; ".join(
            f"before row {row + 1} by {step:g} s" for row, step in zip(back.tolist(), steps, strict=True)
        )
    if layout.time_kind.startswith("epoch"):
        about["clock"] = "universal time"
    for channel, identity in channels:
        if identity:
            about[f"identity:{channel.key}"] = identity
    return about


READER = Reader("delimited text", (*_ALWAYS, *_PERHAPS), claims, read)
