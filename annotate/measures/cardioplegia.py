"""Cardioplegia: each dose, the interval since the last one, and how long the heart had gone without blood.

Definitions from memory: each dose has a start and an end, a route, a volume, a temperature and a delivery
pressure; the ischaemic interval is the gap between doses. Nothing here judges an interval: a unit's own limit is
shown beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..runs import evidence_runs
from ..series import OBSERVED, Series
from .intervals import Interval, SpanLike, as_interval, merge_intervals


@dataclass(frozen=True, slots=True)
class CardioplegiaDose:
    """One dose as it was recorded, logged or said.

    Attributes
    ----------
    start, end : float
        Reference seconds.
    route : str
        As written ("root", "ostial", "retrograde", "graft"); empty where nobody said.
    volume_ml, temperature_c, delivery_pressure : float
        mL, °C and mmHg; NaN where not known.
    source : str
        Where it comes from: a channel, the log, spoken words.
    """

    start: float
    end: float
    route: str = ""
    volume_ml: float = math.nan
    temperature_c: float = math.nan
    delivery_pressure: float = math.nan
    source: str = ""

    def __post_init__(self) -> None:
        if not self.end >= self.start:
            raise ValueError(f"a dose ends after it starts, got {self.start:g} to {self.end:g} s")


@dataclass(frozen=True, slots=True)
class DoseRow:
    """One dose in the ledger; seconds.

    Attributes
    ----------
    dose : CardioplegiaDose
        The dose.
    since_clamp_s : float
        From the clamp going on to the start of this dose; NaN outside every clamp.
    interval_s : float
        Without cardioplegia before this dose: since the end of the last dose under the same clamp, or since
        that clamp for the first one; NaN outside every clamp.
    over_own_limit : bool or None
        Whether that interval is longer than the unit's own limit; None without one.
    """

    dose: CardioplegiaDose
    since_clamp_s: float
    interval_s: float
    over_own_limit: bool | None


@dataclass(frozen=True, slots=True)
class CardioplegiaLedger:
    """All doses in order of time, with intervals; seconds.

    Attributes
    ----------
    rows : tuple of DoseRow
        In order of their starts.
    clamp_s : float
        Sum of all clamp applications.
    longest_interval_s : float
        Longest stretch under the clamp without cardioplegia, the one until the clamp came off included; NaN
        without a clamp.
    last_intervals_s : tuple of float
        For each application, from its last dose (or from its start without any) to its end.
    own_limit_s : float or None
        The unit's own limit.
    """

    rows: tuple[DoseRow, ...]
    clamp_s: float
    longest_interval_s: float
    last_intervals_s: tuple[float, ...]
    own_limit_s: float | None
    clamps: tuple[Interval, ...]

    def ischaemic_at(self, t: float) -> tuple[float, float]:
        """Seconds since the clamp, and seconds since the last dose under it, at a moment.

        The second is 0 while a dose runs, and the first where none was given yet; both NaN outside a clamp.
        """
        clamp = next(((start, end) for start, end in self.clamps if start <= t < end), None)
        if clamp is None:
            return math.nan, math.nan
        begun = [row.dose for row in self.rows if clamp[0] <= row.dose.start <= t]
        return t - clamp[0], t - min(max((dose.end for dose in begun), default=clamp[0]), t)


def cardioplegia_ledger(
    doses: Sequence[CardioplegiaDose], clamps: Sequence[SpanLike], *, own_limit_s: float | None = None
) -> CardioplegiaLedger:
    """Ledger of cardioplegia: for each dose the seconds since the clamp and since the last dose.

    Parameters
    ----------
    doses : sequence of CardioplegiaDose
        In any order. One that runs while another does (two routes at a time) has an interval of 0.
    clamps : sequence of Span or (start, end)
        Applications of the aortic clamp, reference seconds.
    own_limit_s : float, optional
        The unit's own limit for an interval. There is none by default, and none is published here.

    Examples
    --------
    >>> doses = [CardioplegiaDose(120, 300, "root", 800), CardioplegiaDose(1500, 1620, "ostial", 300)]
    >>> found = cardioplegia_ledger(doses, [(60, 3000)], own_limit_s=1250)
    >>> [(row.since_clamp_s, row.interval_s, row.over_own_limit) for row in found.rows]
    [(60, 60, False), (1440, 1200, False)]
    >>> found.last_intervals_s, found.longest_interval_s
    ((1380,), 1380)
    """
    held = merge_intervals([as_interval(one) for one in clamps])
    ordered = sorted(doses, key=lambda dose: (dose.start, dose.end))
    reached = {clamp: clamp[0] for clamp in held}
    rows = []
    for dose in ordered:
        clamp = next((one for one in held if one[0] <= dose.start < one[1]), None)
        if clamp is None:
            rows.append(DoseRow(dose, math.nan, math.nan, None))
            continue
        gap = max(dose.start - reached[clamp], 0)
        over = None if own_limit_s is None else gap > own_limit_s
        rows.append(DoseRow(dose, dose.start - clamp[0], gap, over))
        reached[clamp] = max(reached[clamp], min(dose.end, clamp[1]))
    last = tuple(clamp[1] - reached[clamp] for clamp in held)
    gaps = [row.interval_s for row in rows if not math.isnan(row.interval_s)]
    return CardioplegiaLedger(
        rows=tuple(rows),
        clamp_s=sum(end - start for start, end in held),
        longest_interval_s=max([*gaps, *last], default=math.nan),
        last_intervals_s=last,
        own_limit_s=own_limit_s,
        clamps=tuple(held),
    )


def doses_from_flow(
    flow: Series,
    *,
    least_flow: float = 20.0,
    at_least_s: int = 10,
    temperature: Series | None = None,
    delivery_pressure: Series | None = None,
) -> tuple[CardioplegiaDose, ...]:
    """Doses read off a channel of cardioplegia flow in mL/min, with the volume of each in mL.

    Parameters
    ----------
    flow : Series
        mL/min, one value a second.
    least_flow, at_least_s : float, int
        A dose runs at this flow or more, in mL/min, for so many observed seconds (this project's choice).
        Interruptions of up to 5 known or 30 unknown seconds do not end it.
    temperature, delivery_pressure : Series, optional
        °C and mmHg on the same seconds; their medians over each dose are given.

    Returns
    -------
    tuple of CardioplegiaDose
        The route is left empty: a channel does not know it. Seconds that were not observed add no volume, so
        that of a dose with a gap is a least value.

    Examples
    --------
    >>> from afterclamp.annotate.series import from_values
    >>> found = doses_from_flow(from_values(0.0, np.r_[np.zeros(60), np.full(120, 300.0), np.zeros(60)]))
    >>> [(dose.start, dose.end, dose.volume_ml) for dose in found]
    [(60.0, 180.0, 600.0)]
    """
    known = flow.state == OBSERVED
    found = evidence_runs(flow.values >= least_flow, known, minimum=at_least_s)
    return tuple(
        CardioplegiaDose(
            start=flow.start + run.start,
            end=flow.start + run.stop,
            volume_ml=float(np.nansum(flow.values[run.start : run.stop])) / 60,
            temperature_c=_median(temperature, flow, run.start, run.stop),
            delivery_pressure=_median(delivery_pressure, flow, run.start, run.stop),
            source=flow.site or flow.name,
        )
        for run in found
    )


def _median(series: Series | None, flow: Series, start: int, stop: int) -> float:
    if series is None:
        return math.nan
    if (series.start, series.values.size) != (flow.start, flow.values.size):
        raise ValueError("temperature and pressure need the same seconds as the flow")
    values = series.values[start:stop][series.state[start:stop] == OBSERVED]
    return float(np.median(values)) if values.size else math.nan
