"""Two quantities of which one answers the other: the pump's flow and a pressure, arrest and a saturation.

What drives (the flow) changes now and then; what answers (the pressure, the saturation) changes after it in
a first-order way, on top of much that has other reasons. So only the moments at which the flow changed at
once are looked at. First each is slid along the whole of the answer, and how rare a change like the one
at a lag is there gives its evidence: no model of the noise is needed. Then, around the lag on which they
agree, each moment's own lag is solved for with the flow's shape, a time constant of its own and a trend.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..runs import FloatArray
from .answers import SMOOTH_S, solve_changes
from .changes import (
    FLOW_AND_PRESSURE,
    SATURATION_AND_ARREST,
    Change,
    Coupling,
    Even,
    answers_of,
    arrests_only,
    changes_of,
    even_course,
    even_rows,
    usual_flow,
)
from .courses import Course, Rows
from .noise import Noise, Plain
from .path import Path, Window, path_through
from .seams import Seams, seams_of
from .steps import Pieces, fit_pieces

IntArray = NDArray[np.intp]

COARSE_FADES_S = 200.0
"""How long what else moves the answer hangs together, in the first search (this project's choice)."""

LEAST_CHANGES = 3
"""Fewest changes that must agree (this project's choice)."""

LEAST_TOTAL = 12.0
LEAST_LEAD = 3.0
"""Evidence of the coarse path, natural logarithms, at least and ahead of any other lag (chosen on even seeds of
tests/bench/clocks.py)."""

AGREE_SHARE = 0.6
"""Share of the changes that must be sharp and lie on the line (chosen on even seeds of tests/bench/clocks.py)."""


def rarity(change: Change, flow: Even, answer: Even, coupling: Coupling) -> tuple[FloatArray, FloatArray]:
    """Evidence for each lag of one change: how rarely the answer moves that much, and that way.

    Returns
    -------
    lag, evidence : ndarray
        Answer's time less flow's time, seconds; the negative logarithm of the share of all places that
        fit at least as well, less what chance gives.
    """
    low = max(0, int((change.start - coupling.before_s - flow.start) / flow.step))
    high = min(len(flow.values), int((change.stop + coupling.coarse_after_s - flow.start) / flow.step) + 1)
    length, first = high - low, flow.start + flow.step * low
    if length < 5 or len(answer.values) < 2 * length:
        return np.empty(0), np.empty(0)
    windows = np.lib.stride_tricks.sliding_window_view(answer.values, length)
    there = np.isfinite(windows)
    enough = there.mean(axis=1) > 0.8
    middle = np.where(there, windows, 0.0).sum(axis=1) / np.maximum(there.sum(axis=1), 1)
    noise = Noise(0.7, max(1.0, COARSE_FADES_S / coupling.step_s))
    plain = Plain(noise, flow.step * np.arange(length, dtype=np.float64), trend=False)
    own = plain.of(np.where(there, windows - middle[:, None], 0.0).T)
    total = (own**2).sum(axis=0)
    gain = np.zeros(len(windows))
    for expected in answers_of(flow, coupling):
        shape = plain.of(expected[low:high])
        size = float(shape @ shape)
        if size > 1e-12:
            gain = np.maximum(gain, np.maximum(shape @ own, 0.0) ** 2 / size)
    # What the shape leaves unexplained speaks against the place.
    measure = np.where(enough, np.sqrt(gain) - 0.5 * np.sqrt(np.maximum(total - gain, 0.0)), -np.inf)
    order = np.argsort(-measure, kind="stable")
    rank = np.empty(len(order))
    rank[order] = np.arange(1, len(order) + 1)
    evidence = -np.log(rank / (enough.sum() + 1)) - 1.0
    lag = answer.times[: len(measure)] - first
    return lag, np.where(enough, evidence, -1.0)


def coarse_path(
    changes: list[Change],
    flows: dict[int, Even],
    answer: Even,
    coupling: Coupling,
    seams: Seams | None,
    *,
    reverse: bool,
) -> Path | None:
    """The lag on which the changes agree (stamp less reference time), with steps at holes and new runs.

    Parameters
    ----------
    seams : Seams or None
        Holes and new runs, where the flow is the source's own.
    reverse : bool
        Whether the flow is stamped by the unknown source (the lag is then flow's time less answer's).
    """
    scored = []
    for change in changes:
        lag, evidence = rarity(change, flows[change.run], answer, coupling)
        if len(lag):
            scored.append((change, (-lag[::-1], evidence[::-1]) if reverse else (lag, evidence)))
    if len(scored) < LEAST_CHANGES:
        return None
    step = coupling.step_s
    low = min(float(lag[0]) for _, (lag, _) in scored)
    high = max(float(lag[-1]) for _, (lag, _) in scored)
    lags = low + step * np.arange(round((high - low) / step) + 1, dtype=np.float64)
    scores = np.full((len(scored), len(lags)), -1.0, np.float32)
    for number, (_, (lag, evidence)) in enumerate(scored):
        at = round((float(lag[0]) - low) / step)
        scores[number, at : at + len(lag)] = evidence
    # Changes need not fall into the same value of the grid.
    wide = scores.copy()
    wide[:, 1:] = np.maximum(wide[:, 1:], scores[:, :-1] - 0.3)
    wide[:, :-1] = np.maximum(wide[:, :-1], scores[:, 1:] - 0.3)
    windows = tuple(Window(change.first_row, change.first_row + 1, change.run) for change, _ in scored)
    return path_through(windows, wide, seams, lags, step, chance=0.0, apart_s=3 * coupling.agree_s)


@dataclass(frozen=True)
class Matched:
    """What the changes say of the unknown source's clock.

    Attributes
    ----------
    stamp, lag, sd : ndarray
        For each change, by the unknown source's clock: where it is, stamp less reference time, sd.
    first_row : ndarray of int
        The row of the unknown source at each change.
    path : Path
        The coarse agreement, with its curve for a chart.
    pieces : Pieces or None
        None where they don't agree well enough.
    """

    stamp: FloatArray
    lag: FloatArray
    sd: FloatArray
    first_row: IntArray
    path: Path
    pieces: Pieces | None


def match_flow(rows: Rows, pressure: Course, coupling: Coupling = FLOW_AND_PRESSURE) -> Matched | None:
    """The clock of a source that recorded the flow, from a known pressure that answers it.

    Returns
    -------
    Matched or None
        None where the flow changed too seldom.
    """
    flows = even_rows(rows, coupling.step_s)
    usual = usual_flow(rows.value)
    changes = [one for run, flow in flows.items() for one in changes_of(flow, run, rows, usual)]
    smoothed = even_course(pressure.averaged(SMOOTH_S), coupling.step_s)
    path = coarse_path(changes, flows, smoothed, coupling, seams_of(rows), reverse=True)
    if path is None:
        return None
    # A change at the edge of the answer has no place on the path.
    placed = {(w.first, w.run): lag for w, lag in zip(path.windows, path.lag, strict=True)}
    changes = [one for one in changes if (one.first_row, one.run) in placed]
    start = -np.array([placed[one.first_row, one.run] for one in changes])
    lags = solve_changes(changes, start, flows, even_course(pressure, coupling.step_s), coupling)
    stamp = np.array([one.start for one in changes])
    first = np.array([one.first_row for one in changes], np.intp)
    return _judged(rows, stamp, -lags.lag, lags.sd, first, path, coupling)


def match_answer(rows: Rows, flow: Course, coupling: Coupling = SATURATION_AND_ARREST) -> Matched | None:
    """The clock of a source that recorded a saturation or a pressure, from a known flow that it answers.

    Each run of stamps is laid on its own; steps within a run are not looked for.

    Returns
    -------
    Matched or None
        None where there were too few lasting stops.
    """
    drive = even_course(flow, coupling.step_s)
    usual = usual_flow(drive.values)
    if np.isfinite(coupling.full):
        # Whether anything flows is what matters, not how much.
        drive = Even(drive.start, drive.step, np.clip(drive.values / (coupling.full * usual), 0.0, 1.0))
        changes = arrests_only(changes_of(drive, 0, None, 1.0), drive)
    else:
        changes = changes_of(drive, 0, None, usual)
    stamps, lags, sds, firsts = [], [], [], []
    longest: Path | None = None
    for run, answer in even_rows(rows, coupling.step_s).items():
        path = coarse_path(changes, {0: drive}, answer, coupling, None, reverse=False)
        if path is None:
            continue
        lag = float(path.lag[0])
        inside = np.flatnonzero(rows.run == run)
        own = [one for one in changes if rows.stamp[inside[0]] <= one.start + lag <= rows.stamp[inside[-1]]]
        if len(own) < LEAST_CHANGES:
            continue
        solved = solve_changes(own, np.full(len(own), lag), {0: drive}, answer, coupling)
        stamp = np.array([one.start for one in own]) + lag
        stamps.append(stamp)
        lags.append(solved.lag)
        sds.append(solved.sd)
        at = np.minimum(np.searchsorted(rows.stamp[inside], stamp), len(inside) - 1)
        firsts.append(inside[at])
        if longest is None or path.total > longest.total:
            longest = path
    if longest is None:
        return None
    return _judged(
        rows,
        np.concatenate(stamps),
        np.concatenate(lags),
        np.concatenate(sds),
        np.concatenate(firsts).astype(np.intp),
        longest,
        coupling,
    )


def _judged(
    rows: Rows,
    stamp: FloatArray,
    lag: FloatArray,
    sd: FloatArray,
    first_row: IntArray,
    path: Path,
    coupling: Coupling,
) -> Matched:
    """The clock that the changes give, if they agree well enough to be told from chance."""
    pieces = None
    if path.total >= LEAST_TOTAL and path.total - path.rival >= LEAST_LEAD and np.isfinite(sd).any():
        pieces = fit_pieces(rows, first_row, stamp, lag, sd, common_sd_s=coupling.delay_sd_s)
    if pieces is not None:
        with np.errstate(invalid="ignore"):
            agree = (sd < coupling.agree_s) & (np.abs(pieces.residual) <= coupling.agree_s)
        if agree.sum() < LEAST_CHANGES or agree.mean() < AGREE_SHARE:
            pieces = None
    return Matched(stamp, lag, sd, first_row, path, pieces)
