"""What people write and say, and which moments of the operation it can mean.

The list is short and meant to be edited: hand a file of your own to `read_words`. A phrase that could
mean several moments lists them all; which one it was comes out when all lines are looked at together.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from afterclamp.io.errors import FileUnreadable


@dataclass(frozen=True)
class Meaning:
    """A thing that people note, and how they put it.

    Attributes
    ----------
    event : str
        Token: the same for everybody who notes this.
    phrases : tuple of str
        Lower case, without punctuation; all words of one of them stand in the line, in this order.
    edges : tuple of (str, str)
        Phase token and ``"start"`` or ``"end"``: boundaries that it can mean. Empty where no trace shows it.
    without : tuple of str
        Words that turn it into something else.
    not_before : tuple of (str, str)
        A boundary that it can't come before.
    """

    event: str
    phrases: tuple[str, ...]
    edges: tuple[tuple[str, str], ...] = ()
    without: tuple[str, ...] = ()
    not_before: tuple[tuple[str, str], ...] = field(default=())


WORDS: tuple[Meaning, ...] = (
    Meaning("on_bypass", ("going on", "on bypass", "bypass on", "on pump", "pump on"),
            (("bypass", "start"),), without=("off", "ready", "before")),
    Meaning("full_flow", ("full flow",),
            (("going_on", "end"), ("lower_body_arrest", "end")), without=("head",)),
    Meaning("cooling", ("cooling", "cool down", "start cooling"), (("cooling", "start"),), without=("stop", "end")),
    Meaning("clamp_on", ("clamp on", "cross clamp on", "clamped"), (("clamp", "start"),), without=("off", "head")),
    Meaning("clamp_off", ("clamp off", "cross clamp off", "clamp released", "unclamped"), (("clamp", "end"),)),
    Meaning("circulation_off",
            ("circ off", "circulation off", "circulatory arrest", "arrest on", "pump off", "off second side"),
            (("lower_body_arrest", "start"), ("no_flow_arrest", "start"))),
    Meaning("circulation_on", ("circ on", "circulation on", "flow coming back", "flow back", "reflow"),
            (("lower_body_arrest", "end"), ("no_flow_arrest", "end"))),
    Meaning("head_perfusion", ("head perfusion on", "head only", "selective perfusion on", "cerebral perfusion on"),
            (("selective_cerebral", "start"),)),
    Meaning("whole_body", ("whole body",), (("lower_body_arrest", "end"),)),
    Meaning("warming", ("warming", "rewarming", "warm up"), (("warming", "start"),), without=("stop", "end")),
    Meaning("weaning", ("weaning", "coming off"), (("weaning", "start"),)),
    Meaning("off_bypass", ("off bypass", "bypass off", "we are off", "came off", "off pump"), (("bypass", "end"),)),
    Meaning("protamine", ("protamine",), not_before=(("bypass", "end"),), without=("stop", "test", "ready")),
    Meaning("shock", ("shock", "shocked", "defibrillated")),
    Meaning("skin", ("knife", "incision", "skin cut")),
    Meaning("saw", ("saw",)),
    Meaning("chest_closed", ("chest closed", "closing chest", "wires in")),
)  # fmt: skip
"""This project's choice of words; protamine after bypass is common practice, no source."""

_CLEAN = re.compile(r"[\W_]+")


def plain(text: str) -> str:
    """Lower case, with letters, digits and single spaces only."""
    return " ".join(_CLEAN.sub(" ", text.lower()).split())


def meanings_of(text: str, words: Iterable[Meaning] = WORDS) -> tuple[Meaning, ...]:
    """Everything that a line can mean.

    Examples
    --------
    >>> [meaning.event for meaning in meanings_of("Circ. off, 1")]
    ['circulation_off']
    """
    line = f" {plain(text)} "
    found = []
    for meaning in words:
        if any(f" {word} " in line for word in meaning.without):
            continue
        if any(f" {phrase} " in line for phrase in meaning.phrases):
            found.append(meaning)
    return tuple(found)


def read_words(path: Path) -> tuple[Meaning, ...]:
    """A word list of one's own.

    A TOML file with one table a meaning::

        [clamp_off]
        phrases = ["clamp off", "klemme auf"]
        edges = [["clamp", "end"]]

    Raises
    ------
    FileUnreadable
        When it is not TOML, or a table holds something else.
    """
    try:
        tables = tomllib.loads(path.read_text("utf-8"))
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be read ({cause.strerror})", path=path, todo="Check the path"
        ) from cause
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as cause:
        raise FileUnreadable(f"is not TOML ({cause})", path=path, todo="Mend that line") from cause
    out = []
    for event, table in tables.items():
        try:
            edges, not_before = (
                tuple((str(name), _end(end)) for name, end in table.get(key, ()))
                for key in ("edges", "not_before")
            )
            unknown = set(table) - {"phrases", "edges", "without", "not_before"}
            if unknown:
                raise ValueError(f"unknown key {sorted(unknown)[0]}")
            phrases = tuple(plain(phrase) for phrase in table["phrases"])
            out.append(
                Meaning(event, phrases, edges, tuple(map(plain, table.get("without", ()))), not_before)
            )
        except (AttributeError, KeyError, TypeError, ValueError) as cause:
            raise FileUnreadable(
                f"expected phrases and, if wanted, edges, without and not_before ({cause})",
                path=path,
                place=f"table {event}",
                todo="Correct this table",
            ) from cause
    return tuple(out)


def _end(text: object) -> str:
    if text not in ("start", "end"):
        raise ValueError(f"{text!r} is neither start nor end")
    return str(text)
