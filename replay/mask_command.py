"""``afterclamp hide``, ``unhide`` and ``masks``: seconds of a line taken out of every figure, given back, listed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from afterclamp.io.errors import EditRefused, NoSuchChannel

from .command_case import CASE, author_option, json_option, opened_case, print_rows
from .plain_group import put

if TYPE_CHECKING:
    from afterclamp.annotate.masking import MaskedSpan
    from afterclamp.io.case import Case, Channel
    from afterclamp.io.masks import Verb

Row = dict[str, Any]


def _stretch(command: Callable[..., None]) -> Callable[..., None]:
    """What both commands are given."""
    for decorate in (
        author_option,
        click.option(
            "--reason", default="", metavar="TEXT", help="Why; it is kept and printed with the mask."
        ),
        click.argument("end", metavar="TO"),
        click.argument("start", metavar="FROM"),
        click.argument("channel"),
        CASE,
    ):
        command = decorate(command)
    return command


@click.command()
@_stretch
def hide(case: Path, channel: str, start: str, end: str, reason: str, author: str) -> None:
    """Hide a stretch of one channel: its seconds count in no figure, and are counted as masked.

    CHANNEL as `afterclamp channels` lists it; FROM and TO are seconds of the reference clock, 40:10 or 1:00:37
    from its start. It is an edit of the case's log: no sample changes, and the desk can undo it.
    """
    _lay(case, "hide", channel, (start, end), reason, author)


@click.command()
@_stretch
def unhide(case: Path, channel: str, start: str, end: str, reason: str, author: str) -> None:
    """Believe a stretch of one channel although a rule calls it artefact, or somebody hid it.

    Its seconds count again where values were recorded on scale. CHANNEL, FROM and TO as for `afterclamp hide`.
    """
    _lay(case, "unhide", channel, (start, end), reason, author)


@click.command()
@CASE
@json_option
def masks(case: Path, as_json: bool) -> None:
    """List what is left out of the figures, channel by channel: from, to, whole seconds, why and by whom."""
    with opened_case(case) as opened:
        rows = mask_rows(opened)
        print_rows(rows, as_json, lambda: _text(opened, rows))


def _lay(folder: Path, verb: Verb, name: str, times: tuple[str, str], reason: str, author: str) -> None:
    from afterclamp.io import masks as masking
    from afterclamp.io.log import check_author

    from .clock_typing import read_length

    with opened_case(folder) as case:
        try:
            check_author(author)
            start, end = (read_length(one) for one in times)
            before = _masked(case[name])
            masking.mask(case, author, verb, name, start, end, reason)
        except (EditRefused, NoSuchChannel) as refused:
            raise click.UsageError(refused.sentence.rstrip(".")) from refused
        channel = case[name]
        word = "hidden" if verb == "hide" else "unhidden"
        put(
            f"{channel.plain_name} ({channel.id}): {word} from {case.clock_text(start)} to {case.clock_text(end)}; "
            f"{_masked(channel)} s of it are masked now, {before} s before"
        )


def _masked(channel: Channel) -> int:
    from afterclamp.annotate.quality import seconds_state
    from afterclamp.annotate.series import MASKED

    return int((seconds_state(channel, channel.grid) == MASKED).sum())


def mask_rows(case: Case) -> list[Row]:
    """One row a stretch that is masked or missing, and one for each that a person believes; by channel and time."""
    from afterclamp.annotate.mask_reasons import told_spans
    from afterclamp.annotate.masking import in_force

    rows = []
    for channel in case.channels:
        spans = in_force(told_spans(channel), channel.masks, channel.believed)
        rows += [_row(channel, one) for one in spans]
        rows += [
            {
                "channel": channel.id,
                "plain_name": channel.plain_name,
                "state": "believed",
                "code": None,
                "start_s": mask.start,
                "end_s": mask.end,
                "masked_s": 0,
                "why": f"unhidden{f': {mask.reason}' if mask.reason else ''}",
                "by": mask.author,
                "edit": mask.edit,
            }
            for mask in channel.masks
            if not mask.hidden
        ]
    return rows


def _row(channel: Channel, one: MaskedSpan) -> Row:
    first, last = one.seconds
    there = one.there == "values"
    return {
        "channel": channel.id,
        "plain_name": channel.plain_name,
        "state": one.state(raw=False).removesuffix(": ") or "missing",
        "code": one.code,
        "start_s": one.start,
        "end_s": one.end,
        "masked_s": last - first if there else 0,
        "why": one.words or "hidden",
        "by": one.by or "rule",
        "edit": one.edit or None,
    }


def _text(case: Case, rows: list[Row]) -> str:
    from .tables import table

    if not rows:
        return "Nothing is masked."
    cells = [
        (
            row["plain_name"],
            case.clock_text(row["start_s"]),
            case.clock_text(row["end_s"]),
            f"{row['masked_s']} s",
            row["state"],
            " ".join(filter(None, [row["code"] if row["by"] == "rule" else "", row["why"]])),
            row["by"],
        )
        for row in rows
    ]
    each = [f"{channel.plain_name} {_masked(channel)} s" for channel in case.channels if _masked(channel)]
    text = table(("channel", "from", "to", "masked", "state", "why", "by"), cells, "<<<><<<")
    return f"{text}\nMasked in figures of levels, each second once: {', '.join(each) or 'none'}."
