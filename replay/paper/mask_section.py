"""What people hid from the figures and gave back to them, listed on the paper with its author and reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..wording import half_width, length, spread
from .content import Row, Section, Table
from .moments import when

if TYPE_CHECKING:
    from afterclamp.io.case import Case


def mask_section(case: Case) -> tuple[Section, ...]:
    """One row a mask in force, in order of time; no section where nobody set one."""
    said = sorted(
        ((channel, mask) for channel in case.channels for mask in channel.masks), key=lambda one: one[1].start
    )
    if not said:
        return ()
    rows = tuple(
        Row(
            (
                channel.plain_name,
                "hidden" if mask.hidden else "given back",
                f"{when(case, mask.start)} to {when(case, mask.end)}",
                spread(half_width(channel.sd(mask.start))),
                length(mask.end - mask.start),
                mask.author,
                mask.reason or "no reason written",
            )
        )
        for channel, mask in said
    )
    table = Table(
        caption="Masks that people set: hidden seconds count in no figure, those given back count although a rule "
        "calls them artefact; where two overlap the later one holds",
        headings=("channel", "", "from, to", "±", "min:s", "by", "why"),
        rows=rows,
        widths=(24, 14, 34, 12, 12, 16, 40),
    )
    return (Section("Masks", tables=(table,)),)
