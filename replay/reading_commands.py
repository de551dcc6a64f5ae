"""Commands that only read a case: what was recorded, its figures, phases and finds, and whether it is whole."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from .command_case import CASE, json_option, limits_option, opened_case, print_rows
from .command_options import check_site, limit_set, rule_numbers, section_options, sections_asked


@click.command()
@CASE
@json_option
def channels(case: Path, as_json: bool) -> None:
    """List what was recorded: site, unit, rate, span, seconds missing."""
    from . import tables

    with opened_case(case) as opened:
        rows = tables.channel_rows(opened)
        print_rows(rows, as_json, lambda: tables.channels(opened, rows))


@click.command()
@CASE
@click.option("--believe", metavar="SITE", help="Arterial site to believe, such as femoral or left_radial.")
@limits_option
@section_options
@json_option
def figures(case: Path, believe: str | None, limits: str | None, as_json: bool, **wanted: Any) -> None:
    """Minutes and areas outside each limit, computed values, each phase, and ledgers.

    Every number with what was observed, left out, masked and missing. With --json the limits alone, unless
    --section says otherwise.
    """
    from .figure_sections import Asked, rows_of, text_of

    with opened_case(case) as opened:
        check_site(opened, believe)
        sections, about = sections_asked(as_json=as_json, **wanted)
        asked = Asked(believe, limit_set(limits), **about)
        print_rows(
            rows_of(opened, sections, asked) if as_json else None,
            as_json,
            lambda: text_of(opened, sections, asked),
        )


@click.command()
@CASE
@click.option("--details", is_flag=True, help="Also rule, value and alternatives of each boundary.")
@click.option(
    "--section",
    multiple=True,
    type=click.Choice(("phases", "durations", "times", "checks", "all")),
    help="Only that section; give it once for each. All of them if not given.",
)
@json_option
def phases(case: Path, details: bool, section: tuple[str, ...], as_json: bool) -> None:
    """List the phases, each boundary with its ±, the durations and times a team reports, and the checks.

    With --json the phases alone, each boundary with rule, value and alternatives, unless --section says otherwise.
    """
    from .phase_sections import SECTIONS, PhaseTable

    wanted = section or (("phases",) if as_json else ("all",))
    chosen = SECTIONS if "all" in wanted else tuple(one for one in SECTIONS if one in wanted)
    with opened_case(case) as opened:
        made = PhaseTable(opened, details=details)
        print_rows(made.rows(chosen) if as_json else None, as_json, lambda: made.text(chosen))


@click.command()
@click.argument("case", type=click.Path(path_type=Path), required=False)
@limits_option
@click.option(
    "--rules",
    is_flag=True,
    help="List the rules that are looked for, in words, instead; with a case, how often each found something.",
)
@click.option(
    "--held-back", is_flag=True, help="List what rules saw and did not put forward, with the reason, instead."
)
@click.option(
    "--unexplained",
    "no_rule",
    is_flag=True,
    help="List large changes of several lines that no rule covers, instead.",
)
@click.option(
    "--set",
    "tried",
    multiple=True,
    metavar="RULE.NUMBER=VALUE",
    help="Try another number of a rule, such as E13.below=55, and say what it changes; nothing is kept.",
)
@json_option
def finds(
    case: Path | None,
    limits: str | None,
    rules: bool,
    held_back: bool,
    no_rule: bool,
    tried: tuple[str, ...],
    as_json: bool,
) -> None:
    """List what the rules found; each is a proposal for a qualified person to confirm."""
    if rules + held_back + no_rule > 1:
        raise click.UsageError(
            "--rules, --held-back and --unexplained each list something else: give one of them"
        )
    from . import find_table, find_trial

    if case is None:
        if not rules:
            raise click.UsageError("Missing argument 'CASE': only --rules can be asked without a case")
        from afterclamp.annotate.rule_numbers import typed

        own = {**(rule_numbers(limits) or {}), **typed(tried)}
        print_rows(find_table.rule_rows(None, own), as_json, lambda: find_table.rules(None, own))
        return
    with opened_case(case) as opened:
        looked = find_trial.look(opened, rule_numbers(limits), tried)
        found = looked.found
        if no_rule:
            print_rows(looked.unexplained_rows(), as_json, lambda: looked.unexplained_text(opened))
        elif rules:
            numbers = looked.numbers
            print_rows(
                find_table.rule_rows(found, numbers), as_json, lambda: find_table.rules(found, numbers)
            )
        elif held_back:
            print_rows(find_table.held_back_rows(found), as_json, lambda: find_table.held_back(opened, found))
        else:
            text = find_table.finds
            print_rows(
                find_table.find_rows(found), as_json, lambda: text(opened, found) + looked.words(opened)
            )


@click.command()
@CASE
@json_option
def check(case: Path, as_json: bool) -> None:
    """Check a case: traces, log, sources, versions. Ends with 1 when something is not as it was left."""
    from . import checks, tables

    found = checks.check_case(case)
    print_rows([row.as_dict() for row in found], as_json, lambda: tables.checks(found))
    sys.stdout.flush()
    checks.refuse_if_wrong(found, case)
