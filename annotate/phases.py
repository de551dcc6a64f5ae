"""Phases of the operation: proposed from the traces and from what was written or said, overlaid by what people set.

What the traces date needs a pump flow. The clamp and protamine are dated by lines of text, by a channel of
cardioplegia, or by a person as ``phase`` edits of the case's log; never by a pressure or a flow.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from .order import not_set
from .phase_arrests import build_flow_phases
from .phase_clamp import clamp_phases, clock
from .phase_doses import cardioplegia_doses, protamine_windows
from .phase_durations import AT_LEAST, Duration, durations, length_sd
from .phase_model import NAMES, Boundary, Phase, numbered
from .phase_rules import OnPeriod, on_periods, read_pump
from .phase_temperatures import temperature_phases
from .said import Said, said_times
from .view import View

if TYPE_CHECKING:
    from afterclamp.io.case import Case

__all__ = [
    "AT_LEAST",
    "NAMES",
    "Boundary",
    "Duration",
    "Phase",
    "durations",
    "find_phases",
    "length_sd",
    "overlay",
    "phases",
    "propose",
]


_PARENTS = {"pre": "", "bypass": "", "post": "", "protamine": "post"}
"""What a phase lies in that a person adds, where that is not bypass."""


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


def phases(case: Case, view: View | None = None, *, words: bool = True) -> list[Phase]:
    """Phases in force: the proposals, with what people set in their place.

    Parameters
    ----------
    case : Case
        The case.
    view : View, optional
        Its one-second view if that is at hand already.
    words : bool
        Whether lines of text may date a phase: not where a phase is what their own clock is judged by.
    """
    seen = view if view is not None else View.of(case)
    proposals = propose(seen, said_times(case.notes) if words else (), open_until=case.horizon)
    edits = [(edit.author, edit.payload) for edit in case.log.standing("phase")]
    if case.horizon is not None:
        edits = [(author, _seen_until(payload, case.horizon)) for author, payload in edits]
        edits = [(author, payload) for author, payload in edits if payload.get("start_s", 0.0) < case.horizon]
    return overlay(proposals, edits)


def _seen_until(payload: Mapping[str, Any], horizon: float) -> Mapping[str, Any]:
    """A person's phase as far as a view up to `horizon` may know it."""
    return {**payload, "end_s": min(float(payload["end_s"]), horizon)} if "end_s" in payload else payload


def propose(view: View, said: Iterable[Said] = (), *, open_until: float | None = None) -> list[Phase]:
    """Phases from a view, and from what people wrote or said.

    Parameters
    ----------
    view : View
    said : iterable of Said
        Without them there is no clamp and no protamine, whatever the traces look like.
    open_until : float, optional
        End of a view up to some time.
    """
    said = tuple(said)
    flow = view.flow
    found: list[Phase] = []
    periods: list[OnPeriod] = []
    if flow is not None:
        pump = read_pump(view, flow)
        periods = on_periods(view, pump)
        for period in periods:
            own = build_flow_phases(view, pump, period)
            own += temperature_phases(view, period, own)
            found += own
        bypasses = [phase for phase in found if phase.name == "bypass"]
        found += [
            Phase("return_on", again.start, again.end, "bypass")
            for again in sorted(bypasses, key=lambda phase: phase.start_s)[1:]
        ]
        found += _around(view, periods, found)
    doses = cardioplegia_doses(view)
    off = [phase.end for phase in found if phase.name == "bypass"]
    spoken = [
        *doses,
        *clamp_phases(view, said, doses, open_until=open_until),
        *protamine_windows(view, said, off),
    ]
    return _under_the_clamp(numbered([*found, *spoken]))


def overlay(proposals: Sequence[Phase], edits: Iterable[tuple[str, Mapping[str, Any]]]) -> list[Phase]:
    """Proposals with people's times laid over them.

    Parameters
    ----------
    proposals : sequence of Phase
        As the rules gave them.
    edits : iterable of (author, payload)
        In order. A payload is ``{"name", "start_s", "end_s", "index"}``: the phase of that name that goes by
        this number (`Phase.edited_as`) gets these times; a number that none has adds a phase. ``"removed":
        true`` takes it away. A proposal that lies mostly within a person's phase of its name is the same one.

    Returns
    -------
    list of Phase
        In order, numbered anew; each keeps the number that edits speak of it by.
    """
    standing = {(phase.name, phase.edited_as): phase for phase in proposals}
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
        parent = before.parent if before else _PARENTS.get(key[0], "bypass")
        standing[key] = Phase(key[0], start, end, parent, key[1], confirmed_by=author)
    kept = {key: replace(phase, identity=key[1]) for key, phase in standing.items()}
    return _under_the_clamp(numbered(_said_once(list(kept.values()))))


def _said_once(found: Sequence[Phase]) -> list[Phase]:
    """Phases without proposals of which a person set the same one under another number."""
    own = [phase for phase in found if phase.confirmed_by]
    return [
        phase
        for phase in found
        if phase.confirmed_by
        or not any(
            one.name == phase.name
            and min(one.end_s, phase.end_s) - max(one.start_s, phase.start_s) > 0.5 * phase.duration_s
            for one in own
        )
    ]


def _proposed(old: Boundary | None) -> tuple[str, ...]:
    return () if old is None else (f"proposed: {clock(old.time_s)} ({old.rule})", *old.alternatives)


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
