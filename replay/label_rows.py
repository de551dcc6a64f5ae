"""What people said, as rows of a table: every version of every mark, each with what it came from.

What rules propose stands in a table of its own: machine and human are kept apart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from .wording import Z95

if TYPE_CHECKING:
    from afterclamp.annotate.marks import Mark
    from afterclamp.io.case import Case
    from afterclamp.io.log import Edit

LABELS = (
    *(
        "label_id",
        "version_id",
        "rater_id",
        "class",
        "subtype",
        "kind",
        "t0_s",
        "t1_s",
        "t0_unc_s",
        "t1_unc_s",
    ),
    *("channels", "site", "confidence", "origin", "rule_id", "rule_version", "find_keys", "supersedes"),
    *("in_force", "deleted", "comment"),
)
DECISIONS = (
    *("decision_id", "rater_id", "decision", "class", "find_key", "find_class", "find_t0_s", "find_t1_s"),
    *("rule_version", "belongs_to", "supersedes", "in_force"),
)
ORIGIN_WORDS = {"rule": "rule", "split": "rule", "joined": "merged"}


def label_rows(case: Case) -> list[dict[str, Any]]:
    """One row a version of a mark, in the order they were made.

    ``origin`` is ``human`` for a mark made by hand, ``rule`` for one that came of a find, ``merged`` for one of
    several. ``t0_unc_s`` is one standard deviation by the clock of its trace, or by the find that it has its times
    from; empty where nobody set that clock. A version that was undone is left out; one that another replaced has
    ``in_force`` no. Of a view up to some time nothing is told of finds that begin later.
    """
    from afterclamp.annotate.marks import marks_of

    standing = {edit.id for edit in case.log.standing("mark")}
    return [_label(edit, mark, edit.id in standing, _end(case)) for edit, mark in marks_of(case)]


def _end(case: Case) -> float:
    """Up to when anything may be told, reference seconds."""
    return math.inf if case.horizon is None else case.horizon


def origin_of(mark: Mark) -> str:
    """``human``, ``rule`` or ``merged``."""
    return ORIGIN_WORDS.get(str(mark.origin.get("from")), "human")


def _label(edit: Edit, mark: Mark, in_force: bool, end_s: float) -> dict[str, Any]:
    deleted = bool(edit.payload.get("removed", False))
    found = [one for one in mark.found if float(one.get("start_s", 0.0)) < end_s]
    sd = mark.unc_s / Z95
    return {
        "label_id": mark.id,
        "version_id": edit.id,
        "rater_id": mark.author,
        "class": mark.code,
        "subtype": mark.subtype,
        "kind": mark.kind,
        "t0_s": mark.start_s,
        "t1_s": mark.end_s,
        "t0_unc_s": sd,
        "t1_unc_s": sd,
        "channels": " ".join(mark.channels),
        "site": mark.site,
        "confidence": mark.confidence,
        "origin": origin_of(mark),
        "rule_id": " ".join(dict.fromkeys(str(one.get("code", "")) for one in found)),
        "rule_version": " ".join(dict.fromkeys(str(one.get("version") or "") for one in found)),
        "find_keys": " ".join(str(one.get("key", "")) for one in found),
        "supersedes": edit.supersedes,
        "in_force": "yes" if in_force and not deleted else "no",
        "deleted": "yes" if deleted else "no",
        "comment": mark.text,
    }


def decision_rows(case: Case) -> list[dict[str, Any]]:
    """One row a decision on a find that was not undone, in the order they were made.

    Of a view up to some time those on finds that begin before it, none reaching beyond it.
    """
    standing = {edit.id for edit in case.log.standing("verdict")}
    end_s = _end(case)
    return [
        _decision(edit, edit.id in standing, end_s)
        for edit in case.log.not_undone("verdict")
        if float(edit.payload["find"].get("start_s", 0.0)) < end_s
    ]


def _decision(edit: Edit, in_force: bool, end_s: float) -> dict[str, Any]:
    find: Mapping[str, Any] = edit.payload["find"]
    return {
        "decision_id": edit.id,
        "rater_id": edit.author,
        "decision": edit.payload["decision"],
        "class": edit.payload.get("code", ""),
        "find_key": find.get("key"),
        "find_class": find.get("code"),
        "find_t0_s": find.get("start_s"),
        "find_t1_s": None if find.get("end_s") is None else min(float(find["end_s"]), end_s),
        "rule_version": find.get("version"),
        "belongs_to": edit.payload.get("by", ""),
        "supersedes": edit.supersedes,
        "in_force": "yes" if in_force else "no",
    }
