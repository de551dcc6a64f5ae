"""What a case was like besides its limits: computed values, and each channel and measure by phase."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from .circulation import (
    flow_by_weight,
    inflow_line_resistance,
    oxygen_consumption,
    oxygen_extraction,
    pulse_course,
    systemic_resistance,
    systemic_resistance_index,
)
from .computed_value import Value, at_times
from .derived import Absent, Derived, Measured
from .figure_bench import Bench
from .limits import LimitSet, in_force
from .measures.intervals import Interval
from .measures.pressure import RAW
from .measures.summary import Summary, summary
from .other_lines import at_every_line
from .quality import PRESSURES
from .series import FloatArray, Series
from .values_body import pressure_and_saturation, temperature_values
from .values_flow import brain_alone, flow_and_oxygen, resistances, size_and_plan
from .values_pulse import pulse_values

if TYPE_CHECKING:
    from afterclamp.io.case import Case

__all__ = ["PhaseSummary", "Value", "computed_values", "phase_summaries", "values_at"]

FAMILIES = (
    size_and_plan,
    flow_and_oxygen,
    resistances,
    pulse_values,
    temperature_values,
    brain_alone,
    pressure_and_saturation,
)

BY_THE_LINE = (resistances, pulse_values)
"""Families whose values rest on the believed arterial line. The correlation with cerebral saturation does too, but
about nought a quarter of it is nothing: of it no other line is told."""


@dataclass(frozen=True)
class PhaseSummary:
    """A channel or measure within one phase.

    Attributes
    ----------
    measure, site : str
        What was measured, and where.
    phase, index : str, int
        Phase token and its number among its name.
    start_s, end_s : float
        Reference seconds of the phase.
    found : Summary
        Middle, spread and extremes with the seconds they rest on.
    clean : str
        ``"masked"`` or ``"raw"``.
    note : str
        What a reader must know.
    """

    measure: str
    site: str
    phase: str
    index: int
    start_s: float
    end_s: float
    found: Summary
    clean: str = "masked"
    note: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON, the summary's among the others."""
        flat = {name: one for name, one in asdict(self).items() if name != "found"}
        flat |= {name: one for name, one in asdict(self.found).items() if name not in ("name", "site")}
        flat["missing_percent"] = self.found.missing_percent
        return {
            name: (round(one, 6) if np.isfinite(one) else None) if isinstance(one, float) else one
            for name, one in flat.items()
        }


def computed_values(
    case: Case,
    believe: str | None = None,
    limits: LimitSet | Sequence[LimitSet] | None = None,
    *,
    masked: bool = True,
) -> list[Value]:
    """All computed values of a case, family by family.

    Parameters
    ----------
    case, believe, limits, masked
        As `figures.figures` takes them.

    Returns
    -------
    list of Value
        What cannot be computed is there too and says why.
    """
    bench = Bench(case, believe, in_force(case, limits), masked)
    clean = "masked" if masked else "raw"
    return [
        replace(row, clean=clean).noted("" if masked or not row.observed_s or RAW in row.note else RAW)
        for family in FAMILIES
        for row in (at_every_line(bench, family) if family in BY_THE_LINE else family(bench))
    ]


def values_at(
    case: Case, measure: str, times_s: Sequence[float], believe: str | None = None, *, masked: bool = True
) -> list[Value]:
    """One measure at chosen moments.

    Parameters
    ----------
    case : Case
        The case.
    measure : str
        A name from `measures_of`, such as ``"oxygen_delivery_index"``.
    times_s : sequence of float
        Reference seconds.
    believe, masked
        As in `computed_values`.
    """
    derived = Derived(case, believe, masked=masked)
    named = measures_of(derived)
    measured = named.get(
        measure, Absent(f"no measure is called '{measure}'; there are {', '.join(sorted(named))}")
    )
    row = Value("chosen moments", measure, clean="masked" if masked else "raw")
    return at_times(measured, times_s, row)


def measures_of(derived: Derived, pulse: FloatArray | None = None) -> dict[str, Measured]:
    """Every course that is computed from several channels or facts, by name."""
    return {
        "mean_arterial_pressure": derived.mean_arterial_pressure,
        "pump_flow_index": derived.pump_flow_index,
        "flow_by_weight": flow_by_weight(derived),
        "oxygen_delivery_index": derived.oxygen_delivery_index,
        "oxygen_consumption_index": oxygen_consumption(derived),
        "oxygen_extraction_ratio": oxygen_extraction(derived),
        "systemic_vascular_resistance": systemic_resistance(derived, pulse),
        "systemic_vascular_resistance_index": systemic_resistance_index(derived, pulse),
        "line_resistance": inflow_line_resistance(derived),
        "cooling_gradient": derived.cooling_gradient,
        "warming_gradient": derived.warming_gradient,
        "warming_rate": derived.warming_rate,
        "cerebral_side_difference": derived.cerebral_side_difference,
        "femoral_radial_gradient": derived.femoral_radial_gradient,
        "pulmonary_to_systemic_ratio": derived.pulmonary_to_systemic_ratio,
    }


def phase_summaries(case: Case, believe: str | None = None, *, masked: bool = True) -> list[PhaseSummary]:
    """Middle, spread and extremes of every channel and measure in every phase, with the seconds they rest on.

    Parameters
    ----------
    case, believe, masked
        As in `computed_values`.

    Returns
    -------
    list of PhaseSummary
        Phase by phase in order of their starts, established bypass and the whole record last; rows of which
        nothing was observed are there too.
    """
    bench = Bench(case, believe, in_force(case), masked)
    courses = [one for one in _courses(bench) if isinstance(one, Series)]
    spans: list[tuple[str, int, list[Interval]]] = [
        (phase.name, phase.index, [(phase.start_s, phase.end_s)]) for phase in bench.windows.phases
    ]
    for token in ("established", "record"):
        [(name, window), *_] = bench.windows.of(token)
        if not isinstance(window, Absent):
            spans.append((name, 0, list(window)))
    clean = "masked" if masked else "raw"
    return [
        PhaseSummary(
            course.name, course.site, name, index, window[0][0], window[-1][1],
            summary(course, within=window), clean, course.note,
        )
        for name, index, window in spans
        for course in courses
    ]  # fmt: skip


def _courses(bench: Bench) -> list[Measured]:
    """Every channel as it was recorded, the pulse of each arterial line, and every computed measure."""
    derived = bench.derived
    found: list[Measured] = []
    for signal in derived.signals.values():
        if signal.first.is_wave and signal.first.kind in PRESSURES:
            found.append(derived.pressure(signal, "mean_pressure"))
        elif not signal.first.is_wave:
            found.append(derived.recorded(signal))
    if bench.view is not None:
        found += [pulse_course(derived, name, values) for name, values in bench.view.pulse.items()]
    computed = measures_of(derived, bench.pulse_at_site)
    return found + [
        replace(one, name=name) if isinstance(one, Series) else one
        for name, one in computed.items()
        if name != "mean_arterial_pressure"
    ]
