"""Marks: what people said about a moment or a stretch; what they said about finds stands in `verdicts`.

A mark is an edit in the log of its author. Made on a trace, it also keeps the source, the run of its
clock and the source's own seconds, and so moves with the trace when that clock is corrected. Undo and
redo are those of the log.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from afterclamp.io.errors import EditRefused

from .order import Z95
from .verdicts import Verdict, verdict, verdicts

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Source
    from afterclamp.io.log import Edit

__all__ = [
    "KINDS",
    "Kind",
    "Mark",
    "Verdict",
    "add_mark",
    "amend",
    "marks",
    "marks_of",
    "on_whole_case",
    "remove",
    "verdict",
    "verdicts",
]

Kind = Literal["point", "span", "note"]
KINDS: tuple[Kind, ...] = ("point", "span", "note")


@dataclass(frozen=True)
class Mark:
    """What somebody said of a moment, a stretch, or the case.

    Attributes
    ----------
    id : str
        Stays the same when the mark is amended.
    kind : str
        ``"point"``, ``"span"`` or ``"note"``.
    code : str
        Class token, empty for free text.
    text : str
    start_s, end_s : float
        Reference seconds by today's clocks.
    channels : tuple of str
        Ids of the channels it was made on.
    confidence : int or None
        0 to 100, as its author put it.
    author, made : str
        Who, and the wall time, which is only shown.
    edit : str
        Id of the edit in force.
    anchored : bool
        Whether it moves with its trace.
    unc_s : float
        Half width of the 95 % interval that the clock of the trace it was made on leaves its start, seconds; that of
        the find where it has a begin or end of one, and that is more. Infinite where nobody set a clock, 0 for a mark
        that was made on no trace.
    subtype : str
        Of its class, such as ``"hyper"``; mostly empty.
    site : str
        The arterial site that it was judged at; mostly empty.
    origin : mapping
        What it came from; empty for one that was made by hand. ``{"from": "rule" | "joined" | "split", "finds":
        [...]}``, each find with ``key``, ``code``, ``subtype``, ``version`` (of its rule), ``channels``,
        ``start_s``, ``end_s`` and ``unc_s`` (null where it is not known) as they were.
    """

    id: str
    kind: str
    code: str
    text: str
    start_s: float
    end_s: float
    channels: tuple[str, ...]
    confidence: int | None
    author: str
    made: str
    edit: str
    anchored: bool
    unc_s: float = 0.0
    subtype: str = ""
    site: str = ""
    origin: Mapping[str, Any] = field(default_factory=dict)

    @property
    def found(self) -> tuple[Mapping[str, Any], ...]:
        """Copies of the finds that it came from, as they were then."""
        return tuple(self.origin.get("finds", ()))


def add_mark(
    case: Case,
    author: str,
    *,
    kind: Kind = "point",
    code: str = "",
    text: str = "",
    start_s: float,
    end_s: float | None = None,
    channels: Sequence[str] = (),
    confidence: int | None = None,
    subtype: str = "",
    site: str = "",
    origin: Mapping[str, Any] | None = None,
    by: str = "",
) -> Mark:
    """Put a mark into the author's log.

    Parameters
    ----------
    case : Case
        The case.
    author : str
        Author id.
    kind : {"point", "span", "note"}
        A moment, a stretch, or words. A note stands at a moment too; one at the case's begin is on the whole
        case (`on_whole_case`).
    code, text : str
        Class token and free words; either may be empty.
    start_s, end_s : float
        Reference seconds; a point ends where it begins.
    channels : sequence of str
        Channels that it is made on, by any name the case knows. It is anchored to the first one's source.
    confidence : int, optional
        0 to 100.
    subtype, site : str
        See `Mark`.
    origin : mapping, optional
        What it came from, see `Mark`.
    by : str
        Id of the edit that it belongs to and is undone with.

    Returns
    -------
    Mark
        As it stands in the log.

    Raises
    ------
    EditRefused
        When the kind is unknown, the end lies before the start, the confidence is outside 0 to 100, or
        a time is not finite.
    NoSuchChannel
        When a channel is not there.
    """
    payload = {
        "id": _new_id(case, author),
        **_checked(kind, start_s, start_s if end_s is None else end_s, confidence),
        "code": code,
        "text": text,
        **_anchored(case, channels, start_s, start_s if end_s is None else end_s),
        **_kept(subtype, site, origin or {}),
        **({"by": by} if by else {}),
    }
    edit = case.log.append(author, "mark", payload)
    return _mark(case, edit)


def marks(case: Case) -> list[Mark]:
    """Marks in force, in order of time; of a view up to some time those that begin before it."""
    standing = [
        _mark(case, edit) for edit in case.log.standing("mark") if not edit.payload.get("removed", False)
    ]
    if case.horizon is not None:
        horizon = case.horizon
        standing = [
            replace(mark, end_s=min(mark.end_s, horizon)) for mark in standing if mark.start_s < horizon
        ]
    return sorted(standing, key=lambda mark: (mark.start_s, mark.end_s, mark.id))


def marks_of(case: Case) -> list[tuple[Edit, Mark]]:
    """Every version of every mark that was not undone, with its edit, in the order they were made.

    Of a view up to some time those that begin before it, none reaching beyond it.
    """
    every = [(edit, _mark(case, edit)) for edit in case.log.not_undone("mark")]
    if case.horizon is None:
        return every
    horizon = case.horizon
    return [
        (edit, replace(mark, end_s=min(mark.end_s, horizon)))
        for edit, mark in every
        if mark.start_s < horizon
    ]


def on_whole_case(case: Case, mark: Mark) -> bool:
    """Whether a mark is a note without a moment: one that was written at the case's begin, or before it."""
    return mark.kind == "note" and mark.start_s <= case.span.start


def amend(case: Case, author: str, mark_id: str, **changes: Any) -> Mark:
    """Replace a mark by a changed one; the earlier version stays in the log.

    Parameters
    ----------
    case : Case
        The case.
    author : str
        The mark's author: marks belong to who made them.
    mark_id : str
        The mark's id.
    **changes
        Any of `kind`, `code`, `text`, `start_s`, `end_s`, `channels`, `confidence`.

    Raises
    ------
    EditRefused
        When there is no such mark in force, it is somebody else's, or a change has no meaning.
    """
    known = {"kind", "code", "text", "start_s", "end_s", "channels", "confidence"}
    if set(changes) - known:
        raise EditRefused(
            f"a mark has no {', '.join(sorted(set(changes) - known))}; it has {', '.join(sorted(known))}"
        )
    edit = _standing(case, author, mark_id)
    old = _mark(case, edit)
    new = {
        "kind": old.kind,
        "code": old.code,
        "text": old.text,
        "start_s": old.start_s,
        "end_s": old.end_s,
        "channels": old.channels,
        "confidence": old.confidence,
        **changes,
    }
    if new["kind"] == "point" and "end_s" not in changes:
        new["end_s"] = new["start_s"]
    start_s, end_s = float(new["start_s"]), float(new["end_s"])
    payload = {
        "id": mark_id,
        **_checked(new["kind"], start_s, end_s, new["confidence"]),
        "code": str(new["code"]),
        "text": str(new["text"]),
        **_anchored(case, new["channels"], start_s, end_s),
        **_kept(old.subtype if new["code"] == old.code else "", old.site, old.origin),
    }
    return _mark(case, case.log.append(author, "mark", payload, supersedes=edit.id))


def remove(case: Case, author: str, mark_id: str, by: str = "") -> Edit:
    """Take a mark away; it stays in the log, and undo brings it back.

    Raises
    ------
    EditRefused
        When there is no such mark in force or it is somebody else's.
    """
    edit = _standing(case, author, mark_id)
    payload = {name: value for name, value in edit.payload.items() if name != "by"}
    payload |= {"removed": True, **({"by": by} if by else {})}
    return case.log.append(author, "mark", payload, supersedes=edit.id)


# -- inside ----------------------------------------------------------------------------------------


def _checked(kind: str, start_s: float, end_s: float, confidence: int | None) -> dict[str, Any]:
    if kind not in KINDS:
        raise EditRefused(f"{kind!r} is no kind of mark; expected one of {', '.join(KINDS)}")
    if not (np.isfinite(start_s) and np.isfinite(end_s)) or end_s < start_s:
        raise EditRefused(
            f"a mark from {start_s:g} s to {end_s:g} s has no time", todo="Give an end after the start"
        )
    if confidence is not None and not 0 <= confidence <= 100:
        raise EditRefused(f"a confidence of {confidence} lies outside 0 to 100")
    return {
        "kind": kind,
        "start_s": float(start_s),
        "end_s": float(end_s) if kind != "point" else float(start_s),
        "confidence": None if confidence is None else int(confidence),
    }


def _new_id(case: Case, author: str) -> str:
    taken = {str(edit.payload.get("id")) for edit in case.log.edits if edit.verb == "mark"}
    number = 1 + sum(1 for edit in case.log.edits if edit.verb == "mark" and edit.author == author)
    while f"{author}-m{number}" in taken:
        number += 1
    return f"{author}-m{number}"


def _anchored(case: Case, channels: Sequence[str], start_s: float, end_s: float) -> dict[str, Any]:
    found = [case[name] for name in channels]
    anchor = None
    if found:
        run = found[0].run_at(start_s)
        clock = _source(case, found[0].source).clock
        anchor = {
            "source": found[0].source,
            "run": run,
            "source_s": float(clock.to_source(start_s, run)),
            "source_end_s": float(clock.to_source(end_s, run)),
        }
    return {"channels": [channel.id for channel in found], "anchor": anchor}


def _kept(subtype: str, site: str, origin: Mapping[str, Any]) -> dict[str, Any]:
    """Fields of a payload that only a mark that came from a find has."""
    found = {"subtype": subtype, "site": site, "origin": dict(origin)}
    return {name: value for name, value in found.items() if value}


def _source(case: Case, name: str) -> Source:
    return next(source for source in case.sources if source.name == name)


def _standing(case: Case, author: str, mark_id: str) -> Edit:
    fitting = [
        edit
        for edit in case.log.standing("mark")
        if edit.payload.get("id") == mark_id and not edit.payload.get("removed", False)
    ]
    if not fitting:
        raise EditRefused(f"there is no mark {mark_id!r}")
    if fitting[-1].author != author:
        raise EditRefused(
            f"the mark {mark_id!r} is {fitting[-1].author}'s, not {author}'s", todo="Make a mark of your own"
        )
    return fitting[-1]


def _left_by_finds(payload: Mapping[str, Any]) -> list[float]:
    """What the finds whose begin or end a mark has leave open of it; a time that a person moved is none of theirs."""
    ends = {float(payload["start_s"]), float(payload["end_s"])}
    copies = (payload.get("origin") or {}).get("finds", ())
    theirs = [one for one in copies if "unc_s" in one and ends & {one.get("start_s"), one.get("end_s")}]
    return [np.inf if one["unc_s"] is None else float(one["unc_s"]) for one in theirs]


def _mark(case: Case, edit: Edit) -> Mark:
    payload = edit.payload
    start_s, end_s = float(payload["start_s"]), float(payload["end_s"])
    anchor = payload.get("anchor")
    moved, unc_s = False, 0.0
    if anchor is not None:
        try:
            source = _source(case, str(anchor["source"]))
        except StopIteration:
            pass  # the source's file is not in this copy of the case: the time it was given then stands
        else:
            run = int(anchor["run"])
            start_s = float(source.clock.to_reference(float(anchor["source_s"]), run))
            end_s = float(source.clock.to_reference(float(anchor["source_end_s"]), run))
            unc_s = Z95 * float(source.clock.sd(float(anchor["source_s"]), run))
            moved = True
    unc_s = max([unc_s, *_left_by_finds(payload)])
    confidence = payload.get("confidence")
    return Mark(
        id=str(payload["id"]),
        kind=str(payload["kind"]),
        code=str(payload.get("code", "")),
        text=str(payload.get("text", "")),
        start_s=start_s,
        end_s=end_s,
        channels=tuple(str(name) for name in payload.get("channels", ())),
        confidence=None if confidence is None else int(confidence),
        author=edit.author,
        made=edit.made,
        edit=edit.id,
        anchored=moved,
        unc_s=unc_s,
        subtype=str(payload.get("subtype", "")),
        site=str(payload.get("site", "")),
        origin=payload.get("origin") or {},
    )
