"""Masks of the open case: what rules and people take out of the figures, and whether figures leave it in (raw).

A mask that a person sets is an edit like any other and shows at once; what rules see comes in with a look. Edits that
belong together, a find set aside and the seconds that it gives back, are undone together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from afterclamp.annotate.masking import MaskedSpan, in_force
from afterclamp.io import masks
from afterclamp.io.case import Case

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find
    from afterclamp.annotate.marks import Verdict
    from afterclamp.io.case import Channel
    from afterclamp.io.log import Edit, Log
    from afterclamp.io.masks import Mask, Verb

BY = "by"
"""Field of an edit that belongs to another one: the id of that."""


class CaseMasks:
    """What is masked on each channel of the open case.

    Attributes
    ----------
    rules : dict of str to sequence of MaskedSpan
        What rules see, by channel id; empty until a look has brought it in.
    raw : bool
        Whether artefacts and hidden seconds are left in.
    """

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Another case, or none: masked, as every case opens."""
        self.rules: Mapping[str, Sequence[MaskedSpan]] = {}
        self.raw = False

    def in_force(self, case: Case) -> dict[str, list[MaskedSpan]]:
        """What is masked on each channel by rules and by people, by channel id, in order of time."""
        found = {
            one.id: in_force(self.rules.get(one.id, ()), one.masks, one.believed) for one in case.channels
        }
        return {name: spans for name, spans in found.items() if spans}

    def drawn(self, case: Case) -> dict[str, list[MaskedSpan]]:
        """What is drawn as not to be believed: raw only what is no value of anything."""
        found = self.in_force(case)
        if not self.raw:
            return found
        return {name: [one for one in spans if one.code == "A9"] for name, spans in found.items()}

    def given_back(self, case: Case, find: Find) -> list[tuple[Channel, float, float]]:
        """Channels and whole stretches that are masked for a find; what holds no values is none of them."""
        found = []
        for channel in case.channels:
            if channel.name not in find.channels and channel.id not in find.channels:
                continue
            for one in self.rules.get(channel.id, ()):
                touches = one.artefact_s[0] < find.end_s and one.artefact_s[1] > find.start_s
                if one.code == find.code and one.there == "values" and touches:
                    found.append((channel, one.start, one.end))
            if channel.id not in self.rules and find.code != "A9":  # not looked through: the find tells of it
                found.append((channel, find.start_s, find.end_s))
        return found


def all_masks(case: Case) -> list[tuple[Channel, Mask]]:
    """What people said of each channel, in order of time."""
    found = [(channel, mask) for channel in case.channels for mask in channel.masks]
    return sorted(found, key=lambda one: one[1].start)


def keep(case: Case, author: str, verb: Verb, stretches: Sequence[tuple[str, float, float]]) -> list[Edit]:
    """Hide or unhide stretches: channel, start, end; undone together."""
    made: list[Edit] = []
    for channel, start_s, end_s in stretches:
        beside = {BY: made[0].id} if made else {}
        made.append(masks.mask(case, author, verb, channel, start_s, end_s, **beside))
    return made


def say_why(case: Case, author: str, made: Sequence[Edit], reason: str) -> None:
    """Put the same words to masks that were made together; undone together."""
    said: list[Edit] = []
    for edit in made:
        said.append(masks.say_why(case, author, edit.id, reason, **({BY: said[0].id} if said else {})))


def follow_verdict(
    case: Case,
    author: str,
    verdict: Verdict,
    find: Find,
    stretches: Sequence[tuple[Channel, float, float]],
    *,
    root: str = "",
    gives_back: bool = False,
) -> bool:
    """What a verdict on an artefact does to its seconds: set aside gives them back, anything else takes that back.

    Parameters
    ----------
    case : Case
    author : str
        Author id of the verdict.
    verdict : Verdict
        What was just said of it.
    find : Find
        What was judged.
    stretches : sequence
        Of `CaseMasks.given_back`.
    root : str
        The edit that it is undone with; that of the verdict where none is given.
    gives_back : bool
        Whether it is an artefact no more, beside being set aside.

    Returns
    -------
    bool
        Whether any mask is another one now.
    """
    own = [
        mask
        for _, mask in all_masks(case)
        if mask.find == find.key and not mask.hidden and mask.author == author
    ]
    by = {BY: root or verdict.edit}
    if not gives_back and verdict.decision != "set aside":
        for mask in own:
            masks.take_back(case, author, mask.edit, **by)
        return bool(own)
    if not own:
        words = f"{find.code} {find.name} {verdict.words}"
        for channel, start, end in stretches:
            masks.mask(case, author, "unhide", channel.id, start, end, words, find=find.key, **by)
    return bool(stretches) and not own


def turn_with_it(log: Log, author: str, turned: Edit) -> list[Edit]:
    """Go on undoing, or redoing, what belongs to the edit that was just undone or redone; gives those edits.

    Parameters
    ----------
    log : Log
    author : str
    turned : Edit
        The undo or redo that was made.
    """
    from .undoing import by_id, next_redo, next_undo

    step, following = (log.undo, next_undo) if turned.verb == "undo" else (log.redo, next_redo)
    target = by_id(log, str(turned.payload["edit"]))
    if target is None:
        return []
    root = str(target.payload.get(BY) or target.id)
    also = []
    while (after := following(log, author)) is not None and root in (after.id, after.payload.get(BY)):
        if step(author) is None:
            break
        also.append(after)
    return also
