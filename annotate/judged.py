"""Finds judged by a person: what is said of a find, and the person's own mark that comes of it.

Accepting, reclassifying, joining and splitting each make marks of that person, whose origin is kept: which finds
they came from, by which rule in which version. What the rules propose is never changed. The edits of one decision
belong together and are undone together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from afterclamp.io.errors import EditRefused, NoSuchChannel

from .marks import Mark, add_mark, marks, remove
from .verdicts import Verdict, find_copy, found_again, same_find, verdict

if TYPE_CHECKING:
    from afterclamp.io.case import Case

    from .rules import Find

LEAST_PART_S = 1.0
"""Neither part of a split find is shorter (this project's choice: finds stand on a grid of seconds)."""

_COPIED = ("key", "code", "subtype", "version", "channels", "start_s", "end_s", "unc_s")


@dataclass(frozen=True)
class Judged:
    """What a decision made.

    Attributes
    ----------
    verdicts : tuple of Verdict
        One a find.
    marks : tuple of Mark
        The person's own, in order of time; none for a find that is set aside.
    """

    verdicts: tuple[Verdict, ...]
    marks: tuple[Mark, ...] = ()


def accept(case: Case, author: str, *finds: Find) -> Judged:
    """Accept finds: each becomes a mark of the author's, under the find's class and times.

    A find that the author accepted before keeps its mark, with what was changed of it since.
    """
    saying = _Saying(case, author, "accepted", finds)
    made: list[Mark] = []
    for find in saying.finds:
        own = own_marks(case, author, find)
        kept = [mark for mark in own if mark.origin.get("from") == "rule" and mark.code == find.code]
        root = saying.say(find)
        _drop(case, author, [mark for mark in own if mark not in kept[:1]], root, [find])
        made += kept[:1] or [_mark_of(case, author, root, "rule", [find])]
    return Judged(tuple(saying.said), tuple(made))


def set_aside(case: Case, author: str, *finds: Find) -> Judged:
    """Set finds aside: the author's marks that came of them go."""
    saying = _Saying(case, author, "set aside", finds)
    for find in saying.finds:
        own = own_marks(case, author, find)
        _drop(case, author, own, saying.say(find), [find])
    return Judged(tuple(saying.said))


def reclassify(case: Case, author: str, *finds: Find, code: str) -> Judged:
    """Call finds something else: a mark of the author's for each, under another class, its origin the find.

    Raises
    ------
    EditRefused
        When the class is empty, or the own one of any of them; nothing is kept then.
    """
    own_class = any(code == find.code for find in finds)
    if not code or own_class:
        raise EditRefused(
            f"{code} is the find's own class" if code else "no class was given",
            todo="Accept the find, or choose another class",
        )
    saying = _Saying(case, author, "reclassified", finds, code)
    made: list[Mark] = []
    for find in saying.finds:
        own = own_marks(case, author, find)
        root = saying.say(find)
        _drop(case, author, own, root, [find])
        made.append(_mark_of(case, author, root, "rule", [find], code=code))
    return Judged(tuple(saying.said), tuple(made))


def join(case: Case, author: str, finds: Sequence[Find]) -> Judged:
    """Make one mark of several finds, from the first's start to the last's end, under the first's class.

    Raises
    ------
    EditRefused
        When they are fewer than two.
    """
    ordered = sorted({find.key: find for find in finds}.values(), key=lambda find: (find.start_s, find.key))
    if len(ordered) < 2:
        raise EditRefused("joining needs two finds", todo="Choose another one beside it")
    earlier = {mark.id: mark for find in ordered for mark in own_marks(case, author, find)}
    first = verdict(case, author, ordered[0], "joined", beside=len(ordered) - 1)
    rest = [verdict(case, author, find, "joined", by=first.edit) for find in ordered[1:]]
    _drop(case, author, list(earlier.values()), first.edit, ordered)
    return Judged((first, *rest), (_mark_of(case, author, first.edit, "joined", ordered),))


def split(case: Case, author: str, find: Find, at_s: float) -> Judged:
    """Make two marks of one find, before and from a moment on.

    Raises
    ------
    EditRefused
        When the moment does not lie inside the find.
    """
    if not can_split(find, at_s):
        raise EditRefused(
            "a find is split at a moment inside it, a second from its ends or more",
            todo="Move the playhead into the find",
        )
    said = verdict(case, author, find, "split")
    _drop(case, author, own_marks(case, author, find), said.edit, [find])
    ends = ((find.start_s, at_s), (at_s, find.end_s))
    return Judged(
        (said,), tuple(_mark_of(case, author, said.edit, "split", [find], span=span) for span in ends)
    )


def can_split(find: Find, at_s: float) -> bool:
    """Whether a moment lies inside a find, `LEAST_PART_S` from its ends or more."""
    return find.start_s + LEAST_PART_S <= at_s <= find.end_s - LEAST_PART_S


def take_back(case: Case, author: str, mark: Mark) -> None:
    """Take a mark away, and with it what was said of the finds that it came from, unless another mark holds them."""
    root = remove(case, author, mark.id)
    _release(case, author, mark, root.id, kept=())


def own_marks(case: Case, author: str, find: Find) -> list[Mark]:
    """Marks in force of one author that came from a find."""
    return [
        mark
        for mark in marks(case)
        if mark.author == author and any(same_find(copy, find) for copy in mark.found)
    ]


def no_longer_found(mark: Mark, finds: Sequence[Find]) -> tuple[str, ...]:
    """Keys of the finds a mark came from that the rules no longer find, as after another limit; the mark stays."""
    return tuple(str(copy.get("key", "")) for copy in mark.found if found_again(copy, finds) is None)


# -- inside ----------------------------------------------------------------------------------------


class _Saying:
    """One decision on several finds: in order of time, the first says how many follow and all are undone with it."""

    def __init__(self, case: Case, author: str, decision: str, finds: Sequence[Find], code: str = "") -> None:
        self._case, self._author, self._decision, self._code = case, author, decision, code
        self.finds = sorted(
            {find.key: find for find in finds}.values(), key=lambda one: (one.start_s, one.key)
        )
        self.said: list[Verdict] = []

    def say(self, find: Find) -> str:
        """Say it of the next find; gives the edit that everything of this decision belongs to."""
        root = self.said[0].edit if self.said else ""
        beside = 0 if root else len(self.finds) - 1
        self.said.append(
            verdict(self._case, self._author, find, self._decision, code=self._code, beside=beside, by=root)
        )
        return self.said[0].edit


def _mark_of(
    case: Case,
    author: str,
    root: str,
    come_from: str,
    finds: Sequence[Find],
    *,
    code: str = "",
    span: tuple[float, float] | None = None,
) -> Mark:
    start_s, end_s = span or (finds[0].start_s, max(find.end_s for find in finds))
    copies = [{name: find_copy(find).get(name) for name in _COPIED} for find in finds]
    names = dict.fromkeys(name for find in finds for name in find.channels)
    same = all(find.subtype == finds[0].subtype for find in finds) and not code
    return add_mark(
        case,
        author,
        kind="span" if end_s > start_s else "point",
        code=code or finds[0].code,
        start_s=start_s,
        end_s=end_s,
        channels=_recorded(case, list(names), start_s),
        subtype=finds[0].subtype if same else "",
        site=finds[0].site,
        origin={"from": come_from, "finds": copies},
        by=root,
    )


def _recorded(case: Case, names: Sequence[str], at_s: float) -> list[str]:
    """Ids of the channels that a find names; of a line that goes on in another file the part that holds the moment."""
    found = []
    for name in names:
        fitting = [
            channel
            for channel in case.channels
            if name in (channel.id, channel.name, channel.name.removesuffix("_mean"))
        ]
        there = [channel for channel in fitting if channel.span.start <= at_s <= channel.span.end] or fitting
        if there:
            found.append(there[0].id)
            continue
        try:
            found.append(case[name].id)
        except NoSuchChannel:
            continue  # a name that only a rule knows, such as of two lines joined: the mark does without it
    return list(dict.fromkeys(found))


def _drop(case: Case, author: str, gone: Sequence[Mark], root: str, judged: Sequence[Find]) -> None:
    for mark in gone:
        remove(case, author, mark.id, by=root)
        _release(case, author, mark, root, kept=judged)


def _release(case: Case, author: str, mark: Mark, by: str, kept: Sequence[Find]) -> None:
    """Finds of a mark that is gone are proposals again, but those that were just judged or that another mark holds."""
    held = [copy.get("key") for one in marks(case) if one.author == author for copy in one.found]
    for edit in case.log.standing("verdict"):
        copy: Any = edit.payload["find"]
        mine = edit.author == author and copy.get("key") in {one.get("key") for one in mark.found}
        judged = any(same_find(copy, find) for find in kept)
        if mine and not judged and copy.get("key") not in held and edit.payload["decision"] != "proposed":
            payload = {"find": dict(copy), "decision": "proposed", "by": by}
            case.log.append(author, "verdict", payload, supersedes=edit.id)
