"""Clocks that align themselves and admit doubt: every source's clock against the reference, by evidence.

What two sources share decides, never their names: the same pressure recorded twice, a flow and the pressure
that answers it, a saturation and an arrest, lines of text and the moments that they note. The sharpest
evidence goes first, since what it settles (the pump's clock) is what the next kind rests on (phases, arrests).
Nothing is decided here: `estimate` proposes, a person or ``--accept-proposals`` accepts, `accept` writes the
``clock`` edit that can be undone like any other.

The parts, one idea each: `courses` (what is compared), `search` (windows slid along a course),
`shared` (the same quantity twice), `steps` (offset, drift, steps), `coupled` (what answers
what), `lines`, `words` and `moments` (text), `estimate` (the result).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from afterclamp.io.clock import ClockMap
from afterclamp.io.errors import Cancelled, CaseError, EditRefused

from .estimate import ClockEstimate, Curve, Points, StepFound
from .recorded import Recorded, by_answer, by_flow, by_same, pairs_of
from .text import Anchor, by_text
from .words import WORDS, Meaning

if TYPE_CHECKING:
    from afterclamp.io.case import Case, Source
    from afterclamp.io.log import Edit

__all__ = ["Anchor", "ClockEstimate", "Curve", "Points", "StepFound", "accept", "estimate"]


def estimate(
    case: Case,
    *,
    sources: Iterable[str] | None = None,
    anchors: Mapping[str, Sequence[Anchor]] | None = None,
    words: Sequence[Meaning] = WORDS,
    progress: Callable[[float, str], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> list[ClockEstimate]:
    """Look for the clock of each source.

    Parameters
    ----------
    case : Case
        The case. Clocks that are set already are relied on, unless their source is named in `sources`.
    sources : iterable of str, optional
        Names of the sources to look at; without it all whose clock is unset.
    anchors : mapping of str to sequence of pairs, optional
        For sources of text: what was said or written (its own seconds, or some of its text) and what it
        means (reference seconds, or words of the word list such as ``"going on"``). Given for a source,
        only these count.
    words : sequence of Meaning
        What people write and say.
    progress : callable, optional
        ``progress(share, text)``, share from 0 to 1.
    cancelled : callable, optional
        Asked between steps.

    Returns
    -------
    list of ClockEstimate
        One for each source looked at, in the case's order, those that cannot be told included.

    Raises
    ------
    CaseError
        When a named source is not in the case or is the reference, an anchor fits no line, or the case is a
        view up to a time.
    Cancelled
        When asked to stop.
    """
    if case.horizon is not None:
        raise CaseError(
            "clocks are looked for in the whole case, and this is a view of it up to a time",
            path=case.folder,
            todo="Show the whole case first",
        )
    wanted = _wanted(case, sources)
    for name in anchors or {}:
        if all(name != source.name for source in wanted):
            raise CaseError(
                f"anchors are given for {name!r}, whose clock is not looked for",
                path=case.folder,
                todo="Name it in sources, or leave its anchors out",
            )
    asked = _Asked(case, wanted, progress or _silent, cancelled or (lambda: False))
    _texts(asked, _recordings(asked), anchors or {}, words)
    asked.progress(1.0, "done")
    return [asked.found[source.name] for source in wanted]


def accept(case: Case, author: str, found: ClockEstimate) -> Edit:
    """Write an estimate to the case's log; it supersedes the clock that was in force.

    Raises
    ------
    EditRefused
        When the estimate says that the clock cannot be told.
    """
    if not found.told:
        raise EditRefused(
            f"the clock of {found.source} cannot be told: {found.cannot_tell}",
            todo="Set it by hand, or leave it as written",
        )
    before = [edit.id for edit in case.log.standing("clock") if edit.payload.get("source") == found.source]
    return case.edit(author, "clock", found.to_payload(), supersedes=before[-1] if before else None)


# -- in which order ----------------------------------------------------------------------------------


def _silent(_share: float, _text: str) -> None:
    """Progress that nobody asked for."""


def _wanted(case: Case, names: Iterable[str] | None) -> list[Source]:
    if names is None:
        return [one for one in case.sources if not one.is_reference and one.clock.method == "unset"]
    by_name = {source.name: source for source in case.sources}
    chosen = []
    for name in names:
        source = by_name.get(name)
        if source is None or source.is_reference:
            what = "is not in this case" if source is None else "is the reference itself"
            raise CaseError(
                f"the source {name!r} {what}",
                path=case.folder,
                todo=f"Name one of {', '.join(sorted(by_name))}",
            )
        chosen.append(source)
    return [source for source in case.sources if source in chosen]


@dataclass
class _Asked:
    """One run of `estimate`: what is known so far."""

    case: Case
    wanted: list[Source]
    progress: Callable[[float, str], None]
    cancelled: Callable[[], bool]
    known: dict[str, ClockMap] = field(default_factory=dict)
    found: dict[str, ClockEstimate] = field(default_factory=dict)

    def __post_init__(self) -> None:
        names = {source.name for source in self.wanted}
        for source in self.case.sources:
            if source.name not in names and (source.is_reference or source.clock.method != "unset"):
                self.known[source.name] = source.clock

    def look(self, source: Source, what: str) -> None:
        """Say what is being done, and stop if asked."""
        if self.cancelled():
            raise Cancelled(
                "looking for clocks was stopped as asked; nothing was changed", path=self.case.folder
            )
        self.progress(len(self.found) / max(len(self.wanted), 1), f"{source.name}: {what}")

    def keep(self, found: ClockEstimate) -> None:
        """Take note of a result; from now on its clock is known, if it could be told."""
        self.found[found.source] = found
        if found.told:
            self.known[found.source] = found.clock


_HOW = (
    ("same", by_same, "the same quantity recorded twice"),
    ("flow", by_flow, "stops of the flow against a pressure that falls"),
    ("answer", by_answer, "a saturation or a pressure against stops of the flow"),
)
"""Sharpest evidence first."""


def _recordings(asked: _Asked) -> dict[str, ClockEstimate]:
    """Sources with channels, over again as long as something new is known; what could not be told is given back."""
    with_channels = {channel.source for channel in asked.case.channels if channel.count}
    left = [source for source in asked.wanted if source.name in with_channels]
    tried: dict[str, ClockEstimate] = {}
    for how, finder, words in _HOW:
        progressed = True
        while progressed:
            progressed = False
            for source in list(left):
                recorded = Recorded(asked.case, source, asked.known)
                if not pairs_of(recorded, how):
                    continue
                asked.look(source, words)
                found = finder(recorded)
                if found is not None and found.told:
                    asked.keep(found)
                    left.remove(source)
                    progressed = True
                elif found is not None:
                    tried.setdefault(source.name, found)  # why the sharpest evidence did not do
    return {source.name: tried.get(source.name) or _nothing(source) for source in left}


def _nothing(source: Source) -> ClockEstimate:
    return ClockEstimate(
        source.name,
        zero_s=source.clock.zero_s,
        cannot_tell=f"{source.name} shares no pressure, flow or saturation with a source whose clock is known.",
    )


def _texts(
    asked: _Asked,
    untold: Mapping[str, ClockEstimate],
    anchors: Mapping[str, Sequence[Anchor]],
    words: Sequence[Meaning],
) -> None:
    """Sources of text: what was said as it happened first, then what was written."""
    left = [source for source in asked.wanted if source.name not in asked.found]
    for source in sorted(left, key=lambda one: (one.first_stamp is not None, one.name)):
        recorded = untold.get(source.name)
        if recorded is not None and all(note.source != source.name for note in asked.case.notes):
            asked.keep(recorded)
            continue
        asked.look(source, "lines of text against known moments")
        found = by_text(asked.case, source, asked.known, anchors.get(source.name), words)
        asked.keep(found if found.told or recorded is None else recorded)
