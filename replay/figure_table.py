"""Figures as a table for people: none without its denominator; below it the notes and where each limit comes from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from .figure_words import (
    bridged_words,
    largest_words,
    limit_text,
    measure_words,
    note_sentences,
    set_title,
    within_words,
)
from .tables import numbered, table
from .wording import NONE, minutes, phase_name, quantity, readable, site_words

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure

HEADINGS = (
    "",
    "measure",
    "phase",
    "limit",
    "outside",
    "±",
    "of observed",
    "area or mean",
    "largest single",
    "with masked bridged",
    "farthest",
    "longest",
    "left out",
    "masked",
    "missing",
    "site",
)
STATES = {"masked": "artefacts masked and counted", "raw": "raw, artefacts left in"}


def figures(found: Sequence[Figure]) -> str:
    """The table, then what must be known of it."""
    if not found:
        return "No figure could be computed from what was recorded."
    counted = [figure for figure in found if figure.value is not None]
    text = table(HEADINGS, [_cells(row, one) for row, one in enumerate(counted, start=1)], "><<<>>>>>>>>>>><")
    said = "; ".join(STATES.get(one, one) for one in dict.fromkeys(figure.clean for figure in counted))
    text += (
        f"\n{said.capitalize()}. ± is a 95 % interval of the minutes outside: of their seconds and of the phase's "
        "boundaries. Largest single: area of the largest stretch outside. With masked bridged: a straight line across "
        "masked seconds, an estimate. Farthest: the value farthest outside, or nearest to it; of a mean, the lowest."
    )
    absent = [
        f"  {measure_words(figure)} {limit_text(figure)}, {phase_name(figure.phase)}: "
        f"{figure.note.removeprefix('not computed: ')}"
        for figure in found
        if figure.value is None
    ]
    for title, lines in (
        ("Counted", _methods(counted)),
        ("Notes", numbered(readable("; ".join(note_sentences(figure))) for figure in counted)),
        ("Limits", _limits(counted)),
        ("Not computed", absent),
    ):
        if lines:
            text += f"\n\n{title}:\n" + "\n".join(lines)
    return text


def _cells(row: int, figure: Figure) -> tuple[str, ...]:
    return (
        str(row),
        measure_words(figure),
        ", ".join(filter(None, [phase_name(figure.phase), readable(figure.part)])),
        limit_text(figure),
        minutes(figure.outside_s) if figure.side else NONE,
        within_words(figure) or NONE,
        minutes(figure.observed_s),
        quantity(figure.value, figure.unit),
        largest_words(figure),
        bridged_words(figure),
        quantity(figure.nadir, figure.limit_unit or figure.unit),
        minutes(figure.longest_run_s) if figure.side else NONE,
        minutes(figure.excluded_s),
        minutes(figure.masked_s),
        minutes(figure.missing_s),
        site_words(figure.site),
    )


def _methods(counted: Sequence[Figure]) -> list[str]:
    """How the rows were counted, each way once."""
    rows: dict[str, list[int]] = {}
    for row, figure in enumerate(counted, start=1):
        if figure.method:
            rows.setdefault(readable(figure.method), []).append(row)
    return [f"  {runs_of(numbers)}  {method}" for method, numbers in rows.items()]


def _limits(counted: Iterable[Figure]) -> list[str]:
    """Each limit with its id, its set and version, and its source; under it those that say otherwise."""
    lines: dict[str, None] = {}
    for figure in counted:
        if not figure.limit_source:
            continue
        of_set = f", {set_title(figure)}" if figure.limit_set else ""
        lines[f"  {limit_text(figure)} ({figure.limit_id}{of_set}): {readable(figure.limit_source)}"] = None
        for rival in figure.rivals:
            lines[f"    {figure.limit_id} has beside it: {readable(rival)}"] = None
    return list(lines)


def runs_of(numbers: Sequence[int]) -> str:
    """Numbers of rows in a few signs: ``1 to 12, 14``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)
