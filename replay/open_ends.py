"""What is left open in a case, gathered from its log, its clocks and a look through it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from afterclamp.annotate.finds import Find, Finds
from afterclamp.io.case import Case

from .panes.loose_ends import Section, sections


def open_ends(
    case: Case,
    finds: Sequence[Find],
    unset_clocks: Sequence[str],
    time_text: Callable[[float], str],
    unexplained: Sequence[str] = (),
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
    """
    held_back = finds.held_back if isinstance(finds, Finds) else ()
    return sections(
        conflicts=[
            f"{b.verb}: {a.author} ({a.made}) and {b.author} ({b.made}) each replaced the same edit"
            for a, b in case.log.conflicts
        ],
        clocks=[f"{name}: its clock is taken as it stands" for name in unset_clocks],
        asked=[one.in_words(time_text) for one in finds.asked] if isinstance(finds, Finds) else (),
        unexplained=unexplained,
        not_looked_for=finds.not_looked_for if isinstance(finds, Finds) else (),
        held_back=[
            f"{find.code} {find.name} at {time_text(find.start_s)}: {find.held_back}" for find in held_back
        ],
        repairs=[*case.log.repairs, *case.refused],
        set_aside=[f"{source.name}: {what}" for source in case.sources for what in source.set_aside],
        far_away=case.far_away,
    )
