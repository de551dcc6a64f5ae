"""The sums of the phases in words: each length of time that a team reports, with its ±, its parts, its count."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from afterclamp.annotate.phase_durations import AT_LEAST, Duration
from afterclamp.annotate.phase_reported import Reported

from .panes.clock_face import length, plus_minus

TimeText = Callable[[float], str]

AS_PLACED = "as placed"
"""Instead of a ± where people set both ends at a moment and gave none."""

COLUMNS = ("What", "From", "To", "Length", "±", "First to last", "State", "Counted as")

_FIRST = (
    "bypass", "bypass_net_of_no_flow", "clamp", "no_flow_arrest", "brain_without_flow", "lower_body_arrest",
    "selective_cerebral", "reperfusion", "clamp_off_to_off_bypass", "cooling", "warming",
)  # fmt: skip
_SHORT = {
    "bypass_net_of_no_flow": "net of no flow",
    "no_flow_arrest": "no flow",
    "lower_body_arrest": "lower body",
    "selective_cerebral": "head only",
}
_ORDER = (
    *_FIRST[:3], "clamp_longest", "no_flow_arrest", "no_flow_longest", *_FIRST[4:],
)  # fmt: skip
_LONGEST = {"clamp": "clamp_longest", "no_flow_arrest": "no_flow_longest"}


@dataclass(frozen=True, slots=True)
class SumRow:
    """One line of the list: a cell a column; `part` says that it is a part of the one above it."""

    cells: tuple[str, ...]
    part: bool = False


def doubt(unc_s: float) -> str:
    """The ± of a length: in seconds, unknown, or that people placed it."""
    return plus_minus(unc_s) or AS_PLACED


def _bare(seconds: float) -> str:
    """A length whose unit, min:s, is named once for all."""
    return length(seconds).removesuffix(" min")


def short_sums(sums: Mapping[str, Duration]) -> list[str]:
    """The sums in a few words each, in min:s, those asked for most first; empty without any."""
    if not sums:
        return []
    out = []
    for token in (*_FIRST, *(name for name in sums if name not in (*_FIRST, *_LONGEST.values()))):
        one = sums.get(token)
        if one is None:
            if token == "clamp":
                out.append("cross-clamp not set")
            continue
        count = len(one.each)
        more = ""
        if count > 1 and token != "bypass_net_of_no_flow":
            longest = sums.get(_LONGEST.get(token, ""))
            more = f" ({count}{f', longest {_bare(longest.total_s)}' if longest is not None else ''})"
        name = _SHORT.get(token, one.name)
        out.append(f"{name} {one.before_number}{_bare(one.total_s)} {doubt(one.unc_s)}{more}")
    return out


def sum_rows(
    sums: Mapping[str, Duration], time_text: TimeText, more: Iterable[Reported] = ()
) -> list[SumRow]:
    """Every sum, with a row below it for each of its parts where there are several.

    Parameters
    ----------
    sums : mapping
        As `phase_durations.durations` gives them.
    time_text : callable
        Writes a reference time.
    more : iterable of Reported
        Lengths that are not between ends of phases alone.
    """
    rows = []
    ordered = [*(name for name in _ORDER if name in sums), *(name for name in sums if name not in _ORDER)]
    for one in (sums[name] for name in ordered):
        many = len(one.each) > 1
        start, end = (f"{len(one.each)} parts", "") if many else map(time_text, one.each[0][:2])
        counted = one.method.removeprefix(AT_LEAST)
        if one.union_s < one.total_s - 0.5:
            counted += f"; parts lie over each other, {length(one.union_s)} lie in any"
        if one.at_least:
            counted += "; the record begins or ends within it"
        apart = f"{length(one.first_to_last_s)} {doubt(one.first_to_last_unc_s)}" if many else ""
        total = f"{one.before_number}{length(one.total_s)}"
        state = "confirmed" if one.confirmed else "not confirmed"
        rows.append(SumRow((one.name, start, end, total, doubt(one.unc_s), apart, state, counted)))
        if many and "net of" not in one.name:
            rows += [
                SumRow(
                    (str(number), time_text(start_s), time_text(end_s), length(seconds), doubt(unc_s), "", "", ""),
                    part=True,
                )
                for number, (start_s, end_s, seconds, unc_s) in enumerate(one.each, start=1)
            ]  # fmt: skip
    for value in more:
        if value.value is not None and value.unit == "s":
            within = doubt(value.value_unc if value.value_unc is not None else math.inf)
            rows.append(SumRow((value.name, "", "", length(value.value), within, "", "", value.note)))
    return rows


def as_text(rows: Sequence[SumRow]) -> str:
    """The list for another program: columns apart by tabs, a heading above them."""
    lines = [COLUMNS, *((f"  {row.cells[0]}", *row.cells[1:]) if row.part else row.cells for row in rows)]
    return "\n".join("\t".join(cells) for cells in lines)
