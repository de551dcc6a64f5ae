"""From a path map and the arrays that it names to channels, whatever the format of the file.

All times of a file are on one clock, whose second 0 is the earliest stamp. Stamps that are even but for their
rounding become segments of an exact rate, as those of tables do (`even_rows`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from ..errors import FileUnreadable
from ..recording import Block, FloatArray, RecordedChannel, Recording, Segment
from . import sha256
from .column_map import TimeKind, start_stamp
from .even_rows import Piece, RateDoesNotFit, pieces_of
from .names import slug, unique_keys
from .path_map import PathMap, Place, SignalTable, place_of
from .stamps import UNIT_S, RowTimes, row_times

MOST_STAMPS: Final = 50_000_000
"""A list of stamps is held in memory whole: so many and no more (24 hours of 500 a second are 43 million)."""

_EPOCH = datetime(1970, 1, 1)
_DATED: Final = ("epoch_s", "epoch_ms", "datenum")
_DATENUM_EPOCH = 719_529.0  # days from the zero of serial dates to 1970
_DATENUM_DECIMALS = 4  # of a second; a double holds today's serial dates to some ten microseconds
_LARGEST_SHARE_BACK = 1 / 50  # as for tables: no clock is set back more often
_SHORTEST_RUN = 10
_FAR_S = 1e10  # beyond is no time of a recording


@dataclass(frozen=True)
class Numbers:
    """A list of numbers in a file, handed over in pieces."""

    count: int
    dtype: np.dtype[Any]
    pieces: Callable[[], Iterator[NDArray[Any]]]


class Store(Protocol):
    """A file whose arrays are reached by path."""

    path: Path

    def numbers(self, place: Place, column: int | None = None, row: int | None = None) -> Numbers:
        """A list of numbers, or one column or row of a table. Raises `FileUnreadable`."""

    def scalar(self, place: Place) -> float:
        """One number, of an array or an attribute. Raises `FileUnreadable`."""


@dataclass(frozen=True)
class _Axis:
    """Stamps of samples: `times` count from the first, which is at `first_s` on the clock of the file."""

    times: RowTimes
    first_s: float


def recording_of(store: Store, told: PathMap, reader: str, about: Mapping[str, str]) -> Recording:
    """Read the arrays that a path map names.

    Raises
    ------
    FileUnreadable
        An array that is not there, is no list of numbers, or does not go with its times.
    """
    path = store.path
    dated = {signal.time_kind in _DATED for signal in told.signal if signal.times is not None}
    if len(dated) == 2:
        raise _wrong(
            path, "", "some of the times are dates and some are not", "Give maps that read them apart"
        )
    by_date = dated == {True}
    axes: dict[tuple[str, str], _Axis] = {}
    starts: list[float] = []
    for signal in told.signal:
        if signal.times is not None and signal.time_kind is not None:
            name = signal.times, signal.time_kind
            if name not in axes:
                axes[name] = _axis(store, place_of(signal.times), signal.time_kind)
                starts.append(axes[name].first_s)
        elif by_date and signal.start_s is None:
            raise _wrong(
                path,
                signal.path,
                "it has a rate but no times, and those of the others are dates",
                "Say with start_s how many seconds after the earliest of them its first sample was taken",
            )
        elif not by_date:
            starts.append(signal.start_s or 0.0)
    zero_s = min(starts)
    if abs(zero_s) > _FAR_S:
        raise _wrong(path, "", f"its times begin at {zero_s:g} s, which no clock says", "Correct time_kind")
    keys = unique_keys(signal.label for signal in told.signal)
    channels = tuple(
        _channel(store, signal, key, axes, zero_s, by_date)
        for signal, key in zip(told.signal, keys, strict=True)
    )
    stamp: datetime | None = _EPOCH + timedelta(seconds=zero_s) if by_date else None
    is_dated = by_date
    if stamp is None and told.time.start is not None:
        found = start_stamp(told.time.start)
        if found is not None:
            stamp, is_dated = found[0] + timedelta(seconds=zero_s), found[1]
    said = dict(about)
    for signal, key in zip(told.signal, keys, strict=True):
        said[f"{key} path"] = signal.path
        if signal.identity:
            said[f"identity:{key}"] = signal.identity
    return Recording(
        name=slug(path.stem, "arrays"),
        reader=reader,
        files=((path.name, sha256(path)),),
        channels=channels,
        first_stamp=stamp,
        dated=is_dated,
        about=said,
    )


def chosen_axis(
    path: Path, place: str, shape: tuple[int, ...], column: int | None, row: int | None
) -> tuple[int, tuple[int, ...]]:
    """Along which axis of an array the numbers lie, and the index in each other one (whatever along it).

    Raises
    ------
    FileUnreadable
        A table without a column or row, one that it does not have, or more than two dimensions.
    """
    long = [axis for axis, size in enumerate(shape) if size != 1]
    if column is None and row is None:
        if len(long) > 1:
            raise FileUnreadable(
                f"it is a table of {' x '.join(map(str, shape))}; one column or row of it was expected",
                path=path,
                place=place,
                todo="Say 'column' or 'row' in the path map"
                if len(shape) == 2
                else "Only tables of rows and columns can be read",
            )
        return (long[0] if long else 0), (0,) * len(shape)
    number, along = (column, 1) if column is not None else (row, 0)
    if len(shape) != 2:
        raise FileUnreadable(
            f"a {'column' if along else 'row'} was asked for, but it is no table ({' x '.join(map(str, shape))})",
            path=path,
            place=place,
            todo="Correct the path map",
        )
    if number is None or number > shape[along]:
        raise FileUnreadable(
            f"{'column' if along else 'row'} {number} was asked for; it has {shape[along]}",
            path=path,
            place=place,
            todo="Correct the path map",
        )
    rest = (0, number - 1) if along else (number - 1, 0)
    return 1 - along, rest


def _wrong(path: Path, place: str, what: str, todo: str = "Correct the path map") -> FileUnreadable:
    return FileUnreadable(what, path=path, place=place, todo=todo)


# Time


def _axis(store: Store, place: Place, kind: str) -> _Axis:
    numbers = store.numbers(place)
    if numbers.count > MOST_STAMPS:
        raise _wrong(
            store.path,
            place.text,
            f"it holds {numbers.count} stamps; up to {MOST_STAMPS} can be read",
            "Give rate_hz instead of the times",
        )
    if not numbers.count:
        raise _wrong(store.path, place.text, "it holds no stamps")
    stamps: FloatArray = np.concatenate([piece.astype(np.float64, copy=False) for piece in numbers.pieces()])
    bad = np.flatnonzero(~np.isfinite(stamps))
    if len(bad):
        raise _wrong(
            store.path,
            f"{place.text}, element {int(bad[0]) + 1}",
            "a time that is no finite number",
            "Take the samples without a time out",
        )
    decimals: int | None = None
    unit: TimeKind = "epoch_s"
    if kind == "datenum":
        stamps = (stamps - _DATENUM_EPOCH) * 86400.0
        decimals = _DATENUM_DECIMALS
    else:
        unit = kind  # type: ignore[assignment]  # the other kinds are the same as those of tables
    first_s = float(stamps[0]) * UNIT_S[unit]
    if unit.startswith("epoch") and not 0 <= first_s < 4e9:
        raise _wrong(
            store.path,
            place.text,
            f"its first stamp would be {first_s / 86400 / 365.25 + 1970:.5g} as a year",
            "Correct time_kind in the path map",
        )
    with np.errstate(over="ignore", invalid="ignore"):
        if np.ptp(stamps) * UNIT_S[unit] > 1e9:
            raise _wrong(
                store.path,
                place.text,
                "its stamps span more than 30 years",
                "Correct time_kind in the path map",
            )
    times = row_times(stamps, unit, decimals)
    _refuse_disorder(store.path, place, times)
    return _Axis(times, first_s)


def _refuse_disorder(path: Path, place: Place, times: RowTimes) -> None:
    back = step_back(times)
    if back is not None:
        raise _wrong(
            path,
            f"{place.text}, element {back[0] + 1}",
            f"the times are in disorder: they go back {back[1]} times",
            "Check that these are the times",
        )


def step_back(times: RowTimes) -> tuple[int, int] | None:
    """The first row that goes back and how often rows do, where no clock is set back so often; else None."""
    back = np.flatnonzero(np.diff(times.run)) + 1
    if len(back) < 2:
        return None
    runs = np.diff(np.concatenate([back, [times.count]]))[:-1]
    if len(back) <= _LARGEST_SHARE_BACK * times.count and runs.min() >= _SHORTEST_RUN:
        return None
    return int(back[0]), len(back)


# Channels


def _channel(
    store: Store,
    signal: SignalTable,
    key: str,
    axes: Mapping[tuple[str, str], _Axis],
    zero_s: float,
    by_date: bool,
) -> RecordedChannel:
    numbers = store.numbers(place_of(signal.path), signal.column, signal.row)
    if not numbers.count:
        raise _wrong(store.path, signal.path, "it holds no numbers")
    rate_hz = signal.rate_hz
    if signal.rate_from is not None:
        rate_hz = store.scalar(place_of(signal.rate_from))
        if not 0 < rate_hz <= 100_000:
            raise _wrong(
                store.path,
                signal.rate_from,
                f"the rate is {rate_hz:g}; more than 0 and up to 100000 was expected",
            )
    segments: tuple[Segment, ...] = ()
    times: FloatArray | None = None
    runs: NDArray[np.int32] | None = None
    if signal.times is None or signal.time_kind is None:
        assert rate_hz is not None  # the map would have been refused
        start_s = (signal.start_s or 0.0) - (0.0 if by_date else zero_s)
        segments = (Segment(start_s, 0, numbers.count, rate_hz, signal.scale, signal.offset),)
    else:
        axis = axes[signal.times, signal.time_kind]
        if axis.times.count != numbers.count:
            raise _wrong(
                store.path,
                signal.path,
                f"it holds {numbers.count} numbers, its times {signal.times} are {axis.times.count}",
            )
        pieces = _pieces(store.path, signal, axis, rate_hz)
        late = axis.first_s - zero_s
        segments = tuple(
            replace(one, start_s=one.start_s + late, scale=signal.scale, offset=signal.offset)
            for one in (piece.segment() for piece in pieces)
        )
        if not segments:
            times, runs = axis.times.seconds() + late, np.asarray(axis.times.run)
    even = bool(segments)
    codes = numbers.dtype.kind in "iu" and even
    dtype = numbers.dtype.newbyteorder("=") if codes else np.dtype(np.float32)
    scaling = None if even else (signal.scale, signal.offset)
    return RecordedChannel(
        key=key,
        label=signal.label,
        unit_as_written=signal.unit,
        dtype=dtype,
        count=numbers.count,
        blocks=partial(_blocks, numbers, dtype, signal.missing, scaling),
        segments=segments,
        times=times,
        runs=runs,
    )


def _pieces(path: Path, signal: SignalTable, axis: _Axis, rate_hz: float | None) -> tuple[Piece, ...]:
    try:
        return pieces_of(axis.times, rate_hz=rate_hz)
    except RateDoesNotFit as cause:
        raise _wrong(
            path,
            signal.path,
            f"the path map says {rate_hz:g} samples a second; its times say {cause.found_hz:.6g}",
            "Correct the rate in the path map, or the kind of its times",
        ) from None


def _blocks(
    numbers: Numbers, dtype: np.dtype[Any], missing: tuple[float, ...], scaling: tuple[float, float] | None
) -> Iterator[Block]:
    for piece in numbers.pieces():
        with np.errstate(over="ignore", invalid="ignore"):  # what no 32-bit number holds is masked
            block = _block(piece, dtype, missing, scaling)
        yield block


def _block(
    piece: NDArray[Any],
    dtype: np.dtype[Any],
    missing: tuple[float, ...],
    scaling: tuple[float, float] | None,
) -> Block:
    there: NDArray[np.bool_] | None = None
    if missing:
        # As the file would hold them: -9.9 in 32 bits is another number than in 64.
        marks = np.array(missing).astype(piece.dtype) if piece.dtype.kind == "f" else np.array(missing)
        there = ~np.isin(piece, marks)
    if scaling is not None and scaling != (1.0, 0.0):
        piece = piece * scaling[0] + scaling[1]
    codes = piece.astype(dtype, copy=False)
    if dtype.kind == "f":
        finite = np.isfinite(codes)
        there = finite if there is None else there & finite
        codes = np.where(finite, codes, dtype.type(0))
    return Block(codes, None if there is None or there.all() else there)
