"""What another arterial line would have said: which lines could have been used instead, and when that is told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from .computed_value import Value
from .derived import Absent, Derived
from .measures.intervals import Interval
from .named import Signal
from .site import LEAST_SHARE
from .site_choices import Piece, cut_to, span_words

if TYPE_CHECKING:
    from .figure_bench import Bench

CHANGES_BY = 0.25
"""Part of a figure by which another line has to change it to be told (issue's number, no source)."""


class LinesUsed(NamedTuple):
    """Which arterial lines a window goes by.

    Attributes
    ----------
    names : frozenset of str
        As in `named.signals`.
    words : str
        The one line as people say it; of several the one believed throughout, then each with its times:
        ``"femoral, left radial 307:00 to 350:00"``.
    """

    names: frozenset[str]
    words: str

    def instead(self, other: Signal) -> str:
        """How another line would have been used: ``"with left radial believed instead of femoral"``."""
        throughout = "throughout " if len(self.names) > 1 else ""
        return f"with {other.plain_name} believed {throughout}instead of {self.words}"

    def others(self, derived: Derived) -> list[Signal]:
        """Every arterial line that the window does not go by from end to end; of several used each is one."""
        lines = [one for one in derived.signals.values() if is_line(one)]
        return lines if len(self.names) > 1 else [one for one in lines if one.name not in self.names]


def lines_used(derived: Derived, window: Sequence[Interval]) -> LinesUsed:
    """The lines that figures of a window go by: the one believed throughout, and those chosen for stretches of it."""
    base = derived.site
    pieces: list[Piece] = []
    for start, end in window:
        pieces += cut_to(derived.elsewhere, start, end)
    covered_s = sum(one.end_s - one.start_s for one in pieces)
    whole_s = sum(end - start for start, end in window)
    names = {one.line for one in pieces}
    uses_base = base is not None and whole_s - covered_s >= 1
    if base is not None and uses_base:
        names.add(base.name)
    if len(names) == 1:
        [only] = names
        return LinesUsed(frozenset(names), derived.signals[only].plain_name)
    told = [base.plain_name] if base is not None and uses_base else []
    told += [f"{derived.signals[one.line].plain_name} {span_words(one.start_s, one.end_s)}" for one in pieces]
    return LinesUsed(frozenset(names), ", ".join(told))


def is_line(signal: Signal) -> bool:
    """Whether a signal is a wave of an arterial line with a known site."""
    first = signal.first
    return first.kind == "arterial_pressure" and first.is_wave and bool(first.site)


def long_enough(other_s: float, own_s: float) -> bool:
    """Whether another line was observed long enough to have been used instead: for `LEAST_SHARE` of the time."""
    return other_s > 0 and other_s >= LEAST_SHARE * own_s


def changed(own: float, other: float) -> bool:
    """Whether another line changes a number by more than `CHANGES_BY` of it; from or to nought it always does."""
    return abs(other - own) > CHANGES_BY * abs(own)


def at_every_line(bench: Bench, rows_of: Callable[[Bench], list[Value]]) -> list[Value]:
    """Computed values, each with a sentence where another line changes it.

    Parameters
    ----------
    bench : Bench
    rows_of : callable
        Gives the rows for a bench; asked once for each line that could have been used. A row of another line stands
        beside the one with the same measure, words and phase.

    Returns
    -------
    list of Value
        The rows as they are. A row that another line has no value for, or for less than half of its seconds, says
        nothing of it.
    """
    rows = rows_of(bench)
    lines = [one for one in bench.derived.signals.values() if is_line(one)]
    if bench.derived.site is None or len(lines) < 2:
        return rows
    at = {one.name: {_key(row): row for row in rows_of(bench.believing(one))} for one in lines}
    told = []
    for row in rows:
        window = bench.windows.of(row.phase)[0][1] if row.phase else Absent("of no phase")
        if row.value is None or isinstance(window, Absent):
            told.append(row)
            continue
        used = lines_used(bench.derived, window)
        sentences = []
        for line in used.others(bench.derived):
            other = at[line.name].get(_key(row))
            if other is None or other.value is None or not long_enough(other.observed_s, row.observed_s):
                continue
            if changed(row.value, other.value):
                sentences.append(
                    f"{used.instead(line)}: {_short(other.value)} instead of {_short(row.value)} {row.unit}"
                )
        told.append(row.noted(*sentences))
    return told


def _short(value: float) -> str:
    return f"{value:#.3g}".rstrip(".")


def _key(row: Value) -> tuple[str, str, str, int]:
    return row.measure, row.words, row.phase, row.index
