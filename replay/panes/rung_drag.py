"""An end of a phase under the pointer: which one it is, and where it is dragged to."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from ..wording import half_width
from .clamp_row import Moment
from .rungs import Rung

REACH_PX = 4.0


@dataclass(frozen=True, slots=True)
class EdgeDrag:
    """An end of a bar that is being moved.

    Attributes
    ----------
    rung : Rung
        As it was when the drag began.
    edge : str
        ``"start"`` or ``"end"``.
    t : float
        Where the pointer is, reference seconds.
    moved : bool
        Whether it was really moved: a click on an end goes there and sets nothing.
    pixel_s : float
        Seconds of one pixel where it was left: the pointer tells no time finer than that.
    """

    rung: Rung
    edge: str
    t: float
    moved: bool = False
    pixel_s: float = 0.0

    def to(self, t: float, pixel_s: float) -> EdgeDrag:
        """The same with the pointer somewhere else; an end cannot pass the other one."""
        low, high = (
            (-float("inf"), self.rung.end - 1)
            if self.edge == "start"
            else (self.rung.start + 1, float("inf"))
        )
        t = round(t) if pixel_s > 1 else round(t, 2)  # no more digits than the pointer can tell
        return replace(self, t=min(max(float(t), low), high), moved=True, pixel_s=pixel_s)

    @property
    def sd_s(self) -> float:
        """Standard deviation of where the pointer is, seconds: even over one pixel."""
        return self.pixel_s / math.sqrt(12)

    @property
    def shown(self) -> Rung:
        """The bar as it would be if the drag ended here: the moved end has the ± of the pointer, not of a trace."""
        unc = half_width(self.sd_s)
        other = self.rung.end_unc if self.edge == "start" else self.rung.start_unc
        moved = replace(self.rung, length_unc=math.hypot(unc, other))
        if self.edge == "start":
            return replace(moved, start=self.t, start_unc=unc)
        return replace(moved, end=self.t, end_unc=unc)

    @property
    def moment(self) -> Moment:
        """The moved end as a moment that a person set."""
        return Moment(self.t, self.sd_s)


def edge_at(
    rungs: Iterable[Rung], x: float, under: Rung | None, place: Callable[[float], float]
) -> EdgeDrag | None:
    """The end of a bar within a few pixels of `x`, of those in the row of `under` or of none; None where there is none.

    Parameters
    ----------
    rungs : iterable of Rung
        Those of the row under the pointer.
    x : float
        Pixels.
    under : Rung or None
        The bar under the pointer: of two ends that meet, its own is meant.
    place : callable
        Pixels of a reference time.
    """
    near = [
        (abs(place(t) - x), rung is not under, number, EdgeDrag(rung, edge, t))
        for number, rung in enumerate(rungs)
        if rung.is_set
        for edge, t in (("start", rung.start), ("end", rung.end))
        if abs(place(t) - x) <= REACH_PX
    ]
    return min(near, key=lambda one: one[:3])[3] if near else None
