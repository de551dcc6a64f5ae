"""What a channel is taken for, and what has to be asked about it before it is brought in.

Proposed are the identity that the label names and the unit as written. Asked is where the unit is missing, cannot
be read, or makes the values implausible, and where a source that looked the same was something else last time.
Asked of a table is also whether steps of its clock by an hour or half a day are time that passed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from . import terms
from .answers import AS_IT_STANDS, UNKNOWN, Answers
from .channel import WAVE_HZ
from .decisions import channel_payload
from .doubt import Doubt, doubt
from .errors import Choice, FileUnreadable, Question
from .mappings import Learned
from .readers import Reader
from .readers.column_map import ColumnMap, TimeTable
from .readers.delimited import IN_DOUBT, READ_OTHERWISE
from .readers.delimited import READER as TABLES
from .recording import Block, RecordedChannel, Recording

_WHY: Final = {"answer": "answered", "proposal": "proposal accepted"}


@dataclass(frozen=True)
class Verdict:
    """What is made of a channel.

    Attributes
    ----------
    stored : (Identity, str)
        What its trace file says: identity by its label, UCUM unit as written or "".
    decision : mapping or None
        Payload of an ``identity`` edit, where something else was answered or accepted.
    questions : tuple of Question
    """

    stored: tuple[terms.Identity, str]
    decision: Mapping[str, Any] | None
    questions: tuple[Question, ...]


def judge(
    recording: Recording,
    channel: RecordedChannel,
    answers: Answers,
    earlier: Learned,
    accept: bool,
    ask: Callable[[], None],
) -> Verdict:
    """What a channel is taken for.

    Parameters
    ----------
    recording : Recording
    channel : RecordedChannel
    answers : Answers
    earlier : Learned
        What was decided for a source that looked the same.
    accept : bool
        Whether proposals are taken instead of asked.
    ask : callable
        Called now and then while values are looked at; it may raise to stop.
    """
    name = f"{recording.name}/{channel.key}"
    label = f"{recording.files[0][0]}, channel {channel.label or channel.key}"
    base = _by_label(recording, channel)
    written = terms.parse_unit(channel.unit_as_written) or ""
    identity, unit, why = base, written, ""
    questions: list[Question] = []
    answer = answers.identity.get(name)
    last = earlier.identities.get(channel.key, base)
    if answer is not None:
        identity, why = answer.identity(), "answer"
    elif last != base and accept:
        identity, why = last, "proposal"
    elif last != base:
        told = _plain(base)
        questions.append(
            Question(
                id=f"identity:{name}",
                text=f"{label}: its label says {told}; in the last source that looked the same it was {_plain(last)}",
                proposal=f"as last time, {_plain(last)}",
                choices=(
                    Choice(f"as last time: {_plain(last)}", _identity_answer(name, last), True),
                    Choice(f"as its label says: {told}", _identity_answer(name, base)),
                ),
            )
        )
    told_unit = answers.units.get(name)
    if told_unit is not None:
        unit, why = ("" if told_unit == UNKNOWN else told_unit), "answer"
        if unit and not terms.usable(identity, unit):
            questions.append(_unit_question(name, f"{label}: {unit} was answered", identity, ""))
    elif terms.units_of(identity.kind) and (terms.usable(identity, "") is False):
        listened = replace(channel, blocks=partial(_asking, channel.blocks, ask))
        question, proposed = _unit_doubt(name, label, listened, identity, written, earlier)
        if question is not None and accept:
            unit, why = proposed, "proposal"
        elif question is not None:
            questions.append(question)
    decision = None
    if (identity, unit) != (base, written):
        decision = channel_payload(name, identity, unit, channel.unit_as_written, _WHY[why])
    return Verdict((base, written), decision, tuple(questions))


def _asking(blocks: Callable[[], Iterator[Block]], ask: Callable[[], None]) -> Iterator[Block]:
    for block in blocks():
        yield block
        ask()


def _by_label(recording: Recording, channel: RecordedChannel) -> terms.Identity:
    """By the column map where it says so, else by the label."""
    mapped = recording.about.get(f"identity:{channel.key}")
    identity = (
        terms.Identity(*mapped.split("|"))
        if mapped
        else terms.identify(channel.label, channel.unit_as_written)
    )
    pressure = identity.kind.endswith("_pressure") and identity.kind not in {"cuff_pressure", "line_pressure"}
    rate = max((segment.rate_hz for segment in channel.segments), default=0.0)
    if pressure and identity.statistic == "value" and rate >= WAVE_HZ:
        identity = replace(identity, statistic="wave")
    return identity


def _unit_doubt(
    name: str,
    label: str,
    channel: RecordedChannel,
    identity: terms.Identity,
    written: str,
    earlier: Learned,
) -> tuple[Question | None, str]:
    """A question about a unit that is missing, unreadable, implausible or was another last time; and the proposal."""
    fits = terms.usable(identity, written)
    doubted = doubt(channel, identity.kind, written if fits else "")
    last = earlier.units.get(channel.key, written)
    if last != written and (not last or terms.usable(identity, last)):
        text = f"{label}: in the last source that looked the same it was {last or 'not known'}"
        if doubted is not None:
            text = (
                f"{label}: {doubted.sentence}; in the last source that looked the same {last or 'not known'}"
            )
        return _unit_question(name, text, identity, last, channel.unit_as_written, doubted), last
    if fits and doubted is None:
        return None, ""
    if fits and doubted is not None:
        text = f"{label}, {identity.plain_name}: {doubted.sentence}"
        asked = _unit_question(name, text, identity, doubted.proposal, channel.unit_as_written, doubted)
        return asked, doubted.proposal
    # A unit that is written and cannot be read is never guessed; a missing one may be plain from the values.
    missing = not channel.unit_as_written.strip()
    told = "nothing" if missing else repr(channel.unit_as_written)
    text = f"{label}: the unit is written as {told}"
    if doubted is not None and doubted.fitting:
        text += f" ({doubted.sentence})"
    proposal = doubted.proposal if doubted is not None and missing else ""
    return _unit_question(name, text, identity, proposal, channel.unit_as_written, doubted), proposal


def _unit_question(
    name: str,
    text: str,
    identity: terms.Identity,
    proposal: str,
    written: str = "",
    doubted: Doubt | None = None,
) -> Question:
    kept = f"; {written!r} as written is kept beside it" if written.strip() else ""
    return Question(
        id=f"unit:{name}",
        text=f"{text}; expected one of {', '.join(terms.units_of(identity.kind))} for {identity.plain_name}",
        proposal=f"take it as {proposal}{kept}"
        if proposal
        else "leave the unit unknown: the channel is drawn, but no rule or figure uses it",
        choices=(
            *(
                Choice(
                    f"{unit}: mean {doubted.after(unit)}" if doubted is not None else unit,
                    {"units": {name: unit}},
                    unit == proposal,
                )
                for unit in terms.units_of(identity.kind)
            ),
            Choice(
                "not known: it is drawn, but no rule or figure uses it",
                {"units": {name: UNKNOWN}},
                not proposal,
            ),
        ),
    )


def _identity_answer(name: str, identity: terms.Identity) -> dict[str, Any]:
    told = {
        "kind": identity.kind,
        "site": identity.site,
        "side": identity.side,
        "statistic": identity.statistic,
    }
    return {"identity": {name: told}}


def _plain(identity: terms.Identity) -> str:
    return identity.plain_name if identity.kind != "other" else "nothing that is known"


# -- steps of a clock ---------------------------------------------------------------------------------

_STEPS: Final = {
    "summer time ends": ("summer_time", "ends", "the hour is no time that passed: summer time ends there"),
    "summer time begins": ("summer_time", "begins", "no hour is missing: summer time begins there"),
    "am": ("half_day", "am", "a dial of 12 hours, the first row is before noon"),
    "pm": ("half_day", "pm", "a dial of 12 hours, the first row is after noon"),
}
"""What a column map says for an answer about steps, and what it means."""


def with_step(path: Path, reader: Reader, told: Path | ColumnMap | None, answer: str) -> ColumnMap:
    """The column map of a table with what was answered about steps of its clock.

    Raises
    ------
    FileUnreadable
        The file is no table of text, or the answer contradicts the column map.
    """
    if reader.name != TABLES.name:
        raise FileUnreadable(
            f"{answer!r} was answered about the steps of its clock; only a table of text can be read so",
            path=path,
            todo="Take the answer out of [steps]",
        )
    columns = told if isinstance(told, ColumnMap) and told.serves(path) else ColumnMap()
    key, value, _ = _STEPS[answer]
    said = columns.time.model_dump(exclude_defaults=True) if columns.time is not None else {}
    try:
        time = TimeTable.model_validate({**said, key: value})
    except ValidationError as cause:
        raise FileUnreadable(
            f"{answer!r} was answered about the steps of its clock; its column map says that it has none",
            path=path,
            todo="Take the answer out of [steps]",
        ) from cause
    return columns.model_copy(update={"time": time})


def steps_question(name: str, recording: Recording) -> Question:
    """Whether steps of a table's clock are time that passed; for a recording that says some are in doubt."""
    ways = [way for way in recording.about[READ_OTHERWISE].split("; ") if way]
    return Question(
        id=f"steps:{name}",
        text=f"{name}: {recording.about[IN_DOUBT]}; expected one of "
        + ", ".join(f'"{way}"' for way in (AS_IT_STANDS, *ways))
        + " for it under [steps]",
        proposal="take the times as they stand: the clock was set, or time passed without a row",
        choices=(
            Choice(
                "as it stands: the clock was set, or time passed without a row",
                {"steps": {name: AS_IT_STANDS}},
                True,
            ),
            *(Choice(_STEPS[way][2], {"steps": {name: way}}) for way in ways),
        ),
    )


def as_it_stands(name: str, recording: Recording) -> Recording:
    """A recording whose steps are left as they are, which is then said among what was set aside."""
    if IN_DOUBT not in recording.about:
        return recording
    about = {key: text for key, text in recording.about.items() if key not in (IN_DOUBT, READ_OTHERWISE)}
    line = f"{name}: {recording.about[IN_DOUBT]}; taken as it stands"
    return replace(recording, about=about, set_aside=(*recording.set_aside, line))
