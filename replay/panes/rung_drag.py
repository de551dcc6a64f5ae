"""An end of a phase under the pointer: which one it is, and where it is dragged to."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

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
    """

    rung: Rung
    edge: str
    t: float
    moved: bool = False

    def to(self, t: float) -> EdgeDrag:
        """The same with the pointer somewhere else; an end cannot pass the other one."""
        low, high = (
            (-float("inf"), self.rung.end - 1)
            if self.edge == "start"
            else (self.rung.start + 1, float("inf"))
        )
        return replace(self, t=min(max(t, low), high), moved=True)

    @property
    def shown(self) -> Rung:
        """The bar as it would be if the drag ended here: the moved end is the person's, without a ± of a trace."""
        if self.edge == "start":
            return replace(self.rung, start=self.t, start_unc=0.0)
        return replace(self.rung, end=self.t, end_unc=0.0)

    @property
    def moment(self) -> Moment:
        """The moved end as a moment that a person set."""
        return Moment(self.t)


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
