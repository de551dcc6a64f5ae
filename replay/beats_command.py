"""``afterclamp beats``: every beat of one pressure line, and for how much of the time there was a pulse."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .plain_group import put

if TYPE_CHECKING:
    from afterclamp.annotate.beat_table import BeatTable, Pulsation
    from afterclamp.io.case import Channel

SHOWN = 40
"""Beats that are printed; a file holds them all."""
DECIMALS = (3, 3, 1, 1, 1, 1, 1, 0, 2)


@click.command()
@click.argument("case", type=click.Path(path_type=Path))
@click.argument("line")
@click.option("--from", "start", type=float, metavar="S", help="From this second of the reference clock on.")
@click.option("--to", "end", type=float, metavar="S", help="Up to this second of the reference clock.")
@click.option("--raw", is_flag=True, help="Leave artefacts in.")
@click.option(
    "--csv",
    "out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write every beat into this file; units are UCUM.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def beats(
    case: Path, line: str, start: float | None, end: float | None, raw: bool, out: Path | None, as_json: bool
) -> None:
    """List the beats of one pressure line: onset, pressures, rate, steepest rise, systolic area.

    LINE is its site or its id, as 'afterclamp channels' lists them.
    """
    if start is not None and end is not None and end <= start:
        raise click.BadParameter("it must come after --from", param_hint="--to")
    from afterclamp.annotate.beat_table import beat_table, pulsation
    from afterclamp.io import open_case

    with open_case(case) as opened:
        channel = opened[line]
        low = opened.span.start if start is None else start
        high = opened.span.end if end is None else end
        found = beat_table(channel, low, high, masked=not raw)
        grid = opened.grid[(opened.grid >= low) & (opened.grid < high)]
        pulse = pulsation(channel, grid, masked=not raw)
        if out is not None:
            write(found, out)
        if as_json:
            from .tables import to_json

            put(to_json(_document(channel, found, pulse, raw)))
        else:
            put(text(channel, found, pulse, raw))


def write(found: BeatTable, out: Path) -> None:
    """Every beat as CSV (RFC 4180, UTF-8), whole or not at all; an empty cell was not measured.

    Raises
    ------
    CannotWrite
        When the file is there already or cannot be written.
    """
    from afterclamp.io.whole import written_whole

    page = io.StringIO()
    writer = csv.writer(page)
    columns = found.columns()
    writer.writerow(columns)
    for row in zip(*columns.values(), strict=True):
        writer.writerow(
            f"{value:.{digits}f}" if value == value else ""
            for value, digits in zip(row, DECIMALS, strict=True)
        )
    with written_whole(out, what="the beats could not be written") as partial:
        partial.write_text(page.getvalue(), "utf-8", newline="")


def text(channel: Channel, found: BeatTable, pulse: Pulsation, raw: bool) -> str:
    """A summary with its denominators, and the first beats as a table."""
    import numpy as np
    from afterclamp.annotate.beats import LIMITS

    from .tables import table
    from .wording import number

    state = "raw, artefacts left in" if raw else "artefacts masked"
    lines = [
        f"{channel.plain_name} ({channel.id}): {len(found)} beats; a pulse of 5 mmHg or more in "
        f"{pulse.pulsatile_s / 60:.1f} of {pulse.observed_s / 60:.1f} observed min ({state})."
    ]
    if not len(found):
        return "\n".join((*lines, *LIMITS))
    middle = [number(float(np.nanmedian(values))) for values in found.columns().values()]
    lines.append(
        f"Medians: {middle[2]}/{middle[3]} mmHg, mean {middle[4]}, pulse {middle[5]}, rate {middle[6]} a minute."
    )
    headings = (
        "onset s", "end s", "sys", "dia", "mean", "pulse", "rate /min", "upstroke mmHg/s", "sys. area mmHg·s"
    )  # fmt: skip
    rows = [
        [number(float(value), digits) for value, digits in zip(row, DECIMALS, strict=True)]
        for row in zip(*(values[:SHOWN] for values in found.columns().values()), strict=True)
    ]
    lines.append(table(headings, rows, ">" * len(headings)))
    if len(found) > SHOWN:
        lines.append(f"The first {SHOWN} of {len(found)} beats; --csv FILE writes all of them.")
    lines += LIMITS
    return "\n".join(lines)


def _document(channel: Channel, found: BeatTable, pulse: Pulsation, raw: bool) -> dict[str, object]:
    names = (
        "onset_s", "end_s", "systolic", "diastolic", "mean", "pulse_pressure", "rate_per_min", "upstroke_per_s",
        "systolic_area_s",
    )  # fmt: skip
    return {
        "channel": channel.id,
        "name": channel.name,
        "unit": channel.unit,
        "clean": "raw" if raw else "masked",
        "pulsatile_s": pulse.pulsatile_s,
        "observed_s": pulse.observed_s,
        "beats": [dict(zip(names, row, strict=True)) for row in zip(*found.columns().values(), strict=True)],
    }
