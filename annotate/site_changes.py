"""Which figures would say something else with another arterial line believed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from afterclamp.io.case import Case

    from .figure_row import Figure


class SiteChange(NamedTuple):
    """A figure that would say something else with another line believed.

    Attributes
    ----------
    figure : Figure
    line : str
        The other line, as people say it.
    sentence : str
        What it would be, beside what it is.
    """

    figure: Figure
    line: str
    sentence: str


def what_another_site_changes(case: Case | None, found: Sequence[Figure] | None = None) -> list[SiteChange]:
    """Figures whose conclusion another arterial line would change, each with its sentence.

    Parameters
    ----------
    case : Case or None
        The case; not looked at where its figures are given.
    found : sequence of Figure, optional
        The figures of the case, where they are there already.

    Returns
    -------
    list of SiteChange
        One for each figure and line, in the order of the figures (`Figure.other_lines`).
    """
    if found is None:
        from .figures import figures

        found = figures(case) if case is not None else []
    return [SiteChange(figure, one.line, one.sentence) for figure in found for one in figure.other_lines]


def changes_words(changes: Sequence[SiteChange]) -> str:
    """How many figures another line changes: ``"another line changes 3 figures"``; empty where none."""
    count = len({id(one.figure) for one in changes})
    return f"another line changes {count} figure{'s' if count != 1 else ''}" if count else ""
