"""Phases of the operation: proposed from the traces and from what was written or said, overlaid by what people set.

Where there is no pump flow, bypass is what was written or said, and an arrest that or what the pressures say. The
clamp and protamine are dated by lines of text, by a channel of cardioplegia, or by a person as ``phase`` edits of the
case's log; never by a pressure or a flow.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from .phase_around import around
from .phase_arrests import build_flow_phases
from .phase_clamp import clamp_phases, clock
from .phase_doses import cardioplegia_doses, protamine_windows
from .phase_durations import AT_LEAST, Duration, durations, length_sd
from .phase_model import NAMES, Boundary, Phase, authors, numbered
from .phase_rules import on_periods, read_pump
from .phase_temperatures import temperature_phases
from .phase_words import beyond_the_pump, phases_from_words
from .said import Said, grouped, said_times
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
    "in_force",
    "length_sd",
    "overlay",
    "phases",
    "proposals",
    "propose",
]


ARRESTS = ("lower_body_arrest", "no_flow_arrest", "selective_cerebral")
"""An arrest and its parts."""
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
        In order of their start. Without a recorded pump flow nothing but arrests that the pressures show.
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
    return in_force(case, proposals(case, view, words=words))


def proposals(case: Case, view: View | None = None, *, words: bool = True) -> list[Phase]:
    """The same before anybody set a time: see `phases`."""
    seen = view if view is not None else View.of(case)
    found = propose(seen, said_times(case.notes) if words else (), open_until=case.horizon)
    if words or seen.flow is not None:
        return found
    # Pressures alone date an arrest by half a minute: too wide to judge the clock of a line by.
    return [phase for phase in found if phase.name not in ARRESTS]


def in_force(case: Case, proposed: Sequence[Phase]) -> list[Phase]:
    """Proposals of a case with what people set in their place, as its log says now."""
    edits = [(edit.author, edit.payload) for edit in case.log.standing("phase")]
    if case.horizon is not None:
        edits = [(author, _seen_until(payload, case.horizon)) for author, payload in edits]
        edits = [(author, payload) for author, payload in edits if payload.get("start_s", 0.0) < case.horizon]
    return overlay(proposed, edits)


def _seen_until(payload: Mapping[str, Any], horizon: float) -> Mapping[str, Any]:
    """A person's phase as far as a view up to `horizon` may know it."""
    return {**payload, "end_s": min(float(payload["end_s"]), horizon)} if "end_s" in payload else payload


def propose(view: View, said: Iterable[Said] = (), *, open_until: float | None = None) -> list[Phase]:
    """Phases from a view, and from what people wrote or said.

    Parameters
    ----------
    view : View
    said : iterable of Said
        Without them there is no clamp and no protamine, whatever the traces look like, and without a pump flow no
        bypass.
    open_until : float, optional
        End of a view up to some time.
    """
    said = tuple(said)
    events = grouped(said)
    flow = view.flow
    found: list[Phase] = []
    if flow is not None:
        pump = read_pump(view, flow)
        for period in on_periods(view, pump):
            own = beyond_the_pump(view, events, build_flow_phases(view, pump, period))
            own += temperature_phases(view, period, own)
            found += own
        bypasses = sorted((one for one in found if one.name == "bypass"), key=lambda phase: phase.start_s)
        found += around(view, bypasses)
    else:
        found = phases_from_words(view, events, open_until=open_until)
        bypasses = [one for one in found if one.name == "bypass"]
    found += [Phase("return_on", again.start, again.end, "bypass") for again in bypasses[1:]]
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
        In order. A payload is ``{"name", "start_s", "end_s", "index"}``, with ``start_sd_s`` and ``end_sd_s``
        (``sd_s`` of both in older ones) and, where an end is not the author's own, ``start_by`` or ``end_by``:
        who set it, empty where it is the proposal that nobody touched. The phase of that name that goes by
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
        start, end = (_edited(payload, edge, author, before) for edge in ("start", "end"))
        parent = before.parent if before else _PARENTS.get(key[0], "bypass")
        by = (start.confirmed_by, end.confirmed_by)
        standing[key] = Phase(key[0], start, end, parent, key[1], confirmed_by=authors(by) if all(by) else "")
    kept = {key: replace(phase, identity=key[1]) for key, phase in standing.items()}
    return _under_the_clamp(numbered(_said_once(list(kept.values()))))


def _edited(payload: Mapping[str, Any], edge: str, author: str, before: Phase | None) -> Boundary:
    """An end as an edit has it: its author's, somebody else's before, or the proposal that nobody touched."""
    time_s = float(payload[f"{edge}_s"])
    sd = float(payload.get(f"{edge}_sd_s", payload.get("sd_s", 0.0)))
    by = str(payload.get(f"{edge}_by", author))
    old = None if before is None else before.start if edge == "start" else before.end
    if by:
        said = f"set by {by}"
        return Boundary(time_s, said, sampling_sd_s=sd, alternatives=_proposed(old), confirmed_by=by)
    start_s, end_s = float(payload["start_s"]), float(payload["end_s"])
    same = before is not None and before.start_s < end_s and start_s < before.end_s
    if old is not None and same and (old.time_s < end_s if edge == "start" else old.time_s > start_s):
        return old  # as it is proposed now: what it rests on may have moved since
    return Boundary(time_s, "proposed when the other end was set", sampling_sd_s=sd)


def _said_once(found: Sequence[Phase]) -> list[Phase]:
    """Phases without proposals of which a person set the same one under another number."""
    own = [phase for phase in found if phase.set_by]
    return [
        phase
        for phase in found
        if phase.set_by
        or not any(
            one.name == phase.name
            and min(one.end_s, phase.end_s) - max(one.start_s, phase.start_s) > 0.5 * phase.duration_s
            for one in own
        )
    ]


def _proposed(old: Boundary | None) -> tuple[str, ...]:
    if old is None:
        return ()
    what = clock(old.time_s)
    first = f"{old.rule}: {what}" if old.confirmed_by else f"proposed: {what} ({old.rule})"
    return (first, *old.alternatives)


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
