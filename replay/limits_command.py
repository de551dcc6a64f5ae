"""``afterclamp limits``: what a case is read by, other sets chosen, numbers edited, and what that would change."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from afterclamp.io.errors import EditRefused

from .command_case import CASE, author_option, json_option, opened_case
from .plain_group import put

if TYPE_CHECKING:
    from afterclamp.annotate.limit_changes import Changes
    from afterclamp.annotate.limit_set import LimitSet
    from afterclamp.annotate.limits import Choice
    from afterclamp.io.case import Case


@click.command()
@CASE
@click.option(
    "--use",
    multiple=True,
    metavar="SET",
    help="Put these sets in force and no others: the name of one that comes with the program, or a TOML file. May be "
    "given more than once; a file's own limit stands before a published one on the same measure, phase and side.",
)
@click.option(
    "--number",
    "numbers",
    multiple=True,
    metavar="SET:LIMIT=NUMBER",
    help="Give a limit of a set in force another number, in its own unit. Needs --why.",
)
@click.option(
    "--take-back", multiple=True, metavar="SET:LIMIT", help="Give a limit its set's own number back."
)
@click.option(
    "--why", default="", metavar="TEXT", help="The reason for --number; it is printed with the number."
)
@click.option(
    "--what-changes", is_flag=True, help="List the figures and finds that would change, and keep nothing."
)
@author_option
@json_option
def limits(
    case: Path,
    use: tuple[str, ...],
    numbers: tuple[str, ...],
    take_back: tuple[str, ...],
    why: str,
    what_changes: bool,
    author: str,
    as_json: bool,
) -> None:
    """List the limits that a case is read by, each with its source and its rivals; choose other ones first.

    None is a target, and none says how somebody was cared for. What is chosen is an edit of the case's log: the
    desk can undo it.
    """
    from afterclamp.annotate.limit_changes import changes
    from afterclamp.annotate.limits import chosen_in, keep
    from afterclamp.io.log import check_author

    with opened_case(case) as opened:
        try:
            check_author(author)
        except EditRefused as refused:
            raise click.BadParameter(refused.sentence.rstrip("."), param_hint="--author") from refused
        payloads = _payloads(opened, use, numbers, take_back, why)
        if what_changes and not payloads:
            raise click.UsageError("--what-changes needs --use, --number or --take-back")
        if what_changes:
            before, after = chosen_in(opened), chosen_in(opened, payloads, author)
            _print_changes(changes(opened, before, after), as_json)
            return
        keep(opened, author, payloads)
        _print(chosen_in(opened), as_json)


def _payloads(
    case: Case, use: Sequence[str], numbers: Sequence[str], take_back: Sequence[str], why: str
) -> list[dict[str, Any]]:
    """The edits that were asked for, the sets first: a number may be one of theirs."""
    from afterclamp.annotate.limits import choosing, chosen_in, editing, taking_back

    made: list[dict[str, Any]] = []
    if use:
        made.append(choosing([_set(name) for name in use]))
    choice = chosen_in(case, made)
    for text in take_back:
        name, limit_id = _limit(text, "--take-back")
        if (name, limit_id) not in choice.numbers:
            raise click.BadParameter(f"no number of {text} is edited", param_hint="--take-back")
        made.append(taking_back(name, limit_id))
    for text in numbers:
        named, equals, value = text.rpartition("=")
        try:
            wanted = float(value)
        except ValueError:
            wanted = float("nan")
        if not equals or wanted != wanted:
            raise click.BadParameter(f"{text!r} is not SET:LIMIT=NUMBER", param_hint="--number")
        if not why.strip():
            raise click.UsageError("--number needs --why: the reason is printed with the number")
        made.append(editing(choice, *_limit(named, "--number"), wanted, why))
    return made


def _set(name: str) -> LimitSet:
    from .command_options import limit_set

    try:
        found = limit_set(name)
    except click.BadParameter as unknown:
        raise click.BadParameter(unknown.message, param_hint="--use") from unknown
    assert found is not None
    return found


def _limit(text: str, option: str) -> tuple[str, str]:
    name, colon, limit_id = text.rpartition(":")
    if not colon or not name or not limit_id:
        raise click.BadParameter(f"{text!r} is not SET:LIMIT", param_hint=option)
    return name, limit_id


def _print(choice: Choice, as_json: bool) -> None:
    from afterclamp.annotate.limit_rows import limit_rows

    from . import limit_words as words
    from .tables import table, to_json

    rows = limit_rows(choice)
    if as_json:
        put(to_json(words.rows_as_values(choice, rows)))
        return
    cells = [
        (
            str(at),
            words.measure_words(row.limit.measure),
            words.when_words(row.limit),
            words.number_words(row.limit),
            f"was {words.number_words(row.was)}" if row.was is not None else "",
            words.state_words(row),
            words.finds_words(row),
            f"{row.set_name}, version {row.version}",
            row.limit.id,
        )
        for at, row in enumerate(rows, start=1)
    ]
    headings = ("", "measure", "phase", "outside is", "edited", "state", "finds", "set", "limit")
    put(f"In force: {words.set_words(choice)}. None is a target.\n")
    put(table(headings, cells, "><<<<<<<<"))
    put(
        "\nSources:\n"
        + "\n".join(f"  {at}  {words.source_words(row)}" for at, row in enumerate(rows, start=1))
    )
    told = [
        f"  {at}  {text}"
        for at, row in enumerate(rows, start=1)
        if not row.stands_back_for
        for text in words.rival_words(row)
    ]
    if told:
        put("\nOther limits on the same measure:\n" + "\n".join(told))
    if choice.unclear:
        put("\nNot gone by:\n" + "\n".join(f"  {text}" for text in choice.unclear))


def _print_changes(found: Changes, as_json: bool) -> None:
    from . import limit_words as words
    from .tables import to_json

    cells = words.change_cells(found)
    if as_json:
        values = [{"what": what, "before": before, "after": after} for what, before, after in cells]
        put(to_json({"in_short": words.changes_in_short(found), "changes": values}))
        return
    put(words.changes_in_short(found))
    for what, before, after in cells:
        put(f"\n{what}\n  before  {before}\n  after   {after}")
