"""Phases of the operation: proposed from the traces, overlaid by what people said, and their sums.

Proposals need a pump flow. The clamp is never proposed: its times come from a person or a log, as
``phase`` edits of the case's log.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from .order import Z95, not_set, or_none
from .phase_arrests import build_flow_phases
from .phase_model import NAMES, Boundary, Phase, numbered
from .phase_rules import OnPeriod, on_periods, read_pump
from .phase_temperatures import temperature_phases
from .view import View

if TYPE_CHECKING:
    from afterclamp.io.case import Case

__all__ = [
    "NAMES",
    "Boundary",
    "Duration",
    "Phase",
    "durations",
    "find_phases",
    "overlay",
    "phases",
    "propose",
]


AT_LEAST = "at least, the record begins or ends within it: "


def find_phases(case: Case | View) -> list[Phase]:
    """Phases that the traces of a case speak for; nothing that a person said.

    Parameters
    ----------
    case : Case or View
        The case, or its one-second view if that is at hand.

    Returns
    -------
    list of Phase
        In order of their start. Empty without a recorded pump flow.
    """
    return propose(case if isinstance(case, View) else View.of(case))


def phases(case: Case, view: View | None = None) -> list[Phase]:
    """Phases in force: the proposals, with what people set in their place.

    Parameters
    ----------
    case : Case
        The case.
    view : View, optional
        Its one-second view if that is at hand already.
    """
    proposals = propose(view if view is not None else View.of(case))
    edits = [(edit.author, edit.payload) for edit in case.log.standing("phase")]
    if case.horizon is not None:
        edits = [(author, _seen_until(payload, case.horizon)) for author, payload in edits]
        edits = [(author, payload) for author, payload in edits if payload.get("start_s", 0.0) < case.horizon]
    return overlay(proposals, edits)


def _seen_until(payload: Mapping[str, Any], horizon: float) -> Mapping[str, Any]:
    """A person's phase as far as a view up to `horizon` may know it."""
    return {**payload, "end_s": min(float(payload["end_s"]), horizon)} if "end_s" in payload else payload


def propose(view: View) -> list[Phase]:
    """Phases from a view: what `find_phases` gives for a case."""
    flow = view.flow
    if flow is None:
        return []
    pump = read_pump(view, flow)
    periods = on_periods(view, pump)
    found: list[Phase] = []
    for period in periods:
        own = build_flow_phases(view, pump, period)
        own += temperature_phases(view, period, own)
        found += own
    return numbered(found + _around(view, periods, found))


def overlay(proposals: Sequence[Phase], edits: Iterable[tuple[str, Mapping[str, Any]]]) -> list[Phase]:
    """Proposals with people's times laid over them.

    Parameters
    ----------
    proposals : sequence of Phase
        As the rules gave them.
    edits : iterable of (author, payload)
        In order. A payload is ``{"name", "start_s", "end_s", "index"}``: the index-th phase of that name
        gets these times; an index that no proposal has adds a phase. ``"removed": true`` takes it away.

    Returns
    -------
    list of Phase
        In order, numbered anew.
    """
    standing = {(phase.name, phase.index): phase for phase in proposals}
    for author, payload in edits:
        key = (str(payload["name"]), int(payload.get("index", 0)))
        if payload.get("removed"):
            standing.pop(key, None)
            continue
        before = standing.get(key)
        sd = float(payload.get("sd_s", 0.0))
        said = f"set by {author}"
        start = Boundary(
            float(payload["start_s"]),
            said,
            sampling_sd_s=sd,
            alternatives=_proposed(before.start if before else None),
        )
        end = Boundary(
            float(payload["end_s"]),
            said,
            sampling_sd_s=sd,
            alternatives=_proposed(before.end if before else None),
        )
        parent = before.parent if before else ("" if key[0] in ("pre", "bypass", "post") else "bypass")
        standing[key] = Phase(key[0], start, end, parent, key[1], confirmed_by=author)
    return _under_the_clamp(numbered(standing.values()))


def _proposed(old: Boundary | None) -> tuple[str, ...]:
    return () if old is None else (f"proposed: {old.time_s:.0f} s ({old.rule})", *old.alternatives)


def _under_the_clamp(found: list[Phase]) -> list[Phase]:
    """Arrests that lie within a cross-clamp have it as their parent."""
    clamps = [phase for phase in found if phase.name == "clamp"]
    return [
        replace(phase, parent="clamp")
        if phase.name == "lower_body_arrest"
        and any(clamp.start_s <= phase.start_s and phase.end_s <= clamp.end_s for clamp in clamps)
        else phase
        for phase in found
    ]


# -- before, after, temperature --------------------------------------------------------------------


def _around(view: View, periods: Sequence[OnPeriod], found: Sequence[Phase]) -> list[Phase]:
    """The record before the first time on bypass and after each, where the flow says that it is that."""
    recorded = np.zeros(view.n, dtype=np.bool_)
    for values in view.values.values():
        recorded |= np.isfinite(values)
    seconds = np.flatnonzero(recorded)
    if not len(seconds):
        return []
    first = _of_record(view, int(seconds[0]), int(seconds[0]), "first recorded value")
    last = _of_record(view, int(seconds[-1]), int(seconds[-1]) + 1, "the record ends")
    if not periods:
        return [Phase("pre", first, last)]
    bypasses = sorted((phase for phase in found if phase.name == "bypass"), key=lambda phase: phase.start_s)
    out = []
    if bypasses[0].start.recorded and bypasses[0].start_s > first.time_s:
        out.append(Phase("pre", first, bypasses[0].start))
    ends = [*(later.start for later in bypasses[1:]), last]
    for bypass, end in zip(bypasses, ends, strict=True):
        if bypass.end.recorded and end.time_s > bypass.end_s:
            out.append(Phase("post", bypass.end, end))
    return out


def _of_record(view: View, second: int, at: int, rule: str) -> Boundary:
    """An end of the record, by the surest clock of those that recorded something then."""
    sources = sorted(
        {view.source.get(name, "") for name, values in view.values.items() if np.isfinite(values[second])}
    )
    time_s = view.time(at)
    clocks = {source: view.clock_at(source, time_s) for source in sources}
    source = min(sources, key=lambda name: clocks[name].sd_s)
    sd = clocks[source].sd_s
    if not sd:
        return Boundary(time_s, rule)
    doubt = () if np.isfinite(sd) else (not_set(source),)
    return Boundary(
        time_s,
        rule,
        source=source,
        clock_sd_s=sd,
        clock_piece=clocks[source].piece,
        alternatives=doubt,
    )


# -- durations -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Duration:
    """A reported length of time.

    Attributes
    ----------
    name : str
        Plain name.
    total_s : float
        Seconds, the sum of `each`.
    unc_s : float
        Half width of the 95 % interval of the sum, seconds; infinite where it is not known.
    each : tuple of (start_s, end_s, seconds, unc_s)
        Its parts in order.
    method : str
        How it is counted.
    at_least : bool
        Whether the record begins or ends within a part of it, so that the true length is not recorded.
    """

    name: str
    total_s: float
    unc_s: float
    each: tuple[tuple[float, float, float, float], ...]
    method: str
    at_least: bool = False

    def to_json(self) -> dict[str, Any]:
        """As plain values; a ± that is not known is null."""
        return {
            "name": self.name,
            "total_s": self.total_s,
            "unc_s": or_none(self.unc_s),
            "each": [
                {"start_s": start_s, "end_s": end_s, "s": seconds, "unc_s": or_none(unc_s)}
                for start_s, end_s, seconds, unc_s in self.each
            ],
            "method": self.method,
            "at_least": self.at_least,
        }


def durations(found: Iterable[Phase]) -> dict[str, Duration]:
    """Times that a team reports, each with start, end and ±.

    Parameters
    ----------
    found : iterable of Phase
        As `phases` gives them.

    Returns
    -------
    dict of str to Duration
        ``bypass``, ``bypass_net_of_no_flow``, ``clamp``, ``no_flow_arrest``, ``lower_body_arrest``,
        ``selective_cerebral``, ``reperfusion``, ``cooling`` (start to the first arrest), ``warming``,
        ``weaning``. A time that has no phase is left out.

    Notes
    -----
    Bypass time is the sum of the on-periods with the arrests in them, and separately without the
    seconds of no flow; arrest with and without flow to the head are counted apart (definitions of the
    surgical databases, from memory). Two boundaries of one source share its clock's error, so it does not
    add to the length between them, unless that clock was set in between (see `length_sd`).
    """
    by_name: dict[str, list[Phase]] = {}
    for phase in found:
        by_name.setdefault(phase.name, []).append(phase)
    out: dict[str, Duration] = {}
    for name, words in (
        ("bypass", "sum of the times on bypass, arrests included"),
        ("clamp", "sum of the times under the clamp"),
        ("no_flow_arrest", "sum of the stretches without any flow"),
        ("lower_body_arrest", "sum of the stretches without flow to the lower body"),
        ("selective_cerebral", "sum of the stretches with the head perfused alone"),
        ("reperfusion", "from an arrest's end to the next arrest, to warming or to weaning"),
        ("warming", "from outlet above venous to the core's target or to weaning"),
        ("weaning", "from the last level of flow to no flow"),
    ):
        if by_name.get(name):
            out[name] = _summed(NAMES[name], [(p.start, p.end) for p in by_name[name]], words)
    if "bypass" in out:
        still = out.get("no_flow_arrest")
        out["bypass_net_of_no_flow"] = Duration(
            "bypass net of no flow",
            out["bypass"].total_s - (still.total_s if still else 0.0),
            float(np.hypot(out["bypass"].unc_s, still.unc_s if still else 0.0)),
            out["bypass"].each,
            f"{AT_LEAST if out['bypass'].at_least else ''}bypass less the stretches without any flow",
            out["bypass"].at_least,
        )
    cooling, arrested = by_name.get("cooling"), by_name.get("lower_body_arrest")
    if cooling and arrested and arrested[0].start_s > cooling[0].start_s:
        out["cooling"] = _summed(
            "cooling to the first arrest",
            [(cooling[0].start, arrested[0].start)],
            "from cooling's start to the first arrest",
        )
    elif cooling:
        out["cooling"] = _summed(
            "cooling", [(p.start, p.end) for p in cooling], "sum of the coolings; no arrest followed"
        )
    return out


def _summed(name: str, pairs: Sequence[tuple[Boundary, Boundary]], method: str) -> Duration:
    each = []
    for start, end in pairs:
        length = end.time_s - start.time_s
        each.append((start.time_s, end.time_s, length, Z95 * length_sd(start, end)))
    total = float(sum(part[2] for part in each))
    unc = float(np.sqrt(sum(part[3] ** 2 for part in each)))
    at_least = not all(end.recorded for pair in pairs for end in pair)
    return Duration(name, total, unc, tuple(each), f"{AT_LEAST if at_least else ''}{method}", at_least)


def length_sd(start: Boundary, end: Boundary) -> float:
    """Standard deviation of the time between two boundaries, seconds.

    The error of one clock does not add where both lie on the same piece of it; across a step of that
    clock, or between two sources, it does. Infinite where a clock that it rests on was set by nobody.
    """
    apart = start.sampling_sd_s**2 + end.sampling_sd_s**2
    if not start.source or (start.source, start.clock_piece) != (end.source, end.clock_piece):
        apart += start.clock_sd_s**2 + end.clock_sd_s**2
    return float(np.sqrt(apart))
