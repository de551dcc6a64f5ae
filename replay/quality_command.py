"""``afterclamp quality``: for how long each channel could be used, and for what, and what was in the way."""

from __future__ import annotations

from pathlib import Path

import click

from .plain_group import put


@click.command()
@click.argument("case", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def quality(case: Path, as_json: bool) -> None:
    """List the seconds of each quality class for every channel, with the reason.

    Q0 good, Q1 usable for its mean only, Q2 at a wrong level, Q3 artefact, Q4 missing, frozen or withdrawn, Q9 not
    judged. With --json also every stretch, under the names of the table quality.csv of an export.
    """
    from afterclamp.io import open_case

    from .quality_rows import printed_rows, quality_text, spans_of
    from .tables import to_json

    with open_case(case) as opened:
        rows = printed_rows(opened, spans_of(opened))
        put(to_json(rows) if as_json else quality_text(rows))
