"""Clocks: where a stamp of one source stands on the reference clock, and how surely.

A source's clock is described by pieces, each a straight line. The convention, used everywhere:

- *source seconds* count from the source's first stamp, on its own clock;
- a *stamp* is ``zero_s + source seconds``: what the source's clock says, counted from what the
  reference clock says at reference time 0 (a source that has only its own zero has ``zero_s = 0``);
- *offset* is stamp minus reference time at reference time 0: positive when the source is ahead;
- *drift* in parts per million is positive when the source runs fast:
  ``stamp = t * (1 + drift * 1e-6) + offset``.

A clock that was set back repeats stamps, so stamps alone don't say which time is meant: each
backward step starts a new *run*, and a piece belongs to one run.

A clock that nobody set is not exact, it is unknown: its standard deviation is infinite.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from .errors import EditRefused
from .recording import FloatArray

FURTHEST_S = 1e10  # some three hundred years: further off than any date a device falls back to


@dataclass(frozen=True, slots=True)
class ClockPiece:
    """One straight piece of a clock map.

    Attributes
    ----------
    offset_s : float
        Stamp minus reference time, at reference time 0, in seconds.
    drift_ppm : float
        Parts per million, positive when the source runs fast.
    sd_s : float
        Standard deviation of a time mapped by this piece, in seconds; infinite in the map of an unset clock.
    run : int
        The run of stamps it belongs to (0 before any backward step).
    from_s : float
        Source seconds from which it holds within the run; minus infinity for the run's start.
    """

    offset_s: float
    drift_ppm: float = 0.0
    sd_s: float = 0.0
    run: int = 0
    from_s: float = -math.inf

    @property
    def rate(self) -> float:
        """Source seconds that pass in one reference second."""
        return 1.0 + self.drift_ppm * 1e-6

    def to_payload(self) -> dict[str, Any]:
        """As it stands in the log; the run's start is left out."""
        payload: dict[str, Any] = {
            "offset_s": self.offset_s,
            "drift_ppm": self.drift_ppm,
            "sd_s": self.sd_s,
            "run": self.run,
        }
        if math.isfinite(self.from_s):
            payload["from_s"] = self.from_s
        return payload

    @classmethod
    def from_payload(cls, payload: Mapping[str, Any]) -> ClockPiece:
        """Read one piece of a ``clock`` edit or of an answers file.

        Raises
        ------
        EditRefused
            When a field is missing, unknown, not a finite number, or one that no clock has.
        """
        known = {"offset_s", "drift_ppm", "sd_s", "run", "from_s"}
        unknown = set(payload) - known
        if unknown or "offset_s" not in payload:
            raise EditRefused(
                f"a clock piece has {sorted(payload)}; expected offset_s and, if wanted, {sorted(known - {'offset_s'})}"
            )
        try:
            values = {name: float(payload[name]) for name in payload if name != "run"}
            run = int(payload.get("run", 0))
        except (TypeError, ValueError) as cause:
            raise EditRefused(
                f"a clock piece holds something that is not a number: {dict(payload)}"
            ) from cause
        if not all(math.isfinite(value) for name, value in values.items() if name != "from_s") or run < 0:
            raise EditRefused(f"a clock piece holds a value without meaning: {dict(payload)}")
        piece = cls(run=run, **values)
        if piece.rate <= 0.5 or piece.rate >= 2.0 or piece.sd_s < 0 or abs(piece.offset_s) > FURTHEST_S:
            raise EditRefused(
                f"a clock piece has an offset, a drift or a standard deviation that no clock has: {dict(payload)}"
            )
        return piece


@dataclass(frozen=True)
class ClockMap:
    """Source seconds to reference seconds and back.

    Attributes
    ----------
    zero_s : float
        The stamp at source second 0 (see the module's text).
    pieces : tuple of ClockPiece
        In order of run and start. Never empty. Of an unset clock their standard deviation is infinite.
    method : str
        ``"reference"``, ``"unset"``, ``"by hand"`` or ``"by evidence"``.
    """

    zero_s: float
    pieces: tuple[ClockPiece, ...] = (ClockPiece(0.0),)
    method: str = "unset"

    def __post_init__(self) -> None:
        if not self.pieces:
            raise EditRefused("a clock map needs at least one piece")
        ordered = tuple(sorted(self.pieces, key=lambda piece: (piece.run, piece.from_s)))
        if len({(piece.run, piece.from_s) for piece in ordered}) < len(ordered):
            raise EditRefused("two pieces of a clock map start at the same place")
        if self.method == "unset":
            # Stamps are taken at their word for want of better; how far off they are nobody knows.
            ordered = tuple(replace(piece, sd_s=math.inf) for piece in ordered)
        object.__setattr__(self, "pieces", ordered)

    def pieces_of(self, run: int) -> tuple[ClockPiece, ...]:
        """Pieces for one run; a run without its own goes by the last piece of the runs before it."""
        own = tuple(piece for piece in self.pieces if piece.run == run)
        if own:
            return own
        before = [piece for piece in self.pieces if piece.run < run]
        return (before[-1] if before else self.pieces[0],)

    def _which(
        self, source_s: FloatArray, pieces: Sequence[ClockPiece]
    ) -> np.ndarray[Any, np.dtype[np.intp]]:
        starts = np.array([piece.from_s for piece in pieces[1:]])
        return np.searchsorted(starts, source_s, side="right")

    def to_reference(self, source_s: ArrayLike, run: int = 0) -> FloatArray:
        """Reference seconds of source seconds.

        Parameters
        ----------
        source_s : array_like
            Seconds since the source's first stamp; any shape.
        run : int
            The run of stamps they belong to.
        """
        seconds = np.asarray(source_s, dtype=np.float64)
        pieces = self.pieces_of(run)
        which = self._which(seconds, pieces)
        offsets = np.array([piece.offset_s for piece in pieces])[which]
        rates = np.array([piece.rate for piece in pieces])[which]
        return np.asarray((self.zero_s + seconds - offsets) / rates, dtype=np.float64)

    def to_source(self, reference_s: ArrayLike, run: int = 0) -> FloatArray:
        """Source seconds of reference seconds: the inverse of `to_reference` within a run.

        Where a forward step leaves reference times that no stamp has, the earlier piece is continued.
        """
        seconds = np.asarray(reference_s, dtype=np.float64)
        pieces = self.pieces_of(run)
        starts = np.array(
            [(self.zero_s + piece.from_s - piece.offset_s) / piece.rate for piece in pieces[1:]]
        )
        which = np.searchsorted(starts, seconds, side="right")
        offsets = np.array([piece.offset_s for piece in pieces])[which]
        rates = np.array([piece.rate for piece in pieces])[which]
        return np.asarray(seconds * rates + offsets - self.zero_s, dtype=np.float64)

    def sd(self, source_s: ArrayLike, run: int = 0) -> FloatArray:
        """Standard deviation, in seconds, of the reference time of each source second.

        Parameters
        ----------
        source_s : array_like
            Seconds since the source's first stamp; any shape.
        run : int
            The run of stamps they belong to.

        Returns
        -------
        ndarray
            Of the same shape. Infinite, which means unknown, for an unset clock; 0 for the reference.
        """
        seconds = np.asarray(source_s, dtype=np.float64)
        pieces = self.pieces_of(run)
        return np.asarray(
            np.array([piece.sd_s for piece in pieces])[self._which(seconds, pieces)], dtype=np.float64
        )

    @property
    def offset_s(self) -> float:
        """Offset of the first piece, in seconds."""
        return self.pieces[0].offset_s

    @property
    def steps(self) -> tuple[tuple[float, float], ...]:
        """Every step of the clock: reference time and size in seconds (negative: set back)."""
        found = []
        for before, after in zip(self.pieces[:-1], self.pieces[1:], strict=True):
            at = (
                (self.zero_s + after.from_s - after.offset_s) / after.rate
                if math.isfinite(after.from_s)
                else math.nan
            )
            found.append((at, after.offset_s - before.offset_s))
        return tuple(found)
