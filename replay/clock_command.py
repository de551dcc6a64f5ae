"""Clocks set by the command line: what is typed and what an answers file says, as edits; what the evidence proposes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from afterclamp.io.answers import load_answers
from afterclamp.io.case import Case
from afterclamp.io.errors import CaseError, EditRefused

from .clock_setting import USUAL_DOUBT_S, by_hand, edit_of, every_run, keep, settable
from .clock_typing import read_length, read_number
from .clock_words import clock_words
from .wording import half_width, plus_minus


def edit_from_text(case: Case, text: str, within_s: float) -> dict[str, Any]:
    """A ``clock`` edit from ``SOURCE=OFFSET`` or ``SOURCE=OFFSET,DRIFT``: ahead by, and parts per million.

    A comma before the drift needs an offset with a point.

    Raises
    ------
    EditRefused
        When it cannot be understood or no such clock can be set.
    """
    name, equals, value = text.rpartition("=")
    if not equals or not name.strip():
        raise EditRefused(
            f"{text!r} names no source", todo="Write SOURCE=OFFSET, as in pump=94.0 or pump=1:34,60"
        )
    source = settable(case, name.strip())
    offset, comma, drift = value.partition(",")
    clock = by_hand(
        every_run(case, source),
        read_length(offset),
        within_s,
        drift_ppm=read_number(drift) if comma else None,
    )
    return edit_of(source.name, clock)


def edits_from_answers(case: Case, path: Path) -> list[dict[str, Any]]:
    """The ``clock`` edits that an answers file stands for; the rest of it is for a bring-in.

    Raises
    ------
    CaseError
        When the file cannot be read, holds no clocks, or names a source that is not in the case.
    """
    clocks = load_answers(path).clocks
    if not clocks:
        raise CaseError(
            "sets no clock", path=path, todo="Write a table such as [clocks.pump] with its pieces"
        )
    return [
        {"source": settable(case, name).name, "pieces": answer.pieces, "method": "by hand"}
        for name, answer in clocks.items()
    ]


def from_command(
    case: Case,
    author: str,
    *,
    by_offset: Sequence[str] = (),
    within_s: float = USUAL_DOUBT_S,
    answers: Path | None = None,
    anchors: Sequence[tuple[str, str, str]] = (),
    propose: bool = False,
    accept_proposals: bool = False,
    progress: Callable[[float, str], None] | None = None,
) -> list[str]:
    """Set clocks as the command line asks, then propose for those that nobody set; gives what to print.

    Parameters
    ----------
    case : Case
    author : str
        Author id that the edits are kept under.
    by_offset : sequence of str
        As in `edit_from_text`.
    within_s : float
        Half-width of the 95 % interval of these, seconds.
    answers : Path, optional
        An answers file; only its clocks are taken.
    anchors : sequence of (source, words, meaning)
        Some words of a line of that source, and what they mean: words of the word list such as ``going on``,
        or seconds of the reference clock. Only these count for their source, whether its clock is set or not.
    propose, accept_proposals : bool
        Say what the evidence tells of each clock that nobody set; and keep it.
    progress : callable, optional
        ``progress(share, text)``.

    Raises
    ------
    CaseError
        When a clock cannot be set; no clock by hand is written then.
    """
    edits = edits_from_answers(case, answers) if answers is not None else []
    edits += [edit_from_text(case, text, within_s) for text in by_offset]
    keep(case, author, edits)
    names = dict.fromkeys(str(edit["source"]) for edit in edits)
    lines = [f"{name}: set by hand, {_standing(case, name)}" for name in names]
    if propose or accept_proposals:
        given: dict[str, list[tuple[str, str | float]]] = {}
        for source, words, meaning in anchors:
            given.setdefault(settable(case, source).name, []).append((words, _moment(meaning)))
        keeper = author if accept_proposals else None
        lines += proposals(case, keeper, progress, given) or ["Every clock is set."]
    return lines


def _moment(text: str) -> str | float:
    """Reference seconds where it is a number, else the words of a meaning."""
    try:
        return float(text)
    except ValueError:
        return text


def _standing(case: Case, name: str) -> str:
    clock = settable(case, name).clock
    return clock_words(clock, plus_minus(half_width(clock.pieces[0].sd_s)))


def proposals(
    case: Case,
    author: str | None,
    progress: Callable[[float, str], None] | None = None,
    anchors: Mapping[str, Sequence[tuple[str, str | float]]] | None = None,
) -> list[str]:
    """What the evidence tells of each clock that nobody set, in words; kept where an author is given.

    A source that has anchors is looked at whether its clock is set or not.
    """
    from afterclamp.annotate.align import accept, estimate

    lines = []
    anchored = dict(anchors or {})
    wanted = [
        one.name
        for one in case.sources
        if not one.is_reference and (one.clock.method == "unset" or one.name in anchored)
    ]
    for found in estimate(case, sources=wanted, anchors=anchored or None, progress=progress):
        if not found.told:
            lines.append(f"{found.source}: cannot be told. {found.cannot_tell}")
            continue
        if author is not None:
            accept(case, author, found)
        words = clock_words(found.clock, plus_minus(half_width(found.offset_sd_s)))
        lines.append(f"{found.source}: {'set' if author is not None else 'proposed'} by evidence, {words}")
        lines += [f"    {word}" for word in found.words]
        if found.question:
            lines.append(f"    To be asked: {found.question}")
    return lines
