"""The command line: `afterclamp ...`, the same as ``python -m afterclamp.replay``.

Results go to standard output, everything else to standard error. A command that only reads a case starts
without Qt. Ends with 0 when all is well, 1 when a case or a file cannot be read or written (one plain
sentence), 2 for wrong use, 3 when a bring-in has open questions, 130 and 143 when it was stopped by Ctrl-C or
told to end.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from afterclamp.io.errors import CaseError, several

from .beats_command import beats as beats_command
from .command_options import (
    check_clocks,
    check_site,
    limit_set,
    rule_numbers,
    section_options,
    sections_asked,
)
from .dose_command import dose as dose_command
from .flushes_command import flushes as flushes_command
from .limits_command import limits as limits_command
from .mask_command import hide, masks, unhide
from .plain_group import PROGRAM, PlainGroup, end_at_once, put
from .quality_command import quality as quality_command
from .sites_command import sites, trust

if TYPE_CHECKING:
    from afterclamp.io.case import Case
    from afterclamp.io.identity import Found

    from .hand_over import Form

Command = TypeVar("Command", bound=Callable[..., Any])


def _folder(case: Path) -> Case:
    """The case, opened; what of its log cannot be used is said in one line, and the rest is read."""
    from afterclamp.io import open_case

    opened = open_case(case)
    unused = len(opened.log.repairs) + len(opened.refused)
    if unused:
        lines = f"{several(unused, 'line')} of the log could not be used. See: {PROGRAM} check {case}"
        click.echo(lines, err=True)
    return opened


CASE = click.argument("case", type=click.Path(path_type=Path))


def _as_json(command: Command) -> Command:
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")(command)


def _limits_option(command: Command) -> Command:
    return click.option("--limits", metavar="SET", help="Name of a limit set, or a TOML file with one.")(
        command
    )


@click.group(
    cls=PlainGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="afterclamp", message="afterclamp %(version)s")
@click.pass_context
def main(context: click.Context) -> None:
    """Look back at the pressures, flows and temperatures of a heart operation.

    For looking back, never for looking after: not a medical device, not for use during a case.

    Without a command the desk opens with the shelf of the cases opened lately, where there is a display.
    """
    if context.invoked_subcommand is None:
        from .window import why_no_window

        if why_no_window():
            raise click.exceptions.NoArgsIsHelpError(context)
        _open_desk(None)


# --- Making and opening a case ------------------------------------------------------------------------


@main.command()
@click.option(
    "--into",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("afterclamp-demo"),
    show_default=True,
    metavar="DIR",
    help="Folder for the demonstration.",
)
@click.option("--no-window", is_flag=True, help="Write the case paper instead of opening the desk.")
def demo(into: Path, no_window: bool) -> None:
    """Build the invented demonstration case and open it."""
    from .demo import make_demo
    from .window import why_no_window

    case = make_demo(into, progress=_progress())
    reason = "no window was asked for" if no_window else why_no_window()
    if reason:
        click.echo(f"The desk is not opened: {reason}. The case paper is written instead.", err=True)
        for name in ("case-paper.html", "case-paper.pdf"):
            _write_paper(case, into / name)
            put(str(into / name))
        return
    _open_desk(case)


@main.command("bring-in")
@click.argument("paths", nargs=-1, required=True, metavar="PATH...", type=click.Path(path_type=Path))
@click.option(
    "--into",
    required=True,
    metavar="CASE",
    type=click.Path(path_type=Path),
    help="New or existing case folder.",
)
@click.option(
    "--columns",
    metavar="MAP.toml",
    multiple=True,
    type=click.Path(path_type=Path),
    help="What the columns of a text file are, or what lies where in HDF5, MATLAB or Parquet; give it once for each "
    "map, each says which files it is for.",
)
@click.option(
    "--answers", metavar="FILE.toml", type=click.Path(path_type=Path), help="Answers to the open questions."
)
@click.option(
    "--accept-proposals", is_flag=True, help="Accept what the program proposes where it has a question."
)
@click.option(
    "--as-before",
    is_flag=True,
    help="Keep what is decided here for sources that look the same, and propose what was kept before.",
)
@click.option(
    "--keep-identity",
    is_flag=True,
    help="Keep names, numbers and dates that say who somebody is; otherwise they are taken out.",
)
def bring_in_command(
    paths: tuple[Path, ...],
    into: Path,
    columns: tuple[Path, ...],
    answers: Path | None,
    accept_proposals: bool,
    as_before: bool,
    keep_identity: bool,
) -> None:
    """Bring files or folders of exports into a case.

    The same files and options give the same case, whoever ran what before; with --as-before, what was decided
    for earlier sources that look the same is proposed as well. A site belongs to a patient: look at it again.
    """
    from afterclamp.io import bring_in, mappings

    found: list[Found] = []
    with bring_in(
        list(paths),
        into,
        columns=columns or None,
        answers=answers,
        accept_proposals=accept_proposals,
        keep_identity=keep_identity,
        learned_in=mappings.default_folder() if as_before else None,
        progress=_progress(),
        listed=found.extend,
    ) as case:
        from .tables import brought_in

        settled = _settle_clocks(case) if accept_proposals else []
        put(brought_in(case, found, keep_identity=keep_identity))
        for line in settled:
            put(line)


def _settle_clocks(case: Case) -> list[str]:
    """Accept what the evidence says of each clock that nobody set; the words of each, also where it says nothing."""
    from afterclamp.io.bring import AUTHOR

    from .clock_command import proposals

    return [f"  {line}" for line in proposals(case, AUTHOR, _progress())]


@main.command("open")
@click.argument("case", required=False, type=click.Path(path_type=Path))
def open_command(case: Path | None) -> None:
    """Open a case on the desk; without CASE, the shelf of the cases opened lately."""
    from .window import why_no_window

    if case is not None:
        _folder(case).close()  # what cannot be read is said here, before a window opens
    reason = why_no_window()
    if reason:
        raise CaseError(
            f"the desk cannot be opened: {reason}",
            todo="Run it where there is a display, or write the case paper with: afterclamp paper CASE --out FILE.pdf",
        )
    _open_desk(case)


# --- Reading a case -----------------------------------------------------------------------------------


@main.command()
@CASE
@_as_json
def channels(case: Path, as_json: bool) -> None:
    """List what was recorded: site, unit, rate, span, seconds missing."""
    from . import tables

    with _folder(case) as opened:
        rows = tables.channel_rows(opened)
        _print(rows, as_json, lambda: tables.channels(opened, rows))


@main.command()
@CASE
@click.option(
    "--set",
    "by_offset",
    multiple=True,
    metavar="SOURCE=OFFSET[,PPM]",
    help="Set a clock by hand: ahead of the reference by seconds, 1:34 or 1:00:37, behind with a minus; how fast "
    "it runs in parts per million. May be given more than once.",
)
@click.option(
    "--within", type=float, default=2.0, show_default=True, help="Your doubt about --set: ± seconds, 95 %."
)
@click.option(
    "--answers",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Answers file whose clocks are set; the rest of it is not looked at.",
)
@click.option(
    "--anchor",
    "anchors",
    nargs=3,
    multiple=True,
    metavar="SOURCE WORDS MEANING",
    help="With --propose or --accept-proposals: some words of a line of SOURCE, and what they mean (such as "
    "'going on', or seconds of the reference clock). Give two or more; then only these count.",
)
@click.option("--propose", is_flag=True, help="Say what the evidence tells of clocks that nobody set.")
@click.option("--accept-proposals", is_flag=True, help="Set these clocks as the evidence tells.")
@click.option("--author", default="reviewer", show_default=True, help="Role or code that it is kept under.")
@_as_json
def clocks(
    case: Path,
    by_offset: tuple[str, ...],
    within: float,
    answers: Path | None,
    anchors: tuple[tuple[str, str, str], ...],
    propose: bool,
    accept_proposals: bool,
    author: str,
    as_json: bool,
) -> None:
    """List each source's clock against the reference clock; set clocks by hand or by evidence first.

    What is set is an edit of the case's log: the desk can undo it.
    """
    from . import tables

    if anchors and not (propose or accept_proposals):
        raise click.BadParameter("anchors need --propose or --accept-proposals", param_hint="--anchor")
    with _folder(case) as opened:
        if by_offset or answers is not None or propose or accept_proposals:
            from .clock_command import from_command

            check_clocks(opened, by_offset, within, author)
            for line in from_command(
                opened,
                author,
                by_offset=by_offset,
                within_s=within,
                answers=answers,
                anchors=anchors,
                propose=propose,
                accept_proposals=accept_proposals,
                progress=_progress(),
            ):
                put(line, err=as_json)  # with --json only the document goes to standard output
        rows = tables.clock_rows(opened)
        _print(rows, as_json, lambda: tables.clocks(opened, rows))


@main.command()
@CASE
@click.option("--believe", metavar="SITE", help="Arterial site to believe, such as femoral or left_radial.")
@_limits_option
@section_options
@_as_json
def figures(case: Path, believe: str | None, limits: str | None, as_json: bool, **wanted: Any) -> None:
    """Minutes and areas outside each limit, computed values, each phase, and ledgers.

    Every number with what was observed, left out, masked and missing. With --json the limits alone, unless
    --section says otherwise.
    """
    from .figure_sections import Asked, rows_of, text_of

    with _folder(case) as opened:
        check_site(opened, believe)
        sections, about = sections_asked(as_json=as_json, **wanted)
        asked = Asked(believe, limit_set(limits), **about)
        _print(
            rows_of(opened, sections, asked) if as_json else None,
            as_json,
            lambda: text_of(opened, sections, asked),
        )


@main.command()
@CASE
@_as_json
def phases(case: Path, as_json: bool) -> None:
    """List the phases, each boundary with its ±, and the durations a team reports."""
    from afterclamp.annotate import phases as phase_model

    from . import tables

    with _folder(case) as opened:
        found = phase_model.phases(opened)
        _print(tables.phase_rows(found), as_json, lambda: tables.phases(opened, found))


@main.command()
@CASE
@_limits_option
@click.option("--rules", is_flag=True, help="List the rules that are looked for, in words, instead.")
@click.option(
    "--held-back", is_flag=True, help="List what rules saw and did not put forward, with the reason, instead."
)
@_as_json
def finds(case: Path, limits: str | None, rules: bool, held_back: bool, as_json: bool) -> None:
    """List what the rules found; each is a proposal for a qualified person to confirm."""
    if rules and held_back:
        raise click.UsageError("--rules and --held-back each list something else: give one of them")
    from afterclamp.annotate.finds import find

    from . import find_table

    with _folder(case) as opened:
        found = find(opened, limits=rule_numbers(limits))
        if rules:
            _print(find_table.rule_rows(found), as_json, lambda: find_table.rules(found))
        elif held_back:
            _print(find_table.held_back_rows(found), as_json, lambda: find_table.held_back(opened, found))
        else:
            _print(find_table.find_rows(found), as_json, lambda: find_table.finds(opened, found))


main.add_command(limits_command)
main.add_command(beats_command)
main.add_command(sites)
main.add_command(trust)
main.add_command(dose_command)
for _mask in (hide, unhide, masks):
    main.add_command(_mask)
main.add_command(quality_command)
main.add_command(flushes_command)


# --- What leaves a case -------------------------------------------------------------------------------


@main.command()
@CASE
@click.option(
    "--out", required=True, metavar="FILE.html|FILE.pdf", type=click.Path(path_type=Path, dir_okay=False)
)
@click.option("--believe", metavar="SITE", help="Arterial site to believe.")
@_limits_option
def paper(case: Path, out: Path, believe: str | None, limits: str | None) -> None:
    """Write the case paper as one HTML or PDF file."""
    if out.suffix.lower() not in (".html", ".htm", ".pdf"):
        raise click.BadParameter(f"{out.name} must end in .html or .pdf", param_hint="--out")
    _write_paper(case, out, believe=believe, limits=limits)
    put(str(out))


@main.command()
@CASE
@click.option("--out", required=True, metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--as",
    "form",
    type=click.Choice(("tables", "samples", "edf", "annotations")),
    default="tables",
    help="One value a second with finds, phases, marks and figures as CSV (tables); every sample as CSV; every "
    "sample as EDF+; marks, finds and phases as WFDB annotation files.",
)
@click.option(
    "--window",
    nargs=2,
    type=float,
    metavar="START END",
    help="Seconds of the reference clock; not for tables, which are of the whole case.",
)
def export(case: Path, out: Path, form: Form, window: tuple[float, float] | None) -> None:
    """Write a case in open formats into a new folder, with the note that it carries."""
    from afterclamp.io.case import Span

    from .hand_over import hand_over

    if window is not None and form == "tables":
        raise click.BadParameter("tables are of the whole case; use it with --as", param_hint="--window")
    if window is not None and not window[1] > window[0]:
        raise click.BadParameter("END must come after START", param_hint="--window")
    with _folder(case) as opened:
        span = Span(*window) if window is not None else None
        for written in hand_over(opened, out, form, span=span, progress=_progress()):
            put(str(written))


@main.command()
@CASE
@_as_json
def check(case: Path, as_json: bool) -> None:
    """Check a case: traces, log, sources, versions. Ends with 1 when something is not as it was left."""
    from . import checks, tables

    found = checks.check_case(case)
    _print([row.as_dict() for row in found], as_json, lambda: tables.checks(found))
    sys.stdout.flush()
    checks.refuse_if_wrong(found, case)


# --- Shared -------------------------------------------------------------------------------------------


def _print(rows: Any, as_json: bool, text: Callable[[], str]) -> None:
    if as_json:
        from .tables import to_json

        put(to_json(rows))
    else:
        put(text())


def _progress() -> Callable[[float, str], None]:
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


def _write_paper(case: Path, out: Path, *, believe: str | None = None, limits: str | None = None) -> None:
    from .window import drawing_ready

    drawing_ready()
    from .paper import write_paper

    with _folder(case) as opened:
        check_site(opened, believe)
        write_paper(opened, out, believe=believe, limits=limit_set(limits), progress=_progress())


def _open_desk(case: Path | None) -> None:
    from .window import drawing_ready

    end_at_once()
    drawing_ready()
    from . import app

    code = app.run([str(case)] if case is not None else [])
    if code:
        sys.exit(code)


def run(arguments: Sequence[str] | None = None) -> None:
    """Run the command line with these arguments (those of the process when None)."""
    main(args=None if arguments is None else list(arguments), prog_name=PROGRAM)
