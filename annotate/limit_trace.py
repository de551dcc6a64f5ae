"""On which recorded line the limit of a find can be drawn: not every limit is one of a value that was recorded."""

from __future__ import annotations

import numpy as np

from .rules import Find
from .rules.rule import before
from .runs import median
from .view import View

WITHIN = 0.1
"""Share of its level by which a line may differ from what the rule read during the find (this project's choice)."""


def limit_trace(find: Find, view: View) -> str:
    """Canonical name of the channel that a find's limit is a limit of; empty where it is one of something computed.

    The rule's own level during the find is compared with that of each channel: where they agree within a tenth, the
    rule read that channel; so too where the channel's level lay on one side of the limit before the find and lies on
    the other during it. A difference of two temperatures, or a delivery of oxygen, does neither.

    Parameters
    ----------
    find : Find
        With ``limit`` and ``during`` in its evidence.
    view : View

    Returns
    -------
    str
    """
    limit, during = find.evidence.get("limit"), find.evidence.get("during")
    if not isinstance(limit, (int, float)) or not isinstance(during, (int, float)):
        return ""
    start = view.index(find.start_s)
    stop = max(start + 1, view.index(find.end_s))
    for name in dict.fromkeys((find.site, *find.channels)):
        values = view.values.get(name)
        if values is None:
            continue
        level, earlier = median(values[start:stop]), before(values, start)
        agrees = abs(level - during) <= WITHIN * max(abs(during), 1.0)
        if np.isfinite(level) and (agrees or (level - limit) * (earlier - limit) < 0):
            return name
    return ""
