"""What other limits would change: the figures and finds of a case by two choices of limits, side by side."""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from .figures import Figure, figures
from .finds import Find, edited_limits, find_in
from .limits import Choice, rule_limits
from .phases import phases
from .view import View

if TYPE_CHECKING:
    from afterclamp.io.case import Case

_One = TypeVar("_One")
_COUNTED = (
    "value",
    "outside_s",
    "observed_s",
    "excluded_s",
    "masked_s",
    "missing_s",
    "nadir",
    "longest_run_s",
)

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class FigureChange:
    """A figure before and after; None where it is not there.

    Attributes
    ----------
    before, after : Figure or None
    relabelled : bool
        The numbers are the same, only the limit's source or set is another.
    """

    before: Figure | None
    after: Figure | None
    relabelled: bool = False


@dataclass(frozen=True, slots=True)
class FindChange:
    """A find before and after; None where there is none."""

    before: Find | None
    after: Find | None


@dataclass(frozen=True, slots=True)
class Changes:
    """Everything that changes, and of how many.

    Attributes
    ----------
    figures, finds : tuple
        Those that change, in order.
    of_figures, of_finds : int
        How many there are, the larger of before and after; of figures those that could be computed.
    """

    figures: tuple[FigureChange, ...]
    finds: tuple[FindChange, ...]
    of_figures: int
    of_finds: int

    @property
    def nothing(self) -> bool:
        """Whether no figure and no find is another one."""
        return not self.figures and not self.finds


def changes(
    case: Case, before: Choice, after: Choice, believe: str | None = None, progress: Progress | None = None
) -> Changes:
    """Work a case out by two choices of limits and tell the difference; nothing is written.

    Parameters
    ----------
    case : Case
    before, after : Choice
    believe : str, optional
        Arterial site to go by.
    progress : callable, optional
        ``progress(share, text)``; what it raises ends the work.
    """
    tell = progress or _silent
    figured: list[list[Figure]] = []
    found: list[Sequence[Find]] = []
    tell(0.0, "phases")
    view = View.of(case, believe)
    view = view.with_phases(phases(case, view))
    for number, (choice, words) in enumerate(((before, "as it stands"), (after, "as it would be"))):
        sets = choice.in_force
        tell(0.1 + 0.45 * number, f"figures {words}")
        figured.append(figures(case, believe, sets))
        tell(0.3 + 0.45 * number, f"finds {words}")
        found.append(tuple(find_in(view, {**rule_limits(*sets), **edited_limits(case)})))
    tell(1.0, "compared")
    return Changes(
        tuple(figure_changes(*figured)),
        tuple(find_changes(*found)),
        max(sum(one.value is not None for one in each) for each in figured),
        max(map(len, found)),
    )


def _silent(share: float, text: str) -> None:
    """Progress that nobody listens to."""


def figure_changes(before: Sequence[Figure], after: Sequence[Figure]) -> list[FigureChange]:
    """Figures that are others, paired by their limit, and where that is gone by measure, phase, part and site."""
    pairs, old, new = _paired(before, after, lambda one: (_where(one), one.limit_id, _set_name(one)))
    more, old, new = _paired(old, new, _where)
    changed = []
    for a, b in [*pairs, *more]:
        if a.value is None and b.value is None:
            continue  # there was no number, and there is none
        same = all(getattr(a, name) == getattr(b, name) for name in _COUNTED) and a.limit == b.limit
        label = (a.limit_source, _set_title(a)) != (b.limit_source, _set_title(b))
        if not same or label:
            changed.append(FigureChange(a, b, same))
    gone = [FigureChange(a, None) for a in old if a.value is not None]
    return [*changed, *gone, *(FigureChange(None, b) for b in new if b.value is not None)]


def find_changes(before: Sequence[Find], after: Sequence[Find]) -> list[FindChange]:
    """Finds that come, go, or have other times or another limit."""
    pairs, old, new = _paired(before, after, lambda one: one.key)
    more, old, new = _paired(old, new, lambda one: (one.code, one.site, one.channels), overlapping=True)
    changed = [
        FindChange(a, b)
        for a, b in [*pairs, *more]
        if (a.start_s, a.end_s, a.evidence.get("limit")) != (b.start_s, b.end_s, b.evidence.get("limit"))
    ]
    every = [*changed, *(FindChange(a, None) for a in old), *(FindChange(None, b) for b in new)]
    return sorted(every, key=lambda one: next(side.start_s for side in (one.before, one.after) if side))


def _paired(
    before: Iterable[_One],
    after: Iterable[_One],
    key: Callable[[_One], Hashable],
    *,
    overlapping: bool = False,
) -> tuple[list[tuple[_One, _One]], list[_One], list[_One]]:
    """Pairs of one key, each used once, then what is left of either side."""
    left = list(after)
    pairs, alone = [], []
    for one in before:
        other = next(
            (
                two
                for two in left
                if key(two) == key(one)
                and (
                    not overlapping
                    or (isinstance(one, Find) and isinstance(two, Find) and one.overlap_s(two) > 0)
                )
            ),
            None,
        )
        if other is None:
            alone.append(one)
        else:
            left.remove(other)
            pairs.append((one, other))
    return pairs, alone, left


def _where(one: Figure) -> Hashable:
    return one.measure, one.phase, one.part, one.site, one.side == "below"


def _set_title(one: Figure) -> str:
    """The set and its version, without how many numbers of it are edited: that is no other set."""
    return re.sub(r", \d+ numbers? edited$", "", one.limit_set)


def _set_name(one: Figure) -> str:
    return one.limit_set.partition(", version ")[0]
