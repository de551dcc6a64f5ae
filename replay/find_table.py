"""What the command line prints of finds: rows for JSON with fixed names, and tables for people."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING

from .find_words import code_words
from .tables import Row, spread, table
from .wording import length, number, readable

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Finds
    from afterclamp.annotate.rules import Find
    from afterclamp.io.case import Case

FIND_FIELDS = (
    "code",
    "name",
    "start_s",
    "end_s",
    "channels",
    "site",
    "confidence",
    "evidence",
    "linked",
    "unc_s",
    "key",
    "subtype",
)


def find_rows(found: Finds) -> list[Row]:
    """One row a find, with the fixed fields; ``unc_s``, half of a 95 % interval, is null where a clock is not set."""
    return [_find_row(one) for one in found]


def held_back_rows(found: Finds) -> list[Row]:
    """One row for each find that a rule saw and did not put forward: the same fields, and why."""
    return [{**_find_row(one), "held_back": one.held_back} for one in found.held_back]


def _find_row(find: Find) -> Row:
    row = find.to_json()
    return {name: row[name] for name in FIND_FIELDS}


def finds(case: Case, found: Finds) -> str:
    """Finds as a table, then what was held back or not looked for, each with its reason."""
    shown = channel_words(case)
    cells = [
        (
            code_words(find),
            find.name,
            case.clock_text(find.start_s),
            length(find.start_s),
            spread(find.unc_s),
            length(find.end_s - find.start_s),
            ", ".join(shown(name) for name in find.channels),
            number(find.confidence, 2),
            ", ".join(dict.fromkeys(link.code or link.what for link in find.linked)),
        )
        for find in found
    ]
    headings = ("code", "find", "clock", "at min:s", "±", "for", "channels", "plain", "linked to")
    text = table(headings, cells, "<<<>>><><") if cells else "The rules that could be used found nothing."
    text += "\nEach is a proposal that a qualified person must confirm; how plain it is, is no probability."
    if found.site_reason:
        text += f"\nBelieved arterial site: {shown(found.site) or 'none'}. {found.site_reason}"
    if found.held_back:
        text += "\n\nSeen and not put forward:\n" + held_back(case, found)
    if found.not_looked_for:
        text += "\n\nNot looked for:\n" + "\n".join(f"  {line}" for line in found.not_looked_for)
    return text


def held_back(case: Case, found: Finds) -> str:
    """What rules saw and did not put forward, a line each with its reason."""
    shown = channel_words(case)
    lines = [
        f"  {find.code}  {find.name}, {', '.join(shown(name) for name in find.channels)}, "
        f"{case.clock_text(find.start_s)} ({length(find.start_s)} min:s) for {length(find.duration_s)}: "
        f"{find.held_back}"
        for find in found.held_back
    ]
    return "\n".join(lines) or "No rule held anything back."


def channel_words(case: Case) -> Callable[[str], str]:
    """How a channel that a rule names is written: with its source where another one has that name too."""
    from afterclamp.annotate.named import signals, under_their_site
    from afterclamp.annotate.site import believed_signal

    named = under_their_site(signals(case), believed_signal(case)[0])
    words = {name: signal.token for name, signal in named.items()}
    return lambda name: words.get(name, name).replace("_", " ")


LINE = 110  # letters of a line of the catalogue: whole sentences on one line are hard to read


def _wrapped(line: str) -> str:
    """A line as several, all as far in as it began."""
    margin = line[: len(line) - len(line.lstrip())]
    return textwrap.fill(line, LINE, subsequent_indent=margin, break_long_words=False, break_on_hyphens=False)


def rule_rows(found: Finds | None, numbers: Mapping[str, float] | None = None) -> list[Row]:
    """One row a rule, in words and with its numbers; `numbers` in force by ``"E13.below"`` before the catalogue's.

    How often it was found is null without a case.
    """
    from afterclamp.annotate.rules import RULES

    in_force = {
        rule.code: {
            name: (numbers or {}).get(f"{rule.code}.{name}", one.value)
            for name, one in rule.parameters.items()
            if not one.fixed
        }
        for rule in RULES
    }
    return [
        {
            "code": rule.code,
            "name": rule.name,
            "family": rule.family,
            "words": rule.sentence(in_force[rule.code]),
            "details": rule.fine_print(in_force[rule.code]),
            "status": rule.status,
            "source": rule.source,
            "needs": list(rule.needs),
            "phase": list(rule.phase),
            "parameters": {key: asdict(parameter) for key, parameter in rule.parameters.items()},
            "in_force": in_force[rule.code],
            "version": rule.version,
            "finds": None if found is None else sum(find.code == rule.code for find in found),
        }
        for rule in RULES
    ]


def rules(found: Finds | None, numbers: Mapping[str, float] | None = None) -> str:
    """The catalogue in words; with a case also how often each rule found something, and what was not looked for."""
    from afterclamp.annotate.rules import RULES, catalogue

    counts = {} if found is None else {rule.code: f"{len(found.of(rule.code))} found" for rule in RULES}
    text = "\n".join(map(_wrapped, readable(catalogue(counts, numbers)).split("\n")))
    if found is not None and found.not_looked_for:
        text += "\n\nNot looked for:\n" + "\n".join(f"  {line}" for line in found.not_looked_for)
    return text
