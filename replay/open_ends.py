"""What is left open in a case, gathered from its log, its clocks and a look through it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence

from afterclamp.annotate.finds import Find, Finds
from afterclamp.annotate.inconsistencies import Inconsistency
from afterclamp.annotate.verdicts import Verdict
from afterclamp.io.case import Case
from afterclamp.io.log import Edit, Log

from . import undoing
from .panes.loose_ends import Section, Timed, sections
from .session_verdicts import IN_DISPUTE, who_said


def open_ends(
    case: Case,
    finds: Sequence[Find],
    unset_clocks: Sequence[str],
    time_text: Callable[[float], str],
    unexplained: Sequence[str] = (),
    verdicts: Mapping[str, Sequence[Verdict]] | None = None,
) -> list[Section]:
    """Headed lists for the pane of loose ends.

    Parameters
    ----------
    case : Case
    finds : sequence of Find
        Of a look through the case, where there was one.
    unset_clocks : sequence of str
        Sources whose clock nobody has set.
    time_text : callable
        Writes a reference time.
    unexplained : sequence of str
        Changes that nothing accounts for and nobody marked, a line each.
    verdicts : mapping of sequence of Verdict, optional
        What people decided on finds, by the find's key.
    """
    held_back = finds.held_back if isinstance(finds, Finds) else ()
    return sections(
        conflicts=[
            *(_conflict(case.log, one, other, time_text) for one, other in case.log.conflicts),
            *_disputed(finds, verdicts or {}, time_text),
        ],
        clocks=[f"{name}: its clock is taken as it stands" for name in unset_clocks],
        asked=[
            Timed(one.in_words(time_text), tuple((time_text(t), t) for t in _in_order(one)))
            for one in (finds.asked if isinstance(finds, Finds) else ())
        ],
        unexplained=unexplained,
        not_looked_for=finds.not_looked_for if isinstance(finds, Finds) else (),
        held_back=[
            Timed(
                f"{find.code} {find.name} at {time_text(find.start_s)}: {find.held_back}",
                ((time_text(find.start_s), find.start_s),),
            )
            for find in held_back
        ],
        repairs=[*case.log.repairs, *case.refused],
        set_aside=[f"{source.name}: {what}" for source in case.sources for what in source.set_aside],
        far_away=case.far_away,
    )


def _in_order(asked: Inconsistency) -> list[float]:
    """The times of a sentence in the order in which they stand in it."""
    return [asked.at_s[int(number)] for number in re.findall(r"\{(\d+)\}", asked.text)]


def _conflict(log: Log, one: Edit, other: Edit, time_text: Callable[[float], str]) -> Timed:
    """Two edits in the place of the same one: what each says, and that the later stands."""
    times: list[tuple[str, float]] = []
    words = []
    for edit in (one, other):
        own = [
            float(edit.payload[name]) for name in ("start_s", "end_s") if name in edit.payload
        ]  # a moment has both, at the same time
        told = [(time_text(t), t) for t in dict.fromkeys(own)]
        words.append(
            f"{edit.author} ({edit.made}): {_what(log, edit)}{', ' if told else ''}"
            f"{' to '.join(text for text, _ in told)}"
        )
        times += told
    return Timed(f"{'; '.join(words)}. The later one stands meanwhile.", tuple(times))


def _what(log: Log, edit: Edit) -> str:
    """What an edit is about, without its times, which stand behind it."""
    words = undoing.words(log, edit, lambda _: "")
    return re.sub(r"(,? (at|from) *(to *)?|, *to *)$", "", words.strip())


def _disputed(
    finds: Sequence[Find], verdicts: Mapping[str, Sequence[Verdict]], time_text: Callable[[float], str]
) -> Iterator[Timed]:
    """Finds of which authors said different things."""
    for find in finds:
        state = who_said(verdicts.get(find.key, ()))
        if state.startswith(IN_DISPUTE):
            at = time_text(find.start_s)
            said = state.removeprefix(f"{IN_DISPUTE}: ")
            yield Timed(
                f"{find.code} {find.name} at {at}: {said}. It is drawn and counted as a proposal meanwhile.",
                ((at, find.start_s),),
            )
