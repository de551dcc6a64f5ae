"""Clocks of what was written and said: lines of text against moments that are known from elsewhere.

A line fits a moment when it stands as late after it as people are: a spoken line a few seconds, a written
one up to half a minute of rounding on either side of a lateness that can't be told from an error of the
clock. Every line may also be wrong. The offset is the one under which most lines fit; how far it is known is
read from the whole course of its probability, so that two offsets that fit about as well are both seen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from ..runs import FloatArray

WRONG = 0.2
"""Share of lines taken to be wrong or misread beforehand (this project's choice)."""

SPAN_S = 6 * 3600.0
"""Within which a wrong line may stand anywhere (this project's choice: a long operation)."""

HABIT_SD_S = 15.0
"""How unevenly late people write, beside rounding (this project's choice)."""

SPOKEN_LATE_S = 2.0
"""People speak about two seconds after what they see (this project's choice; the gamma density below has this mean)."""

SPOKEN_COMMON_SD_S = 0.7
"""How well that is known for one voice (this project's choice)."""

SPOKEN_SLOW = 0.25
SPOKEN_SLOW_S = 10.0
"""Share of spoken lines that come later, and how much later on average (this project's choice)."""

LEAST_LINES = 3
"""Fewest lines that must agree (this project's choice)."""

LEAST_ODDS = 20.0
"""How many times likelier one offset for all must be than none (this project's choice)."""

LEAST_MASS = 0.95
"""Share of the probability that must lie in one place (this project's choice)."""

_Density = Callable[[FloatArray, float, float], FloatArray]
"""How likely a line is so many seconds late, given half its rounding and the moment's standard deviation."""


@dataclass(frozen=True)
class Moment:
    """Something that happened at a known time.

    Attributes
    ----------
    event : str
        Token of what it was.
    t, sd_s : float
        Reference seconds and standard deviation.
    words : str
        Where it is known from.
    """

    event: str
    t: float
    sd_s: float
    words: str


@dataclass(frozen=True)
class Line:
    """A line of text with a stamp, and the moments that it can mean.

    Attributes
    ----------
    stamp : float
        What its source's clock said.
    half_s : float
        Half of what it was rounded to: 30 s for whole minutes.
    text : str
    moments : tuple of Moment
    not_before : tuple of Moment
        Moments that it can't come before.
    """

    stamp: float
    half_s: float
    text: str
    moments: tuple[Moment, ...]
    not_before: tuple[Moment, ...] = ()


@dataclass(frozen=True)
class LineFit:
    """How one line fits.

    Attributes
    ----------
    text : str
    stamp : float
    moment : Moment or None
        The moment it is taken to mean, or stands nearest to.
    residual_s : float
        Seconds by which it is later than the offset says.
    used : bool
        False for a line that fits nothing.
    words : str
        Why not, for a line that is not used.
    """

    text: str
    stamp: float
    moment: Moment | None
    residual_s: float
    used: bool
    words: str = ""


@dataclass(frozen=True)
class LinesFit:
    """The offset that most lines fit.

    Attributes
    ----------
    offset_s, sd_s : float
        Stamp less reference time, seconds.
    odds : float
        How many times likelier one offset is than none.
    mass : float
        Share of the probability within the found place.
    lines : tuple of LineFit
    offsets, density : ndarray
        The course of probability, for a chart.
    """

    offset_s: float
    sd_s: float
    odds: float
    mass: float
    lines: tuple[LineFit, ...]
    offsets: FloatArray
    density: FloatArray

    @property
    def agreeing(self) -> int:
        """Lines that fit."""
        return sum(line.used for line in self.lines)


def fit_lines(lines: Sequence[Line], *, spoken: bool, prior: bool, given: bool = False) -> LinesFit | None:
    """The offset of a source of text.

    Parameters
    ----------
    lines : sequence of Line
        Lines without a moment are left out, but for those that may not come before one.
    spoken : bool
        Said as it happened, else written down.
    prior : bool
        Whether the source has a clock that somebody once set: small offsets and whole hours are then likelier.
    given : bool
        A person paired lines and moments: hardly one of them is wrong.

    Returns
    -------
    LinesFit or None
        None where no line has a moment.
    """
    usable = [line for line in lines if line.moments]
    if not usable:
        return None
    wrong = 0.02 if given else WRONG
    late = _spoken if spoken else _written
    differences = np.array([line.stamp - moment.t for line in usable for moment in line.moments])
    coarse = np.arange(np.floor(differences.min()) - 120.0, np.ceil(differences.max()) + 121.0, 2.0)
    # Far from every difference nothing fits, so those offsets share one value.
    evidence = _evidence(usable, coarse, late, wrong) + _prior(coarse, prior)
    top = float(coarse[int(np.argmax(evidence))])
    fine = np.arange(top - 150.0, top + 150.0, 0.25)
    near = _evidence(usable, fine, late, wrong) + _prior(fine, prior)
    weight = np.exp(near - near.max())
    weight /= weight.sum()
    mean = float(weight @ fine)
    sd = float(np.sqrt(weight @ (fine - mean) ** 2))
    whole = _log_sum(evidence) + np.log(2.0)
    inside = float(
        np.exp(_log_sum(evidence[np.abs(coarse - mean) <= max(60.0, 4 * sd)]) + np.log(2.0) - whole)
    )
    if spoken:
        sd = float(np.hypot(sd, SPOKEN_COMMON_SD_S))
    return LinesFit(
        offset_s=mean,
        sd_s=sd,
        odds=float(np.exp(min(whole, 700.0))),
        mass=inside,
        lines=tuple(
            one
            for one in (_fit_line(line, mean, sd, late, wrong) for line in lines)
            if one.moment is not None
        ),
        offsets=fine,
        density=weight / 0.25,
    )


def _log_sum(values: FloatArray) -> float:
    top = float(values.max())
    return top + float(np.log(np.exp(values - top).sum()))


def _prior(offsets: FloatArray, has_clock: bool) -> FloatArray:
    """Logarithm of what is thought of an offset beforehand, per second.

    Clocks set by hand are minutes off (152 clocks, mean absolute error 1 min 45 s: Cordell et al., Ann Emerg
    Med 1994;23:1032-6; about 1,700 devices, mean 24 min: Pa Patient Saf Advis 2012;9:143-4), and now and then
    a whole hour. A source with only its own zero may lie anywhere.
    """
    if not has_clock:
        return np.full(len(offsets), -np.log(2 * SPAN_S))
    scale = 600.0  # s, between the two surveys (this project's choice)

    def about(centre: float) -> FloatArray:
        return np.asarray(1.0 / (np.pi * scale * (1 + ((offsets - centre) / scale) ** 2)))

    return np.asarray(
        np.log(0.9 * about(0.0) + 0.05 * about(3600.0) + 0.05 * about(-3600.0)), dtype=np.float64
    )


def _evidence(lines: Sequence[Line], offsets: FloatArray, late: _Density, wrong: float) -> FloatArray:
    """Logarithm of how much likelier the lines are under each offset than anywhere."""
    total = np.zeros(len(offsets))
    for line in lines:
        total += np.log(wrong + (1 - wrong) * SPAN_S * _fitting(line, offsets, late))
    return total


def _fitting(line: Line, offsets: FloatArray, late: _Density) -> FloatArray:
    """Density of the line's stamp, its moments taken as equally likely."""
    density = np.zeros(len(offsets))
    for moment in line.moments:
        density += late(line.stamp - moment.t - offsets, line.half_s, moment.sd_s)
    return np.asarray(density / len(line.moments), dtype=np.float64)


def _written(seconds: FloatArray, half_s: float, moment_sd_s: float) -> FloatArray:
    """Rounded to `half_s` on either side, and as uneven as people are: a uniform on a normal density."""
    from scipy.special import ndtr

    sd = float(np.hypot(HABIT_SD_S, moment_sd_s))
    half = max(half_s, 0.5)
    return np.asarray(
        (ndtr((seconds + half) / sd) - ndtr((seconds - half) / sd)) / (2 * half), dtype=np.float64
    )


def _spoken(seconds: FloatArray, half_s: float, moment_sd_s: float) -> FloatArray:
    """Some seconds late, sometimes many; hardly ever early: gamma and exponential on a normal density."""
    grid, density = _spoken_table(round(float(np.hypot(np.hypot(moment_sd_s, half_s), 0.5)), 1))
    return np.interp(seconds, grid, density, left=0.0, right=0.0)


@cache
def _spoken_table(sd: float) -> tuple[FloatArray, FloatArray]:
    step = 0.1
    late = np.arange(0.0, 90.0, step)
    # Gamma with shape 2: nothing at once, most about the mean, a thin end.
    scale = SPOKEN_LATE_S / 2
    prompt = late / scale**2 * np.exp(-late / scale)
    slow = np.exp(-late / SPOKEN_SLOW_S) / SPOKEN_SLOW_S
    reach = np.arange(-6 * sd, 6 * sd + step / 2, step)
    blur = np.exp(-0.5 * (reach / sd) ** 2)
    density = np.convolve((1 - SPOKEN_SLOW) * prompt + SPOKEN_SLOW * slow, blur / blur.sum())
    return reach[0] + step * np.arange(len(density)), density


def _fit_line(line: Line, offset: float, sd: float, late: _Density, wrong: float) -> LineFit:
    """Which moment a line means under an offset, and whether it can be right."""
    centre = SPOKEN_LATE_S if late is _spoken else 0.0
    if line.moments:
        densities = [float(late(np.array([line.stamp - m.t - offset]), line.half_s, float(np.hypot(m.sd_s, sd)))[0])
                     for m in line.moments]  # fmt: skip
        best = (
            int(np.argmax(densities))
            if max(densities) > 0
            else int(np.argmin([abs(line.stamp - m.t - offset) for m in line.moments]))
        )
        moment = line.moments[best]
        residual = line.stamp - moment.t - offset - centre
        odds = (1 - wrong) * SPAN_S * densities[best] / len(line.moments)
        if odds < wrong:
            return LineFit(
                line.text, line.stamp, moment, residual, False,
                f"stands {_apart(residual)} than {moment.words} would have it",
            )  # fmt: skip
        return LineFit(line.text, line.stamp, moment, residual, True)
    for moment in line.not_before:
        residual = line.stamp - moment.t - offset - centre
        if residual < -(line.half_s + 2 * float(np.hypot(np.hypot(sd, moment.sd_s), HABIT_SD_S))):
            return LineFit(
                line.text, line.stamp, moment, residual, False,
                f"would be {_length(-residual)} before {moment.words}, which it can't be",
            )  # fmt: skip
    return LineFit(line.text, line.stamp, None, 0.0, False, "")


def _apart(seconds: float) -> str:
    return f"{_length(abs(seconds))} {'later' if seconds > 0 else 'earlier'}"


def _length(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole} s" if whole < 120 else f"{whole // 60} min {whole % 60} s"
