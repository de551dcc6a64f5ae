"""``afterclamp flushes``: natural frequency and damping of each line from its fast flushes."""

from __future__ import annotations

from pathlib import Path

import click

from .command_case import CASE, json_option, opened_case, print_rows


@click.command()
@CASE
@json_option
def flushes(case: Path, as_json: bool) -> None:
    """List what each fast flush tells of its line: natural frequency, damping, and what that means.

    Each with its ±, or why it cannot be told, and with the limit that it is held against.
    """
    from afterclamp.annotate.flushes import flushes as find

    from .flush_words import flush_rows, flushes_text

    with opened_case(case) as opened:
        found = find(opened)
        print_rows(flush_rows(opened, found), as_json, lambda: flushes_text(opened, found))
