"""Times and values of the phases that a team reports, beside the durations: when, how cold, how much to the head."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .order import Z95, or_none
from .phase_arrests import edge, head_site
from .phase_durations import length_sd
from .phase_model import NAMES, Boundary, Phase
from .phase_temperatures import TARGET_FIT_S
from .runs import FloatArray, line_fit, mean
from .said import Said
from .view import View

if TYPE_CHECKING:
    from .rules import Find

CORES = ("nasopharyngeal_temperature", "bladder_temperature")


@dataclass(frozen=True, slots=True)
class Reported:
    """One time or value.

    Attributes
    ----------
    name : str
        Plain words.
    at_s, unc_s : float or None
        When, in reference seconds, and the half width of its 95 % interval; None for a value of a whole phase.
    value : float or None
    unit : str
        UCUM; ``"s"`` for a length.
    note : str
        How it was taken, and of how many seconds.
    value_unc : float or None
        Half width of the 95 % interval of `value`, where it is known.
    """

    name: str
    at_s: float | None = None
    unc_s: float | None = None
    value: float | None = None
    unit: str = ""
    note: str = ""
    value_unc: float | None = None

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "name": self.name,
            "at_s": self.at_s,
            "unc_s": None if self.unc_s is None else or_none(self.unc_s),
            "value": self.value,
            "unit": self.unit or None,
            "value_unc": None if self.value_unc is None else or_none(self.value_unc),
            "note": self.note,
        }


def reported(
    found: Sequence[Phase], view: View, said: Iterable[Said] = (), finds: Iterable[Find] = ()
) -> list[Reported]:
    """Times and values in the order of an operation; what cannot be told is left out.

    Parameters
    ----------
    found : sequence of Phase
        In force.
    view : View
    said : iterable of Said
        For when bypass was asked for.
    finds : iterable of Find
        For the minutes of lost drainage (E08).
    """
    out = [*asked_for(found, said), *_edges(found), *_coldest(found, view), *_at_arrests(found, view)]
    out += [*_head(found, view), *_rates(found, view), *drainage_lost(finds)]
    return out


def _named(found: Iterable[Phase], name: str) -> list[Phase]:
    return [phase for phase in found if phase.name == name]


def _edges(found: Sequence[Phase]) -> Iterator[Reported]:
    """Every clock time of the list that a boundary gives."""
    wanted = (
        ("bypass", "start", "on bypass"), ("going_on", "end", "full flow"), ("clamp", "start", "clamp on"),
        ("clamp", "end", "clamp off"), ("lower_body_arrest", "start", "circulation off (lower body)"),
        ("lower_body_arrest", "end", "circulation on (lower body)"),
        ("selective_cerebral", "start", "head perfused alone"),
        ("selective_cerebral", "end", "head no longer perfused alone"), ("warming", "start", "warming begins"),
        ("weaning", "start", "weaning begins"), ("bypass", "end", "off bypass"), ("protamine", "start", "protamine"),
    )  # fmt: skip
    rows = []
    for name, end, words in wanted:
        own = _named(found, name)
        for number, phase in enumerate(own):
            side = phase.start if end == "start" else phase.end
            if not side.recorded:
                continue
            again = name == "bypass" and end == "start" and number
            label = f"back {words}" if again else words
            label += f" {number + 1}" if len(own) > 1 and not again else ""
            author = side.confirmed_by or phase.confirmed_by
            by = f"set by {author}" if author else side.rule
            rows.append(Reported(label, side.time_s, side.unc_s, note=by))
    for phase in _named(found, "warming"):
        if phase.end.channel.endswith("_temperature"):
            rows.append(Reported("warm", phase.end_s, phase.end.unc_s, note=phase.end.rule))
    yield from sorted(rows, key=lambda row: row.at_s or 0.0)


def asked_for(found: Sequence[Phase], said: Iterable[Said]) -> Iterator[Reported]:
    """When bypass was asked for and how long it took to full flow; nothing where nobody wrote or said it."""
    for going in _named(found, "going_on")[:1]:
        asked = [one for one in said if one.kind == "bypass_asked" and one.t < going.end_s]
        if asked:
            first = min(asked, key=lambda one: one.sd_s)
            at = Boundary(first.t, "", source=first.source, sampling_sd_s=first.written_sd_s,
                          clock_sd_s=float(np.sqrt(max(first.sd_s**2 - first.written_sd_s**2, 0))))  # fmt: skip
            yield Reported("bypass asked for", first.t, first.unc_s, note=f"“{first.text}” ({first.source})")
            yield Reported(
                "bypass asked for to full flow", value=going.end_s - first.t, unit="s",
                value_unc=Z95 * length_sd(at, going.end),
            )  # fmt: skip


def _coldest(found: Sequence[Phase], view: View) -> Iterator[Reported]:
    on = _inside(found, view, "bypass")
    for core in CORES:
        values = view.get(core)
        if values is None:
            continue
        seen = np.where(on, values, np.nan)
        if np.isfinite(seen).any():
            at = edge(view, int(np.nanargmin(seen)), "coldest", core)
            yield Reported(
                f"coldest {_site(core)}", at.time_s, at.unc_s, at.value, "Cel",
                f"first second of it, of {int(np.isfinite(seen).sum())} s seen on bypass",
            )  # fmt: skip


def _site(core: str) -> str:
    return core.removesuffix("_temperature").replace("_", " ")


def _inside(found: Sequence[Phase], view: View, *names: str) -> np.ndarray[Any, np.dtype[np.bool_]]:
    mask = np.zeros(view.n, dtype=np.bool_)
    for phase in found:
        if phase.name in names:
            mask[view.index(phase.start_s) : view.index(phase.end_s)] = True
    return mask


def _at_arrests(found: Sequence[Phase], view: View) -> Iterator[Reported]:
    arrests = _named(found, "lower_body_arrest") or _named(found, "no_flow_arrest")
    for number, arrest in enumerate(arrests):
        for core in CORES:
            values = view.get(core)
            if values is None:
                continue
            at = view.index(arrest.start_s)
            level = mean(values[max(0, at - 30) : at + 30])
            if np.isfinite(level):
                which = f" {number + 1}" if len(arrests) > 1 else ""
                yield Reported(
                    f"{_site(core)} at the start of arrest{which}", arrest.start_s, arrest.start.unc_s, round(level, 1),
                    "Cel", "mean of the minute around it",
                )  # fmt: skip


def _head(found: Sequence[Phase], view: View) -> Iterator[Reported]:
    inside = _inside(found, view, "selective_cerebral")
    if not inside.any() or view.flow is None:
        return
    flow = view.flow[inside]
    of = f"of {int(np.isfinite(flow).sum())} s seen of {int(inside.sum())}"
    level = mean(flow)
    if not np.isfinite(level):
        return
    side = f", inflow side: {view.facts.inflow_side}" if view.facts.inflow_side else ""
    yield Reported("mean flow to the head alone", value=round(level, 2), unit="L/min", note=f"{of}{side}")
    if view.facts.weight_kg:
        yield Reported(
            "mean flow to the head alone by weight", value=round(1000 * level / view.facts.weight_kg, 1),
            unit="mL/kg/min", note=f"{of}; {view.facts.weight_kg:g} kg",
        )  # fmt: skip
    site = head_site(view)
    if site:
        pressure = view.values[site][inside]
        if np.isfinite(pressure).any():
            yield Reported(
                "mean pressure with the head perfused alone", value=round(mean(pressure), 0), unit="mm[Hg]",
                note=f"{site.replace('_', ' ')}, of {int(np.isfinite(pressure).sum())} s seen of {int(inside.sum())}",
            )  # fmt: skip


def _rates(found: Sequence[Phase], view: View) -> Iterator[Reported]:
    """Mean and fastest rate of cooling to the first arrest and of warming, °C/min; the fastest by a 5-min line."""
    if not view.core:
        return
    values = view.values[view.core]
    _, slope = line_fit(values, TARGET_FIT_S)
    arrests = _named(found, "lower_body_arrest")
    for name in ("cooling", "warming"):
        for phase in _named(found, name)[:1]:
            end = phase.end_s
            if name == "cooling" and arrests and arrests[0].start_s > phase.start_s:
                end = arrests[0].start_s
            first, last = view.index(phase.start_s), view.index(end)
            yield from _rate(name, values[first:last], slope[first:last], view.core)


def _rate(name: str, values: FloatArray, slope: FloatArray, core: str) -> Iterator[Reported]:
    seen = np.flatnonzero(np.isfinite(values))
    if seen.size < 2 * TARGET_FIT_S or not np.isfinite(slope).any():
        return
    minutes = (seen[-1] - seen[0]) / 60
    change = float(values[seen[-1]] - values[seen[0]]) / minutes
    fastest = 60 * float(np.nanmin(slope) if name == "cooling" else np.nanmax(slope))
    note = f"{_site(core)}, {seen.size} s seen"
    yield Reported(f"mean rate of {NAMES[name]}", value=round(change, 2), unit="Cel/min", note=note)
    yield Reported(
        f"fastest rate of {NAMES[name]}", value=round(fastest, 2), unit="Cel/min", note=f"{note}, 5-min line"
    )


def drainage_lost(finds: Iterable[Find]) -> Iterator[Reported]:
    """Seconds of lost drainage (E08) together; nothing where there is none among the finds."""
    lost = [one for one in finds if one.code == "E08"]
    if lost:
        yield Reported(
            "drainage lost", value=round(sum(one.duration_s for one in lost), 0), unit="s",
            note=f"sum of {len(lost)} proposed (E08)",
        )  # fmt: skip
