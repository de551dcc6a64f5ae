"""A case, or a window of it, as CSV tables at the rates that its sources recorded.

RFC 4180 in UTF-8: a header row, then a row for each time, lines ended by CR LF. The first column is ``time_s``,
seconds of the reference clock; each other one is a channel under its label, with its UCUM unit in brackets (as
written where no UCUM unit is known). Channels share a table only where their samples stand at the same times, so
that nothing is resampled: one table for each source and rate, one more for each set of uneven rows. An empty cell
was not recorded.

Numbers are exact to a hundredth of the step of the source's codes or better, floating-point ones to their last
bit; times to a tenth of a microsecond. Where a clock that went back was never set, times go back as well.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ..case import Case
from ..channel import Channel
from ..errors import CannotWrite
from ..window import Span
from . import Course, Progress, chosen, new_file, window_of
from .pieces import Piece, code_dtype, pieces_of, read_codes

_ROWS = 1 << 16  # written at a time
_MOST_PLACES = 7
_WIDE = 1 << 17  # codes that a column's list of texts may span
_COMMA, _END = ord(","), b"\r\n"

Bytes = NDArray[np.uint8]


@dataclass
class _Table:
    """Channels that have a sample at each of the same times; bytes of 0 in what is written are no text."""

    name: str
    channels: list[Channel]
    rows: int
    pieces: list[list[Piece]] = field(default_factory=list)  # by channel
    times: NDArray[np.float64] | None = None  # of uneven rows


def write_tables(
    case: Case,
    folder: Path,
    *,
    span: Span | None = None,
    channels: Sequence[Channel | str] | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> list[Path]:
    """Write the samples of a case or of a window of it as CSV tables.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    folder : Path
        Made if it is not there; none of the tables may be in it.
    span : Span, optional
        In reference seconds; the whole case when None.
    channels : sequence of Channel or str, optional
        All that hold a sample in the window when None.
    progress : callable, optional
        ``progress(share, text)``.
    cancelled : callable, optional
        Asked every some ten thousand rows.

    Returns
    -------
    list of Path
        What was written: ``monitor-500hz.csv``, ``pump-every-10s.csv``, ``gases-rows.csv``.

    Raises
    ------
    CannotWrite
        When a table is there already, cannot be written, or the window is empty; none of them is left.
    Cancelled
        When asked to stop; none is left.
    """
    course = Course(folder, progress, cancelled)
    window = window_of(case, span, folder)
    tables = _tables(chosen(case, channels), window)
    if not tables:
        raise CannotWrite(
            "the chosen channels hold nothing in this window", path=folder, todo="Choose another window"
        )
    total, done = sum(table.rows for table in tables), 0
    written: list[Path] = []
    try:
        for table in tables:
            path = folder / table.name
            with new_file(path) as file:
                for rows in _write(file, table):
                    done += rows
                    course.at(done / total, f"writing {table.name}")
            written.append(path)
    except BaseException:
        for path in written:
            with suppress(OSError):
                path.unlink()
        raise
    course.done(f"{len(written)} tables written")
    return written


# What goes together


def _tables(channels: Sequence[Channel], window: Span) -> list[_Table]:
    found: dict[tuple[object, ...], _Table] = {}
    names: set[str] = set()

    def named(stem: str) -> str:
        name, number = f"{stem}.csv", 1
        while name in names:
            number += 1
            name = f"{stem}-{number}.csv"
        names.add(name)
        return name

    for channel in channels:
        pieces = pieces_of(channel, window)
        if pieces:
            key: tuple[object, ...] = (channel.source, *((one.t, one.dt, one.count) for one in pieces))
            if key not in found:
                rate = max(pieces, key=lambda one: one.count).rate_hz
                name = named(f"{channel.source}-{_rate_words(rate)}")
                found[key] = _Table(name, [], sum(one.count for one in pieces))
            found[key].channels.append(channel)
            found[key].pieces.append(pieces)
        elif not channel.segments_reference():
            times = channel.read(window.start, window.end).t
            if len(times):
                key = (channel.source, times.tobytes())
                if key not in found:
                    found[key] = _Table(named(f"{channel.source}-rows"), [], len(times), times=times)
                found[key].channels.append(channel)
    return list(found.values())


def _rate_words(rate_hz: float) -> str:
    return f"{rate_hz:.6g}hz" if rate_hz > 0.9999 else f"every-{1 / rate_hz:.6g}s"


def _header(channels: Sequence[Channel]) -> bytes:
    cells, taken = ["time_s"], {"time_s"}
    for channel in channels:
        stem, number = " ".join((channel.label or channel.key).split()), 1
        unit = channel.unit or channel.unit_as_written
        ending = f" [{unit}]" if unit else ""
        cell = stem + ending
        while cell in taken:
            number += 1
            cell = f"{stem} {number}{ending}"
        taken.add(cell)
        cells.append(cell)
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator=_END.decode()).writerow(cells)
    return out.getvalue().encode("utf-8")


# Rows


def _write(file: BinaryIO, table: _Table) -> Iterator[int]:
    file.write(_header(table.channels))
    if table.times is not None:
        yield from _write_uneven(file, table, table.times)
        return
    columns = [_Column(channel) for channel in table.channels]
    places = _time_places(table.pieces[0])
    for number, piece in enumerate(table.pieces[0]):
        for first in range(0, piece.count, _ROWS):
            many = min(_ROWS, piece.count - first)
            times = piece.t + np.arange(first, first + many, dtype=np.float64) * piece.dt
            cells = [
                column.cells(pieces[number], first, many)
                for column, pieces in zip(columns, table.pieces, strict=True)
            ]
            file.write(_joined(_fixed(times, places), cells))
            yield many


def _write_uneven(file: BinaryIO, table: _Table, times: NDArray[np.float64]) -> Iterator[int]:
    values = [
        channel.read(float(times[0]), math.nextafter(times[-1], math.inf)) for channel in table.channels
    ]
    for first in range(0, len(times), _ROWS):
        rows = slice(first, first + _ROWS)
        cells = [_texts(one.values[rows].astype(np.float32)) for one in values]
        file.write(_joined(_fixed(times[rows], _MOST_PLACES, trimmed=True), cells))
        yield len(times[rows])


class _Column:
    """Texts of one channel's samples."""

    def __init__(self, channel: Channel) -> None:
        self._channel = channel
        self._whole = code_dtype(channel).kind in "iu"
        self._listed: tuple[tuple[float, float], int, int] | None = None  # line, lowest and highest code
        self._list: Bytes = np.zeros((1, 1), np.uint8)

    def cells(self, piece: Piece, first: int, count: int) -> Bytes:
        """One row of bytes for each sample, filled up with 0; nothing but 0 where it was not recorded."""
        codes, missing = read_codes(self._channel, piece.first + first, count)
        if not self._whole:
            if (piece.scale, piece.offset) != (1.0, 0.0):
                codes = codes * piece.scale + piece.offset
            if missing is not None:
                codes = np.where(missing, np.nan, codes)
            return _texts(codes)
        there = codes if missing is None else codes[~missing]
        if not len(there):
            return np.zeros((count, 1), np.uint8)
        low, high = int(there.min()), int(there.max())
        if high - low > _WIDE:
            values = codes.astype(np.float64) * piece.scale + piece.offset
            return _texts(values if missing is None else np.where(missing, np.nan, values))
        index = np.clip(codes.astype(np.int64), low, high) - self._list_of(low, high, piece)
        if missing is not None:
            index[missing] = len(self._list) - 1
        return self._list[index]

    def _list_of(self, low: int, high: int, piece: Piece) -> int:
        """Make the list of texts reach from one code to the other at least; its last is empty."""
        line = piece.scale, piece.offset
        if self._listed is None or self._listed[0] != line:
            self._listed = None
        elif self._listed[1] <= low and high <= self._listed[2]:
            return self._listed[1]
        elif max(high, self._listed[2]) - min(low, self._listed[1]) <= _WIDE:
            low, high = min(low, self._listed[1]), max(high, self._listed[2])
        places = _code_places(*line)
        values = np.round(np.arange(low, high + 1) * piece.scale + piece.offset, places) + 0.0
        self._list = _bytes([*(f"{value:.{places}f}".encode() for value in values.tolist()), b""])
        self._listed = line, low, high
        return low


def _code_places(scale: float, offset: float) -> int:
    """Decimal places that tell codes apart exactly, or to a hundredth of a step."""
    enough = max(0, math.ceil(-math.log10(abs(scale)))) + 2
    for places in range(enough):
        tens = 10.0**places
        if all(abs(x * tens - round(x * tens)) < 1e-7 * max(1.0, abs(scale * tens)) for x in (scale, offset)):
            return places
    return enough


def _texts(values: NDArray[np.floating]) -> Bytes:
    """Numbers of any sort, each as short as it can be without losing a bit of it."""
    different, index = np.unique(values, return_inverse=True)
    return _bytes(
        [
            np.format_float_positional(value + 0, trim="-").encode() if np.isfinite(value) else b""
            for value in different
        ]
    )[index]


def _bytes(texts: Sequence[bytes]) -> Bytes:
    array = np.array(texts, dtype=bytes)
    return array.view(np.uint8).reshape(len(array), -1)


def _time_places(pieces: Sequence[Piece]) -> int:
    for places in range(_MOST_PLACES):
        tens = 10.0**places
        # What is left after all samples of a piece must still be nothing.
        if all(
            abs(one.t * tens - round(one.t * tens)) < 1e-3
            and abs(one.dt * tens - round(one.dt * tens)) * one.count < 1e-3
            for one in pieces
        ):
            return places
    return _MOST_PLACES


def _fixed(times: NDArray[np.float64], places: int, *, trimmed: bool = False) -> Bytes:
    """Times with so many decimal places, as rows of bytes filled up with 0."""
    ticks = np.rint(times * 10.0**places).astype(np.int64)
    rest = np.abs(ticks)
    digits = max(len(str(int(rest.max(initial=0)))), places + 1)
    point = 1 if places else 0
    out = np.zeros((len(ticks), 1 + digits + point), np.uint8)
    out[ticks < 0, 0] = ord("-")
    silent = np.ones(len(ticks), bool)  # zeros at the end that need not be written
    for k in range(digits):
        column = digits - k if k >= places else digits - k + point
        rest, digit = np.divmod(rest, 10)
        shown = digit + ord("0")
        if trimmed and k < places:
            silent &= digit == 0
            shown[silent] = 0
        if k > places:
            shown[(rest == 0) & (digit == 0)] = 0
        out[:, column] = shown
        if point and k == places - 1:
            out[:, column - 1] = np.where(silent & trimmed, 0, ord("."))
    return out


def _joined(times: Bytes, cells: Sequence[Bytes]) -> memoryview:
    rows = len(times)
    comma = np.full((rows, 1), _COMMA, np.uint8)
    end = np.broadcast_to(np.frombuffer(_END, np.uint8), (rows, 2))
    parts = [times]
    for cell in cells:
        parts += [comma, cell]
    table = np.concatenate([*parts, end], axis=1)
    return memoryview(table[table != 0])
