"""What is worked out beside the finds for the Why card: the five answers, and on which line a limit can be drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Find
    from afterclamp.annotate.five_questions import Answer
    from afterclamp.annotate.view import View
    from afterclamp.io.case import Case


@dataclass(frozen=True)
class Answered:
    """Of one find.

    Attributes
    ----------
    answers : tuple of Answer
        To `afterclamp.annotate.five_questions.QUESTIONS`.
    limit_on : str
        Canonical name of the channel that its limit is one of; empty where it is one of something computed.
    """

    answers: tuple[Answer, ...]
    limit_on: str = ""


def answered(case: Case, finds: Sequence[Find], view: View) -> Mapping[str, Answered]:
    """Answers and limit line of each find, by key of the find; `view` is the case that they were found in."""
    from afterclamp.annotate.five_questions import of_case
    from afterclamp.annotate.limit_trace import limit_trace

    said = of_case(case, finds, view)
    return {find.key: Answered(said[find.key], limit_trace(find, view)) for find in finds}
