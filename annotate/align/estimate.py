"""What was found about one source's clock: numbers, the evidence in words, and what a chart needs."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from afterclamp.io.clock import ClockMap, ClockPiece

from ..runs import BoolArray, FloatArray
from .lines import LineFit

Z95 = 1.96

HOUR_REST_S = 600.0
"""An offset this near to whole hours is asked about as such (this project's choice; hospital clocks that were set
are minutes off, see `lines`)."""


@dataclass(frozen=True)
class Curve:
    """Evidence at each lag, for a chart.

    Attributes
    ----------
    lag_s : ndarray
        Stamp less reference time, seconds.
    evidence : ndarray
        Natural logarithms (recordings) or probability per second (lines of text).
    name : str
        What is drawn.
    """

    lag_s: FloatArray
    evidence: FloatArray
    name: str


@dataclass(frozen=True)
class Points:
    """How far single pieces of evidence lie off the clock that was found, for a chart.

    Attributes
    ----------
    t : ndarray
        Reference seconds.
    residual_s, sd_s : ndarray
        Seconds; NaN and infinite where a piece says nothing.
    used : ndarray of bool
    """

    t: FloatArray
    residual_s: FloatArray
    sd_s: FloatArray
    used: BoolArray


@dataclass(frozen=True)
class StepFound:
    """A step of a clock.

    Attributes
    ----------
    at_s : float
        Reference seconds of the first row after it.
    at_sd_s : float
        Standard deviation of when it was, seconds: it lies between two rows.
    by_s, by_sd_s : float
        Seconds, negative when set back, and standard deviation.
    run : int
        The run it leads into.
    """

    at_s: float
    at_sd_s: float
    by_s: float
    by_sd_s: float
    run: int


@dataclass(frozen=True)
class ClockEstimate:
    """The clock of one source, as far as the evidence goes.

    Attributes
    ----------
    source : str
    evidence : str
        ``"same pressure"`` (or another quantity recorded twice), ``"flow and pressure"``, ``"saturation and
        arrest"``, ``"log lines"``, ``"spoken anchors"``; empty where nothing was found to compare.
    pieces : tuple of ClockPiece
        Empty where it cannot be told.
    zero_s : float
        Stamp of the source's second 0 (see `afterclamp.io.clock`).
    cannot_tell : str
        Why not, as a sentence; empty where it can be told.
    offset_sd_s, drift_sd_ppm : float
        Standard deviations of the first piece's offset at reference time 0, and of the drift.
    steps : tuple of StepFound
    whole_hours : int
        Hours that the offset is likely to owe to summer time or a time zone; 0: none. To be asked, never assumed.
    lines : tuple of LineFit
        For text: how each line fits.
    curve : Curve or None
    points : Points or None
    compared : tuple of str
        Ids of the channels that were compared, the unknown source's first.
    words : tuple of str
        The evidence as sentences.
    """

    source: str
    evidence: str = ""
    pieces: tuple[ClockPiece, ...] = ()
    zero_s: float = 0.0
    cannot_tell: str = ""
    offset_sd_s: float = np.nan
    drift_sd_ppm: float = np.nan
    steps: tuple[StepFound, ...] = ()
    whole_hours: int = 0
    lines: tuple[LineFit, ...] = ()
    curve: Curve | None = None
    points: Points | None = None
    compared: tuple[str, ...] = ()
    words: tuple[str, ...] = field(default=())

    @property
    def told(self) -> bool:
        """Whether the clock could be told."""
        return not self.cannot_tell

    @property
    def offset_s(self) -> float:
        """Offset of the first piece, seconds; NaN where it cannot be told."""
        return self.pieces[0].offset_s if self.pieces else float("nan")

    @property
    def drift_ppm(self) -> float:
        """Drift, parts per million; NaN where it cannot be told."""
        return self.pieces[0].drift_ppm if self.pieces else float("nan")

    @property
    def interval_s(self) -> tuple[float, float]:
        """95 % interval of the offset, seconds."""
        half = Z95 * self.offset_sd_s
        return self.offset_s - half, self.offset_s + half

    @property
    def outliers(self) -> tuple[LineFit, ...]:
        """Lines of text that fit nothing."""
        return tuple(line for line in self.lines if not line.used)

    @property
    def clock(self) -> ClockMap:
        """The clock map; the one as written where it cannot be told."""
        if not self.pieces:
            return ClockMap(self.zero_s)
        return ClockMap(self.zero_s, self.pieces, "by evidence")

    @property
    def offset_words(self) -> str:
        """The first offset in words, whole hours apart: ``"1 h + 37 s behind"``."""
        return offset_words(self.offset_s, self.whole_hours)

    @property
    def question(self) -> str:
        """What a person should be asked before this is accepted; empty where nothing is."""
        if not self.whole_hours:
            return ""
        rest = abs(self.offset_s - 3600 * self.whole_hours)
        hours = abs(self.whole_hours)
        many = "one hour" if hours == 1 else f"{hours} hours"
        besides = "fast" if self.offset_s > 3600 * self.whole_hours else "slow"
        return (
            f"The clock of {self.source} is {self.offset_words}. Is it {many} off, as when summer time or the time "
            f"zone was not set, and {length_words(rest, 0)} {besides} besides?"
        )

    def to_payload(self) -> dict[str, Any]:
        """As a ``clock`` edit of the log, with the evidence in short."""
        return {
            "source": self.source,
            "pieces": [piece.to_payload() for piece in self.pieces],
            "method": "by evidence",
            "evidence": {
                "kind": self.evidence,
                "compared": list(self.compared),
                "offset_sd_s": round(self.offset_sd_s, 3),
                "drift_sd_ppm": round(self.drift_sd_ppm, 2) if np.isfinite(self.drift_sd_ppm) else None,
                "whole_hours": self.whole_hours,
                "steps": [{"at_s": round(step.at_s, 1), "by_s": round(step.by_s, 2)} for step in self.steps],
                "not_used": [line.text for line in self.outliers],
                "words": list(self.words),
            },
        }


def whole_hours(offset_s: float) -> int:
    """Hours that an offset is near to, 0 where it is near to none or to nothing."""
    hours = round(offset_s / 3600)
    return hours if hours and abs(offset_s - 3600 * hours) <= HOUR_REST_S else 0


def offset_words(offset_s: float, hours: int) -> str:
    """An offset in words; with whole hours as these and the rest.

    Examples
    --------
    >>> offset_words(-3637.0, -1)
    '1 h + 37 s behind'
    >>> offset_words(94.04, 0)
    '94.0 s ahead'
    """
    side = "ahead" if offset_s >= 0 else "behind"
    if not hours:
        return f"{length_words(abs(offset_s))} {side}"
    rest = abs(offset_s) - 3600 * abs(hours)
    return f"{abs(hours)} h {'+' if rest >= 0 else '−'} {length_words(abs(rest), 0)} {side}"


def length_words(seconds: float, digits: int = 1) -> str:
    """Seconds up to two minutes, then minutes and seconds."""
    if round(seconds, digits) < 120:
        return f"{seconds:.{digits}f} s"
    whole = round(seconds)
    return f"{whole // 60} min {whole % 60} s"
