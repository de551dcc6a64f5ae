"""Limits in force and what other ones would change, in words: the same on the desk and on the command line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from afterclamp.annotate.limit_rules import WHERE_ASKED

from .figure_words import limit_text, set_title
from .wording import NONE, length, minutes, number, phase_name, quantity, readable, several, unit_name

if TYPE_CHECKING:
    from afterclamp.annotate.figures import Figure
    from afterclamp.annotate.limit_changes import Changes, FigureChange, FindChange
    from afterclamp.annotate.limit_rows import LimitRow
    from afterclamp.annotate.limit_set import Limit
    from afterclamp.annotate.limits import Choice
    from afterclamp.annotate.rules import Find

NOTHING = "Nothing changes: every figure and every find stays as it is."


def measure_words(measure: str) -> str:
    """A measure as people say it: ``warming gradient, cold`` is the rule of a cold outlet."""
    words = measure.replace("_", " ")
    for ending in (" cold", " warm"):
        if words.endswith(ending):
            return f"{words.removesuffix(ending)},{ending} outlet"
    return words


_SHORT = {"mean_arterial_pressure": "MAP", "oxygen_delivery_index": "DO₂ index"}


def short_measure(measure: str) -> str:
    """The same in a narrow column, by the trade's short names."""
    return _SHORT.get(measure, measure_words(measure).removesuffix(" outlet"))


def when_words(limit: Limit) -> str:
    """Where a limit is looked at."""
    return "before and after bypass" if limit.phase == "off" else phase_name(limit.phase)


def number_words(limit: Limit) -> str:
    """``below 65 mmHg``; ``below 60.0051 mmHg (8 kPa)`` where that has another unit."""
    own = f"{limit.side} {limit.value:g} {unit_name(limit.unit)}".rstrip()
    if limit.written is None:
        return own
    return f"{own} ({limit.written.value:g} {unit_name(limit.written.unit)})"


def finds_words(row: LimitRow) -> str:
    """Which finds go by a limit, or by which number they go instead."""
    if row.gives:
        asked = " where that is asked for" if row.gives in WHERE_ASKED else ""
        return f"{row.gives.partition('.')[0]} goes by it{asked}"
    if row.stands_back_for:
        return f"finds go by that of {row.stands_back_for}"
    if not row.instead:
        return "no rule looks at it"
    numbers = ", ".join(f"{key.partition('.')[0]} by {value:g}" for key, value in row.instead.items())
    return f"finds go by their own number: {numbers}"


def state_words(row: LimitRow) -> str:
    """State of a limit, and for whose sake it stands back."""
    return f"{row.state}, stands back for {row.stands_back_for}" if row.stands_back_for else row.state


def source_words(row: LimitRow) -> str:
    """Where the number comes from, and what it rests on."""
    return readable("; ".join(filter(None, [row.limit.cited, row.limit.note])))


def rival_words(row: LimitRow) -> list[str]:
    """Limits that say otherwise, each with its citation and what it rests on."""
    return [
        readable(
            f"{number_words(one.limit)}, {when_words(one.limit)}: "
            + "; ".join(filter(None, [one.limit.cited, one.limit.note]))
            + f" ({one.of})"
        )
        for one in row.rivals
    ]


def limit_as_written(limit: Limit) -> dict[str, Any] | None:
    """Number and unit as the file has them, where they were converted."""
    return {"limit": limit.written.value, "unit": limit.written.unit} if limit.written is not None else None


def set_words(choice: Choice) -> str:
    """The sets in force with their versions, and who chose them."""
    titles = "; ".join(one.title for one in choice.in_force)
    return f"{titles}; {f'chosen by {choice.by}' if choice.by else 'nobody chose others'}"


def rows_as_values(choice: Choice, rows: Sequence[LimitRow]) -> dict[str, Any]:
    """Everything as plain values, with fixed names, for JSON."""
    return {
        "sets": [
            {"name": one.name, "version": one.version, "built_in": one.is_shipped, "about": one.about}
            for one in choice.sets
        ],
        "chosen_by": choice.by or None,
        "limits": [
            {
                "set": row.set_name,
                "version": row.version,
                "id": row.limit.id,
                "measure": row.limit.measure,
                "phase": row.limit.phase,
                "side": row.limit.side,
                "limit": row.limit.value,
                "unit": row.limit.unit,
                "state": row.state,
                "status": row.limit.status,
                "source": row.limit.cited,
                "note": row.limit.note,
                "was": row.was.value if row.was is not None else None,
                "written": limit_as_written(row.limit),
                "rule": row.gives or None,
                "stands_back_for": row.stands_back_for or None,
                "rivals": [
                    {
                        "limit": one.limit.value,
                        "side": one.limit.side,
                        "unit": one.limit.unit,
                        "phase": one.limit.phase,
                        "source": one.limit.cited,
                        "note": one.limit.note,
                        "set": one.of,
                    }
                    for one in row.rivals
                ],
            }
            for row in rows
        ],
        "unclear": list(choice.unclear),
    }


# -- what changes ----------------------------------------------------------------------------------------


def changes_in_short(found: Changes) -> str:
    """How many figures and finds change, of how many."""
    if found.nothing:
        return NOTHING
    labels = sum(one.relabelled for one in found.figures)
    moved = len(found.figures) - labels
    told = (
        f"{moved} of {several(found.of_figures, 'figure')} and "
        f"{len(found.finds)} of {several(found.of_finds, 'find')} change"
    )
    return f"{told}; {labels} more keep their numbers under another source." if labels else f"{told}."


def figure_change_cells(one: FigureChange) -> tuple[str, str, str]:
    """What, before, after."""
    side = one.before or one.after
    assert side is not None
    what = ", ".join(
        filter(
            None,
            [measure_words(side.measure), phase_name(side.phase), side.part, side.site.replace("_", " ")],
        )
    )
    return what, _figure(one.before, "no such figure"), _figure(one.after, "no figure any more")


def _figure(one: Figure | None, absent: str) -> str:
    if one is None:
        return absent
    limit = limit_text(one) if one.limit is not None else "no limit"
    of_set = f" ({set_title(one)})" if one.limit_set else ""
    if one.value is None:
        return f"{limit}{of_set}: {readable(one.note)}"
    outside = minutes(one.outside_s) if one.side else NONE
    return (
        f"{limit}{of_set}: {outside} of {minutes(one.observed_s)} observed, {quantity(one.value, one.unit)}, "
        f"left out {minutes(one.excluded_s)}, masked {minutes(one.masked_s)}, missing {minutes(one.missing_s)}"
    )


def find_change_cells(one: FindChange) -> tuple[str, str, str]:
    """What, before, after."""
    side = one.before or one.after
    assert side is not None
    what = ", ".join(filter(None, [f"{side.code} {side.name}", side.site.replace("_", " ")]))
    return what, _find(one.before, "no such find"), _find(one.after, "no find any more")


def _find(one: Find | None, absent: str) -> str:
    if one is None:
        return absent
    limit = one.evidence.get("limit")
    unit = unit_name(str(one.evidence.get("unit", "")))
    by = f", limit {number(float(limit), 1)} {unit}".rstrip() if isinstance(limit, int | float) else ""
    return f"{length(one.start_s)} to {length(one.end_s)} min:s{by}"


def change_cells(found: Changes) -> list[tuple[str, str, str]]:
    """Every change: what, before, after."""
    return [*map(figure_change_cells, found.figures), *map(find_change_cells, found.finds)]
