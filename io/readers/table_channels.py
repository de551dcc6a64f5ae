"""From the columns of a table to channels.

A column with a value in nearly every row is sampled as often as there are rows; one with a value now and then has
a rate of its own, or keeps the stamps of the rows in which it has one.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np

from ..recording import Block, RecordedChannel
from .even_rows import Piece, pieces_of
from .names import unique_keys
from .spool import Spool
from .stamps import RowTimes
from .table_rows import TableRows

_DENSE = 0.6  # share of rows with a value from which on a column counts as sampled in every row


def channels_of(
    path: Path,
    table: TableRows,
    times: RowTimes,
    pieces: tuple[Piece, ...],
    set_aside: list[str],
    uneven: bool,
) -> list[tuple[RecordedChannel, str]]:
    """Each channel of a table, with what the map says that it is.

    Parameters
    ----------
    path : Path
        For what is listed as set aside.
    table : TableRows
        Its numbers.
    times : RowTimes
        Of its rows.
    pieces : tuple of Piece
        Evenly spaced rows; none where they are uneven.
    set_aside : list of str
        Added to: values that are no numbers, columns without one.
    uneven : bool
        Whether rows keep their stamps even where these look even.
    """
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
            own = () if uneven else pieces_of(times, rows)
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
