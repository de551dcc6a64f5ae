"""Commands on rules and on what no rule covers: in the menu Finds of `actions.ACTIONS`."""

from __future__ import annotations

from .action import Action

RULES: tuple[Action, ...] = (
    Action(
        "rules",
        "finds",
        "&Rules…",
        ("Ctrl+R",),
        "Read every rule with its numbers and sources; try another number and keep it with a reason",
        "show_rules",
        group=2,
    ),
    Action(
        "unexplained",
        "finds",
        "Une&xplained change",
        ("U",),
        "Mark the unexplained change at the playhead as U1; where none is, go to the next one",
        "mark_unexplained",
        group=2,
    ),
)
