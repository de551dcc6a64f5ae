"""Finds and marks on the paper: what, when with ±, on what evidence, with a picture each."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from afterclamp.annotate.five_questions import QUESTIONS, of_case
from afterclamp.io.case import Span

from ..evidence_words import Fact, facts_of, lag_words, link_words, other_explanations, rests_on, subtitle
from ..find_words import code_words, origin_words
from ..wording import half_width, length, number, spread
from .content import Moment, Picture, Row, Section, Table
from .names import Names

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find, Finds
    from afterclamp.annotate.five_questions import Answer
    from afterclamp.annotate.marks import Mark, Verdict
    from afterclamp.annotate.rules import Link
    from afterclamp.io.case import Case, Channel, TimedNote

CONTEXT_S = 300.0  # 5 min on both sides of an event
CLOSE_CONTEXT_S = 20.0  # of something shorter than a minute: a flush is lost in ten minutes
SHORT_S = 60.0
LISTED_TIMES = 20  # the same words more often are a sign, not something said (this project's choice)
CHANNELS_SHOWN = 3  # names in a list; a gap may be on a dozen


def when(case: Case, t: float) -> str:
    """Clock and minutes from the start."""
    return f"{case.clock_text(t)} ({length(t)})" if case.start_clock is not None else length(t)


def find_key(find: Find) -> str:
    """Where the paper's links to a find point."""
    return f"find-{_key(find.key)}"


def phase_key(name: str, index: int) -> str:
    """Where the paper's links to a phase point."""
    return f"phase-{name}-{index}" if name != "bypass_net_of_no_flow" else "phase-bypass-0"


def _key(key: str) -> str:
    return "".join(c if c.isalnum() else "-" for c in key)


def note_doubt(case: Case, note: TimedNote) -> str:
    """The ± of a line of text."""
    unset = any(source.name == note.source and source.clock.method == "unset" for source in case.sources)
    return spread(math.inf if unset else half_width(note.sd_s))


def picture_span(case: Case, start: float, end: float) -> Span:
    """The window of a moment's picture, kept within the record."""
    around = CLOSE_CONTEXT_S if end - start < SHORT_S else CONTEXT_S
    return Span(max(case.span.start, start - around), min(case.span.end, end + around))


# -- finds -------------------------------------------------------------------------------------------


def find_sections(
    case: Case, found: Finds, verdicts: Mapping[str, Sequence[Verdict]], name: Names
) -> tuple[Section, ...]:
    """A list of all finds, artefacts with a small picture each, events with a block each."""
    states = {find.key: _state(verdicts.get(find.key, ())) for find in found}
    sections = [_list(case, found, states, name)]
    artefacts = [find for find in found if find.code.startswith("A")]
    if artefacts:
        sections.append(_artefacts(case, artefacts, states, name))
    events = [find for find in found if not find.code.startswith("A")]
    if events:
        answers = of_case(case, events)
        moments = tuple(
            _event(case, find, states[find.key], found.site, name, answers[find.key]) for find in events
        )
        sections.append(Section("Events", lead=(EVENTS_LEAD,), moments=moments))
    return tuple(sections)


EVENTS_LEAD = (
    "Each with five minutes around it, or 20 seconds where it is shorter than a minute; the find itself is tinted. "
    "The rules in words stand in the appendix."
)


def _title(find: Find) -> str:
    return ", ".join(part for part in (f"{code_words(find)} {find.name}", subtitle(find)) if part)


def _list(case: Case, found: Finds, states: Mapping[str, str], name: Names) -> Section:
    rows = tuple(
        Row(
            (
                _title(find),
                when(case, find.start_s),
                spread(find.unc_s),
                length(find.duration_s),
                _few(find.channels, name),
                number(find.confidence, 2),
                states[find.key],
            ),
            link=find_key(find),
        )
        for find in found
    )
    listed = Table(
        caption="Finds in order of time: reference clock and min:s from the start",
        headings=("find", "start", "±", "min:s", "channels", "plain", "state"),
        rows=rows,
        right="<<>><><",
        widths=(46, 31, 26, 13, 33, 10, 21),
        empty="The rules that could be used found nothing.",
    )
    held_back = Table(
        caption="Seen and not put forward, each with its reason",
        headings=("find", "start", "±", "min:s", "channels"),
        rows=tuple(
            Row(
                (
                    _title(find),
                    when(case, find.start_s),
                    spread(find.unc_s),
                    length(find.duration_s),
                    _few(find.channels, name),
                ),
                note=_sentence(find.held_back),
            )
            for find in found.held_back
        ),
        right="<<>><",
        widths=(46, 31, 26, 13, 64),
        empty="No rule held anything back.",
    )
    lead = (
        "Each is proposed by a rule and must be confirmed by a qualified person. How plain it is, from 0 to 1, "
        "is no probability. What stands before something else did not necessarily cause it.",
    )
    closing = tuple(f"{line}." for line in found.not_looked_for)
    return Section("Finds", lead=lead, tables=(listed, held_back), closing=closing)


def _few(names: Sequence[str], name: Names) -> str:
    shown = [name(one) for one in names[:CHANNELS_SHOWN]]
    more = len(names) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}".rstrip(".") + "."


def _state(verdicts: Sequence[Verdict]) -> str:
    """What people decided on it; several may have."""
    return ", ".join(f"{one.words} by {one.author}" for one in verdicts) or "proposed"


def _artefacts(case: Case, found: Sequence[Find], states: Mapping[str, str], name: Names) -> Section:
    rows = []
    doubts: dict[str, None] = {}
    for find in found:
        doubts |= dict.fromkeys(
            f"{find.code} {find.name} could also be {other}." for other in other_explanations(find.evidence)
        )
        facts = [_fact_words(case, fact) for fact in facts_of(find, name)]
        seen = [f"{label}: {text}" if label != "What was seen" else text for label, text in facts]
        start = f"{when(case, find.start_s)} {spread(find.unc_s)}"
        rows.append(
            Row(
                (
                    f"{_title(find)}: {_few(find.channels, name)}",
                    f"{start}, {length(find.duration_s)} min:s, {states[find.key]}",
                    ". ".join(seen),
                ),
                key=find_key(find),
                picture=_small(case, find, name),
            )
        )
    table = Table(
        caption="Artefacts: what is masked, and what is missing between the first and last value of a channel",
        headings=("artefact", "start, length, state", "what was seen"),
        rows=tuple(rows),
        widths=(28, 28, 60),
        pictured="recorded, artefact tinted",
    )
    return Section("Artefacts", tables=(table,), closing=tuple(doubts))


def _small(case: Case, find: Find, name: Names) -> Picture | None:
    span = picture_span(case, find.start_s, find.end_s)
    line = name.line(find.channels[0]) if find.channels else []
    # Of a line that goes on in another file the parts that are seen here.
    channels = [one for one in line if one.begun and one.span.overlap(span) > 0] or line[:1]
    if not channels:
        return None
    return Picture(
        span=span,
        marked=Span(find.start_s, find.end_s),
        channels=tuple(channel.id for channel in channels),
        alt=f"{name(find.channels[0])} from {when(case, span.start)} to {when(case, span.end)}; {find.name} is "
        f"tinted from {length(find.start_s)} to {length(find.end_s)}.",
        caption="",
        look="small",
    )


def _fact_words(case: Case, fact: Fact) -> tuple[str, str]:
    times = ", ".join(when(case, t) for t in fact.times)
    return fact.label, " ".join(part for part in (fact.text, times) if part)


def _event(case: Case, find: Find, state: str, site: str, name: Names, answers: Sequence[Answer]) -> Moment:
    channels = ", ".join(name(one) for one in find.channels)
    span = picture_span(case, find.start_s, find.end_s)
    times = f"{when(case, find.start_s)} to {when(case, find.end_s)}, {spread(find.unc_s)} each, "
    times += f"{length(find.duration_s)} min:s"
    facts = [_fact_words(case, fact) for fact in facts_of(find, name)]
    facts += [("Could also be", text) for text in other_explanations(find.evidence)]
    facts += [
        (_sentence(link.relation)[:-1], _seen_words(case, link)) for link in find.linked if not link.key
    ]
    facts += [
        (question.removesuffix("?"), f"{answer.said}; {answer.words}")
        for question, answer in zip(QUESTIONS, answers, strict=True)
    ]
    title = _title(find)
    # The believed pressure says what a stop of the flow or a warm outlet did to the patient.
    shown = name.channels([*find.channels, *([site] if site else []), "pump_flow"])
    return Moment(
        key=find_key(find),
        heading=title,
        when=times,
        state=f"{state}; plain {number(find.confidence, 2)} of 1; on {channels}"
        + (f"; judged at {name(find.site)}" if find.site else ""),
        facts=tuple(facts),
        links=tuple((_link(case, link), f"find-{_key(link.key)}") for link in find.linked if link.key),
        picture=Picture(
            span=span,
            marked=Span(find.start_s, find.end_s),
            channels=tuple(channel.id for channel in shown),
            alt=f"Strips with {channels} from {when(case, span.start)} to {when(case, span.end)}; "
            f"{find.name} is tinted from {length(find.start_s)} to {length(find.end_s)}.",
            caption=f"{title}: {when(case, span.start)} to {when(case, span.end)}",
            rows=_rows(shown),
        ),
    )


def _rows(channels: Sequence[Channel]) -> int:
    """How many strips a picture of these channels has: one a kind."""
    return len({channel.kind for channel in channels})


def _link(case: Case, link: Link) -> str:
    at = f" at {when(case, link.at_s)}" if link.at_s is not None else ""
    lag = lag_words(link)
    return f"{link_words(link)}{at}{f', {lag}' if lag else ''}"


def _seen_words(case: Case, link: Link) -> str:
    """What was seen on a channel, without the relation, which stands before it."""
    return _link(case, link).removeprefix(link.relation).strip()


def rule_table(found: Finds) -> Table:
    """The rules that found or held back something, in words."""
    from afterclamp.annotate.rules import by_code

    said: dict[str, str] = {}
    for find in (*found, *found.held_back):
        said.setdefault(find.code, str(find.evidence.get("rule", "")) or by_code(find.code).sentence())
    return Table(
        caption="The rules that found something, in words; the command afterclamp rules lists all, with every number",
        headings=("rule", "in words", "rests on"),
        rows=tuple(
            Row((f"{code} {by_code(code).name}", words, rests_on(by_code(code))), key=f"rule-{code}")
            for code, words in sorted(said.items())
        ),
        widths=(30, 96, 52),
        empty="No rule found anything.",
    )


# -- marks -------------------------------------------------------------------------------------------


def mark_section(case: Case, found: Sequence[Mark], name: Names) -> Section:
    """What people marked and noted, each with a picture of the arterial pressures and the flow."""
    moments = tuple(_mark(case, mark, name) for mark in found)
    lead = () if moments else ("Nobody has marked anything in this case.",)
    return Section("Marks", lead=lead, moments=moments)


def _mark(case: Case, mark: Mark, name: Names) -> Moment:
    from afterclamp.annotate.marks import on_whole_case

    words = mark.text or mark.code or mark.kind
    said = f"{'noted' if mark.kind == 'note' else 'marked'} by {mark.author}"
    said += f" as {mark.code}" if mark.text and mark.code else ""
    said += f", {origin_words(mark)}" if mark.origin else ""
    if mark.confidence is not None:
        said += f", {mark.confidence} % sure"
    if on_whole_case(case, mark):
        return Moment(f"mark-{_key(mark.id)}", words, "on the whole case", said)
    span = picture_span(case, mark.start_s, mark.end_s)
    if mark.end_s <= mark.start_s:  # a moment does not say how long what it means was
        span = Span(
            max(case.span.start, mark.start_s - CONTEXT_S), min(case.span.end, mark.start_s + CONTEXT_S)
        )
    doubt = (
        f"{spread(mark.unc_s)} by its trace's clock" if mark.anchored else "as placed on the reference clock"
    )
    times = f"{when(case, mark.start_s)}, {doubt}"
    if mark.end_s > mark.start_s:
        long = length(mark.end_s - mark.start_s)
        times = f"{when(case, mark.start_s)} to {when(case, mark.end_s)}, {doubt}, {long} min:s"
    arterial = [channel.id for channel in case.channels if channel.kind == "arterial_pressure"]
    shown = name.channels([*mark.channels, *arterial, "pump_flow"])
    return Moment(
        key=f"mark-{_key(mark.id)}",
        heading=words,
        when=times,
        state=said,
        picture=Picture(
            span=span,
            marked=Span(mark.start_s, mark.end_s),
            channels=tuple(channel.id for channel in shown),
            alt=f"Strips from {when(case, span.start)} to {when(case, span.end)} around the mark {words}.",
            caption=f"{words}: {when(case, span.start)} to {when(case, span.end)}",
            rows=_rows(shown),
        ),
    )


def said_section(case: Case) -> Section:
    """Log lines, captions and annotations of files, as they were written, on the reference clock.

    What a source writes over and over, such as a sign at every beat, is counted and not listed.
    """
    often = Counter((note.source, note.text) for note in case.notes)
    rows = tuple(
        Row((when(case, note.t), note_doubt(case, note), note.source, note.text))
        for note in case.notes
        if often[note.source, note.text] <= LISTED_TIMES
    )
    counted = tuple(
        f"Not listed: “{text}” of {source}, {times} times."
        for (source, text), times in often.items()
        if times > LISTED_TIMES
    )
    return Section(
        "Said and written",
        closing=counted,
        tables=(
            Table(
                caption="Lines as they were written, at their time on the reference clock",
                headings=("time", "±", "source", "words"),
                rows=rows,
                right="<><<",
                widths=(32, 22, 22, 102),
                empty="No source has any words.",
            ),
        ),
    )
