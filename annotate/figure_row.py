"""One figure: a number with its limit, that limit's source, and its denominator."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from .derived import Absent, Measured
from .masked_gaps import across_masked
from .measures.exposure import Exposure, exposure
from .measures.intervals import Interval
from .measures.pieces import Method

if TYPE_CHECKING:
    from .dose import Counted
    from .limits import Limit
    from .series import Series

RUN_GAP_S = 5.0  # interruptions that do not end a stretch (this project's choice)
METHOD_MATTERS = (
    0.01  # part of time or area by which two ways of counting have to differ to be told (likewise)
)


class Outside(NamedTuple):
    """Seconds and area outside a limit, seconds observed, and masked seconds that were bridged for it."""

    outside_s: float
    area: float
    observed_s: float
    bridged_s: float


class OtherLine(NamedTuple):
    """What another arterial line would have made of a figure: its name in words, seconds and area outside, told."""

    line: str
    outside_s: float
    area: float
    sentence: str


@dataclass(frozen=True)
class Figure:
    """One row of the table of minutes and areas.

    Attributes
    ----------
    measure, phase : str
        Tokens: what was measured, and when.
    value, unit
        The area outside the limit (``unit`` is then the measure's unit times minutes), or a mean, or
        None where it was not computed: the note then says why.
    limit, limit_unit, side, limit_source, limit_set
        The limit, ``"below"``, ``"above"`` or ``"at least"``, where it comes from, and the set that it stands in
        with its version.
    outside_s, observed_s, excluded_s, masked_s, missing_s : float
        Seconds; the last four add up to the window.
    site : str
        Which channel it rests on.
    clean : str
        ``"masked"`` (artefacts left out) or ``"raw"``.
    area, nadir, longest_run_s, largest_single_area : float or None
        As in `Exposure`; `nadir` is the highest value for a limit from above.
    time_weighted_average : float or None
        Area over observed time, in the measure's unit.
    method : str
        How it was counted.
    note : str
        What a reader must know.
    rivals : tuple of str
        Limits that say otherwise, each with its source.
    runs : tuple of (start, end)
        The stretches outside, reference seconds; each reaches over interruptions of up to `RUN_GAP_S`.
    held_back_s : float
        Seconds of `outside_s` in stretches that a rule saw and held back; the note says why, and what is left
        without them.
    part : str
        Which part of the phase was counted, where rows of one limit and phase differ in that.
    bridged_s, bridged_outside_s, bridged_area : float or None
        Masked seconds that a straight line between their neighbours can bridge (`masked_gaps.across_masked`), and
        time (seconds) and area outside with them: an estimate to be printed beside the observed numbers, None where
        nothing is bridged. Both count of ``observed_s + bridged_s``.
    exact_outside_s, exact_area : float or None
        The same with straight lines between the values of the seconds, cut where they cross the limit.
    limit_words : str
        The limit in words where its number alone says too little: ``"below 80 % of 61.2 %"``.
    outside_unc_s : float or None
        Half width of the 95 % interval of `outside_s` (`figure_uncertainty`); infinite where a clock was set by nobody.
    other_lines : tuple of OtherLine
        Lines that would change the conclusion if they were believed throughout; each sentence stands in `note` too.
    counted : Counted or None
        What it was counted from, to be drawn out second by second (`dose.dose`); None for a mean. Not in `to_dict`.
    """

    measure: str
    phase: str
    value: float | None = None
    unit: str = ""
    limit: float | None = None
    limit_unit: str = ""
    side: str = ""
    limit_source: str = ""
    limit_id: str = ""
    limit_set: str = ""
    outside_s: float = 0.0
    observed_s: float = 0.0
    excluded_s: float = 0.0
    masked_s: float = 0.0
    missing_s: float = 0.0
    site: str = ""
    clean: str = "masked"
    area: float | None = None
    nadir: float | None = None
    longest_run_s: float | None = None
    largest_single_area: float | None = None
    time_weighted_average: float | None = None
    method: str = ""
    note: str = ""
    rivals: tuple[str, ...] = ()
    runs: tuple[Interval, ...] = ()
    held_back_s: float = 0.0
    part: str = ""
    bridged_s: float = 0.0
    bridged_outside_s: float | None = None
    bridged_area: float | None = None
    exact_outside_s: float | None = None
    exact_area: float | None = None
    limit_words: str = ""
    outside_unc_s: float | None = None
    other_lines: tuple[OtherLine, ...] = ()
    counted: Counted | None = field(default=None, compare=False, repr=False)

    @property
    def bridged(self) -> Outside:
        """Time and area outside with the masked stretches bridged where they can be."""
        if self.bridged_outside_s is None or self.bridged_area is None:
            return Outside(self.outside_s, self.area or 0.0, self.observed_s, 0.0)
        return Outside(self.bridged_outside_s, self.bridged_area, self.observed_s, self.bridged_s)

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON: no NaN, lists instead of tuples, seconds to a millisecond."""
        names = [one.name for one in fields(self) if one.name != "counted"]
        return {name: _plain(getattr(self, name)) for name in names}

    def noted(self, *sentences: str) -> Figure:
        """The same figure with more that a reader must know; what is empty adds nothing."""
        return replace(self, note="; ".join(filter(None, [self.note, *sentences])))


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6) if np.isfinite(value) else None
    if isinstance(value, OtherLine):
        return {name: _plain(part) for name, part in value._asdict().items()}
    if isinstance(value, tuple | list):
        return [_plain(part) for part in value]
    return value


def exposed(
    limit: Limit,
    series: Series,
    window: Iterable[Interval],
    exclude: Iterable[Interval],
    level: float | None = None,
    shortest_s: float = 0.0,
    method: Method = "hold",
) -> Exposure:
    """A series against a limit, or against another level of it (per cent of a baseline)."""
    value = limit.value if level is None else level
    return exposure(
        series,
        below=None if limit.is_above else value,
        above=value if limit.is_above else None,
        inclusive=limit.inclusive,
        within=list(window),
        exclude=list(exclude),
        min_run_s=shortest_s,
        close_gaps_s=RUN_GAP_S,
        method=method,
        limit_source=limit.cited,
    )


def outside_of(
    limit: Limit,
    series: Series,
    window: Iterable[Interval],
    exclude: Iterable[Interval],
    level: float | None = None,
) -> Outside:
    """Time and area outside a limit with masked stretches bridged where they can be."""
    seen = exposed(limit, series, window, exclude, level)
    if seen.masked_s <= 0:
        return Outside(seen.outside_s, seen.area, seen.observed_s, 0.0)
    whole = exposed(limit, across_masked(series), window, exclude, level)
    return Outside(whole.outside_s, whole.area, seen.observed_s, whole.observed_s - seen.observed_s)


def with_filled(
    row: Figure,
    limit: Limit,
    series: Series,
    window: Iterable[Interval],
    exclude: Iterable[Interval],
    level: float | None = None,
) -> Figure:
    """The same row with what it would be if masked stretches were bridged, in words where that is another number."""
    if row.masked_s <= 0:
        return row
    whole = outside_of(limit, series, window, exclude, level)
    if whole.bridged_s <= 0:
        return row
    row = replace(
        row,
        bridged_s=whole.bridged_s,
        bridged_outside_s=whole.outside_s,
        bridged_area=whole.area,
    )
    if whole.outside_s - row.outside_s < 1:
        return row
    return row.noted(
        f"with a straight line across {_short(whole.bridged_s)} masked in it: {whole.outside_s / 60:.1f} of "
        f"{(whole.observed_s + whole.bridged_s) / 60:.1f} min and {whole.area:.0f} {row.unit} (an estimate)"
    )


def with_exact(
    row: Figure,
    limit: Limit,
    series: Series,
    window: Iterable[Interval],
    exclude: Iterable[Interval],
    level: float | None = None,
) -> Figure:
    """The same row counted by exact crossings too, in words where the way of counting matters."""
    exact = exposed(limit, series, window, exclude, level, method="exact")
    row = replace(row, exact_outside_s=exact.outside_s, exact_area=exact.area)
    held = row.area or 0.0
    moved_s = abs(exact.outside_s - row.outside_s)
    matters = (moved_s >= 1 and moved_s > METHOD_MATTERS * max(exact.outside_s, row.outside_s)) or abs(
        exact.area - held
    ) > METHOD_MATTERS * max(exact.area, held)
    if not matters or max(exact.outside_s, row.outside_s) < 1:
        return row
    return row.noted(
        f"each second's value held until the next; by straight lines between them {exact.outside_s / 60:.2f} min "
        f"and {exact.area:.3g} {row.unit}"
    )


def _short(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 60 else f"{seconds / 60:.1f} min"


def with_longest(
    row: Figure, limit: Limit, measured: Measured, window: list[Interval] | Absent, exclude: list[Interval]
) -> Figure:
    """The same row with its longest stretch told apart: a short stop of the pump reaches nought by itself."""
    if not row.longest_run_s or row.longest_run_s >= row.outside_s:
        return row
    if isinstance(measured, Absent) or isinstance(window, Absent):
        return row
    longest = exposed(limit, measured, window, exclude, shortest_s=row.longest_run_s)
    start, end = longest.runs[0]
    return row.noted(
        f"longest stretch {minutes_text(start)} to {minutes_text(end)}: {row.longest_run_s / 60:.1f} min, "
        f"{longest.area:.0f} {row.unit}, farthest {longest.nadir:.3g} {limit.unit}",
    )


def area_unit(unit: str) -> str:
    """Unit times minutes, as UCUM; a rate per minute loses its minute."""
    if unit == "1":
        return "min"
    numerator, per_minute, rest = unit.partition("/min")
    return numerator + rest if per_minute else f"{unit}.min"


def minutes_text(seconds: float) -> str:
    """Minutes and seconds of the record, ``286:05``."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
