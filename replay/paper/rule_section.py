"""Numbers of rules that people changed in a case, as the case paper prints them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from afterclamp.annotate.rule_numbers import edited_words

from ..wording import readable

if TYPE_CHECKING:
    from afterclamp.io.case import Case


def changed_numbers(case: Case) -> tuple[str, ...]:
    """A line for each number of a rule that somebody changed, with what it was, who and why; none where nobody did."""
    lines = [f"{readable(line)}." for line in edited_words(case)]
    if not lines:
        return ()
    head = "Numbers of rules that people changed in this case; every find above was looked for by them:"
    return (head, *lines)
