"""Whether rows are evenly spaced, and in which pieces.

Time is never built from rounded stamps where the spacing is known. Three cases, tried in this order:

1. All stamps lie on a grid (every step is the usual one or a longer one): exact pieces, cut at each longer
   step.
2. Stamps are coarser than the rows or rounded (100 rows with the same second; steps of 16, 16 and 17 ms):
   pieces of a constant rate from which no stamp is further away than its own rounding allows, cut where
   rows are lost.
3. Neither: the rows are uneven, and keep the stamps that they have.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..recording import FloatArray, Segment
from .spool import in_pieces
from .stamps import RowTimes, rows_before

_USUAL_SHARE = 0.9  # of the steps that must be the usual one for a grid
_MOST_PIECES = 50  # at least this many rows a piece on average, else the rows are not even
_NICE = 0.005  # how far an estimated spacing may be from a round one for that to be tried
_WINDOW = 5  # rows of the running median that tells a lost row from one late stamp


@dataclass(frozen=True, slots=True)
class Piece:
    """Evenly spaced rows: index of the first, how many, seconds of the first, rate, run."""

    first: int
    count: int
    start_s: float
    rate_hz: float
    run: int

    def segment(self) -> Segment:
        """As a segment of a channel with one sample a row."""
        return Segment(self.start_s, self.first, self.count, self.rate_hz, run=self.run)


class RateDoesNotFit(ValueError):
    """The rate that was told is not that of the stamps; carries the latter."""

    def __init__(self, found_hz: float) -> None:
        super().__init__(f"{found_hz:.6g}")
        self.found_hz = found_hz


def pieces_of(
    times: RowTimes, rows: NDArray[np.intp] | None = None, rate_hz: float | None = None
) -> tuple[Piece, ...]:
    """Evenly spaced pieces of all rows, or of some of them; empty where the rows are uneven.

    Parameters
    ----------
    times : RowTimes
        Of all rows.
    rows : ndarray of int, optional
        Only these rows, numbered anew: a column that has a value in every fifth row.
    rate_hz : float, optional
        Told by a person: stamps only place the pieces.

    Raises
    ------
    RateDoesNotFit
        `rate_hz` is more than 1 % off.
    """
    if (times.count if rows is None else len(rows)) < 2:
        return ()
    run = times.run if rows is None else times.run[rows]
    if rate_hz is None and times.ticks is not None:
        grid = _grid(times.ticks if rows is None else times.ticks[rows], run, times)
        if grid is not None:
            return grid
    seconds = times.seconds(rows)
    if rate_hz is not None:
        spacing = 1.0 / rate_hz
        found = _estimate(seconds, run)
        if found is not None and abs(found / spacing - 1.0) > 0.01:
            raise RateDoesNotFit(1.0 / found)
        return _rounded(seconds, run, times.tick_s, spacing, rate_hz, trusted=True) or ()
    best: tuple[Piece, ...] = ()
    for spacing, rate in _spacings(seconds, run, times.tick_s):
        found_pieces = _rounded(seconds, run, times.tick_s, spacing, rate)
        if found_pieces and (not best or len(found_pieces) < len(best)):
            best = found_pieces
    return best


def _grid(ticks: NDArray[np.int64], run: NDArray[np.int32], times: RowTimes) -> tuple[Piece, ...] | None:
    turns = rows_before(run, lambda changes: changes != 0)
    every = 1 + len(ticks) // 1_000_000
    some = [np.diff(piece)[-first % every :: every].copy() for first, piece in in_pieces(ticks, 1)]
    usual = int(np.median(np.concatenate(some)))
    if usual <= 0:
        return None
    unusual = np.setdiff1d(rows_before(ticks, lambda steps: steps != usual), turns)
    odd = ticks[unusual + 1] - ticks[unusual]
    # Steps of 16 and now and then 17 ms are rounding, not gaps: a lost row makes a step twice as long.
    if (odd < 1.5 * usual).any():
        return None
    # A table of two or three rows with one gap is still a grid; a longer one must mostly keep its step.
    if len(odd) > max(1, (1 - _USUAL_SHARE) * (len(ticks) - 1 - len(turns))):
        return None
    starts = np.union1d(unusual, turns) + 1
    starts = np.concatenate([[0], starts]).astype(np.intp)
    ends = np.append(starts[1:], len(ticks))
    rate = _exact_rate(usual, times.tick_s)
    return tuple(
        Piece(first, end - first, tick / times.per_second, rate, int(run[first]))
        for first, end, tick in zip(starts.tolist(), ends.tolist(), ticks[starts].tolist(), strict=True)
    )


def _exact_rate(usual: int, tick_s: float) -> float:
    """Rows a second; 1000 ticks of a millisecond give 1.0 and not 0.9999999."""
    per_second = round(1.0 / tick_s)
    if per_second and abs(per_second * tick_s - 1.0) < 1e-9:
        return per_second / usual
    return 1.0 / (usual * tick_s)


def _estimate(seconds: FloatArray, run: NDArray[np.int32]) -> float | None:
    """Mean spacing of the rows, longer gaps left out; None if all stamps are the same."""
    changes = np.flatnonzero(np.diff(seconds) != 0) + 1
    dt = np.diff(seconds[changes])
    rows = np.diff(changes)
    usable = (np.diff(run[changes]) == 0) & (dt > 0)
    if not usable.any():
        return None
    dt, rows = dt[usable], rows[usable]
    usual = float(np.median(rows))
    near = dt <= 3.0 * np.median(dt)
    if usual >= 3:
        # A tick that was cut short by a gap would pull the mean; whole ones differ by a row at most.
        near = (dt <= 1.5 * np.median(dt)) & (np.abs(rows - usual) <= 1.5)
    return float(dt[near].sum() / rows[near].sum())


def _spacings(seconds: FloatArray, run: NDArray[np.int32], tick_s: float) -> list[tuple[float, float]]:
    """(spacing, rate) worth trying, round ones first, then what a line through the stamps says."""
    rough = _estimate(seconds, run)
    if rough is None:
        return []
    round_ones: list[tuple[float, float]] = []
    whole_hz = round(1.0 / rough)
    if whole_hz:
        round_ones.append((1.0 / whole_hz, float(whole_hz)))
    if tick_s and round(rough / tick_s):
        on_grid = round(rough / tick_s) * tick_s
        round_ones.append((on_grid, 1.0 / on_grid))
    if tick_s and round(tick_s / rough):
        # So many rows in each tick: six in a minute are one every ten seconds.
        in_tick = tick_s / round(tick_s / rough)
        round_ones.append((in_tick, 1.0 / in_tick))
    found = [pair for pair in round_ones if abs(pair[0] / rough - 1.0) <= _NICE]
    # A line through the longest stretch without a gap or a backward step.
    steps = np.diff(seconds)
    broken = np.flatnonzero((np.diff(run) != 0) | (steps > 3.0 * max(rough, tick_s)))
    edges = np.concatenate([[0], broken + 1, [len(seconds)]])
    longest = int(np.argmax(np.diff(edges)))
    stretch = seconds[edges[longest] : edges[longest + 1]]
    if len(stretch) >= 10:
        index = np.arange(len(stretch), dtype=np.float64) - (len(stretch) - 1) / 2
        slope = float((index * (stretch - stretch.mean())).sum() / (index * index).sum())
        if slope > 0:
            found.append((slope, 1.0 / slope))
    return found


def _rounded(
    seconds: FloatArray,
    run: NDArray[np.int32],
    tick_s: float,
    spacing: float,
    rate_hz: float,
    trusted: bool = False,
) -> tuple[Piece, ...] | None:
    """Pieces of a constant rate that the stamps fit but for their rounding; None if they do not."""
    coarse = spacing < tick_s
    slack = max(1e-6 * spacing, 4.0 * float(np.spacing(np.abs(seconds).max())))
    # How far the rows must move for good to count as lost: between rounding and a whole row if stamps are
    # finer than the rows; else a row and a half, since the phase of the rows within a tick wanders by one.
    lost = 1.5 * spacing if coarse else (tick_s + spacing) / 2.0
    steps = np.diff(seconds, prepend=seconds[:1])
    begins = np.flatnonzero(np.concatenate([[True], np.diff(run) != 0]) | ((steps > 1.5 * tick_s) & coarse))
    pieces: list[Piece] = []
    for first, end in zip(begins.tolist(), [*begins[1:].tolist(), len(seconds)], strict=True):
        late = seconds[first:end] - spacing * np.arange(end - first)
        # Where stamps are coarser than rows only a row with a new stamp says when it came, and the first row
        # does not: its tick may have begun long before.
        tells = np.flatnonzero(steps[first + 1 : end] != 0) + 1 if coarse else np.arange(end - first)
        smooth = _running_median(late[tells])
        cuts = [0, *(int(tells[n]) for n in _jumps(late[tells], smooth, lost - slack))]
        if len(cuts) > max(4, (end - first) / _MOST_PIECES):
            return None
        for start, stop in zip(cuts, [*cuts[1:], end - first], strict=True):
            told = smooth[(tells >= start) & (tells < stop)]
            if not len(told):
                told = late[start : start + 1]
            if not trusted and (
                np.ptp(late[start:stop]) > 2.0 * tick_s + min(spacing, tick_s) + slack
                or np.ptp(told) > lost + slack
            ):
                return None
            # Coarse stamps are cut, not rounded: the row that came latest after its tick is nearest to it.
            at = spacing * start + float(told.max() if coarse else np.median(late[start:stop]))
            if not pieces:
                at = max(at, 0.0)
            elif pieces[-1].run == int(run[first]):
                at = max(at, pieces[-1].start_s + pieces[-1].count * spacing)
            pieces.append(Piece(first + start, stop - start, at, rate_hz, int(run[first])))
    return tuple(pieces) if len(pieces) <= max(4, len(seconds) / _MOST_PIECES) else None


def _running_median(values: FloatArray) -> FloatArray:
    if len(values) < _WINDOW:
        return values
    padded = np.pad(values, _WINDOW // 2, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW)
    return np.asarray(np.median(windows, axis=1), dtype=np.float64)


def _jumps(values: FloatArray, smooth: FloatArray, size: float) -> list[int]:
    """Where the smoothed values move by `size` for good within a few rows; at the largest single step."""
    reach = _WINDOW // 2 + 1
    if len(values) <= reach:
        return []
    moved = np.abs(smooth[reach:] - smooth[:-reach]) >= size
    edges = np.flatnonzero(np.diff(np.concatenate([[False], moved, [False]]).astype(np.int8)))
    found = []
    for begin, finish in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        last = min(finish + reach, len(values) - 1)
        steps = np.abs(np.diff(values[begin : last + 1]))
        found.append(begin + int(np.argmax(steps)) + 1)
    return found
