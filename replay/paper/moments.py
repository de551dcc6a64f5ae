"""Finds and marks on the paper: what, when with ±, on what evidence, with a picture each."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from afterclamp.io.case import Span

from ..wording import NONE, half_width, length, number, plus_minus, unit_name
from .content import Moment, Picture, Row, Section, Table

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find, Finds
    from afterclamp.annotate.marks import Mark, Verdict
    from afterclamp.io.case import Case, Channel

CONTEXT_S = 300.0  # 5 min on both sides of an event
CLOSE_CONTEXT_S = 20.0  # of something shorter than a minute: a flush is lost in ten minutes
SHORT_S = 60.0
GRID_SD_S = 1 / math.sqrt(12)  # what a time on a grid of whole seconds leaves open


def when(case: Case, t: float) -> str:
    """Clock and minutes from the start."""
    return f"{case.clock_text(t)} ({length(t)})" if case.start_clock is not None else length(t)


def find_key(find: Find) -> str:
    """Where the paper's links to a find point."""
    return "find-" + "".join(c if c.isalnum() else "-" for c in find.key)


def channels_of(case: Case, names: Sequence[str]) -> list[Channel]:
    """Channels by canonical name or id; two lines may share a name where no site is known."""
    return [channel for name in names for channel in case.channels if name in (channel.name, channel.id)]


def time_sd(case: Case, names: Sequence[str], t: float) -> float:
    """Standard deviation of a find's time: the clock of the least certain channel, and the grid's second."""
    clocks = [channel.sd(t) for channel in channels_of(case, names)]
    return math.hypot(max(clocks, default=0.0), GRID_SD_S)


def channel_ids(case: Case, names: Sequence[str]) -> tuple[str, ...]:
    """Ids of channels by name, and of pump flow, which says what was going on."""
    return tuple(dict.fromkeys(channel.id for channel in channels_of(case, [*names, "pump_flow"])))


def picture_span(case: Case, start: float, end: float) -> Span:
    """The window of a moment's picture, kept within the record."""
    around = CLOSE_CONTEXT_S if end - start < SHORT_S else CONTEXT_S
    return Span(max(case.span.start, start - around), min(case.span.end, end + around))


# -- finds -------------------------------------------------------------------------------------------


def find_section(case: Case, found: Finds, verdicts: Mapping[str, Sequence[Verdict]]) -> Section:
    """All finds: a list, then one block with a picture each."""
    rows, moments = [], []
    for find in found:
        state = _state(verdicts.get(find.key, ()))
        half = half_width(time_sd(case, find.channels, find.start_s))
        rows.append(
            Row(
                (
                    f"{find.code} {find.name}",
                    when(case, find.start_s),
                    plus_minus(half),
                    length(find.duration_s),
                    ", ".join(name.replace("_", " ") for name in find.channels),
                    number(find.confidence, 2),
                    state,
                ),
                link=find_key(find),
            )
        )
        moments.append(_find_moment(case, find, state, half))
    closing = [f"Not looked for: {line}." for line in found.not_looked_for]
    return Section(
        "Finds",
        lead=(
            "Each is proposed by a rule and must be confirmed by a qualified person. How plain it is, from 0 to 1, "
            "is no probability. What stands before something else did not necessarily cause it.",
        ),
        tables=(
            Table(
                caption="Finds in order of time: reference clock and min:s from the start",
                headings=("find", "start", "±", "min:s", "channels", "plain", "state"),
                rows=tuple(rows),
                right="<<>><><",
                widths=(50, 32, 14, 14, 36, 11, 23),
                empty="the rules that could be used found nothing",
            ),
        ),
        moments=tuple(moments),
        closing=tuple(closing),
    )


def _state(verdicts: Sequence[Verdict]) -> str:
    """What people decided on it; several may have."""
    return ", ".join(f"{one.decision} by {one.author}" for one in verdicts) or "proposed"


def _find_moment(case: Case, find: Find, state: str, half: float) -> Moment:
    channels = ", ".join(name.replace("_", " ") for name in find.channels)
    heading = f"{find.code} {find.name}" + (f" ({find.subtype})" if find.subtype else "")
    span = picture_span(case, find.start_s, find.end_s)
    times = f"{when(case, find.start_s)} to {when(case, find.end_s)}, {plus_minus(half)} each, "
    times += f"{length(find.duration_s)} min:s"
    return Moment(
        key=find_key(find),
        heading=heading,
        when=times,
        state=f"{state}; plain {number(find.confidence, 2)} of 1; on {channels}"
        + (f"; judged at {find.site.replace('_', ' ')}" if find.site else ""),
        facts=tuple(evidence_facts(find)),
        links=tuple((_link_words(link), f"find-{_key(link.key)}") for link in find.linked if link.key),
        picture=Picture(
            span=span,
            marked=Span(find.start_s, find.end_s),
            channels=channel_ids(case, find.channels),
            alt=f"Strips with {channels} from {when(case, span.start)} to {when(case, span.end)}; "
            f"{find.name} is tinted from {length(find.start_s)} to {length(find.end_s)}.",
            caption=f"{heading}, {length(span.duration)} min:s around it.",
        ),
    )


def _key(key: str) -> str:
    return "".join(c if c.isalnum() else "-" for c in key)


def _link_words(link: Any) -> str:
    lag = f", {number(link.lag_s, 0)} s" if link.lag_s is not None else ""
    return f"{link.relation}{'' if link.ordered else ' (cannot order)'} {link.what}{lag}"


_SPOKEN_FOR = {
    "rule",
    "crossings",
    "before",
    "during",
    "after",
    "unit",
    "used_s",
    "masked_s",
    "unknown_s",
    "alternatives",
}


def evidence_facts(find: Find) -> list[tuple[str, str]]:
    """The evidence of a find as names and words."""
    from afterclamp.annotate.rules import by_code
    from afterclamp.annotate.rules.rule import STATUS

    evidence = find.evidence
    facts: list[tuple[str, str]] = []
    rule = by_code(find.code)
    source = f", {rule.source}" if rule.source else ""
    facts.append(
        ("Rule", f"{evidence.get('rule', rule.sentence())} ({STATUS.get(rule.status, rule.status)}{source})")
    )
    levels = [
        f"{name} {_value(evidence[name])}"
        for name in ("before", "during", "after")
        if evidence.get(name) is not None
    ]
    if levels:
        facts.append(("Levels", f"{', '.join(levels)} {unit_name(str(evidence.get('unit', '')))}".rstrip()))
    seconds = [
        f"{evidence[name]} s {words}"
        for name, words in (("used_s", "used"), ("masked_s", "masked"), ("unknown_s", "not recorded"))
        if evidence.get(name)
    ]
    if seconds:
        facts.append(("Seen", ", ".join(seconds)))
    for name, value in evidence.items():
        if name not in _SPOKEN_FOR and value not in (None, "", [], {}):
            facts.append((name.replace("_", " ").capitalize(), _value(value)))
    facts += [
        ("Could also be", f"{one['what']}: {one['why_not']}") for one in evidence.get("alternatives", ())
    ]
    for link in find.linked:
        if not link.key:
            facts.append((link.relation.capitalize(), _link_words(link)))
    return facts


def _value(value: Any) -> str:
    """Any plain value as words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return number(
            value, 0 if abs(value) >= 100 else 1 if abs(value) >= 10 or value == round(value, 1) else 2
        )
    if isinstance(value, Mapping):
        given = ((name, part) for name, part in value.items() if part is not None)
        return ", ".join(f"{str(name).replace('_', ' ')} {_value(part)}" for name, part in given)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ", ".join(_value(part) for part in value)
    return NONE if value is None else str(value)


# -- marks -------------------------------------------------------------------------------------------


def mark_section(case: Case, found: Sequence[Mark]) -> Section:
    """What people marked, each with a picture."""
    moments = []
    for mark in found:
        words = " ".join(part for part in (mark.code, mark.text) if part) or mark.kind
        span = picture_span(case, mark.start_s, mark.end_s)
        doubt = _mark_doubt(case, mark)
        moment_when = f"{when(case, mark.start_s)}, {doubt}"
        if mark.end_s > mark.start_s:
            long = length(mark.end_s - mark.start_s)
            moment_when = f"{when(case, mark.start_s)} to {when(case, mark.end_s)}, {doubt}, {long} min:s"
        moments.append(
            Moment(
                key=f"mark-{_key(mark.id)}",
                heading=words,
                when=moment_when,
                state=f"marked by {mark.author}"
                + (f", {mark.confidence} % sure" if mark.confidence is not None else ""),
                picture=Picture(
                    span=span,
                    marked=Span(mark.start_s, mark.end_s),
                    channels=channel_ids(case, mark.channels),
                    alt=f"Strips from {when(case, span.start)} to {when(case, span.end)} around the mark {words}.",
                    caption=f"{words}, {length(span.duration)} min:s around it.",
                ),
            )
        )
    lead = () if moments else ("Nobody has marked anything in this case.",)
    return Section("Marks", lead=lead, moments=tuple(moments))


def _mark_doubt(case: Case, mark: Mark) -> str:
    """The ± of a mark: that of its trace's clock; where it was put by hand on the reference clock, that is said."""
    if not mark.anchored:
        return "as placed on the reference clock"
    sd = max(
        (channel.sd(mark.start_s) for channel in map(case.get, mark.channels) if channel is not None),
        default=0.0,
    )
    return f"{plus_minus(half_width(sd))} by its trace's clock"


def said_section(case: Case) -> Section:
    """Log lines, captions and annotations of files, as they were written, on the reference clock."""
    unset = {source.name for source in case.sources if source.clock.method == "unset"}
    rows = tuple(
        Row(
            (
                when(case, note.t),
                "clock not set" if note.source in unset else plus_minus(half_width(note.sd_s)),
                note.source,
                note.text,
            )
        )
        for note in case.notes
    )
    return Section(
        "Said and written",
        tables=(
            Table(
                caption="Lines as they were written, at their time on the reference clock",
                headings=("time", "±", "source", "words"),
                rows=rows,
                right="<><<",
                widths=(32, 18, 22, 106),
                empty="no source has any",
            ),
        ),
    )
