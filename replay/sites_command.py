"""``afterclamp sites`` and ``afterclamp trust``: which arterial line is believed when, and choosing another."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from afterclamp.io.errors import EditRefused, NoSuchChannel

from .plain_group import put

if TYPE_CHECKING:
    from afterclamp.annotate.named import Signal
    from afterclamp.annotate.trust import TrustStrip
    from afterclamp.io.case import Case

PROPOSAL = "proposal"


@click.command()
@click.argument("case", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def sites(case: Path, as_json: bool) -> None:
    """List which arterial line is believed, from when to when, why, and who chose it."""
    from afterclamp.io import open_case

    with open_case(case) as opened:
        _print(opened, as_json)


@click.command()
@click.argument("case", type=click.Path(path_type=Path))
@click.argument("line")
@click.argument("start", metavar="[FROM", required=False)
@click.argument("end", metavar="TO]", required=False)
@click.option("--author", default="reviewer", show_default=True, help="Role or code that it is kept under.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def trust(case: Path, line: str, start: str | None, end: str | None, author: str, as_json: bool) -> None:
    """Believe LINE from one time to another, or for the whole case without times.

    LINE is an arterial site such as femoral or left_radial, or 'proposal' to go back to what the program proposes.
    FROM and TO are times of the reference clock (09:44:10), minutes and seconds from its start (286:00), or seconds.
    Figures and finds follow it second by second. It is an edit of the case's log: the desk can undo it.
    """
    from afterclamp.annotate.named import signal_called
    from afterclamp.io import open_case
    from afterclamp.io.log import check_author

    if (start is None) != (end is None):
        raise click.UsageError("give both FROM and TO, or neither for the whole case")
    with open_case(case) as opened:
        try:
            check_author(author)
        except EditRefused as refused:
            raise click.BadParameter(refused.sentence.rstrip("."), param_hint="--author") from refused
        payload: dict[str, Any] = {"proposal": True}
        if line != PROPOSAL:
            try:
                signal = signal_called(opened, line)
            except NoSuchChannel as unknown:
                raise _no_line(opened, line) from unknown
            if not _is_line(signal):
                raise _no_line(opened, line)
            payload = {"site": signal.token}
        if start is not None and end is not None:
            first, last = time_of(opened, start, "FROM"), time_of(opened, end, "TO")
            if not last - first >= 1:
                raise click.BadParameter("must come a second or more after FROM", param_hint="TO")
            payload |= {"start_s": float(round(first)), "end_s": float(round(last))}
        opened.edit(author, "believe", payload)
        _print(opened, as_json)


def time_of(case: Case, text: str, which: str) -> float:
    """Reference seconds of a typed time; what can be read in two ways is what lies within the case, first the clock."""
    from .clock_typing import read_clock, read_length

    ways = []
    if case.start_clock is not None and text.count(":") == 2:
        at = case.start_clock
        begun = 3600 * at.hour + 60 * at.minute + at.second
        with suppress(EditRefused):  # no time of day: it may be a length
            ways.append((read_clock(text, of_day=True) - begun) % 86400)
    try:
        ways.append(read_length(text))
    except EditRefused as refused:
        if not ways:
            raise click.BadParameter(refused.sentence.rstrip("."), param_hint=which) from refused
    for t in ways:
        if case.span.start <= t <= case.span.end:
            return t
    raise click.BadParameter(
        f"{text} lies outside the case, which runs from {case.clock_text(case.span.start)} to "
        f"{case.clock_text(case.span.end)}",
        param_hint=which,
    )


def _is_line(signal: Signal) -> bool:
    return signal.first.kind == "arterial_pressure" and signal.first.is_wave


def _no_line(case: Case, line: str) -> click.BadParameter:
    from afterclamp.annotate.named import signals

    there = ", ".join(one.token for one in signals(case).values() if _is_line(one)) or "none"
    return click.BadParameter(
        f"{line!r} names no single arterial line of this case; there are: {there}", param_hint="LINE"
    )


def _print(case: Case, as_json: bool) -> None:
    from afterclamp.annotate.trust import trust_strip

    from .tables import to_json

    strip = trust_strip(case)
    put(to_json(site_rows(case, strip)) if as_json else site_table(case, strip))


def site_rows(case: Case, strip: TrustStrip) -> list[dict[str, Any]]:
    """One row a span; a line that nobody chose has nobody's name."""
    tokens = {one.name: one.token for one in strip.lines}
    return [
        {
            "line": tokens.get(span.line) or None,
            "from_s": span.start_s,
            "to_s": span.end_s,
            "from": case.clock_text(span.start_s),
            "to": case.clock_text(span.end_s),
            "standing": span.standing,
            "why": span.why,
            "by": span.by or None,
        }
        for span in strip.spans
    ]


def site_table(case: Case, strip: TrustStrip) -> str:
    """The same as a table, and what it means for the figures."""
    from .tables import table
    from .wording import NONE, length

    if not strip.spans:
        return f"No arterial line is believed: {strip.nothing or 'nothing was recorded'}."
    cells = [
        (
            strip.words(span.line) if span.line else NONE,
            case.clock_text(span.start_s),
            case.clock_text(span.end_s),
            length(span.end_s - span.start_s),
            span.standing,
            span.by or NONE,
            span.why,
        )
        for span in strip.spans
    ]
    return (
        table(("line", "from", "to", "min:s", "standing", "by", "why"), cells, "<<<><<<")
        + "\nFigures go by the line that is believed and by what a person chose; one that stands in is judged for "
        "finds."
    )
