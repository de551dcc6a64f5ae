"""What a person decides on finds, as the session does it: the decision, the marks that come of it, its masks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from afterclamp.annotate import judged
from afterclamp.io.errors import EditRefused

from .session_masks import CaseMasks, follow_verdict

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find
    from afterclamp.annotate.judged import Judged
    from afterclamp.annotate.marks import Mark
    from afterclamp.annotate.verdicts import Verdict
    from afterclamp.io.case import Case

REPLACED = ("set aside", "reclassified", "joined", "split")
"""Decisions after which a person's own mark, or nothing, stands in the place of the find."""


IN_DISPUTE = "in dispute"
"""State of a find of which authors said different things."""


def state_of(said: Sequence[Verdict]) -> str:
    """What people decided on a find in a word: proposed where nobody did, in dispute where authors differ."""
    words = {verdict.author: verdict.words for verdict in said}
    if not words:
        return "proposed"
    return next(iter(words.values())) if len(set(words.values())) == 1 else IN_DISPUTE


def who_said(said: Sequence[Verdict]) -> str:
    """The same with who: ``"accepted by anna"``, ``"in dispute: accepted by anna, set aside by bob"``."""
    words = {verdict.author: verdict.words for verdict in said}
    by: dict[str, list[str]] = {}
    for author, word in words.items():
        by.setdefault(word, []).append(author)
    told = ", ".join(f"{word} by {' and '.join(names)}" for word, names in by.items())
    return f"{IN_DISPUTE}: {told}" if len(by) > 1 else told or "proposed"


@dataclass(frozen=True)
class Decided:
    """What a decision made.

    Attributes
    ----------
    marks : tuple of Mark
    masks_changed : bool
        Whether other seconds count than before.
    """

    marks: tuple[Mark, ...]
    masks_changed: bool


def decide(
    case: Case,
    author: str,
    masks: CaseMasks,
    decision: str,
    finds: Sequence[Find],
    *,
    code: str = "",
    at_s: float = 0.0,
) -> Decided:
    """Keep a decision on finds in the author's log.

    Parameters
    ----------
    case, author : Case, str
    masks : CaseMasks
        What is masked: an artefact that is none gives its seconds back.
    decision : str
        ``"accepted"``, ``"set aside"``, ``"reclassified"``, ``"joined"`` or ``"split"``.
    finds : sequence of Find
        Several are decided on as one, and undone together; ``"split"`` takes one.
    code : str
        Class that it is given, where it is reclassified.
    at_s : float
        Where it is split, reference seconds.

    Raises
    ------
    EditRefused
        When the decision is none, or has no meaning for these finds.
    """
    made = _made(case, author, decision, finds, code, at_s)
    changed = False
    ordered = sorted({one.key: one for one in finds}.values(), key=lambda one: (one.start_s, one.key))
    for said, find in zip(made.verdicts, ordered, strict=True):
        if find.code.startswith("A"):
            stretches = masks.given_back(case, find)
            changed |= follow_verdict(
                case, author, said, find, stretches, root=made.verdicts[0].edit, gives_back=_gives_back(said)
            )
    return Decided(made.marks, changed)


def _made(case: Case, author: str, decision: str, finds: Sequence[Find], code: str, at_s: float) -> Judged:
    if decision == "joined":
        return judged.join(case, author, finds)
    if decision == "accepted":
        return judged.accept(case, author, *finds)
    if decision == "set aside":
        return judged.set_aside(case, author, *finds)
    if decision == "reclassified":
        return judged.reclassify(case, author, *finds, code=code)
    if decision == "split":
        (find,) = finds
        return judged.split(case, author, find, at_s)
    raise EditRefused(f"{decision!r} is no decision on a find")


def _gives_back(said: Verdict) -> bool:
    """Whether an artefact is none any more, and its seconds count again."""
    return said.decision == "set aside" or (said.decision == "reclassified" and not said.code.startswith("A"))


def replaced(state: str) -> bool:
    """Whether a find of this state is drawn no more: nothing, or a person's mark, stands in its place."""
    return state.startswith(REPLACED)
