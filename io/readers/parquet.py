"""Parquet tables, where the package pyarrow is installed.

What a column is, which one holds the times and how they count is found out, or told by a column map, as for
delimited text: the names and the first rows are laid out by the same rules (`layout`), and even rows become
segments (`table_times`). Only types are known here and need not be found out.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from io import StringIO
from pathlib import Path
from typing import Any, Final

import numpy as np

from ..errors import FileUnreadable
from ..recording import FloatArray, RecordedChannel, Recording
from . import Claim, Reader, sha256
from .column_map import ColumnMap, FileTable, TimeTable, map_of
from .layout import Column, Layout, find_layout
from .names import slug
from .path_channels import MOST_STAMPS, step_back
from .quoting import quoted, shown
from .spool import Float32Array, Spool, Stamps, tally
from .stamps import RowTimes
from .steps import Step, step_of
from .table_channels import channels_of
from .table_rows import TableRows
from .table_times import even_pieces, start_of, times_of
from .text_stamps import BadStamp, TextStamps

_MARK = b"PAR1"
_HEAD_ROWS = 200  # that the layout is found out from
_CHUNK_ROWS = 1 << 17
_MOST_COLUMNS = 4096
_UNIT_WORDS: Final = (b"unit", b"units")
_UNIT_NS: Final = {"s": 10**9, "ms": 10**6, "us": 10**3, "ns": 1}
_AGAIN = "Copy the file again, or export it anew"


def claims(path: Path, head: bytes) -> Claim:
    """Parquet begins with its mark."""
    return Claim.MINE if head[:4] == _MARK or path.suffix.lower() in READER.suffixes else Claim.NOT_MINE


def read(path: Path, options: Mapping[str, Any]) -> Sequence[Recording]:
    """Read one table: one recording.

    Parameters
    ----------
    path : Path
        The file.
    options : mapping
        ``"columns"``: a `ColumnMap`, or the path of one, or None; ``"progress"`` and ``"cancelled"`` as for
        delimited text.

    Raises
    ------
    FileUnreadable
        pyarrow is not installed, the file is damaged, or its columns need a column map.
    Cancelled
        When asked to stop.
    """
    told = map_of(options, path) or ColumnMap()
    with _opened(path) as file:
        table = _Table(path, file, told)
        rows = table.rows(step_of(path, options))
    time = told.time or TimeTable()
    layout = table.layout
    times = times_of(path, layout, rows, time)
    rows.stamps = None  # a long table has many; their ticks are kept
    _refuse_disorder(path, layout, times)
    pieces = even_pieces(path, times, time)
    set_aside = [*layout.set_aside, *rows.set_aside]
    channels = channels_of(path, rows, times, pieces, set_aside, time.uneven)
    if not channels:
        raise FileUnreadable("no column holds a value", path=path, todo="Export it again, or take it out")
    start, dated = start_of(times, time)
    return [
        Recording(
            name=slug(path.stem, "table"),
            reader=READER.name,
            files=((path.name, sha256(path)),),
            channels=tuple(channel for channel, _ in channels),
            first_stamp=start,
            dated=dated,
            set_aside=tuple(set_aside),
            about=_about(layout, times, table.is_universal, channels),
        )
    ]


def _about(
    layout: Layout, times: RowTimes, is_universal: bool, channels: list[tuple[RecordedChannel, str]]
) -> dict[str, str]:
    about = {
        "format": "Parquet",
        "rows": f"{times.count}",
        "time": "by rate"
        if layout.time is None
        else f"{layout.time_kind} in column {shown(layout.time_label)}",
    }
    if is_universal or layout.time_kind.startswith("epoch"):
        about["clock"] = "universal time"
    return about | {f"identity:{channel.key}": identity for channel, identity in channels if identity}


def _refuse_disorder(path: Path, layout: Layout, times: RowTimes) -> None:
    back = step_back(times)
    if back is not None:
        raise FileUnreadable(
            f"the times are in disorder: they go back {back[1]} times; expected rows in order of time, or a clock "
            "that was set back now and then",
            path=path,
            place=f"row {back[0] + 1}, column {shown(layout.time_label)}",
            todo="Sort the rows by time, or say in a column map which column holds the times",
        )


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """The file as pyarrow's; what it stumbles over is told."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as cause:
        raise FileUnreadable(
            "Parquet needs the package pyarrow, which is not installed",
            path=path,
            todo='Install it with: pip install "afterclamp[parquet]"; or export the table as CSV',
        ) from cause
    try:
        with path.open("rb") as raw, pq.ParquetFile(raw) as file:
            yield file
    except (
        pa.ArrowException,
        OSError,
        ValueError,
        ArithmeticError,
        LookupError,
        TypeError,
        AttributeError,
        RuntimeError,
        MemoryError,
    ) as cause:
        reason = getattr(cause, "strerror", None) or shown(cause, 120) or type(cause).__name__
        raise FileUnreadable(f"it cannot be read as Parquet ({reason})", path=path, todo=_AGAIN) from cause


class _Table:
    """A table being read: its layout from its names, types and first rows, then its rows in chunks."""

    def __init__(self, path: Path, file: Any, told: ColumnMap) -> None:
        self.path = path
        self._file = file
        self._schema = file.schema_arrow
        self._count = file.metadata.num_rows
        self._refuse_size()
        self.layout = self._find_layout(told)
        self._text_stamps: TextStamps | None = None

    def _wrong(self, what: str, place: str = "", todo: str = _AGAIN) -> FileUnreadable:
        return FileUnreadable(what, path=self.path, place=shown(place), todo=todo)

    def _refuse_size(self) -> None:
        names = list(self._schema.names)
        if len(names) > _MOST_COLUMNS:
            raise self._wrong(f"it has {len(names)} columns; up to {_MOST_COLUMNS} can be read")
        double = next((name for name in names if names.count(name) > 1), None)
        if double is not None:
            raise self._wrong(
                f"two columns are called {quoted(double)}", todo="Give each column a name of its own"
            )
        if self._count < 1:
            raise self._wrong("it holds no rows", todo="Export it again, or take it out")
        if self._count > MOST_STAMPS:
            raise self._wrong(
                f"it holds {self._count} rows; up to {MOST_STAMPS} can be read", todo="Export it in parts"
            )

    # Layout

    def _find_layout(self, told: ColumnMap) -> Layout:
        """Names and first rows written as text, since the rules for tables are rules for texts."""
        first = next(self._file.iter_batches(batch_size=_HEAD_ROWS), None)
        if first is None:
            raise self._wrong(f"it claims {self._count} rows and holds none")
        columns = [
            first.column(index).to_pylist() if self._kind(index) else [None] * first.num_rows
            for index in range(len(self._schema.names))
        ]
        text = StringIO()
        writer = csv.writer(text)
        writer.writerow([self._header(index) for index in range(len(columns))])
        writer.writerows([_cell(value) for value in row] for row in zip(*columns, strict=True))
        written = FileTable(
            separator=",",
            decimal=".",
            encoding="utf-8",
            header_rows=1,
            missing=told.file.missing,
            zero_is_missing=told.file.zero_is_missing,
        )
        layout = find_layout(
            self.path, text.getvalue().encode(), True, told.model_copy(update={"file": written})
        )
        kept: list[Column] = []
        left: list[Column] = []
        for column in layout.columns:
            (kept if self._kind(column.index) == "number" else left).append(column)
        if not kept:
            raise self._wrong(
                "there is no column of numbers in this table", todo="Take the file out, or export it anew"
            )
        aside = tuple(
            f"{self.path.name}, column {one.label}: not of numbers ({self._schema.types[one.index]})"
            for one in left
        )
        if layout.time is not None and self._is_zoned(layout.time):
            layout = replace(layout, time_kind="epoch_s")  # with a zone they are instants
        return replace(layout, columns=tuple(kept), set_aside=layout.set_aside + aside)

    @property
    def is_universal(self) -> bool:
        """Whether its times carry a zone, and so are instants."""
        return self.layout.time is not None and self._is_zoned(self.layout.time)

    def _is_zoned(self, index: int) -> bool:
        return bool(getattr(self._schema.types[index], "tz", None))

    def _kind(self, index: int) -> str:
        """``"number"``, ``"stamp"`` (instant, time of day or duration), ``"text"``; empty for what is not read."""
        import pyarrow.types as types

        of_column = self._schema.types[index]
        if types.is_dictionary(of_column):
            of_column = of_column.value_type
        if any(
            test(of_column)
            for test in (types.is_integer, types.is_floating, types.is_decimal, types.is_boolean)
        ):
            return "number"
        if any(test(of_column) for test in (types.is_timestamp, types.is_time, types.is_duration)):
            return "stamp"
        return (
            "text"
            if any(t(of_column) for t in (types.is_string, types.is_large_string, types.is_date))
            else ""
        )

    def _header(self, index: int) -> str:
        """Name of a column, with the unit that stands beside it in the file or in its type."""
        import pyarrow.types as types

        field = self._schema.field(index)
        beside = field.metadata or {}
        unit = next((beside[word].decode("utf-8", "replace") for word in _UNIT_WORDS if word in beside), "")
        if types.is_duration(field.type):
            unit = "s"
        name = " ".join(str(field.name).split())
        return f"{name} [{unit}]" if unit and "[" not in name else name

    # Rows

    def rows(self, step: Step) -> TableRows:
        """Read all rows. Raises `FileUnreadable` for a row without a time."""
        layout = self.layout
        spool, stamps = Spool(len(layout.columns)), Stamps()
        # A clock with its dates in a column beside it is read as text, whatever its type.
        if layout.time is not None and (layout.date is not None or self._kind(layout.time) == "text"):
            self._text_stamps = TextStamps(layout.time_kind, layout.date_order)
        table = TableRows(0, None, self._text_stamps, list(layout.columns), spool)
        used = [column.index for column in layout.columns]
        used += [index for index in (layout.time, layout.date) if index is not None]
        names = [self._schema.names[index] for index in dict.fromkeys(used)]
        for batch in self._file.iter_batches(batch_size=_CHUNK_ROWS, columns=names):
            if layout.time is not None:
                seconds = self._stamps(batch.column(self._schema.names[layout.time]), table.rows)
                stamps.add(seconds, (table.rows + batch.num_rows) / self._count)
            if layout.date is not None:
                texts = [_cell(value) for value in batch.column(self._schema.names[layout.date]).to_pylist()]
                self._guard(partial(table.add_days, texts, table.rows), table.rows, layout.date_label)
            spool.add([tally(self._numbers(batch, column)) for column in layout.columns])
            table.rows += batch.num_rows
            step(min(1.0, table.rows / self._count))
        if table.rows != self._count:
            raise self._wrong(f"it claims {self._count} rows and holds {table.rows}")
        if layout.time is not None:
            table.stamps = stamps.array()
        return table

    def _guard(self, work: Callable[[], Any], before: int, label: str) -> Any:
        try:
            return work()
        except BadStamp as cause:
            raise self._no_time(before + cause.row, label, cause.text) from cause

    def _no_time(self, row: int, label: str, text: str) -> FileUnreadable:
        return self._wrong(
            f"found {quoted(text)} as a time" if text else "this row has no time",
            f"row {row + 1}, column {label}",
            "Correct this row, or take it out",
        )

    def _stamps(self, column: Any, before: int) -> FloatArray:
        import pyarrow as pa

        label = self.layout.time_label
        if column.null_count:
            row = int(np.argmax(column.is_null().to_numpy(zero_copy_only=False)))
            raise self._no_time(before + row, label, "")
        if self._text_stamps is not None:
            texts = [_cell(value) for value in column.to_pylist()]
            seconds: FloatArray = self._guard(partial(self._text_stamps.read, texts), before, label)
            return seconds
        if hasattr(column.type, "unit"):
            wide = pa.int32() if column.type.bit_width == 32 else pa.int64()
            ticks = column.cast(wide).to_numpy(zero_copy_only=False).astype(np.int64)
            return np.asarray(ticks / (10**9 // _UNIT_NS[column.type.unit]), dtype=np.float64)
        numbers = _floats(column)
        bad = ~np.isfinite(numbers)
        if bad.any():
            raise self._no_time(before + int(np.argmax(bad)), label, "")
        return numbers

    def _numbers(self, batch: Any, column: Column) -> Float32Array:
        values = _floats(batch.column(self._schema.names[column.index]))
        marks = [float(text) for text in column.missing if _is_float(text)]
        if column.zero_is_missing:
            marks.append(0.0)
        if marks:
            values = np.where(np.isin(values, marks), np.nan, values)
        with np.errstate(over="ignore", invalid="ignore"):
            return values.astype(np.float32)


def _floats(column: Any) -> FloatArray:
    """Numbers of a column, NaN where there is none."""
    import pyarrow as pa

    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if pa.types.is_boolean(column.type):
        column = column.cast(pa.uint8())
    return np.asarray(
        column.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False), dtype=np.float64
    ).copy()


def _is_float(text: str) -> bool:
    try:
        return bool(np.isfinite(float(text)))
    except ValueError:
        return False


def _cell(value: Any) -> str:
    """A value as it would stand in a table of texts."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.replace(tzinfo=None).isoformat(sep=" ")[:26]
    if isinstance(value, (date, time)):
        return value.isoformat()[:15]
    if isinstance(value, timedelta):
        return repr(value.total_seconds())
    if isinstance(value, (bool, int, float, Decimal)):
        return repr(float(value))
    return str(value)


READER = Reader("Parquet", (".parquet",), claims, read)
