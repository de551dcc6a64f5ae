"""Verdicts: what people said about what the rules found, each with a copy of the find as it was.

Finds are recomputed, verdicts are not: one finds its find again by key, or by class, channels and time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from afterclamp.io.errors import EditRefused
from afterclamp.io.log_shapes import DECISIONS

from .rules import RULES, Find

if TYPE_CHECKING:
    from afterclamp.io.case import Case
    from afterclamp.io.log import Edit


@dataclass(frozen=True)
class Verdict:
    """What somebody decided on a find; it carries its own copy, since finds are recomputed.

    Attributes
    ----------
    decision : str
        One of `io.log_shapes.DECISIONS`.
    find : mapping
        The find as it was, with the ``version`` of its rule.
    author, made, edit : str
        Who, the wall time, which is only shown, and the id of the edit.
    code : str
        The class that it was given instead, where it was reclassified.
    """

    decision: str
    find: Mapping[str, Any]
    author: str
    made: str
    edit: str
    code: str = ""

    @property
    def words(self) -> str:
        """What was decided, as a state: ``"accepted"``, ``"reclassified as E11"``."""
        return f"{self.decision} as {self.code}" if self.code else self.decision


def verdict(
    case: Case, author: str, find: Find, decision: str, *, code: str = "", beside: int = 0, by: str = ""
) -> Verdict:
    """Say what a find is; an earlier verdict of the same author on it is replaced.

    The verdict alone makes no mark: `afterclamp.annotate.judged` does both.

    Parameters
    ----------
    case : Case
    author : str
        Author id.
    find : Find
    decision : str
        One of `DECISIONS`.
    code : str
        The other class, where it is reclassified.
    beside : int
        How many other finds it is joined with.
    by : str
        Id of the edit that it belongs to and is undone with.

    Raises
    ------
    EditRefused
        When the decision is none, or names a class where it must not, or none where it must.
    """
    if decision not in DECISIONS:
        raise EditRefused(f"{decision!r} is no decision on a find; expected one of {', '.join(DECISIONS)}")
    if bool(code) != (decision == "reclassified"):
        raise EditRefused(f"a find that is {decision} {'has no' if code else 'needs a'} class of its own")
    before = [
        edit
        for edit in case.log.standing("verdict")
        if edit.author == author and same_find(edit.payload.get("find", {}), find)
    ]
    payload: dict[str, Any] = {"find": find_copy(find), "decision": decision}
    payload |= {name: value for name, value in (("code", code), ("beside", beside), ("by", by)) if value}
    edit = case.log.append(author, "verdict", payload, supersedes=before[-1].id if before else None)
    return _verdict(edit)


def find_copy(find: Find) -> dict[str, Any]:
    """A find as plain values, with the version of the rule that made it."""
    version = next((rule.version for rule in RULES if rule.code == find.code), None)
    return {**find.to_json(), "version": version}


def verdicts(case: Case, finds: Sequence[Find]) -> dict[str, list[Verdict]]:
    """Verdicts in force on these finds, by the find's key, in the order they were made.

    A verdict finds its find again by its key, else by class, channels and at least half of the
    shorter one's time: thresholds and clocks may have moved it.
    """
    out: dict[str, list[Verdict]] = {}
    for edit in case.log.standing("verdict"):
        best = found_again(edit.payload.get("find", {}), finds)
        if best is not None and edit.payload["decision"] != "proposed":
            out.setdefault(best.key, []).append(_verdict(edit))
    return out


def found_again(copy: Mapping[str, Any], finds: Sequence[Find]) -> Find | None:
    """The find that a copy was made of, among finds that were computed since; None where rules no longer find it."""
    fitting = [find for find in finds if copy.get("key") == find.key] or [
        find for find in finds if same_find(copy, find)
    ]
    return max(fitting, key=lambda find: _shared(copy, find)) if fitting else None


def _verdict(edit: Edit) -> Verdict:
    payload = edit.payload
    decision, code = str(payload["decision"]), str(payload.get("code", ""))
    return Verdict(decision, payload["find"], edit.author, edit.made, edit.id, code)


def _shared(copy: Mapping[str, Any], find: Find) -> float:
    start, end = float(copy.get("start_s", np.nan)), float(copy.get("end_s", np.nan))
    return max(0.0, min(end, find.end_s) - max(start, find.start_s))


def same_find(copy: Mapping[str, Any], find: Find) -> bool:
    """Whether a copy is one of this find: by key, else by class, channels and half of the shorter one's time."""
    if copy.get("key") == find.key:
        return True
    if copy.get("code") != find.code or (copy.get("subtype") or "") != find.subtype:
        return False
    if set(copy.get("channels", ())) != set(find.channels):
        return False
    shorter = min(float(copy["end_s"]) - float(copy["start_s"]), find.duration_s)
    return _shared(copy, find) >= 0.5 * shorter
