"""Figures of a case: each a number with its limit, that limit's source, and its denominator.

``figures(case)`` takes every limit of the sets in force and measures the case against it in the phase
that the limit names. What is left out by design (arrests, brain perfusion alone, ramps) goes by the measure,
whatever that phase is; it is counted as excluded and told apart. Without a fact that a measure needs its
figure says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from .beat_course import BEAT_MEASURES, beat_course, believed_beat_course
from .circulation import brain_perfusion_pressure, flow_by_weight
from .derived import Absent, Measured
from .figure_bench import Bench, known_with
from .figure_pressure import (
    FLOW_FOR_PRESSURE,
    PRESSURE_LIMITS,
    pressure_rows,
    ratio_with_other_sites,
    with_bypass_unknown,
    with_other_sites,
)
from .figure_row import Figure, with_longest
from .figure_uncertainty import with_uncertainty
from .limits import Limit, LimitSet, in_force
from .measures.intervals import Interval, subtract_intervals
from .named import Signal
from .quality import PRESSURES
from .series import MASKED, MISSING, OBSERVED, Series
from .windows import seconds_at

if TYPE_CHECKING:
    from afterclamp.io.case import Case

__all__ = ["Figure", "figures"]


FLOW_FOR_GRADIENT = 1.0  # L/min; under it the venous probe feels standing blood (this project's choice)
WARM_OUTLET_C = 32.0  # from here on flow and oxygen delivery are judged (this project's choice)


def figures(
    case: Case,
    believe: str | None = None,
    limits: LimitSet | Sequence[LimitSet] | None = None,
    *,
    masked: bool = True,
) -> list[Figure]:
    """All figures of a case.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    believe : str, optional
        Arterial site to go by instead of the proposed one.
    limits : LimitSet or sequence of LimitSet, optional
        The sets to go by; those in force for the case (`limits.in_force`) if not given, or where they hold no
        limit but only the constants of oxygen content.
    masked : bool
        With False artefacts are left in; every row says which of the two it is (`Figure.clean`).

    Returns
    -------
    list of Figure
        First one row for each limit and phase, in the order of the sets, then the mean of each pressure wave.
    """
    sets = in_force(case, limits)
    bench = Bench(case, believe, sets, masked)
    found = [
        replace(with_bypass_unknown(bench, limit, figure), limit_set=one.title)
        for one in sets
        for limit in one
        if limit.figure
        for figure in _of_limit(bench, limit, [f"{r.words} ({r.cited})" for r in one.rivals_of(limit)])
    ]
    return [
        with_uncertainty(bench.told(figure), bench.windows.phases) for figure in found + _record_means(bench)
    ]


def _of_limit(bench: Bench, limit: Limit, rivals: list[str]) -> list[Figure]:
    """The rows of one limit."""
    if limit.measure in ("cerebral_saturation", "cerebral_saturation_of_baseline"):
        windows = bench.windows.of(limit.phase)
        return [
            _cerebral(bench, limit, side, rivals, token, window)
            for token, window in windows
            for side in ("left", "right")
        ]
    if limit.measure in PRESSURE_LIMITS:
        return pressure_rows(bench, limit, rivals)
    if limit.measure in ("oxygen_delivery_index", "pump_flow_index"):
        return _delivery(bench, limit, rivals)
    measured, exclude, words = _plain_measure(bench, limit.measure)
    part = {
        "warming_gradient_cold": "outlet under 30 °C",
        "warming_gradient_warm": "outlet at 30 °C or more",
    }
    rows = []
    for token, window in bench.windows.of(limit.phase):
        row = bench.row(limit, measured, token, window, exclude, words, rivals)
        if limit.measure == "pulmonary_to_systemic_ratio":
            row = ratio_with_other_sites(bench, row, limit, window, exclude)
        if limit.measure in BEAT_MEASURES:
            at_site = partial(beat_course, bench.derived, measure=limit.measure)
            row = with_other_sites(bench, row, limit, window, exclude, at_site)
        rows.append(replace(row, part=part.get(limit.measure, "")))
    return rows


def _plain_measure(bench: Bench, name: str) -> tuple[Measured, list[Interval], str]:
    """A measure, what its windows leave out, and that in words."""
    derived = bench.derived
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
    if name in BEAT_MEASURES:
        return believed_beat_course(derived, name), [], ""
    if name == "brain_perfusion_pressure":
        return brain_perfusion_pressure(derived), [], ""
    if name == "flow_by_weight":
        return flow_by_weight(derived), [], ""
    measured = getattr(derived, name, None)
    if not isinstance(measured, Series | Absent):
        return Absent(f"no measure is called '{name}'"), [], ""
    return measured, [], ""


def _delivery(bench: Bench, limit: Limit, rivals: list[str]) -> list[Figure]:
    """Oxygen delivery or flow index on bypass: judged while warm and told apart while cold, arrests left out."""
    measured = getattr(bench.derived, limit.measure)
    outlet = bench.derived.outlet_temperature
    arrests = bench.windows.arrests
    rows = []
    for token, window in bench.windows.of(limit.phase):
        off, off_words = _off_bypass(bench, token, window)
        known = known_with(measured, outlet)
        cold = seconds_at(outlet, "below", WARM_OUTLET_C)
        words = off_words + (
            "arrests" if isinstance(outlet, Absent) else f"arrests, and outlet under {WARM_OUTLET_C:g} °C"
        )
        exclude = arrests + cold + off
        judged = bench.row(limit, known, token, window, exclude, words, rivals)
        judged = with_longest(judged, limit, known, window, exclude)
        if isinstance(outlet, Absent):
            if judged.value is not None:
                said = f"{outlet.reason}: warm and cold perfusion are counted alike"
                judged = replace(judged.noted(said), part="at any outlet temperature")
            rows.append(judged)
            continue
        rows.append(replace(judged, part=f"outlet at {WARM_OUTLET_C:g} °C or more"))
        if limit.measure == "oxygen_delivery_index" and isinstance(known, Series):
            warm = seconds_at(outlet, "at least", WARM_OUTLET_C)
            low = seconds_at(bench.derived.pump_flow, "below", FLOW_FOR_PRESSURE)
            words = (
                f"{off_words}arrests, flow under {FLOW_FOR_PRESSURE:g} L/min, and outlet at "
                f"{WARM_OUTLET_C:g} °C or more"
            )
            apart = bench.row(limit, known, token, window, arrests + low + warm + off, words, rivals)
            apart = replace(apart, part=f"outlet under {WARM_OUTLET_C:g} °C")
            rows.append(apart.noted(f"while the outlet was under {WARM_OUTLET_C:g} °C: told, not judged"))
    return rows


def _off_bypass(bench: Bench, token: str, window: list[Interval] | Absent) -> tuple[list[Interval], str]:
    """What of the whole record is not bypass, where the pump's flow is not the patient's; and that in words."""
    if token != "record" or isinstance(window, Absent):
        return [], ""
    return subtract_intervals(window, bench.windows.bypass), "time off bypass, "


def _cerebral(
    bench: Bench, limit: Limit, side: str, rivals: list[str], token: str, window: list[Interval] | Absent
) -> Figure:
    saturation = bench.derived.cerebral_saturation(side)
    level, note, words = limit.value, "", ""
    if limit.measure == "cerebral_saturation_of_baseline":
        baseline = bench.derived.cerebral_baseline(side)
        if isinstance(baseline, Absent):
            row = bench.row(limit, baseline, token, window, [], "", rivals)
            return replace(row, site=f"{side}_cerebral_saturation")
        level = round(limit.value / 100 * baseline, 3)
        note = f"{limit.value:g} % of a baseline of {baseline:.1f} %"
        words = f"{limit.side} {limit.value:g} % of {baseline:.1f} %"
    row = bench.row(limit, saturation, token, window, [], "", rivals, level)
    return replace(row.noted(note), site=row.site or f"{side}_cerebral_saturation", limit_words=words)


def _record_means(bench: Bench) -> list[Figure]:
    """Mean of each pressure wave over the record, artefacts left out; also of lines without a site."""
    waves = [one for one in bench.derived.signals.values() if one.first.is_wave]
    return [_record_mean(bench, one) for kind in PRESSURES for one in waves if one.first.kind == kind]


def _record_mean(bench: Bench, signal: Signal) -> Figure:
    series = bench.derived.pressure(signal)
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
