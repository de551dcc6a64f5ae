"""The command line: `afterclamp ...`, the same as ``python -m afterclamp.replay``.

Results go to standard output, everything else to standard error. A command that only reads a case starts
without Qt. Ends with 0 when all is well, 1 when a case or a file cannot be read or written (one plain
sentence), 2 for wrong use, 3 when a bring-in has open questions, 130 and 143 when it was stopped by Ctrl-C or
told to end.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click
from afterclamp.io.errors import CaseError

from .beats_command import beats
from .command_case import (
    CASE,
    author_option,
    json_option,
    limits_option,
    opened_case,
    print_rows,
    progress_shown,
)
from .command_options import check_clocks, check_site, limit_set
from .dose_command import dose
from .flushes_command import flushes
from .limits_command import limits
from .mask_command import hide, masks, unhide
from .plain_group import PROGRAM, PlainGroup, end_at_once, put
from .quality_command import quality
from .reading_commands import channels, check, figures, finds, phases
from .sites_command import sites, trust
from .what_if_command import what_if

if TYPE_CHECKING:
    from afterclamp.io.case import Case
    from afterclamp.io.identity import Found

    from .hand_over import Form


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

    case = make_demo(into, progress=progress_shown())
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
        progress=progress_shown(),
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

    return [f"  {line}" for line in proposals(case, AUTHOR, progress_shown())]


@main.command("open")
@click.argument("case", required=False, type=click.Path(path_type=Path))
def open_command(case: Path | None) -> None:
    """Open a case on the desk; without CASE, the shelf of the cases opened lately."""
    from .window import why_no_window

    if case is not None:
        opened_case(case).close()  # what cannot be read is said here, before a window opens
    reason = why_no_window()
    if reason:
        raise CaseError(
            f"the desk cannot be opened: {reason}",
            todo="Run it where there is a display, or write the case paper with: afterclamp paper CASE --out FILE.pdf",
        )
    _open_desk(case)


# --- Setting its clocks -------------------------------------------------------------------------------


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
@author_option
@json_option
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
    with opened_case(case) as opened:
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
                progress=progress_shown(),
            ):
                put(line, err=as_json)  # with --json only the document goes to standard output
        rows = tables.clock_rows(opened)
        print_rows(rows, as_json, lambda: tables.clocks(opened, rows))


# --- What leaves a case -------------------------------------------------------------------------------


@main.command()
@CASE
@click.option(
    "--out", required=True, metavar="FILE.html|FILE.pdf", type=click.Path(path_type=Path, dir_okay=False)
)
@click.option("--believe", metavar="SITE", help="Arterial site to believe.")
@limits_option
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
    with opened_case(case) as opened:
        span = Span(*window) if window is not None else None
        for written in hand_over(opened, out, form, span=span, progress=progress_shown()):
            put(str(written))


# --- Shared -------------------------------------------------------------------------------------------


def _write_paper(case: Path, out: Path, *, believe: str | None = None, limits: str | None = None) -> None:
    from .window import drawing_ready

    drawing_ready()
    from .paper import write_paper

    with opened_case(case) as opened:
        check_site(opened, believe)
        write_paper(opened, out, believe=believe, limits=limit_set(limits), progress=progress_shown())


def _open_desk(case: Path | None) -> None:
    from .window import drawing_ready

    end_at_once()
    drawing_ready()
    from . import app

    code = app.run([str(case)] if case is not None else [])
    if code:
        sys.exit(code)


# Named here so that the whole list stands in one place.
for _command in (
    channels, figures, phases, finds, check, limits, beats, sites, trust, dose, hide, unhide, masks, quality, flushes,
    what_if,
):  # fmt: skip
    main.add_command(_command)


def run(arguments: Sequence[str] | None = None) -> None:
    """Run the command line with these arguments (those of the process when None)."""
    main(args=None if arguments is None else list(arguments), prog_name=PROGRAM)
