"""``afterclamp quality``: for how long each channel could be used, and for what, and what was in the way."""

from __future__ import annotations

from pathlib import Path

import click

from .command_case import CASE, json_option, opened_case, print_rows


@click.command()
@CASE
@json_option
def quality(case: Path, as_json: bool) -> None:
    """List the seconds of each quality class for every channel, with the reason.

    Q0 good, Q1 usable for its mean only, Q2 at a wrong level, Q3 artefact, Q4 missing, frozen or withdrawn, Q9 not
    judged. With --json also every stretch, under the names of the table quality.csv of an export.
    """
    from .quality_rows import printed_rows, quality_text, spans_of

    with opened_case(case) as opened:
        rows = printed_rows(opened, spans_of(opened))
        print_rows(rows, as_json, lambda: quality_text(rows))
