"""What is given on the command line, looked at before anything is done: wrong use ends with its own exit code."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from afterclamp.io.errors import EditRefused, NoSuchChannel

if TYPE_CHECKING:
    from afterclamp.annotate.limits import LimitSet
    from afterclamp.io.case import Case


def limit_set(name: str | None) -> LimitSet | None:
    """The limit set of ``--limits``; None where none was given.

    Raises
    ------
    click.BadParameter
        When there is neither a set nor a file of that name.
    FileUnreadable
        When the file holds no limit set.
    """
    if name is None:
        return None
    from afterclamp.annotate.limits import LimitSet, built_in

    if name not in built_in() and not Path(name).is_file():
        raise click.BadParameter(
            f"there is no limit set and no file {name!r}; give a TOML file, or one of: {', '.join(built_in())}",
            param_hint="--limits",
        )
    return LimitSet.load(name)


def rule_numbers(name: str | None) -> dict[str, float] | None:
    """The numbers that rules take from the limit set of ``--limits``; raises as `limit_set`."""
    limits = limit_set(name)
    if limits is None:
        return None
    from afterclamp.annotate.limits import rule_limits

    return rule_limits(limits)


def check_site(case: Case, believe: str | None) -> None:
    """Refuse a ``--believe`` that is no arterial site of the case, and say which there are.

    Raises
    ------
    click.BadParameter
        When it names none, or several.
    """
    if believe is None:
        return
    from afterclamp.annotate.named import signals
    from afterclamp.annotate.site import believed_site

    try:
        believed_site(case, believe)
    except NoSuchChannel as unknown:
        lines = [one for one in signals(case).values() if one.first.kind == "arterial_pressure"]
        sites = ", ".join(f"{one.token} ({one.first.id})" for one in lines)
        raise click.BadParameter(
            f"{believe!r} names no single arterial site of this case; "
            + (f"there are: {sites}" if sites else "it has none"),
            param_hint="--believe",
        ) from unknown


Command = TypeVar("Command", bound=Callable[..., Any])
SECTIONS = ("limits", "values", "phases", "ledgers")


def section_options(command: Command) -> Command:
    """Which sections of the figures are wanted, raw or masked, and at which moments."""
    for option in (
        click.option("--measure", default="oxygen_delivery_index", show_default=True, metavar="NAME",
                     help="Measure that --at asks for."),
        click.option("--at", "at", multiple=True, metavar="MMM:SS",
                     help="Also the value of a measure at that time from the start; give it once for each."),
        click.option("--raw", is_flag=True, help="Leave artefacts in; off-scale and missing seconds stay out."),
        click.option("--section", multiple=True, type=click.Choice((*SECTIONS, "all")),
                     help="Only that section; give it once for each. All of them if not given."),
    ):  # fmt: skip
        command = option(command)
    return command


def sections_asked(
    section: Sequence[str], at: Sequence[str], measure: str, *, raw: bool, as_json: bool
) -> tuple[tuple[str, ...], dict[str, Any]]:
    """The sections to print, and what else was asked of them.

    Raises
    ------
    click.BadParameter
        When a time of ``--at`` is none.
    """
    from afterclamp.io.case_sheet import seconds_from_start

    try:
        times = tuple(seconds_from_start(text) for text in at)
    except ValueError as wrong:
        raise click.BadParameter(
            f'{wrong}; expected minutes and seconds from the start such as "110:00"', param_hint="--at"
        ) from wrong
    wanted = section or (("values",) if times else ("limits",) if as_json else ("all",))
    chosen = SECTIONS if "all" in wanted else tuple(one for one in SECTIONS if one in wanted)
    return chosen, {"masked": not raw, "at_s": times, "measure": measure}


def check_clocks(case: Case, by_offset: Sequence[str], within_s: float, author: str) -> None:
    """Refuse what ``clocks`` cannot do: ``--set``, ``--within`` and ``--author``.

    Raises
    ------
    click.BadParameter
        Names the option, what was found and what is expected.
    """
    if not (within_s > 0 and math.isfinite(within_s)):
        raise click.BadParameter(f"found {within_s:g}; expected seconds above zero", param_hint="--within")
    from afterclamp.io.log import check_author

    from .clock_command import edit_from_text

    with _misuse_of("--author"):
        check_author(author)
    for text in by_offset:
        with _misuse_of("--set"):
            edit_from_text(case, text, within_s)


@contextmanager
def _misuse_of(option: str) -> Iterator[None]:
    """Whatever an edit is refused for comes from what was typed."""
    try:
        yield
    except EditRefused as refused:
        raise click.BadParameter(refused.sentence.rstrip("."), param_hint=option) from refused
