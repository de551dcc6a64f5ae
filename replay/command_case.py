"""What commands share: the case opened, the options that several take, rows printed, progress told."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from afterclamp.io.errors import several

from .plain_group import PROGRAM, put

if TYPE_CHECKING:
    from afterclamp.io.case import Case

Command = TypeVar("Command", bound=Callable[..., Any])

CASE = click.argument("case", type=click.Path(path_type=Path))
"""The case folder that a command is about."""


def json_option(command: Command) -> Command:
    """``--json``: the rows as one document instead of a table."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")(command)


def author_option(command: Command) -> Command:
    """``--author``: who an edit of the log is kept under; `afterclamp.io.log.check_author` looks at it."""
    return click.option(
        "--author", default="reviewer", show_default=True, help="Role or code that it is kept under."
    )(command)


def limits_option(command: Command) -> Command:
    """``--limits``: which set of limits is gone by; `command_options.limit_set` looks at it."""
    return click.option("--limits", metavar="SET", help="Name of a limit set, or a TOML file with one.")(
        command
    )


def opened_case(case: Path) -> Case:
    """The case, opened; what of its log cannot be used is said in one line, and the rest is read."""
    from afterclamp.io import open_case

    opened = open_case(case)
    unused = len(opened.log.repairs) + len(opened.refused)
    if unused:
        lines = f"{several(unused, 'line')} of the log could not be used. See: {PROGRAM} check {case}"
        click.echo(lines, err=True)
    return opened


def print_rows(rows: Any, as_json: bool, text: Callable[[], str]) -> None:
    """Print rows as one JSON document, or the text made of them, which is not made where nobody reads it."""
    if as_json:
        from .tables import to_json

        put(to_json(rows))
    else:
        put(text())


def progress_shown() -> Callable[[float, str], None]:
    """Progress on standard error: one line that is written over on a terminal, else a line a stage."""
    last: list[str] = []
    on_terminal = sys.stderr.isatty()

    def report(share: float, what: str) -> None:
        if share >= 1.0 and what.endswith("."):  # a remark at the end
            click.echo(("\r\033[K" if on_terminal else "") + what, err=True)
        elif on_terminal:
            end = "\n" if share >= 1.0 else ""
            click.echo(f"\r\033[K{what} … {share * 100:3.0f} %{end}", err=True, nl=False)
        elif what not in last[-1:]:
            last.append(what)
            click.echo(f"{what} …", err=True)

    return report
