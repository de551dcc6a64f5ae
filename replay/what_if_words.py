"""What the arithmetic "what if" says, the same on the command line, in its box and in what is copied from it."""

from __future__ import annotations

from typing import Any

from afterclamp.annotate.derived import Absent
from afterclamp.annotate.figure_row import area_unit
from afterclamp.annotate.what_if_case import WHAT_IF_BANNER, Basis, Replaced, Row

from .tables import table
from .wording import minutes, quantity, unit_name

HEADINGS = (
    "limit",
    "recorded: outside",
    "recorded: area",
    "recorded: lowest",
    "replaced: outside",
    "replaced: area",
    "replaced: lowest",
    "of observed",
    "source",
)
RIGHT = "<>>>>>>><"
BANNER = WHAT_IF_BANNER.upper()
NOTHING_ELSE = "Only the oxygen delivery index is computed again; every other channel stays as recorded."
NO_LIMIT = "No limit of the oxygen delivery index is in force."


def cells(row: Row) -> tuple[str, ...]:
    """One limit as recorded and with the value replaced."""
    one, other, unit = row.recorded, row.changed, row.limit.unit
    return (
        f"{row.limit.side} {row.limit.value:g} {unit_name(unit)}",
        minutes(one.outside_s),
        quantity(one.area, area_unit(unit)),
        quantity(one.nadir, unit),
        minutes(other.outside_s),
        quantity(other.area, area_unit(unit)),
        quantity(other.nadir, unit),
        minutes(one.observed_s),
        row.limit.cited,
    )


def where_words(basis: Basis) -> str:
    """Where a value is replaced, and what stands there as recorded."""
    while_warm = "whatever the outlet temperature" if isinstance(basis.outlet, Absent) else "while warm"
    return (
        f"On established bypass without arrests ({minutes(basis.where_s)}), where the recorded median flow is "
        f"{quantity(basis.recorded_flow_l_min, 'L/min')} and the median haemoglobin "
        f"{quantity(basis.recorded_haemoglobin_g_dl, 'g/dL')}. Limits are looked at {while_warm}."
    )


def what_if_text(basis: Basis, found: Replaced) -> str:
    """The whole, with the banner first and last, so that no part of a copy goes without it."""
    body = table(HEADINGS, [cells(row) for row in found.rows], RIGHT) if found.rows else NO_LIMIT
    lines = (BANNER, f"With {found.words}. {where_words(basis)}", NOTHING_ELSE, "", body, "", BANNER)
    return "\n".join(lines)


def what_if_document(found: Replaced) -> dict[str, Any]:
    """For JSON: names are only ever added; the banner stands in every row as well."""
    return {
        "banner": found.banner,
        "replaced": found.words,
        "replaced_s": found.where_s,
        "rows": [
            {
                "banner": found.banner,
                "limit_id": row.limit.id,
                "limit": row.limit.value,
                "side": row.limit.side,
                "unit": row.limit.unit,
                "limit_source": row.limit.cited,
                "observed_s": row.recorded.observed_s,
                "recorded_outside_s": row.recorded.outside_s,
                "recorded_area": row.recorded.area,
                "recorded_nadir": row.recorded.nadir,
                "changed_outside_s": row.changed.outside_s,
                "changed_area": row.changed.area,
                "changed_nadir": row.changed.nadir,
            }
            for row in found.rows
        ],
    }
