"""Delimited text: a table of numbers with a time a row, separated by commas, semicolons, tabs or spaces.

What can be seen is found out (separator, decimal comma, encoding, one or two header rows, the time column);
what cannot be seen without guessing is told by a column map (`column_map`). Even rows become segments with
their exact rate, whatever their stamps were rounded to; one row per change keeps its stamps.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from ..errors import FileUnreadable
from ..recording import RecordedChannel, Recording
from . import Claim, Reader
from .cells import CLOCK, DATETIME, MISSING, is_number
from .column_map import TimeTable, map_of
from .even_rows import Piece
from .layout import Layout, find_layout
from .names import slug
from .plain_text import SEPARATORS, head_text, read_head, rows_of, separator_of
from .quoting import quoted
from .stamps import RowTimes, rows_before
from .steps import step_of
from .table_channels import channels_of
from .table_rows import read_rows
from .table_times import (
    even_pieces,
    refuse_disorder,
    rows_at_one_time,
    start_of,
    steps_in_doubt,
    times_of,
)

_ALWAYS = (".csv", ".tsv", ".tab")
_PERHAPS = (".txt", ".asc", ".dat", ".prn", ".log")

IN_DOUBT: Final = "steps in doubt"
"""Key of what a recording says about itself: steps of an hour or of half a day that only a person can settle."""

READ_OTHERWISE: Final = "steps read otherwise"
"""Key beside it: which of ``summer time ends``, ``summer time begins``, ``am``, ``pm`` would settle them."""


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
        ``"columns"``: a `ColumnMap`, or the path of one, or None. ``"progress"``: called with the share of the
        file that is read, 0 to 1. ``"cancelled"``: asked as often whether to stop.

    Raises
    ------
    FileUnreadable
        Names line and column, what was found, what was expected and what to do.
    Cancelled
        When asked to stop.
    """
    told = map_of(options, path)
    head, whole = read_head(path)
    layout = find_layout(path, head, whole, told)
    try:
        table = read_rows(path, layout, step_of(path, options))
    except UnicodeDecodeError as cause:
        raise FileUnreadable(
            f"the text does not hold to its encoding {layout.encoding} "
            f"(at {quoted(cause.object[cause.start : cause.end])})",
            path=path,
            todo='Save it as UTF-8, or give a column map with encoding = "latin-1" under [file]',
        ) from cause
    time = (told.time if told is not None else None) or TimeTable()
    times = times_of(path, layout, table, time)
    table.stamps = None  # a long table has many; their ticks are kept
    refuse_disorder(path, layout, times, table.row_of_file)
    pieces = even_pieces(path, times, time)
    set_aside = [*layout.set_aside, *table.set_aside]
    if not pieces:
        set_aside += [f"{path.name}: {remark}" for remark in rows_at_one_time(times)]
    channels = channels_of(path, table, times, pieces, set_aside, time.uneven)
    if not channels:
        raise FileUnreadable("no column holds a value", path=path, todo="Export it again, or take it out")
    start, dated = start_of(times, time)
    return [
        Recording(
            name=slug(path.stem, "table"),
            reader=READER.name,
            files=((path.name, table.sha256),),
            channels=tuple(channel for channel, _ in channels),
            first_stamp=start,
            dated=dated,
            set_aside=tuple(set_aside),
            about=_about(layout, times, pieces, channels, time),
        )
    ]


def _about(
    layout: Layout,
    times: RowTimes,
    pieces: tuple[Piece, ...],
    channels: list[tuple[RecordedChannel, str]],
    told: TimeTable,
) -> dict[str, str]:
    about = {
        "separator": SEPARATORS.get(layout.separator, layout.separator),
        "decimal sign": "comma" if layout.decimal == "," else "point",
        "encoding": layout.encoding,
        "time": "by rate" if layout.time is None else f"{layout.time_kind} in column {layout.time_label}",
        "rows": f"{times.count}, "
        + (f"even, {pieces[0].rate_hz:.6g} a second, {len(pieces)} pieces" if pieces else "uneven"),
    }
    if layout.date is not None:
        about["date"] = f"in column {layout.date_label}"
    if layout.date_order is not None:
        about["order of dates"] = layout.date_order
    back = rows_before(times.run, lambda changes: changes != 0) + 1
    if len(back):
        # An even row would have come one interval after the one before.
        interval = 1.0 / pieces[0].rate_hz if pieces else 0.0
        steps = (times.seconds(back - 1) - times.seconds(back) + interval).tolist()
        about["clock set back"] = "; ".join(
            f"before row {row + 1} by {step:g} s" for row, step in zip(back.tolist(), steps, strict=True)
        )
    if told.half_day is not None:
        about["dial"] = f"12 hours, the first row is {told.half_day}"
    if told.summer_time is not None:
        about["summer time"] = f"{told.summer_time} in this table; the hour is made good"
    if doubts := steps_in_doubt(layout, times, pieces, told):
        about[IN_DOUBT] = "; ".join(doubt.words for doubt in doubts)
        about[READ_OTHERWISE] = "; ".join(way for doubt in doubts for way in doubt.ways)
    if layout.time_kind.startswith("epoch"):
        about["clock"] = "universal time"
    for channel, identity in channels:
        if identity:
            about[f"identity:{channel.key}"] = identity
    return about


READER = Reader("delimited text", (*_ALWAYS, *_PERHAPS), claims, read)
