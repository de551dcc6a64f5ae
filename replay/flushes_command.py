"""``afterclamp flushes``: natural frequency and damping of each line from its fast flushes."""

from __future__ import annotations

from pathlib import Path

import click

from .plain_group import put


@click.command()
@click.argument("case", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def flushes(case: Path, as_json: bool) -> None:
    """List what each fast flush tells of its line: natural frequency, damping, and what that means.

    Each with its ±, or why it cannot be told, and with the limit that it is held against.
    """
    from afterclamp.annotate.flushes import flushes as find
    from afterclamp.io import open_case

    from .flush_words import flush_rows, flushes_text
    from .tables import to_json

    with open_case(case) as opened:
        found = find(opened)
        put(to_json(flush_rows(opened, found)) if as_json else flushes_text(opened, found))
