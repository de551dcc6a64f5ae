"""Computed values of temperature and brain: class of cold, lag, warm outlet, and what pressure and saturation share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .computed_value import Value, at_times, used
from .derived import Absent, Measured
from .figure_bench import Bench
from .measures.autoregulation import EXPLORATORY, pressure_saturation_correlation
from .measures.intervals import Interval
from .measures.temperature import HYPOTHERMIA_CLASSES, area_over_37, hypothermia_class, temperature_lag
from .series import MISSING, Series
from .view import CORE_NAMES

CLASSES = "Ann Cardiothorac Surg 2013;2:163-8"
SHUFFLES = 2000


def _core(bench: Bench) -> Measured:
    found = [bench.derived.signals[name] for name in CORE_NAMES if name in bench.derived.signals]
    return (
        bench.derived.recorded(found[0], found[0].token)
        if found
        else Absent("no core temperature is recorded")
    )


def temperature_values(bench: Bench) -> list[Value]:
    """Class of cold at each arrest, lag between core and bladder, outlet at 37 °C and more, fastest warming."""
    core = _core(bench)
    return [*_cold(bench, core), *_lags(bench, core), *_warm(bench), *_rate(bench)]


def _cold(bench: Bench, core: Measured) -> list[Value]:
    names = ("lower_body_arrest", "no_flow_arrest")
    arrests = [one for one in bench.windows.phases if one.name in names]
    starts = {
        one.start_s: one for one in sorted(arrests, key=lambda one: names.index(one.name), reverse=True)
    }
    rows = []
    seen: list[float] = []
    for start, phase in sorted(starts.items()):
        outer = any(one.name == names[0] and one.start_s < start < one.end_s for one in arrests)
        if outer or any(abs(start - other) < 60 for other in seen):
            continue
        seen.append(start)
        row = Value("temperature", "core_at_arrest", phase=phase.name, index=phase.index, reference=CLASSES)
        [one] = at_times(core, [start], row)
        if one.value is not None:
            word = hypothermia_class(one.value)
            one = replace(one, words=word or f"above {HYPOTHERMIA_CLASSES[-1][0]:g} °C: no class")
        rows.append(one)
        bladder = bench.derived.signals.get("bladder_temperature")
        if bladder is not None and not (isinstance(core, Series) and core.site == bladder.token):
            row = replace(row, measure="bladder_at_arrest", reference="")
            rows += at_times(bench.derived.recorded(bladder, bladder.token), [start], row)
    return rows


def _lags(bench: Bench, core: Measured) -> list[Value]:
    rows = []
    for phase in (one for one in bench.windows.phases if one.name in ("cooling", "warming")):
        row = Value(
            "temperature", "bladder_behind_core", unit="min", phase=phase.name, index=phase.index,
            reference="median over levels 0.1 °C apart (this project's definition)",
        )  # fmt: skip
        bladder = bench.derived.signals.get("bladder_temperature")
        if isinstance(core, Absent):
            rows.append(row.why_not(core.reason))
            continue
        if bladder is None or core.site == bladder.token:
            rows.append(row.why_not("no bladder temperature is recorded beside a core temperature"))
            continue
        other = bench.derived.recorded(bladder, bladder.token)
        both = replace(core, state=np.maximum(core.state, other.state))
        span: list[Interval] = [(phase.start_s, phase.end_s)]
        lag = temperature_lag(core, other, phase.start_s, phase.end_s)
        row = replace(row.of(both, span), unit="min", site=f"{core.site} and {other.site}", note="")
        if np.isfinite(lag):
            rows.append(replace(row, value=lag / 60))
        else:
            rows.append(row.why_not("the two share fewer than three levels in that time"))
    return rows


def _warm(bench: Bench) -> list[Value]:
    outlet = bench.derived.outlet_temperature
    [(token, window)] = bench.windows.of("bypass")
    row = Value(
        "temperature", "area_over_37", unit="Cel.min", phase=token,
        reference="Ann Thorac Surg 2015;100:748-57",
    )  # fmt: skip
    if isinstance(outlet, Absent):
        return [row.why_not(outlet.reason)]
    if isinstance(window, Absent):
        return [row.why_not(window.reason)]
    found = area_over_37(outlet, within=window)
    row = replace(
        row, value=found.area, site=outlet.site, observed_s=found.observed_s, masked_s=found.masked_s,
        missing_s=found.missing_s,
    )  # fmt: skip
    return [
        row.noted(
            outlet.note, f"{found.outside_s / 60:.1f} min at 37 °C or more, highest {found.nadir:.1f} °C"
        )
    ]


def _rate(bench: Bench) -> list[Value]:
    row = Value(
        "temperature", "warming_rate", words="highest", reference="5-min least-squares slope; "
        "Ann Thorac Surg 2015;100:748-57",
    )  # fmt: skip
    [(token, window)] = bench.windows.of("bypass")
    return [replace(row, phase=token).of(bench.derived.warming_rate, window, which="highest")]


def pressure_and_saturation(bench: Bench) -> list[Value]:
    """Correlation of pressure and cerebral saturation by side, with its shuffled reference band; exploratory."""
    pressure = bench.derived.mean_arterial_pressure
    rows = []
    for side in ("left", "right"):
        saturation = bench.derived.recorded_saturation(side)
        for token in ("pre", "established", "post") if bench.windows.bypass_known else ("record",):
            [(phase, window), *_] = bench.windows.of(token)
            row = Value(
                "brain", "pressure_saturation_correlation", unit="1", words="median", phase=phase,
                site=f"{side}_cerebral_saturation", note=EXPLORATORY,
                reference="thirty averages of 10 s: PMC2377358, PMC11433420",
            )  # fmt: skip
            absent = next((one for one in (pressure, saturation, window) if isinstance(one, Absent)), None)
            if absent is not None:
                rows.append(row.why_not(absent.reason))
            elif isinstance(pressure, Series) and isinstance(saturation, Series):
                rows.append(_correlated(bench, row, pressure, saturation, list(window)))  # type: ignore[arg-type]
    return rows


def _correlated(
    bench: Bench, row: Value, pressure: Series, saturation: Series, window: list[Interval]
) -> Value:
    inside = used(pressure, window, bench.windows.arrests)
    outside = replace(pressure, state=np.where(inside, pressure.state, MISSING).astype(np.uint8))
    found = pressure_saturation_correlation(outside, saturation, draws=SHUFFLES)
    row = replace(row, site=f"{pressure.site} and {row.site}")
    both = replace(pressure, state=np.maximum(pressure.state, saturation.state))
    row = replace(row.of(both, window, bench.windows.arrests), unit="1", value=None, note=found.note)
    known = found.r[np.isfinite(found.r)]
    if not known.size:
        return row.why_not("no window of 300 s with half of its averages in both").noted(EXPLORATORY)
    said = f"{known.size} windows of 300 s"
    if np.isfinite(found.high):
        said += f", {100 * float((known > found.high).mean()):.0f} % of them above the band"
    return replace(row, value=float(np.median(known))).noted(said)
