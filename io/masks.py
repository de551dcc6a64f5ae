"""Masks: what people hide of a channel, and what they believe although a rule calls it artefact.

Both are edits of the log and alter no sample. A ``hide`` edit takes seconds of a channel out of every figure, an
``unhide`` edit gives them back; where several overlap the later one counts. Either can be taken back: an edit with
``"removed": true`` then stands in its place. A mask is kept in seconds of its source too, so that it stays on what it
was laid upon when the source's clock is set.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from .clock import ClockMap
from .errors import EditRefused
from .log import Edit

if TYPE_CHECKING:
    from .case import Case

VERBS = ("hide", "unhide")

Verb = Literal["hide", "unhide"]
Stretches = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Mask:
    """One person's word on a stretch of a channel.

    Attributes
    ----------
    start, end : float
        Reference seconds, half-open, as the clock of its source stands now and cut at the horizon of its case.
    hidden : bool
        Whether it is hidden; else it is to be believed.
    reason : str
        As the person wrote it; empty where none was.
    author, edit, made : str
        Who said so, in which edit of the log, and when.
    find : str
        Key of the find that was set aside with it; empty where it was none.
    """

    start: float
    end: float
    hidden: bool
    reason: str
    author: str
    edit: str
    made: str = ""
    find: str = ""


def by_channel(edits: Iterable[Edit]) -> dict[str, tuple[Edit, ...]]:
    """The masks in force by channel id, in the order of the log.

    Parameters
    ----------
    edits : iterable of Edit
        Those that stand, in order. Of two that replace the same one the later counts.
    """
    own = [edit for edit in edits if edit.verb in VERBS]
    last = {edit.supersedes: edit.id for edit in own if edit.supersedes}
    found: dict[str, tuple[Edit, ...]] = {}
    for edit in own:
        if edit.payload.get("removed") or (edit.supersedes and last[edit.supersedes] != edit.id):
            continue
        channel = str(edit.payload["channel"])
        found[channel] = (*found.get(channel, ()), edit)
    return found


def placed(edits: Sequence[Edit], clock: ClockMap, source: str, limit: float) -> tuple[Mask, ...]:
    """Masks of one channel on the reference clock; what lies at or after `limit` is cut off.

    Parameters
    ----------
    edits : sequence of Edit
        Of `by_channel`.
    clock : ClockMap
        Of the channel's source.
    source : str
        Its name: a mask that was laid on another one keeps its reference seconds.
    limit : float
        The horizon; infinite where there is none.
    """
    found = []
    for edit in edits:
        start, end = float(edit.payload["start_s"]), float(edit.payload["end_s"])
        anchor = edit.payload.get("anchor")
        if anchor is not None and anchor["source"] == source:
            run = int(anchor["run"])
            start = float(clock.to_reference(float(anchor["source_s"]), run))
            end = float(clock.to_reference(float(anchor["source_end_s"]), run))
        end = min(end, limit)
        if start < end:
            words = {name: str(edit.payload.get(name, "")) for name in ("reason", "find")}
            hidden = edit.verb == "hide"
            found.append(Mask(start, end, hidden, author=edit.author, edit=edit.id, made=edit.made, **words))
    return tuple(found)


def settled(masks: Iterable[Mask]) -> tuple[Stretches, Stretches]:
    """What is hidden, and what is believed, after each later mask was laid over the earlier ones; both in order."""
    hidden: list[tuple[float, float]] = []
    believed: list[tuple[float, float]] = []
    for mask in masks:
        mine, other = (hidden, believed) if mask.hidden else (believed, hidden)
        other[:] = without(other, mask.start, mask.end)
        mine[:] = [*without(mine, mask.start, mask.end), (mask.start, mask.end)]
    return _joined(hidden), _joined(believed)


def without(stretches: Iterable[tuple[float, float]], start: float, end: float) -> list[tuple[float, float]]:
    """What is left of half-open stretches once ``[start, end)`` is cut out."""
    pieces = [piece for a, b in stretches for piece in ((a, min(b, start)), (max(a, end), b))]
    return [(a, b) for a, b in pieces if a < b]


def _joined(stretches: Iterable[tuple[float, float]]) -> Stretches:
    found: list[tuple[float, float]] = []
    for start, end in sorted(stretches):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((start, end))
    return tuple(found)


def mask(
    case: Case,
    author: str,
    verb: Verb,
    channel: str,
    start_s: float,
    end_s: float,
    reason: str = "",
    **beside: str,
) -> Edit:
    """Hide a stretch of a channel, or say that it is to be believed.

    Parameters
    ----------
    case : Case
        Must be the whole case, not a view up to some time.
    author : str
        Author id.
    verb : {"hide", "unhide"}
    channel : str
        Any name the case knows it by.
    start_s, end_s : float
        Reference seconds, half-open.
    reason : str
        Why, in the author's words.
    **beside : str
        Kept with it: ``find``, the key of the find that is set aside with it; ``by``, the edit that it belongs to.

    Raises
    ------
    EditRefused
        When the stretch has no length, or holds nothing of the channel.
    NoSuchChannel
        When no single channel is called so.
    """
    found = case[channel]
    if not (math.isfinite(start_s) and math.isfinite(end_s) and start_s < end_s):
        raise EditRefused(
            f"a stretch from {start_s:g} s to {end_s:g} s has no length", todo="Give a start and a later end"
        )
    span = found.span
    if end_s <= span.start or start_s >= span.end:
        raise EditRefused(
            f"{found.plain_name} ({found.id}) holds nothing from {case.clock_text(start_s)} to "
            f"{case.clock_text(end_s)}",
            todo=f"It runs from {case.clock_text(span.start)} to {case.clock_text(span.end)}",
        )
    run = found.run_at(start_s)
    payload: dict[str, Any] = {
        "channel": found.id,
        "start_s": float(start_s),
        "end_s": float(end_s),
        "anchor": {
            "source": found.source,
            "run": run,
            "source_s": float(found.clock.to_source(start_s, run)),
            "source_end_s": float(found.clock.to_source(end_s, run)),
        },
    }
    words = {name: text for name, text in {"reason": reason.strip(), **beside}.items() if text}
    return case.edit(author, verb, payload | words)


def say_why(case: Case, author: str, edit_id: str, reason: str, **beside: str) -> Edit:
    """Give one's own mask another reason; the earlier one stays in the log.

    Raises
    ------
    EditRefused
        As `take_back`.
    """
    found = _own(case, author, edit_id)
    payload: Mapping[str, Any] = {**_alone(found), "reason": reason.strip(), **beside}
    return case.edit(author, found.verb, payload, supersedes=found.id)


def take_back(case: Case, author: str, edit_id: str, **beside: str) -> Edit:
    """Take one's own mask back; it stays in the log.

    Raises
    ------
    EditRefused
        When there is no such mask in force, or it is somebody else's.
    """
    found = _own(case, author, edit_id)
    payload: Mapping[str, Any] = {**_alone(found), "removed": True, **beside}
    return case.edit(author, found.verb, payload, supersedes=found.id)


def _alone(edit: Edit) -> dict[str, Any]:
    """A payload without the edit that it belonged to: what replaces it is undone by itself."""
    return {name: value for name, value in edit.payload.items() if name != "by"}


def _own(case: Case, author: str, edit_id: str) -> Edit:
    standing = [edit for edits in by_channel(case.log.standing()).values() for edit in edits]
    found = next((edit for edit in standing if edit.id == edit_id), None)
    if found is None:
        raise EditRefused(f"there is no mask {edit_id!r} in force")
    if found.author != author:
        raise EditRefused(
            f"the mask is {found.author}'s, not {author}'s",
            todo="Say otherwise with a mask of your own: the later one counts",
        )
    return found


def not_followed(edits: Iterable[Edit], known: Iterable[str]) -> list[str]:
    """What is wrong with masks in force that lie on no channel of the case, also none that was taken out."""
    names = set(known)
    return [
        f"{edit.id}: a {edit.verb} of {name!r}, which is no channel of this case"
        for name, several in by_channel(edits).items()
        if name not in names
        for edit in several
    ]
