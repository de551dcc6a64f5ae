"""``afterclamp dose``: one figure of a case second by second, to be drawn or added up elsewhere."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .command_options import check_site, limit_set
from .plain_group import put

if TYPE_CHECKING:
    from afterclamp.annotate.dose import Dose
    from afterclamp.annotate.figures import Figure


@click.command()
@click.argument("case", type=click.Path(path_type=Path))
@click.argument("figure", type=int)
@click.option("--believe", metavar="SITE", help="Arterial site to believe, such as femoral or left_radial.")
@click.option("--limits", metavar="SET", help="Name of a limit set, or a TOML file with one.")
@click.option(
    "--csv",
    "out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write second, depth and state of every second into this file.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def dose(
    case: Path, figure: int, believe: str | None, limits: str | None, out: Path | None, as_json: bool
) -> None:
    """Draw a figure out second by second: how deep outside its limit, or why a second is not counted.

    FIGURE is the number of its row as 'afterclamp figures' prints it, with the same options. The depths of all
    seconds, times 1 s, add up to its area.
    """
    from afterclamp.annotate.dose import dose as drawn_out
    from afterclamp.annotate.figures import figures
    from afterclamp.io import open_case

    with open_case(case) as opened:
        check_site(opened, believe)
        rows = [
            one for one in figures(opened, believe=believe, limits=limit_set(limits)) if one.value is not None
        ]
    if not 1 <= figure <= len(rows):
        raise click.BadParameter(
            f"there are figures 1 to {len(rows)}; 'afterclamp figures' lists them", param_hint="FIGURE"
        )
    row = rows[figure - 1]
    if row.counted is None:
        raise click.BadParameter("this figure is a mean: it has no limit", param_hint="FIGURE")
    found = drawn_out(row.counted)
    if out is not None:
        write(found, out)
    if as_json:
        from .tables import to_json

        put(to_json(_document(row, found)))
    else:
        put(text(row, found))


def as_csv(found: Dose) -> str:
    """Second, depth and state of every second (RFC 4180); seconds that were not looked at are left out."""
    from afterclamp.annotate.dose import NOT_LOOKED_AT, STATES

    page = io.StringIO()
    writer = csv.writer(page)
    writer.writerow(("time [s]", f"depth [{found.unit or '1'}]", "state"))
    for i, (depth, state) in enumerate(zip(found.depth.tolist(), found.state.tolist(), strict=True)):
        if state != NOT_LOOKED_AT:
            writer.writerow(
                (f"{found.start + i:.10g}", f"{depth:.6g}" if depth == depth else "", STATES[state])
            )
    return page.getvalue()


def write(found: Dose, out: Path) -> None:
    """The same as a file, whole or not at all.

    Raises
    ------
    CannotWrite
        When the file is there already or cannot be written.
    """
    from afterclamp.io.whole import written_whole

    with written_whole(out, what="the dose could not be written") as partial:
        partial.write_text(as_csv(found), "utf-8", newline="")


def text(row: Figure, found: Dose) -> str:
    """The figure in words, what its seconds add up to, and the stretches outside."""
    from afterclamp.annotate.dose import OUTSIDE, STATES

    from .dose_words import title_of
    from .tables import table
    from .wording import number, quantity

    counts = ", ".join(f"{name} {int((found.state == code).sum())} s" for code, name in enumerate(STATES))
    lines = [
        f"{title_of(row)}.",
        f"The seconds add up to {quantity(found.area, row.unit)}; deepest {quantity(found.deepest, found.unit)}.",
        f"Seconds by state: {counts}.",
    ]
    stretches = found.stretches(OUTSIDE)
    if not stretches:
        return "\n".join(lines)
    cells = []
    for start, end in stretches:
        depths = found.depth[found.index(start) : found.index(end - 1) + 1]
        cells.append(
            [
                number(start, 0),
                number(end, 0),
                number(float(depths.max()), 2),
                number(float(depths.sum()) / 60, 2),
            ]
        )
    headings = ("from s", "to s", "deepest", "area")
    return "\n".join([*lines, table(headings, cells, ">>>>")])


def _document(row: Figure, found: Dose) -> dict[str, object]:
    from afterclamp.annotate.dose import STATES

    return {
        "figure": row.to_dict(),
        "start_s": found.start,
        "unit": found.unit,
        "area": found.area,
        "states": STATES,
        "depth": found.depth,
        "state": found.state,
    }
