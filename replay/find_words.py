"""How a find is named in lists: its code with the subtype that the catalogue prints, and its states."""

from __future__ import annotations

from afterclamp.annotate.finds import Find
from afterclamp.annotate.marks import Mark

PROPOSED = "proposed"
STATES = (PROPOSED, "accepted", "set aside", "reclassified", "joined", "split", "in dispute")
"""States of a find, in the order in which they are offered."""


LONGEST_SUBTYPE = 5  # letters: "hyper"


def code_words(find: Find) -> str:
    """Code and subtype: ``"E14 b"``, ``"E13 hyper"``, ``"E01"``; a long one stands in the name of the find."""
    return class_words(find.code, find.subtype)


def class_words(code: str, subtype: str) -> str:
    """The same of a class and a subtype."""
    return f"{code} {subtype}".rstrip() if len(subtype) <= LONGEST_SUBTYPE else code


def state_kind(state: str) -> str:
    """Which of `STATES` a state is, without the class that it may name."""
    return next((kind for kind in STATES if state.startswith(kind)), PROPOSED)


def origin_words(mark: Mark) -> str:
    """What a mark came from: ``"from a find of rule E13, version 2"``; empty for one that was made by hand."""
    if not mark.found:
        return ""
    rules = ", ".join(
        dict.fromkeys(f"{one.get('code', '?')} (version {one.get('version') or '?'})" for one in mark.found)
    )
    if mark.origin.get("from") == "joined":
        return f"joined from {len(mark.found)} finds of {rules}"
    return f"{'part of' if mark.origin.get('from') == 'split' else 'from'} a find of {rules}"
