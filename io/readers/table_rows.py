"""The rows of a table, read once in pieces: stamps stay in memory, numbers wait in a temporary file.

pandas' C parser is quick but silent: a row that is too short is filled up, one that is too long is cut. So the
separators of each piece are counted, and rows are only gone through one by one (`row_checks`) where the count is
off or where the parser stumbled, to name the line.
"""

from __future__ import annotations

import io
import re
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..errors import FileUnreadable
from ..recording import FloatArray
from .cells import MISSING
from .layout import Column, Layout
from .quoting import shown
from .row_bytes import Piece, QuoteOpen, RowBytes
from .row_checks import odd_length, refuse_odd_length, refuse_open_quote, refuse_stamp, text_columns
from .spool import Float32Array, Spool, Stamps, Tally, tally
from .steps import Step
from .text_stamps import BadStamp, TextStamps

if TYPE_CHECKING:
    import pandas as pd

_LARGE = 8 << 20
_KEPT = 31 << 20  # just under what glibc still learns from
_SIDE_BY_SIDE = 2  # pieces that are taken apart at once


@dataclass
class TableRows:
    """What was read.

    Attributes
    ----------
    rows : int
        Rows that hold something.
    stamps : ndarray of float64 or None
        One a row, in the unit of the layout's time; None where the table has no time column.
    text_stamps : TextStamps or None
        How clock texts were written.
    days : list of (int, float)
        Of a column of dates: the row at which each begins, and seconds from 1970 to its midnight.
    columns : list of Column
        The columns of the spool, in its order.
    blank : list of int
        Rows of the file that hold neither a time nor a number, counted from 0; they are left out.
    """

    rows: int
    stamps: FloatArray | None
    text_stamps: TextStamps | None
    columns: list[Column]
    spool: Spool
    days: list[tuple[int, float]] = field(default_factory=list)
    blank: list[int] = field(default_factory=list)
    sha256: str = ""
    set_aside: list[str] = field(default_factory=list)

    def add_days(self, texts: Sequence[Any], row: int) -> None:
        """Dates of the rows from `row` on. Raises `BadStamp`."""
        assert self.text_stamps is not None  # dates stand beside clocks
        days = self.text_stamps.days(texts)
        changes = np.flatnonzero(np.diff(days, prepend=self.days[-1][1] if self.days else np.nan) != 0)
        self.days += [(row + change, float(days[change])) for change in changes.tolist()]

    def row_of_file(self, row: int) -> int:
        """Which row of the file, blank ones counted, a row is."""
        for blank in self.blank:
            if blank > row:
                break
            row += 1
        return row


def read_rows(path: Path, layout: Layout, step: Step) -> TableRows:
    """Read all rows.

    Raises
    ------
    FileUnreadable
        A row of another length, a text among numbers, a row without a time; the line is named.
    CannotWrite
        No room for the temporary file.
    """
    columns = list(layout.columns)
    set_aside: list[str] = []
    try:
        table = _Parser(path, layout, columns).read(step)
    except _NotANumber:
        # Slow, but only where something is wrong: which cell, or is it a column of text after all?
        refuse_odd_length(path, layout)
        texts = text_columns(path, layout, columns)
        set_aside += [
            f"{path.name}, column {column.label}: a column of text, not of numbers" for column in texts
        ]
        columns = [column for column in columns if column not in texts]
        if not columns:
            raise FileUnreadable(
                "there is no column of numbers in this table",
                path=path,
                todo="Take the file out, or say what it is in a column map",
            ) from None
        try:
            table = _Parser(path, layout, columns).read(step)
        except _NotANumber as cause:
            raise FileUnreadable(
                f"a number in this table cannot be read ({shown(cause.__cause__)})",
                path=path,
                todo="Export it again with plain numbers",
            ) from cause
    if table.blank:
        set_aside.append(f"{path.name}: {len(table.blank)} rows without a time and without a value")
    table.set_aside = set_aside
    return table


class _NotANumber(Exception):
    """The parser met a text where a number was due; it does not say where."""


class _Bytes:
    """What pandas reads from: bytes that are UTF-8 already, so that it need not make texts of them first."""

    mode = "r"

    def __init__(self, data: bytes) -> None:
        self.read = io.BytesIO(data).read

    def __iter__(self) -> _Bytes:
        return self

    def __next__(self) -> bytes:
        raise StopIteration


@dataclass(frozen=True, slots=True)
class _Apart:
    """A piece that was taken apart: all that can be done without knowing the pieces before it.

    Attributes
    ----------
    rows : int
        Rows of the file in it.
    kept : ndarray or None
        Which of them hold something; None: all.
    times, days : list or ndarray
        Of the rows that are kept: texts or numbers; texts of a column of dates. Empty where there is none.
    columns : list of Tally
        Of the rows that are kept.
    odd : bool
        Whether some row has another number of cells than the others.
    """

    rows: int
    kept: NDArray[np.intp] | None
    times: Any
    days: list[Any]
    columns: list[Tally]
    odd: bool

    def row(self, number: int) -> int:
        """Which row of the piece the kept row `number` is."""
        return number if self.kept is None else int(self.kept[number])


class _Parser:
    """One reading of the file."""

    def __init__(self, path: Path, layout: Layout, columns: list[Column]) -> None:
        self.path = path
        self.layout = layout
        self.columns = columns
        self.texts = (
            TextStamps(layout.time_kind, layout.date_order)
            if layout.time is not None and layout.time_kind in ("clock", "datetime")
            else None
        )
        self.dtypes: dict[int, Any] = {column.index: np.float32 for column in columns}
        self.missing = {column.index: list(column.missing) for column in columns}
        for index in (layout.time, layout.date):
            if index is not None:
                self.dtypes[index] = object if self.texts is not None else np.float64
                self.missing[index] = list(MISSING)
        self.rows_of_file = 0
        self.stamps = Stamps()
        self.table = TableRows(0, None, self.texts, list(columns), Spool(len(columns)))

    def read(self, step: Step) -> TableRows:
        pieces = RowBytes(self.path, self.layout.encoding, self.layout.skip_lines)
        if pieces.size > _LARGE:
            # The C library gives freed blocks back to the system, and clearing them anew for each piece took as
            # long as the parsing; having once freed a block of this size, it keeps them.
            np.empty(_KEPT, np.uint8)
        try:
            for piece, apart in self._pieces_apart(pieces):
                self._take(piece, apart)
                step(piece.share)
        except QuoteOpen as cause:
            refuse_open_quote(self.path, self.layout, cause)
        if not self.table.rows:
            raise FileUnreadable(
                "there is a header but no row under it", path=self.path, todo="Export it again"
            )
        if self.layout.time is not None:
            self.table.stamps = self.stamps.array()
        self.table.sha256 = pieces.sha256
        return self.table

    def _pieces_apart(self, pieces: Iterable[Piece]) -> Iterator[tuple[Piece, _Apart]]:
        """Each piece in order, taken apart: some side by side, since the parser lets go of the interpreter."""
        waiting: deque[tuple[Piece, Future[_Apart]]] = deque()
        with ThreadPoolExecutor(_SIDE_BY_SIDE) as workers:
            try:
                for piece in pieces:
                    waiting.append((piece, workers.submit(self._take_apart, piece)))
                    if len(waiting) > _SIDE_BY_SIDE:
                        first, parsing = waiting.popleft()
                        yield first, parsing.result()
                while waiting:
                    first, parsing = waiting.popleft()
                    yield first, parsing.result()
            finally:
                for _, parsing in waiting:
                    parsing.cancel()

    # In the threads

    def _take_apart(self, piece: Piece) -> _Apart:
        try:
            frame = self._frame(piece.data)
        except _NotANumber:
            tidy = self._without_spaces(piece)
            if tidy is None:
                raise
            frame = self._frame(tidy)
        columns = [self._values(frame, column) for column in self.columns]
        kept = None
        times: Any = []
        days: list[Any] = []
        time, date = self.layout.time, self.layout.date
        if time is not None:
            times = frame[time].to_numpy()
            empty = np.isnan(times) if self.texts is None else frame[time].isna().to_numpy()
            if empty.any():
                empty = empty & np.logical_and.reduce([np.isnan(values) for values in columns])
                kept = np.flatnonzero(~empty)
                times, columns = times[kept], [values[kept] for values in columns]
        if date is not None:
            days = (frame[date] if kept is None else frame[date].iloc[kept]).tolist()
        return _Apart(
            rows=len(frame),
            kept=kept,
            times=times.tolist() if self.texts is not None else times,
            days=days,
            columns=[tally(values) for values in columns],
            odd=self._has_odd_length(piece, frame),
        )

    def _without_spaces(self, piece: Piece) -> bytes | None:
        """The piece without spaces at the end of cells; None if there are none. They hide a "---"."""
        separator = re.escape(self.layout.separator.encode())
        if piece.quoted or self.layout.separator == " ":
            return None
        tidy = re.sub(rb" +(?=%b|[\r\n]|$)" % separator, b"", piece.data)
        return tidy if len(tidy) < len(piece.data) else None

    def _frame(self, data: bytes) -> pd.DataFrame:
        import pandas as pd

        layout = self.layout
        separator = layout.separator.encode()
        spaced = b" " in data and (
            data.startswith(b" ") or separator + b" " in data or b"\n " in data or b"\r " in data
        )
        try:
            with np.errstate(over="ignore"):  # a number that no float32 holds is no finite one
                frame: pd.DataFrame = pd.read_csv(
                    _Bytes(data),  # type: ignore[call-overload, unused-ignore]
                    sep=r"\s+" if layout.separator == " " else layout.separator,
                    decimal=layout.decimal,
                    header=None,
                    names=list(range(layout.count)),
                    usecols=sorted(self.dtypes),
                    index_col=False,
                    dtype=self.dtypes,
                    na_values=self.missing,
                    keep_default_na=False,
                    skipinitialspace=spaced,  # costs a third of the time, so only where there is one
                    engine="c",
                    low_memory=False,
                )
                return frame
        except pd.errors.EmptyDataError:
            return pd.DataFrame({index: np.empty(0, dtype) for index, dtype in self.dtypes.items()})
        except pd.errors.ParserError as cause:
            refuse_open_quote(self.path, layout, cause)
        except UnicodeDecodeError:
            raise
        except (ValueError, OverflowError) as cause:
            raise _NotANumber from cause

    def _values(self, frame: pd.DataFrame, column: Column) -> Float32Array:
        values: Float32Array = frame[column.index].to_numpy()
        return np.where(values == 0, np.float32(np.nan), values) if column.zero_is_missing else values

    def _has_odd_length(self, piece: Piece, frame: pd.DataFrame) -> bool:
        """Whether a row was filled up or cut."""
        layout = self.layout
        last = layout.count - 1
        # Without a missing value at its end no row is short, and a longer one shows in the count.
        if (
            not piece.quoted
            and layout.separator != " "
            and last in frame
            and not frame[last].isna().any()
            and piece.data.count(layout.separator.encode()) == last * len(frame)
        ):
            return False
        return odd_length(piece.data, layout, piece.quoted)

    # In order

    def _take(self, piece: Piece, apart: _Apart) -> None:
        if apart.odd:
            refuse_odd_length(self.path, self.layout)
        before = self.rows_of_file
        self.rows_of_file += apart.rows
        if apart.kept is not None:
            self.table.blank += (np.setdiff1d(np.arange(apart.rows), apart.kept) + before).tolist()
        try:
            self._take_times(apart, before, piece.share)
        except BadStamp as bad:
            refuse_stamp(self.path, self.layout, before + apart.row(bad.row), bad)
        if apart.columns and len(apart.columns[0].values):
            self.table.spool.add(apart.columns)
        self.table.rows += apart.rows if apart.kept is None else len(apart.kept)

    def _take_times(self, apart: _Apart, before: int, share: float) -> None:
        if self.layout.time is None:
            return
        if self.texts is None:
            wrong = ~np.isfinite(apart.times)
            if wrong.any():
                refuse_stamp(self.path, self.layout, before + apart.row(int(np.argmax(wrong))))
            self.stamps.add(apart.times, share)
            return
        self.stamps.add(self.texts.read(apart.times), share)
        if self.layout.date is not None and apart.days:
            self.table.add_days(apart.days, self.table.rows)
