"""Figures of a case: each a number with its limit, that limit's source, and its denominator.

``figures(case)`` takes every limit of the sets in force and measures the case against it in the phase
that the limit names. What is left out by design (arrests, brain perfusion alone, ramps) is counted as
excluded and the arrests are told apart. Without a fact that a measure needs its figure says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from .derived import Absent, Derived, Measured
from .limits import Limit, LimitSet, default_sets
from .measures.exposure import Exposure, exposure
from .measures.intervals import Interval
from .quality import PRESSURES
from .series import MASKED, MISSING, OBSERVED, Series
from .windows import Windows, seconds_at

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel

FLOW_FOR_PRESSURE = 1.3  # L/min; under it the pump does not carry the circulation (this project's choice)
FLOW_FOR_GRADIENT = 1.0  # L/min; under it the venous probe feels standing blood (this project's choice)
WARM_OUTLET_C = 32.0  # from here on flow and oxygen delivery are judged (this project's choice)
RUN_GAP_S = 5.0  # interruptions that do not end a stretch (this project's choice)


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
    limit, limit_unit, side, limit_source
        The limit, ``"below"``, ``"above"`` or ``"at least"``, and where it comes from.
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
        The stretches outside, reference seconds.
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

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON: no NaN, lists instead of tuples, seconds to a millisecond."""
        return {field.name: _plain(getattr(self, field.name)) for field in fields(self)}


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6) if np.isfinite(value) else None
    if isinstance(value, tuple | list):
        return [_plain(part) for part in value]
    return value


def figures(
    case: Case, believe: str | None = None, limits: LimitSet | Sequence[LimitSet] | None = None
) -> list[Figure]:
    """All figures of a case.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    believe : str, optional
        Arterial site to go by instead of the proposed one.
    limits : LimitSet or sequence of LimitSet, optional
        The sets in force; the published and the practice set if not given.

    Returns
    -------
    list of Figure
        First one row for each limit and phase, in the order of the sets, then the mean of each pressure wave.
    """
    sets = default_sets() if limits is None else (limits,) if isinstance(limits, LimitSet) else tuple(limits)
    bench = _Bench(case, believe)
    found = [
        figure
        for one in sets
        for limit in one
        if limit.figure
        for figure in bench.of_limit(limit, [f"{r.words} ({r.cited})" for r in one.rivals_of(limit)])
    ]
    return found + bench.record_means()


class _Bench:
    """One case with its windows, ready to be measured against limits."""

    def __init__(self, case: Case, believe: str | None) -> None:
        self.case = case
        self.derived = Derived(case, believe)
        self.windows = Windows(case, self.derived)

    # -- limits -------------------------------------------------------------------------------------

    def of_limit(self, limit: Limit, rivals: list[str]) -> list[Figure]:
        """The rows of one limit."""
        if limit.measure in ("cerebral_saturation", "cerebral_saturation_of_baseline"):
            return [self._cerebral(limit, side, rivals) for side in ("left", "right")]
        if limit.measure == "mean_arterial_pressure":
            return self._pressure(limit, rivals)
        if limit.measure in ("oxygen_delivery_index", "pump_flow_index"):
            return self._delivery(limit, rivals)
        measured, exclude, words = self._plain_measure(limit.measure)
        return [
            self._row(limit, measured, token, window, exclude, words, rivals)
            for token, window in self.windows.of(limit.phase)
        ]

    def _plain_measure(self, name: str) -> tuple[Measured, list[Interval], str]:
        """A measure, what its windows leave out, and that in words."""
        derived = self.derived
        stagnant = seconds_at(derived.pump_flow, "below", FLOW_FOR_GRADIENT)
        still = f"flow under {FLOW_FOR_GRADIENT:g} L/min"
        if name in ("warming_gradient_cold", "warming_gradient_warm"):
            warm = name.endswith("warm")
            level = seconds_at(derived.outlet_temperature, "below" if warm else "at least", 30.0)
            words = f"{still}, and outlet {'under 30' if warm else '30 or more'} °C"
            return derived.warming_gradient, stagnant + level, words
        if name == "cooling_gradient":
            return derived.cooling_gradient, stagnant, still
        if name == "warming_rate":
            cold = seconds_at(derived.outlet_temperature, "below", 30.0)
            return derived.warming_rate, stagnant + cold, f"{still}, and outlet under 30 °C"
        measured = getattr(derived, name, None)
        if not isinstance(measured, Series | Absent):
            return Absent(f"no measure is called '{name}'"), [], ""
        return measured, [], ""

    def _pressure(self, limit: Limit, rivals: list[str]) -> list[Figure]:
        rows = []
        for token, window in self.windows.of(limit.phase):
            if token != "established":
                exclude, words = (self.windows.arrests, "") if token == "bypass" else ([], "")
                row = self._row(
                    limit, self.derived.mean_arterial_pressure, token, window, exclude, words, rivals
                )
                rows.append(self._with_other_sites(row, limit, window, exclude))
                continue
            low = seconds_at(self.derived.pump_flow, "below", FLOW_FOR_PRESSURE)
            words = f"arrests, brain perfusion alone and flow under {FLOW_FOR_PRESSURE:g} L/min"
            pressure = _known_with(self.derived.mean_arterial_pressure, self.derived.pump_flow)
            row = self._row(limit, pressure, token, window, self.windows.arrests + low, words, rivals)
            rows.append(self._with_other_sites(row, limit, window, self.windows.arrests + low))
            if limit.below is not None and self.windows.arrests and not isinstance(window, Absent):
                apart = self._row(
                    limit,
                    self.derived.mean_arterial_pressure,
                    "lower_body_arrest",
                    self.windows.arrests,
                    [],
                    "",
                    rivals,
                )
                rows.append(
                    _noted(apart, "in planned arrest and brain perfusion alone: told apart, not judged")
                )
                mistaken = self._row(
                    limit, self.derived.mean_arterial_pressure, token, window, [], "", rivals
                )
                rows.append(_noted(mistaken, "arrests not excluded: the usual mistake, for comparison"))
        return rows

    def _with_other_sites(
        self, row: Figure, limit: Limit, window: list[Interval] | Absent, exclude: list[Interval]
    ) -> Figure:
        """The same row, with a sentence where another arterial line would change the conclusion."""
        if row.value is None or isinstance(window, Absent):
            return row
        sentences = []
        for channel in self.case.of_kind("arterial_pressure"):
            if not channel.is_wave or not channel.site or channel is self.derived.site:
                continue
            other = _expose(limit, self.derived.pressure(channel), window, exclude)
            moved = abs(other.outside_s - row.outside_s) > 0.25 * max(row.outside_s, other.outside_s)
            if other.observed_s > 0 and moved:
                sentences.append(
                    f"with {channel.plain_name} believed instead of {_words(row.site)}: "
                    f"{other.outside_s / 60:.1f} min and {other.area:.0f} {row.unit} instead of "
                    f"{row.outside_s / 60:.1f} min and {row.area:.0f}"
                )
        return _noted(row, *sentences)

    def _delivery(self, limit: Limit, rivals: list[str]) -> list[Figure]:
        measured = getattr(self.derived, limit.measure)
        outlet = self.derived.outlet_temperature
        rows = []
        for token, window in self.windows.of(limit.phase):
            if isinstance(measured, Series) and isinstance(outlet, Absent):
                rows.append(self._row(limit, outlet, token, window, [], "", rivals))
                continue
            known = _known_with(measured, outlet)
            cold = seconds_at(outlet, "below", WARM_OUTLET_C)
            warm = seconds_at(outlet, "at least", WARM_OUTLET_C)
            words = f"arrests, and outlet under {WARM_OUTLET_C:g} °C"
            rows.append(self._row(limit, known, token, window, self.windows.arrests + cold, words, rivals))
            if limit.measure == "oxygen_delivery_index" and isinstance(known, Series):
                low = seconds_at(self.derived.pump_flow, "below", FLOW_FOR_PRESSURE)
                words = f"arrests, flow under {FLOW_FOR_PRESSURE:g} L/min, and outlet {WARM_OUTLET_C:g} °C or more"
                apart = self._row(
                    limit, known, token, window, self.windows.arrests + low + warm, words, rivals
                )
                rows.append(
                    _noted(apart, f"while the outlet was under {WARM_OUTLET_C:g} °C: told, not judged")
                )
        return rows

    def _cerebral(self, limit: Limit, side: str, rivals: list[str]) -> Figure:
        saturation = self.derived.cerebral_saturation(side)
        [(token, window)] = self.windows.of(limit.phase)
        level, note = limit.value, ""
        if limit.measure == "cerebral_saturation_of_baseline":
            baseline = self.derived.cerebral_baseline(side)
            if isinstance(baseline, Absent):
                row = self._row(limit, baseline, token, window, [], "", rivals)
                return replace(row, site=f"{side}_cerebral_saturation")
            level = round(limit.value / 100 * baseline, 3)
            note = f"{limit.value:g} % of a baseline of {baseline:.1f} %"
        row = self._row(limit, saturation, token, window, [], "", rivals, level)
        return replace(_noted(row, note), site=f"{side}_cerebral_saturation")

    # -- rows ---------------------------------------------------------------------------------------

    def _row(
        self,
        limit: Limit,
        measured: Measured,
        token: str,
        window: list[Interval] | Absent,
        exclude: list[Interval],
        excluded_words: str,
        rivals: list[str],
        level: float | None = None,
    ) -> Figure:
        row = Figure(
            measure=limit.measure,
            phase=token,
            limit=limit.value if level is None else level,
            limit_unit=limit.unit,
            side="below" if limit.below is not None else "at least" if limit.inclusive else "above",
            limit_source=limit.cited,
            limit_id=limit.id,
            rivals=tuple(rivals),
        )
        if isinstance(measured, Absent):
            return replace(row, note=f"not computed: {measured.reason}")
        if isinstance(window, Absent):
            return replace(row, note=f"not computed: {window.reason}")
        row = replace(row, site=measured.site)
        if limit.unit not in (measured.unit, "%"):
            reason = f"the limit is in {limit.unit}, the record in {measured.unit or 'an unknown unit'}"
            return replace(row, note=f"not computed: {reason}")
        found = _expose(limit, measured, window, exclude, level)
        row = replace(
            row,
            observed_s=found.observed_s,
            excluded_s=found.excluded_s,
            masked_s=found.masked_s,
            missing_s=found.missing_s,
        )
        if found.observed_s <= 0:
            return replace(row, note="not computed: nothing usable was recorded in that time")
        excluded = f"excluded by design: {excluded_words}" if excluded_words and found.excluded_s > 0 else ""
        return replace(
            row,
            value=found.area,
            unit=_area_unit(measured.unit),
            outside_s=found.outside_s,
            area=found.area,
            nadir=found.nadir,
            longest_run_s=found.longest_run_s,
            largest_single_area=found.largest_single_area,
            time_weighted_average=found.time_weighted_average,
            method=f"{found.method}, one value a second; stretches up to {RUN_GAP_S:g} s apart are one",
            note="; ".join(filter(None, [measured.note, excluded])),
            runs=found.runs,
        )

    def record_means(self) -> list[Figure]:
        """Mean of each pressure wave over the record, artefacts left out; also of lines without a site."""
        channels = [channel for kind in PRESSURES for channel in self.case.of_kind(kind)]
        return [self._record_mean(channel) for channel in channels if channel.is_wave]

    def _record_mean(self, channel: Channel) -> Figure:
        series = self.derived.pressure(channel)
        values = series.values[series.state == OBSERVED]
        named = channel.site or channel.kind != "arterial_pressure"
        note = "" if named else "the site of this line is not known: no rule uses it"
        return Figure(
            measure="mean_pressure",
            phase="record",
            value=float(values.mean()) if values.size else None,
            unit=channel.unit,
            observed_s=float(values.size),
            masked_s=float(np.count_nonzero(series.state == MASKED)),
            missing_s=float(np.count_nonzero(series.state == MISSING)),
            site=channel.name,
            nadir=float(values.min()) if values.size else None,
            method=series.note,
            note=note if values.size else "not computed: nothing usable was recorded",
        )


def _expose(
    limit: Limit,
    series: Series,
    window: Iterable[Interval],
    exclude: Iterable[Interval],
    level: float | None = None,
) -> Exposure:
    value = limit.value if level is None else level
    return exposure(
        series,
        below=None if limit.is_above else value,
        above=value if limit.is_above else None,
        inclusive=limit.inclusive,
        within=list(window),
        exclude=list(exclude),
        close_gaps_s=RUN_GAP_S,
        limit_source=limit.cited,
    )


def _area_unit(unit: str) -> str:
    """Unit times minutes, as UCUM; a rate per minute loses its minute."""
    if unit == "1":
        return "min"
    numerator, per_minute, rest = unit.partition("/min")
    return numerator + rest if per_minute else f"{unit}.min"


def _known_with(measured: Measured, other: Measured) -> Measured:
    """A measure whose seconds are missing where the channel that decides about them is."""
    if isinstance(measured, Absent) or isinstance(other, Absent):
        return measured
    state = np.maximum(measured.state, np.where(other.state == MISSING, MISSING, OBSERVED).astype(np.uint8))
    values = np.where(state == OBSERVED, measured.values, np.nan)
    return Series(measured.start, values, state, measured.unit, measured.name, measured.site, measured.note)


def _noted(row: Figure, *sentences: str) -> Figure:
    return replace(row, note="; ".join(filter(None, [row.note, *sentences])))


def _words(site: str) -> str:
    return site.replace("_", " ")
