"""Measures of a case, one value a second each, or the reason why there is none.

`Derived` reads what a measure needs from channels and case sheet; the formulas stand in ``measures``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from .kept_states import kept_state
from .limits import oxygen_constants
from .measures.body import body_surface_area_du_bois
from .measures.flow import pump_flow_index
from .measures.oximetry import saturation_baseline
from .measures.oxygen import (
    OxygenConstants,
    arterial_oxygen_content,
    haemoglobin_age,
    oxygen_delivery_index,
)
from .measures.pressure import kept_mean_arterial_pressure
from .measures.steps import between_steps, step_size
from .measures.temperature import cooling_gradient, rate_per_min, warming_gradient
from .named import Signal, signals
from .phase_rules import FLOW_OFF
from .quality import NO_LEVEL
from .series import (
    MISSING,
    OBSERVED,
    FloatArray,
    Series,
    averaged,
    combined_state,
    from_values,
)
from .signal_series import of_signal, on_one_level
from .site import believed_signal
from .site_choices import THEN, Piece, chosen_pieces, followed, stretch_words
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
    masked : bool
        With False artefacts are left in ("raw"); what is off scale, frozen or not recorded stays out.

    Attributes
    ----------
    signals : dict of str to Signal
        What was recorded, by name; a recording that goes on in another file is one.
    site, site_reason : Signal or None, str
        The believed arterial line and why.
    chosen : tuple of Piece
        Stretches for which a person chose the line; none where a site is asked for in `believe`.
    """

    def __init__(
        self,
        case: Case,
        believe: str | None = None,
        constants: OxygenConstants | None = None,
        *,
        masked: bool = True,
    ) -> None:
        self.case = case
        self.masked = masked
        self.constants = oxygen_constants(case) if constants is None else constants
        self.grid: FloatArray = np.asarray(case.grid, dtype=np.float64)
        self.signals = signals(case)
        self.site, self.site_reason = believed_signal(case, believe)
        self.chosen: tuple[Piece, ...] = () if believe else chosen_pieces(case)
        self._pressures: dict[str, Series] = {}

    # -- as recorded --------------------------------------------------------------------------------

    def pressure(self, signal: Signal, name: str = "mean_arterial_pressure") -> Series:
        """Mean of a pressure wave."""
        if signal.name not in self._pressures:
            self._pressures[signal.name] = of_signal(
                signal, lambda channel: kept_mean_arterial_pressure(self.case, channel, masked=self.masked)
            )
        return replace(self._pressures[signal.name], name=name)

    def recorded(self, signal: Signal, name: str = "") -> Series:
        """A signal's own values, stale ones missing."""
        return replace(of_signal(signal, self._of_channel), name=name or signal.first.kind)

    def _of_channel(self, channel: Channel) -> Series:
        values = np.asarray(channel.seconds(), dtype=np.float64)
        state = kept_state(self.case, channel, NO_LEVEL if self.masked else ())
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
        """At the believed site, mmHg; in stretches for which a person chose another line, of that line.

        Stand-ins that a rule proposes are not mixed in: `site_choices` says why.
        """
        pressure = self.as_believed(self.pressure)
        if self.site is None or isinstance(pressure, Absent):
            return pressure
        return self._told(pressure, self.site)

    def as_believed(self, at_line: Callable[[Signal], Measured]) -> Measured:
        """What a measure of one line gives where each second is of the line that is believed in it."""
        measured = [(one, at_line(self.signals[one.line])) for one in self.elsewhere]
        chosen = [(one, series) for one, series in measured if isinstance(series, Series)]
        if self.site is not None:
            own = at_line(self.site)
        else:
            own = _nothing_like(chosen[0][1]) if chosen else Absent(self.site_reason)
        return own if isinstance(own, Absent) else followed(own, chosen)

    def believing(self, signal: Signal) -> Derived:
        """The same with another line believed throughout; what does not go by the line is shared."""
        other = copy(self)
        for name in ("mean_arterial_pressure", "pulmonary_to_systemic_ratio", "femoral_radial_gradient"):
            other.__dict__.pop(name, None)
        other.site, other.site_reason, other.chosen = signal, f"{signal.plain_name}: for comparison", ()
        return other

    @property
    def elsewhere(self) -> list[Piece]:
        """Stretches for which a person chose another line than the one that is believed throughout."""
        return [one for one in self.chosen if self.site is None or one.line != self.site.name]

    def site_within(self, measured: Series, window: Iterable[tuple[float, float]]) -> str:
        """The site of a measure for a figure of these stretches: what was chosen elsewhere is left out."""
        site, spans = measured.site, list(window)
        for one in self.elsewhere:
            if not any(one.start_s < end and one.end_s > start for start, end in spans):
                site = site.replace(f"{THEN}{self.signals[one.line].token} {stretch_words(one)}", "")
        return site

    @cached_property
    def pump_flow(self) -> Measured:
        """L/min."""
        return self._by_name("pump_flow", "pump flow")

    @cached_property
    def outlet_temperature(self) -> Measured:
        """°C, where it was recorded in steps by straight lines between them."""
        return self._without_steps("outlet_temperature", "arterial outlet temperature")

    @cached_property
    def venous_temperature(self) -> Measured:
        """°C, where it was recorded in steps by straight lines between them."""
        return self._without_steps("venous_temperature", "venous temperature")

    def _without_steps(self, name: str, words: str) -> Measured:
        recorded = self._by_name(name, words)
        step = step_size(recorded.values) if isinstance(recorded, Series) else 0.0
        if isinstance(recorded, Absent) or not step:
            return recorded
        said = f"recorded in steps of {step:.2g} °C, drawn by straight lines between them"
        note = "; ".join(filter(None, [recorded.note, said]))
        return replace(recorded, values=between_steps(recorded.values, step), note=note)

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
        recorded = self.recorded_saturation(side)
        if isinstance(recorded, Absent):
            return recorded
        interval = self.signals[f"{side}_cerebral_saturation"].first.interval_s
        width = odd(READINGS_AVERAGED * max(interval, 1.0))
        return averaged(recorded, width)

    def recorded_saturation(self, side: str) -> Measured:
        """One side as it was recorded, per cent."""
        return self._by_name(f"{side}_cerebral_saturation", f"{side} cerebral saturation")

    def cerebral_baseline(self, side: str) -> float | Absent:
        """Median of the readings in the baseline window of the case sheet, per cent."""
        saturation, window = self.recorded_saturation(side), self.case.sheet.baseline_window
        if isinstance(saturation, Absent):
            return saturation
        if window is None:
            return Absent("no oximetry baseline on the case sheet")
        found = saturation_baseline(saturation, window)
        return found if np.isfinite(found) else Absent("no saturation within the baseline window")

    @cached_property
    def cerebral_side_difference(self) -> Measured:
        """Right and left apart, in points of saturation."""
        right, left = self.cerebral_saturation("right"), self.cerebral_saturation("left")
        return self._two(right, left, lambda a, b: np.abs(a - b), "cerebral_side_difference", "%")

    @property
    def _femoral_line(self) -> Signal | None:
        """The femoral line, the believed one before another; None where none is recorded."""
        lines = [one for one in (self.site, *self.signals.values()) if one is not None]
        arteries = [one for one in lines if one.first.kind == "arterial_pressure"]
        return next((one for one in arteries if one.first.site == "femoral"), None)

    @cached_property
    def femoral_radial_gradient(self) -> Measured:
        """Femoral less radial mean, mmHg; the radial that is not on the side of the inflow, left first."""
        femoral = self._femoral_line
        side = self.case.sheet.inflow_side if self.case.sheet.inflow_site == "axillary" else None
        radials = [self.signals.get(f"{one}_radial") for one in ("left", "right") if one != side]
        radial = next((signal for signal in radials if signal is not None), None)
        if femoral is None or radial is None:
            return Absent("no femoral and radial pressure side by side")
        one, other = self.pressure(femoral), self.pressure(radial)
        if self.masked:
            one, other = on_one_level(self.case, (femoral, one), (radial, other))
        return self._two(one, other, np.subtract, "femoral_radial_gradient", "mm[Hg]")

    @cached_property
    def pulmonary_to_systemic_ratio(self) -> Measured:
        """Mean pulmonary over mean arterial pressure at the believed site."""
        return self._pulmonary_over(self.mean_arterial_pressure)

    def pulmonary_to(self, signal: Signal) -> Measured:
        """The same with another arterial line."""
        return self._pulmonary_over(self.pressure(signal))

    def _pulmonary_over(self, arterial: Measured) -> Measured:
        return self._two(
            self.pulmonary_artery_pressure, arterial, np.divide, "pulmonary_to_systemic_ratio", "1"
        )


_OF_SOURCES = ("joined from", "also recorded", "of ", "centred mean", "recorded in steps")


def _nothing_like(series: Series) -> Series:
    """A series of the same seconds in which nothing is known: no line is believed throughout."""
    missing = np.full(series.state.size, MISSING, np.uint8)
    return replace(series, values=np.full(series.values.size, np.nan), state=missing, site="no line")


def _parts(*notes: str) -> list[str]:
    return list(dict.fromkeys(part for note in notes for part in note.split("; ") if part))


def _spaced(token: str) -> str:
    return token.replace("_", " ")
