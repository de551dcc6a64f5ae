"""The lag of each change of a flow in what answers it, and how surely it is known.

Around the lag on which the changes agree, each is fitted with the flow's own shape, a time constant or ramp
of its own and a trend; what is left hangs together in time and is taken as such.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..runs import FloatArray
from .changes import Change, Coupling, Even, answers_of
from .noise import Noise, Plain

SMOOTH_S = 5.0
"""Both sides are averaged over this first: breaths and beats answer nothing (this project's choice)."""


NOISE_LONGER = 1.5
"""By how much what moves the answer hangs together for longer than residuals show (even seeds of
tests/bench/clocks.py)."""

LEAST_GAIN = 3.0
"""Evidence, natural logarithms, that a change must have for any lag (this project's choice)."""


@dataclass(frozen=True)
class Lags:
    """Lag of each change: answer's time less flow's time, delay taken off.

    Attributes
    ----------
    changes : tuple of Change
    lag, sd : ndarray
        Seconds; an infinite sd where a change says nothing.
    """

    changes: tuple[Change, ...]
    lag: FloatArray
    sd: FloatArray


def solve_changes(
    changes: list[Change], at_lag: FloatArray, flows: dict[int, Even], answer: Even, coupling: Coupling
) -> Lags:
    """Each change's own lag around the coarse one, and how surely.

    Parameters
    ----------
    at_lag : ndarray
        Coarse lag of each change, answer's time less flow's time, seconds.
    """
    width = max(1, round(SMOOTH_S / coupling.step_s))
    smoothed = Even(answer.start, answer.step, _averaged(answer.values, width))
    shapes = {
        run: [
            Even(flow.start, flow.step, _averaged(expected, width)) for expected in answers_of(flow, coupling)
        ]
        for run, flow in flows.items()
    }
    noise = _noise(changes, at_lag, shapes, smoothed, coupling)
    lag, sd = np.full(len(changes), np.nan), np.full(len(changes), np.inf)
    for k, (change, start) in enumerate(zip(changes, at_lag, strict=True)):
        lag[k], sd[k] = _solve_change(change, float(start), shapes[change.run], smoothed, coupling, noise)
    sd = np.hypot(sd, coupling.scatter_s)
    return Lags(tuple(changes), lag - coupling.delay_s, np.where(np.isfinite(lag), sd, np.inf))


def _tried(coupling: Coupling) -> FloatArray:
    count = round(coupling.reach_s / (0.25 * coupling.step_s))
    return np.arange(-count, count + 1, dtype=np.float64) * 0.25 * coupling.step_s


def _window(change: Change, start: float, answer: Even, coupling: Coupling) -> tuple[FloatArray, FloatArray]:
    """Times and values of the answer around a change, laid at a coarse lag."""
    low = change.start + start - coupling.before_s
    high = change.stop + start + coupling.after_s
    a = max(0, int(np.ceil((low - answer.start) / answer.step)))
    b = min(len(answer.values), int((high - answer.start) / answer.step) + 1)
    return answer.times[a:b], answer.values[a:b]


def _residual(t: FloatArray, y: FloatArray, shape: Even, lag: float) -> FloatArray | None:
    x = shape.at(t - lag)
    if not (np.isfinite(x) & np.isfinite(y)).all():
        return None
    design = np.column_stack([np.ones(len(t)), t - t.mean(), x])
    found, *_ = np.linalg.lstsq(design, y, rcond=None)
    return np.asarray(y - design @ found, dtype=np.float64)


def _noise(
    changes: list[Change], at_lag: FloatArray, shapes: dict[int, list[Even]], answer: Even, coupling: Coupling
) -> Noise:
    """How residuals about the best shape hang together, over all changes."""
    furthest = 12
    sums = np.zeros(furthest + 1)
    for change, start in zip(changes, at_lag, strict=True):
        t, y = _window(change, float(start), answer, coupling)
        if len(t) < 3 * furthest:
            continue
        tries = [_residual(t, y, shape, float(start)) for shape in shapes[change.run]]
        known = [one for one in tries if one is not None]
        if known:
            best = min(known, key=lambda one: float(one @ one))
            sums += [
                float(best[k:] @ best[: len(best) - k]) * len(best) / (len(best) - k)
                for k in range(furthest + 1)
            ]
    if sums[0] <= 0:
        return Noise(0.5, 3.0)
    rho = sums[1:] / sums[0]
    low = np.flatnonzero(rho < 0.1)
    many = int(low[0]) if len(low) else furthest
    if many < 2:
        return Noise(max(float(rho[0]), 0.0), 1.0)
    slope, level = np.polyfit(np.arange(1, many + 1), np.log(rho[:many]), 1)
    # A trend and a shape were taken out, and with them some of what fades slowly.
    return Noise(
        float(np.clip(np.exp(level), 0.0, 0.98)),
        NOISE_LONGER * float(np.clip(-1.0 / min(slope, -1e-3), 1.0, 200.0)),
    )


def _solve_change(
    change: Change, start: float, shapes: list[Even], answer: Even, coupling: Coupling, noise: Noise
) -> tuple[float, float]:
    """Mean and standard deviation of the lag's posterior, flat before, over lags and time constants."""
    t, y = _window(change, start, answer, coupling)
    if len(t) < 10 or np.isfinite(y).mean() < 0.8:
        return np.nan, np.inf
    tried = _tried(coupling)
    good = np.isfinite(y)
    t, y = t[good], y[good]
    plain = Plain(noise, t)
    own = plain.of(y)
    total = float(own @ own)
    likelihood = []
    for shape in shapes:
        x = shape.at(t[:, None] - start - tried[None, :])
        missing = ~np.isfinite(x).all(axis=0)
        x = plain.of(np.where(np.isfinite(x), x, 0.0))
        along, size = x.T @ own, (x**2).sum(axis=0)
        with np.errstate(invalid="ignore", divide="ignore"):
            gain = np.where((along > 0) & (size > 1e-12) & ~missing, along**2 / size, 0.0)
        likelihood.append(-0.5 * (len(t) - 3) * np.log((total - gain) / total + 1e-12))
    together = np.logaddexp.reduce(likelihood, axis=0) - np.log(len(likelihood))
    if together.max() < LEAST_GAIN:
        return np.nan, np.inf
    weight = np.exp(together - together.max())
    weight /= weight.sum()
    mean = float(weight @ tried)
    sd = float(np.sqrt(weight @ (tried - mean) ** 2 + (0.25 * coupling.step_s) ** 2 / 12))
    return start + mean, sd


def _averaged(values: FloatArray, width: int) -> FloatArray:
    """Mean of the `width` values up to each, NaN beside missing ones."""
    if width <= 1:
        return values
    sums = np.concatenate(([0.0], np.cumsum(np.nan_to_num(values))))
    missing = np.concatenate(([0], np.cumsum(~np.isfinite(values))))
    out = np.full(len(values), np.nan)
    out[width - 1 :] = (sums[width:] - sums[:-width]) / width
    out[width - 1 :][missing[width:] > missing[:-width]] = np.nan
    return out
