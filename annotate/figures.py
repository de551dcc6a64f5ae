"""Figures of a case: each a number with its limit, that limit's source, and its denominator.

``figures(case)`` takes every limit of the sets in force and measures the case against it in the phase
that the limit names. What is left out by design (arrests, brain perfusion alone, ramps) is counted as
excluded and the arrests are told apart. Without a fact that a measure needs its figure says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from .derived import Absent, Derived, Measured
from .figure_row import RUN_GAP_S, Figure, area_unit, exposed, minutes_text, with_longest
from .finds import Find, find
from .limits import Limit, LimitSet, in_force, oxygen_constants, rule_limits
from .measures.intervals import Interval
from .named import Signal, under_their_site
from .quality import PRESSURES
from .series import MASKED, MISSING, OBSERVED, Series
from .site import stand_ins
from .view import View
from .windows import Windows, seconds_at

if TYPE_CHECKING:
    from afterclamp.io.case import Case

__all__ = ["Figure", "figures"]


FLOW_FOR_PRESSURE = 1.3  # L/min; under it the pump does not carry the circulation (this project's choice)
FLOW_FOR_GRADIENT = 1.0  # L/min; under it the venous probe feels standing blood (this project's choice)
WARM_OUTLET_C = 32.0  # from here on flow and oxygen delivery are judged (this project's choice)
OF_THE_LINE = ("E01", "E13")
"""Rules that hold a low pressure back because it looks like the line's and not the patient's."""


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
        The sets in force; the published and the practice set if not given, or where they hold no limit but
        only the constants of oxygen content.

    Returns
    -------
    list of Figure
        First one row for each limit and phase, in the order of the sets, then the mean of each pressure wave.
    """
    sets = in_force(limits)
    bench = _Bench(case, believe, sets)
    found = [
        replace(figure, limit_set=one.title)
        for one in sets
        for limit in one
        if limit.figure
        for figure in bench.of_limit(limit, [f"{r.words} ({r.cited})" for r in one.rivals_of(limit)])
    ]
    return [bench.with_clocks(figure) for figure in found + bench.record_means()]


class _Bench:
    """One case with its windows, ready to be measured against limits."""

    def __init__(self, case: Case, believe: str | None, sets: Sequence[LimitSet]) -> None:
        self.case = case
        self.derived = Derived(case, believe, oxygen_constants(case, sets))
        self.windows = Windows(case, self.derived)
        self.doubted: tuple[Find, ...] = ()
        self.instead: list[tuple[Signal, Interval, str]] = []
        if self.derived.site is not None:
            found = find(case, believe, rule_limits(*sets))
            self.doubted = tuple(
                one for one in found.held_back if one.code in OF_THE_LINE and one.site == found.site
            )
            self.instead = self._stand_ins(View.of(case, believe))

    def _stand_ins(self, view: View) -> list[tuple[Signal, Interval, str]]:
        """Lines that stand in for the believed one, each with when, in seconds, and why."""
        named = under_their_site(self.derived.signals, self.derived.site)
        return [
            (named[one.name], (view.time(one.start), view.time(one.stop)), one.why) for one in stand_ins(view)
        ]

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
        part = {
            "warming_gradient_cold": "outlet under 30 °C",
            "warming_gradient_warm": "outlet at 30 °C or more",
        }
        return [
            replace(
                self._row(limit, measured, token, window, exclude, words, rivals),
                part=part.get(limit.measure, ""),
            )
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
            words = f"{still}, and outlet {'under 30 °C' if warm else 'at 30 °C or more'}"
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
        pressure = self.derived.mean_arterial_pressure
        for token, window in self.windows.of(limit.phase):
            if token != "established":
                exclude, words = (self.windows.arrests, "") if token == "bypass" else ([], "")
                row = self._row(limit, pressure, token, window, exclude, words, rivals)
                rows.append(self._with_what_else(row, limit, window, exclude))
                continue
            low = seconds_at(self.derived.pump_flow, "below", FLOW_FOR_PRESSURE)
            words = f"arrests, brain perfusion alone and flow under {FLOW_FOR_PRESSURE:g} L/min"
            exclude = self.windows.arrests + low
            row = self._row(limit, self._with_flow(pressure), token, window, exclude, words, rivals)
            rows.append(self._with_what_else(row, limit, window, exclude))
            if limit.below is not None and self.windows.arrests and not isinstance(window, Absent):
                arrests = self.windows.arrests
                apart = self._row(limit, pressure, "lower_body_arrest", arrests, [], "", rivals)
                rows.append(
                    apart.noted("in planned arrest and brain perfusion alone: told apart, not judged")
                )
                mistaken = self._row(limit, pressure, token, window, [], "", rivals)
                mistaken = replace(mistaken, part="arrests counted in")
                rows.append(mistaken.noted("arrests not excluded: the usual mistake, for comparison"))
        return rows

    def _with_flow(self, pressure: Measured) -> Measured:
        """The pressure where the flow that decides about it is known."""
        return _known_with(pressure, self.derived.pump_flow)

    def _with_what_else(
        self, row: Figure, limit: Limit, window: list[Interval] | Absent, exclude: list[Interval]
    ) -> Figure:
        """The same row with what it would be without the doubted seconds, and at another site."""
        row = self._with_doubted(row, limit, window, exclude)
        row = self._with_stand_ins(row, limit, window, exclude)
        return self._with_other_sites(row, limit, window, exclude)

    def _with_stand_ins(
        self, row: Figure, limit: Limit, window: list[Interval] | Absent, exclude: list[Interval]
    ) -> Figure:
        """The same row, with a sentence on the time for which the believed line has nothing and another has.

        A row keeps its one site: those seconds are missing in it.
        """
        if isinstance(window, Absent) or not row.site:
            return row
        sentences = []
        for signal, (start, end), why in self.instead:
            inside = [(max(start, a), min(end, b)) for a, b in window if a < end and b > start]
            other = self._with_flow(self.derived.pressure(signal)) if row.phase == "established" else None
            series = other if isinstance(other, Series) else self.derived.pressure(signal)
            found = exposed(limit, series, inside, exclude)
            if inside and found.observed_s > 0:
                whole = sum(b - a for a, b in inside)
                sentences.append(
                    f"{whole / 60:.1f} min while {_words(row.site)} {why} are not counted: {signal.plain_name}, "
                    f"which stands in for finds, was outside for {found.outside_s / 60:.1f} of "
                    f"{found.observed_s / 60:.1f} observed min of them"
                )
        return row.noted(*sentences)

    def _with_doubted(
        self, row: Figure, limit: Limit, window: list[Interval] | Absent, exclude: list[Interval]
    ) -> Figure:
        """The same row, with a sentence on what lies in stretches that a rule held back.

        They are counted all the same: that a line fell alone can be its kink, or the very difference between
        sites that a figure is there to show, and which of the two it is a person decides.
        """
        pressure = self.derived.mean_arterial_pressure
        if row.value is None or isinstance(window, Absent) or isinstance(pressure, Absent):
            return row
        if row.phase == "established":
            pressure = _known_with(pressure, self.derived.pump_flow)
        spans = [(one.start_s, one.end_s) for one in self.doubted]
        if isinstance(pressure, Absent) or not spans or limit.is_above:
            return row
        left = exposed(limit, pressure, window, [*exclude, *spans])
        held_back_s = row.outside_s - left.outside_s
        if held_back_s <= 0:
            return row
        inside = [one for one in self.doubted if any(one.start_s < b and one.end_s > a for a, b in window)]
        codes = " and ".join(dict.fromkeys(one.code for one in inside))
        stretches = ", ".join(f"{minutes_text(one.start_s)} to {minutes_text(one.end_s)}" for one in inside)
        reasons = " / ".join(dict.fromkeys(one.held_back for one in inside))
        sentence = (
            f"{held_back_s / 60:.1f} min of it lie where {codes} is held back, {stretches} ({reasons}): without "
            f"them {left.outside_s / 60:.1f} of {left.observed_s / 60:.1f} observed min and {left.area:.0f} {row.unit}"
        )
        return replace(row, held_back_s=held_back_s).noted(sentence)

    def _with_other_sites(
        self, row: Figure, limit: Limit, window: list[Interval] | Absent, exclude: list[Interval]
    ) -> Figure:
        """The same row, with a sentence where another arterial line would change the conclusion."""
        if row.value is None or isinstance(window, Absent):
            return row
        sentences = []
        for signal in self.derived.signals.values():
            if not _is_other_line(signal, self.derived.site):
                continue
            other = exposed(limit, self.derived.pressure(signal), window, exclude)
            moved = abs(other.outside_s - row.outside_s) > 0.25 * max(row.outside_s, other.outside_s)
            if other.observed_s > 0 and moved:
                sentences.append(
                    f"with {signal.plain_name} believed instead of {_words(row.site)}: "
                    f"{other.outside_s / 60:.1f} min and {other.area:.0f} {row.unit} instead of "
                    f"{row.outside_s / 60:.1f} min and {row.area:.0f}"
                )
        return row.noted(*sentences)

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
            exclude = self.windows.arrests + cold
            judged = self._row(limit, known, token, window, exclude, words, rivals)
            judged = with_longest(judged, limit, known, window, exclude)
            rows.append(replace(judged, part=f"outlet at {WARM_OUTLET_C:g} °C or more"))
            if limit.measure == "oxygen_delivery_index" and isinstance(known, Series):
                low = seconds_at(self.derived.pump_flow, "below", FLOW_FOR_PRESSURE)
                words = f"arrests, flow under {FLOW_FOR_PRESSURE:g} L/min, and outlet at {WARM_OUTLET_C:g} °C or more"
                apart = self._row(
                    limit, known, token, window, self.windows.arrests + low + warm, words, rivals
                )
                apart = replace(apart, part=f"outlet under {WARM_OUTLET_C:g} °C")
                rows.append(apart.noted(f"while the outlet was under {WARM_OUTLET_C:g} °C: told, not judged"))
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
        return replace(row.noted(note), site=row.site or f"{side}_cerebral_saturation")

    def with_clocks(self, row: Figure) -> Figure:
        """The same row, with a word where it lays sources over each other and a clock of theirs is not set."""
        tokens = row.site.split(" and ")
        signals = [one for one in self.derived.signals.values() if one.token in tokens]
        if row.phase != "record":  # the pump tells the phases
            signals += [one for one in self.derived.signals.values() if one.name == "pump_flow"]
        names = {channel.source for one in signals for channel in one.channels}
        unset = [one.name for one in self.case.sources if one.name in names and one.clock.method == "unset"]
        if row.value is None or len(names) < 2 or not unset:
            return row
        clocks = f"the clock{'s' if len(unset) > 1 else ''} of {' and '.join(unset)}"
        said = (
            f"± unknown, {clocks} not set: which seconds of {' and '.join(sorted(names))} belong together is "
            "taken from their stamps"
        )
        return replace(row, note="; ".join(filter(None, [said, row.note])))

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
        found = exposed(limit, measured, window, exclude, level)
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
            unit=area_unit(measured.unit),
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
        waves = [one for one in self.derived.signals.values() if one.first.is_wave]
        return [self._record_mean(one) for kind in PRESSURES for one in waves if one.first.kind == kind]

    def _record_mean(self, signal: Signal) -> Figure:
        series = self.derived.pressure(signal)
        values = series.values[series.state == OBSERVED]
        named = signal.first.site or signal.first.kind != "arterial_pressure"
        unknown = "" if named else "the site of this line is not known: no rule uses it"
        note = "; ".join(filter(None, [signal.joined, unknown]))
        return Figure(
            measure="mean_pressure",
            phase="record",
            value=float(values.mean()) if values.size else None,
            unit=series.unit,
            observed_s=float(values.size),
            masked_s=float(np.count_nonzero(series.state == MASKED)),
            missing_s=float(np.count_nonzero(series.state == MISSING)),
            site=series.site,
            nadir=float(values.min()) if values.size else None,
            method=series.note,
            note=note if values.size else "not computed: nothing usable was recorded",
        )


def _is_other_line(signal: Signal, believed: Signal | None) -> bool:
    first = signal.first
    is_line = first.kind == "arterial_pressure" and first.is_wave and bool(first.site)
    return is_line and (believed is None or signal.name != believed.name)


def _known_with(measured: Measured, other: Measured) -> Measured:
    """A measure whose seconds are missing where the channel that decides about them is."""
    if isinstance(measured, Absent) or isinstance(other, Absent):
        return measured
    state = np.maximum(measured.state, np.where(other.state == MISSING, MISSING, OBSERVED).astype(np.uint8))
    values = np.where(state == OBSERVED, measured.values, np.nan)
    return Series(measured.start, values, state, measured.unit, measured.name, measured.site, measured.note)


def _words(site: str) -> str:
    return site.replace("_", " ")
