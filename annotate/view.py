"""What rules and phases read: a case as arrays of one value a second, with what is known about them.

A rule never touches a file: it gets a `View`. ``View.of(case)`` makes one; tests make one directly.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from afterclamp.io.array_cache import text_of
from numpy.typing import NDArray

from .memory import Memory
from .named import signals, under_their_site
from .order import Stretch, stretch_at, stretches
from .runs import BoolArray, FloatArray, median

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Channel

    from .phase_model import Phase
    from .quality import Artefact

CORE_SITES = ("nasopharyngeal", "oesophageal", "bladder", "rectal")
"""Sites that stand for the core, in the order they are asked (this project's choice)."""
CORE_NAMES = tuple(f"{site}_temperature" for site in CORE_SITES)
"""The channels of these sites; the first that holds anything is the core of a case, for rules and measures."""


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
    """

    weight_kg: float | None = None
    planned_flow: float | None = None
    rewarming_target_c: float | None = None
    inflow_site: str = ""
    inflow_side: str = ""


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
        """Seconds outside bypass; without a pump flow that is every second.

        Seconds of which nobody knows (`flow_unknown`) are not among them.
        """
        out = ~self.inside("bypass")
        for start, stop in self.flow_unknown:
            out[start:stop] = False
        return out

    @property
    def flow_unknown(self) -> list[tuple[int, int]]:
        """Stretches of seconds before a pump record that begins on bypass, and behind one that ends on it."""
        bypasses = self.of_name("bypass")
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
            Arterial site to go by instead of the one that `site.believed_site` gives.
        """
        return _read(case, believe)


def _read(case: Case, believe: str | None) -> View:
    from .quality import Artefact
    from .site import believed_signal

    trusted, reason = believed_signal(case, believe)
    by_name = under_their_site(signals(case), trusted)
    named = {name: list(signal.channels) for name, signal in by_name.items()}
    arrays = _arrays(case, named)
    seen = json.loads(bytes(arrays["artefacts"]).decode())
    ids = {channel.id: name for name, group in named.items() for channel in group}
    sites = {name for name, group in named.items() if group[0].kind == "arterial_pressure" and group[0].site}
    grid = np.asarray(case.grid, dtype=np.float64)
    clocks = {source.name: stretches(source, case.channels) for source in case.sources}
    sources = {name: signal.sources for name, signal in by_name.items()}
    clocks |= {
        sources[name]: _in_turn(signal.channels, clocks)
        for name, signal in by_name.items()
        if sources[name] not in clocks
    }
    return View(
        start=float(grid[0]) if len(grid) else 0.0,
        values=_of_group(arrays, "value"),
        pulse=_of_group(arrays, "pulse"),
        masked=_of_group(arrays, "mask"),
        arterial=tuple(
            name for name in named if name in sites and "/" not in name and not name.endswith("_mean")
        ),
        believed=ids.get(trusted.first.id, "") if trusted is not None else "",
        believed_reason=reason,
        source=sources,
        clock_sd={name: max(stretch.sd_s for stretch in found) for name, found in clocks.items()},
        clocks=clocks,
        interval={
            name: max(1.0, group[0].interval_s) if np.isfinite(group[0].interval_s) else 1.0
            for name, group in named.items()
        },
        facts=facts_of(case),
        artefacts={name: tuple(Artefact(**one) for one in listed) for name, listed in seen.items()},
    )


def _in_turn(channels: tuple[Channel, ...], clocks: Mapping[str, tuple[Stretch, ...]]) -> tuple[Stretch, ...]:
    """The clocks of sources that recorded one signal one after another, each while its recording is used."""
    names = list(dict.fromkeys(channel.source for channel in channels))
    found: list[Stretch] = []
    for number, channel in enumerate(channels):
        begin = max(channel.span.start, channels[number - 1].span.end) if number else -np.inf
        first = stretch_at(clocks[channel.source], begin)
        later = [one for one in clocks[channel.source] if one.from_s > begin]
        found = [one for one in found if one.from_s < begin]
        for one in (first._replace(from_s=begin), *later):
            # Pieces of two sources must not look like one.
            run = one.piece[0] + 10_000 * names.index(channel.source)
            found.append(one._replace(piece=(run, one.piece[1])))
    return tuple(found)


def _arrays(case: Case, named: Mapping[str, list[Channel]]) -> dict[str, NDArray[Any]]:
    """Everything that has to be read from the samples; kept in the case's cache but for a view up to a time."""
    from .quality import channel_key

    parts = (_code(), *((name, channel_key(one)) for name, group in named.items() for one in group))
    if case.horizon is None:
        return case.cached("view", parts, lambda: _computed(case, named))
    # A view for every place of the playhead would fill the disk.
    return _UP_TO.get((str(case.folder), case.horizon, repr(parts)), lambda: _computed(case, named))


_UP_TO: Memory[dict[str, NDArray[Any]]] = Memory(4)


def _code() -> str:
    """What the arrays depend on besides the case: the text of the modules that compute them."""
    folder = Path(__file__).parent
    return text_of(folder, folder / "measures")


def _computed(case: Case, named: Mapping[str, list[Channel]]) -> dict[str, NDArray[Any]]:
    from .quality import artefacts

    grid = np.asarray(case.grid, dtype=np.float64)
    arrays: dict[str, NDArray[Any]] = {}
    seen: dict[str, list[dict[str, Any]]] = {}
    for name, group in named.items():
        for channel in group:
            _lay_behind(arrays, _channel_arrays(channel, name, grid), name)
        seen[name] = [
            {"code": one.code, "start": one.start, "end": one.end, "evidence": one.evidence}
            for channel in group
            for one in artefacts(channel)
        ]
    text = json.dumps(seen, default=lambda value: np.asarray(value).tolist())
    arrays["artefacts"] = np.frombuffer(text.encode(), dtype=np.uint8)
    return arrays


def _lay_behind(arrays: dict[str, NDArray[Any]], more: Mapping[str, NDArray[Any]], name: str) -> None:
    """Add a channel's arrays to those of its name: a second that an earlier channel recorded stays as it is."""
    mask, value = f"mask:{name}", f"value:{name}"
    taken = arrays[mask] | np.isfinite(arrays[value]) if mask in arrays else None
    for key, array in more.items():
        arrays[key] = array if taken is None else np.where(taken, arrays[key], array)


def _channel_arrays(channel: Channel, name: str, grid: FloatArray) -> dict[str, NDArray[Any]]:
    from .beats import pulse_pressure
    from .measures.pressure import mean_arterial_pressure
    from .quality import NO_PULSE, masked_seconds

    mask = np.asarray(masked_seconds(channel, grid), dtype=np.bool_)
    arrays: dict[str, NDArray[Any]] = {f"mask:{name}": mask}
    if channel.kind == "arterial_pressure" and channel.is_wave:
        seconds = mean_arterial_pressure(channel, grid).values
        beatless = masked_seconds(channel, grid, NO_PULSE)
        arrays[f"pulse:{name}"] = np.where(beatless, np.nan, pulse_pressure(channel, grid))
    else:
        seconds = np.asarray(channel.seconds(), dtype=np.float64)
    arrays[f"value:{name}"] = np.where(mask, np.nan, seconds)
    return arrays


def _of_group(arrays: Mapping[str, NDArray[Any]], group: str) -> dict[str, NDArray[Any]]:
    prefix = f"{group}:"
    return {key.removeprefix(prefix): array for key, array in arrays.items() if key.startswith(prefix)}


def facts_of(case: Case) -> Facts:
    """What the case sheet says that rules and phases ask for; the planned flow by Du Bois body surface."""
    from .measures.body import body_surface_area_du_bois

    patient, sheet = case.patient, case.sheet
    planned = None
    if patient.height_cm and patient.weight_kg and sheet.planned_flow_index:
        planned = sheet.planned_flow_index * float(
            body_surface_area_du_bois(patient.height_cm, patient.weight_kg)
        )
    return Facts(
        weight_kg=patient.weight_kg,
        planned_flow=planned,
        rewarming_target_c=sheet.rewarming_target_c,
        inflow_site=sheet.inflow_site or "",
        inflow_side=sheet.inflow_side or "",
    )
