"""Measures of a case, one value a second each, or the reason why there is none.

`Derived` reads what a measure needs from channels and case sheet; the formulas stand in ``measures``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from .limits import oxygen_constants
from .measures.body import body_surface_area_du_bois
from .measures.flow import pump_flow_index
from .measures.oxygen import (
    OxygenConstants,
    arterial_oxygen_content,
    haemoglobin_age,
    oxygen_delivery_index,
)
from .measures.pressure import kept_mean_arterial_pressure
from .measures.temperature import cooling_gradient, rate_per_min, warming_gradient
from .named import Signal, signals
from .phase_rules import FLOW_OFF
from .quality import seconds_state
from .series import MISSING, OBSERVED, FloatArray, Series, averaged, combined_state, from_values, joined
from .site import believed_signal
from .smoothing import odd
from .view import CORE_NAMES

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel


@dataclass(frozen=True, slots=True)
class Absent:
    """Why a measure has no values, as the end of "not computed: ..."."""

    reason: str


READINGS_AVERAGED = 5  # of a cerebral saturation (this project's choice)

Measured = Series | Absent
Formula = Callable[[FloatArray, FloatArray], FloatArray]


class Derived:
    """Measures of one case on its grid of seconds.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    believe : str, optional
        Arterial site to go by instead of the proposed one.
    constants : OxygenConstants, optional
        For oxygen content; those that are in force for the case if not given (`limits.oxygen_constants`).

    Attributes
    ----------
    signals : dict of str to Signal
        What was recorded, by name; a recording that goes on in another file is one.
    site, site_reason : Signal or None, str
        The believed arterial line and why.
    """

    def __init__(
        self, case: Case, believe: str | None = None, constants: OxygenConstants | None = None
    ) -> None:
        self.case = case
        self.constants = oxygen_constants(case) if constants is None else constants
        self.grid: FloatArray = np.asarray(case.grid, dtype=np.float64)
        self.signals = signals(case)
        self.site, self.site_reason = believed_signal(case, believe)
        self._pressures: dict[str, Series] = {}

    # -- as recorded --------------------------------------------------------------------------------

    def pressure(self, signal: Signal, name: str = "mean_arterial_pressure") -> Series:
        """Mean of a pressure wave, artefacts masked."""
        if signal.name not in self._pressures:
            self._pressures[signal.name] = _one(
                signal, lambda channel: kept_mean_arterial_pressure(self.case, channel)
            )
        return replace(self._pressures[signal.name], name=name)

    def recorded(self, signal: Signal, name: str = "") -> Series:
        """A signal's own values, artefacts masked and stale values missing."""
        return replace(_one(signal, self._of_channel), name=name or signal.first.kind)

    def _of_channel(self, channel: Channel) -> Series:
        values = np.asarray(channel.seconds(), dtype=np.float64)
        state = seconds_state(channel, self.grid)
        state[(state == OBSERVED) & ~np.isfinite(values)] = MISSING
        start = float(self.grid[0]) if self.grid.size else 0.0
        return Series(start, np.where(state == OBSERVED, values, np.nan), state, channel.unit)

    def _by_name(self, name: str, words: str) -> Measured:
        signal = self.signals.get(name)
        if signal is None:
            return Absent(f"no {words} is recorded")
        return self._told(self.recorded(signal), signal)

    def _told(self, series: Series, signal: Signal) -> Series:
        """The same series, with a word where another signal of the same name is left unused."""
        others = [
            one.token
            for one in self.signals.values()
            if one.first.name == signal.first.name and one.name != signal.name
        ]
        also = f"also recorded and not used: {', '.join(map(_spaced, others))}" if others else ""
        return replace(series, note="; ".join(filter(None, [series.note, also])))

    @cached_property
    def mean_arterial_pressure(self) -> Measured:
        """At the believed site, mmHg."""
        if self.site is None:
            return Absent(self.site_reason)
        return self._told(self.pressure(self.site), self.site)

    @cached_property
    def pump_flow(self) -> Measured:
        """L/min."""
        return self._by_name("pump_flow", "pump flow")

    @cached_property
    def outlet_temperature(self) -> Measured:
        """°C."""
        return self._by_name("outlet_temperature", "arterial outlet temperature")

    @cached_property
    def venous_temperature(self) -> Measured:
        """°C."""
        return self._by_name("venous_temperature", "venous temperature")

    @cached_property
    def line_pressure(self) -> Measured:
        """In mmHg."""
        return self._by_name("line_pressure", "line pressure")

    @cached_property
    def venous_saturation(self) -> Measured:
        """Per cent."""
        return self._by_name("venous_saturation", "venous saturation")

    @cached_property
    def reservoir_volume(self) -> Measured:
        """In mL."""
        return self._by_name("reservoir_volume", "reservoir volume")

    @cached_property
    def central_venous_pressure(self) -> Measured:
        """Mean, mmHg."""
        return self._venous_or_pulmonary("central_venous_pressure", "central venous pressure")

    @cached_property
    def pulmonary_artery_pressure(self) -> Measured:
        """Mean, mmHg."""
        return self._venous_or_pulmonary("pulmonary_artery_pressure", "pulmonary artery pressure")

    def _venous_or_pulmonary(self, kind: str, words: str) -> Measured:
        signal = next((one for one in self.signals.values() if one.first.kind == kind), None)
        if signal is None:
            return Absent(f"no {words} is recorded")
        return self._told(self.pressure(signal, kind), signal)

    # -- computed -----------------------------------------------------------------------------------

    @cached_property
    def body_surface_area(self) -> float | None:
        """Du Bois, m²; None without height and weight."""
        patient = self.case.patient
        if not patient.height_cm or not patient.weight_kg:
            return None
        return body_surface_area_du_bois(patient.height_cm, patient.weight_kg)

    @cached_property
    def pump_flow_index(self) -> Measured:
        """L/min/m²."""
        if isinstance(self.pump_flow, Absent):
            return self.pump_flow
        if self.body_surface_area is None:
            return Absent("no height and weight on the case sheet")
        # A probe at rest hums about zero: what it reads then delivers nothing, and NaN stays NaN. 0.1 that was
        # kept as float32 is a little more.
        flow = np.where(self.pump_flow.values <= FLOW_OFF + 1e-6, 0.0, self.pump_flow.values)
        values = pump_flow_index(flow, self.body_surface_area)
        note = "; ".join(
            filter(None, [self.pump_flow.note, f"body surface {self.body_surface_area:.2f} m2 (Du Bois)"])
        )
        return replace(self.pump_flow, values=values, unit="L/min/m2", name="pump_flow_index", note=note)

    @cached_property
    def haemoglobin(self) -> Measured:
        """g/dL, held from each value to the next."""
        recorded = self._by_name("haemoglobin", "haemoglobin")
        if isinstance(recorded, Series):
            return recorded
        rows = self.case.sheet.haemoglobin_rows
        if not rows:
            return Absent("no haemoglobin, neither recorded nor on the case sheet")
        drawn, values = np.array(rows, dtype=np.float64).T
        last = np.searchsorted(drawn, self.grid, side="right") - 1
        held = np.where(last >= 0, values[np.maximum(last, 0)], np.nan)
        oldest = float(np.nanmax(haemoglobin_age(self.grid, drawn), initial=0.0))
        note = f"haemoglobin from the case sheet, up to {oldest / 60:.0f} min old"
        start = float(self.grid[0]) if self.grid.size else 0.0
        return from_values(start, held, unit="g/dL", name="haemoglobin", note=note)

    @cached_property
    def oxygen_delivery_index(self) -> Measured:
        """mL/min/m²."""
        index, haemoglobin = self.pump_flow_index, self.haemoglobin
        if isinstance(index, Absent):
            return index
        if isinstance(haemoglobin, Absent):
            return haemoglobin
        saturation, tension = self.case.sheet.arterial_saturation, self.case.sheet.arterial_oxygen_mmhg
        if saturation is None:
            return Absent("no arterial saturation on the case sheet")
        if tension is None:
            return Absent("no arterial oxygen tension on the case sheet")
        content = arterial_oxygen_content(haemoglobin.values, saturation, tension, self.constants)
        values = oxygen_delivery_index(index.values, content)
        state = combined_state(index, haemoglobin)
        note = "; ".join(filter(None, [index.note, f"constants {self.constants}", haemoglobin.note]))
        values = np.where(state == OBSERVED, values, np.nan)
        return Series(index.start, values, state, "mL/min/m2", "oxygen_delivery_index", index.site, note)

    def _two(self, one: Measured, other: Measured, formula: Formula, name: str, unit: str) -> Measured:
        if isinstance(one, Absent):
            return one
        if isinstance(other, Absent):
            return other
        state = combined_state(one, other)
        with np.errstate(divide="ignore", invalid="ignore"):
            values = formula(one.values, other.values)
        state[(state == OBSERVED) & ~np.isfinite(values)] = MISSING
        site = " and ".join(filter(None, [one.site, other.site]))
        # What a pressure's mean is stands beside the pressure itself; here only what concerns the sources.
        note = "; ".join(part for part in _parts(one.note, other.note) if part.startswith(_OF_SOURCES))
        return Series(one.start, np.where(state == OBSERVED, values, np.nan), state, unit, name, site, note)

    @cached_property
    def cooling_gradient(self) -> Measured:
        """Venous less outlet, °C."""
        return self._two(
            self.venous_temperature, self.outlet_temperature, cooling_gradient, "cooling_gradient", "Cel"
        )

    @cached_property
    def warming_gradient(self) -> Measured:
        """Outlet less venous, °C."""
        return self._two(
            self.venous_temperature, self.outlet_temperature, warming_gradient, "warming_gradient", "Cel"
        )

    @cached_property
    def warming_rate(self) -> Measured:
        """Five-minute slope of the core temperature, °C/min."""
        cores = [self._by_name(name, "core temperature") for name in CORE_NAMES]
        seen = [one for one in cores if isinstance(one, Series) and (one.state == OBSERVED).any()]
        if not seen:
            return Absent("no core temperature is recorded")
        recorded = seen[0]
        rate = rate_per_min(recorded.values)
        state = recorded.state.copy()
        state[(state == OBSERVED) & ~np.isfinite(rate)] = MISSING
        note = "; ".join(filter(None, [recorded.note, "least-squares slope of 5 min"]))
        values = np.where(state == OBSERVED, rate, np.nan)
        return Series(recorded.start, values, state, "Cel/min", "warming_rate", recorded.site, note)

    def cerebral_saturation(self, side: str) -> Measured:
        """One side, per cent: the mean of five readings, since single ones are rounded and noisy."""
        recorded = self._readings(side)
        if isinstance(recorded, Absent):
            return recorded
        interval = self.signals[f"{side}_cerebral_saturation"].first.interval_s
        width = odd(READINGS_AVERAGED * max(interval, 1.0))
        return averaged(recorded, width)

    def _readings(self, side: str) -> Measured:
        return self._by_name(f"{side}_cerebral_saturation", f"{side} cerebral saturation")

    def cerebral_baseline(self, side: str) -> float | Absent:
        """Median of the readings in the baseline window of the case sheet, per cent."""
        saturation, window = self._readings(side), self.case.sheet.baseline_window
        if isinstance(saturation, Absent):
            return saturation
        if window is None:
            return Absent("no oximetry baseline on the case sheet")
        inside = saturation.values[(saturation.t >= window[0]) & (saturation.t < window[1])]
        inside = inside[np.isfinite(inside)]
        return float(np.median(inside)) if inside.size else Absent("no saturation within the baseline window")

    @cached_property
    def cerebral_side_difference(self) -> Measured:
        """Right and left apart, in points of saturation."""
        right, left = self.cerebral_saturation("right"), self.cerebral_saturation("left")
        return self._two(right, left, lambda a, b: np.abs(a - b), "cerebral_side_difference", "%")

    @cached_property
    def femoral_radial_gradient(self) -> Measured:
        """Femoral less radial mean, mmHg; the radial that is not on the side of the inflow, left first."""
        femoral = self.signals.get("femoral")
        side = self.case.sheet.inflow_side if self.case.sheet.inflow_site == "axillary" else None
        radials = [self.signals.get(f"{one}_radial") for one in ("left", "right") if one != side]
        radial = next((signal for signal in radials if signal is not None), None)
        if femoral is None or radial is None:
            return Absent("no femoral and radial pressure side by side")
        return self._two(
            self.pressure(femoral), self.pressure(radial), np.subtract, "femoral_radial_gradient", "mm[Hg]"
        )

    @cached_property
    def pulmonary_to_systemic_ratio(self) -> Measured:
        """Mean pulmonary over mean arterial pressure at the believed site."""
        return self._two(
            self.pulmonary_artery_pressure,
            self.mean_arterial_pressure,
            np.divide,
            "pulmonary_to_systemic_ratio",
            "1",
        )


_OF_SOURCES = ("joined from", "also recorded", "of ")


def _one(signal: Signal, read: Callable[[Channel], Series]) -> Series:
    """One series of all channels of a signal."""
    series = joined([read(channel) for channel in signal.channels], signal.joined)
    return replace(series, site=signal.token)


def _parts(*notes: str) -> list[str]:
    return list(dict.fromkeys(part for note in notes for part in note.split("; ") if part))


def _spaced(token: str) -> str:
    return token.replace("_", " ")
