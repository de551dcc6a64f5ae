"""What rules and phases read: a case as arrays of one value a second, with what is known about them.

A rule never touches a file: it gets a `View`. ``View.of(case)`` makes one; tests make one directly.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from .measures.oxygen import OxygenConstants
from .order import Stretch, stretch_at
from .runs import BoolArray, FloatArray, median, spans

if TYPE_CHECKING:
    from afterclamp.io.case import Case

    from .beats import Beats
    from .phase_model import Phase
    from .quality import Artefact
    from .said import Said
    from .site import StandIn

CORE_SITES = ("nasopharyngeal", "oesophageal", "bladder", "rectal")
"""Sites that stand for the core, in the order they are asked (this project's choice)."""
CORE_NAMES = tuple(f"{site}_temperature" for site in CORE_SITES)
"""The channels of these sites; the first that holds anything is the core of a case, for rules and measures."""
PUMP_CHANNELS = (
    "pump_flow",
    "line_pressure",
    "reservoir_volume",
    "outlet_temperature",
    "venous_temperature",
    "cardioplegia_flow",
)
"""Channels that only a heart-lung machine has."""


@dataclass(frozen=True)
class Facts:
    """What no recorder knows; an absent fact is None.

    Attributes
    ----------
    weight_kg : float or None
    planned_flow : float or None
        Litres per minute: planned index times body surface (Du Bois).
    rewarming_target_c : float or None
        Nasopharyngeal temperature at which this unit calls the patient warm, °C.
    inflow_site, inflow_side : str
        Artery that the pump feeds; empty if unknown.
    body_surface_m2 : float or None
        By Du Bois.
    arterial_saturation, arterial_oxygen_mmhg : float or None
        On bypass: fraction, and tension in mmHg.
    oxygen : OxygenConstants
        Constants of oxygen content in force.
    haemoglobin_rows : tuple of (second, g/dL)
        Of the case sheet, where no channel has it.
    cerebral_baseline_s : (float, float) or None
        Window of the awake baseline of the brain's saturations.
    chest_opened_s, chest_closed_s : float or None
        Reference seconds.
    tidal_volume_ml_per_kg : float or None
    protamine_s : tuple of float
        When somebody wrote or said that protamine was given, reference seconds.
    clamp_said : tuple of Said
        When somebody wrote or said that the clamp went on or came off.
    bypass_spoken_of : bool
        Whether somebody wrote or said anything that only bypass has.
    """

    weight_kg: float | None = None
    planned_flow: float | None = None
    rewarming_target_c: float | None = None
    inflow_site: str = ""
    inflow_side: str = ""
    body_surface_m2: float | None = None
    arterial_saturation: float | None = None
    arterial_oxygen_mmhg: float | None = None
    oxygen: OxygenConstants = field(default_factory=OxygenConstants)
    haemoglobin_rows: tuple[tuple[float, float], ...] = ()
    cerebral_baseline_s: tuple[float, float] | None = None
    chest_opened_s: float | None = None
    chest_closed_s: float | None = None
    tidal_volume_ml_per_kg: float | None = None
    protamine_s: tuple[float, ...] = ()
    clamp_said: tuple[Said, ...] = ()
    bypass_spoken_of: bool = False


@dataclass(frozen=True)
class View:
    """A case at one value a second.

    Attributes
    ----------
    start : float
        Reference seconds of the first second.
    values : mapping of str to ndarray
        By canonical channel name (``"femoral"``, ``"cvp"``, ``"pump_flow"``, ``"outlet_temperature"``,
        ...), all of one length; pressures as means in mm[Hg], flow in L/min, temperatures in °C,
        saturations in %, reservoir in mL. NaN where nothing was recorded or it is masked.
    pulse : mapping of str to ndarray
        Pulse pressure of the arterial sites, mm[Hg].
    masked : mapping of str to ndarray of bool
        Seconds that were recorded but are not believed.
    arterial : tuple of str
        Names of the arterial sites in `values`.
    believed : str
        The arterial site that pressure rules go by; empty if nothing speaks for one.
    believed_reason : str
        Why, as a sentence.
    source : mapping of str to str
        Which source a channel comes from; of a signal that several recorded one after another, all of them
        (``"first, second"``), which have a clock of that name in `clocks`.
    clock_sd : mapping of str to float
        Standard deviation of a source's clock, seconds, its largest; infinite for a clock that nobody set.
    clocks : mapping of str to tuple of Stretch
        The pieces of a source's clock in order of reference time; one that is not here has one piece.
    interval : mapping of str to float
        Seconds between the recorded values of a channel, where they are further apart than 1 s.
    facts : Facts
        What the case sheet says.
    artefacts : mapping of str to tuple of Artefact
        What `quality` saw, by channel name.
    phases : tuple of Phase
        The phases in force, which rules go by.
    quiver : mapping of str to ndarray
        Standard deviation of the irregular ripple of 3 to 8 Hz of the arterial waves, mm[Hg].
    low : mapping of str to ndarray
        Lowest value of each second of the pulmonary artery pressure, mm[Hg]: its diastolic where the heart beats.
    beats : mapping of str to Beats
        Beats of the arterial waves, in reference seconds.
    chosen : tuple of StandIn
        Stretches in which a person chose which line is believed, in order, none over another.
    """

    start: float
    values: Mapping[str, FloatArray]
    pulse: Mapping[str, FloatArray] = field(default_factory=dict)
    masked: Mapping[str, BoolArray] = field(default_factory=dict)
    arterial: tuple[str, ...] = ()
    believed: str = ""
    believed_reason: str = ""
    source: Mapping[str, str] = field(default_factory=dict)
    clock_sd: Mapping[str, float] = field(default_factory=dict)
    clocks: Mapping[str, tuple[Stretch, ...]] = field(default_factory=dict)
    interval: Mapping[str, float] = field(default_factory=dict)
    facts: Facts = field(default_factory=Facts)
    artefacts: Mapping[str, tuple[Artefact, ...]] = field(default_factory=dict)
    phases: tuple[Phase, ...] = ()
    quiver: Mapping[str, FloatArray] = field(default_factory=dict)
    low: Mapping[str, FloatArray] = field(default_factory=dict)
    beats: Mapping[str, Beats] = field(default_factory=dict)
    chosen: tuple[StandIn, ...] = ()

    def __post_init__(self) -> None:
        lengths = {len(array) for group in (self.values, self.pulse, self.masked) for array in group.values()}
        if len(lengths) > 1:
            raise ValueError(f"arrays of a view differ in length: {sorted(lengths)}")
        unknown = [name for name in (*self.arterial, self.believed) if name and name not in self.values]
        if unknown:
            raise ValueError(f"no values for {', '.join(unknown)}")

    @cached_property
    def n(self) -> int:
        """Seconds in the view."""
        return len(next(iter(self.values.values()))) if self.values else 0

    def time(self, index: int) -> float:
        """Reference seconds at which second `index` begins."""
        return self.start + index

    def index(self, time_s: float) -> int:
        """The second that `time_s` falls into, kept within the view."""
        return int(np.clip(np.floor(time_s - self.start + 1e-6), 0, self.n))

    # -- channels -------------------------------------------------------------------------------

    def get(self, name: str) -> FloatArray | None:
        """Values of a channel, None if it is not there or holds nothing."""
        values = self.values.get(name)
        return values if values is not None and bool(np.isfinite(values).any()) else None

    @property
    def pressure(self) -> FloatArray | None:
        """Mean arterial pressure at the believed site, mm[Hg]."""
        return self.get(self.believed) if self.believed else None

    @cached_property
    def chosen_seconds(self) -> BoolArray:
        """Seconds for which a person chose the line."""
        mask = np.zeros(self.n, dtype=np.bool_)
        for one in self.chosen:
            mask[one.start : one.stop] = True
        return mask

    @property
    def believed_pulse(self) -> FloatArray | None:
        """Pulse pressure of the believed line, second by second of the one that a person chose; None without one."""
        own = self.pulse.get(self.believed)
        if not self.chosen:
            return own
        found = np.full(self.n, np.nan) if own is None else own.copy()
        for one in self.chosen:
            if one.name in self.pulse:
                found[one.start : one.stop] = self.pulse[one.name][one.start : one.stop]
        return found

    def as_believed(self) -> View:
        """The same view without those seconds of the believed line in which a person believes another.

        For rules that go by the believed site; others see every line as it was recorded.
        """
        away = [one for one in self.chosen if one.name != self.believed]
        if not away or not self.believed:
            return self
        hidden = np.zeros(self.n, dtype=np.bool_)
        for one in away:
            hidden[one.start : one.stop] = True
        name = self.believed
        values = {**self.values, name: np.where(hidden, np.nan, self.values[name])}
        pulse = {**self.pulse}
        if name in pulse:
            pulse[name] = np.where(hidden, np.nan, pulse[name])
        return replace(self, values=values, pulse=pulse)

    @property
    def flow(self) -> FloatArray | None:
        """Pump flow, L/min."""
        return self.get("pump_flow")

    @property
    def cvp(self) -> FloatArray | None:
        """Central venous pressure, mm[Hg]."""
        return self.get("cvp")

    @property
    def reservoir(self) -> FloatArray | None:
        """Reservoir volume, mL."""
        return self.get("reservoir_volume")

    @property
    def outlet(self) -> FloatArray | None:
        """Arterial outlet temperature of the oxygenator, °C."""
        return self.get("outlet_temperature")

    @property
    def venous(self) -> FloatArray | None:
        """Venous return temperature, °C."""
        return self.get("venous_temperature")

    @property
    def core(self) -> str:
        """Name of the core temperature channel, empty if none is recorded."""
        return next((name for name in CORE_NAMES if self.get(name) is not None), "")

    def core_near(self, index: int, within: int = 60) -> float:
        """Core temperature around second `index`, °C; NaN if none is recorded."""
        core = self.get(self.core) if self.core else None
        return float("nan") if core is None else median(core[max(0, index - within) : index + within + 1])

    def masked_seconds(self, name: str, start: int, stop: int) -> int:
        """How many seconds of ``[start, stop)`` of a channel are masked."""
        mask = self.masked.get(name)
        return 0 if mask is None else int(mask[start:stop].sum())

    def clock_at(self, source: str, time_s: float) -> Stretch:
        """The piece of a source's clock that holds at a reference time, and its standard deviation."""
        found = self.clocks.get(source)
        return stretch_at(found, time_s) if found else Stretch(-np.inf, sd_s=self.clock_sd.get(source, 0.0))

    def sd_between(self, one: str, one_s: float, other: str, other_s: float) -> float:
        """Standard deviation of the time between moments of two channels, seconds.

        Nothing on one piece of one source's clock; infinite where either clock was set by nobody.
        """
        sources = self.source.get(one, ""), self.source.get(other, "")
        a, b = self.clock_at(sources[0], one_s), self.clock_at(sources[1], other_s)
        if sources[0] == sources[1] and a.piece == b.piece:
            return 0.0
        return float(np.hypot(a.sd_s, b.sd_s))

    # -- phases ---------------------------------------------------------------------------------

    def with_phases(self, phases: Iterable[Phase]) -> View:
        """The same view, going by these phases."""
        return replace(self, phases=tuple(phases))

    def inside(self, *names: str) -> BoolArray:
        """Seconds that lie in any phase of these names."""
        mask = np.zeros(self.n, dtype=np.bool_)
        for phase in self.phases:
            if phase.name in names:
                mask[self.index(phase.start_s) : self.index(phase.end_s)] = True
        return mask

    def of_name(self, name: str) -> list[Phase]:
        """The phases of one name, in order."""
        return [phase for phase in self.phases if phase.name == name]

    @property
    def off_bypass(self) -> BoolArray:
        """Seconds outside bypass; of a record that has no bypass in it that is every second.

        Seconds of which nobody knows (`flow_unknown`) are not among them.
        """
        out = ~self.inside("bypass")
        for start, stop in self.flow_unknown:
            out[start:stop] = False
        return out

    @cached_property
    def recorded(self) -> BoolArray:
        """Seconds in which any channel has a value."""
        mask = np.zeros(self.n, dtype=np.bool_)
        for values in self.values.values():
            mask |= np.isfinite(values)
        return mask

    @property
    def may_have_bypass(self) -> bool:
        """Whether anything speaks of a pump: a channel of it, inflow or plan on the case sheet, a line of text."""
        facts = self.facts
        return bool(
            facts.bypass_spoken_of
            or facts.inflow_site
            or facts.inflow_side
            or facts.planned_flow
            or any(name in self.values for name in PUMP_CHANNELS)
        )

    @cached_property
    def flow_unknown(self) -> list[tuple[int, int]]:
        """Stretches of seconds of which nobody knows whether they are on bypass.

        Before a pump record that begins on bypass, and behind one that ends on it. Without a pump flow: what no word
        and no person calls bypass, before or after it, in a record that may have bypass in it.
        """
        bypasses = self.of_name("bypass")
        if self.flow is None and not any(one.set_by for one in bypasses):
            known = self.inside("pre", "bypass", "post") | ~self.recorded
            for one in self.of_name("pre")[:1]:
                known[: self.index(one.start_s)] = True
            for one in self.of_name("post")[-1:]:
                known[self.index(one.end_s) :] = True
            return spans(~known) if self.may_have_bypass else []
        found = []
        for number, one in enumerate(bypasses):
            if not one.start.recorded:
                found.append(
                    (self.index(bypasses[number - 1].end_s) if number else 0, self.index(one.start_s))
                )
            if not one.end.recorded:
                later = bypasses[number + 1 :]
                found.append((self.index(one.end_s), self.index(later[0].start_s) if later else self.n))
        return [(start, stop) for start, stop in found if start < stop]

    # -- from a case ----------------------------------------------------------------------------

    @classmethod
    def of(cls, case: Case, believe: str | None = None) -> View:
        """Read a case into a view, phases not yet laid in.

        Parameters
        ----------
        case : Case
            The case; a view of it up to some time gives a view up to that time.
        believe : str, optional
            Arterial site to go by throughout, instead of the one that `site.believed_site` gives and of what
            people chose for stretches.
        """
        from .view_reading import read_view

        return read_view(case, believe)


def facts_of(case: Case) -> Facts:
    """What the case sheet says that rules and phases ask for; the planned flow by Du Bois body surface."""
    from .limits import oxygen_constants
    from .measures.body import body_surface_area_du_bois
    from .said import OF_BYPASS, said_times

    said = said_times(case.notes)
    patient, sheet = case.patient, case.sheet
    surface = planned = None
    if patient.height_cm and patient.weight_kg:
        surface = float(body_surface_area_du_bois(patient.height_cm, patient.weight_kg))
        planned = sheet.planned_flow_index * surface if sheet.planned_flow_index else None
    return Facts(
        weight_kg=patient.weight_kg,
        planned_flow=planned,
        rewarming_target_c=sheet.rewarming_target_c,
        inflow_site=sheet.inflow_site or "",
        inflow_side=sheet.inflow_side or "",
        body_surface_m2=surface,
        arterial_saturation=sheet.arterial_saturation,
        arterial_oxygen_mmhg=sheet.arterial_oxygen_mmhg,
        oxygen=oxygen_constants(case),
        haemoglobin_rows=sheet.haemoglobin_rows,
        cerebral_baseline_s=sheet.baseline_window,
        chest_opened_s=sheet.chest_opened_s,
        chest_closed_s=sheet.chest_closed_s,
        tidal_volume_ml_per_kg=sheet.ventilation.tidal_volume_ml_per_kg,
        protamine_s=_protamine(case),
        clamp_said=tuple(one for one in said if one.kind in ("clamp_on", "clamp_off")),
        bypass_spoken_of=any(one.kind in OF_BYPASS for one in said),
    )


def _protamine(case: Case) -> tuple[float, ...]:
    """When protamine was given by the case sheet, by what was written or said, and by people's marks."""
    from .marks import marks
    from .said import kinds_of, protamine_times

    marked = (one.start_s for one in marks(case) if "protamine" in kinds_of(one.text))
    sheet = (row.time for row in case.sheet.protamine)
    limit = case.horizon if case.horizon is not None else float("inf")
    return tuple(sorted(t for t in {*sheet, *marked, *protamine_times(case.notes)} if t < limit))
