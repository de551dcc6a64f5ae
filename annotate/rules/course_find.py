"""A find of a course that stays beyond a limit: what every such rule says of its seconds, once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..runs import FloatArray, Run, median
from ..view import View
from .rule import Find, Params, Rule, before, confidence, counted, rounded


def signed(value: float) -> str:
    """A change as a whole number with its sign; ``0`` without one."""
    whole = round(value)
    return f"{whole:+d}" if whole else "0"


def course_find(
    rule: Rule,
    view: View,
    run: Run,
    course: FloatArray,
    *,
    params: Params,
    channels: tuple[str, ...],
    limit: float,
    unit: str,
    above: bool,
    plain: float,
    minimum: float,
    alternatives: Sequence[Mapping[str, str]],
    subtype: str = "",
    name: str = "",
    site: str = "",
    held_back: str = "",
    agreement: float = 1.0,
    crossed: tuple[int, int] | None = None,
    area: bool = False,
    **more: Any,
) -> Find:
    """The find of one run.

    Parameters
    ----------
    rule : Rule
    view : View
    run : Run
        Seconds in which the course is beyond the limit.
    course : ndarray
        The course that the limit is held against.
    params : mapping of str to float
        The rule's numbers in force.
    channels : tuple of str
        Channels concerned; the one that the times are read from first.
    limit, unit, above : float, str, bool
        The limit, its UCUM unit, and whether the course is above it.
    plain : float
        How far beyond the limit is plain, in the same unit.
    minimum : float
        Shortest length, seconds.
    alternatives : sequence of mapping
        From `rule.alternative`.
    subtype, name, site, held_back : str
        As of `Find`.
    agreement : float
        Share of the other channels asked that agree.
    crossed : (int, int), optional
        First second beyond the limit and first one back, where the find's own times are others.
    area : bool
        Whether what lies beyond the limit, summed over the minutes, means something: `area_beyond`, in minutes
        times `unit`.
    **more
        Further evidence.
    """
    inside = course[run.start : run.stop]
    first, last = crossed or (run.start, run.stop)
    extreme = float(np.nanmax(inside) if above else np.nanmin(inside))
    depth = np.clip((inside - limit) if above else (limit - inside), 0, None)
    return Find(
        rule.code,
        name or rule.name,
        view.time(run.start),
        view.time(run.stop),
        channels,
        site,
        confidence(
            margin=abs(extreme - limit) / plain,
            duration=run.used / max(minimum, 1),
            seen=run.used / (run.stop - run.start),
            agreement=agreement,
        ),
        {
            "rule": rule.sentence(params),
            "limit": round(limit, 2),
            "unit": unit,
            "crossings": [view.time(first), view.time(last)],
            "before": rounded(before(course, run.start), 2),
            "during": rounded(median(inside), 2),
            "peak" if above else "nadir": rounded(extreme, 2),
            "after": rounded(median(course[run.stop : run.stop + 60]), 2),
            **({"area_beyond": rounded(float(np.nansum(depth)) / 60, 2)} if area else {}),
            **counted(view, run, *channels),
            **more,
            "alternatives": list(alternatives),
        },
        subtype=subtype,
        held_back=held_back,
    )
