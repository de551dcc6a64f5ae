"""Masks in words: raw or masked, and what people hid and gave back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from afterclamp.io.errors import several

if TYPE_CHECKING:
    from afterclamp.io.case import Case

RAW = "Raw: artefacts and hidden seconds are left in"
MASKED = "Masked: artefacts and hidden seconds are left out, and counted"

OF_EXPORTS = (
    "Figures, finds and phases are masked, not raw: what is taken for artefact or hidden by a person is left out\n"
    "and counted. Samples and traces are raw.\n"
)
"""For the note of an export."""


def state_words(raw: bool) -> str:
    """Which of the two it is, in a sentence without a full stop."""
    return RAW if raw else MASKED


def people_words(case: Case) -> str:
    """How many seconds people hid and gave back, all channels together; empty where nobody did either.

    Examples
    --------
    ``"people hid 50 s on 1 channel and gave back 4 s on 1 channel"``
    """
    said = []
    for verb, name in (("hid", "hidden"), ("gave back", "believed")):
        each = [sum(end - start for start, end in getattr(channel, name)) for channel in case.channels]
        lines = [seconds for seconds in each if seconds]
        if lines:
            said.append(f"{verb} {sum(lines):.0f} s on {several(len(lines), 'channel')}")
    return f"people {' and '.join(said)}" if said else ""
